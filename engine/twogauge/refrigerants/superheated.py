"""How much heat superheated vapour holds above its dew point, from series that `build.py` made; read when asked for.

A series in two variables gives the mean heat capacity between the dew point and the superheated state, at the pressure
of that dew point. It does not extrapolate: outside its ends the answer is NaN.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twogauge.refrigerants.catalogue import Refrigerant
from twogauge.refrigerants.properties import reduced

Floats = NDArray[np.float64]

KEY: Final = "Chebyshev coefficients of mean heat capacity / J/(kg K)"
_DATA = Path(__file__).parent / "data" / "superheated"


@dataclass(frozen=True, eq=False)
class Superheated:
    """Heat of the superheated vapour of one refrigerant above its dew point.

    The mean heat capacity is a product of Chebyshev series: in z = (1 - T/Tc)^(1/3) of the dew temperature T, and in
    the superheat; each variable is mapped to -1..+1.

    Attributes:
        critical_temperature: Tc [K].
        dew_from, dew_to: lowest and highest dew temperature [K].
        most: largest superheat [K].
        deviation: largest deviation of the mean heat capacity from CoolProp, as a fraction of it [1].
        coefficients: shape (terms in z, terms in superheat) [J/(kg K)].
    """

    critical_temperature: float
    dew_from: float
    dew_to: float
    most: float
    deviation: float
    coefficients: Floats

    def mean_heat_capacity(self, dew: ArrayLike, superheat: ArrayLike) -> Floats:
        """Return the heat above the dew point for each kelvin of superheat, at one pressure [J/(kg K)].

        Args:
            dew: dew temperature of the pressure [K], any shape.
            superheat: above it [K], a shape that goes with `dew`.

        Returns:
            [J/(kg K)], the common shape; NaN outside the series.
        """
        t, s = np.broadcast_arrays(np.asarray(dew, dtype=np.float64), np.asarray(superheat, dtype=np.float64))
        inside = (t >= self.dew_from) & (t <= self.dew_to) & (s >= 0.0) & (s <= self.most)
        x, y = self.mapped(np.where(inside, t, self.dew_from), np.where(inside, s, 0.0))
        return np.where(inside, np.polynomial.chebyshev.chebval2d(x, y, self.coefficients), np.nan)

    def heat_above_dew(self, dew: ArrayLike, superheat: ArrayLike) -> Floats:
        """Return the enthalpy above that of the saturated vapour of the same pressure [J/kg].

        Args:
            dew: dew temperature of the pressure [K], any shape.
            superheat: above it [K], a shape that goes with `dew`.

        Returns:
            [J/kg], the common shape; NaN outside the series.
        """
        return self.mean_heat_capacity(dew, superheat) * np.asarray(superheat, dtype=np.float64)

    def mapped(self, dew: Floats, superheat: Floats) -> tuple[Floats, Floats]:
        """Return both variables of the series [1], between -1 and +1, shape of what is given.

        Args:
            dew: dew temperature [K].
            superheat: above it [K].
        """
        ends = reduced(np.array([self.dew_from, self.dew_to]), self.critical_temperature)
        x = 2 * (reduced(dew, self.critical_temperature) - ends[0]) / (ends[1] - ends[0]) - 1
        return x, 2 * superheat / self.most - 1


def superheated_of(refrigerant: Refrigerant) -> Superheated:
    """Return the heat of the superheated vapour of a refrigerant; its file is read once."""
    return _load(refrigerant.id)


@cache
def _load(name: str) -> Superheated:
    file = name.replace("(", "_").replace(")", "") + ".json"
    return superheated_from(json.loads((_DATA / file).read_text(encoding="utf-8")))


def superheated_from(document: Mapping[str, Any]) -> Superheated:
    """Return what a JSON document describes."""
    return Superheated(
        critical_temperature=document["critical temperature / K"],
        dew_from=document["dew temperature from / K"],
        dew_to=document["dew temperature to / K"],
        most=document["superheat to / K"],
        deviation=document["largest deviation from CoolProp / 1"],
        coefficients=np.array(document[KEY]),
    )
