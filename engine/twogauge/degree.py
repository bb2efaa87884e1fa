"""From a value with its uncertainty to a degree: the probability that a condition really holds.

The edge of a condition may be soft, and the value is uncertain; both are taken as normal and independent, so the
degree is Phi(sign * (x - threshold) / sqrt(u^2 + s^2)). A missing value gives NaN: no degree, not a half.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats

CLEARLY_FALSE: Final = 0.1  # a condition at or below this decides its rule even if another is unknown
FADES_BY: Final = 0.2  # between the two its say fades out, so that there is no cliff

# Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26: absolute error of erf at most 1.5e-7. The
# coefficients are from memory; tests/test_degree.py compares with the error function of the standard library.
_P: Final = 0.3275911
_A: Final = (1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592)


def normal_cdf(z: Floats) -> Floats:
    """Return the standard normal distribution function of z, any shape, within 1e-7; NaN stays NaN.

    It is monotone in steps above 1e-7 and symmetric: normal_cdf(z) + normal_cdf(-z) is 1 to rounding.
    """
    x = np.abs(z)
    x *= 0.7071067811865476
    t = x * _P
    t += 1.0
    np.reciprocal(t, out=t)
    series = t * _A[0]
    for coefficient in _A[1:]:
        series += coefficient
        series *= t
    np.multiply(x, x, out=x)
    np.negative(x, out=x)
    np.exp(x, out=x)
    series *= x
    series *= 0.5  # half of erfc(|z| / sqrt 2)
    return np.where(z >= 0.0, 1.0 - series, series)


def edge_degree(value: Floats, u: Floats, threshold: Floats, sign: Floats, spread: Floats) -> Floats:
    """Return the degree of each edge.

    Args:
        value, u: shape (edges, n), the quantity each edge looks at and its standard uncertainty.
        threshold, sign, spread: shape (edges, 1).

    Returns:
        shape (edges, n); NaN where the value is missing.
    """
    sigma = u * u
    sigma += spread * spread
    np.sqrt(sigma, out=sigma)
    # A perfectly sharp edge and a perfect instrument: a step, but not a division by zero.
    np.maximum(sigma, 1e-9 * (1.0 + np.abs(threshold)), out=sigma)
    z = value - threshold
    z *= sign
    z /= sigma
    return normal_cdf(z)


Layers = tuple[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]], ...]
"""Groups of rows, one layer for the first members of all groups, one for the second and so on: (groups, rows)."""


def layers_of(groups: Sequence[Sequence[int]]) -> Layers:
    """Lay groups of row numbers out in layers, so that a group is worked off without a loop over groups."""
    out = []
    left = [(g, rows) for g, rows in enumerate(groups) if len(rows) > 0]
    for k in range(max((len(rows) for rows in groups), default=0)):
        left = [(g, rows) for g, rows in left if len(rows) > k]
        chosen = [(g, rows[k]) for g, rows in left]
        out.append((np.array([g for g, _ in chosen], np.intp), np.array([r for _, r in chosen], np.intp)))
    return tuple(out)


def all_hold(degrees: Floats, members: Layers, *, always_unknown: npt.NDArray[np.bool_]) -> Floats:
    """Return the degree of rules whose conditions must all hold: the least, three-valued.

    One condition that is clearly false decides, even if another is unknown; otherwise unknown wins. In between the
    degree of the rule runs from CLEARLY_FALSE to a half, which counts nothing, as the condition's runs to FADES_BY.

    Args:
        degrees: shape (conditions, n).
        members: the conditions of each rule, in layers; every rule has at least one.
        always_unknown: shape (rules, 1), whether a further condition of the rule has no input at all.

    Returns:
        shape (rules, n); NaN where the rule cannot be judged.
    """
    least = degrees[members[0][1]]
    unknown = np.isnan(least) | always_unknown
    for rules, conditions in members[1:]:
        more = degrees[conditions]
        least[rules] = np.fmin(least[rules], more)
        unknown[rules] |= np.isnan(more)
    if unknown.any():
        fade = np.clip((FADES_BY - least) / (FADES_BY - CLEARLY_FALSE), 0.0, 1.0)
        faded = (1.0 - (1.0 - 2.0 * least) * fade) / 2.0
        np.copyto(least, np.where(least < FADES_BY, faded, np.nan), where=unknown)
    return least
