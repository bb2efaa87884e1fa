"""A line of a log to its values: rows as they are typed, commas that part and commas inside numbers, times of day.

Knows where each value stands, and nothing of what it means.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from twogauge.errors import FileProblems, QuantityError, shown
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import Dimension, UnitSet, parse

DAY: Final = 86_400.0  # [s]


@dataclass(frozen=True, slots=True)
class Cell:
    """A value as it is written, and where."""

    text: str
    place: Place


KINDS: Final = {"counted": "counted from some moment", "clock": "of a clock", "date": "with a date"}


def has_clock(text: str) -> bool:
    """Tell whether a time is of a clock or a date."""
    return ":" in text


def time_of(text: str) -> tuple[float, str]:
    """Return a time [s], and whether it was counted, read off a clock or written with a date."""
    text = text.strip()
    if match := re.fullmatch(r"(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?", text):
        if int(match[1]) > 23:
            raise QuantityError(
                f"{shown(text)} is no time of a clock (hours:minutes); a duration is written '75 min'"
            )
        return 3600.0 * int(match[1]) + 60.0 * int(match[2]) + float(match[3] or 0.0), "clock"
    if re.match(r"\d{4}-\d\d-\d\d", text):
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            raise QuantityError(f"{shown(text)} is no date with a time, such as 2026-06-12 14:05:00") from None
        return (moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds(), "date"  # noqa: DTZ001
    return parse(text, Dimension.DURATION, units=UnitSet.SI).value, "counted"


def decimal_commas(line: str) -> bool:
    """Tell whether the commas of a row stand inside numbers: what they would part are no values without them."""
    inside = all(re.match(r"\d,\d", line[m.start() - 1 : m.start() + 2]) for m in re.finditer(",", line))
    return inside and ":" not in line and len(typed(line, Place(""))) > 1


def begins_with_a_number(text: str) -> bool:
    """Tell whether a cell is a value rather than a heading."""
    return bool(re.match(r"\s*[-+\u2212]?[\d.,]*\d", text))


_VALUE: Final = re.compile(
    r"\S*\d:\d\S*|\d{4}-\d\d-\d\d[T ]\d\S*|"
    r"[-+\u2212\u2013]?\d[\d.,]*(?:[eE][-+]?\d+)?\s*(?!(?:o\.?l\b|over|hi\b|high|err|or\b))"
    r"[^\d\s,;.+>?-][^\d,;>]*|\S+",
    re.IGNORECASE,
)


def typed(line: str, place: Place) -> list[Cell]:
    """Split a row as it is typed: at commas that are followed by a blank, else between a unit and the next number."""
    if re.search(r"[,;]\s", line):
        return _cells(re.split(r"(?<=[,;])\s", line), line, place)
    return [Cell(m.group().strip(" ,;"), _moved(place, m.start())) for m in _VALUE.finditer(line)]


def _cells(parts: Sequence[str], line: str, place: Place) -> list[Cell]:
    found, at = [], 0
    for part in parts:
        start = line.index(part, at)
        found.append(Cell(part.strip(" ,;"), _moved(place, start + len(part) - len(part.lstrip()))))
        at = start + len(part)
    return found


def split_at(line: str, separator: str, name: str, number: int) -> list[Cell]:
    """Split a row of CSV, the place of each value kept.

    Args:
        line: the row.
        separator: what parts its values.
        name: of the file.
        number: of the line, from 1.
    """
    parts = next(csv.reader(io.StringIO(line), delimiter=separator, skipinitialspace=False))
    found, at = [], 0
    for part in parts:
        start = max(line.find(part.strip(), at), at) if part.strip() else at
        found.append(Cell(part.strip(), Place(name, number, start + 1)))
        at = start + len(part.strip())
    return found


def lines_named(numbers: Sequence[int]) -> str:
    """Return lines of a file by their numbers, as a sentence names them: the first five, and how many more."""
    listed = ", ".join(map(str, numbers[:5])) + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")
    return f"line{'s' if len(numbers) > 1 else ''} {listed}"


def _moved(place: Place, columns: int) -> Place:
    return Place(place.path, place.line, place.column + columns)


def text_of(name: str, content: bytes) -> str:
    """Return a file's bytes as text.

    Raises:
        FileProblems: they are no UTF-8, or nothing stands in them.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = f"byte 0x{content[error.start]:02x} is not UTF-8; save the file as UTF-8"
        raise FileProblems([Problem(Place(name, line, 1), "encoding", message)]) from None
    if not text.strip():
        raise FileProblems(
            [Problem(Place(name), "empty", "nothing stands here; write a time and a pressure in a row")]
        )
    return text


def looks_like_yaml(text: str) -> bool:
    """Tell whether a text begins as YAML or JSON does."""
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    return bool(re.match(r"\s*[\[{]|- [\[{]|[a-z_]+:(\s|$)", first))
