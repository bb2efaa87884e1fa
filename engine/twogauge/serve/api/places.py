"""The path of a trouble in what was sent."""

from __future__ import annotations

from collections.abc import Iterable

from twogauge.errors import shown


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
