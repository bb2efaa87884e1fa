"""What became of the machines of a fleet, for a person and as JSON: `"schema": "twogauge.fleet/1"`.

Keys of the document keep their order and are always there. Within version 1 keys may be added, never renamed or removed.
Nothing is rounded; what is not known is null.

    schema     "twogauge.fleet/1"
    zone       whose days are counted
    machines   [{machine, state (fault, drift, sound, unclear, no_windows),
                 calls [{fault, title, since, called, until}]   in order of time; dates; until null while it holds
                 recent {named, of, days_named, days}           windows and days of late that name the present state
                 drifts {indicator: {direction (higher, lower), limit (K), since, called}}   against its first days
                 trends {indicator: {per_week, low, high, level, points, weeks}}   in K, K a week
                 windows
                 hours {logged, usable, off, missing, starting, unsteady, gap}
                 rows {read, bad, no_time, too_late, twice}, clock_set_back
                 daily [{date, named {fault: windows}, normal, unclear, gated, bad, indicators {indicator: mean in K}}]}]
    packs      [{pack, edition}]

Knows results only; fleet/history.py judges.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from twogauge.fleet.history import INDICATORS, LIMITS, Call, Summary
from twogauge.fleet.steady import REASONS, Shares
from twogauge.fleet.trend import Trend
from twogauge.output.style import Style
from twogauge.quantities import Dimension, UnitSet, show

SCHEMA: Final = "twogauge.fleet/1"
_HOUR: Final = 3600e6  # [us]
_WORDS: Final = {
    "off": "stopped",
    "missing": "not measured",
    "starting": "just started",
    "unsteady": "unsteady",
}
_STATES: Final = ("fault", "drift", "unclear", "sound", "no_windows")
_FOOT: Final = (
    "These are counts, not probabilities: the windows of a day share weather, load and instruments. A fault named here is "
    "a reason to look. Read that machine with twogauge diagnose: it gives the checks that settle it, the repair and the "
    "cautions."
)


def state_of(summary: Summary) -> str:
    """Return what is said of a machine in one word: fault, drift, sound, unclear or no_windows."""
    if not summary.windows:
        return "no_windows"
    if summary.present is not None:
        return "fault"
    if summary.drifts:
        return "drift"
    return "sound" if summary.sound else "unclear"


def as_text(
    summaries: Sequence[Summary], titles: Mapping[str, str], zone: str, style: Style, units: UnitSet = UnitSet.US
) -> str:
    """Return the summaries as a person reads them: faults first.

    Args:
        summaries: of every machine.
        titles: fault -> how it is called.
        zone: whose days are counted.
        style: how to print.
        units: of temperatures.
    """
    states = [state_of(each) for each in summaries]
    days = sorted(day for each in summaries for day in each.daily)
    spans = f", {days[0]} to {days[-1]} ({style.clean(zone)})" if days else ""
    counts = {state: states.count(state) for state in _STATES}
    lines = [style.bold(f"{_count(len(summaries), 'machine')}{spans}")]
    lines += style.wrap(
        f"{counts['fault']} with a fault, {counts['drift']} drifting, {counts['unclear']} unclear, {counts['sound']} with "
        "nothing wrong"
        + (f", {counts['no_windows']} never steady long enough to tell" if counts["no_windows"] else "")
    )
    order = sorted(range(len(summaries)), key=lambda i: (_STATES.index(states[i]), summaries[i].machine))
    for i in order:
        lines += ["", *_machine(summaries[i], states[i], titles, style, units)]
    lines += ["", *style.wrap(_FOOT)]
    return "\n".join(lines) + "\n"


def _machine(summary: Summary, state: str, titles: Mapping[str, str], style: Style, units: UnitSet) -> list[str]:
    name = style.clean(summary.machine) or "(no name)"
    present = summary.present
    headline = {
        "fault": f"{titles.get(present.fault, present.fault)} since {present.since}" if present else "",
        "drift": "no fault named, but it is not what it was",
        "unclear": "nothing clear",
        "sound": "nothing wrong",
        "no_windows": "no window long enough",
    }[state]
    first, *more = style.wrap(f"{name}: {headline}", hanging="  ")
    lines = [style.accent(first) if state == "fault" else style.bold(first), *more]
    said = []
    if present:
        said.append(f"Could be called on {present.called}, the day that made it enough in a row.")
    if summary.of and (present or summary.sound):
        what = "Named" if present else "Nothing wrong, say"
        by = " by" if present else ""
        said.append(
            f"{what}{by} {summary.named} of {_count(summary.of, 'window')} of the last {_count(summary.days, 'day')} "
            f"with windows, on {summary.days_named} of the days."
        )
    elif summary.of:
        votes = _votes(summary, titles)
        said.append(
            f"{_count(summary.of, 'window')} of the last {_count(summary.days, 'day')} with windows: {votes}."
        )
    said += [f"Before: {_earlier(call, titles)}." for call in summary.calls if call is not present]
    for paragraph in (
        " ".join(said),
        _drifts(summary.drifts, units),
        _trends(summary.trends, units),
        _usable(summary),
    ):
        if paragraph:
            lines += style.wrap(paragraph, "  ")
    return lines


def _votes(summary: Summary, titles: Mapping[str, str]) -> str:
    recent = [day for day in summary.daily.values() if day.told][-summary.days :]
    votes: dict[str, int] = {}
    for day in recent:
        for fault, count in day.named.items():
            votes[titles.get(fault, fault)] = votes.get(titles.get(fault, fault), 0) + count
    votes["nothing wrong"] = sum(day.normal for day in recent)
    votes["nothing clear"] = sum(day.unclear for day in recent)
    ranked = sorted(votes.items(), key=lambda item: (-item[1], item[0]))
    return ", ".join(f"{count} {name[:1].lower()}{name[1:]}" for name, count in ranked if count)


def _earlier(call: Call, titles: Mapping[str, str]) -> str:
    return f"{titles.get(call.fault, call.fault)} from {call.since} to {call.until}"


def _drifts(drifts: Mapping[str, Call], units: UnitSet) -> str:
    parts = [
        f"{name.replace('_', ' ')} {call.fault} by more than "
        f"{show(LIMITS[name], Dimension.TEMPERATURE_DIFFERENCE, units, 0)} since {call.since} (seen on {call.called})"
        for name, call in drifts.items()
    ]
    return f"Against its own first days: {'; '.join(parts)}." if parts else ""


def _trends(trends: Mapping[str, Trend], units: UnitSet) -> str:
    if not trends:
        return ""
    parts = []
    for name, trend in trends.items():
        low, middle, high = (_signed(value, units) for value in (trend.low, trend.slope, trend.high))
        parts.append(f"{name.replace('_', ' ')} {middle} ({low} to {high})")
    weeks = max(trend.span for trend in trends.values())
    return f"Change a week, over the last {weeks:.0f} weeks: {'; '.join(parts)}."


def _signed(value: float, units: UnitSet) -> str:
    text = show(abs(value), Dimension.TEMPERATURE_DIFFERENCE, units, 1)
    nothing = float(text.split()[0].replace(",", "")) == 0.0
    return text if nothing else ("-" if value < 0.0 else "+") + text


def _usable(summary: Summary) -> str:
    shares = summary.shares
    logged = shares.logged
    windows = _count(summary.windows, "window")
    rest = [
        f"{_WORDS[name]} {count / logged:.0%}"
        for name, count in zip(REASONS, shares.reasons, strict=True)
        if logged and count >= 0.005 * logged
    ]
    if logged:
        sentence = f"{windows}: {shares.usable / logged:.0%} of {logged / _HOUR:.1f} h logged was usable"
        sentence += f"; the rest: {', '.join(rest)}." if rest else "."
    else:
        sentence = f"{windows}. Nothing of its log could be used."
    spoilt = [
        (shares.bad, "no reading"),
        (shares.no_time, "without a time that can be read"),
        (shares.too_late, "too late"),
        (shares.twice, "there twice"),
    ]
    told = [f"{count} {what}" for count, what in spoilt if count]
    if told:
        sentence += f" Of {_count(shares.rows, 'row')}: {', '.join(told)}."
    if shares.set_back:
        sentence += f" Its clock was set back {_count(shares.set_back, 'time')}."
    return sentence


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


# -- for programs ----------------------------------------------------------------------------------------------------


def document(
    summaries: Sequence[Summary], titles: Mapping[str, str], zone: str, packs: Sequence[tuple[str, int]]
) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers.

    Args:
        summaries: of every machine.
        titles: fault -> how it is called.
        zone: whose days are counted.
        packs: the rules in force, with their editions.
    """
    return {
        "schema": SCHEMA,
        "zone": zone,
        "machines": [_machine_document(each, titles) for each in summaries],
        "packs": [{"pack": pack, "edition": edition} for pack, edition in packs],
    }


