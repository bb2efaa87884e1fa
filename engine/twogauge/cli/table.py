"""`twogauge table`: a pressure-temperature table of one refrigerant or several, or the whole set into a folder."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.common import (
    AltitudeOption,
    Barometer,
    BarometerOption,
    UnitsOption,
    barometer_from,
)
from twogauge.errors import InputError
from twogauge.quantities import Dimension, UnitSet, absolute, parse

if TYPE_CHECKING:
    from twogauge.refrigerants import Refrigerant
    from twogauge.tables import By, Floats


class Format(StrEnum):
    """How a table is written."""

    TERMINAL = "terminal"
    CSV = "csv"
    JSON = "json"
    MARKDOWN = "markdown"


class Rows(StrEnum):
    """What the rows of a table are."""

    TEMPERATURE = "temperature"
    PRESSURE = "pressure"


def table(
    refrigerants: Annotated[
        list[str] | None, typer.Argument(metavar="REFRIGERANT...", help="One or more, such as R134a R1234yf.")
    ] = None,
    by: Annotated[Rows, typer.Option("--by", help="What each row is.")] = Rows.TEMPERATURE,
    low: Annotated[
        str | None, typer.Option("--from", metavar="VALUE", help="First row, such as -20F or '10 inHg vac'.")
    ] = None,
    high: Annotated[str | None, typer.Option("--to", metavar="VALUE", help="Last row.")] = None,
    step: Annotated[str | None, typer.Option("--step", metavar="VALUE", help="From row to row, such as 5F.")] = None,
    units: UnitsOption = UnitSet.US,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    formats: Annotated[
        list[Format] | None,
        typer.Option("--format", help="Several with --all, which writes csv, json and markdown if none is named."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="PATH", help="Write to this file; with --all to this folder.")
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Write a table of every refrigerant, computed afresh from CoolProp.")
    ] = False,
    check: Annotated[
        Path | None,
        typer.Option("--check", metavar="DIR", help="Say which files written by --all are not as they would be now."),
    ] = None,
) -> None:
    """Print a pressure-temperature table.

    Pressures are gauge pressures against the air at this place. Where a blend boils over a range of temperatures it
    has two columns, bubble and dew. A point beyond a curve is a dash with its reason.

    Examples:

      twogauge table R134a R1234yf --from 0F --to 120F

      twogauge table R407C --by pressure --units metric --altitude 1500m
    """
    air = barometer_from(altitude, barometer, units)
    if every or check is not None:
        _whole_set(refrigerants, rows=by, ends=(low, high, step), units=units, air=air, formats=formats, out=out, every=every, check=check)
        return
    if not refrigerants:
        raise InputError("name a refrigerant, such as R134a; twogauge refrigerants lists them")
    if formats is not None and len(formats) > 1:
        raise InputError("one table is written in one format; --all can write several")
    _one_table(refrigerants, by, (low, high, step), units, air, (formats or [Format.TERMINAL])[0], out)


def _one_table(
    named: list[str],
    rows: Rows,
    ends: tuple[str | None, str | None, str | None],
    units: UnitSet,
    air: Barometer,
    form: Format,
    out: Path | None,
) -> None:
    from twogauge import refrigerants, tables
    from twogauge.files import write_atomically

    chosen = list(dict.fromkeys(refrigerants.get(name) for name in named))
    by = tables.By(rows.value)
    index = _rows(by, chosen, ends, units, air)
    made = tables.make_table(chosen, by, index, barometer=air.pressure, air=air.note)
    text = render(made, units, form)
    if out is None:
        typer.echo(text, nl=False)
    else:
        write_atomically(out, text)


def render(table: object, units: UnitSet, form: Format) -> str:
    """Return a table as text in one format."""
    from twogauge.output import tables as output
    from twogauge.tables import Table

    assert isinstance(table, Table)
    if form is Format.CSV:
        return output.as_csv(table, units)
    if form is Format.JSON:
        return output.as_json(table, units)
    if form is Format.MARKDOWN:
        return output.as_markdown(table, units)
    return output.as_text(table, units)
