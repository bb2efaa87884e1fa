"""Water and ice: the pressure at which they boil or evaporate at a temperature, and back.

Liquid: the vapour-pressure equation of Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783 = IAPWS SR1-86(1992).
Ice: the sublimation-pressure equation of IAPWS R14-08(2011). The coefficients are from memory;
tests/published/test_atmosphere_and_water.py compares both with an independent library.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

Floats = npt.NDArray[np.float64]

TRIPLE_TEMPERATURE: Final = 273.16  # [K]
TRIPLE_PRESSURE: Final = 611.657  # [Pa] IAPWS
COLDEST: Final = 190.0  # [K] below this nothing is said about ice here (the equation goes down to 50 K)
HOTTEST: Final = 473.15  # [K] nor about water above this; the equation goes on to the critical point

_CRITICAL_TEMPERATURE: Final = 647.096  # [K]
_CRITICAL_PRESSURE: Final = 22.064e6  # [Pa]
_LIQUID: Final = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_ICE: Final = (
    (-0.212144006e2, 0.333333333e-2),
    (0.273203819e2, 0.120666667e1),
    (-0.610598130e1, 0.170333333e1),
)


def saturation_pressure(temperature: ArrayLike) -> Floats:
    """Return the vapour pressure of water, below the triple point that of ice [Pa], shape of `temperature`.

    Args:
        temperature: [K], any shape; NaN is answered outside 190 to 473.15 K.
    """
    t = np.asarray(temperature, np.float64)
    inside = np.where((t >= COLDEST) & (t <= HOTTEST), t, np.nan)
    return np.asarray(np.where(inside < TRIPLE_TEMPERATURE, _over_ice(inside), _over_liquid(inside)))


def saturation_temperature(pressure: ArrayLike) -> Floats:
    """Return the temperature at which water boils or ice evaporates [K], shape of `pressure`; within 1 mK.

    Args:
        pressure: [Pa], any shape; NaN is answered outside what 190 to 473.15 K give.
    """
    p = np.asarray(pressure, np.float64)
    logs, temperatures = _inverse()
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.interp(np.log(p), logs, temperatures, left=np.nan, right=np.nan))


def quick_saturation_pressure(temperature: Floats) -> Floats:
    """Return the same as `saturation_pressure` [Pa] out of a table, within 1e-5 of it.

    Args:
        temperature: [K], any shape; outside 190 to 473.15 K the nearest end is answered.
    """
    logs, temperatures = _inverse()
    return np.asarray(np.exp(np.interp(temperature, temperatures, logs)))


@cache
def _inverse() -> tuple[Floats, Floats]:
    # Straight lines in (ln p, 1/T) would be nearer the physics; with steps of 0.05 K it does not matter. The triple
    # point is a node, for the slope jumps there.
    ice = np.arange(COLDEST, TRIPLE_TEMPERATURE - 0.025, 0.05)
    liquid = np.arange(TRIPLE_TEMPERATURE, HOTTEST, 0.05)
    t = np.concatenate([ice, liquid])
    return np.log(saturation_pressure(t)), t


def _over_liquid(t: Floats) -> Floats:
    tau = 1.0 - np.minimum(t, _CRITICAL_TEMPERATURE) / _CRITICAL_TEMPERATURE
    total = np.sum([a * tau**b for a, b in _LIQUID], axis=0)
    return np.asarray(_CRITICAL_PRESSURE * np.exp(_CRITICAL_TEMPERATURE / t * total))


def _over_ice(t: Floats) -> Floats:
    theta = t / TRIPLE_TEMPERATURE
    total = np.sum([a * theta**b for a, b in _ICE], axis=0)
    return np.asarray(TRIPLE_PRESSURE * np.exp(total / theta))
