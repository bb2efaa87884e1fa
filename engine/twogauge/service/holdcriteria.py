"""What a published or a shop's own criterion says of a vacuum: passed, failed, or too close to tell with this gauge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from twogauge.service.criteria import Criterion

Floats = npt.NDArray[np.float64]
Passed = Literal["passes", "fails", "too close to tell", "not long enough"]


@dataclass(frozen=True, slots=True)
class Judged:
    """A criterion with what came of it.

    Attributes:
        criterion: the criterion.
        result: passes, fails, too close to tell with this gauge, or not long enough.
        value: what was compared: rise or pressure [Pa].
        limit: with what [Pa].
        within: what the value may be off [Pa].
    """

    criterion: Criterion
    result: Passed
    value: float
    limit: float
    within: float


def judged(c: Criterion, t: Floats, p: Floats, reading: Floats, error: float) -> Judged:
    """Hold a criterion against a log.

    Args:
        c: for how deep it is, or for how it holds.
        t: times since the valve was shut [s], shape (n,).
        p: absolute pressures [Pa], shape (n,).
        reading: what each may be off by its step and noise [Pa], shape (n,).
        error: what the gauge may be off at the first one [Pa].
    """
    if not math.isnan(c.reaches):
        reached = max(float(p[0]), 0.0)
        return Judged(c, _against(reached, c.reaches, error), reached, c.reaches, error)
    first = min(3, t.size) if float(t[min(2, t.size - 1)]) <= 0.1 * c.within else 1
    began = float(p[:first].mean())
    lasts = float(t[-1])
    at = float(np.interp(min(c.within, lasts), t, p))
    nearest = float(reading[int(np.argmin(np.abs(t - c.within)))])
    if not math.isnan(c.rises):
        value, limit, within = at - began, c.rises, 2.0 * math.hypot(nearest, float(reading[0]) / math.sqrt(first))
    else:
        value, limit, within = max(at, 0.0), c.stays_below, error + 2.0 * nearest
    result = _against(value, limit, within)
    if lasts < 0.98 * c.within and result != "fails":
        result = "not long enough"
    return Judged(c, result, value, limit, within)


def _against(value: float, limit: float, within: float) -> Passed:
    if value + within <= limit:
        return "passes"
    return "fails" if value - within > limit else "too close to tell"
