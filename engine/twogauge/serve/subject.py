"""Which of the things that a command was told an error is about."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from twogauge.errors import QuantityError, TwogaugeError, UnknownNameError

_BEGIN: Final = re.compile(r"^(?:--)?([a-z][a-z_-]*):? ")
_OPTION: Final = re.compile(r"--([a-z][a-z-]*)")


def subject_of(error: TwogaugeError, told: Mapping[str, Iterable[object]], options: Mapping[str, str]) -> str:
    """Return the name of what an error is about; "" if it is about nothing alone.

    What the error itself names goes before what it quotes, and that before the words of its sentence.

    Args:
        error: that the command raised.
        told: name -> its values, as they were typed.
        options: option of the command line, without dashes -> the name that is told for it.
    """
    named = {**{name: name for name in told}, **{_plain(option): name for option, name in options.items()}}
    field = _plain(error.field) if isinstance(error, QuantityError) else ""
    if field in named:
        return named[field]
    wrong = _quoted(error).strip()
    for name, values in told.items():
        if wrong and any(str(each).strip() == wrong for each in values):
            return name
    return next((named[word] for word in _words(str(error)) if word in named), "")


def _quoted(error: TwogaugeError) -> str:
    if isinstance(error, UnknownNameError):
        return error.name
    return error.text if isinstance(error, QuantityError) else ""


def _words(message: str) -> Iterator[str]:
    yield from (_plain(each) for each in (*_BEGIN.findall(message), *_OPTION.findall(message)))


def _plain(option: str) -> str:
    return option.replace("-", "_")
