"""The pressure-enthalpy diagram with the cycle as it was measured, superheat and subcooling marked on it."""

from __future__ import annotations

from typing import Any, Final

from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from matplotlib.transforms import ScaledTranslation

from twogauge.diagnosis import Diagnosis
from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme
from twogauge.draw.origin import WITHIN, of_air, of_program, of_refrigerant
from twogauge.draw.picture import Picture, drawn
from twogauge.draw.saturation import about
from twogauge.draw.sheet import Sheet
from twogauge.output.values import value_text
from twogauge.quantities import Dimension, UnitSet, show, symbol_for, to_unit
from twogauge.service.cycle import Cycle, Dome, Place, dome, measured_cycle

BTU_PER_POUND: Final = 2326.0
"""[J/kg] International Table British thermal unit to the pound; exact."""
_NUMBERS: Final[dict[Place, str]] = {"suction": "1", "discharge": "2", "liquid": "3", "evaporator": "4"}
_COVERS: Final = 2.0
_BAR: Final = 5.0  # [pt] width of the bars of superheat and subcooling
_BESIDE: Final = 8.5  # [pt] how far beside the cycle they stand


@drawn
def cycle_picture(diagnosis: Diagnosis, *, theme: Theme = LIGHT, size: Size = PAGE) -> Picture:
    """Draw the measured cycle over the saturation dome.

    Args:
        diagnosis: of the reading.
        theme: light or dark.
        size: for a telephone or a page.

    Raises:
        InputError: which measurement is missing for it, or why these readings make no cycle.
    """
    cycle = measured_cycle(diagnosis)
    return _Painter(diagnosis, cycle, dome(cycle.refrigerant), theme, size).paint()


