"""Whether two readings are two at all, and which was taken first: what may be wrong with the pair, not with a machine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final, Literal

from twogauge.intake import is_nothing
from twogauge.reading import Reading

Doubt = Literal["same_figures", "after_is_older"]

_SAYS_NOTHING: Final = "note"  # of the figures
_DAY: Final = len("2026-06-22")


def doubts_of(before: Reading, after: Reading) -> Iterable[Doubt]:
    """Tell what makes a comparison of two readings doubtful.

    Args:
        before: said to be with the fault in it.
        after: said to be with the repair done.

    Returns:
        `same_figures` if every field of both is the same, the date among them; `after_is_older` if both dates can be
        read and say so.
    """
    if _given(before) == _given(after):
        yield "same_figures"
    dates = (_moment(before), _moment(after))
    if dates[0] is not None and dates[1] is not None and _comes_first(dates[1], dates[0]):
        yield "after_is_older"


def dates_read(before: Reading, after: Reading) -> bool:
    """Tell whether every date that was given can be read; one that cannot be is no help in telling the order."""
    return all(is_nothing(each.given.get("date")) or _moment(each) is not None for each in (before, after))


def _given(reading: Reading) -> tuple[Any, ...]:
    given: Mapping[str, object] = reading.given
    told = {key: value for key, value in given.items() if key != _SAYS_NOTHING and not is_nothing(value)}
    return told, reading.units


def _moment(reading: Reading) -> tuple[str, datetime] | None:
    text = str(reading.given.get("date", "")).strip()
    try:
        return text, datetime.fromisoformat(text)
    except ValueError:
        return None


def _comes_first(one: tuple[str, datetime], other: tuple[str, datetime]) -> bool:
    """Compare as finely as both are written: by the day where one names no time, or only one a time zone."""
    (a, first), (b, second) = one, other
    if len(a) <= _DAY or len(b) <= _DAY or (first.tzinfo is None) != (second.tzinfo is None):
        return first.date() < second.date()
    return first < second
