"""Evaluate one saturation curve: temperature from pressure, pressure from temperature, slope, and where a point lies.

It knows nothing of refrigerants, files or units other than SI, and never imports a property library: a curve is a
Chebyshev series handed in by `catalogue.py`. It does not extrapolate: outside its ends the answer is NaN.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
# One block of a column, or a single value as numpy's own scalar.
Block = Any

# Points worked on at a time: the few temporaries of one block then stay in a core's own cache.
BLOCK = 4096


class Place(IntEnum):
    """Where a pressure lies against a saturation curve."""

    INSIDE = 0
    BELOW = 1
    """Below the lowest pressure of the curve."""
    ABOVE = 2
    """Above the curve, but below the critical pressure."""
    SUPERCRITICAL = 3
    """At or above the critical pressure: there is no saturation temperature."""
    MISSING = 4
    """NaN went in."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A saturation curve, T as a Chebyshev series in ln p, with a companion series that starts the inverse.

    With x mapped linearly from ln p [p in Pa] so that the ends of the curve are -1 and +1:
    `T(p) = sum_k c_k T_k(x)` [K].
    `p(T)` is its inverse: a Chebyshev series in 1/T gives ln p to about 1e-6, and one Newton step on `T(p)` squares
    that error away, so that both directions agree to rounding.

    Attributes:
        pressure_min: lowest pressure of the curve [Pa].
        pressure_max: highest pressure of the curve [Pa].
        temperature_series: c_k [K].
        log_pressure_series: start of the inverse, coefficients of ln(p / Pa) [1] over 1/T mapped to -1..+1.
        temperature_min: temperature at the lowest pressure [K], computed from the series.
        temperature_max: temperature at the highest pressure [K], computed from the series.
    """

    pressure_min: float
    pressure_max: float
    temperature_series: Sequence[float]
    log_pressure_series: Sequence[float]
    temperature_min: float = field(init=False)
    temperature_max: float = field(init=False)

    def __post_init__(self) -> None:
        ends = self.temperature(np.array([self.pressure_min, self.pressure_max]))
        object.__setattr__(self, "temperature_min", float(ends[0]))
        object.__setattr__(self, "temperature_max", float(ends[1]))

    def temperature(self, pressure: ArrayLike) -> Floats:
        """Return the saturation temperature [K], shape of `pressure`; NaN outside the curve.

        Args:
            pressure: absolute pressure [Pa], any shape.
        """
        return _each(self._temperature_of, pressure, self.pressure_min, self.pressure_max)

    def pressure(self, temperature: ArrayLike) -> Floats:
        """Return the saturation pressure [Pa], shape of `temperature`; NaN outside the curve.

        Args:
            temperature: [K], any shape.
        """
        return _each(self._pressure_of, temperature, self.temperature_min, self.temperature_max)

    def slope(self, pressure: ArrayLike) -> Floats:
        """Return dT/dp along the curve [K/Pa], shape of `pressure`; NaN outside the curve.

        Args:
            pressure: absolute pressure [Pa], any shape.
        """
        return _each(self._slope_of, pressure, self.pressure_min, self.pressure_max)

    def where(self, pressure: ArrayLike, critical_pressure: float) -> NDArray[np.int8]:
        """Return the `Place` of each pressure, shape of `pressure`.

        Args:
            pressure: absolute pressure [Pa], any shape.
            critical_pressure: [Pa]
        """
        p = np.asarray(pressure, dtype=np.float64)
        place = np.full(p.shape, Place.INSIDE, dtype=np.int8)
        place[p < self.pressure_min] = Place.BELOW
        place[p > self.pressure_max] = Place.ABOVE
        place[p >= critical_pressure] = Place.SUPERCRITICAL
        place[np.isnan(p)] = Place.MISSING
        return place

    def _temperature_of(self, p: Block) -> Block:
        scale, shift = self._log_pressure_map
        x = np.log(p)
        x *= scale
        x += shift
        return _horner(self._temperature_powers, x)

    def _pressure_of(self, t: Block) -> Block:
        scale, shift = self._reciprocal_map
        u = np.reciprocal(t)
        u *= scale
        u += shift
        scale, shift = self._log_pressure_map
        x = _horner(self._log_pressure_powers, u)
        x *= scale
        x += shift
        step = t - _horner(self._temperature_powers, x)
        step /= _horner(self._slope_powers, x)
        x += step
        x -= shift
        x /= scale
        # The ends must come back as they went in: rounding may not push them off the curve.
        return np.minimum(np.maximum(np.exp(x), self.pressure_min), self.pressure_max)

    def _slope_of(self, p: Block) -> Block:
        scale, shift = self._log_pressure_map
        x = np.log(p)
        x *= scale
        x += shift
        slope = _horner(self._slope_powers, x)
        slope *= scale
        slope /= p
        return slope

    @cached_property
    def _log_pressure_map(self) -> tuple[float, float]:
        return _map_to_unit(float(np.log(self.pressure_min)), float(np.log(self.pressure_max)))

    @cached_property
    def _reciprocal_map(self) -> tuple[float, float]:
        return _map_to_unit(1 / self.temperature_min, 1 / self.temperature_max)

    @cached_property
    def _temperature_powers(self) -> tuple[float, ...]:
        return powers_from_chebyshev(self.temperature_series)

    @cached_property
    def _slope_powers(self) -> tuple[float, ...]:
        return tuple(k * c for k, c in enumerate(self._temperature_powers))[1:]

    @cached_property
    def _log_pressure_powers(self) -> tuple[float, ...]:
        return powers_from_chebyshev(self.log_pressure_series)


def powers_from_chebyshev(series: Sequence[float]) -> tuple[float, ...]:
    """Return the coefficients of 1, x, x^2, ... of a Chebyshev series [SI, both in the unit of the curve].

    Horner's rule on these is twice as fast as Clenshaw's recurrence. The change of basis multiplies rounding by
    up to 2^k for term k; the series here fall faster than that, and the loss stays below a microkelvin.
    """
    n = len(series)
    before, current = [1.0] + [0.0] * (n - 1), [0.0, 1.0] + [0.0] * (n - 2)
    powers = [series[0] * b + (series[1] * c if n > 1 else 0.0) for b, c in zip(before, current, strict=False)]
    for coefficient in series[2:]:
        following = [2 * shifted - b for shifted, b in zip([0.0, *current[:-1]], before, strict=True)]
        powers = [p + coefficient * f for p, f in zip(powers, following, strict=True)]
        before, current = current, following
    return tuple(powers)


_FEW: Final = 4  # values up to which scalars are quicker


def _each(of: Callable[[Block], Block], values: ArrayLike, low: float, high: float) -> Floats:
    """Apply an element-wise function between two ends, block by block; NaN elsewhere and for NaN.

    A few values take the same way as a column, as scalars instead of a block: the same operations in the same order,
    so the same bits, without the price of very short arrays.
    """
    flat = np.ascontiguousarray(values, dtype=np.float64).ravel()
    out = np.empty(flat.size)
    if flat.size <= _FEW:
        for i, each in enumerate(flat):
            out[i] = of(each) if low <= each <= high else np.nan
    else:
        for start in range(0, flat.size, BLOCK):
            block = flat[start : start + BLOCK]
            inside = np.minimum(np.maximum(block, low), high)
            found = of(inside)
            found[inside != block] = np.nan  # NaN equals nothing, so it is outside too
            out[start : start + BLOCK] = found
    return out.reshape(np.shape(values))


def _map_to_unit(low: float, high: float) -> tuple[float, float]:
    scale = 2 / (high - low)
    return scale, -1 - scale * low


def _horner(powers: Sequence[float], x: Block) -> Block:
    """Evaluate a polynomial; in place after the first term, so that a block stays in cache."""
    total = x * powers[-1]
    for coefficient in powers[-2:0:-1]:
        total += coefficient
        total *= x
    total += powers[0]
    return total
