"""Numbers of one unit to SI, a column at a time, exactly as a single value is read.

What a unit means is asked of the reader of single values (quantities.py), once for each sign of the number: "inHg"
means a vacuum below zero and nothing certain above it. Numbers whose sign that reader refuses, and numbers outside
what it takes, are marked as not sure, so that it can say why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats
from twogauge.errors import QuantityError, shown
from twogauge.fields import Field
from twogauge.quantities import Dimension, UnitSet, limits, parse, unit_for

Flags = npt.NDArray[np.bool_]

# Numbers to ask about [1]: one of them is a possible value of any dimension in any of its units. A percentage without
# a sign must be above 1, or it could be a share.
_PROBES: Final = (50.0, 300.0, 1.0, 0.01)


@dataclass(frozen=True, slots=True)
class _Way:
    """How numbers of one sign are read: SI = sign * (number + offset) * factor, then with the air where it is gauge."""

    factor: float
    offset: float
    sign: float
    gauge: bool


@dataclass(frozen=True, slots=True)
class Scale:
    """How the numbers of a column become SI.

    Attributes:
        text: the unit as it was written; "" for the usual one of the unit set.
        low, high: [SI] outside them a number is no measurement.
        share: whether a number up to 1 could be a share as well as a percentage.
    """

    text: str
    low: float
    high: float
    share: bool
    _up: _Way | None
    _down: _Way | None

    def to_si(self, numbers: Floats, barometer: Floats) -> tuple[Floats, Flags]:
        """Return the values [SI], pressures absolute, and which of them a single value would give too.

        Args:
            numbers: shape (n,), NaN where there is none; NaN stays NaN and is sure.
            barometer: [Pa] shape (n,).

        Returns:
            values, shape (n,), and shape (n,) whether each is sure; a value that is not sure means nothing.
        """
        up, down = self._up, self._down
        if up is not None and up == down:
            value, sure = self._read(up, numbers, barometer)
            return value, sure
        below = numbers < 0.0
        value, sure = np.full(numbers.shape, np.nan), np.isnan(numbers)
        for way, rows in ((up, ~below), (down, below)):
            if way is not None and rows.any():
                read, fine = self._read(way, numbers, barometer)
                value = np.where(rows, read, value)
                sure |= rows & fine
        return value, sure

    def _read(self, way: _Way, numbers: Floats, barometer: Floats) -> tuple[Floats, Flags]:
        value = numbers if way.offset == 0.0 else numbers + way.offset
        value = value * way.factor
        if way.sign < 0.0:
            value = -value
        if way.gauge:
            value = value + barometer
            # Also below a perfect vacuum, which a single reading rounds to it or refuses.
            outside = (value < 0.0) | (value > self.high)
        else:
            outside = (value < self.low) | (value > self.high)
        if self.share:
            outside |= (np.abs(numbers) <= 1.0) & (numbers != 0.0)
        return value, ~outside


def scale_of(field: Field, unit: str, units: UnitSet) -> Scale:
    """Return how numbers of a field in a unit become SI.

    Args:
        field: with a dimension.
        unit: as a person writes it behind a number; "" for the usual one of the set.
        units: the set a bare number is taken in.

    Raises:
        QuantityError: not a unit of this dimension.
    """
    dimension = field.dimension or Dimension.NUMBER
    up, down = (_way(field, unit, units, sign) for sign in (1.0, -1.0))
    if up is None and down is None:
        text = f"{_PROBES[0]:g} {unit}"
        try:
            parse(text, dimension, units=units, reference=field.reference)
        except QuantityError as error:
            raise QuantityError(str(error).replace(shown(text), shown(unit)), field=field.name) from None
    low, high = limits(dimension)
    low = max(low, 0.0) if dimension is Dimension.PRESSURE else low
    share = dimension is Dimension.FRACTION and not unit
    return Scale(unit, low, high, share, up, down)


def _way(field: Field, unit: str, units: UnitSet, sign: float) -> _Way | None:
    dimension = field.dimension or Dimension.NUMBER
    for probe in _PROBES:
        number = sign * probe
        try:
            read = parse(f"{number:g} {unit}".strip(), dimension, units=units, reference=field.reference)
        except QuantityError:
            continue
        scale = unit_for(read.symbol, dimension)
        plain = (number + scale.offset) * scale.factor
        gauge = dimension is Dimension.PRESSURE and read.reference == "gauge"
        if gauge and field.reference == "absolute":
            return None  # no barometer shows that; each value is asked about, and refused
        return _Way(scale.factor, scale.offset, 1.0 if read.value == plain else -1.0, gauge)
    return None
