"""The units a form offers, and how what is typed already becomes another unit.

A page converts the same way without asking the server: every unit offered carries its factor and offset.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Final

from twogauge.fields import INSTRUMENTS, Field
from twogauge.quantities import PA_PER_INHG, Dimension, UnitSet, symbol_for, unit_for

BELOW_ZERO: Final = " below 0"
VACUUM: Final = "inHg vac"

_OFFERED: Final[dict[Dimension, tuple[str, ...]]] = {
    Dimension.PRESSURE: ("psi", "bar", "kPa", VACUUM),
    Dimension.PRESSURE_DIFFERENCE: ("psi", "bar", "kPa"),
    Dimension.TEMPERATURE: ("degF", "degC", f"degF{BELOW_ZERO}", f"degC{BELOW_ZERO}"),
    Dimension.TEMPERATURE_DIFFERENCE: ("degF", "K"),
    Dimension.FRACTION: ("%",),
    Dimension.ROTATIONAL_SPEED: ("rpm",),
    Dimension.DURATION: ("s", "min"),
    Dimension.LENGTH: ("ft", "m"),
    Dimension.MASS: ("lb", "oz", "kg", "g"),
    Dimension.VOLUME: ("fl oz", "mL", "L"),
}
_OF_THE_AIR: Final = ("inHg", "hPa", "kPa", "psi")
_SIGNS: Final = str.maketrans({"\u2212": "-", ",": "."})
_NUMBER: Final = re.compile(r"[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_BARE: Final = re.compile(
    rf"\s*{_NUMBER.pattern}(?:\s*(?:to|\.\.\.?|[-\u2013])\s*{_NUMBER.pattern})?\s*", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Choice:
    """One unit that a field may be typed in: SI value = (number + offset) * factor.

    Attributes:
        symbol: as it stands in the address.
        label: as it is shown.
    """

    symbol: str
    label: str
    factor: float
    offset: float


def units_of(known: Field) -> tuple[Choice, ...]:
    """Return the units that are offered for a field; none for a text or a word."""
    if known.dimension is None or known.name in INSTRUMENTS:
        return ()
    return _choices(known.dimension, absolute=known.reference == "absolute")


def silent_unit(known: Field, units: UnitSet) -> str:
    """Return the unit of a bare number where none is offered beside it, as for an instrument; "" elsewhere."""
    if known.dimension is None or known.name not in INSTRUMENTS:
        return ""
    return symbol_for(known.dimension, units)


def usual_unit(known: Field, units: UnitSet) -> str:
    """Return the unit that a field begins with; nothing for a text or a word."""
    offered = units_of(known)
    if not offered or known.dimension is None:
        return ""
    if known.reference == "absolute":
        return "inHg" if units is UnitSet.US else "hPa"
    return symbol_for(known.dimension, units)


@cache
def _choices(dimension: Dimension, *, absolute: bool) -> tuple[Choice, ...]:
    symbols = _OF_THE_AIR if absolute else _OFFERED.get(dimension, ())
    return tuple(_choice(symbol, dimension) for symbol in symbols)


def _choice(symbol: str, dimension: Dimension) -> Choice:
    label = symbol.replace("deg", "\u00b0")
    if symbol == VACUUM:
        return Choice(symbol, label, -PA_PER_INHG, 0.0)
    unit = unit_for(symbol.removesuffix(BELOW_ZERO), dimension)
    if symbol.endswith(BELOW_ZERO):
        return Choice(symbol, label, -unit.factor, -unit.offset)
    return Choice(symbol, label, unit.factor, unit.offset)


def is_bare(text: str) -> bool:
    """Tell whether a text is a number, or two ends, without a unit."""
    return len(text) <= 60 and _BARE.fullmatch(text) is not None


def with_unit(text: str, symbol: str) -> str:
    """Return what was typed with its unit, as a reading takes it."""
    if not symbol or not is_bare(text):
        return text
    if symbol.endswith(BELOW_ZERO):
        return f"-{text.strip().lstrip('-+')} {symbol.removesuffix(BELOW_ZERO)}"
    return f"{text.strip()} {symbol}"


def converted(text: str, before: Choice, after: Choice) -> str | None:
    """Return what is typed as numbers of another unit, as fine as it was; None where it makes no sense there.

    Args:
        text: a number, or two ends.
        before: the unit it was typed in.
        after: the unit wanted.
    """
    if not is_bare(text):
        return None
    one_way_only = after.factor < 0.0
    numbers: list[float] = []

    def turn(match: re.Match[str]) -> str:
        written = match[0].translate(_SIGNS)
        step = 10.0 ** -len(written.partition(".")[2]) * abs(before.factor / after.factor)
        number = (float(written) + before.offset) * before.factor / after.factor - after.offset
        numbers.append(number)
        return plain(number, step)

    found = _NUMBER.sub(turn, _spread(text))
    if one_way_only and any(number < 0.0 for number in numbers):
        return None
    return found


def plain(number: float, step: float) -> str:
    """Print a number so that a step of the last digit is no coarser than `step`."""
    digits = min(max(0, math.ceil(-math.log10(step) - 1e-9)), 6) if step > 0.0 else 0
    text = f"{number:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text


def _spread(text: str) -> str:
    """Write the dash between two ends as a word, so that it is not taken for a sign."""
    return re.sub(r"(?<=[\d.,])\s*(?:\.\.\.?|[-\u2013])\s*(?=[-+\u2212]?[.,]?\d)", " to ", text.strip())
