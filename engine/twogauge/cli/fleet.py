"""`twogauge fleet`: logs of machines in, what became of each out: first fault, since when, how sure, trends.

Printing and files only: fleet/windows.py finds, fleet/history.py judges, output/fleet.py words it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.common import JsonOption, UnitsOption, print_json
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError
from twogauge.quantities import UnitSet

if TYPE_CHECKING:
    from twogauge.fleet.history import Summary
    from twogauge.fleet.understanding import Understood
    from twogauge.packs.compile import Program


def fleet(
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="LOG...",
            help="Logs: CSV, JSON lines, Parquet or Arrow, packed or not; patterns; - for standard input.",
        ),
    ],
    *,
    map_file: Annotated[
        str | None,
        typer.Option("--map", metavar="FILE", help="Which column is which; without it, as the header says."),
    ] = None,
    rules: RulesOption = None,
    units: UnitsOption = UnitSet.US,
    as_json: JsonOption = False,
    table: Annotated[
        str | None,
        typer.Option(
            "--table",
            metavar="FILE",
            help="Also write one row per machine; its end says how, as with --out of batch.",
        ),
    ] = None,
    windows: Annotated[
        str | None,
        typer.Option(
            "--windows",
            metavar="FILE",
            help="Also write every window with its answer, in the same ways.",
        ),
    ] = None,
    plot: Annotated[
        str | None, typer.Option("--plot", metavar="FOLDER", help="Also draw each machine's weeks, as SVG.")
    ] = None,
    no_color: Annotated[bool, typer.Option("--no-color", help="No bold, no colour.")] = False,
) -> None:
    """Tell what became of each machine of a fleet, out of its logs.

    Start-ups, stops and what is unsteady are left out; each steady stretch, and each run of regular clutch cycles, is
    diagnosed like a reading. A map names the columns, time and machine among them; without a column for the machine,
    each file is one. For instance:

    twogauge fleet logs/*.csv --map depot.yaml
    """
    if plot is not None:
        from twogauge.cli.plotting import need_library

        need_library()
    from twogauge.diagnosis import program_for
    from twogauge.fleet.bytes_in import expand, size_of
    from twogauge.fleet.placing import refuse_overwriting
    from twogauge.fleet.progress import Progress
    from twogauge.fleet.run import run
    from twogauge.fleet.writers import TableFile
    from twogauge.output.batch import near_lines
    from twogauge.output.fleet import as_text, document, rows_of
    from twogauge.output.style import style_for

    program = program_for(rules_folders(rules))
    names = expand(files)
    written = {option: path for option, path in (("--table", table), ("--windows", windows)) if path}
    refuse_overwriting(written, [*(name for name in names if name != "-"), *([map_file] if map_file else [])])
    logs = _logs(names, map_file, program, units)
    progress = Progress(sys.stderr, size_of([log.source.input for log in logs]))
    with ExitStack() as stack:
        tables = {option: stack.enter_context(TableFile(path, option)) for option, path in written.items()}
        stack.callback(progress.clear)
        summaries = run(
            logs, program, each=tables["--windows"].write if "--windows" in tables else None, tell=progress.update
        )
        if "--table" in tables:
            if not summaries:
                raise InputError(f"--table {table} was not written: the logs name no machine")
            tables["--table"].write_rows(rows_of(summaries))
    for line in near_lines(logs):
        typer.echo(line, err=True)
    titles = {name: loaded.entry.title for name, loaded in program.stack.faults.items()}
    zone = logs[0].map.windows.zone
    if as_json:
        print_json(document(summaries, titles, zone, [(pack.pack, pack.edition) for pack in program.stack.packs]))
    else:
        sys.stdout.write(as_text(summaries, titles, zone, style_for(sys.stdout, color=not no_color), units))
    if plot is not None:
        sys.stdout.flush()
        _draw(Path(plot), summaries, titles, units)


def _logs(names: Sequence[str], map_file: str | None, program: Program, units: UnitSet) -> list[Understood]:
    from twogauge.fleet.bytes_in import Input
    from twogauge.fleet.column_map import read_map
    from twogauge.fleet.sources import open_source
    from twogauge.fleet.stretches import Options
    from twogauge.fleet.understanding import understand

    column_map = read_map(map_file, program.answers) if map_file is not None else None
    sources = [open_source(Input(name), Options()) for name in names]
    return understand(sources, program.answers, column_map=column_map, units=units)


def _draw(folder: Path, summaries: tuple[Summary, ...], titles: dict[str, str], units: UnitSet) -> None:
    from twogauge.draw.fleet import fleet_picture
    from twogauge.files import write_atomically

    folder.mkdir(parents=True, exist_ok=True)
    drawn = 0
    for name, summary in _file_names(summaries):
        picture: Any = fleet_picture(summary, titles, units)
        if picture is not None:
            write_atomically(folder / f"{name}.svg", picture.as_bytes("svg"))
            drawn += 1
    typer.echo(f"{drawn} picture{'' if drawn == 1 else 's'} in {folder}", err=True)


def _file_names(summaries: tuple[Summary, ...]) -> Iterator[tuple[str, Summary]]:
    """Return a name for each machine's file that any file system takes, no two alike."""
    used: set[str] = set()
    for summary in summaries:
        plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in summary.machine)[:80]
        name, number = plain or "machine", 2
        while name.casefold() in used:
            name, number = f"{plain}_{number}", number + 1
        used.add(name.casefold())
        yield name, summary
