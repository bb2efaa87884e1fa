"""The tree of errors, and the one place that says how an error shows itself.

    TwogaugeError                 everything this package raises on purpose
     +- InputError                what a person typed or wrote in a file cannot be used
     |   +- QuantityError         one value: wrong unit, wrong dimension, outside physics
     |   +- UnknownNameError      a name that is not in a catalogue, with the nearest that are
     |   +- MissingExtraError     something that is installed only when it is asked for
     |   +- FileProblems          one or more positioned problems in a file of readings or rules
     +- RangeError                a saturation curve asked beyond its ends

Every message is a sentence that says what was found and what to write instead. Nothing here prints.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from twogauge.packs.problems import Problem


class TwogaugeError(Exception):
    """Base of every error raised on purpose."""


class InputError(TwogaugeError):
    """Something a person gave cannot be used; the message says what to give instead."""


class QuantityError(InputError):
    """A value that is not a quantity of the wanted kind.

    Attributes:
        field: name of the field the value was meant for, or "".
        text: what was written.
        code: what is wrong with it, for programs: not-a-number, unknown-unit, missing-unit, wrong-dimension or
            out-of-range.
    """

    def __init__(self, message: str, *, field: str = "", text: str = "", code: str = "not-a-number") -> None:
        super().__init__(f"{field}: {message}" if field else message)
        self.field = field
        self.text = text
        self.code = code


class UnknownNameError(InputError):
    """A name nobody knows.

    Attributes:
        name: what was written.
        suggestions: known names that look like it, best first.
    """

    def __init__(self, kind: str, name: str, known: Iterable[str], *, hint: str = "") -> None:
        self.name = name
        self.suggestions = did_you_mean(name, known)
        message = f"{shown(name)} is not a {kind} known here"
        if self.suggestions:
            message += f"; did you mean {' or '.join(repr(s) for s in self.suggestions)}?"
        elif hint:
            message += f"; {hint}"
        super().__init__(message)


class FileProblems(InputError):  # noqa: N818 - it carries several, and is named for them
    """One or more problems in a file, each with its place.

    Attributes:
        problems: in the order of file, line and column.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class MissingExtraError(InputError, ImportError):
    """A part of the program that needs a package which is not there."""

    def __init__(self, extra: str, what: str) -> None:
        super().__init__(
            f"{what}, which is not installed; add the extra '{extra}': pip install 'twogauge[{extra}]', or in a clone "
            f"pip install -e '.[{extra}]'"
        )


class RangeError(TwogaugeError):
    """A saturation curve was asked for a point beyond its ends."""


_MOST_CANDIDATES: Final = 5000  # that a name is compared with


def did_you_mean(name: str, known: Iterable[str], count: int = 2) -> tuple[str, ...]:
    """Return up to `count` known names that look like `name`, best first."""
    import difflib  # noqa: PLC0415 - only needed once something is already wrong

    by_folded = {candidate.casefold(): candidate for candidate in islice(known, _MOST_CANDIDATES)}
    hits = difflib.get_close_matches(name[:80].casefold(), list(by_folded), n=count, cutoff=0.6)
    return tuple(by_folded[hit] for hit in hits)


def shown(text: object, limit: int = 60) -> str:
    """Return strangers' text as a short quoted literal without control characters."""
    literal = ascii(text) if not str(text).isprintable() else repr(text)
    return literal if len(literal) <= limit else literal[: limit - 4] + "..." + literal[-1]
