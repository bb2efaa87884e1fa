"""A whole run for `twogauge fleet`: logs through windows and answers into what became of each machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import pyarrow as pa

from twogauge.fleet.history import History, Summary
from twogauge.fleet.stretches import rows_of
from twogauge.fleet.table import Diagnoser
from twogauge.fleet.understanding import Understood, behind, naming
from twogauge.fleet.windows import WindowFinder
from twogauge.packs.compile import Program


def run(
    files: Sequence[Understood],
    program: Program,
    *,
    each: Callable[[pa.RecordBatch], None] | None = None,
    tell: Callable[[int, int], None] = lambda *_: None,
) -> tuple[Summary, ...]:
    """Return what became of each machine.

    Args:
        files: the logs with what their columns mean, in any order; where the map names no column for the machine, each
            file is one, by its name.
        program: the rules in force.
        each: called with each batch of windows and their answers, side by side; once at least, be it an empty one.
        tell: called after each stretch of a log with its rows and how many bytes of the logs lie behind.

    Raises:
        InputError, ReadingError: a log or a map that cannot be used.
    """
    column_map = files[0].map
    finder = WindowFinder(column_map, program)
    diagnoser = Diagnoser(finder.column_map, program)
    history = History(column_map.windows.zone)

    taken = False

    def take(windows: pa.RecordBatch, *, at_least: bool = False) -> None:
        nonlocal taken
        if not windows.num_rows and not at_least:
            return
        taken = True
        answers = diagnoser.answer(windows)
        history.add(windows, answers)
        if each is not None:
            each(beside(windows, answers))

    for place, file in enumerate(files):
        name = file.source.input.name
        machine = "" if file.map.machine else machine_of(name)
        layout = file.source.layout(file.wanted)
        for stretch in file.source.stretches(file.wanted):
            rows = rows_of(stretch, layout, name)
            finder.add_spoilt(len(rows.spoilt), machine=machine_of(name))
            with naming(name):
                found = finder.add(rows.batch, machine=machine, column_map=file.map)
            take(found)
            tell(stretch.rows, behind(files, place, stretch))
    last = finder.finish()
    take(last, at_least=not taken)
    return history.summaries(finder.shares)


def machine_of(name: str) -> str:
    """Return the name of a machine whose log is a file of its own: the file's, up to the first dot."""
    return Path(name).name.partition(".")[0]


def beside(windows: pa.RecordBatch, answers: pa.RecordBatch) -> pa.RecordBatch:
    """Return windows and their answers as one batch; an answer that is called like a column of the window is left out."""
    taken = set(windows.schema.names)
    kept = [i for i, name in enumerate(answers.schema.names) if name not in taken]
    schema = pa.schema([*windows.schema, *(answers.schema.field(i) for i in kept)])
    return pa.RecordBatch.from_arrays([*windows.columns, *(answers.column(i) for i in kept)], schema=schema)
