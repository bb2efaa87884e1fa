"""Batches of rows out of log files: CSV, JSON lines, Parquet and Arrow, only the columns that are wanted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.csv as pc_csv
import pyarrow.ipc as pc_ipc
import pyarrow.json as pc_json
import pyarrow.parquet as pq

from twogauge.errors import InputError
from twogauge.fleet.column_map import ColumnMap

_BLOCK: Final = 4 << 20  # bytes of text that are read together
_ROWS: Final = 65_536
_PACKED: Final = (".gz", ".bz2", ".zst", ".lz4")


def columns_in(path: Path) -> list[str]:
    """Return the names of the columns of a log.

    Raises:
        InputError: it cannot be read.
    """
    return [str(name) for name in next(_opened(path, None)).schema.names]


def batches_in(path: Path, column_map: ColumnMap) -> Iterator[pa.RecordBatch]:
    """Return the rows of a log, with the columns of a map.

    Raises:
        InputError, FileProblems: it cannot be read, or a column is missing.
    """
    column_map.check_columns(columns_in(path), path.name)
    return _opened(path, list(column_map.columns))


def _opened(path: Path, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
    kind = _kind(path)
    try:
        yield from _READERS[kind](path, columns)
    except (pa.ArrowException, OSError) as error:
        said = " ".join(str(error).split())[:200]
        raise InputError(f"{path} cannot be read as {kind} ({said})") from None


def _kind(path: Path) -> str:
    if not path.is_file():
        raise InputError(f"{path}: there is no such file; check the name and the folder")
    suffix = path.with_suffix("").suffix if path.suffix.casefold() in _PACKED else path.suffix
    kind = _SUFFIXES.get(suffix.casefold())
    if kind is None:
        raise InputError(f"{path}: what is in it cannot be told from its name; known are {', '.join(_SUFFIXES)}")
    return kind


def _csv(path: Path, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
    # As text, so that what a cell means is judged in one place (intake.py), and no block can disagree with the first.
    types = dict.fromkeys(columns, pa.string()) if columns is not None else {}
    with pa.input_stream(str(path), compression="detect") as stream:
        yield from pc_csv.open_csv(
            stream,
            pc_csv.ReadOptions(block_size=_BLOCK),
            convert_options=pc_csv.ConvertOptions(
                include_columns=columns, column_types=types, strings_can_be_null=True, null_values=[""]
            ),
        )


def _json(path: Path, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
    with pa.input_stream(str(path), compression="detect") as stream:
        for batch in pc_json.open_json(stream, pc_json.ReadOptions(block_size=_BLOCK)):
            yield batch if columns is None else batch.select(columns)


def _parquet(path: Path, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
    with pq.ParquetFile(path) as file:
        if columns is None:
            yield pa.RecordBatch.from_pylist([], schema=file.schema_arrow)
            return
        yield from file.iter_batches(_ROWS, columns=columns)


def _arrow(path: Path, columns: list[str] | None) -> Iterator[pa.RecordBatch]:
    with pa.OSFile(str(path)) as file:
        reader: Any
        if file.read(6) == b"ARROW1":
            reader = pc_ipc.open_file(file)
            batches: Any = (reader.get_batch(i) for i in range(reader.num_record_batches))
        else:
            file.seek(0)
            reader = batches = pc_ipc.open_stream(file)
        if columns is None:
            yield pa.RecordBatch.from_pylist([], schema=reader.schema)
            return
        for batch in batches:
            yield batch.select(columns)


_READERS: Final = {"CSV": _csv, "JSON lines": _json, "Parquet": _parquet, "Arrow": _arrow}
_SUFFIXES: Final = {
    ".csv": "CSV",
    ".parquet": "Parquet",
    ".jsonl": "JSON lines",
    ".ndjson": "JSON lines",
    ".arrow": "Arrow",
    ".arrows": "Arrow",
    ".feather": "Arrow",
}
