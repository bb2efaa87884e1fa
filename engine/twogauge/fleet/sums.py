"""Means and scatters of any stretch of rows, from running sums of whole numbers, so that they are exact.

A sum of floats depends on where it began; one of whole numbers does not, and its differences stay right even where the
running sum itself has gone round the end of 64 bits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats

Places = npt.NDArray[np.intp]
Whole = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Sums:
    """Running sums of n rows.

    Attributes:
        quanta: [SI] what one step of a whole number is, per field.
        count, first, second: shape (n + 1, fields): how many values, their sum, the sum of their squares.
    """

    quanta: Floats
    count: Whole
    first: Whole
    second: Whole

    def of(self, i: int, start: Places, stop: Places) -> tuple[Floats, Floats, Floats]:
        """Return mean and standard deviation [SI] of field i, and which share of the rows holds a value.

        Args:
            i: number of the field.
            start, stop: rows from start to before stop; same shape.
        """
        count = (self.count[stop, i] - self.count[start, i]).astype(np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = (self.first[stop, i] - self.first[start, i]) / count
            square = (self.second[stop, i] - self.second[start, i]) / count
            scatter = np.sqrt(np.maximum(square - mean * mean, 0.0) * count / (count - 1.0))
        return mean * self.quanta[i], scatter * self.quanta[i], count / (stop - start)

    def means(self, start: int, stop: int, complete: float) -> Floats:
        """Return the mean of every field [SI] over rows from start to before stop; NaN where too few hold a value."""
        count = self.count[stop] - self.count[start]
        total = (self.first[stop] - self.first[start]).astype(np.float64)
        enough = count >= max(complete * (stop - start), 1.0)
        return np.where(enough, total / np.maximum(count, 1) * self.quanta, np.nan)


def sums_of(numbers: Floats, quanta: Floats) -> Sums:
    """Return the running sums.

    Args:
        numbers: [SI] shape (n, fields), NaN where there is none.
        quanta: [SI] shape (fields,)
    """
    there = ~np.isnan(numbers)
    whole = np.rint(np.where(there, numbers, 0.0) / quanta).astype(np.int64)
    return Sums(quanta, running(there.astype(np.int64)), running(whole), running(whole * whole))


def running(values: Whole) -> Whole:
    """Return the sums of the rows before each row, and of all, shape (n + 1, ...)."""
    out = np.zeros((values.shape[0] + 1, *values.shape[1:]), dtype=np.int64)
    np.cumsum(values, axis=0, out=out[1:])
    return out
