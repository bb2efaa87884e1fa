"""What is normal for one quantity, as a rule pack says it: data, with no idea of a reading.

How a reading is measured against a band stands in levels.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BandShift:
    """How a band moves with another number of the reading: (low, high) for each step beyond `start`, SI.

    Attributes:
        field: the number; where it is not given, nothing moves.
        start: value of the field from which the ends move [SI].
        sign: +1 if they move above `start`, -1 if below [1].
        each: step of the field [SI].
        low, high: what each end moves by in a step [SI].
        steps: no further than so many steps [1].
    """

    field: str
    start: float
    sign: float
    each: float
    low: float
    high: float
    steps: float


@dataclass(frozen=True, slots=True)
class Band:
    """What is normal for one quantity, for the rows it applies to.

    Attributes:
        level: the level it is the yardstick of, such as "high_side_level".
        quantity: the derived quantity the band is about.
        low, high: [SI] ends of the band; NaN where `at` has them.
        at: (ambient, low, high) [K, SI, SI], rising in ambient; straight lines between, level beyond the last.
        shifts: how the ends move with other numbers.
        swing: [SI] where the two ends of a needle lie that swings by design; for show, not for judging.
        edge: [SI] how blurred the ends are: half-width of the zone in which two makers differ.
        baseline: [SI] half-width around a known-good reading of the same machine.
        applies_to: field -> words; a row must have told one of them for each field.
        name: id in its pack, for the output.
        source: where the numbers come from.
        around: the quantity that both ends are counted from, or "" where they stand for themselves.
    """

    level: str
    quantity: str
    low: float
    high: float
    edge: float
    baseline: float
    applies_to: Mapping[str, frozenset[str]]
    name: str
    source: str
    at: tuple[tuple[float, float, float], ...] = ()
    shifts: tuple[BandShift, ...] = ()
    swing: tuple[tuple[float, float], tuple[float, float]] | None = None
    around: str = ""
