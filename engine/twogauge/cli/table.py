"""`twogauge table`: a pressure-temperature table of one refrigerant or several, or the whole set into a folder."""

from __future__ import annotations

import sys
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypedDict

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
    from twogauge.tables import Table


class Format(StrEnum):
    """How a table is written."""

    TERMINAL = "terminal"
    CSV = "csv"
    JSON = "json"
    MARKDOWN = "markdown"
    HTML = "html"
    PDF = "pdf"


CARDS = (Format.HTML, Format.PDF)  # for the wall: they carry a date, so that no set holds them


class Sheet(StrEnum):
    """What a card is printed on."""

    A4 = "a4"
    LETTER = "letter"
    POCKET = "pocket"


class Rows(StrEnum):
    """What the rows of a table are."""

    TEMPERATURE = "temperature"
    PRESSURE = "pressure"


class Ends(TypedDict):
    """Ends and step of the rows, in SI; None where the table decides."""

    low: float | None
    high: float | None
    step: float | None


def table(
    refrigerants: Annotated[
        list[str] | None, typer.Argument(metavar="REFRIGERANT...", help="One or more, such as R134a R1234yf.")
    ] = None,
    *,
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
        typer.Option(
            "--format",
            help="html and pdf are cards for the wall. Several with --all, which writes csv, json and markdown if none is "
            "named.",
        ),
    ] = None,
    paper: Annotated[Sheet | None, typer.Option("--paper", help="Of a card for the wall; a4 if not told.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="PATH", help="Write to this file; with --all to this folder.")
    ] = None,
    every: Annotated[
        bool,
        typer.Option(
            "--all",
            help="Write a table of each refrigerant (of the named ones, if any), computed afresh from CoolProp.",
        ),
    ] = False,
    check: Annotated[
        Path | None,
        typer.Option("--check", metavar="DIR", help="Say which files written by --all are not as they would be now."),
    ] = None,
) -> None:
    """Print a pressure-temperature table.

    Pressures are gauge pressures against the air at this place. Where a blend boils over a range of temperatures it
    has two columns, bubble and dew. A point beyond a curve is a dash with its reason.

    For instance: twogauge table R134a R1234yf --from 0F --to 120F, or
    twogauge table R407C --by pressure --units metric --altitude 1500m; for the wall of the shop:
    twogauge table R134a --altitude 900ft --format pdf --paper letter --out card.pdf
    """
    if check is not None:
        if every or refrigerants or out is not None:
            raise InputError("--check takes a folder and nothing else: the options stand in its manifest")
        _check(check)
        return
    card = any(form in CARDS for form in formats or ())
    if paper is not None and not card:
        raise InputError("--paper is for cards for the wall; add --format pdf or --format html")
    if card and every:
        raise InputError(
            "--all writes sets that stay the same from day to day, and a card for the wall carries a date; name "
            "the refrigerants of a card instead"
        )
    air = barometer_from(altitude, barometer, units)
    ends = _ends(by, low, high, step, units=units, air=air)
    if every:
        if out is None:
            raise InputError("--all writes many files; name the folder with --out")
        _write_all(refrigerants, by, ends, units=units, air=air, formats=formats, out=out)
        return
    if formats is not None and len(formats) > 1:
        raise InputError("one table is written in one format; --all can write several")
    form = (formats or [Format.TERMINAL])[0]
    if form is Format.PDF:
        from twogauge.cli.plotting import need_library

        if out is None:
            raise InputError("a PDF is nothing for a terminal; name a file with --out, such as --out card.pdf")
        need_library()
    made = _made(refrigerants or [], by, ends, units=units, air=air)
    if form in CARDS:
        _write_card(made, units, form, paper or Sheet.A4, out)
    else:
        _write_one(made, units, form, out)


def table_of(
    named: list[str],
    by: Rows = Rows.TEMPERATURE,
    *,
    low: str | None = None,
    high: str | None = None,
    step: str | None = None,
    altitude: str | None = None,
    barometer: str | None = None,
    units: UnitSet = UnitSet.US,
) -> Table:
    """Return a table of some refrigerants, told as at the command line.

    Raises:
        InputError: something told that cannot be used.
    """
    air = barometer_from(altitude, barometer, units)
    return _made(named, by, _ends(by, low, high, step, units=units, air=air), units=units, air=air)


