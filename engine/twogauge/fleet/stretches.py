"""What files of rows have in common, whatever their kind: they are read in stretches that are bounded in memory.

A stretch is what one worker takes at a time. It is cut the same way each time, so that an interrupted run can go on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import pyarrow as pa

from twogauge.fleet.bytes_in import Input
from twogauge.fleet.text_files import Block
from twogauge.fleet.text_rows import Rows, Wanted

ROWS: Final = 1 << 15  # in a stretch of a Parquet or Arrow file


@dataclass(frozen=True, slots=True)
class Options:
    """What a person may say about the files.

    Attributes:
        encoding: of files of text; "" to find out.
        decimal: "point" or "comma"; "" to find out.
        units_row: whether units stand in the row below the header; None to find out.
        folder: for the copy of a pipe whose format cannot be read as a stream; None for the usual one.
    """

    encoding: str = ""
    decimal: str = ""
    units_row: bool | None = None
    folder: str | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Consecutive rows of one file, not yet taken apart.

    Attributes:
        rows: how many [1], about that where the file has lines.
        done: how many bytes of the file lie before its end, about that; 0 where nobody knows.
        first: number of the first row or line, from 1.
    """

    data: Block | pa.RecordBatch
    first: int
    rows: int
    done: int


class Source(Protocol):
    """One file of a table.

    Attributes:
        input: its bytes.
        names: of its columns.
        types: of its columns, where the file says so.
        units_row: the units below its header, one for each column; empty for none.
        about: in words, for people.
    """

    input: Input
    names: tuple[str, ...]
    types: Mapping[str, pa.DataType]
    units_row: tuple[str, ...]
    about: str

    def stretches(self, wanted: Wanted) -> Iterator[Stretch]:
        """Give the file in stretches, from its beginning."""
        ...

    def layout(self, wanted: Wanted) -> Layout:
        """Return what takes its stretches apart."""
        ...


class Layout(Protocol):
    """Takes stretches apart; plain data."""

    def rows(self, block: Block, name: str) -> Rows:
        """Return the rows of a block of lines."""
        ...


def rows_of(stretch: Stretch, layout: Layout, name: str) -> Rows:
    """Take a stretch apart.

    Args:
        stretch: of a file.
        layout: of that file.
        name: of that file, for messages.
    """
    if isinstance(stretch.data, Block):
        return layout.rows(stretch.data, name)
    return Rows(stretch.data, np.arange(stretch.first, stretch.first + stretch.data.num_rows, dtype=np.int64))
