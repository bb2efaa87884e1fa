"""Pressure-temperature tables as text for a terminal, CSV, JSON and Markdown.

Formatting only; `tables.py` computes. Every format says what the gauge reads, against which air, and why a point is
missing, except CSV, where a missing point is an empty field and the rest stands in the column names.
"""

from __future__ import annotations

import csv
import io
import json
import math
import textwrap
from collections.abc import Sequence
from typing import Any, Final

from twogauge.quantities import PA_PER_INHG, Dimension, UnitSet, show, show_gauge, symbol_for, to_unit
from twogauge.refrigerants import Phase, Refrigerant
from twogauge.tables import By, Column, Missing, Table

WIDTH: Final = 80
BEST_GRADE: Final = "checked"
_DECIMALS: Final = {"psi": 1, "kPa": 0, "bar": 2, "degF": 1, "degC": 1}
_WHERE_PHASES_SERVE: Final = "bubble: for subcooling (liquid line). dew: for superheat (suction line)."


def as_text(table: Table, units: UnitSet, width: int = WIDTH) -> str:
    """Return aligned columns in plain text; columns that do not fit in `width` follow below.

    Args:
        table: what to print.
        units: the reader's.
        width: characters in a line.
    """
    lines = _heading(table, units, width)
    heads, cells = grid(table, units)
    if not any(phase for _, phase in heads[1:]):
        heads[0] = (heads[0][1], "")
    widths = [max(len(text) for text in (*head, *body)) for head, body in zip(heads, cells, strict=True)]
    blocks = _blocks(widths, width)
    if len(blocks) > 1:
        lines += textwrap.wrap(f"{len(blocks)} blocks of columns stand below each other.", width)
    for block in blocks:
        chosen = [0, *block]
        lines.append("")
        for level in range(2):
            line = "   ".join(heads[k][level].rjust(widths[k]) for k in chosen).rstrip()
            lines += [line] if line else []
        lines += [
            "   ".join(cells[k][row].rjust(widths[k]) for k in chosen).rstrip() for row in range(len(table.index))
        ]
    notes = [line for note in _notes(table, units) for line in textwrap.wrap(note, width, subsequent_indent="  ")]
    return "\n".join([*lines, *([""] if notes else []), *notes]) + "\n"


def as_markdown(table: Table, units: UnitSet) -> str:
    """Return a Markdown table with its heading and notes as paragraphs."""
    title, *said = _heading(table, units, 10_000)
    names = [_unit_of(table.by, units), *(_name(column) for column in table.columns)]
    cells = [_index_cells(table, units), *(_value_cells(table, column, units) for column in table.columns)]
    lines = [f"# {title}", "", *said, "", _pipes(names), _pipes(["---:"] * len(names))]
    lines += [_pipes([column[row].strip() for column in cells]) for row in range(len(table.index))]
    return "\n".join([*lines, "", *(f"- {note}" for note in _notes(table, units))]).rstrip() + "\n"


def as_csv(table: Table, units: UnitSet) -> str:
    """Return CSV (RFC 4180, but with plain line feeds); a gauge pressure below the air is negative."""
    air = show(table.barometer, Dimension.PRESSURE, units, 3 if units is not UnitSet.SI else 2)
    pressure_unit = f"{symbol_for(Dimension.PRESSURE, units)} gauge at {air} air"
    temperature_unit = symbol_for(Dimension.TEMPERATURE, units)
    index_unit, value_unit = (
        (temperature_unit, pressure_unit) if table.by is By.TEMPERATURE else (pressure_unit, temperature_unit)
    )
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(
        [f"{table.by.value} [{index_unit}]", *(f"{_name(column)} [{value_unit}]" for column in table.columns)]
    )
    other = By.PRESSURE if table.by is By.TEMPERATURE else By.TEMPERATURE
    for row, point in enumerate(table.index):
        values = (column.values[row] for column in table.columns)
        writer.writerow(
            [
                _plain(float(point), table.by, table.barometer, units, 4).rstrip("0").rstrip("."),
                *(_plain(float(value), other, table.barometer, units, 3) for value in values),
            ]
        )
    return written.getvalue()


