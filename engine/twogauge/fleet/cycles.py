"""Windows of a cycling clutch: some regular cycles in a row make one reading, whose two sides are swings.

A cycle goes from one engagement of the clutch to the next. The ends of a swing are the mean of the lowest and the mean
of the highest values of its cycles. What follows the clutch and has no swing in a reading (temperatures of lines,
superheat, subcooling) is left out; temperatures of air count if their means over the cycles are steady.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats
from twogauge.fleet.log_rows import Flags
from twogauge.fleet.stamps import SECOND, Stamps
from twogauge.fleet.sums import Places, Sums, Whole, running
from twogauge.fleet.window_rules import CLUTCH, WindowRules

FOLLOW_THE_CLUTCH: Final = ("suction_line", "liquid_line", "discharge_line", "superheat", "subcooling")
_ROWS: Final = 2  # at least, in each half of a cycle: with fewer its ends were not seen
_MILLI: Final = 1000  # [us] in a millisecond; in it the squares of times stay within 64 bits
_NOTHING: Final = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class Found:
    """A stretch of rows that passes the test.

    Attributes:
        start, stop: its first and its last row.
        cycling: of a cycling clutch.
        swings: number of a field -> lower and upper end [SI].
        unknown: numbers of fields that have no value in it.
        seconds_on, seconds_off: mean of its cycles [s].
    """

    start: int
    stop: int
    cycling: bool = False
    swings: dict[int, tuple[float, float]] = field(default_factory=dict)
    unknown: tuple[int, ...] = ()
    seconds_on: float = np.nan
    seconds_off: float = np.nan


@dataclass(frozen=True, slots=True)
class Candidates:
    """Stretches that pass the test, ends and starts ascending.

    Attributes:
        start, stop: first and last row of each.
        details: what else is known of each; empty for steady ones.
    """

    start: Places
    stop: Places
    details: tuple[Found, ...] = ()

    def next(self, taken_to: int) -> Found | None:
        """Return the first that begins at a row or after it."""
        k = int(np.searchsorted(self.start, taken_to))
        if k == self.start.size:
            return None
        return self.details[k] if self.details else Found(int(self.start[k]), int(self.stop[k]))


@dataclass(frozen=True, slots=True)
class Engagements:
    """Where the clutch was engaged, and what each cycle between two of them was like.

    Attributes:
        rows: row of each engagement.
        good: shape (cycles,): it may be part of a window.
        on, off: how long the clutch was in and out [ms].
        low, high: field number -> lowest and highest value of each cycle [quanta].
    """

    rows: Places
    good: Flags
    on: Whole
    off: Whole
    low: dict[int, Whole]
    high: dict[int, Whole]


@dataclass(frozen=True, slots=True)
class Stretch:
    """All rows that are kept of one machine.

    Attributes:
        time: [us] shape (n,).
        runs: 1 where the clutch is engaged.
        engages: rows at which it was engaged.
        unbroken: first row that belongs together with each row.
        settled: rows far enough from the start.
        numbers, sums: [SI] shape (n, fields), and their running sums.
        fields: names of the fields.
    """

    time: Stamps
    runs: npt.NDArray[np.int8]
    engages: Flags
    unbroken: Places
    settled: Flags
    numbers: Floats
    sums: Sums
    fields: tuple[str, ...]


def find_cycles(log: Stretch, rules: WindowRules, first_new: int) -> Candidates:
    """Return each window of cycles that ends with an engagement at a new row.

    Args:
        log: the rows.
        rules: what is regular.
        first_new: the first new row.
    """
    time = log.time
    rows = np.flatnonzero(log.engages)
    if rows.size <= rules.cycles or rows[-1] < first_new:
        return Candidates(rows[:0], rows[:0])
    cycles = _look_at(log, rows, rules)
    ends = np.arange(cycles.good.size + 1)
    bad_before = np.concatenate([[-1], np.maximum.accumulate(np.where(cycles.good, -1, ends[:-1]))])
    long_enough = np.searchsorted(time[rows], time[rows] - round(rules.length * SECOND), side="right") - 1
    starts = np.minimum(ends - rules.cycles, long_enough)
    may = (starts > bad_before) & (rows >= first_new)
    last, first = ends[may], starts[may]
    fine, ranges = _regular(cycles, log, (first, last), rules)
    means = {"on": _mean(cycles.on, first, last), "off": _mean(cycles.off, first, last)}
    unknown = tuple(i for i, name in enumerate(log.fields) if name in FOLLOW_THE_CLUTCH)
    details = tuple(
        Found(
            int(rows[first[k]]),
            int(rows[last[k]]),
            cycling=True,
            swings={i: (float(low[k]), float(high[k])) for i, (low, high) in ranges.items()},
            unknown=unknown,
            seconds_on=float(means["on"][k]) / 1e3,
            seconds_off=float(means["off"][k]) / 1e3,
        )
        for k in np.flatnonzero(fine).tolist()
    )
    return Candidates(rows[first[fine]], rows[last[fine]], details)


def _look_at(log: Stretch, rows: Places, rules: WindowRules) -> Engagements:
    time = log.time
    begin, end = rows[:-1], rows[1:]
    out = running((log.runs != 1).astype(np.int64))
    samples_off = out[end] - out[begin]
    released = end - samples_off  # between two engagements the clutch is released once, and stays so
    on, off = time[released] - time[begin], time[end] - time[released]
    good = (
        (log.unbroken[end] <= begin)
        & log.settled[begin]
        & (on <= round(rules.longest_on * SECOND))
        & (off <= round(rules.stopped_after * SECOND))
        & (released - begin >= _ROWS)
        & (samples_off >= _ROWS)
    )
    low, high = {}, {}
    for i, name in enumerate(log.fields):
        if name not in CLUTCH:
            continue
        column = log.numbers[:, i]
        there = ~np.isnan(column)
        whole = np.rint(np.where(there, column, 0.0) / log.sums.quanta[i]).astype(np.int64)
        low[i] = np.minimum.reduceat(np.where(there, whole, _NOTHING), begin)[: begin.size]
        high[i] = np.maximum.reduceat(np.where(there, whole, -_NOTHING), begin)[: begin.size]
        # The last cycle ends at the last engagement, not at the last row.
        tail = slice(int(begin[-1]), int(end[-1]))
        low[i][-1] = np.where(there, whole, _NOTHING)[tail].min()
        high[i][-1] = np.where(there, whole, -_NOTHING)[tail].max()
    return Engagements(rows, good, on // _MILLI, off // _MILLI, low, high)


def _regular(
    cycles: Engagements, log: Stretch, ends: tuple[Places, Places], rules: WindowRules
) -> tuple[Flags, dict[int, tuple[Floats, Floats]]]:
    """Tell which windows of cycles are regular, and the ends of their swings [SI]."""
    first, last = ends
    sums = log.sums
    fine = np.ones(first.size, dtype=bool)
    for lengths in (cycles.on, cycles.off):
        mean, scatter = _mean(lengths, first, last), _scatter(lengths, first, last)
        fine &= scatter <= rules.regular * mean
    ranges: dict[int, tuple[Floats, Floats]] = {}
    measured = np.zeros(first.size, dtype=bool)
    for i, name in enumerate(log.fields):
        _, _, share = sums.of(i, cycles.rows[first], cycles.rows[last])
        complete = share >= rules.complete
        if name in CLUTCH:
            lows, highs = (np.where(np.abs(each[i]) == _NOTHING, 0, each[i]) for each in (cycles.low, cycles.high))
            low, high = _mean(lows, first, last), _mean(highs, first, last)
            # An irregular swing, unless it is so small that only the noise of the gauge is seen.
            limit = np.maximum(rules.regular * (high - low), rules.steady[name] * low)
            for extremes in (lows, highs):
                fine &= ~complete | (_scatter(extremes, first, last) <= limit)
            measured |= complete
            step = sums.quanta[i]
            ranges[i] = (np.where(complete, low * step, np.nan), np.where(complete, high * step, np.nan))
        elif name in rules.steady and name not in FOLLOW_THE_CLUTCH:
            means, _, there = sums.of(i, cycles.rows[:-1], cycles.rows[1:])
            steps = np.rint(np.where(there > 0.0, means, 0.0) / sums.quanta[i]).astype(np.int64)
            fine &= ~complete | (_scatter(steps, first, last) * sums.quanta[i] <= rules.steady[name])
    return fine & measured, ranges


def _mean(values: Whole, first: Places, last: Places) -> Floats:
    total = running(values)
    mean: Floats = (total[last] - total[first]) / (last - first)
    return mean


def _scatter(values: Whole, first: Places, last: Places) -> Floats:
    count = (last - first).astype(np.float64)
    first_sum, second_sum = running(values), running(values * values)
    mean = (first_sum[last] - first_sum[first]) / count
    square: Any = (second_sum[last] - second_sum[first]) / count
    scatter: Floats = np.sqrt(np.maximum(square - mean * mean, 0.0) * count / (count - 1.0))
    return scatter
