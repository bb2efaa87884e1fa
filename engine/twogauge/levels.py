"""Where a value lies against what is normal here: -1 and +1 are the ends of normal, 0 its middle.

The yardsticks are a word, the maker's range, a known-good earlier reading, and the bands of the rule packs, of which
one that is counted from a target is what the label or a table asks for.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.bands import Band
from twogauge.columns import Codes, Floats
from twogauge.work import Absent, Derived, Judged, Work

JUDGED_BY: Final = ("usual", "baseline", "spec", "told", "target")
_TOLD_LEVEL: Final = {"low": -2.0, "normal": 0.0, "high": 2.0, "vacuum": -3.0}
_TOLD_U: Final = 0.35  # a word lies inside its third of the scale in 98 of 100 cases


# level -> (derived quantity, field whose words and maker's range count)
LEVELS: Final[dict[str, tuple[str, str]]] = {
    "low_side_level": ("suction_saturation", "low_side"),
    "high_side_level": ("condensing_over_ambient", "high_side"),
    "superheat_level": ("superheat", "superheat"),
    "subcooling_level": ("subcooling", "subcooling"),
    "discharge_level": ("discharge_superheat", "discharge_line"),
    "vent_level": ("vent_air", "vent_air"),
    "condenser_air_rise_level": ("condenser_air_rise", "condenser_air_rise"),
    "evaporator_air_drop_level": ("evaporator_air_drop", "evaporator_air_drop"),
}


def judge(work: Work, level: str) -> Judged | Absent:
    """Measure a quantity against what is normal: a word, the maker's range, a baseline or the usual range.

    The narrowest yardstick wins, row by row. The level is (value - middle) / half-width.
    """
    if level not in work.judged:
        work.judged[level] = _judge(work, level)
    return work.judged[level]


def _judge(work: Work, level: str) -> Judged | Absent:
    quantity, field = LEVELS[level]
    n = work.n
    found = work.number(quantity)
    spec_low, spec_high = (work.columns.numbers.get(f"spec.{field}.{end}") for end in ("from", "to"))
    words = work.told(field)
    if isinstance(found, Absent) and words is None and (spec_low is None or spec_high is None):
        return found
    value, u = np.full(n, np.nan), np.full(n, np.nan)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    by = np.full(n, -1, dtype=np.int16)

    def measure(
        x: Derived, ends: tuple[Floats, Floats], edge: Floats, rows: npt.NDArray[np.bool_], which: int | Codes
    ) -> None:
        half = (ends[1] - ends[0]) / 2.0
        rows = rows & ~np.isnan(x.value) & (half > 0)
        if not rows.any():
            return
        safe = np.where(half > 0, half, 1.0)
        np.copyto(value, (x.value - (ends[0] + ends[1]) / 2.0) / safe, where=rows)
        np.copyto(u, np.hypot(x.u, edge) / safe, where=rows)
        np.copyto(low, ends[0], where=rows)
        np.copyto(high, ends[1], where=rows)
        np.copyto(by, np.int16(which) if isinstance(which, int) else which, where=rows)

    bands = _usual(work, level)
    if isinstance(found, Derived) and bands is not None:
        measure(found, (bands[0], bands[1]), bands[2] / 2.0, ~np.isnan(bands[0]), bands[4])
        earlier = work.columns.numbers.get(f"baseline.{quantity}")
        if earlier is not None:
            ends = (earlier - bands[3], earlier + bands[3])
            measure(found, ends, np.zeros(n), ~np.isnan(earlier), 1)
    if spec_low is not None and spec_high is not None:
        raw = found if field == quantity else work.measured(field)
        if isinstance(raw, Derived):
            measure(raw, (spec_low, spec_high), np.zeros(n), ~np.isnan(spec_low), 2)
    if words is not None:
        for word, position in _TOLD_LEVEL.items():
            rows = words.is_one_of([word])
            value, u = np.where(rows, position, value), np.where(rows, _TOLD_U, u)
            low, high = np.where(rows, np.nan, low), np.where(rows, np.nan, high)
            by[rows] = 3
    if bool((by < 0).all()):
        if isinstance(found, Absent):
            return found
        return why_no_band(work, level)
    return Judged(Derived(value, u), by, low, high)


def _usual(work: Work, level: str) -> tuple[Floats, Floats, Floats, Floats, Codes] | None:
    """Return low, high, edge, baseline half-width and yardstick per row; later bands win over earlier ones."""
    out: tuple[Floats, Floats, Floats, Floats, Codes] | None = None
    for band in work.bands:
        if band.level != level:
            continue
        holds_for = work.applies(band.applies_to)
        if holds_for is not None and not holds_for.any():
            continue
        low, high = _band_ends(work, band)
        rows = ~np.isnan(low)
        if holds_for is not None:
            rows &= holds_for
        if out is None:
            nan = np.full(work.n, np.nan)
            out = (nan, nan.copy(), nan.copy(), nan.copy(), np.zeros(work.n, dtype=np.int16))
        np.copyto(out[0], low, where=rows)
        np.copyto(out[1], high, where=rows)
        out[2][rows], out[3][rows], out[4][rows] = band.edge, band.baseline, JUDGED_BY.index(yardstick(work, band))
        if band.around and isinstance(middle := work.number(band.around), Derived):
            # `edge` is two standard deviations wide: what the ends are counted from is uncertain as well.
            np.copyto(out[2], np.hypot(band.edge, 2.0 * middle.u), where=rows)
    return out


def why_no_band(work: Work, level: str) -> Absent:
    """Return why no band speaks: what the one in question is counted from is not known, or there is none at all."""
    for band in reversed(work.bands):
        if band.level == level and band.around and _holds_anywhere(work, band):
            middle = work.number(band.around)
            if isinstance(middle, Absent):
                return middle
    return Absent("nothing is known about what is normal for this system", ("spec",))


def _holds_anywhere(work: Work, band: Band) -> bool:
    rows = work.applies(band.applies_to)
    return rows is None or bool(rows.any())


def yardstick(work: Work, band: Band) -> str:
    """Return what a band is as a yardstick, a word of JUDGED_BY: counted from a target it is that target."""
    return "target" if band.around and work.quantities[band.around].is_target else "usual"


def band_in_force(work: Work, level: str) -> tuple[Band, float, float] | None:
    """Return the band that a single reading's level is measured against, with its ends for these conditions [SI]."""
    for band in reversed(work.bands):
        if band.level == level and work.applies(band.applies_to) is None:
            low, high = _band_ends(work, band)
            if not math.isnan(low[0]):
                return band, float(low[0]), float(high[0])
    return None


def _band_ends(work: Work, band: Band) -> tuple[Floats, Floats]:
    """Return the ends of a band for each row; NaN where it needs the ambient temperature and that is not known."""
    low, high = np.full(work.n, band.low), np.full(work.n, band.high)
    if band.at:
        ambient = work.columns.numbers.get("ambient")
        if ambient is None:
            return np.full(work.n, np.nan), np.full(work.n, np.nan)
        at, lows, highs = (np.array(column) for column in zip(*band.at, strict=True))
        low, high = np.interp(ambient, at, lows), np.interp(ambient, at, highs)
    for shift in band.shifts:
        values = work.columns.numbers.get(shift.field)
        if values is not None:
            steps = np.fmin(np.fmax(shift.sign * (values - shift.start) / shift.each, 0.0), shift.steps)
            low += shift.low * steps
            high += shift.high * steps
    if band.around:
        middle = work.number(band.around)
        if isinstance(middle, Absent):
            return np.full(work.n, np.nan), np.full(work.n, np.nan)
        low, high = low + middle.value, high + middle.value
    return low, high
