"""Before and after a repair: each quantity between the ends of what is normal on its own day."""

from __future__ import annotations

import math
from typing import Final

from twogauge.diagnosis import Shown
from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme
from twogauge.draw.origin import of_rules
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.rows import Rows
from twogauge.draw.sheet import Sheet
from twogauge.errors import InputError
from twogauge.output.compare import headline
from twogauge.output.values import value_text
from twogauge.service.compare import Change, Comparison

_FAR: Final = 1.25  # widths of normal outside it; what lies further is drawn at the edge


@drawn
def comparison_picture(found: Comparison, *, theme: Theme = LIGHT, size: Size = PAGE) -> Picture:
    """Draw what a repair changed, against what is normal on each day.

    Args:
        found: the comparison.
        theme: light or dark.
        size: for a telephone or a page.

    Raises:
        InputError: no quantity is known on both days together with what is normal.
    """
    changes = [each for each in found.changes if _normal(each.before) and _normal(each.after)]
    if not changes:
        raise InputError(
            "nothing can be drawn: no quantity is known on both days together with what is normal for it"
        )
    given = found.before.reading.given
    sheet = Sheet(headline(found), str(given.get("machine") or ""), theme=theme, size=size, left=0.2)
    before, after = theme.series[1], theme.series[2]
    rows = Rows(sheet, size.width - 0.6)
    for change in changes:
        name = change.before.name.replace("_", " ")
        one, two = (
            value_text(shown, day.reading)
            for shown, day in ((change.before, found.before), (change.after, found.after))
        )
        counts = "" if change.counts else ", no more than the instruments may be off"
        rows.words(f"{name}: {one}, then {two}{counts}")
        _row(sheet, change, rows.bar(), before, after)
    rows.finish()
    sheet.axes.axvspan(0.0, 1.0, color=theme.grid, zorder=0.5, gid="normal")
    sheet.axes.set_xlim(-_FAR - 0.1, 1.0 + _FAR + 0.1)
    ticks = {-_FAR: "lower", 0.0: "low end", 0.5: "normal", 1.0: "high end", 1.0 + _FAR: "higher"}
    if size.columns == 1:  # too narrow for all of them
        del ticks[0.5]
    sheet.axes.set_xticks(list(ticks), list(ticks.values()))
    sheet.key_point(f"before{_date(found.before.reading.given)}", before)
    sheet.key_point(f"after{_date(found.after.reading.given)}", after)
    sheet.key_area("what is normal, for the weather of each day", Mark(theme.muted, "", (), ""))
    if not found.fair:
        sheet.note("The two readings were not taken under the same conditions.")
    sheet.foot("\u00b1 holds 19 times in 20. What lies further out is drawn at the edge.")
    sheet.foot(of_rules(found.after))
    return sheet.finish("Before and after a repair")


def _row(sheet: Sheet, change: Change, middle: float, before: Mark, after: Mark) -> None:
    one, two = _place(change.before), _place(change.after)
    line = Mark(sheet.theme.muted, "", (), "")
    sheet.line(
        [one, two], [middle, middle], line, width=2.4 if change.counts else 1.0, gid=f"change {change.before.name}"
    )
    sheet.points([one], [middle], before, gid=f"before {change.before.name}")
    sheet.points([two], [middle], after, gid=f"after {change.before.name}")


def _normal(shown: Shown) -> bool:
    return shown.normal is not None and all(map(math.isfinite, shown.normal)) and shown.normal[1] > shown.normal[0]


def _place(shown: Shown) -> float:
    """Return where a value lies: 0 and 1 are the ends of normal on its day; no further out than can be drawn."""
    if shown.normal is None:
        return math.nan
    low, high = shown.normal
    return min(max((shown.value - low) / (high - low), -_FAR), 1.0 + _FAR)


def _date(given: object) -> str:
    told = given.get("date") if isinstance(given, dict) else None
    return f", {told}" if told else ""
