"""The probability of readings, and of points that were drawn.

A reading y with the step q stands for y - q/2 to y + q/2: its likelihood is the normal density of the instrument's noise
averaged over that interval, by Boole's rule with five points, which is right for any q up to four times the noise.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SLIP: Final = 1e-3  # how often a reading is a slip of the pen


def log_likelihood(curve: Floats, p: Floats, step: Floats, noise: Floats) -> Floats:
    """Return the natural logarithm of the probability of the readings for each curve [1], shape (k,).

    Args:
        curve: pressures [Pa], shape (k, n).
        p, step, noise: readings, steps of the gauge and standard deviations [Pa], shape (n,).
    """
    z = (p - curve) / noise
    half = 0.5 * step / noise
    if float(half.max(initial=0.0)) < 0.05:
        logs = -0.5 * z * z
    else:
        parts = [math.log(w / 90.0) - 0.5 * (z + half * x) ** 2 for w, x in _BOOLE]
        logs = np.logaddexp.reduce(parts)
    logs += np.log(step / noise) - 0.5 * math.log(2.0 * math.pi)
    slip = math.log(SLIP) + np.log(step / (np.abs(p) + float(np.abs(p).max()) + step))
    return np.asarray(np.logaddexp(logs + math.log1p(-SLIP), slip).sum(axis=1))


_BOOLE: Final = ((7.0, -1.0), (32.0, -0.5), (12.0, 0.0), (32.0, 0.5), (7.0, 1.0))


def log_normal(off: Floats, factor: Floats) -> Floats:
    """Return the logarithm of a normal density over the units of `off` [1], shape (k,).

    Args:
        off: from its middle [SI], shape (k, amounts).
        factor: Cholesky factor of its covariance [SI], shape (amounts, amounts).
    """
    z = np.linalg.solve(factor, off.T)
    size = off.shape[1]
    return np.asarray(-0.5 * (z * z).sum(axis=0) - np.log(np.diag(factor)).sum() - 0.5 * size * math.log(2 * math.pi))
