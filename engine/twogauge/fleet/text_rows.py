"""Blocks of lines to rows, each with its line number; lines that are no rows are told with their reason.

A layout is plain data, and may be used by several threads at once and be pickled.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as pa_csv
from pyarrow import json as pa_json

from twogauge.errors import InputError, shown
from twogauge.fleet.text_files import Block

Numbers = npt.NDArray[np.int64]

_NEW_LINE: Final = 10
_RETURN: Final = 13
_QUOTE: Final = 34


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be read of a table.

    Attributes:
        columns: their names, each once.
        numbers: those that hold numbers.
        texts: those that are handed on as they are written.
    """

    columns: tuple[str, ...]
    numbers: frozenset[str] = frozenset()
    texts: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of a table.

    Attributes:
        batch: the columns that were wanted.
        numbers: shape (n,), the number of each row in its file: its line where the file has lines, counted from 1.
        spoilt: (number, reason) of each line that is no row.
    """

    batch: pa.RecordBatch
    numbers: Numbers
    spoilt: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class CsvLayout:
    """How the rows of a CSV file are read: every cell as text, which the intake judges.

    Attributes:
        width: how many columns it has.
        places: column to be read -> its place.
        delimiter: between the cells.
        comma_in: columns whose numbers have a decimal comma.
    """

    width: int
    places: tuple[tuple[str, int], ...]
    delimiter: str
    comma_in: frozenset[str]

    def rows(self, block: Block, name: str) -> Rows:
        """Return the rows of a block.

        Raises:
            InputError: the block cannot be taken apart.
        """
        data = block.data if block.data.isascii() else block.data.decode("utf-8", "replace").encode()
        spoilt: list[tuple[int, str]] = []

        def refuse(row: Any) -> str:
            cells = f"{row.actual_columns} cell{'s' if row.actual_columns != 1 else ''}"
            sentence = f"{cells} where the header names {row.expected_columns} columns"
            spoilt.append((row.number, sentence))
            return "skip"

        ids = [str(i) for i in range(self.width)]
        read = [str(place) for _, place in self.places]
        try:
            table = pa_csv.read_csv(
                pa.BufferReader(data),
                read_options=pa_csv.ReadOptions(column_names=ids, use_threads=False, block_size=len(data) + 1),
                parse_options=pa_csv.ParseOptions(
                    delimiter=self.delimiter, newlines_in_values=b'"' in data, invalid_row_handler=refuse
                ),
                convert_options=pa_csv.ConvertOptions(
                    include_columns=read, column_types=dict.fromkeys(read, pa.string()), check_utf8=False
                ),
            )
        except pa.ArrowInvalid as error:
            raise _unreadable(block, name, error) from None
        batch = _one_batch(table)
        arrays = [self._cells(column, array) for (column, _), array in zip(self.places, batch.columns, strict=True)]
        lines = record_lines(data, quotes=True)
        bad = {number - 1 for number, _ in spoilt}
        if lines.size != batch.num_rows + len(spoilt) or not all(0 <= each < lines.size for each in bad):
            lines = np.arange(batch.num_rows + len(spoilt), dtype=np.int64)  # stray quotation marks: about
        numbers = np.delete(lines, sorted(bad)) if bad else lines
        told = tuple((int(lines[number - 1]) + block.first, reason) for number, reason in spoilt)
        return Rows(
            pa.RecordBatch.from_arrays(arrays, names=[c for c, _ in self.places]), numbers + block.first, told
        )

    def _cells(self, column: str, cells: pa.Array) -> pa.Array:
        if column not in self.comma_in:
            return cells
        return pc.replace_substring_regex(cells, r"^(\s*[-+]?\d+),(\d+\s*)$", r"\1.\2")


@dataclass(frozen=True, slots=True)
class JsonLayout:
    """How the rows of JSON lines are read: one object a line.

    Attributes:
        wanted: what is read of each.
    """

    wanted: Wanted

    def rows(self, block: Block, name: str) -> Rows:
        """Return the rows of a block."""
        del name  # a line that cannot be read is a spoilt row, and no more
        lines = record_lines(block.data, quotes=False)
        texts = self.wanted.texts
        schema = pa.schema([(column, pa.string()) for column in self.wanted.columns if column in texts])
        try:
            table = pa_json.read_json(
                pa.BufferReader(block.data),
                read_options=pa_json.ReadOptions(use_threads=False, block_size=len(block.data) + 1),
                parse_options=pa_json.ParseOptions(explicit_schema=schema, newlines_in_values=False),
            )
        except pa.ArrowException:
            return self._one_by_one(block, lines)
        if table.num_rows != lines.size or any(_odd(table.schema, column) for column in self.wanted.columns):
            return self._one_by_one(block, lines)
        there = _one_batch(table.select([c for c in self.wanted.columns if c in table.schema.names]))
        arrays = [
            there.column(c) if c in there.schema.names else pa.nulls(lines.size, pa.string() if c in texts else None)
            for c in self.wanted.columns
        ]
        return Rows(pa.RecordBatch.from_arrays(arrays, names=list(self.wanted.columns)), lines + block.first)

    def _one_by_one(self, block: Block, lines: Numbers) -> Rows:
        """Read line by line, where some are spoilt or a column holds numbers here and texts there."""
        texts = block.data.decode("utf-8", "replace").split("\n")
        numbers: list[int] = []
        spoilt: list[tuple[int, str]] = []
        columns: dict[str, list[object]] = {name: [] for name in self.wanted.columns}
        for line in lines.tolist():
            try:
                row = _object(texts[line])
                cells = [_cell(row.get(name), name, as_text=name in self.wanted.texts) for name in columns]
            except InputError as error:
                spoilt.append((line + block.first, str(error)))
                continue
            numbers.append(line + block.first)
            for name, cell in zip(columns, cells, strict=True):
                columns[name].append(cell)
        arrays = [_array(values, as_text=name in self.wanted.texts) for name, values in columns.items()]
        batch = pa.RecordBatch.from_arrays(arrays, names=list(columns))
        return Rows(batch, np.array(numbers, dtype=np.int64), tuple(spoilt))


def record_lines(data: bytes, *, quotes: bool) -> Numbers:
    """Return on which line each record begins, counted from 0; blank lines are none, nor are lines within a cell."""
    octets = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(octets == _NEW_LINE)
    starts = np.concatenate(([0], ends + 1))
    begins = np.ones(starts.size, dtype=bool)
    if quotes and b'"' in data:
        marks = np.flatnonzero(octets == _QUOTE)
        begins[1:] = np.searchsorted(marks, ends) % 2 == 0
    if starts[-1] == octets.size:
        starts, begins = starts[:-1], begins[:-1]
    first = octets[starts]
    second = octets[np.minimum(starts + 1, octets.size - 1)]
    blank = (first == _NEW_LINE) | ((first == _RETURN) & (second == _NEW_LINE))
    return np.flatnonzero(begins & ~blank).astype(np.int64)


def _one_batch(table: pa.Table) -> pa.RecordBatch:
    batches = table.combine_chunks().to_batches()
    if batches:
        return batches[0]
    return pa.RecordBatch.from_arrays([pa.array([], kind) for kind in table.schema.types], schema=table.schema)


def _unreadable(block: Block, name: str, error: Exception) -> InputError:
    last = block.first + block.data.count(b"\n")
    said = shown(str(error).splitlines()[0], 120).strip("'\"")
    return InputError(f"{name}: the lines {block.first} to {last} cannot be taken apart ({said})")


def _odd(schema: pa.Schema, column: str) -> bool:
    """Tell whether Arrow has read more into a column than is written there."""
    place = schema.get_field_index(column)
    kind = schema.types[place] if place >= 0 else pa.null()
    return bool(pa.types.is_nested(kind) or pa.types.is_temporal(kind))


def _object(text: str) -> dict[str, object]:
    try:
        row = json.loads(text)
    except ValueError as error:
        raise InputError(f"not a JSON object ({getattr(error, 'msg', error)})") from None
    except RecursionError:
        raise InputError("not a JSON object (lists within lists without end)") from None
    if not isinstance(row, dict):
        raise InputError("not a JSON object; a line is {...}")
    return row


def _cell(value: object, column: str, *, as_text: bool) -> object:
    if isinstance(value, dict | list):
        raise InputError(f"{shown(column)} holds a {'list' if isinstance(value, list) else 'group of values'}")
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 2**53:
        return str(value)
    if as_text and value is not None and not isinstance(value, str):
        return json.dumps(value)
    return value


def _array(values: Sequence[object], *, as_text: bool) -> pa.Array:
    told = [value for value in values if value is not None]
    if as_text or any(isinstance(value, str) for value in told):
        return pa.array([_text(value) for value in values], pa.string())
    if all(isinstance(value, bool) for value in told):
        return pa.array(values, pa.bool_() if told else pa.null())
    if any(isinstance(value, bool) for value in told):
        return pa.array([_text(value) for value in values], pa.string())
    return pa.array(values, pa.float64() if any(isinstance(value, float) for value in told) else pa.int64())


def _text(value: object) -> str | None:
    return None if value is None else value if isinstance(value, str) else json.dumps(value)
