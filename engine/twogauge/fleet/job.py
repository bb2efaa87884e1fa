"""A whole run: files of rows in, one file of answers out, in pieces that several workers answer side by side.

The output holds each row of the input, in its order; a row that is no reading has a reason under `trouble` there and
no verdict. A second file lists these rows, and the lines that are no rows at all. Both are complete or not there.

Memory does not grow with the input: as many pieces are under way as there are workers, and two more.
"""

from __future__ import annotations

import contextlib
import csv
import os
import sys
import tempfile
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from itertools import chain, islice
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from twogauge import __version__
from twogauge.errors import InputError
from twogauge.fleet.answer import SCHEMA, VERDICTS
from twogauge.fleet.column_map import ColumnMap
from twogauge.fleet.pieces import Parts, Piece, digest, no_room
from twogauge.fleet.placing import BAD_HEADER, put_in_place, write_bad, write_whole
from twogauge.fleet.stretches import Layout, Stretch, rows_of
from twogauge.fleet.table import Diagnoser
from twogauge.fleet.understanding import Kept, Understood, behind, kept_columns, naming
from twogauge.fleet.workers import Workers, result_of
from twogauge.fleet.writers import Sink, Writer, writer_for
from twogauge.packs.compile import Program
from twogauge.weigh import Verdict

