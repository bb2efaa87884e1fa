"""The weeks of one machine of a fleet: its indicators by day, with the day from which a fault is named ringed."""

from __future__ import annotations

from collections.abc import Mapping

from twogauge.draw.lines import Line, lines_picture
from twogauge.draw.picture import Picture
from twogauge.fleet.history import INDICATORS, Summary
from twogauge.output.fleet import series_of, state_of
from twogauge.quantities import Dimension, UnitSet, symbol_for, to_unit

_ABOUT = {
    "sound": "nothing wrong",
    "drift": "no fault named, but it is not what it was",
    "unclear": "nothing clear",
    "no_windows": "no window long enough",
}


def fleet_picture(summary: Summary, titles: Mapping[str, str], units: UnitSet = UnitSet.US) -> Picture | None:
    """Draw the days of a machine; None if no day tells an indicator.

    Args:
        summary: of the machine.
        titles: fault -> how it is called.
        units: of the temperature differences.
    """
    symbol = symbol_for(Dimension.TEMPERATURE_DIFFERENCE, units)
    call = summary.present or summary.first
    lines: list[Line] = []
    for name in INDICATORS:
        days, means = series_of(summary, name)
        if not days:
            continue
        ringed = call is not None and not lines and call.since in days
        lines.append(
            Line(
                name.replace("_", " "),
                days,
                [to_unit(mean, Dimension.TEMPERATURE_DIFFERENCE, symbol) for mean in means],
                first_fault=days.index(call.since) if call is not None and ringed else None,
                fault=titles.get(call.fault, call.fault) if call is not None and ringed else "",
            )
        )
    if not lines:
        return None
    present = summary.present
    about = (
        f"{titles.get(present.fault, present.fault)} since {present.since}; named by {summary.named} of {summary.of} "
        "windows of late"
        if present
        else _ABOUT.get(state_of(summary), "")
    )
    return lines_picture(
        summary.machine or "machine without a name",
        lines,
        up=f"temperature difference / {symbol}",
        about=about,
        source="Means of the steady windows of each day.",
    )
