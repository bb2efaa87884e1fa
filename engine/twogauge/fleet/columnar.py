"""Parquet and Arrow files and streams, in stretches; only the columns that are wanted are read.

What cannot be bounded is a batch of an Arrow file that was written compressed: it is unpacked whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from twogauge.errors import InputError, shown
from twogauge.fleet.bytes_in import Input
from twogauge.fleet.stretches import ROWS, Layout, Options, Stretch
from twogauge.fleet.text_rows import JsonLayout, Wanted

_SPOILT: Final = (OSError, pa.ArrowException)
_MOST: Final = 32 << 20  # [byte] of a stretch, about


class _Columnar:
    """What files of columns have in common: types, and nothing to take apart."""

    def __init__(self, each: Input, schema: pa.Schema, about: str) -> None:
        self.input = each
        self.names = tuple(schema.names)
        self.types: Mapping[str, pa.DataType] = dict(zip(schema.names, schema.types, strict=True))
        self.units_row: tuple[str, ...] = ()
        self.about = ", ".join([about, *([each.packed] if each.packed else [])])

    def _check(self, wanted: Wanted) -> None:
        twice = [name for name in wanted.columns if self.names.count(name) > 1]
        if twice:
            raise InputError(f"{self.input.name} has two columns {shown(twice[0])}; rename one of them")

    def layout(self, wanted: Wanted) -> Layout:
        """Return what takes its stretches apart."""
        self._check(wanted)
        return JsonLayout(wanted)  # never asked: batches are taken as they are

    def _damaged(self, error: Exception) -> InputError:
        said = shown((str(error) or type(error).__name__).splitlines()[0], 120).strip("'\"")
        return InputError(
            f"{self.input.name} cannot be read to its end ({said}); it is cut short or damaged: fetch it again"
        )


class ParquetSource(_Columnar):
    """A Parquet file; row groups larger than memory are read in slices."""

    def __init__(self, each: Input, options: Options) -> None:
        self._options = options
        self.input = each
        if each.once:
            # A pipe is read once: its copy has to stay.
            self._context = each.file(options.folder)
            self._kept = self._context.__enter__()
        with self._open() as file:
            super().__init__(each, file.schema_arrow, "Parquet")

    @contextmanager
    def _open(self) -> Iterator[pq.ParquetFile]:
        if self.input.once:
            self._kept.seek(0)
            yield self._opened(self._kept)
            return
        with self.input.file(self._options.folder) as raw:
            yield self._opened(raw)

    def _opened(self, raw: object) -> pq.ParquetFile:
        try:
            # Pages are read as they are needed, and not whole columns of a row group.
            return pq.ParquetFile(raw, buffer_size=1 << 20, pre_buffer=False)
        except _SPOILT as error:
            raise self._damaged(error) from None

    def stretches(self, wanted: Wanted) -> Iterator[Stretch]:
        """Give the file in stretches, from its beginning."""
        with self._open() as file:
            total = file.metadata.num_rows
            first = 1
            batches = file.iter_batches(_rows_at_a_time(file), columns=list(wanted.columns), use_threads=False)
            while (batch := self._next(batches)) is not None:
                # In the order that was asked for, as the other formats give them.
                batch = batch.select(list(wanted.columns))
                done = self.input.size * (first + batch.num_rows - 1) // max(total, 1)
                yield Stretch(batch, first, batch.num_rows, done)
                first += batch.num_rows

    def _next(self, batches: Iterator[pa.RecordBatch]) -> pa.RecordBatch | None:
        try:
            return next(batches, None)
        except _SPOILT as error:
            raise self._damaged(error) from None


def _rows_at_a_time(file: pq.ParquetFile) -> int:
    """Return how many rows are read at a time: fewer where each is large."""
    widest = 1.0
    for i in range(file.metadata.num_row_groups):
        group = file.metadata.row_group(i)
        widest = max(widest, group.total_byte_size / max(group.num_rows, 1))
    return int(min(ROWS, max(_MOST / widest, 256)))


class ArrowSource(_Columnar):
    """A file or a stream of Arrow batches; large ones are taken in slices."""

    def __init__(self, each: Input, options: Options) -> None:
        self._options = options
        self.input = each
        self._stream = each.format == "arrows"
        if each.once:
            self._context = each.stream() if self._stream else each.file(options.folder)
            self._kept: Any = self._context.__enter__()
            if self._stream:
                self._reader = self._opened(self._kept, None)
                super().__init__(each, self._reader.schema, "Arrow stream")
                return
        with self._open(None) as reader:
            super().__init__(each, reader.schema, "Arrow stream" if self._stream else "Arrow file")

    @contextmanager
    def _open(self, wanted: Wanted | None) -> Iterator[Any]:
        if self.input.once:
            if not self._stream:
                self._kept.seek(0)
                yield self._opened(self._kept, wanted)
            else:
                yield self._reader
            return
        with self.input.stream() if self._stream else self.input.file(self._options.folder) as raw:
            yield self._opened(raw, wanted)

    def _opened(self, raw: Any, wanted: Wanted | None) -> pa.ipc.RecordBatchStreamReader:
        fields = None if wanted is None else sorted(self.names.index(name) for name in wanted.columns)
        options = pa.ipc.IpcReadOptions(included_fields=fields, use_threads=False)
        try:
            if self._stream:
                return pa.ipc.open_stream(pa.PythonFile(_Whole(raw), mode="r"), options=options)
            return pa.ipc.open_file(raw, options=options)
        except _SPOILT as error:
            raise self._damaged(error) from None

    def stretches(self, wanted: Wanted) -> Iterator[Stretch]:
        """Give the file in stretches, from its beginning."""
        self._check(wanted)
        with self._open(wanted) as reader:
            first = 1
            for i, batch in enumerate(self._batches(reader)):
                for start in range(0, batch.num_rows, ROWS):
                    part = batch.select(list(wanted.columns)).slice(start, ROWS)
                    count = getattr(reader, "num_record_batches", 0)
                    done = self.input.size * (i + (start + part.num_rows) / batch.num_rows) / count if count else 0
                    yield Stretch(part, first, part.num_rows, int(done))
                    first += part.num_rows

    def _batches(self, reader: object) -> Iterator[pa.RecordBatch]:
        try:
            if isinstance(reader, pa.ipc.RecordBatchFileReader):
                for i in range(reader.num_record_batches):
                    yield reader.get_batch(i)
            else:
                yield from reader  # type: ignore[misc]
        except _SPOILT as error:
            raise self._damaged(error) from None


class _Whole:
    """A stream as Arrow asks for one."""

    def __init__(self, stream: object) -> None:
        self._stream = stream
        self.closed = False

    def read(self, count: int = -1) -> bytes:
        return self._stream.read(count)  # type: ignore[attr-defined,no-any-return]

    def readable(self) -> bool:
        return True

    def close(self) -> None:
        self.closed = True
