"""Finds in the rows of one machine the windows that are worth a diagnosis, by the moving-window test of window_rules.py.

A window ends at the first row at which the test holds, and the next one begins no earlier than this one ended. Whatever
decides about a row lies before it, sums are of whole numbers (1 Pa, 1 mK), and what is needed of the past is carried on:
so the windows do not depend on how the rows were cut into batches, to the last bit.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats
from twogauge.fields import FIELDS
from twogauge.fleet.cycles import Candidates, Found, Stretch, find_cycles
from twogauge.fleet.log_rows import NOT_TOLD, Codes, Flags, LogRows, joined
from twogauge.fleet.stamps import SECOND, Stamps
from twogauge.fleet.sums import Sums, sums_of
from twogauge.fleet.window_rules import CLUTCH, WindowRules
from twogauge.quantities import Dimension

# Of a row of the log: the compressor is off; too little was measured; it has run too briefly; it may be steady.
OFF, MISSING, STARTING, UNSTEADY = range(4)
REASONS: Final = ("off", "missing", "starting", "unsteady")
_UNKNOWN: Final = -1


@dataclass(frozen=True, slots=True)
class Layout:
    """What the columns of the rows are.

    Attributes:
        fields: of the numbers, in order.
        words: of the words, in order.
        compressor: which of the words tells whether it runs, or -1.
        running: shape (values + 1,): the state that each of its values means; 1 runs, 0 off, -1 for NOT_TOLD.
    """

    fields: tuple[str, ...]
    words: tuple[str, ...]
    compressor: int
    running: npt.NDArray[np.int8]

    @property
    def quanta(self) -> Floats:
        """The smallest step of each number that is kept [SI]: 1 Pa, 1 mK and the like."""
        steps = {Dimension.PRESSURE: 1.0, Dimension.PRESSURE_DIFFERENCE: 1.0, Dimension.FRACTION: 1e-6}
        return np.array([steps.get(FIELDS[name].dimension or Dimension.NUMBER, 1e-3) for name in self.fields])


@dataclass(slots=True)
class Shares:
    """Where the time of one machine went, and which rows were no use [us, or how many].

    Attributes:
        usable: time within windows.
        reasons: time outside them, by REASONS.
        gap: time between rows that are too far apart.
        first, last: the earliest and the latest row.
        rows: how many came in; bad: are no readings; no_time: without a stamp; too_late, twice, set_back: see Order.
    """

    usable: int = 0
    reasons: list[int] = field(default_factory=lambda: [0] * len(REASONS))
    gap: int = 0
    first: int | None = None
    last: int | None = None
    rows: int = 0
    bad: int = 0
    no_time: int = 0
    too_late: int = 0
    twice: int = 0
    set_back: int = 0

    @property
    def logged(self) -> int:
        """All time that is in the log."""
        return self.usable + sum(self.reasons)


@dataclass(frozen=True, slots=True)
class Window:
    """One window of one machine.

    Attributes:
        start, end: [us]
        samples: rows in it.
        cycling: whether the clutch cycled; then the two sides are swings.
        low, high: [SI] per field; the mean, or the ends of a swing; high is NaN where there is none.
        words: an index per word, NOT_TOLD where nothing was told.
        seconds_on, seconds_off: mean of the cycles; NaN of a steady one.
        running_for: [s] since the start, at its end; NaN where the start was not seen.
    """

    start: int
    end: int
    samples: int
    cycling: bool
    low: Floats
    high: Floats
    words: Codes
    seconds_on: float
    seconds_off: float
    running_for: float


@dataclass(slots=True)
class _Known:
    """Rows with what was found out about each; the tail of them is kept for the next time.

    Attributes:
        rows: in the order of time.
        breaks: something ends before this row: a gap, another word.
        runs: 1, 0, or -1 where it is not known.
        engages: it is set going at this row.
        began: [us] when the compressor was started, or the first row after a gap.
        seen: whether that start is in the log.
        reason: why a row does not count; UNSTEADY for those that may.
        spent: [us] time since the row before.
    """

    rows: LogRows
    breaks: Flags
    runs: npt.NDArray[np.int8]
    engages: Flags
    began: Stamps
    seen: Flags
    reason: npt.NDArray[np.int8]
    spent: Stamps

    @property
    def unbroken(self) -> npt.NDArray[np.intp]:
        """The first row that belongs together with each row."""
        return np.maximum(_last_place(self.breaks), 0)

    def since(self, start: int) -> _Known:
        """Return the rows from one on."""
        columns = {each.name: getattr(self, each.name) for each in fields(self) if each.name != "rows"}
        part = slice(start, None)
        return _Known(self.rows.take(part), **{name: column[part] for name, column in columns.items()})

    def followed_by(self, new: _Known) -> _Known:
        """Return these rows and new ones below them."""
        names = [each.name for each in fields(self) if each.name != "rows"]
        both = {name: np.concatenate([getattr(self, name), getattr(new, name)]) for name in names}
        return _Known(joined([self.rows, new.rows]), **both)


@dataclass(slots=True)
class Finder:
    """Finds the windows of one machine.

    Attributes:
        rules: what is steady enough.
        layout: of its rows.
        shares: where its time went.
    """

    rules: WindowRules
    layout: Layout
    shares: Shares = field(default_factory=Shares)
    _tail: _Known | None = None
    _taken_to: int = 0  # index into the tail: no window begins before it
    _last: int | None = None
    _runs: int = _UNKNOWN
    _off_since: int = 0
    _off_after_on: bool = False
    _began: int = 0
    _seen: bool = False
    _told: Codes | None = None

    def add(self, rows: LogRows) -> list[Window]:
        """Take rows that are in order; return the windows that end in them."""
        starts = [0, *(i for i in np.flatnonzero(rows.fresh).tolist() if i > 0), len(rows)]
        windows = []
        for start, stop in pairwise(starts):
            if start < stop:
                windows += self._add(rows.take(slice(start, stop)))
        return windows

    def _add(self, rows: LogRows) -> list[Window]:
        if rows.fresh[0]:
            self._tail, self._taken_to, self._last, self._runs = None, 0, None, _UNKNOWN
            self._told = None
        new = self._look_at(rows)
        known = new if self._tail is None else self._tail.followed_by(new)
        windows, taken_to = self._windows(known, known.reason.size - new.reason.size)
        self._keep(known, taken_to)
        return windows

    # -- what is known of each row -------------------------------------------------------------------------------

    def _look_at(self, rows: LogRows) -> _Known:
        time = rows.time
        first = self._last is None
        step = np.diff(time, prepend=time[0] if self._last is None else self._last)
        gap = step > round(self.rules.gap * SECOND)
        gap[0] |= first
        spent = np.where(gap, 0, step)
        self.shares.gap += int(step[gap].sum())
        self.shares.first = int(time[0]) if self.shares.first is None else min(self.shares.first, int(time[0]))
        self.shares.last = int(time[-1]) if self.shares.last is None else max(self.shares.last, int(time[-1]))
        runs = self._running(rows, gap)
        engages, began, seen = self._starts(time, gap, runs)
        reason = np.full(time.size, UNSTEADY, dtype=np.int8)
        reason[time - began < round(self.rules.settle * SECOND)] = STARTING
        reason[(runs == _UNKNOWN) | self._unmeasured(rows)] = MISSING
        reason[runs == 0] = OFF
        self.shares.reasons = [
            total + int(spent[reason == which].sum()) for which, total in enumerate(self.shares.reasons)
        ]
        known = _Known(rows, gap | self._other_words(rows), runs, engages, began, seen, reason, spent)
        self._last = int(time[-1])
        return known

    def _side(self, rows: LogRows, name: str) -> Floats:
        if name not in self.layout.fields:
            return np.full(len(rows), np.nan)
        return rows.numbers[:, self.layout.fields.index(name)]

    def _unmeasured(self, rows: LogRows) -> Flags:
        neither: Flags = np.isnan(self._side(rows, CLUTCH[0])) & np.isnan(self._side(rows, CLUTCH[1]))
        return neither

    def _running(self, rows: LogRows, gap: Flags) -> npt.NDArray[np.int8]:
        """Return whether the compressor runs: as it was told last since the last gap, else by the pressures."""
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = self._side(rows, "high_side") / self._side(rows, "low_side")
        state = np.where(np.isnan(ratio), _UNKNOWN, ratio >= self.rules.running_above).astype(np.int8)
        if self.layout.compressor >= 0:
            state = self.layout.running[rows.words[:, self.layout.compressor]]
        state = state.astype(np.int8)
        place = _last_place((state != _UNKNOWN) | gap)
        carried = np.int8(self._runs)
        return np.where(place < 0, carried, state[np.maximum(place, 0)]).astype(np.int8)

    def _starts(self, time: Stamps, gap: Flags, runs: npt.NDArray[np.int8]) -> tuple[Flags, Stamps, Flags]:
        """Tell where the compressor is set going; and for each row when it was started, and whether that was seen."""
        before = np.concatenate([[self._runs], runs[:-1]])
        goes_off = (runs == 0) & ((before != 0) | gap)
        place = _last_place(goes_off)
        off_since = np.where(place < 0, self._off_since, time[np.maximum(place, 0)])
        after_on = goes_off & (before == 1) & ~gap
        off_after_on = np.where(place < 0, self._off_after_on, after_on[np.maximum(place, 0)])
        goes_on = (runs == 1) & (before == 0) & ~gap
        stood = np.concatenate([[self._off_since], off_since[:-1]])
        stood_after_on = np.concatenate([[self._off_after_on], off_after_on[:-1]])
        started = goes_on & (~stood_after_on | (time - stood > round(self.rules.stopped_after * SECOND)))
        place = _last_place(started | gap)
        began = np.where(place < 0, self._began, time[np.maximum(place, 0)])
        seen = np.where(place < 0, self._seen, started[np.maximum(place, 0)])
        self._runs, self._off_since, self._off_after_on = int(runs[-1]), int(off_since[-1]), bool(off_after_on[-1])
        self._began, self._seen = int(began[-1]), bool(seen[-1])
        return goes_on, began, seen

    def _other_words(self, rows: LogRows) -> Flags:
        """Tell where a word changes, such as the refrigerant or what the doors do; silence is no change."""
        changes = np.zeros(len(rows), dtype=bool)
        told = np.full(len(self.layout.words), NOT_TOLD, dtype=np.int32) if self._told is None else self._told.copy()
        for i in range(len(self.layout.words)):
            if i == self.layout.compressor:
                continue
            words = rows.words[:, i]
            place = _last_place(words != NOT_TOLD)
            latest = np.where(place < 0, told[i], words[np.maximum(place, 0)])
            before = np.concatenate([[told[i]], latest[:-1]])
            changes |= (latest != before) & (before != NOT_TOLD)
            told[i] = latest[-1]
        self._told = told
        return changes

    # -- windows -------------------------------------------------------------------------------------------------

    def _windows(self, known: _Known, first_new: int) -> tuple[list[Window], int]:
        """Return the windows that end at a new row, and where the last of them ends."""
        sums = sums_of(known.rows.numbers, self.layout.quanta)
        steady = self._steady(known, sums, first_new)
        stretch = Stretch(
            known.rows.time,
            known.runs,
            known.engages,
            known.unbroken,
            self._settled(known),
            known.rows.numbers,
            sums,
            self.layout.fields,
        )
        cycling = find_cycles(stretch, self.rules, first_new)
        spent = [np.cumsum(np.where(known.reason == which, known.spent, 0)) for which in range(len(REASONS))]
        windows: list[Window] = []
        taken_to = self._taken_to
        while True:
            found = min((f for each in (steady, cycling) if (f := each.next(taken_to))), key=_stop, default=None)
            if found is None:
                return windows, taken_to
            windows.append(self._window(known, sums, found))
            for which, total in enumerate(spent):
                covered = int(total[found.stop] - total[found.start])
                self.shares.reasons[which] -= covered
                self.shares.usable += covered
            taken_to = found.stop

    def _settled(self, known: _Known) -> Flags:
        settled: Flags = known.rows.time - known.began >= round(self.rules.settle * SECOND)
        return settled

    def _steady(self, known: _Known, sums: Sums, first_new: int) -> Candidates:
        """Return every window of the least length that passes the test and ends at a new row."""
        time = known.rows.time
        candidates = np.arange(first_new, time.size)
        eligible = (known.runs == 1) & self._settled(known)
        run = _last_place(~eligible | known.breaks)  # last row that cannot be inside with the one before it
        begins = np.where(run < 0, 0, np.where(eligible[np.maximum(run, 0)], run, run + 1))
        start = np.searchsorted(time, time - round(self.rules.length * SECOND), side="right") - 1
        may = eligible[candidates] & (start[candidates] >= np.maximum(begins[candidates], self._taken_to))
        stop = candidates[may]
        begin = start[stop]
        enough = stop - begin + 1 >= self.rules.samples
        stop, begin = stop[enough], begin[enough]
        fine = np.ones(stop.size, dtype=bool)
        measured = np.zeros(stop.size, dtype=bool)
        for i, name in enumerate(self.layout.fields):
            mean, scatter, share = sums.of(i, begin, stop + 1)
            complete = share >= self.rules.complete
            if name in CLUTCH:
                measured |= complete
            limit = self.rules.steady.get(name)
            if limit is not None:
                fine &= ~complete | (scatter <= limit * (mean if name in CLUTCH else 1.0))
        fine &= measured
        return Candidates(begin[fine], stop[fine])

    def _window(self, known: _Known, sums: Sums, found: Found) -> Window:
        # The row at which the last cycle ends begins the next one.
        stop = found.stop if found.cycling else found.stop + 1
        low = sums.means(found.start, stop, self.rules.complete)
        high = np.full(low.size, np.nan)
        for i, ends in found.swings.items():
            low[i], high[i] = ends
        for i in found.unknown:
            low[i] = np.nan
        words = np.full(len(self.layout.words), NOT_TOLD, dtype=np.int32)
        for i in range(words.size):
            told = known.rows.words[found.start : stop, i]
            told = told[told != NOT_TOLD]
            words[i] = told[-1] if told.size else NOT_TOLD
        end = known.rows.time[found.stop]
        return Window(
            int(known.rows.time[found.start]),
            int(end),
            stop - found.start,
            found.cycling,
            low,
            high,
            words,
            found.seconds_on,
            found.seconds_off,
            float(end - known.began[found.stop]) / SECOND if known.seen[found.stop] else np.nan,
        )

    def _keep(self, known: _Known, taken_to: int) -> None:
        """Keep of the rows what a later window may need."""
        time = known.rows.time
        rules = self.rules
        start = int(np.searchsorted(time, time[-1] - round(rules.length * SECOND), side="right")) - 1
        cycle = rules.longest_on + rules.stopped_after
        reach = max(rules.length, rules.cycles * cycle) + cycle + rules.gap
        engaged = np.flatnonzero(known.engages)
        engaged = engaged[(time[engaged] >= time[-1] - round(reach * SECOND)) & (engaged >= taken_to)]
        if engaged.size:
            start = min(start, int(engaged[0]))
        breaks = np.flatnonzero(known.breaks)
        start = max(start, taken_to, int(breaks[-1]) if breaks.size else 0, 0)
        start = min(start, time.size - 1)
        self._tail, self._taken_to = known.since(start), max(taken_to - start, 0)


def _stop(found: Found) -> int:
    return found.stop


def _last_place(flags: Flags) -> npt.NDArray[np.intp]:
    """Return for each row the last flagged one up to it, or -1."""
    return np.maximum.accumulate(np.where(flags, np.arange(flags.size), -1))
