"""Fit densities and heats of saturation as Chebyshev series; used by `build.py`, and by nothing at run time.

It takes points and gives back the JSON that `properties.py` reads. It knows no property library: the points are
handed in, half of them to fit and half to measure the fit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from twogauge.refrigerants.properties import SERIES, Properties, properties_from, reduced

Floats = NDArray[np.float64]

WANTED_DEVIATION: Final = 2e-6
"""A series is lengthened until it reproduces its points this well, as a fraction of its largest value [1]."""
ALLOWED_DEVIATION: Final = 5e-4
"""A series that is worse than this fraction [1] is left out: no value is better than a doubtful one."""
DRIFT_ALLOWED: Final = 1e-4
"""How far a shipped series may be from a rebuilt one, as a fraction of its value [1]."""
LONGEST_SERIES: Final = 25
FEWEST_POINTS: Final = 300


class States(NamedTuple):
    """Saturated states at n temperatures, shape (n,) each; NaN where none was found.

    Attributes:
        pressure: [Pa]
        density: [kg/m3]
        enthalpy: [J/kg], from a zero that is the same for all states of a refrigerant.
    """

    pressure: Floats
    density: Floats
    enthalpy: Floats

    @classmethod
    def empty(cls, count: int) -> States:
        """Return `count` states that are not known yet."""
        return cls(*(np.full(count, np.nan) for _ in range(3)))

    def put(self, i: int, pressure: float, density: float, enthalpy: float) -> None:
        """Set state `i`: pressure [Pa], density [kg/m3], enthalpy [J/kg]."""
        self.pressure[i], self.density[i], self.enthalpy[i] = pressure, density, enthalpy

    def only(self, which: NDArray[np.bool_]) -> States:
        """Return the states marked in `which`."""
        return States(*(values[which] for values in self))


class Sample(NamedTuple):
    """Points of one saturation line, in ascending order.

    Attributes:
        phase: "bubble" or "dew".
        temperature: [K]
        states: at these temperatures.
        is_check: which points are kept to measure the fit.
        without: number of points for which no state was found.
    """

    phase: str
    temperature: Floats
    states: States
    is_check: NDArray[np.bool_]
    without: int


def fit_properties(bubble: Sample, dew: Sample, critical_temperature: float) -> dict[str, Any]:
    """Return the series of one refrigerant, or why one of them is missing, as JSON has it.

    Args:
        bubble, dew: points of its two lines.
        critical_temperature: [K]
    """
    common, in_bubble, in_dew = np.intersect1d(bubble.temperature, dew.temperature, return_indices=True)
    points: Mapping[str, tuple[Floats, Floats, NDArray[np.bool_]]] = {
        "liquid density": (bubble.temperature, bubble.states.density, bubble.is_check),
        "vapour density": (dew.temperature, dew.states.density, dew.is_check),
        "latent heat": (
            common,
            dew.states.enthalpy[in_dew] - bubble.states.enthalpy[in_bubble],
            bubble.is_check[in_bubble],
        ),
        "liquid enthalpy": (
            bubble.temperature,
            bubble.states.enthalpy - bubble.states.enthalpy[0],
            bubble.is_check,
        ),
    }
    return {
        "critical temperature / K": critical_temperature,
        "series": {name: _fit(*points[name], name, critical_temperature) for name in SERIES},
    }


def _fit(
    temperature: Floats, value: Floats, is_check: NDArray[np.bool_], name: str, critical_temperature: float
) -> dict[str, Any]:
    found = np.isfinite(value)
    temperature, value, is_check = temperature[found], value[found], is_check[found]
    if len(value) < FEWEST_POINTS:
        return {"missing because": f"only {len(value)} points of the mixture model could be verified"}
    logarithmic = SERIES[name].logarithmic
    wanted = np.log(value) if logarithmic else value
    # A logarithm is off by the fraction its value is off; the others are measured against their largest value.
    scale = 1.0 if logarithmic else float(np.abs(value).max())
    z = reduced(temperature, critical_temperature)
    x = 2 * (z - z[0]) / (z[-1] - z[0]) - 1
    for terms in range(5, LONGEST_SERIES + 1):
        series: Floats = np.polynomial.chebyshev.chebfit(x[~is_check], wanted[~is_check], terms - 1)
        if (np.abs(np.polynomial.chebyshev.chebval(x, series) - wanted) / scale).max() <= WANTED_DEVIATION:
            break
    digits = 12 if logarithmic else 6
    series = np.asarray(np.round(series, digits))
    off = float((np.abs(np.polynomial.chebyshev.chebval(x, series) - wanted) / scale)[is_check].max())
    if not off <= ALLOWED_DEVIATION:
        return {"missing because": f"no smooth series reproduces the mixture model: {off:.2g} of its value off"}
    return {
        "temperature from / K": float(temperature[0]),
        "temperature to / K": float(temperature[-1]),
        SERIES[name].key: series.tolist(),
        f"largest deviation from CoolProp / {'1' if logarithmic else SERIES[name].unit}": float(f"{off * scale:.2g}"),
    }


def properties_drift(name: str, shipped: Mapping[str, Any] | None, new: Mapping[str, Any]) -> list[str]:
    """Return a sentence for each series that differs from a fresh build.

    Args:
        name: of the refrigerant.
        shipped: the document that ships, None if there is none.
        new: the document of a fresh build.
    """
    if shipped is None:
        return [f"{name}: its file of properties is missing; run the builder"]
    old, fresh = properties_from(shipped), properties_from(new)
    found = []
    for series in SERIES:
        if (series in old.missing) != (series in fresh.missing):
            found.append(f"{name}: the {series} is there in one of the shipped file and a fresh build only")
        elif series not in fresh.missing and not (off := _apart(old, fresh, series)) <= DRIFT_ALLOWED:
            found.append(f"{name}: the shipped {series} is {off:.2g} of its value from a fresh build")
    if not _same_top(old, fresh):
        found.append(f"{name}: the shipped top of the dome is not that of a fresh build")
    return found


def _same_top(old: Properties, fresh: Properties) -> bool:
    pairs = ((old.top_pressure, fresh.top_pressure), (old.top_enthalpy, fresh.top_enthalpy))
    return all(len(a) == len(b) and np.allclose(a, b, rtol=DRIFT_ALLOWED, atol=0.0) for a, b in pairs)


def _apart(old: Properties, fresh: Properties, series: str) -> float:
    (low_a, high_a), (low_b, high_b) = old.ends(series), fresh.ends(series)
    at = np.linspace(max(low_a, low_b), min(high_a, high_b), 500)
    one, other = old.value(series, at), fresh.value(series, at)
    return math.inf if np.isnan(one).any() else float((np.abs(one - other) / np.abs(other).max()).max())
