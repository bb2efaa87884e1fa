"""One problem in a file and the place where it stands: `path:line:column: what is wrong and what to do`.

Every reader of files (rules, cases, readings) reports through these two types, so an editor can jump to each
line of output. Nothing here prints, and nothing here decides whether a problem stops the run.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

MOST_HINTS: Final = 200  # problems of one run that come with a likely name: finding it takes time


@dataclass(frozen=True, order=True, slots=True)
class Place:
    """A place in a file.

    Attributes:
        path: the file as the user named it, or a name such as `<stdin>`.
        line: counted from 1.
        column: counted from 1, in characters (not bytes; a tab is one).
    """

    path: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        # A stranger's archive chooses the names of its files: control characters must not reach a terminal.
        path = self.path if self.path.isprintable() else ascii(self.path)
        return f"{path}:{self.line}:{self.column}"


@dataclass(frozen=True, order=True, slots=True)
class Problem:
    """Something wrong at a place; sorts by file, line and column.

    Attributes:
        place: where.
        code: a short name of the kind of problem, for programs; not printed.
        message: one sentence that says what is wrong and what to do.
        severity: an error stops the run, a warning does not.
    """

    place: Place
    code: str
    message: str
    severity: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        return f"{self.place}: {self.message}"


class CodedError(ValueError):
    """What is wrong with a value, and the code of it; raised inside validators, told as a Problem."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
