"""`twogauge batch`: logs of readings in, a table of ranked faults out; or what the columns were understood to be.

Understanding the command line is all that happens here: fleet/ does the work, output/batch.py the printing.
"""

from __future__ import annotations

import os
import sys
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.common import JsonOption, UnitsOption, print_json
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError

if TYPE_CHECKING:
    from twogauge.fleet.column_map import ColumnMap
    from twogauge.packs.compile import Program

STDOUT: Final = "-"
_MOST_WORKERS: Final = 2  # each is a process of some 110 MB beside the first, and a run stays within 500 MB


class InputFormat(Enum):
    """What an input is; found out by itself where nothing is said."""

    CSV = "csv"
    JSONL = "jsonl"
    PARQUET = "parquet"
    ARROW = "arrow"
    ARROWS = "arrows"


class Decimal(Enum):
    """What stands before the decimals."""

    POINT = "point"
    COMMA = "comma"


def batch(
    context: typer.Context,
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="IN...", help="Logs: CSV, JSON lines, Parquet or Arrow; patterns; - for standard input."
        ),
    ],
    *,
    out: Annotated[
        str | None,
        typer.Option(
            "--out",
            metavar="FILE",
            help="Where the answers go: .parquet, .csv, .jsonl or .arrow; - for standard output. It appears at the "
            "end, whole, in place of an older one.",
        ),
    ] = None,
    map_file: Annotated[
        str | None,
        typer.Option("--map", metavar="FILE", help="Which column is which field; else the header says it."),
    ] = None,
    constants: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="FIELD=VALUE",
            help="What holds for every row that tells nothing else: refrigerant=R134a; repeatable.",
        ),
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option("--keep", metavar="COLUMN", help="A column of the input for the output as well; repeatable."),
    ] = None,
    bad: Annotated[
        str | None,
        typer.Option(
            "--bad", metavar="FILE", help="Where bad rows are listed; FILE.bad.csv beside --out if not told."
        ),
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Stop at the first bad row.")] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show how each column is understood, and the first answers; no more.")
    ] = False,
    input_format: Annotated[
        InputFormat | None, typer.Option("--format", help="What the inputs are, where it cannot be found out.")
    ] = None,
    out_format: Annotated[
        InputFormat | None, typer.Option("--out-format", help="What the output is, where its name does not tell.")
    ] = None,
    encoding: Annotated[
        str | None, typer.Option("--encoding", metavar="NAME", help="Of files of text, such as cp1252.")
    ] = None,
    decimal: Annotated[
        Decimal | None, typer.Option("--decimal", help="What stands before the decimals in files of text.")
    ] = None,
    units_row: Annotated[
        bool | None,
        typer.Option("--units-row/--no-units-row", help="Whether the row below a CSV header holds units."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, max=64, help="How many work side by side; one for each core, 2 at most, if not told."
        ),
    ] = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="RULE", help="Leave a rule out this time; repeatable.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Diagnose every row of logs, and write what was found for each.

    A column named like an option of `twogauge diagnose` or like a check, with its unit behind it or in the row below,
    needs no map: low_side [bar], vent (degC). A map is a small YAML file; examples/fleet has one. For instance:

    twogauge batch 'logs/*.csv.gz' --map map.yaml --out faults.parquet

    A run that was ended goes on where it was when the same command is typed again. Memory does not grow with the
    input. Rows that are no readings are counted and listed in a file of their own.
    """
    from twogauge.diagnosis import program_for
    from twogauge.fleet import bytes_in, job, understanding, writers
    from twogauge.fleet.placing import refuse_overwriting
    from twogauge.fleet.progress import Progress
    from twogauge.fleet.sources import open_source
    from twogauge.fleet.stretches import Options
    from twogauge.output import batch as printed

    if out is None and not dry_run:
        raise InputError("--out says where the answers go, such as --out faults.parquet; or try --dry-run first")
    if as_json and out == STDOUT:
        raise InputError("--json and --out - both go to standard output; leave one of them out")
    if encoding is not None:
        _check_encoding(encoding)
    kind, packed = ("csv", "") if out is None else writers.kind_of(out, out_format.value if out_format else "")
    names = bytes_in.expand(files)
    side = bad if bad is not None else "" if out in (None, STDOUT) else f"{out}.bad.csv"
    written = {option: path for option, path in (("--out", out), ("--bad", side)) if path and path != STDOUT}
    refuse_overwriting(written, [*(name for name in names if name != STDOUT), *([map_file] if map_file else [])])

    program = program_for(rules_folders(rules), tuple(without or ()))
    column_map = None
    if map_file is not None:
        from twogauge.fleet.column_map import read_map

        column_map = read_map(map_file, program.answers)
        asked = str(context.get_parameter_source("units")).rpartition(".")[2] == "COMMANDLINE"
        if asked and column_map.units is not units:
            raise InputError(f"--units {units}: the map {map_file} says {column_map.units}; write units there")
        units = column_map.units
    given = _constants(constants or [], column_map, units, program)
    comma = decimal.value if decimal else ""
    said = {"encoding": encoding or "", "decimal": comma, "units_row": units_row}
    folder = None if out in (None, STDOUT) else str(Path(os.path.realpath(str(out))).parent)
    options = Options(encoding or "", comma, units_row, folder)
    sources = [
        open_source(bytes_in.Input(name, input_format.value if input_format else ""), options) for name in names
    ]
    understood = understanding.understand(
        sources,
        program.answers,
        column_map=column_map,
        units=units,
        constants=given,
        keep=keep or (),
        options=options,
    )
    if dry_run:
        first = printed.first_answers(understood, program)
        if as_json:
            print_json(printed.understanding_document(understood, first))
        else:
            titles = {name: loaded.entry.title for name, loaded in program.stack.faults.items()}
            sys.stdout.write(printed.understanding_text(understood, first, titles))
        return
    plan = job.Plan(
        understood, program, str(out), kind, packed, side, tuple(keep or ()), strict, workers or _cores(), said
    )
    progress = Progress(sys.stderr, bytes_in.size_of([each.input for each in sources]))
    try:
        found = job.run(plan, lambda piece, done, now: progress.update(piece.rows + piece.spoilt, done, worked=now))
    except KeyboardInterrupt:
        progress.clear()
        if out != STDOUT and not any(source.input.once for source in sources):
            typer.echo("twogauge: stopped; the same command goes on from here", err=True)
        raise
    finally:
        progress.clear()
    if as_json:
        print_json(printed.document(found, plan))
    else:
        typer.echo(printed.as_text(found, plan), err=True, nl=False)


def _constants(items: list[str], column_map: ColumnMap | None, units: UnitSet, program: Program) -> dict[str, Any]:
    """Read what holds for every row.

    Raises:
        InputError: not a field or a check, or a value it cannot have.
    """
    flags = {known.flag: name for name, known in FIELDS.items() if known.flag}
    given: dict[str, Any] = {}
    for item in items:
        name, equals, value = (part.strip() for part in item.partition("="))
        if not (equals and name and value):
            raise InputError(f"--set {shown(item)}: write a field and its value, such as --set refrigerant=R134a")
        name = flags.get(name.replace("_", "-"), name.replace("-", "_"))
        if name not in FIELDS and name not in program.answers:
            near = did_you_mean(name, [*FIELDS, *flags, *program.answers])
            hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else ""
            raise InputError(f"--set: {shown(name)} is not a field or a check{hint}")
        given[name] = value
    before = dict(column_map.constants) if column_map is not None else {}
    try:
        Reading({**before, **given}, units=units).validate_checks(program.answers)
    except ReadingError as error:
        raise InputError("\n".join(f"--set {line}" for line in str(error).splitlines())) from None
    return given


def _check_encoding(name: str) -> None:
    import codecs

    try:
        codecs.lookup(name)
        "".encode(name)
    except (LookupError, ValueError):
        raise InputError(f"--encoding {shown(name)} is not known; such as utf-8, cp1252 or utf-16") from None


def _cores() -> int:
    """Return how many cores this process may use, and no more than fit into the memory a run may take."""
    affinity = getattr(os, "sched_getaffinity", None)
    cores = len(affinity(0)) if affinity is not None else os.cpu_count() or 1
    return min(cores, _MOST_WORKERS)
