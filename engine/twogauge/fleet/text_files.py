"""Files of lines, CSV and JSON lines, cut into blocks of whole lines; and how a CSV file is written, found out.

A block is bounded, whatever the file is like: a line longer than `LONGEST_LINE` is refused with its number.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Protocol

from twogauge.errors import InputError, shown

BLOCK: Final = 4 << 20  # [byte] worked on at a time
LONGEST_LINE: Final = 1 << 20  # [byte]
HEAD: Final = 1 << 20  # [byte] looked at to find out how a file is written
MOST_COLUMNS: Final = 5000
_BOMS: Final = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_DELIMITERS: Final = (",", ";", "\t")
_NUMBER: Final = re.compile(r"\s*[-+]?\d+(?:\.\d+)?\s*")
_COMMA_NUMBER: Final = re.compile(r"\s*[-+]?\d+,\d+\s*")
_LOOKED_AT: Final = 200  # lines


class Reader(Protocol):
    """What blocks are read from."""

    def read(self, count: int) -> bytes:
        """Return up to `count` bytes, fewer only at the end."""
        ...


@dataclass(frozen=True, slots=True)
class Block:
    """Whole lines of a file.

    Attributes:
        data: the lines, in UTF-8.
        first: number of the first of them, from 1.
    """

    data: bytes
    first: int


@dataclass(frozen=True, slots=True)
class Written:
    """How a CSV file is written.

    Attributes:
        names: of its columns.
        second: the cells of the row below, which may be units.
        delimiter: between the cells.
        decimal_comma: whether its numbers have one.
        encoding: of its bytes.
        lines, second_lines: how many lines stand before the first row, without and with the row below the header.
    """

    names: tuple[str, ...]
    second: tuple[str, ...]
    delimiter: str
    decimal_comma: bool
    encoding: str
    lines: int
    second_lines: int


def encoding_of(head: bytes, wanted: str = "") -> str:
    """Return the encoding of a file by its first bytes: by its mark, else UTF-8, else the usual one of old Windows."""
    for mark, encoding in _BOMS:
        if head.startswith(mark):
            return encoding
    if wanted:
        return wanted
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decoded(head: bytes, encoding: str) -> str:
    """Return the text of the beginning of a file; a character that is cut off at its end is left out."""
    return codecs.getincrementaldecoder(encoding)("replace").decode(head).removeprefix("\ufeff")


class Transcoded:
    """A stream of another encoding, read as UTF-8 without a mark at its beginning."""

    def __init__(self, stream: Reader, encoding: str) -> None:
        self._stream = stream
        self._decoder = codecs.getincrementaldecoder(encoding)("replace")
        self._first = True
        self._rest = b""

    def read(self, count: int) -> bytes:
        """Return up to `count` bytes, fewer only at the end."""
        while len(self._rest) < count:
            data = self._stream.read(BLOCK)
            text = self._decoder.decode(data, final=not data)
            if self._first:
                text, self._first = text.removeprefix("\ufeff"), False
            self._rest += text.encode("utf-8", "replace")
            if not data:
                break
        data, self._rest = self._rest[:count], self._rest[count:]
        return data


def blocks_of(stream: Reader, name: str, *, skip: int = 0, quotes: bool = False) -> Iterator[Block]:
    """Cut a stream into blocks of whole lines, the same ones each time.

    Args:
        stream: of UTF-8.
        name: of the file, for messages.
        skip: how many lines to leave out first; they stand within the first block.
        quotes: whether a line may go on within quotation marks, as in CSV.

    Raises:
        InputError: a line that is too long.
    """
    rest, first = b"", 1
    while True:
        data = stream.read(BLOCK)
        rest = rest + data if rest else data
        if not data:
            break
        cut = rest.rfind(b"\n") + 1
        if cut and quotes and rest.count(b'"', 0, cut) % 2:
            # The last mark opens a cell that goes on; one that never ends is taken for a mark like any other.
            before = rest.rfind(b"\n", 0, rest.rfind(b'"', 0, cut)) + 1
            cut = before if before and len(rest) - before <= LONGEST_LINE else cut
        if cut == 0:
            if len(rest) > LONGEST_LINE:
                raise InputError(f"{name}:{first}: this line is longer than {LONGEST_LINE >> 20} MiB; it is no table")
            continue
        yield from _after(rest[:cut], first, skip)
        first, rest, skip = first + rest.count(b"\n", 0, cut), rest[cut:], 0
    if rest:
        yield from _after(rest, first, skip)


def _after(data: bytes, first: int, skip: int) -> Iterator[Block]:
    """Give a block without lines that are to be left out."""
    at = 0
    for _ in range(skip):
        at = data.find(b"\n", at) + 1
        if at == 0:
            return
    if at < len(data):
        yield Block(data[at:] if at else data, first + skip)


def read_header(head: bytes, name: str, *, encoding: str = "", decimal: str = "") -> Written:
    """Find out how a CSV file is written.

    Args:
        head: its first bytes.
        name: of the file, for messages.
        encoding: of it; "" to find out.
        decimal: "point" or "comma"; "" to find out.

    Raises:
        InputError: there is no header.
    """
    encoding = encoding_of(head, encoding)
    lines = decoded(head, encoding).split("\n")
    if len(head) >= HEAD and len(lines) > 1:
        lines.pop()  # cut off
    blank = 0
    while blank < len(lines) and (not lines[blank].strip() or lines[blank].startswith("#")):
        blank += 1
    if blank == len(lines):
        raise InputError(f"{name}: there is no header; its first line must name the columns")
    delimiter = max(_DELIMITERS, key=lambda each: _outside_quotes(lines[blank]).count(each))
    reader = csv.reader((line + "\n" for line in lines[blank:]), delimiter=delimiter)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            if row and (rows or any(cell.strip() for cell in row)):
                rows.append((blank + reader.line_num, [cell.strip() for cell in row]))
            if len(rows) >= _LOOKED_AT:
                break
    except csv.Error as error:
        if "\r" in lines[blank].rstrip("\r"):
            raise InputError(
                f"{name}:{blank + 1}: its lines end in carriage returns alone; save it with the usual ends of lines"
            ) from None
        if not rows:  # what stands further down is judged where the rows are read
            raise InputError(f"{name}:{blank + 1}: the header cannot be read ({error}); is this CSV?") from None
    if not rows:
        raise InputError(f"{name}: there is no header; its first line must name the columns")
    names = tuple(rows[0][1])
    if len(names) > MOST_COLUMNS or "\x00" in lines[blank]:
        raise InputError(f"{name}:{blank + 1}: this is no header of a table ({shown(names[0])})")
    if all(_NUMBER.fullmatch(cell) for cell in names):
        raise InputError(
            f"{name}:{blank + 1}: the first line holds numbers, not the names of the columns; write a line above it "
            "that names them"
        )
    second = rows[1] if len(rows) > 1 else (rows[0][0], [])
    comma = decimal == "comma" or (not decimal and delimiter != "," and _has_decimal_commas(rows[1:]))
    return Written(names, tuple(second[1]), delimiter, comma, encoding, rows[0][0], second[0])


def _outside_quotes(line: str) -> str:
    return re.sub(r'"[^"]*"', "", line)


def _has_decimal_commas(rows: list[tuple[int, list[str]]]) -> bool:
    cells = [cell for _, row in rows for cell in row]
    commas = sum(_COMMA_NUMBER.fullmatch(cell) is not None for cell in cells)
    points = sum("." in cell and _NUMBER.fullmatch(cell) is not None for cell in cells)
    return commas > points
