"""Line charts in the look of all pictures: a history by date, or any series over a number.

    lines_picture("Superheat of the buses", [Line("bus 17", dates, values)], up="superheat / K", source="...")

One function, so that whoever has columns of numbers needs to know nothing of the plotting library.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import matplotlib.dates as mdates
import numpy as np

from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme
from twogauge.draw.origin import of_program
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.sheet import Sheet
from twogauge.errors import InputError

MOST_LINES: Final = 5  # more cannot be told apart in black and white
MOST_POINTS: Final = 20_000  # of one line


@dataclass(frozen=True)
class Line:
    """One series of a chart.

    Attributes:
        name: for the key.
        x: dates (datetime.date or datetime), or numbers [in the unit of the axis], n of them, rising.
        y: n numbers [in the unit of the axis]; NaN leaves a gap.
        within: half-width that holds each value 19 times in 20 [in the unit of the axis], n numbers or None.
        first_fault: index of the point from which on something was wrong, or None.
        fault: what that was, for its label.
        joined: a line through the points; False for points alone.
    """

    name: str
    x: Sequence[Any]
    y: Sequence[float]
    within: Sequence[float] | None = None
    first_fault: int | None = None
    fault: str = ""
    joined: bool = True


@dataclass(frozen=True, slots=True)
class Band:
    """A range that counts as normal, across the whole chart, in the unit of the axis."""

    name: str
    low: float
    high: float


@drawn
def lines_picture(
    title: str,
    lines: Sequence[Line],
    *,
    up: str,
    across: str = "date",
    about: str = "",
    bands: Sequence[Band] = (),
    source: str = "",
    theme: Theme = LIGHT,
    size: Size = PAGE,
    show: Callable[[float], str] = "{:g}".format,
) -> Picture:
    """Draw some series over time or over a number.

    Args:
        title: what it is a picture of.
        lines: at most `MOST_LINES` of them.
        up, across: names of the axes with their units, such as "superheat / K".
        about: below the title.
        bands: what is normal.
        source: where the values come from, for the foot.
        theme: light or dark.
        size: for a telephone or a page.
        show: how a number of the vertical axis is written.

    Raises:
        InputError: no line, too many lines or points, a line whose columns differ in length, or no finite value.
    """
    _refuse_what_cannot_be_drawn(lines)
    sheet = Sheet(title, about, theme=theme, size=size)
    for band in bands:
        mark = Mark(theme.muted, "", (), "")
        sheet.axes.axhspan(band.low, band.high, color=theme.grid, alpha=0.7, zorder=0, gid=f"band {band.name}")
        sheet.key_area(band.name, mark)
    dated = isinstance(lines[0].x[0], dt.date)
    for line, mark in zip(lines, theme.series, strict=False):
        _draw(sheet, line, mark, dated=dated)
    sheet.across(across)
    if dated:
        locator = mdates.AutoDateLocator(minticks=3, maxticks=4 if size.columns == 1 else 6)  # type: ignore[no-untyped-call]
        sheet.axes.xaxis.set_major_locator(locator)
        sheet.axes.xaxis.set_major_formatter(mdates.DateFormatter("%Y-%m-%d"))  # type: ignore[no-untyped-call]
    sheet.upward(up, show)
    sheet.axes.margins(x=0.05, y=0.12)
    if source:
        sheet.foot(source)
    sheet.foot(of_program())
    return sheet.finish()


def _refuse_what_cannot_be_drawn(lines: Sequence[Line]) -> None:
    if not lines or not any(math.isfinite(y) for line in lines for y in line.y):
        raise InputError("there is nothing to draw: no line has a value")
    if len(lines) > MOST_LINES:
        raise InputError(f"{len(lines)} lines cannot be told apart on one chart; draw at most {MOST_LINES}")
    for line in lines:
        if len(line.x) != len(line.y) or len(line.y) > MOST_POINTS:
            raise InputError(
                f"{line.name}: a line needs a value for each of its points, and no more than {MOST_POINTS}; it has "
                f"{len(line.x)} and {len(line.y)}"
            )


def _draw(sheet: Sheet, line: Line, mark: Mark, *, dated: bool) -> None:
    numbers = mdates.date2num(list(line.x)) if dated else line.x  # type: ignore[no-untyped-call]
    x = np.asarray(numbers, dtype=np.float64)
    y = np.asarray(line.y, dtype=np.float64)
    if line.joined:
        sheet.line(x, y, mark, gid=f"line {line.name}")
    if line.within is not None:
        sheet.axes.errorbar(
            x, y, yerr=np.asarray(line.within), fmt="none", ecolor=mark.colour, elinewidth=1.0, capsize=2.5, zorder=4
        )
    sheet.points(x, y, mark, gid=f"points {line.name}", size=6.0 if len(y) <= 60 else 3.5)
    told = line.name
    if line.first_fault is not None:
        k = line.first_fault
        sheet.axes.plot(
            [x[k]],
            [y[k]],
            linestyle="none",
            marker="o",
            markersize=15,
            markerfacecolor="none",
            markeredgecolor=sheet.theme.ink,
            markeredgewidth=1.6,
            zorder=7,
            clip_on=False,
            gid=f"first fault {line.name}",
        )
        when = line.x[k].strftime("%Y-%m-%d") if dated else f"{line.x[k]:g}"
        told += f"; ringed: first fault{': ' + line.fault if line.fault else ''} ({when})"
    if line.joined:
        sheet.key_line(told, mark, point=True)
    else:
        sheet.key_point(told, mark)
