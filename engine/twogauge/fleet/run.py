"""A whole run for `twogauge fleet`: logs through windows and answers into what became of each machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import pyarrow as pa

from twogauge.fleet.column_map import ColumnMap
from twogauge.fleet.history import History, Summary
from twogauge.fleet.log_files import batches_in, columns_in
from twogauge.fleet.table import Diagnoser
from twogauge.fleet.windows import WindowFinder
from twogauge.packs.compile import Program


def run(
    paths: Iterable[Path],
    column_map: ColumnMap,
    program: Program,
    *,
    each: Callable[[pa.RecordBatch], None] | None = None,
) -> tuple[Summary, ...]:
    """Return what became of each machine.

    Args:
        paths: the logs, in any order.
        column_map: what their columns mean; without one for the machine, each file is one, by its name.
        program: the rules in force.
        each: called with each batch of windows and their answers, side by side.

    Raises:
        InputError, FileProblems, ReadingError: a log or a map that cannot be used.
    """
    finder = WindowFinder(column_map, program)
    diagnoser = Diagnoser(finder.column_map, program)
    history = History(column_map.windows.zone)

    def take(windows: pa.RecordBatch) -> None:
        if not windows.num_rows:
            return
        answers = diagnoser.answer(windows)
        history.add(windows, answers)
        if each is not None:
            each(beside(windows, answers))

    logs = list(paths)
    for path in logs:  # before hours are spent on those before it
        column_map.check_columns(columns_in(path), path.name)
    for path in logs:
        for batch in batches_in(path, column_map):
            take(finder.add(batch, machine=machine_of(path)))
    take(finder.finish())
    return history.summaries(finder.shares)


def machine_of(path: Path) -> str:
    """Return the name of a machine whose log is a file of its own: the file's, up to the first dot."""
    return path.name.partition(".")[0]


def beside(windows: pa.RecordBatch, answers: pa.RecordBatch) -> pa.RecordBatch:
    """Return windows and their answers as one batch; an answer that is called like a column of the window is left out."""
    taken = set(windows.schema.names)
    kept = [i for i, name in enumerate(answers.schema.names) if name not in taken]
    schema = pa.schema([*windows.schema, *(answers.schema.field(i) for i in kept)])
    return pa.RecordBatch.from_arrays([*windows.columns, *(answers.column(i) for i in kept)], schema=schema)
