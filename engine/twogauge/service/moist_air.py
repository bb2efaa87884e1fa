"""Moist air by the equations of the ASHRAE handbook, through psychrolib: what cooling takes out of it, and the reverse.

psychrolib keeps its unit system in a global; every function here sets it to SI first, so nobody else's choice counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from twogauge.errors import InputError
from twogauge.quantities import Dimension
from twogauge.service.facts import facts, number

ZERO: Final = 273.15  # [K] of the Celsius scale
_COLDEST: Final = 200.0  # [K] below what any vent blows
_HALVINGS: Final = 60  # 100 K halved so often is far below what any thermometer shows


@dataclass(frozen=True, slots=True)
class Air:
    """Air of one state.

    Attributes:
        temperature: dry bulb [K].
        moisture: humidity ratio of water to dry air [1].
        pressure: absolute [Pa].
    """

    temperature: float
    moisture: float
    pressure: float

    @property
    def enthalpy(self) -> float:
        """Enthalpy per mass of dry air [J/kg], from dry air and liquid water at 0 degC."""
        return float(_psychrolib().GetMoistAirEnthalpy(self.temperature - ZERO, self.moisture))

    @property
    def dew_point(self) -> float:
        """Temperature at which water begins to come out of it [K]."""
        return ZERO + float(
            _psychrolib().GetTDewPointFromHumRatio(self.temperature - ZERO, self.moisture, self.pressure)
        )

    @property
    def wet_bulb(self) -> float:
        """Wet-bulb temperature [K]."""
        return ZERO + float(
            _psychrolib().GetTWetBulbFromHumRatio(self.temperature - ZERO, self.moisture, self.pressure)
        )


@dataclass(frozen=True, slots=True)
class Cooled:
    """What was taken out of air between two places.

    Attributes:
        leaving: the air behind the evaporator.
        sensible: by lowering its temperature per mass of dry air [J/kg].
        latent: by taking water out of it per mass of dry air [J/kg].
        water: taken out of it per mass of dry air [1].
    """

    leaving: Air
    sensible: float
    latent: float
    water: float

    @property
    def total(self) -> float:
        """Return the sum of both per mass of dry air [J/kg]."""
        return self.sensible + self.latent


def from_humidity(temperature: float, humidity: float, pressure: float) -> Air:
    """Return air by its relative humidity.

    Args:
        temperature: dry bulb [K].
        humidity: relative [1].
        pressure: absolute [Pa].

    Raises:
        InputError: a humidity that no air has.
    """
    if not 0.0 <= humidity <= 1.0:
        raise InputError(f"a relative humidity of {100.0 * humidity:.0f} % does not exist; write 0 to 100 %")
    moisture = _psychrolib().GetHumRatioFromRelHum(temperature - ZERO, humidity, pressure)
    return Air(temperature, float(moisture), pressure)


def from_wet_bulb(temperature: float, wet_bulb: float, pressure: float) -> Air:
    """Return air by its wet bulb.

    Args:
        temperature: dry bulb [K].
        wet_bulb: [K]
        pressure: absolute [Pa].

    Raises:
        InputError: a wet bulb above the dry bulb.
    """
    if wet_bulb > temperature:
        raise InputError("a wet bulb cannot be warmer than the air; the two thermometers may have been swapped")
    moisture = _psychrolib().GetHumRatioFromTWetBulb(temperature - ZERO, wet_bulb - ZERO, pressure)
    return Air(temperature, float(moisture), pressure)


def cooled(entering: Air, leaving: float) -> Cooled:
    """Return what was taken out of air that leaves at a temperature.

    Behind a wet evaporator it is nearly saturated; how nearly is a fact of the service data. Above that moisture
    nothing was taken out but heat.

    Args:
        entering: air before the evaporator.
        leaving: temperature behind it [K].
    """
    after = _behind(entering, leaving, _nearly())
    between = Air(leaving, entering.moisture, entering.pressure)
    return Cooled(
        leaving=after,
        sensible=entering.enthalpy - between.enthalpy,
        latent=between.enthalpy - after.enthalpy,
        water=entering.moisture - after.moisture,
    )


def leaving_temperature(entering: Air, taken: float) -> float:
    """Return how cold air leaves from which so much was taken [K]; NaN if it would be colder than any vent.

    Args:
        entering: air before the evaporator.
        taken: per mass of dry air [J/kg]
    """
    nearly = _nearly()
    wanted = entering.enthalpy - taken
    low, high = _COLDEST, entering.temperature
    if taken <= 0.0:
        return entering.temperature
    if _behind(entering, low, nearly).enthalpy > wanted:
        return math.nan
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _behind(entering, middle, nearly).enthalpy > wanted:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _behind(entering: Air, leaving: float, nearly: float) -> Air:
    most = from_humidity(leaving, nearly, entering.pressure).moisture
    return Air(leaving, min(entering.moisture, most), entering.pressure)


def _nearly() -> float:
    return number(facts("compare")["behind_a_wet_evaporator"], Dimension.FRACTION).value


def _psychrolib() -> Any:
    import psychrolib  # noqa: PLC0415 - only a comparison needs it

    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib
