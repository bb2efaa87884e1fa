"""Tables out of files of every kind: opened here, with what their first bytes tell; files of lines in full."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pyarrow as pa

from twogauge.errors import InputError, shown
from twogauge.fleet.bytes_in import Guarded, Input
from twogauge.fleet.columnar import ArrowSource, ParquetSource
from twogauge.fleet.stretches import Options, Source, Stretch
from twogauge.fleet.text_files import HEAD, Reader, Transcoded, Written, blocks_of, decoded, encoding_of, read_header
from twogauge.fleet.text_rows import CsvLayout, JsonLayout, Wanted


def open_source(each: Input, options: Options) -> Source:
    """Look at an input and return it as a source.

    Raises:
        InputError: it is not what it seems to be.
    """
    kinds: Mapping[str, Any] = {
        "csv": CsvSource,
        "jsonl": JsonSource,
        "parquet": ParquetSource,
    }
    source: Source = kinds.get(each.format, ArrowSource)(each, options)
    return source


class _Text:
    """What files of lines have in common: their beginning, and the blocks behind it."""

    def __init__(self, each: Input, options: Options) -> None:
        self.input = each
        self._options = options
        with each.stream() as stream:
            self._head = stream.read(HEAD)
            self._stream = stream
        if not self._head:
            raise InputError(f"{each.name} is empty")
        self._encoding = encoding_of(self._head, options.encoding)

    @contextmanager
    def _from_the_beginning(self) -> Iterator[tuple[Reader, Guarded]]:
        if self.input.once:
            bare: Reader = _Joined(self._head, self._stream)
            yield self._as_utf8(bare), self._stream
        else:
            with self.input.stream() as stream:
                yield self._as_utf8(stream), stream

    def _as_utf8(self, stream: Reader) -> Reader:
        marked = self._head.startswith(b"\xef\xbb\xbf")
        return Transcoded(stream, self._encoding) if marked or self._encoding != "utf-8" else stream

    def _blocks(self, skip: int, *, quotes: bool) -> Iterator[Stretch]:
        with self._from_the_beginning() as (lines, stream):
            for block in blocks_of(lines, self.input.name, skip=skip, quotes=quotes):
                yield Stretch(block, block.first, block.data.count(b"\n"), stream.tell())


class _Joined:
    """The beginning of a pipe, put back before the rest of it."""

    def __init__(self, head: bytes, stream: Guarded) -> None:
        self._head = head
        self._stream = stream

    def read(self, count: int) -> bytes:
        data, self._head = self._head[:count], self._head[count:]
        return data + self._stream.read(count - len(data)) if len(data) < count else data


class CsvSource(_Text):
    """A file of comma-separated values, or separated by semicolons or tabs."""

    def __init__(self, each: Input, options: Options) -> None:
        super().__init__(each, options)
        self._written = read_header(self._head, each.name, encoding=options.encoding, decimal=options.decimal)
        self.names = self._written.names
        self.types: Mapping[str, pa.DataType] = {}
        # Whether they are units only the fields can tell (understanding.py), unless a person does.
        self.units_row = () if options.units_row is False else self._written.second
        self.about = _about_csv(self._written, each)

    def without_units_row(self) -> None:
        """Take the row below the header for a row like any other."""
        self.units_row = ()

    def stretches(self, wanted: Wanted) -> Iterator[Stretch]:
        """Give the file in stretches, from its beginning."""
        del wanted
        written = self._written
        return self._blocks(written.second_lines if self.units_row else written.lines, quotes=True)

    def layout(self, wanted: Wanted) -> CsvLayout:
        """Return what takes its stretches apart.

        Raises:
            InputError: a wanted column is there twice.
        """
        twice = [name for name in wanted.columns if self.names.count(name) > 1]
        if twice:
            raise InputError(f"{self.input.name} has two columns {shown(twice[0])}; rename one of them")
        places = tuple((name, self.names.index(name)) for name in wanted.columns)
        comma = wanted.numbers if self._written.decimal_comma else frozenset[str]()
        return CsvLayout(len(self.names), places, self._written.delimiter, comma)


def _about_csv(written: Written, each: Input) -> str:
    between = {",": "commas", ";": "semicolons", "\t": "tabs"}[written.delimiter]
    parts = [f"CSV with {between}"]
    if written.decimal_comma:
        parts.append("decimal commas")
    if written.encoding != "utf-8":
        parts.append(written.encoding)
    return ", ".join([*parts, *([each.packed] if each.packed else [])])


class JsonSource(_Text):
    """A file with one JSON object a line; its columns are those of its first lines."""

    def __init__(self, each: Input, options: Options) -> None:
        super().__init__(each, options)
        lines = decoded(self._head, self._encoding).split("\n")
        if len(self._head) >= HEAD and len(lines) > 1:
            lines.pop()
        names: dict[str, None] = {}
        for text in lines[:1000]:
            names |= dict.fromkeys(_keys(text))
        if not names:
            raise InputError(f"{each.name}: no line is a JSON object such as {{...}} with something in it")
        self.names = tuple(names)
        self.types: Mapping[str, pa.DataType] = {}
        self.units_row = ()
        self.about = ", ".join(["JSON lines", *([each.packed] if each.packed else [])])

    def stretches(self, wanted: Wanted) -> Iterator[Stretch]:
        """Give the file in stretches, from its beginning."""
        del wanted
        return self._blocks(0, quotes=False)

    def layout(self, wanted: Wanted) -> JsonLayout:
        """Return what takes its stretches apart."""
        return JsonLayout(wanted)


def _keys(text: str) -> list[str]:
    try:
        row = json.loads(text)
    except (ValueError, RecursionError):
        return []
    return list(row) if isinstance(row, dict) else []
