"""Densities and heats of saturated liquid and vapour, from series that `build.py` made; loaded only when asked for.

Each series has a file apart from the saturation curve, so that a diagnosis does not pay for what it does not need.
Like the curves it does not extrapolate: outside its ends the answer is NaN, and so it is where the model of a mixture
gave nothing that could be verified; `missing` says why.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twogauge.refrigerants.catalogue import Refrigerant

Floats = NDArray[np.float64]

_DATA = Path(__file__).parent / "data" / "properties"


class Kind(NamedTuple):
    """How a series is kept.

    Attributes:
        unit: of the value, as it stands in the file.
        logarithmic: the series gives the natural logarithm of the value.
    """

    unit: str
    logarithmic: bool = False

    @property
    def key(self) -> str:
        """Return what the coefficients are called in the file."""
        return f"Chebyshev coefficients of {'ln ' if self.logarithmic else ''}value / {self.unit}"


SERIES: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "liquid density": Kind("kg/m3"),
        "vapour density": Kind("kg/m3", logarithmic=True),
        "latent heat": Kind("J/kg"),
        "liquid enthalpy": Kind("J/kg"),
    }
)


class _Series(NamedTuple):
    low: float
    high: float
    coefficients: tuple[float, ...]
    logarithmic: bool


@dataclass(frozen=True, eq=False)
class Properties:
    """Densities and heats of one refrigerant along its saturation lines.

    Each value is a Chebyshev series in z = (1 - T/Tc)^(1/3), mapped to -1..+1, the variable in which densities near
    a critical point are smooth. Liquid is that of the bubble line and vapour that of the dew line, both of the whole
    composition.

    Attributes:
        critical_temperature: Tc [K].
        missing: why a series is not there, by its name in `SERIES`.
        deviation: largest deviation from CoolProp by name [SI], of the vapour density as a fraction of it.
        top_pressure, top_enthalpy: where the saturation lines close between the end of the series and the critical
            point, from the bubble line over that point to the dew line: absolute [Pa] and [J/kg], shape (n,), counted
            like `liquid_enthalpy`; empty where that is not known.
    """

    critical_temperature: float
    missing: Mapping[str, str]
    deviation: Mapping[str, float]
    top_pressure: Floats
    top_enthalpy: Floats
    _series: Mapping[str, _Series]

    def liquid_density(self, temperature: ArrayLike) -> Floats:
        """Return the density of the saturated liquid [kg/m3], shape of `temperature`; NaN where it is not known.

        Args:
            temperature: [K], any shape.
        """
        return self.value("liquid density", temperature)

    def vapour_density(self, temperature: ArrayLike) -> Floats:
        """Return the density of the saturated vapour [kg/m3], shape of `temperature`; NaN where it is not known.

        Args:
            temperature: [K], any shape.
        """
        return self.value("vapour density", temperature)

    def latent_heat(self, temperature: ArrayLike) -> Floats:
        """Return the enthalpy of the dew line minus that of the bubble line, at one temperature [J/kg].

        Args:
            temperature: [K], any shape.

        Returns:
            [J/kg], shape of `temperature`; NaN where it is not known. At one pressure instead of one temperature the
            heat of a blend differs by its heat capacity times its glide.
        """
        return self.value("latent heat", temperature)

    def liquid_enthalpy(self, temperature: ArrayLike) -> Floats:
        """Return the enthalpy of the saturated liquid above that at the lowest temperature of the series [J/kg].

        Args:
            temperature: [K], any shape.

        Returns:
            [J/kg], shape of `temperature`; NaN where it is not known. Only differences mean anything.
        """
        return self.value("liquid enthalpy", temperature)

    def liquid_heat_capacity(self, temperature: ArrayLike) -> Floats:
        """Return the slope of the enthalpy of the saturated liquid, dh/dT along the bubble line [J/(kg K)].

        Args:
            temperature: [K], any shape.

        Returns:
            [J/(kg K)], shape of `temperature`; NaN within 0.05 K of an end and where it is not known. It exceeds the
            heat capacity at constant pressure by a few per cent in warm liquid, and grows without bound near critical.
        """
        t = np.asarray(temperature, dtype=np.float64)
        return (self.liquid_enthalpy(t + 0.05) - self.liquid_enthalpy(t - 0.05)) / 0.1

    def value(self, name: str, temperature: ArrayLike) -> Floats:
        """Return one of `SERIES` by its name [SI], shape of `temperature`; NaN where it is not known.

        Args:
            name: key of `SERIES`.
            temperature: [K], any shape.
        """
        t = np.asarray(temperature, dtype=np.float64)
        series = self._series.get(name)
        if series is None:
            return np.full(t.shape, np.nan)
        ends = reduced(np.array([series.low, series.high]), self.critical_temperature)
        inside = np.clip(t, series.low, series.high)
        x = 2 * (reduced(inside, self.critical_temperature) - ends[0]) / (ends[1] - ends[0]) - 1
        found = np.asarray(np.polynomial.chebyshev.chebval(x, series.coefficients))
        return np.where(inside == t, np.exp(found) if series.logarithmic else found, np.nan)

    def ends(self, name: str) -> tuple[float, float]:
        """Return the lowest and the highest temperature of a series [K]; NaN if it is not there."""
        series = self._series.get(name)
        return (np.nan, np.nan) if series is None else (series.low, series.high)


def reduced(temperature: Floats, critical_temperature: float) -> Floats:
    """Return z = (1 - T/Tc)^(1/3) [1].

    Args:
        temperature: T [K], not above Tc.
        critical_temperature: Tc [K]
    """
    return np.cbrt(1 - temperature / critical_temperature)


def properties_of(refrigerant: Refrigerant) -> Properties:
    """Return the densities and heats of a refrigerant; its file is read once."""
    return _load(refrigerant.id)


@cache
def _load(name: str) -> Properties:
    file = name.replace("(", "_").replace(")", "") + ".json"
    return properties_from(json.loads((_DATA / file).read_text(encoding="utf-8")))


def properties_from(document: Mapping[str, Any]) -> Properties:
    """Return the properties that a JSON document describes."""
    blocks: Mapping[str, Mapping[str, Any]] = document["series"]
    missing = {name: block["missing because"] for name, block in blocks.items() if "missing because" in block}
    there = {name: block for name, block in blocks.items() if name not in missing}
    top: Mapping[str, list[float]] = document.get("top of the dome", {})
    return Properties(
        critical_temperature=document["critical temperature / K"],
        missing=MappingProxyType(missing),
        deviation=MappingProxyType(
            {
                name: next(value for key, value in block.items() if key.startswith("largest deviation"))
                for name, block in there.items()
            }
        ),
        top_pressure=np.array(top.get("pressure / Pa", [])),
        top_enthalpy=np.array(top.get("enthalpy / J/kg", [])),
        _series=MappingProxyType(
            {
                name: _Series(
                    block["temperature from / K"],
                    block["temperature to / K"],
                    tuple(block[SERIES[name].key]),
                    SERIES[name].logarithmic,
                )
                for name, block in there.items()
            }
        ),
    )