def _machine_document(summary: Summary, titles: Mapping[str, str]) -> dict[str, Any]:
    shares = summary.shares
    return {
        "machine": summary.machine,
        "state": state_of(summary),
        "calls": [
            {
                "fault": call.fault,
                "title": titles.get(call.fault, call.fault),
                "since": call.since.isoformat(),
                "called": call.called.isoformat(),
                "until": call.until.isoformat() if call.until else None,
            }
            for call in summary.calls
        ],
        "recent": {
            "named": summary.named,
            "of": summary.of,
            "days_named": summary.days_named,
            "days": summary.days,
        },
        "drifts": {
            name: {
                "direction": call.fault,
                "limit": LIMITS[name],
                "since": call.since.isoformat(),
                "called": call.called.isoformat(),
            }
            for name, call in summary.drifts.items()
        },
        "trends": {
            name: {
                "per_week": trend.slope,
                "low": trend.low,
                "high": trend.high,
                "level": trend.level,
                "points": trend.points,
                "weeks": trend.span,
            }
            for name, trend in summary.trends.items()
        },
        "windows": summary.windows,
        "hours": hours_of(shares),
        "rows": {
            "read": shares.rows,
            "bad": shares.bad,
            "no_time": shares.no_time,
            "too_late": shares.too_late,
            "twice": shares.twice,
        },
        "clock_set_back": shares.set_back,
        "daily": [
            {
                "date": day.isoformat(),
                "named": dict(sorted(record.named.items())),
                "normal": record.normal,
                "unclear": record.unclear,
                "gated": record.gated,
                "bad": record.bad,
                "indicators": {name: record.mean(name) for name in record.sums},
            }
            for day, record in summary.daily.items()
        ],
    }


