"""Numbers as rules write them, to SI: always with a unit, and a difference never in degC."""

from __future__ import annotations

import re

from twogauge.errors import QuantityError, shown
from twogauge.quantities import Dimension, UnitSet, absolute, parse


def as_difference(dimension: Dimension) -> Dimension:
    """Return the dimension of a difference of two values of this dimension."""
    return {
        Dimension.TEMPERATURE: Dimension.TEMPERATURE_DIFFERENCE,
        Dimension.PRESSURE: Dimension.PRESSURE_DIFFERENCE,
    }.get(dimension, dimension)


def si_of(text: str, dimension: Dimension) -> float:
    """Read a threshold; unlike in a reading, a bare number has no unit to fall back on.

    A difference in degC is refused, since a rule is read long after it was written: "40 degC" over the air is more
    often a condensing temperature in the wrong place. In degF both are usual, and the quantity decides.
    """
    quantity = parse(text, dimension, units=UnitSet.SI)
    if dimension is Dimension.TEMPERATURE_DIFFERENCE and quantity.symbol == "degC":
        raise QuantityError(
            f"{shown(text)} is a temperature, but a difference belongs here; write it in K",
            text=text,
            code="wrong-dimension",
        )
    if dimension is not Dimension.NUMBER and re.fullmatch(r"[-+\d.,\s]*", text.strip()):
        raise QuantityError(
            f"{shown(text)} has no unit; write it, such as {text.strip()} {quantity.symbol}",
            text=text,
            code="missing-unit",
        )
    return absolute(quantity, 101_325.0) if dimension is Dimension.PRESSURE else quantity.value
