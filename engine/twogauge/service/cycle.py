"""The refrigeration cycle of a machine as it was measured: pressure and enthalpy of the states between its parts.

Only what was measured is told. The evaporator and the condenser are taken to be at the pressures of the two service ports,
which leaves out what the pressure drops in pipes and coils; through the metering device no heat or work is exchanged, so
the enthalpy stays (first law of thermodynamics). The enthalpy of subcooled liquid is that of saturated liquid of the same
temperature, and what pressing it further changes: close to the critical point several kilojoules for each kilogram.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge import refrigerants
from twogauge.diagnosis import Diagnosis, Shown
from twogauge.errors import InputError
from twogauge.quantities import ZERO_CELSIUS
from twogauge.refrigerants import Phase, Refrigerant
from twogauge.refrigerants.properties import properties_of
from twogauge.refrigerants.superheated import superheated_of

Floats = npt.NDArray[np.float64]
Place = Literal["suction", "discharge", "liquid", "evaporator"]

ZERO: Final = ZERO_CELSIUS - 40.0
"""Enthalpies are counted from saturated liquid at this temperature [K], or at the lowest one that is known."""


@dataclass(frozen=True, slots=True)
class State:
    """One state of the cycle.

    Attributes:
        place: where in the machine: suction line, discharge line, liquid line, or behind the metering device.
        pressure: absolute [Pa].
        temperature: [K]; NaN behind the metering device, where it follows from the pressure.
        enthalpy: above the liquid that Cycle names [J/kg].
        u: standard uncertainty of the enthalpy [J/kg], of the thermometer and the gauge.
    """

    place: Place
    pressure: float
    temperature: float
    enthalpy: float
    u: float


@dataclass(frozen=True)
class Dome:
    """The saturation lines over enthalpy.

    Attributes:
        bubble_enthalpy, bubble_pressure: [J/kg] and absolute [Pa], shape (n,).
        dew_enthalpy, dew_pressure: [J/kg] and absolute [Pa], shape (n,).
        top_enthalpy, top_pressure: what joins their upper ends over the critical point, from the end of the bubble line
            to the end of the dew line: [J/kg] and absolute [Pa], shape (m,); shape (0,) where that is not known.
    """

    bubble_enthalpy: Floats
    bubble_pressure: Floats
    dew_enthalpy: Floats
    dew_pressure: Floats
    top_enthalpy: Floats
    top_pressure: Floats


@dataclass(frozen=True)
class Cycle:
    """A measured cycle.

    Attributes:
        refrigerant: what is in it.
        states: in the order of the flow: suction, discharge where its line was measured, liquid, evaporator.
        superheat, subcooling: as the diagnosis shows them.
        low, high: absolute pressures of the ports [Pa].
        suction_bubble, suction_dew, high_bubble, high_dew: enthalpies on the dome at these pressures [J/kg].
        zero: enthalpies are counted from saturated liquid at this temperature [K].
        left_out: why a part of it is not told, as sentences.
    """

    refrigerant: Refrigerant
    states: tuple[State, ...]
    superheat: Shown
    subcooling: Shown
    low: float
    high: float
    suction_bubble: float
    suction_dew: float
    high_bubble: float
    high_dew: float
    zero: float
    left_out: tuple[str, ...]

    def state(self, place: Place) -> State | None:
        """Return the state at a place, or None where it is not known."""
        return next((each for each in self.states if each.place == place), None)

    @property
    def cooling(self) -> float:
        """Heat that each kilogram takes up between the metering device and the suction line [J/kg]."""
        suction, evaporator = self.state("suction"), self.state("evaporator")
        return math.nan if suction is None or evaporator is None else suction.enthalpy - evaporator.enthalpy

    @property
    def gas_behind_metering(self) -> float:
        """Share of the mass that is gas behind the metering device [1]."""
        evaporator = self.state("evaporator")
        if evaporator is None:
            return math.nan
        return (evaporator.enthalpy - self.suction_bubble) / (self.suction_dew - self.suction_bubble)


def dome(refrigerant: Refrigerant) -> Dome:
    """Return the saturation lines of a refrigerant over enthalpy, 300 points each, and what closes them [J/kg and Pa]."""
    known = properties_of(refrigerant)
    lows, highs = zip(*(known.ends(name) for name in ("liquid enthalpy", "latent heat")), strict=True)

    def line(phase: Phase) -> tuple[Floats, Floats]:
        low = max(*lows, refrigerant.temperature_min(phase))
        high = min(*highs, refrigerant.temperature_max(phase))
        # Closer together towards the top, where the lines bend.
        at = high - (high - low) * np.linspace(1.0, 0.0, 300) ** 2
        at[0], at[-1] = low, high
        enthalpy = _liquid(refrigerant, at) if phase == "bubble" else _vapour(refrigerant, at)
        return enthalpy, refrigerant.saturation_pressure(at, phase)

    bubble, dew = line("bubble"), line("dew")
    heat, pressure = known.top_enthalpy - known.liquid_enthalpy(_zero(refrigerant)), known.top_pressure
    if heat.size:
        heat = np.concatenate([bubble[0][-1:], heat, dew[0][-1:]])
        pressure = np.concatenate([bubble[1][-1:], pressure, dew[1][-1:]])
    return Dome(*bubble, *dew, heat, pressure)


def measured_cycle(diagnosis: Diagnosis) -> Cycle:
    """Return the cycle that a reading shows.

    Raises:
        InputError: what is missing for it, or why these readings make no cycle.
    """
    if diagnosis.gates:
        gate = diagnosis.gates[0]
        raise InputError(f"these readings make no cycle: {gate.title}; {gate.instead or gate.text}")
    shown = {each.name: each for each in diagnosis.derived}
    name = diagnosis.reading.parts.words.get("refrigerant")
    if missing := _missing(name, shown, dict(diagnosis.missing)):
        raise InputError(f"a cycle cannot be drawn without {'; '.join(missing)}")
    what = refrigerants.get(name or "")
    low, high = shown["low_side"], shown["high_side"]
    superheat, subcooling = shown["superheat"], shown["subcooling"]
    if superheat.value < 0.0:
        raise InputError(
            "the suction line is colder than the dew point of the low side: liquid comes back, or a reading is off; how "
            "much of it is liquid no thermometer tells, so the cycle is not drawn"
        )
    if subcooling.value < 0.0:
        raise InputError(
            "the liquid line is warmer than the bubble point of the high side: gas is in it, or a reading is off; how much "
            "no thermometer tells, so the cycle is not drawn"
        )
    low_dew, high_dew = (what.temperature_at(p, "dew") for p in (low.value, high.value))
    high_bubble = what.temperature_at(high.value, "bubble")
    liquid_at = high_bubble - subcooling.value
    slope = float(properties_of(what).liquid_heat_capacity(liquid_at))
    enthalpy = float(_liquid(what, liquid_at)) + _pressing(what, liquid_at, high.value)
    liquid = State("liquid", high.value, liquid_at, enthalpy, slope * subcooling.u)
    states, left_out = [_superheated("suction", what, low, low_dew, superheat)], []
    if discharge_superheat := shown.get("discharge_superheat"):
        discharge = _superheated("discharge", what, high, high_dew, discharge_superheat)
        if math.isnan(discharge.enthalpy):
            left_out.append(
                "The discharge line is no hotter than the dew point of the high side: compression is not drawn."
                if discharge_superheat.value <= 0.0
                else "The heat of gas that hot at this pressure is not known here: compression is not drawn."
            )
        else:
            states.append(discharge)
    else:
        left_out.append(
            "The temperature of the discharge line is not known, so the end of the compression is not drawn."
        )
    states += [liquid, State("evaporator", low.value, math.nan, liquid.enthalpy, liquid.u)]
    found = Cycle(
        what,
        tuple(states),
        superheat,
        subcooling,
        low.value,
        high.value,
        float(_liquid(what, what.temperature_at(low.value, "bubble"))),
        float(_vapour(what, low_dew)),
        float(_liquid(what, high_bubble)),
        float(_vapour(what, high_dew)),
        _zero(what),
        tuple(left_out),
    )
    known = (*(each.enthalpy for each in states), found.suction_bubble, found.suction_dew, found.high_dew)
    if any(math.isnan(each) for each in known):
        raise InputError(f"a reading lies outside the range in which the properties of {what.title} are known")
    return found


_NEEDED: Final = {
    "low_side": "the pressure on the low side as a number",
    "high_side": "the pressure on the high side as a number",
    "superheat": "the temperature of the suction line near the compressor (or the superheat)",
    "subcooling": "the temperature of the liquid line before the metering device (or the subcooling)",
}


def _missing(name: str | None, shown: dict[str, Shown], why: dict[str, str]) -> list[str]:
    """Return each measurement that is missing, as a person would be asked for it."""
    asked = [] if name else ["the refrigerant"]
    for quantity, said in _NEEDED.items():
        if quantity not in shown:
            reason = why.get(quantity, "")
            asked.append(f"{said}: {reason}" if "critical" in reason else said)
    return asked


def _superheated(place: Place, what: Refrigerant, pressure: Shown, dew: float, superheat: Shown) -> State:
    known = superheated_of(what)
    heat = float(known.heat_above_dew(dew, superheat.value))
    slope = float(known.mean_heat_capacity(dew, superheat.value))
    return State(place, pressure.value, dew + superheat.value, float(_vapour(what, dew)) + heat, slope * superheat.u)


def _liquid(what: Refrigerant, at: float | Floats) -> Floats:
    known = properties_of(what)
    return known.liquid_enthalpy(at) - known.liquid_enthalpy(_zero(what))


def _pressing(what: Refrigerant, at: float, pressure: float) -> float:
    """Return what saturated liquid gains in enthalpy when it is pressed at its temperature [J/kg].

    (dh/dp) at constant T is v - T (dv/dT) at constant p (any textbook of thermodynamics). The slope along saturation
    stands for the latter here, which is less than it is; compared with CoolProp 8.0.0 for R-32, R-134a, R-290, R-410A
    and R-744 at up to 15 K of subcooling, a quarter of the gain is left over at the most (1.4 kJ/kg of R-744 at 27 degC).

    Args:
        what: the refrigerant.
        at: temperature [K].
        pressure: that it is pressed to, absolute [Pa].
    """
    step = 0.25  # K, downwards, since above it the series may end
    volume, colder = 1.0 / properties_of(what).liquid_density(np.array([at, at - step]))
    return float((volume - at * (volume - colder) / step) * (pressure - what.saturation_pressure(at, "bubble")))


def _vapour(what: Refrigerant, at: float | Floats) -> Floats:
    return _liquid(what, at) + properties_of(what).latent_heat(at)


def _zero(what: Refrigerant) -> float:
    return max(ZERO, properties_of(what).ends("liquid enthalpy")[0])
