"""A table of readings in, a table of answers out, as a library: no files, no terminal, no state outside the objects.

A `Diagnoser` holds the map and the compiled rules. It may be used by several threads at once and be pickled to other
processes; the arithmetic runs in numpy, which lets other threads run meanwhile. It gives the same answers for the same
rows however they are cut into batches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pyarrow as pa

from twogauge.diagnosis import program_for
from twogauge.fleet.answer import SCHEMA, as_batch
from twogauge.fleet.column_map import ColumnMap, map_from_header
from twogauge.fleet.intake import Intake
from twogauge.packs.compile import Program
from twogauge.quantities import UnitSet
from twogauge.weigh import CHUNK, sweep_chunk


class Diagnoser:
    """Answers batches of rows.

    Args:
        column_map: what the columns mean.
        program: the rules in force.

    Attributes:
        map: what the columns mean.
        schema: of every batch it returns.

    Raises:
        ReadingError: constants of the map that cannot be used.
    """

    schema = SCHEMA

    def __init__(self, column_map: ColumnMap, program: Program) -> None:
        self.map = column_map
        self._program = program
        self._intake = Intake(column_map, program)

    def answer(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return one row of answers for each row of a batch.

        Raises:
            InputError: a column the map asks for is missing, or cannot hold what the map says it does.
        """
        self.map.check_columns(batch.schema.names)
        parts = [self._chunk(batch.slice(start, CHUNK)) for start in range(0, batch.num_rows, CHUNK)]
        if not parts:
            return pa.RecordBatch.from_pylist([], schema=SCHEMA)
        return parts[0] if len(parts) == 1 else pa.concat_batches(parts)

    def _chunk(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        taken = self._intake.take(batch)
        return as_batch(sweep_chunk(taken.columns, self._program), self._program, taken.troubles)


def diagnose_table(
    table: pa.Table | pa.RecordBatch,
    *,
    column_map: ColumnMap | None = None,
    constants: Mapping[str, object] | None = None,
    units: UnitSet | str = UnitSet.US,
    rules: Sequence[str | Path] = (),
    program: Program | None = None,
) -> pa.RecordBatch:
    """Diagnose every row of an Arrow table.

    Args:
        table: one reading a row.
        column_map: what the columns mean; without one, they are named like the fields of a reading, with the unit
            behind the name, such as `low_side [bar]`.
        constants: what holds for every row that tells nothing else, such as the refrigerant.
        units: without a map, what bare numbers are.
        rules: folders of packs to stack on the built-in ones, in order.
        program: a compiled stack, instead of `rules`.

    Returns:
        one row for each row of the table, with the columns of `answer.SCHEMA`; a row that is no reading has a reason
        under `trouble` and null everywhere else.

    Raises:
        FileProblems: a pack that cannot be used.
        InputError: a column is missing, or no column says anything.
        ReadingError: a constant that cannot be used.
    """
    if program is None:
        program = program_for(tuple(str(folder) for folder in rules))
    if column_map is None:
        column_map = map_from_header(table.schema.names, program.answers, units=UnitSet(units))
    diagnoser = Diagnoser(column_map.with_constants(constants or {}), program)
    batches = [table] if isinstance(table, pa.RecordBatch) else table.to_batches()
    answers = [diagnoser.answer(batch) for batch in batches]
    return pa.concat_batches(answers) if answers else pa.RecordBatch.from_pylist([], schema=SCHEMA)
