"""Tables to files: Parquet, Arrow, CSV or JSON lines, packed where the name ends so.

The same tables give the same bytes.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Protocol, Self

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyarrow import csv as pa_csv

from twogauge.errors import InputError, did_you_mean, shown
from twogauge.fleet.placing import move, place_for

SUFFIXES: Final = {
    ".parquet": "parquet",
    ".csv": "csv",
    ".jsonl": "jsonl",
    ".ndjson": "jsonl",
    ".arrow": "arrow",
    ".feather": "arrow",
    ".arrows": "arrows",
}
_PACKED: Final = {".gz": "gzip", ".bz2": "bz2", ".zst": "zstd", ".lz4": "lz4"}
_ROW_GROUP: Final = 1 << 17
_NO_NUMBERS: Final = frozenset({"nan", "inf", "-inf"})  # as Arrow writes them; JSON has no such numbers


class Writer(Protocol):
    """Takes tables one after the other."""

    def write(self, table: pa.Table) -> None:
        """Append a table."""
        ...

    def close(self) -> None:
        """Write what is still missing."""
        ...


def kind_of(path: str, wanted: str = "", *, option: str = "--out") -> tuple[str, str]:
    """Return the format of an output, and how it is packed, by its name.

    Args:
        path: of the file; `-` for standard output.
        wanted: the format, if a person says it.
        option: that named it, for messages.

    Raises:
        InputError: the name does not tell.
    """
    suffixes = [suffix.lower() for suffix in Path(path).suffixes]
    packed = _PACKED.get(suffixes[-1], "") if suffixes else ""
    if packed:
        suffixes.pop()
    kind = wanted or SUFFIXES.get(suffixes[-1] if suffixes else "", "csv" if path == "-" else "")
    if not kind:
        near = did_you_mean(suffixes[-1] if suffixes else "", SUFFIXES, 1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise InputError(
            f"{option} {shown(path)}: how the answers are written is told by the end of the name: "
            f"{', '.join(SUFFIXES)}, the texts also with {', '.join(_PACKED)}{hint}"
        )
    if packed and kind in ("parquet", "arrow"):
        raise InputError(f"{option} {shown(path)}: a {kind} file is not packed as a whole; leave out the last ending")
    return kind, packed


def writer_for(kind: str, packed: str, sink: Sink, schema: pa.Schema) -> Writer:
    """Return what writes tables of a schema.

    Args:
        kind: one of the values of SUFFIXES.
        packed: as `kind_of` gave it.
        sink: where to.
        schema: of every table.
    """
    to: Any = sink
    if packed:
        to = pa.CompressedOutputStream(pa.PythonFile(sink, mode="w"), packed)
    if kind == "parquet":
        return _Parquet(to, schema)
    if kind == "csv":
        to.write(_csv_header(schema))
        return _Lines(to, _csv_lines, packed)
    if kind == "jsonl":
        return _Lines(to, _json_lines, packed)
    return _Arrow(to, schema, packed, stream=kind == "arrows")


class Sink:
    """A file that its owner closes, and not who writes to it; once it is abandoned, nothing more reaches it.

    Args:
        file: an open binary file.
    """

    closed = False

    def __init__(self, file: Any) -> None:
        self._file = file
        self._abandoned = False

    def write(self, data: Any) -> int:
        """Write bytes."""
        return 0 if self._abandoned else int(self._file.write(data))

    def writable(self) -> bool:
        """Tell that it can be written to."""
        return True

    def flush(self) -> None:
        """See what was written out of the door."""
        if not self._abandoned:
            self._file.flush()

    def close(self) -> None:
        """Flush; the file stays open."""
        self.flush()

    def abandon(self) -> None:
        """Drop what is written from now on: writers add an end to what is only a part, even when they are forgotten."""
        self._abandoned = True


class TableFile:
    """A table that is written batch by batch into a file that appears when it is whole; a context.

    Args:
        path: of the file; its end tells how it is written.
        option: that named it, for messages.

    Raises:
        InputError: its name tells no format, or no file can stand there.
    """

    def __init__(self, path: str, option: str) -> None:
        self._kind, self._packed = kind_of(path, option=option)
        self._target = place_for(path, option)
        self._name = f"{option} {path}"
        self._part = self._target.with_name(f".{os.urandom(8).hex()}.tmp")
        self._file: Any = None
        self._sink: Sink | None = None
        self._writer: Writer | None = None

    def __enter__(self) -> Self:
        return self

    def write(self, table: pa.Table | pa.RecordBatch) -> None:
        """Append rows.

        Raises:
            InputError: there is no room, or no permission.
        """
        rows = table if isinstance(table, pa.Table) else pa.Table.from_batches([table])
        try:
            if self._writer is None:
                self._file = self._part.open("xb")
                self._sink = Sink(self._file)
                self._writer = writer_for(self._kind, self._packed, self._sink, rows.schema)
            self._writer.write(rows)
        except OSError as error:
            raise self._no_room(error) from None

    def write_rows(self, rows: Sequence[Mapping[str, object]]) -> None:
        """Append rows that are plain data, all with the same names.

        Raises:
            InputError: there is no room, or no permission.
        """
        self.write(pa.Table.from_pylist(list(rows)))

    def _no_room(self, error: OSError) -> InputError:
        return InputError(f"{self._name} cannot be written ({error.strerror or error})")

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        try:
            if kind is None and self._writer is not None:
                self._writer.close()
                self._file.close()
                move(self._part, self._target)
        except OSError as trouble:
            raise self._no_room(trouble) from None
        finally:
            if self._sink is not None:
                self._sink.abandon()
            if self._file is not None:
                with contextlib.suppress(OSError):
                    self._file.close()
                self._part.unlink(missing_ok=True)


class _Parquet:
    """Small tables are gathered into row groups."""

    def __init__(self, sink: Any, schema: pa.Schema) -> None:
        # Measured numbers hardly ever repeat: a dictionary of them costs four times the writing and saves nothing.
        words = [f.name for f in schema if pa.types.is_string(f.type) or pa.types.is_dictionary(f.type)]
        self._writer = pq.ParquetWriter(sink, schema, compression="zstd", use_dictionary=words, version="2.6")
        self._waiting: list[pa.Table] = []
        self._rows = 0

    def write(self, table: pa.Table) -> None:
        self._waiting.append(table)
        self._rows += table.num_rows
        if self._rows >= _ROW_GROUP:
            self._flush()

    def _flush(self) -> None:
        if self._waiting:
            self._writer.write_table(pa.concat_tables(self._waiting), row_group_size=2 * _ROW_GROUP)
        self._waiting, self._rows = [], 0

    def close(self) -> None:
        self._flush()
        self._writer.close()


class _Arrow:
    def __init__(self, sink: Any, schema: pa.Schema, packed: str, *, stream: bool) -> None:
        self._sink = sink if packed else None
        self._writer = (pa.ipc.new_stream if stream else pa.ipc.new_file)(sink, schema)

    def write(self, table: pa.Table) -> None:
        self._writer.write_table(table)

    def close(self) -> None:
        self._writer.close()
        if self._sink is not None:
            self._sink.close()


class _Lines:
    def __init__(self, sink: Any, lines: Any, packed: str) -> None:
        self._sink = sink
        self._lines = lines
        self._packed = packed

    def write(self, table: pa.Table) -> None:
        self._lines(table, self._sink)

    def close(self) -> None:
        if self._packed:
            self._sink.close()


def _csv_header(schema: pa.Schema) -> bytes:
    lines = pa.BufferOutputStream()
    pa_csv.write_csv(schema.empty_table(), lines)
    return bytes(lines.getvalue().to_pybytes())


def _csv_lines(table: pa.Table, sink: Any) -> None:
    lines = pa.BufferOutputStream()
    pa_csv.write_csv(table, lines, pa_csv.WriteOptions(include_header=False))
    sink.write(lines.getvalue())


def _json_lines(table: pa.Table, sink: Any) -> None:
    """Write one object a line, a whole column of cells at a time."""
    if table.num_rows == 0:
        return
    pieces: list[Any] = []
    for i, (name, column) in enumerate(zip(table.schema.names, table.columns, strict=True)):
        pieces += [pa.scalar(f"{',' if i else '{'}{json.dumps(name, ensure_ascii=False)}:"), _json_cells(column)]
    lines = pc.binary_join_element_wise(*pieces, pa.scalar("}\n"), "")
    for chunk in lines.chunks:
        offsets, data = chunk.buffers()[1:]
        ends = memoryview(offsets).cast("i")[chunk.offset : chunk.offset + len(chunk) + 1]
        sink.write(memoryview(data)[ends[0] : ends[-1]])


def _json_cells(column: pa.ChunkedArray) -> pa.ChunkedArray:
    kind = column.type
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind):
        cells = column.cast(pa.string())
        if pa.types.is_floating(kind):
            cells = pc.if_else(pc.is_finite(column.cast(pa.float64())), cells, pa.scalar(None, pa.string()))
    else:
        texts = column.cast(pa.string()).combine_chunks()
        coded = (texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts).dictionary_encode()
        quoted = [json.dumps(text, ensure_ascii=False) for text in coded.dictionary.to_pylist()]
        cells = pa.chunked_array([pa.array(quoted, pa.string()).take(coded.indices)])
    return pc.fill_null(cells, "null")
