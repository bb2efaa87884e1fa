"""Problems of packs for a person, for a program, and for the page of a code host.

The text begins each problem with `file:line:column`, which editors can jump to, and shows the line with a mark below
the place. What strangers wrote is shown without control characters and without what turns the direction of text.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final
from unicodedata import east_asian_width

from twogauge.errors import FileProblems
from twogauge.files import read_bytes_bounded
from twogauge.output.style import Style
from twogauge.packs.problems import Place, Problem
from twogauge.packs.yamlfile import MAX_BYTES

VERSION: Final = 1  # of the JSON document


def text_lines(problems: Sequence[Problem], style: Style) -> list[str]:
    """Return what a person reads: each problem with its place, its code and the line it is in."""
    lines: list[str] = []
    sources = _Sources()
    for problem in problems:
        where = style.clean(str(_near(problem.place)))
        code = style.accent(problem.code) if problem.severity == "error" else problem.code
        grave = "" if problem.severity == "error" else " (warning)"
        lines.append(f"{style.bold(where)}: {code}: {style.clean(problem.message)}{grave}")
        lines += (f"    {line}" for line in _excerpt(sources.line(problem.place), problem.place.column, style))
    return lines


def document(problems: Sequence[Problem], packs: Iterable[str]) -> dict[str, Any]:
    """Return a document for programs.

    It holds `version`, `packs` (names), `errors` and `warnings` (counts), and `problems`, each with `file`, `line` and
    `column` from 1, `code`, `severity` and `message`.
    """
    return {
        "version": VERSION,
        "packs": list(packs),
        "errors": sum(problem.severity == "error" for problem in problems),
        "warnings": sum(problem.severity == "warning" for problem in problems),
        "problems": [
            {
                "file": _near(problem.place).path,
                "line": problem.place.line,
                "column": problem.place.column,
                "code": problem.code,
                "severity": problem.severity,
                "message": problem.message,
            }
            for problem in problems
        ],
    }


def annotation(problem: Problem) -> str:
    """Return a workflow command, `::error file=...::message`, that code hosts show beside the line."""
    place = _near(problem.place)
    properties = {
        "file": place.path,
        "line": str(place.line),
        "col": str(place.column),
        "title": problem.code,
    }
    told = ",".join(f"{name}={_escaped(value, ':,')}" for name, value in properties.items())
    return f"::{problem.severity} {told}::{_escaped(problem.message)}"


def _escaped(text: str, more: str = "") -> str:
    """Write out what would end the command or begin another; everything that is no text becomes a question mark."""
    kept = "".join(c if c.isprintable() or c in "\r\n" else "?" for c in text)
    return "".join(f"%{ord(c):02X}" if c in "%\r\n" or c in more else c for c in kept)


def _near(place: Place) -> Place:
    """Return the place with its path from here, if it lies below."""
    try:
        path = os.path.relpath(place.path)
    except ValueError:  # another drive, or no path at all
        return place
    if path.startswith("..") or not Path(place.path).is_absolute():
        return place
    return Place(path, place.line, place.column)


class _Sources:
    """The lines of files, read once."""

    def __init__(self) -> None:
        self._lines: dict[str, list[str]] = {}

    def line(self, place: Place) -> str:
        if place.path not in self._lines:
            raw = b""
            if not Path(place.path).is_symlink():  # what it leads to may be no part of the pack
                with contextlib.suppress(FileProblems):
                    raw = read_bytes_bounded(place.path, MAX_BYTES)
            text = raw.decode("utf-8", "replace").removeprefix("\ufeff")
            self._lines[place.path] = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        lines = self._lines[place.path]
        return lines[place.line - 1] if place.line <= len(lines) else ""


_BEFORE: Final = 30  # columns kept before the mark in a long line


def _excerpt(line: str, column: int, style: Style) -> list[str]:
    """Return a line of a file, cleaned and cut to the width, and a mark below its column; nothing for no line."""
    line = line.rstrip()
    if not line:
        return []
    room = style.width - 8
    start = 0 if len(line) <= room else max(0, min(column - 1 - _BEFORE, len(line) - room))
    part = [c if c.isprintable() else " " if c == "\t" else "?" for c in line[start : start + room]]
    if not style.beyond_ascii:
        part = [c if c.isascii() else "?" for c in part]
    blanks = next((i for i, c in enumerate(part) if c != " "), 0) if start == 0 else 0
    blanks = min(blanks, column - 1)
    ahead = part[blanks : max(column - 1 - start, 0)]
    width = sum(2 if east_asian_width(c) in "WF" else 1 for c in ahead)
    return ["".join(part[blanks:]), style.accent(" " * width + "^")]