def as_json(table: Table, units: UnitSet) -> str:
    """Return JSON: the conditions, the columns, and the rows; a missing point is null; its column says why."""
    other = By.PRESSURE if table.by is By.TEMPERATURE else By.TEMPERATURE
    document: dict[str, Any] = {
        "format": 1,
        "by": table.by.value,
        "units": {
            "temperature": symbol_for(Dimension.TEMPERATURE, units),
            "pressure": f"{symbol_for(Dimension.PRESSURE, units)} gauge",
        },
        "barometer / Pa": round(table.barometer, 1),
        "barometer from": table.air,
        "values from": table.origin,
        "columns": [
            {
                "refrigerant": column.refrigerant.id,
                "phase": column.phase or "saturation",
                "grade": column.refrigerant.grade,
                "grade reason": column.refrigerant.grade_reason,
                "missing": {reason.value: _why(column, table, reason, units) for reason in _reasons(column)},
            }
            for column in table.columns
        ],
        "rows": [
            {
                table.by.value: _number(float(point), table.by, table.barometer, units, 4),
                "values": [
                    _number(float(column.values[row]), other, table.barometer, units, 3) for column in table.columns
                ],
            }
            for row, point in enumerate(table.index)
        ],
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def grid(table: Table, units: UnitSet) -> tuple[list[tuple[str, str]], list[list[str]]]:
    """Return the heads of the columns, two lines each, and their cells, those of the rows' own column first.

    A vacuum in US units ends in `v`; in a column that has one the other cells end in a blank.
    """
    heads = [("", _unit_of(table.by, units)), *((c.refrigerant.title, c.phase) for c in table.columns)]
    cells = [_index_cells(table, units), *(_value_cells(table, column, units) for column in table.columns)]
    return heads, cells


def what_it_shows(table: Table, units: UnitSet) -> str:
    """Return which quantity stands in the cells and which in the rows, with their units."""
    pressure = f"{symbol_for(Dimension.PRESSURE, units)} gauge"
    temperature = symbol_for(Dimension.TEMPERATURE, units)
    if table.by is By.TEMPERATURE:
        return f"saturation pressure ({pressure}) by temperature ({temperature})"
    return f"saturation temperature ({temperature}) by pressure ({pressure})"


def air_sentence(table: Table, units: UnitSet) -> str:
    """Return what the air presses with, how that is known, and what `v` means where it stands."""
    air = show(table.barometer, Dimension.PRESSURE, units, {UnitSet.US: 1, UnitSet.SI: 1, UnitSet.METRIC: 3}[units])
    said = f"Air {air} ({table.air})."
    return f"{said} v: inHg of vacuum, below that air." if _has_vacuum(table, units) else said


def notes(table: Table, units: UnitSet) -> list[str]:
    """Return which phase serves for what, and why points are missing."""
    told = [_WHERE_PHASES_SERVE] if any(column.phase for column in table.columns) else []
    for column in table.columns:
        told += [f"- {_name(column)}: {_why(column, table, reason, units)}." for reason in _reasons(column)]
    return told


def why_sentence(
    refrigerant: Refrigerant, phase: Phase, by: By, reason: Missing, *, barometer: float, units: UnitSet
) -> str:
    """Say why a curve has no value, with the limit in the reader's units; no capital, no full stop.

    Args:
        refrigerant: whose curve.
        phase: "bubble" or "dew".
        by: what was asked for.
        reason: why there is no value.
        barometer: [Pa] absolute.
        units: the reader's.
    """

    def end(temperature: float, pressure: float) -> str:
        if by is By.TEMPERATURE:
            return show(temperature, Dimension.TEMPERATURE, units, 1)
        return f"{show_gauge(pressure, barometer, units)} gauge"

    lowest = end(refrigerant.temperature_min(phase), refrigerant.pressure_min(phase))
    highest = end(refrigerant.temperature_max(phase), refrigerant.pressure_max(phase))
    critical = end(refrigerant.critical_temperature, refrigerant.critical_pressure)
    return {
        Missing.BELOW: f"below {lowest}, where the curve begins",
        Missing.NEAR_CRITICAL: f"above {highest}, where the curve ends, close to the critical point at {critical}",
        Missing.SUPERCRITICAL: f"above the critical point at {critical}, where liquid and vapour are one",
        Missing.UNSOLVED: "the equations of state gave no solution there",
    }[reason]


# -- the parts -----------------------------------------------------------------------------------------------------


def _heading(table: Table, units: UnitSet, width: int) -> list[str]:
    names = list(dict.fromkeys(column.refrigerant.title for column in table.columns))
    title = f"{', '.join(names)}: {what_it_shows(table, units)}"
    return textwrap.wrap(title, width, subsequent_indent="  ") + textwrap.wrap(air_sentence(table, units), width)


def _notes(table: Table, units: UnitSet) -> list[str]:
    graded = (grade_note(refrigerant) for refrigerant in dict.fromkeys(c.refrigerant for c in table.columns))
    return [*notes(table, units), *(note for note in graded if note)]


def _why(column: Column, table: Table, reason: Missing, units: UnitSet) -> str:
    phase: Phase = "bubble" if column.phase == "bubble" else "dew"
    return why_sentence(column.refrigerant, phase, table.by, reason, barometer=table.barometer, units=units)


def grade_note(refrigerant: Refrigerant) -> str:
    """Return what to know about a grade that is not the best, or nothing."""
    if refrigerant.grade == BEST_GRADE:
        return ""
    return f"{refrigerant.title} is graded '{refrigerant.grade}': {refrigerant.grade_reason}"


def _reasons(column: Column) -> list[Missing]:
    return [reason for reason in Missing if reason in column.missing]


def _name(column: Column) -> str:
    return f"{column.refrigerant.title} {column.phase}".strip()


def _unit_of(by: By, units: UnitSet) -> str:
    return symbol_for(Dimension.TEMPERATURE if by is By.TEMPERATURE else Dimension.PRESSURE, units)


def _has_vacuum(table: Table, units: UnitSet) -> bool:
    if units is not UnitSet.US:
        return False
    pressures = [table.index] if table.by is By.PRESSURE else [column.values for column in table.columns]
    return any(_is_vacuum(float(pressure), table.barometer) for some in pressures for pressure in some)


def _is_vacuum(pressure: float, barometer: float) -> bool:
    return (barometer - pressure) / PA_PER_INHG >= 0.05  # less is printed as zero


def _index_cells(table: Table, units: UnitSet) -> list[str]:
    numbers = [_number(float(point), table.by, table.barometer, units, 4) or 0.0 for point in table.index]
    decimals = next((d for d in (0, 1, 2) if all(abs(n - round(n, d)) < 1e-3 for n in numbers)), 2)
    if table.by is By.TEMPERATURE:
        return [_fixed(number, decimals) for number in numbers]
    vacuum = [_is_vacuum(float(point), table.barometer) and units is UnitSet.US for point in table.index]
    inches = [(table.barometer - float(point)) / PA_PER_INHG for point in table.index]
    above = [number for number, below in zip(numbers, vacuum, strict=True) if not below]
    decimals = next((d for d in (0, 1, 2) if all(abs(n - round(n, d)) < 1e-3 for n in above)), 2)
    round_inches = all(abs(n - round(n)) < 1e-3 for n, below in zip(inches, vacuum, strict=True) if below)
    return _with_suffix(
        [
            f"{inch:.{0 if round_inches else 1}f}v" if below else _fixed(number, decimals)
            for number, inch, below in zip(numbers, inches, vacuum, strict=True)
        ]
    )


def _value_cells(table: Table, column: Column, units: UnitSet) -> list[str]:
    other = By.PRESSURE if table.by is By.TEMPERATURE else By.TEMPERATURE
    cells: list[str] = []
    for value in column.values:
        if math.isnan(value):
            cells.append("-")
        elif other is By.PRESSURE and units is UnitSet.US and _is_vacuum(float(value), table.barometer):
            cells.append(f"{(table.barometer - float(value)) / PA_PER_INHG:.1f}v")
        else:
            cells.append(_plain(float(value), other, table.barometer, units, _DECIMALS[_unit_of(other, units)]))
    return _with_suffix(cells)


def _with_suffix(cells: list[str]) -> list[str]:
    """Keep room for the v of a vacuum, so that the digits stand below each other."""
    if not any(cell.endswith("v") for cell in cells):
        return cells
    return [cell if cell.endswith("v") else cell + " " for cell in cells]


def _number(value: float, by: By, barometer: float, units: UnitSet, decimals: int) -> float | None:
    if math.isnan(value):
        return None
    if by is By.TEMPERATURE:
        number = to_unit(value, Dimension.TEMPERATURE, symbol_for(Dimension.TEMPERATURE, units))
    else:
        number = to_unit(value - barometer, Dimension.PRESSURE, symbol_for(Dimension.PRESSURE, units))
    return round(number, decimals) + 0.0  # no "-0"


def _plain(value: float, by: By, barometer: float, units: UnitSet, decimals: int) -> str:
    number = _number(value, by, barometer, units, decimals)
    if number is None:
        return ""
    return _fixed(number, decimals)


def _fixed(number: float, decimals: int) -> str:
    text = f"{number:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def _blocks(widths: Sequence[int], width: int) -> list[list[int]]:
    """Return the columns (from 1) of each block, so that a block with the index fits in `width`."""
    blocks: list[list[int]] = [[]]
    used = widths[0]
    for k, wide in enumerate(widths[1:], start=1):
        if blocks[-1] and used + 3 + wide > width:
            blocks.append([])
            used = widths[0]
        blocks[-1].append(k)
        used += 3 + wide
    return blocks


def _pipes(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"
