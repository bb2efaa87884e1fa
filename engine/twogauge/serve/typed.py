"""One value as it was typed, with the unit or the word that was chosen beside it; kept word for word.

A form without JavaScript sends number, unit and the value the page had shown apart (`low_side`, `low_side.unit`,
`low_side.was`); `typed_of` puts them together and converts what was not touched when its unit was switched.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from twogauge.fields import Field
from twogauge.quantities import UnitSet
from twogauge.serve.units import converted, is_bare, silent_unit, units_of, usual_unit, with_unit

LONGEST: Final = 300  # characters of one value


@dataclass(frozen=True, slots=True)
class Typed:
    """One value as it was typed, and the unit or the word that was chosen beside it."""

    text: str = ""
    option: str = ""

    @property
    def whole(self) -> str:
        """Both together, as they stand in the address."""
        return f"{self.text} {self.option}".strip() if not self.text or is_bare(self.text) else self.text


def told_of(known: Field, typed: Typed) -> str:
    """Return one value as a reading takes it."""
    if typed.option in known.words:
        return typed.whole
    return with_unit(typed.text, typed.option)


def typed_of(known: Field, told: Mapping[str, str], units: UnitSet) -> Typed:
    """Put number and unit together; convert what stands as it was shown while its unit is another."""
    text, option = told.get(known.name, "").strip(), told.get(f"{known.name}.unit", "").strip()
    offered = {choice.symbol: choice for choice in units_of(known)}
    if not offered and not known.words:
        return Typed(with_unit(text, silent_unit(known, units)))  # it means the same in any set of units
    if option not in offered and option not in known.words:
        return _apart(text, known, units)
    was = _apart(told.get(f"{known.name}.was", "").strip(), known, units)
    if text and text == was.text and option != was.option and was.option in offered and option in offered:
        now = converted(text, offered[was.option], offered[option])
        text = text if now is None else now
    if text and not is_bare(text):
        return _apart(text, known, units)
    if not text and option in offered:
        return Typed()
    return Typed(text, option)


def _apart(whole: str, known: Field, units: UnitSet) -> Typed:
    """Take a value of the address apart into what is typed and what is chosen."""
    options = (*(choice.symbol for choice in units_of(known)), *known.words)
    if whole.casefold() in known.words:
        return Typed("", whole.casefold())
    for option in sorted(options, key=len, reverse=True):
        if whole.casefold().endswith(option.casefold()) and is_bare(rest := whole[: -len(option)].strip()):
            return Typed(rest, option)
    if not whole:
        return Typed()
    return Typed(whole, usual_unit(known, units))


def turned(known: Field, typed: Typed, wanted: str) -> Typed:
    """Return a value in another unit; as it was typed where it makes no sense there."""
    offered = {choice.symbol: choice for choice in units_of(known)}
    if typed.option not in offered or wanted not in offered or typed.option in {wanted, "%"}:
        return typed
    now = converted(typed.text, offered[typed.option], offered[wanted])
    return typed if now is None else Typed(now, wanted)


def unit_set(told: str, otherwise: UnitSet) -> UnitSet:
    """Return the set of units that is named, or another."""
    try:
        return UnitSet(told.strip().casefold())
    except ValueError:
        return otherwise


def cleaned(value: str) -> str:
    """Return a value on one line, without control characters, no longer than anybody types."""
    return "".join(c if c.isprintable() else " " for c in value[:LONGEST]).strip()