def hours_of(shares: Shares) -> dict[str, float]:
    """Return where the time of a machine went [h]."""
    reasons = dict(zip(REASONS, shares.reasons, strict=True))
    all_of_it = {"logged": shares.logged, "usable": shares.usable, **reasons, "gap": shares.gap}
    return {name: time / _HOUR for name, time in all_of_it.items()}


def rows_of(summaries: Sequence[Summary]) -> list[dict[str, Any]]:
    """Return one flat row per machine, for a table: dates as dates, hours [h], slopes in K a week."""
    rows = []
    for each in summaries:
        present = each.present
        row: dict[str, Any] = {
            "machine": each.machine,
            "state": state_of(each),
            "fault": present.fault if present else None,
            "since": present.since if present else None,
            "called": present.called if present else None,
            "first_fault": each.first.fault if each.first else None,
            "first_since": each.first.since if each.first else None,
            "drifts_since": min((call.since for call in each.drifts.values()), default=None),
            "named": each.named,
            "of": each.of,
            "days_named": each.days_named,
            "days": each.days,
            "windows": each.windows,
            **{f"hours_{name}": hours for name, hours in hours_of(each.shares).items()},
        }
        for name in INDICATORS:
            trend = each.trends.get(name)
            row |= {
                f"{name}_per_week": trend.slope if trend else None,
                f"{name}_per_week_low": trend.low if trend else None,
                f"{name}_per_week_high": trend.high if trend else None,
            }
        rows.append(row)
    return rows


def series_of(summary: Summary, indicator: str) -> tuple[list[dt.date], list[float]]:
    """Return the days on which an indicator is known, and its means [K]."""
    known = [(day, record.mean(indicator)) for day, record in summary.daily.items()]
    kept = [(day, mean) for day, mean in known if not math.isnan(mean)]
    return [day for day, _ in kept], [mean for _, mean in kept]
