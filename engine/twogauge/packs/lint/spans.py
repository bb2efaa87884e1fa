"""Conditions as intervals: what a quantity can be at all, and what a condition leaves of it.

The reach of a quantity is generous: what lies outside is a slip of unit or finger, not weather or machinery.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from twogauge.levels import LEVELS
from twogauge.packs.compile import Condition
from twogauge.quantities import ZERO_CELSIUS, Dimension
from twogauge.quantity_table import QUANTITIES


@dataclass(frozen=True, slots=True)
class Span:
    """An interval [SI]; empty where `low` is not below `high`."""

    low: float = -math.inf
    high: float = math.inf

    @property
    def is_empty(self) -> bool:
        """Whether nothing lies inside."""
        return not self.low < self.high

    def meet(self, other: Span) -> Span:
        """Return what both hold."""
        return Span(max(self.low, other.low), min(self.high, other.high))

    def plus(self, other: Span) -> Span:
        """Return where a sum lies."""
        return Span(self.low + other.low, self.high + other.high)

    def minus(self, other: Span) -> Span:
        """Return where a difference lies."""
        return Span(self.low - other.high, self.high - other.low)


def span_of(condition: Condition) -> Span:
    """Return where a numeric condition is more likely than not to hold."""
    low = max((edge.threshold for edge in condition.edges if edge.sign > 0), default=-math.inf)
    high = min((edge.threshold for edge in condition.edges if edge.sign < 0), default=math.inf)
    return Span(low, high)


def _celsius(low: float, high: float) -> Span:
    return Span(low + ZERO_CELSIUS, high + ZERO_CELSIUS)


_DEEPEST: Final = 100.0  # [Pa] a vacuum that no service gauge tells from a perfect one
_STRONGEST: Final = 40e6  # [Pa] above any refrigerant circuit (quantities.py)
_AIR: Final = _celsius(-60.0, 70.0)
_PIPE: Final = _celsius(-100.0, 250.0)

# All common practice, and all wider than what is met.
_BY_DIMENSION: Final = {
    Dimension.PRESSURE: Span(_DEEPEST, _STRONGEST),
    Dimension.PRESSURE_DIFFERENCE: Span(-_STRONGEST, _STRONGEST),
    Dimension.TEMPERATURE: _PIPE,
    Dimension.TEMPERATURE_DIFFERENCE: Span(-150.0, 200.0),
    Dimension.FRACTION: Span(0.0, 1.0),
    Dimension.ROTATIONAL_SPEED: Span(0.0, 20_000.0),
    Dimension.DURATION: Span(0.0, 366 * 86_400.0),
}
_BY_NAME: Final = {
    "ambient": _AIR,
    "return_air": _AIR,
    "return_wet_bulb": _celsius(-60.0, 50.0),
    "vent_air": _AIR,
    "pressure_ratio": Span(1e-4, 1e5),
    "condensing_over_ambient": Span(-80.0, 120.0),
    "suction_below_ambient": Span(-80.0, 150.0),
    "evaporator_air_drop": Span(-60.0, 80.0),
    "condenser_air_rise": Span(-60.0, 100.0),
    "low_side_above_air": Span(-110e3, _STRONGEST),  # no lower than a vacuum under the heaviest air
    "high_side_above_air": Span(-110e3, _STRONGEST),
    "low_side_swing": Span(0.0, _STRONGEST),
    "high_side_swing": Span(0.0, _STRONGEST),
}


def reach(name: str) -> Span:
    """Return what a quantity of numbers can be [SI]; a level and a count have no end of their own."""
    if name in _BY_NAME:
        return _BY_NAME[name]
    info = QUANTITIES[name]
    return Span() if info.is_level or name in LEVELS else _BY_DIMENSION.get(info.dimension, Span())
