"""Tables to Parquet or CSV, whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pyarrow as pa
import pyarrow.csv as pc_csv
import pyarrow.parquet as pq

from twogauge.errors import InputError


class TableOut:
    """A table that is written batch by batch into a file that appears when it is complete; nothing without a path.

    Args:
        path: ends in .parquet or .csv, or None.

    Raises:
        InputError: another ending, or it cannot be written there.
    """

    def __init__(self, path: str | None) -> None:
        self._path = None if path is None else Path(path)
        self._part: Path | None = None
        self._writer: Any = None
        if self._path is None:
            return
        if self._path.suffix.casefold() not in (".parquet", ".csv"):
            raise InputError(f"{path}: name a file that ends in .parquet or .csv")
        if not self._path.parent.is_dir():
            raise InputError(f"{path} cannot be written: there is no folder {self._path.parent}")
        self._part = self._path.with_name(f".{os.urandom(8).hex()}.tmp")

    def __enter__(self) -> Self:
        return self

    def write(self, batch: pa.RecordBatch) -> None:
        """Write rows."""
        if self._path is None or self._part is None:
            return
        try:
            if self._writer is None:
                kind = pq.ParquetWriter if self._path.suffix.casefold() == ".parquet" else pc_csv.CSVWriter
                self._writer = kind(str(self._part), batch.schema)
            self._writer.write_batch(batch)
        except OSError as error:
            raise InputError(f"{self._path} cannot be written ({error.strerror or error})") from None

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        if self._writer is None or self._part is None or self._path is None:
            return
        try:
            self._writer.close()
            if kind is None:
                self._part.replace(self._path)
        finally:
            self._part.unlink(missing_ok=True)


def write_table(path: str, rows: Sequence[dict[str, Any]]) -> None:
    """Write rows as a table.

    Raises:
        InputError: no rows, or the file cannot be written.
    """
    if not rows:
        raise InputError(f"{path} was not written: the logs name no machine")
    with TableOut(path) as out:
        out.write(pa.RecordBatch.from_pylist(list(rows)))
