"""How heavy refrigerant vapour is below saturation: between an ideal gas and the saturated vapour of the data.

The compressibility factor falls in proportion to the pressure (a virial equation cut off after its second term), from 1
in a vacuum to what it is at saturation. The molar mass is what the saturated vapour tends to at its lowest pressures.
Within 4 % of CoolProp for the refrigerants whose data begin below 0.1 MPa (tests/service/test_standing.py); for others,
such as carbon dioxide, within 15 %.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from twogauge import refrigerants
from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import properties_of

GAS_CONSTANT: Final = 8.314462618  # [J/(mol K)] CODATA 2018, exact
_STEP: Final = 10.0  # [K] between the two points that the molar mass is taken from
_LOW: Final = 1e5  # [Pa]


def molar_mass(refrigerant: Refrigerant) -> float:
    """Return the molar mass [kg/mol], within 1.5 % (5 % for what boils above 0.1 MPa at its lowest known temperature)."""
    return _limit(refrigerant.id)[0]


def relative_error(refrigerant: Refrigerant) -> float:
    """Return how far `vapour_density` may be off [1]."""
    return 0.04 if _limit(refrigerant.id)[1] < _LOW else 0.15


def vapour_density(refrigerant: Refrigerant, pressure: float, temperature: float) -> float:
    """Return the density of vapour that is not saturated [kg/m3]; NaN where the data do not reach.

    Args:
        refrigerant: what it is.
        pressure: absolute [Pa]; above saturation the saturated vapour is answered.
        temperature: [K]
    """
    saturation = float(refrigerant.saturation_pressure(temperature, "dew"))
    saturated = float(properties_of(refrigerant).vapour_density(temperature))
    mass = molar_mass(refrigerant)
    at_saturation = saturation * mass / (saturated * GAS_CONSTANT * temperature)
    share = min(pressure / saturation, 1.0)
    factor = 1.0 - (1.0 - at_saturation) * share
    return share * saturation * mass / (factor * GAS_CONSTANT * temperature)


@cache
def _limit(name: str) -> tuple[float, float]:
    what = refrigerants.get(name)
    series = properties_of(what)
    lowest = max(series.ends("vapour density")[0], what.temperature_min("dew"))
    points = []
    for temperature in (lowest, lowest + _STEP):
        pressure = float(what.saturation_pressure(temperature, "dew"))
        density = float(series.vapour_density(temperature))
        points.append((pressure, density * GAS_CONSTANT * temperature / pressure))
    (p1, m1), (p2, m2) = points
    return m1 - (m2 - m1) * p1 / (p2 - p1), p1