STDOUT: Final = "-"
PIECE: Final = 1 << 15  # rows, about
_FAULT: Final = VERDICTS.index(Verdict.FAULT.word)
_FEW: Final = 4  # pieces; fewer are answered sooner than other processes begin
_MOST_NAMES: Final = 1000  # files whose names stand in a dictionary


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run is to do.

    Attributes:
        files: with what their columns mean.
        program: the rules in force.
        out: where the answers go; `-` for standard output.
        kind, packed: how they are written, as `kind_of` gives it.
        bad: where the bad rows are listed; "" for nowhere.
        keep: further columns of the input for the output.
        strict: whether the first bad row ends the run.
        workers: how many answer side by side.
        said: what a person said about the files, for telling runs apart.
    """

    files: Sequence[Understood]
    program: Program
    out: str
    kind: str = "parquet"
    packed: str = ""
    bad: str = ""
    keep: Sequence[str] = ()
    strict: bool = False
    workers: int = 1
    said: Mapping[str, object] = field(default_factory=dict)


@dataclass(slots=True)
class Summary:
    """What came of a run.

    Attributes:
        rows: of the input, with the spoilt ones.
        bad: how many of them are no readings, or no rows.
        verdicts: word -> how many.
        faults: fault -> how many rows name it.
        seconds: it took, without an earlier run.
        resumed: rows an earlier run had answered.
        note: what became of an earlier run, in words.
        first_bad: (file, row, reason) of the first bad row.
    """

    rows: int = 0
    bad: int = 0
    verdicts: Counter[str] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    resumed: int = 0
    note: str = ""
    first_bad: tuple[str, int, str] | None = None

    @property
    def answered(self) -> int:
        """How many rows have an answer."""
        return self.rows - self.bad

    def add(self, piece: Piece) -> None:
        """Count a piece."""
        self.rows += piece.rows + piece.spoilt
        self.bad += piece.bad + piece.spoilt
        self.verdicts.update(piece.verdicts)
        self.faults.update(piece.faults)
        self.first_bad = self.first_bad or piece.first_bad


@dataclass(frozen=True)
class Work:
    """What a worker needs; picklable.

    Attributes:
        names: of the files.
        layouts: what takes each file's stretches apart.
        diagnosers: those in use; `which` says which is whose.
        kept: columns of the input for the output, with the name of each in each file under `columns`.
        schema: of the output.
    """

    names: tuple[str, ...]
    layouts: tuple[Layout, ...]
    diagnosers: tuple[Diagnoser, ...]
    which: tuple[int, ...]
    kept: tuple[Kept, ...]
    columns: tuple[tuple[str, ...], ...]
    schema: pa.Schema

    def answer(self, number: int, stretches: Sequence[tuple[int, Stretch]], path: Path, bad_path: Path) -> Piece:
        """Answer a piece and write it.

        Args:
            number: of the piece.
            stretches: with the number of the file of each.
            path, bad_path: where its answers and its bad rows go.

        Raises:
            InputError: a column cannot hold what the map says it does, or nothing can be written.
        """
        batches, bad = [], []
        spoilt = 0
        for place, stretch in stretches:
            name = self.names[place]
            rows = rows_of(stretch, self.layouts[place], name)
            with naming(name):
                answer = self._diagnoser(place).answer(rows.batch)
            batches.append(self._with_kept(place, rows.batch, rows.numbers, answer))
            mine = [*rows.spoilt, *_troubles(answer, rows.numbers)]
            bad += [(name, row, reason) for row, reason in sorted(mine)]
            spoilt += len(rows.spoilt)
        count = sum(batch.num_rows for batch in batches)
        words: Counter[str] = Counter()
        faults: Counter[str] = Counter()
        for batch in batches:
            words.update(_counted(batch.column("verdict")))
            named = pc.equal(batch.column("verdict").indices, _FAULT)
            faults.update(_counted(batch.column("first").filter(named)))
        try:
            if bad:
                write_whole(bad_path, lambda file: write_bad(file, bad))
            size = write_whole(path, lambda file: self._write(file, batches))
        except OSError as error:
            raise no_room(path, error) from None
        return Piece(
            number, count, len(bad) - spoilt, spoilt, dict(words), dict(faults), size, bad[0] if bad else None
        )

    def _diagnoser(self, place: int) -> Diagnoser:
        return self.diagnosers[self.which[place]]

    def _with_kept(self, place: int, batch: pa.RecordBatch, numbers: Any, answer: pa.RecordBatch) -> pa.RecordBatch:
        n = batch.num_rows
        if pa.types.is_dictionary(self.schema.field("file").type):
            codes = pa.array(np.full(n, place, dtype=np.int16))
            file = pa.DictionaryArray.from_arrays(codes, pa.array(self.names, pa.string()))
        else:
            file = pa.repeat(self.names[place], n)
        kept = [
            _as(batch.column(column), kept.type, column, self.names[place])
            for column, kept in zip(self.columns[place], self.kept, strict=True)
        ]
        return pa.RecordBatch.from_arrays([file, pa.array(numbers), *kept, *answer.columns], schema=self.schema)

    def _write(self, file: BinaryIO, batches: Sequence[pa.RecordBatch]) -> None:
        with pa.ipc.new_file(file, self.schema) as writer:
            for batch in batches:
                writer.write_batch(batch)


def work_of(files: Sequence[Understood], program: Program, keep: Sequence[str]) -> Work:
    """Set up what workers need.

    Raises:
        ReadingError: constants that cannot be used.
    """
    maps: list[ColumnMap] = []
    which = []
    for each in files:
        if each.map not in maps:
            maps.append(each.map)
        which.append(maps.index(each.map))
    names = tuple(each.source.input.name for each in files)
    kept = kept_columns(files, keep)
    columns = tuple(
        tuple(getattr(each.map, k.name) if k.name in ("machine", "time") else k.column for k in kept)
        for each in files
    )
    name_type = pa.dictionary(pa.int16(), pa.string()) if len(names) <= _MOST_NAMES else pa.string()
    schema = pa.schema(
        [
            pa.field("file", name_type),
            pa.field("row", pa.int64()),
            *(pa.field(k.name, k.type) for k in kept),
            *SCHEMA,
        ]
    )
    layouts = tuple(each.source.layout(each.wanted) for each in files)
    return Work(names, layouts, tuple(Diagnoser(m, program) for m in maps), tuple(which), kept, columns, schema)


def pieces_of(files: Sequence[Understood]) -> Iterator[list[tuple[int, Stretch]]]:
    """Gather the stretches of all files into pieces, the same ones each time."""
    gathered: list[tuple[int, Stretch]] = []
    rows = 0
    for place, each in enumerate(files):
        for stretch in each.source.stretches(each.wanted):
            gathered.append((place, stretch))
            rows += stretch.rows
            if rows >= PIECE:
                yield gathered
                gathered, rows = [], 0
    if gathered:
        yield gathered


def run(plan: Plan, tell: Callable[[Piece, int, bool], None] = lambda *_: None) -> Summary:
    """Do a run.

    Args:
        plan: what is to be done.
        tell: called with each finished piece, how many bytes of the inputs lie behind, and whether it was answered now.

    Raises:
        InputError: an input that cannot be read, a place that cannot be written, or with `strict` the first bad row.
    """
    began = time.monotonic()
    work = work_of(plan.files, plan.program, plan.keep)
    with contextlib.ExitStack() as stack:
        to_stdout = plan.out == STDOUT
        if to_stdout:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="twogauge-"))) / "parts"
        else:
            target = Path(os.path.realpath(plan.out))
            folder = target.with_name(f"{target.name}.parts")
        once = any(each.source.input.once for each in plan.files)
        parts = stack.enter_context(Parts(folder, describe(plan), resumable=not once))
        summary = Summary(note=parts.note, resumed=sum(piece.rows + piece.spoilt for piece in parts.done.values()))
        try:
            output: Any = sys.stdout.buffer if to_stdout else stack.enter_context(parts.whole.open("wb"))
            sink = Sink(output)
            stack.callback(sink.abandon)
            writer = writer_for(plan.kind, plan.packed, sink, work.schema)
            bad = stack.enter_context(parts.whole.with_suffix(".bad.csv").open("w", encoding="utf-8", newline=""))
            csv.writer(bad, lineterminator="\n").writerow(BAD_HEADER)
        except OSError as error:
            if to_stdout:
                raise
            raise no_room(folder, error) from None
        for piece, done, now in _answered(plan, work, parts):
            summary.add(piece)
            if plan.strict and piece.first_bad is not None:
                name, row, reason = piece.first_bad
                raise InputError(f"{name}:{row}: {reason}")
            _append(parts, piece, writer, bad, once=to_stdout, out=plan.out)
            tell(piece, done, now)
        try:
            writer.close()
            bad.close()
            if to_stdout:
                sys.stdout.buffer.flush()
            else:
                output.flush()
                os.fsync(output.fileno())
                output.close()
            put_in_place(
                parts.whole,
                parts.whole.with_suffix(".bad.csv"),
                out="" if to_stdout else plan.out,
                bad=plan.bad,
                any_bad=summary.bad > 0,
            )
        except OSError as error:
            if to_stdout:
                raise
            raise no_room(plan.out, error) from None
        parts.remove()
    summary.seconds = time.monotonic() - began
    return summary


def describe(plan: Plan) -> dict[str, Any]:
    """Return what a run is made of, as plain data: two runs with the same description give the same bytes."""
    program = plan.program
    rules = (program.hypotheses, program.rules, program.gates, program.bands, program.topics, program.answers)
    return {
        "version": [__version__, pa.__version__, np.__version__],
        "inputs": [list(each.source.input.identity) for each in plan.files],
        "map": [digest(each.map) for each in plan.files],
        "rules": digest([*rules, program.stack.profiles]),
        "options": [plan.kind, plan.packed, list(plan.keep), PIECE, dict(plan.said)],
    }


def _answered(plan: Plan, work: Work, parts: Parts) -> Iterator[tuple[Piece, int, bool]]:
    """Give the finished pieces in order, while the next ones are being answered."""
    waiting: deque[tuple[Future[Piece] | Piece, int]] = deque()
    pieces = pieces_of(plan.files)
    first = list(islice(pieces, _FEW))
    workers: Workers[Piece] = Workers(work, plan.workers if len(first) == _FEW else 1)
    try:
        for number, stretches in enumerate(chain(first, pieces)):
            done = behind(plan.files, *stretches[-1])
            known = parts.done.get(number)
            if known is not None:
                waiting.append((known, done))
            else:
                paths = parts.path(number), parts.bad_path(number)
                waiting.append((workers.submit(number, stretches, *paths), done))
            while len(waiting) > plan.workers + 1:
                yield _finished(waiting.popleft(), parts)
        while waiting:
            yield _finished(waiting.popleft(), parts)
    finally:
        workers.shutdown()
        for answered, _ in waiting:  # what was still finished is not lost
            if isinstance(answered, Future) and not answered.cancelled() and answered.exception() is None:
                parts.record(answered.result())


def _finished(waiting: tuple[Future[Piece] | Piece, int], parts: Parts) -> tuple[Piece, int, bool]:
    answered, done = waiting
    if isinstance(answered, Piece):
        return answered, done, False
    piece = result_of(answered)
    try:
        parts.record(piece)
    except OSError as error:
        raise no_room(parts.folder, error) from None
    return piece, done, True


def _append(parts: Parts, piece: Piece, writer: Writer, bad: Any, *, once: bool, out: str) -> None:
    """Add a piece to the output."""
    path, bad_path = parts.path(piece.number), parts.bad_path(piece.number)
    try:
        with pa.memory_map(str(path)) as mapped, pa.ipc.open_file(mapped) as file:
            table = file.read_all()
    except (OSError, pa.ArrowException) as error:
        raise InputError(f"{path} cannot be read again ({error}); delete {parts.folder} and start anew") from None
    try:
        writer.write(table)
        if piece.first_bad is not None:
            bad.write(bad_path.read_text("utf-8"))
    except OSError as error:
        if out == STDOUT:  # who calls knows what to say of standard output
            raise
        raise no_room(out, error) from None
    if once:
        path.unlink()


def _counted(column: pa.DictionaryArray) -> dict[str, int]:
    """Return how often each word of a column is there, of those that are."""
    codes = column.indices.drop_null().to_numpy(zero_copy_only=False)
    counts = np.bincount(codes, minlength=len(column.dictionary)).tolist()
    return {word: count for word, count in zip(column.dictionary.to_pylist(), counts, strict=True) if count}


def _troubles(answer: pa.RecordBatch, numbers: Any) -> list[tuple[int, str]]:
    troubles = answer.column("trouble")
    if troubles.null_count == len(troubles):
        return []
    told = np.flatnonzero(np.asarray(troubles.is_valid()))
    return list(zip(numbers[told].tolist(), troubles.take(pa.array(told)).to_pylist(), strict=True))


def _as(cells: pa.Array, kind: pa.DataType, column: str, name: str) -> pa.Array:
    if pa.types.is_dictionary(cells.type):
        cells = cells.dictionary_decode()
    if cells.type.equals(kind):
        return cells
    try:
        return cells.cast(kind)
    except pa.ArrowException as error:
        raise InputError(f"{name}: column {column!r} cannot be kept as {kind} ({error})") from None
