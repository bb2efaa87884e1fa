"""How deep a vacuum is at this height, what a compound gauge shows of it, and whether water boils in it.

A dial counts from the air around it, so the same vacuum shows less on it the higher the place; a vacuum gauge (micron,
torr, mbar) counts from nothing and does not care.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from twogauge.quantities import PA_PER_INHG, PA_PER_MICRON
from twogauge.service import water

DIAL_STEP: Final = 0.5 * PA_PER_INHG  # [Pa] what is read off a compound gauge; common practice
DIAL_ERROR: Final = 0.5 * PA_PER_INHG  # [Pa] what one may be off where nothing is known; common practice
VACUUM_ERROR: Final = 0.10  # of the reading [1], what a vacuum gauge may be off; common practice
VACUUM_NOISE: Final = 0.015  # of the reading [1], how well it repeats; common practice
VACUUM_FLOOR: Final = 2.0 * PA_PER_MICRON  # [Pa] the same near its lower end; common practice


@dataclass(frozen=True, slots=True)
class Depth:
    """A vacuum.

    Attributes:
        pressure: absolute [Pa]; 0 where a dial shows more vacuum than the air here can give.
        low, high: between which it lies, as far as the gauge is known [Pa].
        on_dial: what a dial shows for it here [Pa], above 0 for a vacuum.
        perfect: what a dial shows for nothing at all here [Pa].
        water_boils_at: temperature at which water boils, or ice evaporates, at it [K]; NaN below 190 K.
        boils_low, boils_high: the same for `low` and `high` [K].
        water_at_coldest: vapour pressure of water or ice at the coldest part [Pa].
    """

    pressure: float
    low: float
    high: float
    on_dial: float
    perfect: float
    water_boils_at: float
    boils_low: float
    boils_high: float
    water_at_coldest: float

    @property
    def boils(self) -> bool | None:
        """Whether water boils at the coldest part; None where the gauge cannot tell."""
        if self.high < self.water_at_coldest:
            return True
        return False if self.low > self.water_at_coldest else None


def depth(pressure: float, error: float, barometer: float, coldest: float) -> Depth:
    """Return what a vacuum means.

    Args:
        pressure: absolute [Pa]; may be below zero where it was read off a dial.
        error: what it may be off [Pa].
        barometer: pressure of the air [Pa].
        coldest: temperature of the coldest part [K].
    """
    shown, low, high = max(pressure, 0.0), max(pressure - error, 0.0), max(pressure, 0.0) + error

    def boils(p: float) -> float:
        return float(water.saturation_temperature(p)) if p > 0.0 else math.nan

    return Depth(
        pressure=shown,
        low=low,
        high=high,
        on_dial=barometer - shown,
        perfect=barometer,
        water_boils_at=boils(shown),
        boils_low=boils(low),
        boils_high=boils(high),
        water_at_coldest=float(water.saturation_pressure(coldest)),
    )