class _Painter:
    def __init__(self, diagnosis: Diagnosis, cycle: Cycle, around: Dome, theme: Theme, size: Size) -> None:
        self._diagnosis = diagnosis
        self._cycle = cycle
        self._dome = around
        self._units = diagnosis.reading.units
        title = f"Pressure and enthalpy: {cycle.refrigerant.title}"
        self._sheet = Sheet(title, about(diagnosis), theme=theme, size=size)
        self._force = symbol_for(Dimension.PRESSURE, self._units)

    def paint(self) -> Picture:
        sheet, cycle, theme = self._sheet, self._cycle, self._sheet.theme
        ink = Mark(theme.ink, "", (), "")
        for name, x, y in (
            ("bubble", self._dome.bubble_enthalpy, self._dome.bubble_pressure),
            ("dew", self._dome.dew_enthalpy, self._dome.dew_pressure),
            ("top", self._dome.top_enthalpy, self._dome.top_pressure),
        ):
            sheet.line(x / self._heat, self._up(y), ink, width=1.8, gid=name)
        sheet.axes.set_yscale("log")
        self._cycle_line()
        superheat = value_text(cycle.superheat, self._diagnosis.reading)
        subcooling = value_text(cycle.subcooling, self._diagnosis.reading)
        suction, liquid = cycle.state("suction"), cycle.state("liquid")
        if suction is not None and liquid is not None:
            low, high = Mark(theme.low.colour, "", (), ""), Mark(theme.high.colour, "", (), "")
            for name, ends, pressure, mark, beside in (
                ("superheat", (cycle.suction_dew, suction.enthalpy), cycle.low, low, -_BESIDE),
                ("subcooling", (liquid.enthalpy, cycle.high_bubble), cycle.high, high, _BESIDE),
            ):
                along = [end / self._heat for end in ends]
                bar = sheet.line(along, [self._up(pressure)] * 2, mark, width=_BAR, above=4, gid=name)
                # Beside the cycle: on it the points would hide a few kelvin.
                aside = ScaledTranslation(0.0, beside / 72.0, sheet.figure.dpi_scale_trans)
                bar.set_transform(sheet.axes.transData + aside)
            sheet.key_line(f"superheat {superheat}", low, width=_BAR)
            sheet.key_line(f"subcooling {subcooling}", high, width=_BAR)
        self._states()
        sheet.key_line(f"saturation of {cycle.refrigerant.title}: liquid left of it, gas right of it", ink)
        self._sums()
        for sentence in cycle.left_out:
            sheet.note(sentence)
        self._frame()
        sheet.foot(
            f"{WITHIN} Drawn at the pressures of the two service ports; what pipes and coils lose is not measured. "
            f"{of_air(self._diagnosis.reading)} {of_refrigerant(cycle.refrigerant)}"
        )
        sheet.foot(of_program())
        return sheet.finish(f"Pressure-enthalpy diagram of {cycle.refrigerant.title} with the measured cycle on it")

    # -- the parts -----------------------------------------------------------------------------------------------

    def _cycle_line(self) -> None:
        """Draw what joins the states; the compression as a straight line, for its way is not measured."""
        sheet, cycle, theme = self._sheet, self._cycle, self._sheet.theme
        at = {place: cycle.state(place) for place in _NUMBERS}
        suction, discharge, liquid, evaporator = (at[place] for place in _NUMBERS)
        if suction is None or liquid is None or evaporator is None:
            return
        plain = Mark(theme.air.colour, "", (), "")
        hot = cycle.high_dew if discharge is None else discharge.enthalpy
        parts = [
            ("evaporation", (evaporator.enthalpy, suction.enthalpy), (cycle.low, cycle.low), plain),
            ("condensation", (hot, liquid.enthalpy), (cycle.high, cycle.high), plain),
            ("metering", (liquid.enthalpy, evaporator.enthalpy), (cycle.high, cycle.low), plain),
        ]
        if discharge is not None:
            dashed = Mark(theme.air.colour, "", (4.0, 1.6), "")
            ends = (suction.enthalpy, discharge.enthalpy)
            parts.append(("compression", ends, (cycle.low, cycle.high), dashed))
        for name, x, pressures, mark in parts:
            sheet.line(
                [h / self._heat for h in x], [self._up(p) for p in pressures], mark, width=2.4, above=3, gid=name
            )
        sheet.key_line("the cycle as it was measured", plain, width=2.4)
        if discharge is not None:
            sheet.key_line("compression: both ends are measured, the way between them is not", dashed, width=2.4)

    def _states(self) -> None:
        sheet, reading = self._sheet, self._diagnosis.reading
        theme = sheet.theme
        told = {"suction": "suction line", "discharge": "discharge line", "liquid": "liquid line"}
        for state in self._cycle.states:
            right = state.place in {"suction", "discharge"}
            side = theme.low if state.pressure == self._cycle.low else theme.high
            x, y = state.enthalpy / self._heat, self._up(state.pressure)
            if state.place != "evaporator":
                wide = _COVERS * state.u / self._heat
                sheet.axes.errorbar(
                    [x], [y], xerr=[wide], fmt="none", ecolor=side.colour, elinewidth=1.4, capsize=4, zorder=5
                )
            sheet.points([x], [y], side, gid=state.place, size=9.0)
            number = _NUMBERS[state.place]
            # The suction line has the compression above it.
            up = -13 if state.place == "suction" else 7
            sheet.label(x, y, number, xytext=(9 if right else -9, up), ha="left" if right else "right")
            pressure = reading.show(Dimension.PRESSURE, state.pressure)
            if state.place in told:
                at = reading.show(Dimension.TEMPERATURE, state.temperature)
                sheet.key_point(f"{number} {told[state.place]}: {pressure} on the gauge, {at}", side)
            else:
                share = self._cycle.gas_behind_metering
                sheet.key_point(f"{number} behind the metering device: {100 * share:.0f} % of it is gas", side)

    def _sums(self) -> None:
        """Tell what each kilogram takes up, what the compressor adds as far as that is measured, and between which ends."""
        cycle, unit = self._cycle, self._heat_unit
        suction, discharge = cycle.state("suction"), cycle.state("discharge")
        said = f"From 4 to 1 it takes up {cycle.cooling / self._heat:.0f} {unit}"
        if suction is not None and discharge is not None:
            said += (
                f"; from 1 to 2 its heat grows by {(discharge.enthalpy - suction.enthalpy) / self._heat:.0f} {unit}"
            )
        self._sheet.note(f"{said}.")
        low, high = (
            self._diagnosis.reading.show(Dimension.TEMPERATURE, cycle.refrigerant.temperature_at(pressure, "dew"))
            for pressure in (cycle.low, cycle.high)
        )
        self._sheet.note(
            f"The dew point is {low} on the low side and {high} on the high side; the absolute pressures stand "
            f"{cycle.high / cycle.low:.1f} to 1."
        )

    def _frame(self) -> None:
        sheet, cycle = self._sheet, self._cycle
        x = [each.enthalpy for each in cycle.states]
        left = min(0.0, *x)
        right = max(float(self._dome.dew_enthalpy.max()), *x)
        room = 0.06 * (right - left)
        sheet.axes.set_xlim((left - room) / self._heat, (right + room) / self._heat)
        bottom = max(0.4 * cycle.low, float(self._dome.dew_pressure[0]))
        sheet.axes.set_ylim(self._up(bottom), self._up(1.35 * max(cycle.refrigerant.critical_pressure, cycle.high)))
        zero = show(cycle.zero, Dimension.TEMPERATURE, self._units, 0)
        sheet.across(f"enthalpy / {self._heat_unit}, zero for saturated liquid at {zero}", most=7)
        sheet.upward(f"absolute pressure / {self._force}", None)
        axis = sheet.axes.yaxis
        axis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())

    # -- numbers -------------------------------------------------------------------------------------------------

    @property
    def _heat(self) -> float:
        return BTU_PER_POUND if self._units is UnitSet.US else 1000.0

    @property
    def _heat_unit(self) -> str:
        return "Btu/lb" if self._units is UnitSet.US else "kJ/kg"

    def _up(self, pressure: Any) -> Any:
        return to_unit(pressure, Dimension.PRESSURE, self._force)