def _ends(rows: Rows, low: str | None, high: str | None, step: str | None, *, units: UnitSet, air: Barometer) -> Ends:
    """Return the ends [K] or [Pa] absolute, and the step [K] or [Pa], where they were given."""

    def point(text: str | None, field: str) -> float | None:
        if text is None:
            return None
        if rows is Rows.TEMPERATURE:
            return parse(text, Dimension.TEMPERATURE, field=field, units=units).value
        return absolute(parse(text, Dimension.PRESSURE, field=field, units=units), air.pressure, field=field)

    difference = Dimension.TEMPERATURE_DIFFERENCE if rows is Rows.TEMPERATURE else Dimension.PRESSURE_DIFFERENCE
    return {
        "low": point(low, "--from"),
        "high": point(high, "--to"),
        "step": None if step is None else parse(step, difference, field="--step", units=units).value,
    }


def _made(named: list[str], rows: Rows, ends: Ends, *, units: UnitSet, air: Barometer) -> Table:
    """Return the table of the named refrigerants."""
    from twogauge import refrigerants, tables

    if not named:
        raise InputError("name a refrigerant, such as R134a; twogauge refrigerants lists them")
    chosen = list({refrigerant.id: refrigerant for refrigerant in map(refrigerants.get, named)}.values())
    by = tables.By(rows.value)
    if by is tables.By.TEMPERATURE:
        index = tables.temperature_rows(units, **ends)
    else:
        index = tables.pressure_rows(units, chosen, air.pressure, **ends)
    return tables.make_table(chosen, by, index, barometer=air.pressure, air=air.note)


def _write_one(made: Table, units: UnitSet, form: Format, out: Path | None) -> None:
    from twogauge.table_set import FORMATS

    if out is None and form is Format.TERMINAL:
        from twogauge.output import style
        from twogauge.output import tables as output

        typer.echo(output.as_text(made, units, style.style_for(sys.stdout).width), nl=False)
        return
    _write(FORMATS[form.value][1](made, units), out)


def _write_card(made: Table, units: UnitSet, form: Format, sheet: Sheet, out: Path | None) -> None:
    from twogauge.output.card import PAPERS, as_html, made_on, plan

    card = plan(made, units, PAPERS[sheet.value], made_on())
    if form is Format.HTML:
        _write(as_html(card), out)
        return
    from twogauge.draw.card import card_pdf

    _write(card_pdf(card), out)


def _write(text: str | bytes, out: Path | None) -> None:
    if out is None:
        typer.echo(text, nl=False)
        return
    from twogauge.files import write_atomically

    write_atomically(out, text)


def _write_all(
    named: list[str] | None,
    rows: Rows,
    ends: Ends,
    *,
    units: UnitSet,
    air: Barometer,
    formats: list[Format] | None,
    out: Path,
) -> None:
    from twogauge import refrigerants
    from twogauge.table_set import SetOptions, write_set
    from twogauge.tables import By

    forms = formats or [Format.CSV, Format.JSON, Format.MARKDOWN]
    options = SetOptions(
        names=tuple(dict.fromkeys(refrigerants.get(name).id for name in named or refrigerants.names())),
        formats=tuple(dict.fromkeys(form.value for form in forms)),
        by=By(rows.value),
        units=units,
        barometer=air.pressure,
        air=air.note,
        **ends,
    )
    written = write_set(out, options, _progress())
    typer.echo(f"{len(written)} files written to {out}; twogauge table --check {out} compares them later")


def _check(folder: Path) -> None:
    from twogauge.table_set import check_set

    found = check_set(folder, _progress())
    for sentence in found:
        typer.echo(sentence)
    if found:
        raise typer.Exit(1)
    typer.echo(f"{folder}: every table is as it would be written now")


def _progress() -> Callable[[int, int, str], None] | None:
    """Return something that shows how far it is, if somebody looks on."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, of: int, name: str) -> None:
        typer.echo(f"\r{done + 1} of {of}: {name:<12}", err=True, nl=done + 1 == of)

    return show
