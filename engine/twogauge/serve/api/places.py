"""Which field of a request a trouble belongs to."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from twogauge.errors import QuantityError, TwogaugeError, UnknownNameError, shown

_BEGIN: Final = re.compile(r"^(?:--)?([a-z][a-z_-]*): ")
_OPTION: Final = re.compile(r"--([a-z][a-z-]*)")


def field_of(error: TwogaugeError, told: Mapping[str, Any]) -> str:
    """Return the option of a command that an error is about; "" if it is about none alone.

    Args:
        error: that the command raised.
        told: option -> what it was called with.
    """
    wrong = ""
    if isinstance(error, UnknownNameError):
        wrong = error.name
    elif isinstance(error, QuantityError):
        if error.field in told:
            return error.field
        wrong = error.text
    if wrong:
        for name, value in told.items():
            if any(str(each).strip() == wrong.strip() for each in (value if isinstance(value, list) else [value])):
                return name
    message = str(error)
    words = (*_BEGIN.findall(message), *_OPTION.findall(message))
    return next((word.replace("-", "_") for word in words if word.replace("-", "_") in told), "")


def path_of(place: Iterable[str | int], body: object) -> str:
    """Return the path of a trouble in what was sent, as `spec.low_side.0`.

    Args:
        place: as the model tells it, which also names the kinds that a value might have been of.
        body: what was sent.
    """
    path: list[str] = []
    here = body
    for part in place:
        if isinstance(here, dict):
            path.append(_word(part))
            here = here.get(part)
        elif isinstance(here, list) and isinstance(part, int):
            path.append(_word(part))
            here = here[part] if part < len(here) else None
    return ".".join(path)


def _word(part: object) -> str:
    text = str(part)
    return text if text.isidentifier() or text.isdecimal() else shown(text)
