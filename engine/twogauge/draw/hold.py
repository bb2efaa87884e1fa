"""A hold test: the readings with what the gauge may be off, and the curves of the causes that could be."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme
from twogauge.draw.origin import of_program
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.sheet import Sheet
from twogauge.output.hold import SHORT, difference, headline, minutes, vacuum
from twogauge.output.style import percent
from twogauge.quantities import PA_PER_MICRON, Dimension, UnitSet, show, symbol_for, to_unit
from twogauge.service.hold import Hold
from twogauge.service.holdcurves import Surroundings
from twogauge.service.holdgauge import reading_errors
from twogauge.service.holdlog import HoldLog
from twogauge.service.nitrogen import PressureHold

CURVES: Final = 3  # that are drawn, the likeliest ones
_LEAST: Final = 0.02  # [1] less likely ones are not drawn
_COVERS: Final = 2.0
_CLOSE: Final = 60  # more rows stand so close that bars would run into each other
_SPREAD: Final = 20.0  # pressures that spread further are drawn over their logarithm
_NEAR: Final = 1.5  # a limit is drawn where it lies within the readings, or that much above them


@drawn
def hold_picture(found: Hold, units: UnitSet, *, about: str = "", theme: Theme = LIGHT, size: Size = PAGE) -> Picture:
    """Draw a vacuum behind a shut valve with the curves that could explain it.

    Args:
        found: what the log says.
        units: the reader's.
        about: of which machine, for the line below the title.
        theme: light or dark.
        size: for a telephone or a page.
    """
    sheet = Sheet(headline(found), about, theme=theme, size=size, left=0.72)
    factor, unit = {UnitSet.US: (PA_PER_MICRON, "micron"), UnitSet.SI: (1.0, "Pa")}.get(units, (100.0, "mbar"))
    scale, time_unit = _time(float(found.t[-1]))
    ahead = np.linspace(0.0, 1.08 * float(found.t[-1]), 300)
    even = np.ones_like(ahead)
    around = Surroundings(ahead, found.barometer, even, even)
    drawn_causes = 0
    odds_count = found.why not in {"bottomed out", "no curve fits"}
    # The marks of the gauges are left to the gauges: the curves begin with the next ones.
    for (cause, probability), mark in zip(found.weighed.ranked()[:CURVES], _curves(theme), strict=True):
        best = found.weighed.best_of(cause)
        if (probability < _LEAST and drawn_causes) or not best.weights.size:
            continue
        amounts, tau = best.best()
        curve = best.shape.curve(amounts, tau, around)[0]
        width = 2.2 - 0.5 * drawn_causes
        # Rows close together would hide the curves.
        above = 7 if found.t.size > _CLOSE else 3
        sheet.line(ahead / scale, curve / factor, mark, width=width, above=above, gid=f"curve {cause}")
        sheet.key_line(
            f"{SHORT[cause]}: {percent(probability)}" if odds_count else f"{SHORT[cause]}, as near as it comes",
            mark,
            width=width,
        )
        drawn_causes += 1
    _readings(sheet, found, units, factor, scale)
    lowest = _limits(sheet, found, units, factor, scale)
    _frame(sheet, found, factor, lowest)
    sheet.across(f"time since the valve was shut / {time_unit}")
    sheet.upward(f"absolute pressure / {unit}", None if sheet.axes.get_yscale() == "log" else "{:g}".format)
    if found.coldest_from == "measured":
        sheet.note("The curves are drawn for an even temperature; the log was weighed with the one it tells.")
    if not math.isnan(found.wait) and found.why != "no curve fits":
        first, second = (f"'{SHORT[name]}'" for name in found.rivals)
        can = f"can be told apart {minutes(found.wait)} after the valve was shut"
        cannot = "cannot be told apart within a day with this gauge"
        sheet.note(f"{first} and {second} {can if math.isfinite(found.wait) else cannot}.")
    sheet.foot(
        "Curves: the likeliest of each cause; a percentage is its probability after the readings."
        if odds_count
        else "Curves: as near as each cause comes to the readings, which is not near enough to say how likely it is."
    )
    sheet.foot(of_program())
    return sheet.finish(f"Pressure over time in a closed vacuum: {found.t.size} readings")


@drawn
def nitrogen_picture(
    log: HoldLog, found: PressureHold, units: UnitSet, *, about: str = "", theme: Theme = LIGHT, size: Size = PAGE
) -> Picture:
    """Draw a test under dry nitrogen with what temperature and weather let the gauge show at its end.

    Args:
        log: as it was read.
        found: what it says.
        units: the reader's.
        about: of which machine, for the line below the title.
        theme: light or dark.
        size: for a telephone or a page.
    """
    sheet = Sheet(f"A test under dry nitrogen: {_VERDICTS[found.verdict]}", about, theme=theme, size=size, left=0.72)
    unit = symbol_for(Dimension.PRESSURE, units)
    scale, time_unit = _time(found.lasted)

    def up(pressure: Any) -> Any:
        return to_unit(pressure, Dimension.PRESSURE, unit)

    rows = [(row.time, row.pressure) for row in log.rows if row.pressure is not None]
    t = np.array([time for time, _ in rows]) - rows[0][0]
    p = np.array([each.value - (0.0 if each.reference == "gauge" else found.barometer) for _, each in rows])
    sheet.line(t / scale, up(p), Mark(theme.muted, "", (), ""), width=1.0, gid="between")
    sheet.points(t / scale, up(p), theme.low, gid="readings", size=7.0 if t.size <= 60 else 3.5)
    sheet.key_point("readings of the gauge", theme.low)
    wide = to_unit(found.significant, Dimension.PRESSURE_DIFFERENCE, unit)
    at, should = found.lasted / scale, float(up(found.should))
    sheet.axes.errorbar(
        [at], [should], yerr=[wide], fmt="none", ecolor=theme.air.colour, elinewidth=1.8, capsize=6, zorder=4
    )
    sheet.points([at], [should], theme.air, gid="should", size=8.0)
    less = show(found.significant, Dimension.PRESSURE_DIFFERENCE, units)
    sheet.key_point(
        f"what it should show at the end: {show(found.should, Dimension.PRESSURE, units)}; less than {less} away tells "
        "nothing",
        theme.air,
    )
    missing = show(abs(found.drop), Dimension.PRESSURE_DIFFERENCE, units)
    sheet.note(f"At the temperature of the start {missing} {'is missing' if found.drop >= 0.0 else 'is too much'}.")
    if math.isnan(found.warmest):
        sheet.note("No temperature was measured, so what it did to the pressure is allowed for and not taken out.")
    sheet.axes.margins(x=0.06, y=0.25)
    sheet.across(f"time / {time_unit}")
    sheet.upward(f"gauge pressure / {unit}")
    sheet.foot(of_program())
    return sheet.finish(f"Gauge pressure over time under dry nitrogen: {t.size} readings")


_VERDICTS: Final = {
    "holds": "it holds",
    "drops": "it drops",
    "rises": "it rises",
    "cannot say": "cannot say",
    "above the limit": "above the limit",
}


def _curves(theme: Theme) -> tuple[Mark, ...]:
    ladder = theme.series
    return tuple(
        Mark(mark.colour, "", dashes, "")
        for mark, dashes in zip((ladder[2], ladder[1], ladder[3]), ((), (5.0, 1.6), (1.6, 1.4)), strict=True)
    )


def _time(lasts: float) -> tuple[float, str]:
    """Return seconds to the unit that suits how long it lasted, and its name."""
    if lasts < 180.0:
        return 1.0, "s"
    return (60.0, "min") if lasts <= 6 * 3600.0 else (3600.0, "h")


def _readings(sheet: Sheet, found: Hold, units: UnitSet, factor: float, scale: float) -> None:
    """Draw the readings with what the gauge may be off: a bar for each, or an area where they stand close together."""
    step, noise = reading_errors(found.gauge, found.p)
    within = _COVERS * np.hypot(noise, step / math.sqrt(12.0))
    point = Mark(sheet.theme.ink, "o", (), "")
    t, p, wide = found.t / scale, found.p / factor, within / factor
    close = t.size > _CLOSE
    if close:
        lowest = 0.1 * p.min()  # a logarithmic axis has no zero
        area = (np.concatenate([t, t[::-1]]), np.concatenate([p + wide, np.maximum(p - wide, lowest)[::-1]]))
        sheet.area(*area, Mark(sheet.theme.muted, "", (), ""), gid="within")
    else:
        sheet.axes.errorbar(
            t, p, yerr=wide, fmt="none", ecolor=sheet.theme.ink, elinewidth=1.0, capsize=2.5, zorder=5
        )
    sheet.points(t, p, point, gid="readings", size=3.0 if close else 6.0)
    off = difference(float(within[-1]), units)
    sheet.key_point(f"readings; step and noise of the gauge leave the last one within {off}", point)
    if close:
        sheet.key_area("what step and noise of the gauge leave open", Mark(sheet.theme.muted, "", (), ""))


def _limits(sheet: Sheet, found: Hold, units: UnitSet, factor: float, scale: float) -> float:
    """Draw what criteria ask for, and where water boils, where that lies near the readings; return the lowest [Pa]."""
    lowest = math.inf
    top = _NEAR * float(found.p.max())
    dotted = Mark(sheet.theme.muted, "", (1.0, 1.4), "")
    for judged in found.criteria:
        criterion = judged.criterion
        is_rise = not math.isnan(criterion.rises)
        level = float(found.p[0]) + criterion.rises if is_rise else criterion.reaches
        if not level <= top:
            continue
        lowest = min(lowest, level)
        until = criterion.within / scale if is_rise else sheet.axes.get_xlim()[1]
        sheet.line([0.0, until], [level / factor] * 2, dotted, width=1.3, gid=f"criterion {criterion.title}")
        sheet.key_line(f"{vacuum(level, units)}: {criterion.title}: {judged.result}", dotted)
    water = found.start.water_at_coldest
    if water <= top:
        dashed = Mark(sheet.theme.muted, "", (6.0, 2.0), "")
        line = sheet.axes.axhline(water / factor, color=dashed.colour, linewidth=1.0, gid="water")
        line.set_dashes(dashed.dashes)
        warm = show(found.coldest, Dimension.TEMPERATURE, units)
        guessed = ", guessed" if found.coldest_from == "guessed" else ""
        word = "ice evaporates" if found.coldest < 273.16 else "water boils"
        sheet.key_line(f"{vacuum(water, units)}: {word} at the coldest part ({warm}{guessed})", dashed)
        lowest = min(lowest, water)
    return lowest


def _frame(sheet: Sheet, found: Hold, factor: float, lowest: float) -> None:
    low, high = float(found.p.min()), float(found.p.max())
    if low > 0.0 and high / low > _SPREAD:
        sheet.axes.set_yscale("log")
        axis = sheet.axes.yaxis
        axis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())
        sheet.axes.set_ylim(0.6 * min(low, lowest) / factor, None)
        return
    _, top = sheet.axes.get_ylim()
    sheet.axes.set_ylim(0.0, min(max(top, 1.1 * high / factor), 3.0 * high / factor))
