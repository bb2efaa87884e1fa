"""Fit the heat of superheated vapour as a series; used by `build.py`, and by nothing at run time.

It takes heats and gives back the JSON that `superheated.py` reads. It knows no property library: a function that
solves one state is handed in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from twogauge.refrigerants.properties import reduced
from twogauge.refrigerants.superheated import KEY, Superheated, superheated_from

Floats = NDArray[np.float64]

MOST_SUPERHEAT: Final = 100.0
"""A discharge line hotter than that over condensing [K] is beyond every compressor's limit (common practice)."""
HIGHEST_REDUCED: Final = 0.93
"""Series end at this fraction of the critical temperature: above it the heat capacity at the dew point runs away."""
ALLOWED_DEVIATION: Final = 5e-4
"""A series that is worse than this fraction [1] is refused: on a picture it is less than the width of a line."""
DRIFT_ALLOWED: Final = 5e-4
"""How far a shipped series may be from a rebuilt one, as a fraction of its value [1]."""
_NODES: Final = (28, 18)
_TERMS: Final = (9, 11)
_CHECKS: Final = 60

Solver = Callable[[float, Floats], Floats]
"""(dew temperature [K], superheats [K] of shape (n,)) -> enthalpy above the dew point at that pressure [J/kg]."""


def fit_superheated(heat: Solver, *, lowest: float, critical_temperature: float, hottest: float) -> dict[str, Any]:
    """Return the series of one refrigerant as JSON has it.

    Args:
        heat: solves the states.
        lowest: lowest dew temperature [K].
        critical_temperature: [K]
        hottest: highest temperature that the equation of state is made for [K].

    Raises:
        ValueError: the series does not reproduce its points.
    """
    highest = HIGHEST_REDUCED * critical_temperature
    most = min(MOST_SUPERHEAT, hottest - highest)
    frame = Superheated(critical_temperature, lowest, highest, most, math.nan, np.zeros((1, 1)))
    ends = reduced(np.array([highest, lowest]), critical_temperature)
    dew = critical_temperature * (1 - _nodes(ends[0], ends[1], _NODES[0]) ** 3)
    superheat = _nodes(0.0, most, _NODES[1])
    wanted = np.stack([heat(float(t), superheat) / superheat for t in dew])
    x, y = frame.mapped(*np.meshgrid(dew, superheat, indexing="ij"))
    terms = np.polynomial.chebyshev.chebvander2d(x, y, [_TERMS[0] - 1, _TERMS[1] - 1]).reshape(wanted.size, -1)
    # Weighted so that the fraction it is off counts, and not the kilojoules.
    weight = 1.0 / wanted.ravel()
    series = np.linalg.lstsq(terms * weight[:, None], np.ones(wanted.size))[0].reshape(_TERMS)
    document = {
        "critical temperature / K": critical_temperature,
        "dew temperature from / K": float(lowest),
        "dew temperature to / K": float(highest),
        "superheat to / K": float(most),
        KEY: np.round(series, 5).tolist(),
        "largest deviation from CoolProp / 1": math.nan,
    }
    fitted = superheated_from(document)
    # A fixed seed: two builds measure at the same points, and at none that was fitted.
    random = np.random.default_rng(21)
    off = 0.0
    for t in random.uniform(lowest, highest, _CHECKS):
        s = random.uniform(0.5, most, 5)
        exact = heat(float(t), s)
        off = max(off, float(np.abs(fitted.heat_above_dew(t, s) / exact - 1).max()))
    if not off <= ALLOWED_DEVIATION:
        raise ValueError(f"the heat of superheated vapour cannot be fitted: {off:.2g} of its value off")
    return document | {"largest deviation from CoolProp / 1": float(f"{off:.2g}")}


def superheated_drift(name: str, shipped: Mapping[str, Any] | None, new: Mapping[str, Any]) -> list[str]:
    """Return a sentence if the shipped series differs from a fresh build.

    Args:
        name: of the refrigerant.
        shipped: the document that ships, None if there is none.
        new: the document of a fresh build.
    """
    if shipped is None:
        return [f"{name}: its file of superheated vapour is missing; run the builder"]
    old, fresh = superheated_from(shipped), superheated_from(new)
    dew = np.linspace(max(old.dew_from, fresh.dew_from), min(old.dew_to, fresh.dew_to), 40)[:, None]
    superheat = np.linspace(0.0, min(old.most, fresh.most), 20)
    off = float(np.abs(old.mean_heat_capacity(dew, superheat) / fresh.mean_heat_capacity(dew, superheat) - 1).max())
    if off <= DRIFT_ALLOWED:
        return []
    return [f"{name}: the shipped heat of superheated vapour is {off:.2g} of its value from a fresh build"]


def _nodes(low: float, high: float, count: int) -> Floats:
    return low + (high - low) * (1 - np.cos(np.pi * (np.arange(count) + 0.5) / count)) / 2
