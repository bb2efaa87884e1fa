"""What a leak seen in vacuum, or under nitrogen, would lose of refrigerant at working pressure.

Two laws bracket real leaks, and the range between them is the answer: a choked orifice (mass flow proportional to
pressure and to the square root of the molar mass) and laminar flow in a fine channel (proportional to the difference of
squared pressures over the viscosity). Both are textbook gas dynamics, from memory; so are the viscosities, which are
needed only as a ratio. A spot that holds liquid loses more than either.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from twogauge.refrigerants import Refrigerant
from twogauge.service.vapour import GAS_CONSTANT, molar_mass

SECONDS_A_YEAR: Final = 365.25 * 86_400.0
_MOLAR: Final = {"air": 0.0289652, "nitrogen": 0.0280134}  # [kg/mol]
_VISCOSITY: Final = {"air": 18.4e-6, "nitrogen": 17.8e-6}  # [Pa s] at 25 degC, from memory
_REFRIGERANT_VISCOSITY: Final = 12.0e-6  # [Pa s] of the usual vapours, within a fifth; from memory
_DRY_GAS: Final = 0.685  # choked flow of air and nitrogen: sqrt(g) (2/(g+1))^((g+1)/(2(g-1))) at g = 1.4
_VAPOUR: Final = 0.625  # the same at g = 1.1, which is near most refrigerants

Gas = Literal["air", "nitrogen"]


@dataclass(frozen=True, slots=True)
class Loss:
    """What a leak loses at working pressure.

    Attributes:
        low, high: by the two laws [kg/s].
        pressure: working pressure it is told for, absolute [Pa].
    """

    low: float
    high: float
    pressure: float

    @property
    def a_year(self) -> tuple[float, float]:
        """The same in a year [kg]."""
        return self.low * SECONDS_A_YEAR, self.high * SECONDS_A_YEAR


def loss(
    throughput: tuple[float, float],
    gas: Gas,
    *,
    inside: float,
    outside: float,
    temperature: float,
    refrigerant: Refrigerant,
    working: float,
    barometer: float,
) -> Loss:
    """Return what the same leak loses of a refrigerant.

    Args:
        throughput: of the test, its lower and upper bound [Pa m3/s].
        gas: what flowed in the test.
        inside, outside: where it came from and where it went, absolute [Pa].
        temperature: of the test [K].
        refrigerant: what will leak.
        working: absolute pressure of the refrigerant at the leak [Pa].
        barometer: pressure of the air it leaks into [Pa].
    """
    mass = molar_mass(refrigerant)
    per_throughput = mass / (GAS_CONSTANT * temperature)
    orifice = (working / inside) * (_VAPOUR / _DRY_GAS) * (_MOLAR[gas] / mass) ** 0.5
    channel = (working**2 - barometer**2) / (inside**2 - outside**2) * _VISCOSITY[gas] / _REFRIGERANT_VISCOSITY
    factors = sorted((orifice, max(channel, 0.0)))
    return Loss(throughput[0] * factors[0] * per_throughput, throughput[1] * factors[1] * per_throughput, working)
