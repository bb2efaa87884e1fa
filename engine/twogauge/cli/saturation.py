"""`twogauge saturation`: one pressure to its saturation temperature, or one temperature to its pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.common import (
    AltitudeOption,
    Barometer,
    BarometerOption,
    UnitsOption,
    barometer_from,
)
from twogauge.errors import QuantityError, RangeError
from twogauge.quantities import Dimension, Quantity, UnitSet, absolute, parse, show, show_gauge

if TYPE_CHECKING:
    from twogauge.output.paper import Paper
    from twogauge.output.style import Style
    from twogauge.refrigerants import Phase, Refrigerant
    from twogauge.tables import By

SERVES = {
    "dew": "dew point; for superheat and the suction side",
    "bubble": "bubble point; for subcooling and the liquid line",
}


@dataclass(frozen=True, slots=True)
class Point:
    """One line of the answer: a phase and its value [K] or [Pa] absolute; NaN with a reason if there is none."""

    phase: str
    value: float
    why: str


@answering
def saturation(
    refrigerant: Annotated[str, typer.Argument(metavar="REFRIGERANT", help="Such as R134a.")],
    value: Annotated[
        str, typer.Argument(metavar="VALUE", help="A pressure or a temperature; a bare number is a gauge pressure.")
    ],
    *,
    units: UnitsOption = UnitSet.US,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
) -> Answered:
    """Turn one pressure into a temperature, or back.

    What is given decides: a pressure is answered with the saturation temperature, a temperature with the gauge
    pressure. For instance: twogauge saturation R134a 35psi, or twogauge saturation R407C 40F
    """
    from twogauge import refrigerants
    from twogauge.tables import By

    air = barometer_from(altitude, barometer, units)
    chosen = refrigerants.get(refrigerant)
    given = _read(value, units)
    by = By.PRESSURE if given.dimension is Dimension.PRESSURE else By.TEMPERATURE
    point = absolute(given, air.pressure) if by is By.PRESSURE else given.value
    answers = _answers(chosen, by, point, air, units)
    if all(math.isnan(answer.value) for answer in answers):
        place = _shown(by, point, air, units)
        raise RangeError(f"{chosen.title} has no saturation at {place}: that is {answers[0].why}")
    return Answered(
        lambda: _document(chosen, by, point, air, answers),
        lambda paper: _write(
            paper,
            chosen,
            f"{_shown(by, point, air, units)}, {air.sentence(units)}",
            _rows(by, answers, air, units),
        ),
    )


def _read(text: str, units: UnitSet) -> Quantity:
    """Read a pressure or, if the unit says so, a temperature."""
    try:
        return parse(text, Dimension.PRESSURE, units=units)
    except QuantityError as not_a_pressure:
        try:
            return parse(text, Dimension.TEMPERATURE, units=units)
        except QuantityError as not_a_temperature:
            # The one that knew the unit has the better sentence.
            knew = "known here" in str(not_a_pressure) or "belongs here" in str(not_a_pressure)
            said = not_a_temperature if knew else not_a_pressure
            if "known here" in str(said):
                raise QuantityError(
                    f"{str(said).split(' is not a unit')[0]} is no unit of pressure or temperature known here; "
                    "write for instance 35psi, 2.4bar, 40F or 5C",
                    text=text,
                ) from None
            raise said from None


def _answers(refrigerant: Refrigerant, by: By, point: float, air: Barometer, units: UnitSet) -> list[Point]:
    from twogauge.output.tables import why_sentence
    from twogauge.tables import By as Rows
    from twogauge.tables import has_glide, why_missing

    phases: tuple[Phase, ...] = ("dew", "bubble") if has_glide(refrigerant) else ("dew",)
    answers = []
    for phase in phases:
        reason = why_missing(refrigerant, phase, by, point)
        why = (
            ""
            if reason is None
            else why_sentence(refrigerant, phase, by, reason, barometer=air.pressure, units=units)
        )
        if by is Rows.PRESSURE:
            value = float(refrigerant.saturation_temperature(point, phase))
        else:
            value = float(refrigerant.saturation_pressure(point, phase))
        answers.append(Point(phase if len(phases) > 1 else "", value, why))
    return answers


def _write(paper: Paper, refrigerant: Refrigerant, given: str, rows: list[tuple[str, str]]) -> None:
    """Write the answer.

    Args:
        paper: to write on.
        refrigerant: that was asked about.
        given: the pressure or the temperature, and the air around it.
        rows: of a value and which it is.
    """
    from twogauge.output.paper import Points, Table
    from twogauge.output.tables import grade_note

    paper.about(f"{refrigerant.title} at {given}")
    paper.laid_out(
        Table("Saturation", [(said, value) for value, said in rows], ("which", "value")),
        lambda style: _columns(rows, style),
    )
    note = grade_note(refrigerant)
    paper.laid_out(Points("How sure that is", [note] if note else []), lambda style: style.wrap(note, "", "  "))


def _rows(by: By, answers: list[Point], air: Barometer, units: UnitSet) -> list[tuple[str, str]]:
    """Return (value, which it is) of each answer."""
    what = f"saturation {'temperature' if by.value == 'pressure' else 'pressure'}"
    return [
        (
            "-" if math.isnan(answer.value) else _other(by, answer.value, air, units),
            SERVES.get(answer.phase, what) + (f": {answer.why}" if answer.why else ""),
        )
        for answer in answers
    ]


def _columns(rows: list[tuple[str, str]], style: Style) -> list[str]:
    width = max(len(value) for value, _ in rows)
    return [line for value, said in rows for line in style.wrap_after(said, f"  {value:>{width}}  ")]


def _shown(by: By, point: float, air: Barometer, units: UnitSet) -> str:
    if by.value == "pressure":
        return _gauge(point, air, units)
    return show(point, Dimension.TEMPERATURE, units, 1)


def _other(by: By, value: float, air: Barometer, units: UnitSet) -> str:
    if by.value == "pressure":
        return show(value, Dimension.TEMPERATURE, units, 1)
    return _gauge(value, air, units)


def _gauge(pressure: float, air: Barometer, units: UnitSet) -> str:
    text = show_gauge(pressure, air.pressure, units)
    return text if text.endswith("vac") else f"{text} gauge"


def _document(refrigerant: Refrigerant, by: By, point: float, air: Barometer, answers: list[Point]) -> dict[str, Any]:
    pressure = by.value == "pressure"
    return {
        "refrigerant": refrigerant.id,
        "given": {"absolute pressure / Pa" if pressure else "temperature / K": round(point, 4)},
        "saturation": {
            (answer.phase or "pure or nearly"): {
                "temperature / K" if pressure else "absolute pressure / Pa": None
                if math.isnan(answer.value)
                else round(answer.value, 4),
                **({"missing because": answer.why} if answer.why else {}),
                **(
                    {}
                    if pressure or math.isnan(answer.value)
                    else {"gauge pressure / Pa": round(answer.value - air.pressure, 4)}
                ),
            }
            for answer in answers
        },
        "barometer / Pa": round(air.pressure, 1),
        "barometer from": air.note,
        "grade": refrigerant.grade,
        "grade reason": refrigerant.grade_reason,
    }
