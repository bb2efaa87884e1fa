"""The pressure-temperature curve with today's two readings, their uncertainty, the air, and what is normal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from twogauge import refrigerants
from twogauge.diagnosis import Diagnosis, Shown
from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme
from twogauge.draw.origin import WITHIN, of_air, of_refrigerant, of_rules
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.sheet import Sheet
from twogauge.errors import InputError
from twogauge.output.values import machine_words, range_text, so_it_is, value_text
from twogauge.quantities import Dimension, symbol_for, to_unit
from twogauge.refrigerants import Refrigerant
from twogauge.tables import has_glide

_COVERS: Final = 2.0  # standard uncertainties of a bar
_OUTER: Final = 9.0  # [pt] size of a point
_INNER: Final = 5.0  # [pt] and of one that would hide another
_ROOM: Final = 9.0  # [K] left and right of what is drawn
_NAMES: Final = {"low_side": "low side", "high_side": "high side"}
_SATURATION: Final = {"low_side": "suction_saturation", "high_side": "condensing_saturation"}
_BY: Final = {
    "usual": "what most healthy machines of this kind show",
    "baseline": "around the known-good reading",
    "spec": "the maker's range for this day",
    "target": "what the label or the table asks for",
}


@dataclass(frozen=True)
class _Side:
    """One gauge: pressure and saturation temperature as the diagnosis shows them, and how it is drawn."""

    name: str
    mark: Mark
    pressure: Shown
    saturation: Shown | None


def about(diagnosis: Diagnosis) -> str:
    """Return which machine, what it is, when it was read, and where it stands, for the line below a title."""
    given = diagnosis.reading.given
    words = machine_words(diagnosis.reading.parts)
    kind = words[1:] if "refrigerant" in diagnosis.reading.parts.words else words  # that stands in the title
    return ", ".join([*(str(given[key]) for key in ("machine", "date") if given.get(key)), *kind])


@drawn
def saturation_picture(diagnosis: Diagnosis, *, theme: Theme = LIGHT, size: Size = PAGE) -> Picture:
    """Draw the saturation curve with what the gauges show.

    Args:
        diagnosis: of the reading; what is normal stands on the picture as far as it tells it.
        theme: light or dark.
        size: for a telephone or a page.

    Raises:
        InputError: the refrigerant is not known, or neither gauge was told as a number.
    """
    reading = diagnosis.reading
    name = reading.parts.words.get("refrigerant")
    shown = {each.name: each for each in diagnosis.derived}
    missing = [
        *([] if name else ["the refrigerant"]),
        *([] if set(_NAMES) & set(shown) else ["the pressure of a gauge as a number"]),
    ]
    if name is None or missing:
        raise InputError(f"the gauges cannot be set on a saturation curve: {' and '.join(missing)} is missing")
    what = refrigerants.get(name)
    sheet = Sheet(f"What the gauges mean: {what.title}", about(diagnosis), theme=theme, size=size)
    sides = [
        _Side(side, mark, shown[side], shown.get(_SATURATION[side]))
        for side, mark in (("low_side", theme.low), ("high_side", theme.high))
        if side in shown
    ]
    return _Painter(diagnosis, what, sheet, sides).paint()


class _Painter:
    def __init__(self, diagnosis: Diagnosis, what: Refrigerant, sheet: Sheet, sides: list[_Side]) -> None:
        self._diagnosis = diagnosis
        self._reading = diagnosis.reading
        self._what = what
        self._sheet = sheet
        self._sides = sides
        self._critical = (what.critical_temperature, what.critical_pressure)
        self._ambient = self._reading.parts.numbers.get("ambient", math.nan)
        units = self._reading.units
        self._degrees = symbol_for(Dimension.TEMPERATURE, units)
        self._force = symbol_for(Dimension.PRESSURE, units)

    def paint(self) -> Picture:
        sheet, theme = self._sheet, self._sheet.theme
        low, high = self._span()
        at = np.linspace(low, min(high, self._what.temperature_max()), 240)
        sheet.axes.set_xlim(self._across(low), self._across(high))
        for side in self._sides:
            self._point(side)
        if not math.isnan(self._ambient):
            air = theme.air
            line = sheet.axes.axvline(self._across(self._ambient), color=air.colour, linewidth=1.4, gid="ambient")
            line.set_dashes(air.dashes)
            sheet.key_line(f"air at the condenser {self._reading.show(Dimension.TEMPERATURE, self._ambient)}", air)
        glides = has_glide(self._what)
        ink = Mark(theme.ink, "", (), "")
        sheet.line(
            self._across(at), self._up(self._what.saturation_pressure(at, "dew")), ink, width=2.0, above=3, gid="dew"
        )
        title = f"saturation of {self._what.title}"
        sheet.key_line(f"{title}, dew point: superheat is counted from it" if glides else title, ink, width=2.0)
        if glides:
            dashed = Mark(theme.muted, "", (4.0, 2.0), "")
            bubble = self._up(self._what.saturation_pressure(at, "bubble"))
            sheet.line(self._across(at), bubble, dashed, above=3, gid="bubble")
            sheet.key_line("bubble point: subcooling is counted from it", dashed)
        if self._nears_critical:
            self._critical_point(high, glides=glides)
        for side in self._sides:
            self._band(side, low, high)
        self._words()
        self._frame()
        sheet.foot(f"{WITHIN} {of_air(self._reading)} {of_refrigerant(self._what)}")
        sheet.foot(of_rules(self._diagnosis))
        return sheet.finish(f"Saturation curve of {self._what.title} with the readings of two gauges on it")

    # -- the parts -----------------------------------------------------------------------------------------------

    def _critical_point(self, high: float, *, glides: bool) -> None:
        """Draw the critical point, and what is left of the way there from where the curve ends."""
        sheet, muted = self._sheet, self._sheet.theme.muted
        t, p = self._critical
        for phase in ("bubble", "dew") if glides else ("dew",):
            end = self._what.temperature_max(phase)
            if end < high:
                rest = Mark(muted, "", (1.2, 1.2), "")
                y = [self._what.saturation_pressure(end, phase), p]
                sheet.line(self._across(np.array([end, t])), self._up(np.array(y)), rest, gid=f"rest {phase}")
        mark = Mark(sheet.theme.ink, "P", (), "")
        sheet.points([self._across(t)], [self._up(p)], mark, gid="critical point", size=10.0)
        at = self._reading.show(Dimension.TEMPERATURE, t)
        sheet.key_point(f"critical point {at}: nothing condenses above it", mark)

    def _normal(self, side: _Side) -> tuple[tuple[float, float], str] | None:
        """Return the ends of what is normal [Pa] and whose they are; above the critical point only the maker's."""
        if side.pressure.normal is not None:
            return side.pressure.normal, side.pressure.judged_by
        told = self._reading.parts.spec.get(side.name)
        return (told, "spec") if told is not None and side.pressure.value >= self._critical[1] else None

    def _band(self, side: _Side, low: float, high: float) -> None:
        found = self._normal(side)
        if found is None:
            if self._is_beyond(side):
                at = self._reading.show(Dimension.TEMPERATURE, self._critical[0])
                self._sheet.note(
                    f"What is normal for the {_NAMES[side.name]} is not drawn: in air this warm it lies beyond the "
                    f"critical point ({at}), where the maker's control sets the pressure, and the pressure "
                    "alone tells no temperature."
                )
            return
        normal, judged_by = found
        ends = [self._critical[1] if math.isnan(end) else end for end in normal]
        # From the dial to the curve and down: what is normal as a pressure and as a temperature. Where no temperature
        # belongs to a pressure it goes all the way across.
        along = np.linspace(ends[0], ends[1], 160)
        t = np.clip(np.where(along < self._critical[1], self._on_the_curve(along), high), low, high)
        x = np.concatenate([[low], t, [low]])
        y = np.concatenate([[along[0]], along, [along[-1]]])
        self._sheet.area(self._across(x), self._up(y), side.mark, gid=f"normal {side.name}")
        told = range_text(normal, Dimension.PRESSURE, self._reading)
        by = _BY.get(judged_by, "")
        self._sheet.key_area(f"normal {_NAMES[side.name]} here: {told}" + (f" ({by})" if by else ""), side.mark)

    def _point(self, side: _Side) -> None:
        sheet, name = self._sheet, _NAMES[side.name]
        y = self._up(side.pressure.value)
        said = f"{name} {value_text(side.pressure, self._reading)}"
        level = so_it_is(side.pressure)
        if side.saturation is None or math.isnan(side.saturation.value):
            sheet.axes.axhline(
                y, color=side.mark.colour, linewidth=1.8, dashes=side.mark.dashes or (4, 2), gid=side.name
            )
            tall = _COVERS * to_unit(side.pressure.u, Dimension.PRESSURE_DIFFERENCE, self._force)
            left, right = sheet.axes.get_xlim()
            near = left + 0.03 * (right - left)
            sheet.axes.errorbar(
                [near], [y], yerr=[tall], fmt="none", ecolor=side.mark.colour, elinewidth=1.6, capsize=4, zorder=5
            )
            sheet.label(near, y, name, colour=side.mark.colour, xytext=(8, 5))
            why = dict(self._diagnosis.missing).get(_SATURATION[side.name], "it has no saturation temperature")
            sheet.key_line(f"{said}: {why}", side.mark)
            return
        x = self._across(side.saturation.value)
        swing = self._reading.parts.swings.get(side.name)
        if swing is not None:
            along = np.linspace(swing[0], swing[1], 30)
            at = self._what.saturation_temperature(along)
            sheet.line(
                self._across(at),
                self._up(along),
                Mark(side.mark.colour, "", (), ""),
                width=6.0,
                gid=f"swing {side.name}",
            )
        wide = _COVERS * to_unit(side.saturation.u, Dimension.TEMPERATURE_DIFFERENCE, self._degrees)
        tall = _COVERS * to_unit(side.pressure.u, Dimension.PRESSURE_DIFFERENCE, self._force)
        bottom = sheet.axes.get_xlim()[0]
        sheet.axes.plot([bottom, x], [y, y], color=side.mark.colour, linewidth=0.9, linestyle=(0, (2, 2)), zorder=4)
        sheet.axes.errorbar(
            [x],
            [y],
            xerr=[wide],
            yerr=[tall],
            fmt="none",
            ecolor=side.mark.colour,
            elinewidth=1.6,
            capsize=4,
            zorder=5,
        )
        sheet.points([x], [y], side.mark, gid=side.name, size=_INNER if self._hides_another(side) else _OUTER)
        right = side.name == "low_side"
        # In a vacuum there is no room below the point, and the curve is flat enough for the name to stand above it.
        below_the_curve = (10, -12) if side.pressure.value >= self._reading.parts.barometer else (10, 16)
        sheet.label(
            x,
            y,
            name,
            colour=side.mark.colour,
            xytext=below_the_curve if right else (-10, 8),
            ha="left" if right else "right",
        )
        told = f"{said} boils at" if right else f"{said} condenses at"
        swung = ", the middle of its swing" if swing is not None else ""
        sheet.key_point(
            f"{told} {value_text(side.saturation, self._reading)}{swung}" + (f": {level}" if level else ""), side.mark
        )

    def _words(self) -> None:
        """Say which gauge is not drawn, and what keeps the readings from meaning anything."""
        words = self._reading.parts.words
        for side, name in _NAMES.items():
            if side not in {each.name for each in self._sides}:
                told = words.get(side)
                why = f"it was told as '{told.replace('_', ' ')}'" if told else "it was not read"
                self._sheet.note(f"The {name} is not drawn: {why}.")
        if math.isnan(self._ambient):
            self._sheet.note("The temperature of the air is not known, so its line is not drawn.")
        for gate in self._diagnosis.gates:
            self._sheet.note(" ".join([f"{gate.title}: {gate.text}", *([gate.instead] if gate.instead else [])]))

    def _frame(self) -> None:
        sheet = self._sheet
        _, top = sheet.axes.get_ylim()
        seen = [self._up(side.pressure.value - _COVERS * side.pressure.u) for side in self._sides]
        perfect = self._up(0.0)
        if self._nears_critical:
            self._above_critical(top := max(top, 1.06 * self._up(self._critical[1])))
        # A little below zero, so that a reading close to it has room for its name.
        sheet.axes.set_ylim(max(min(0.0, *seen) - 0.07 * top, perfect), top)
        sheet.axes.axhline(0.0, color=sheet.theme.muted, linewidth=0.8, zorder=1)
        sheet.across(f"saturation temperature / {self._degrees}")
        sheet.upward(f"gauge pressure / {self._force}")
        if min(seen) < 0.0:
            sheet.note("Below zero is a vacuum.")

    def _above_critical(self, top: float) -> None:
        """Shade the pressures that no temperature belongs to."""
        sheet = self._sheet
        edge = self._up(self._critical[1])
        sheet.axes.axhspan(
            edge, top, color=sheet.theme.grid, alpha=0.55, linewidth=0.0, zorder=0.4, gid="above critical"
        )
        at = self._reading.show(Dimension.PRESSURE, self._critical[1], 1)
        sheet.key_area(
            f"above {at} on the gauge (critical): a pressure alone tells no temperature",
            Mark(sheet.theme.muted, "", (), ""),
        )

    # -- numbers -------------------------------------------------------------------------------------------------

    def _span(self) -> tuple[float, float]:
        """Return the ends of the horizontal axis [K]: everything that is drawn, with some room, on the curve."""
        at = [self._ambient]
        for side in self._sides:
            if side.saturation is not None:
                at += [side.saturation.value + k * _COVERS * side.saturation.u for k in (-1, 1)]
            ends = [*(side.pressure.normal or ()), *self._reading.parts.swings.get(side.name, ())]
            at += [float(self._what.saturation_temperature(end)) for end in ends]
        known = [t for t in at if math.isfinite(t)] or [273.15]
        low = max(min(known) - _ROOM, self._what.temperature_min())
        high = min(max(known) + _ROOM, self._what.temperature_max())
        if self._ambient > high:  # the air is warmer than the curve reaches
            high = self._ambient + _ROOM / 3.0
        if self._nears_critical:
            high = max(high, self._critical[0] + _ROOM / 3.0)
        return min(low, high - 20.0), max(high, low + 20.0)

    @property
    def _nears_critical(self) -> bool:
        """Whether a pressure or the air lies beyond the end of the curve, so that the critical point explains it."""
        pressures = [side.pressure.value for side in self._sides]
        pressures += [end for side in self._sides for end in (self._normal(side) or ((), ""))[0]]
        beyond = any(math.isnan(p) or p > self._what.pressure_max() for p in pressures)
        return beyond or any(map(self._is_beyond, self._sides)) or self._ambient > self._what.temperature_max()

    def _hides_another(self, side: _Side) -> bool:
        """Whether this point, drawn later, lies on that of the other gauge, as after the compressor has stopped."""
        first = self._sides[0]
        return side is not first and abs(side.pressure.value - first.pressure.value) < 0.01 * first.pressure.value

    def _is_beyond(self, side: _Side) -> bool:
        """Whether what is usual would lie beyond the end of the curve altogether, so that no pressure is normal."""
        shown = {each.name: each for each in self._diagnosis.derived}.get("condensing_over_ambient")
        if side.name != "high_side" or shown is None or shown.normal is None or self._normal(side) is not None:
            return False
        return self._ambient + shown.normal[0] > self._what.temperature_max()

    def _on_the_curve(self, pressure: Any) -> Any:
        """Return dew-point temperatures [K]; from the end of the curve to the critical point along a straight line."""
        end = (self._what.pressure_max(), self._what.temperature_max())
        rest = np.interp(pressure, [end[0], self._critical[1]], [end[1], self._critical[0]])
        lowest = np.maximum(pressure, self._what.pressure_min())
        return np.where(pressure <= end[0], self._what.saturation_temperature(np.minimum(lowest, end[0])), rest)

    def _across(self, kelvin: Any) -> Any:
        return to_unit(kelvin, Dimension.TEMPERATURE, self._degrees)

    def _up(self, pressure: Any) -> Any:
        return to_unit(pressure - self._reading.parts.barometer, Dimension.PRESSURE, self._force)
