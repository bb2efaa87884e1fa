"""How one quantity of a diagnosis is written: to the digits its uncertainty supports, and against what is normal."""

from __future__ import annotations

import math
from typing import Final

from twogauge import refrigerants
from twogauge.diagnosis import Shown
from twogauge.instruments import decimals
from twogauge.intake import Parts
from twogauge.quantities import PA_PER_INHG, Dimension, UnitSet, show_gauge, symbol_for, to_unit
from twogauge.reading import Reading

EDGE: Final = "at the edge"
_COVERS: Final = 2.0  # standard uncertainties that hold 19 readings in 20 (normal distribution)
_AS_DIFFERENCE: Final = {
    Dimension.PRESSURE: Dimension.PRESSURE_DIFFERENCE,
    Dimension.TEMPERATURE: Dimension.TEMPERATURE_DIFFERENCE,
}


def value_text(shown: Shown, reading: Reading) -> str:
    """Return a value with its uncertainty in the reader's units, such as 35 ± 2 psi."""
    within, symbol = uncertainty(shown, reading.units, reading.parts.barometer)
    if not within > 0.0:
        return reading.show(shown.dimension, shown.value)
    digits = decimals(within)
    text = reading.show(shown.dimension, shown.value, digits).removesuffix(symbol).strip()
    return f"{text} \u00b1 {within:.{digits}f} {symbol}".rstrip()


def range_text(ends: tuple[float, float], dimension: Dimension, reading: Reading) -> str:
    """Return two ends in the reader's units, such as 25 to 35 psi; an end that does not exist is left open."""
    symbol = symbol_for(dimension, reading.units)
    width = abs(to_unit(ends[1], dimension, symbol) - to_unit(ends[0], dimension, symbol))
    digits = 1 if width < 8.0 else 0
    first, last = ("" if math.isnan(end) else reading.show(dimension, end, digits) for end in ends)
    if not last:
        return f"{first} or more"
    if symbol and first.endswith(f" {symbol}") and last.endswith(f" {symbol}"):
        first = first.removesuffix(f" {symbol}")
    return f"{first} to {last}"


def so_it_is(shown: Shown) -> str:
    """Return the word for the level; a value just outside the range that still counts as normal is at its edge."""
    if shown.level != "normal" or shown.normal is None:
        return shown.level
    low, high = shown.normal
    return EDGE if shown.value < low or shown.value > high else shown.level


def machine_words(parts: Parts, fields: tuple[str, ...] = ("system", "metering")) -> list[str]:
    """Return what a machine is: its refrigerant as far as it was told, and the words of some fields."""
    name = parts.words.get("refrigerant")
    words = [parts.words[field].replace("_", " ").replace(" ac", " A/C") for field in fields if field in parts.words]
    return [*([refrigerants.get(name).title] if name else []), *words]


def uncertainty(shown: Shown, units: UnitSet, barometer: float) -> tuple[float, str]:
    """Return the half-width that holds 19 readings in 20, in the unit the value is printed in, and that unit.

    Args:
        shown: the quantity; its `u` is a standard uncertainty [SI].
        units: the reader's.
        barometer: [Pa] a pressure below it may be printed as vacuum.
    """
    symbol = symbol_for(shown.dimension, units)
    if shown.dimension is Dimension.PRESSURE and show_gauge(shown.value, barometer, units).endswith("inHg vac"):
        return _COVERS * shown.u / PA_PER_INHG, "inHg vac"
    return _COVERS * to_unit(shown.u, _AS_DIFFERENCE.get(shown.dimension, shown.dimension), symbol), symbol
