"""What became of each machine over days and weeks, out of its windows and their answers.

The windows of one day share the weather, the load and the instruments: a hundred of them are no hundred witnesses. So
probabilities are not multiplied. Windows vote within their day, and days count:

- a day names a fault if more than half of its windows do; those that say nothing clear count against it;
- a fault is called on the third such day in a row (`CallRules.run`), days without a window left out, so that single
  outliers call nothing; it holds since the first of them, and could not have been called earlier by this rule;
- it ends on the first day of as many in a row that name something else, or nothing;
- how sure: which share of the windows of the last days names it, and on how many of the days. That is a count, not a
  probability.

What is normal for any machine is wide, so a machine is also held against itself: it drifts if the mean of a day lies
further from that of its first days than a known-good machine's may (`LIMITS`), on as many days in a row. That names no
fault, and it takes the first days for good.

Trends are slopes through the means of days (trend.py), of steady windows alone: the swing of a clutch is another quantity.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from twogauge.fleet.stamps import DAY
from twogauge.fleet.steady import Shares
from twogauge.fleet.trend import Trend, theil_sen
from twogauge.weigh import Verdict

INDICATORS: Final = ("condensing_over_ambient", "superheat", "subcooling")
# [K] The half-widths around a known-good reading of the built-in rules (rules/common/bands.yaml, common practice).
LIMITS: Final = {"condensing_over_ambient": 5.0, "superheat": 4.0, "subcooling": 3.0}
UP, DOWN, AS_BEFORE = "higher", "lower", ""
_EPOCH: Final = dt.date(1970, 1, 1)
_WEEK: Final = 7.0


@dataclass(frozen=True, slots=True)
class CallRules:
    """When a fault is called.

    Attributes:
        run: days in a row that name it.
        recent: days with windows that say how sure it is.
        trend: days back from the last one that a trend is taken over.
        fewest: windows that a day needs to name anything.
        reference: first days that a machine is held against.
    """

    run: int = 3
    recent: int = 7
    trend: int = 56
    fewest: int = 2
    reference: int = 7


@dataclass(slots=True)
class DayRecord:
    """The windows of one machine on one day.

    Attributes:
        named: fault -> how many windows name it.
        normal, unclear, gated: how many find nothing wrong, nothing clear, or that pressures mean nothing.
        bad: how many are no readings.
        sums: indicator -> [how many steady windows tell it, their sum in SI].
    """

    named: dict[str, int] = field(default_factory=dict)
    normal: int = 0
    unclear: int = 0
    gated: int = 0
    bad: int = 0
    sums: dict[str, list[float]] = field(default_factory=dict)

    @property
    def told(self) -> int:
        """How many windows may vote."""
        return sum(self.named.values()) + self.normal + self.unclear

    def leader(self, fewest: int) -> str | None:
        """Return the fault that the day names, "" for nothing wrong, or None for neither."""
        if self.told < fewest:
            return None
        votes = {**self.named, "": self.normal}
        best = max(votes, key=lambda name: (votes[name], name))
        return best if 2 * votes[best] > self.told else None

    def mean(self, indicator: str) -> float:
        """Return the mean of an indicator [SI]; NaN where no steady window told it."""
        count, total = self.sums.get(indicator, (0.0, 0.0))
        return total / count if count else float("nan")


@dataclass(frozen=True, slots=True)
class Call:
    """A fault, or a drift, from the first day that named it to the last.

    Attributes:
        fault: its id; of a drift, UP or DOWN.
        since: the first day of the run that called it.
        called: the day on which it could be called, the earliest by this rule.
        until: the last day before something else was named as often; None if it still holds.
    """

    fault: str
    since: dt.date
    called: dt.date
    until: dt.date | None


@dataclass(frozen=True, slots=True)
class Summary:
    """What became of one machine.

    Attributes:
        machine: its name.
        calls: what was called, in order of time.
        named, of: how many of the windows of the last days name the present fault (or that nothing is wrong).
        days_named, days: on how many of those days most windows do.
        drifts: indicator -> since when it is UP or DOWN against the first days; only what still holds.
        trends: indicator -> slope per week [SI].
        daily: day -> what its windows say, in order of time.
        windows: how many there were.
        shares: where its time went.
    """

    machine: str
    calls: tuple[Call, ...]
    named: int
    of: int
    days_named: int
    days: int
    drifts: Mapping[str, Call]
    trends: Mapping[str, Trend]
    daily: Mapping[dt.date, DayRecord]
    windows: int
    shares: Shares

    @property
    def present(self) -> Call | None:
        """The fault that holds now, if any."""
        return self.calls[-1] if self.calls and self.calls[-1].until is None else None

    @property
    def first(self) -> Call | None:
        """The first fault that was ever called."""
        return self.calls[0] if self.calls else None

    @property
    def sound(self) -> bool:
        """Whether nothing is called and most of the last windows find nothing wrong."""
        return self.present is None and 2 * self.named > self.of


class History:
    """Folds windows and answers into days; its size grows with machines and days, not with windows.

    Args:
        zone: whose days are counted, by its name in the tz database.
        rules: when a fault is called.
    """

    def __init__(self, zone: str = "UTC", rules: CallRules | None = None) -> None:
        self.zone = zone
        self.rules = rules or CallRules()
        self._machines: dict[str, dict[int, DayRecord]] = {}

    def add(self, windows: pa.RecordBatch, answers: pa.RecordBatch) -> None:
        """Take windows and their answers, row by row the same.

        Args:
            windows: as `WindowFinder` gives them.
            answers: as `Diagnoser.answer` gives them for these windows.
        """
        verdict = answers.column("verdict").cast(pa.string()).fill_null("bad")
        named = pc.equal(verdict, Verdict.FAULT.word)
        word = pc.if_else(named, answers.column("first").cast(pa.string()), "")
        steady = pc.equal(windows.column("kind"), "steady")
        table = pa.table(
            {
                "machine": windows.column("machine"),
                "day": self._days(windows.column("start")),
                "verdict": verdict,
                "word": word,
                **{name: pc.if_else(steady, answers.column(name), None) for name in INDICATORS},
            }
        )
        sums = [(name, how) for name in INDICATORS for how in ("count", "sum")]
        grouped = table.group_by(["machine", "day", "verdict", "word"], use_threads=False).aggregate(
            [([], "count_all"), *sums]
        )
        for row in grouped.to_pylist():
            self._fold(row)

    def _days(self, stamps: pa.Array) -> pa.Array:
        local = pc.local_timestamp(stamps.cast(pa.timestamp("us", self.zone)))
        return pc.floor(pc.divide(local.cast(pa.int64()).cast(pa.float64()), float(DAY))).cast(pa.int64())

    def _fold(self, row: Mapping[str, object]) -> None:
        days = self._machines.setdefault(str(row["machine"]), {})
        day = days.setdefault(int(str(row["day"])), DayRecord())
        count = int(str(row["count_all"]))
        if row["verdict"] == Verdict.FAULT.word:
            name = str(row["word"])
            day.named[name] = day.named.get(name, 0) + count
        elif row["verdict"] == Verdict.NORMAL.word:
            day.normal += count
        elif row["verdict"] == Verdict.GATED.word:
            day.gated += count
        elif row["verdict"] == "bad":
            day.bad += count
        else:
            day.unclear += count
        for name in INDICATORS:
            known = int(str(row[f"{name}_count"]))
            if known:
                sums = day.sums.setdefault(name, [0.0, 0.0])
                sums[0] += known
                sums[1] += float(str(row[f"{name}_sum"]))

    def summaries(self, shares: Mapping[str, Shares]) -> tuple[Summary, ...]:
        """Return what became of each machine, by name.

        Args:
            shares: where the time of each machine went; a machine without any window is told as well.
        """
        names = sorted({*self._machines, *shares})
        return tuple(self._summary(name, shares.get(name, Shares())) for name in names)

    def _summary(self, machine: str, shares: Shares) -> Summary:
        records = self._machines.get(machine, {})
        days = sorted(records)
        calls = _calls(
            [(day, records[day].leader(self.rules.fewest)) for day in days if records[day].told], self.rules
        )
        recent = [records[day] for day in days if records[day].told][-self.rules.recent :]
        fault = calls[-1].fault if calls and calls[-1].until is None else ""
        named = sum(day.named.get(fault, 0) if fault else day.normal for day in recent)
        return Summary(
            machine,
            tuple(calls),
            named,
            sum(day.told for day in recent),
            sum(day.leader(self.rules.fewest) == fault for day in recent),
            len(recent),
            self._drifts(records),
            self._trends(records),
            {_date(day): records[day] for day in days},
            sum(day.told + day.gated + day.bad for day in records.values()),
            shares,
        )

    def _drifts(self, records: Mapping[int, DayRecord]) -> Mapping[str, Call]:
        found = {}
        for name, limit in LIMITS.items():
            points = [(day, records[day].mean(name)) for day in sorted(records)]
            known = [(day, mean) for day, mean in points if not np.isnan(mean)]
            first, rest = known[: self.rules.reference], known[self.rules.reference :]
            if not rest:
                continue
            usual = sum(mean for _, mean in first) / len(first)
            words = [(day, _direction(mean - usual, limit)) for day, mean in rest]
            calls = _calls(words, self.rules)
            if calls and calls[-1].until is None:
                found[name] = calls[-1]
        return found

    def _trends(self, records: Mapping[int, DayRecord]) -> Mapping[str, Trend]:
        if not records:
            return {}
        first = max(records) - self.rules.trend + 1
        found = {}
        for name in INDICATORS:
            points = [(day, records[day].mean(name)) for day in sorted(records) if day >= first]
            known = np.array([point for point in points if not np.isnan(point[1])])
            if known.size and known[-1, 0] - known[0, 0] >= _WEEK:
                trend = theil_sen((known[:, 0] - known[0, 0]) / _WEEK, known[:, 1])
                if trend is not None:
                    found[name] = trend
        return found


def _calls(leaders: Sequence[tuple[int, str | None]], rules: CallRules) -> list[Call]:
    """Return what was called, from what each day with windows names."""
    calls: list[Call] = []
    run: list[int] = []  # days in a row that name `word`
    word: str | None = None
    away: list[int] = []  # days in a row that do not name what is called
    before = 0  # the last day that did
    for day, leader in leaders:
        run, word = ([*run, day], word) if leader == word else ([day], leader)
        present = calls[-1] if calls and calls[-1].until is None else None
        if present is not None:
            away = [] if leader == present.fault else [*away, day]
            before = before if away else day
            if len(away) >= rules.run:
                calls[-1] = Call(present.fault, present.since, present.called, _date(before))
                present = None
        if present is None and word and len(run) >= rules.run:
            calls.append(Call(word, _date(run[0]), _date(day), None))
            away, before = [], day
    return calls


def _direction(change: float, limit: float) -> str:
    return UP if change > limit else DOWN if change < -limit else AS_BEFORE


def _date(day: int) -> dt.date:
    return _EPOCH + dt.timedelta(days=day)
