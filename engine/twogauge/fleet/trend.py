"""A robust slope with its interval: the median of all slopes between two points, which single bad points do not move.

H. Theil (1950) and P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Amer. Statist. Assoc.
63 (1968) 1379-1389; the interval for values that follow each other is widened as K. H. Hamed and A. R. Rao, J. Hydrology
204 (1998) 182-196, widen Kendall's variance, here with the first lag alone (all from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from twogauge.columns import Floats

_NINETEEN_IN_TWENTY: Final = 1.959964
_FEWEST: Final = 5
_MOST: Final = 1000  # points; there are half a million pairs of them


@dataclass(frozen=True, slots=True)
class Trend:
    """A slope.

    Attributes:
        slope: per unit of x.
        low, high: hold it 19 times in 20, as far as one point says something the one before it did not.
        level: of the line at the last x.
        points: how many there were.
        span: from the first x to the last.
    """

    slope: float
    low: float
    high: float
    level: float
    points: int
    span: float

    @property
    def clear(self) -> bool:
        """Whether the interval leaves out zero."""
        return self.low > 0.0 or self.high < 0.0


def theil_sen(x: Floats, y: Floats) -> Trend | None:
    """Return the slope of y over x; None for fewer than five points, or where x never changes.

    Args:
        x: shape (n,), rising.
        y: shape (n,), finite; of more than a thousand points the last thousand count.
    """
    x, y = x[-_MOST:], y[-_MOST:]
    n = x.size
    if n < _FEWEST:
        return None
    i, j = np.triu_indices(n, 1)
    apart = x[j] != x[i]
    slopes = np.sort((y[j] - y[i])[apart] / (x[j] - x[i])[apart])
    if not slopes.size:
        return None
    slope = float(np.median(slopes))
    level = float(np.median(y - slope * x))
    rest = y - slope * x - level
    half = _NINETEEN_IN_TWENTY * np.sqrt(n * (n - 1) * (2 * n + 5) / 18.0 * _inflation(rest))
    low = int(np.clip(np.floor((slopes.size - half) / 2.0) - 1, 0, slopes.size - 1))
    high = int(np.clip(np.ceil((slopes.size + half) / 2.0), 0, slopes.size - 1))
    return Trend(slope, float(slopes[low]), float(slopes[high]), level + slope * float(x[-1]), n, float(x[-1] - x[0]))


def _inflation(rest: Floats) -> float:
    """Return by how much the variance grows because a point resembles the one before it."""
    ranks = np.argsort(np.argsort(rest)).astype(np.float64)
    ranks -= ranks.mean()
    alike = float((ranks[1:] * ranks[:-1]).sum() / max((ranks * ranks).sum(), 1e-12))
    alike = min(max(alike, 0.0), 0.9)
    return (1.0 + alike) / (1.0 - alike)
