"""How the pressure of a closed vacuum goes on: one curve for each thing that can happen behind a shut valve.

A curve is a function of its amounts (pressures [Pa], a rate [Pa/s]), of one time constant [s] and of time. It knows
nothing of gauges or of probabilities; holdfit.py compares the curves with what was read.

    tight        p = p0
    settling     p = p0 + (p1 - p0)(1 - exp(-t/T)), T up to about a minute: the gas in gauge and hoses levels out
    leak         p = p0 + L(r t): nearly straight while the pressure is far below that of the air; L below
    wet          levels off at the vapour pressure of water at the coldest part, or of ice: as an exponential where the
                 way out of oil or desiccant is slow, as water that warms up where the way is free, with a halt at the
                 triple point while ice melts
    outgassing   p = p0 + (p1 - p0)(1 - exp(-t/T)), levels off elsewhere: refrigerant or other vapour out of oil; or
                 with the long tail of what must first diffuse out of rubber or a deep pool of oil: as the square root
                 of time at first, as its logarithm where many layers give off one after the other, or out of two pools,
                 of which the deep one gives off at a rate that falls only slowly
    and wet or outgassing with a leak added.

Sources: the flow of an ideal gas through an orifice (choked below 0.528 of the air's pressure) and laminar flow through
a fine channel, rate proportional to the difference of squared pressures: textbook gas dynamics, from memory. Heat of
fusion and heat capacities of ice and water: from memory, rounded. Diffusion out of a sheet (Crank, The Mathematics of
Diffusion) and outgassing that falls as 1/sqrt(t) or 1/t, textbook vacuum technique: from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge.service import water

Floats = npt.NDArray[np.float64]

Cause = Literal["tight", "settling", "leak", "wet", "outgassing", "wet_and_leak", "outgassing_and_leak"]
Amount = Literal["start", "rate", "settled", "water", "ice", "vapour", "shed", "seep"]

# Time that melting takes against the time constant of warming, for each kelvin of the surroundings above 0 degC: heat
# of fusion over the heat capacity of ice, 334 kJ/kg / 2.1 kJ/(kg K).
_MELTING: Final = 159.0  # [K]
_WATER_TO_ICE: Final = 2.0  # heat capacity of water against that of ice [1]


@dataclass(frozen=True)
class Surroundings:
    """What the curves need to know beside time.

    Attributes:
        t: times since the valve was shut [s], shape (n,).
        air: pressure of the air outside [Pa].
        gas: temperature of the gas over that at the start [1], shape (n,); 1 where it was not measured.
        vapour: vapour pressure of water over that at the middle temperature [1], shape (n,).
    """

    t: Floats
    air: float
    gas: Floats
    vapour: Floats


@dataclass(frozen=True)
class Shape:
    """One curve.

    Attributes:
        cause: what it is the curve of.
        name: which variant of it.
        amounts: what its amounts are, in their order: pressures [Pa], but for the rates of a leak and of what seeps out
            of a deep pool [Pa/s]. `shed` is what solids give off: little, and it need not level off.
        span: between which time constants it is looked for [s]; None if it has none.
        curve: amounts of shape (k, amounts), time constant [s] and surroundings to pressures [Pa] of shape (k, n).
        dries: time in which what seeps falls off [s].
        idealised: how far the curve may be from what it stands for, as a share of the way to the vapour pressure of
            water that lies behind or ahead, whichever is less [1]: how heat and vapour find their way is simplified,
            where they begin and end is not.
        odds: how often it is met beside the other curves of its cause [1].
    """

    cause: Cause
    name: str
    amounts: tuple[Amount, ...]
    span: tuple[float, float] | None
    curve: Callable[[Floats, float, Surroundings], Floats]
    dries: float = math.inf
    idealised: float = 0.0
    odds: float = 1.0


def _tight(c: Floats, tau: float, s: Surroundings) -> Floats:  # noqa: ARG001
    return c[:, :1] * s.gas


def _levels_off(c: Floats, tau: float, s: Surroundings) -> Floats:
    left = np.exp(-s.t / tau)
    return (c[:, :1] * left + c[:, 1:2] * (1.0 - left)) * s.gas


def _along(share: Callable[[Floats], Floats]) -> Callable[[Floats, float, Surroundings], Floats]:
    """Return the curve from its start to its end along a share that grows with t/T."""

    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        gone = share(s.t / tau)
        return (c[:, :1] * (1.0 - gone) + c[:, 1:2] * gone) * s.gas

    return curve


def _out_of_a_sheet(x: Floats) -> Floats:
    """Return what has left a sheet that gives off at one face [1], at t D / (thickness squared): sqrt(t) at first.

    The first term of the series for long times and the law for short ones meet at 0.2 within 1e-3 (Crank).
    """
    early = 2.0 * np.sqrt(x / math.pi)
    late = 1.0 - 8.0 / math.pi**2 * np.exp(-(math.pi**2) / 4.0 * x)
    return np.asarray(np.where(x < 0.2, early, late))


def _after_pumping(law: Callable[[Floats], Floats]) -> Callable[[Floats, float, Surroundings], Floats]:
    """Return the curve of a tail that began when the pump did: T is how long before the valve was shut.

    Such a law levels off nowhere; its second amount is where it stands after an hour.
    """

    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        gone = law(s.t / tau) / law(np.array([_HOUR / tau]))
        return (c[:, :1] + (c[:, 1:2] - c[:, :1]) * gone) * s.gas

    return curve


_HOUR: Final = 3600.0


def _by_root(x: Floats) -> Floats:
    """Return the law whose rate falls as 1/sqrt(t) [1]: diffusion out of something thick."""
    return np.asarray(np.sqrt(1.0 + x) - 1.0)


def _by_logarithm(x: Floats) -> Floats:
    """Return the law whose rate falls as 1/t [1]: many layers or pores, each with a time of its own."""
    return np.asarray(np.log1p(x))


def _wet_slowly(c: Floats, tau: float, s: Surroundings) -> Floats:
    left = np.exp(-s.t / tau)
    return c[:, :1] * left + c[:, 1:2] * (1.0 - left) * s.vapour


def _wet_warming(vapour_heat: float) -> Callable[[Floats, float, Surroundings], Floats]:
    """Return the curve of water or ice that is always at its vapour pressure and warms up to its surroundings.

    The heat that flows in warms the water, melts the ice, and evaporates what the growing pressure takes up:
    (C + C' s(T)) dT/dt = G (T1 - T), with s the slope of the vapour pressure over that at T1. `vapour_heat` is C' over
    the C of ice; the time constant is that C over G.
    """

    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        begin, end = _boils_at(c[:, :1]), _boils_at(c[:, 1:2])
        temperature = end - (end - begin) * np.exp(-_AHEAD)  # (k, nodes)
        need = np.where(temperature < water.TRIPLE_TEMPERATURE, 1.0, _WATER_TO_ICE)
        if vapour_heat:
            need = need + vapour_heat * _slope(temperature) / _slope(end)
        time = np.zeros_like(temperature)
        time[:, 1:] = np.cumsum(np.diff(_AHEAD) * 0.5 * (need[:, 1:] + need[:, :-1]), axis=1)
        above = end - water.TRIPLE_TEMPERATURE
        melts = (begin < water.TRIPLE_TEMPERATURE) & (above > 0.0)
        melting = np.where(melts, _MELTING / np.maximum(above, 0.02), 0.0)[:, 0]
        found = []
        for halt, row, at in zip(melting, time, temperature, strict=True):
            relative = s.t / tau
            if halt:
                reached = float(np.interp(water.TRIPLE_TEMPERATURE, at, row))
                relative = np.minimum(relative, np.maximum(relative - halt, reached))
            found.append(np.interp(relative, row, at))
        return water.quick_saturation_pressure(np.stack(found)) * s.vapour

    return curve


_RANGE: Final = (float(water.saturation_pressure(water.COLDEST)) * 1.01, 1e6)  # [Pa]


def _boils_at(pressure: Floats) -> Floats:
    return water.saturation_temperature(np.clip(pressure, *_RANGE))


_AHEAD: Final = np.concatenate([np.linspace(0.0, 4.0, 90), np.linspace(4.2, 12.0, 30)])


def _slope(temperature: Floats) -> Floats:
    """Return a number proportional to the slope of the vapour pressure of water (Clausius and Clapeyron)."""
    return np.asarray(water.quick_saturation_pressure(temperature) / temperature**2)


def _leak_by(kind: str) -> Callable[[Floats, float, Surroundings], Floats]:
    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:  # noqa: ARG001
        return c[:, :1] * s.gas + rise(c[:, 1:2] * s.t, s.air, kind)

    return curve


def _wet_filling(resistance: float) -> Callable[[Floats, float, Surroundings], Floats]:
    """Return the curve of water that must be fed with heat, and whose vapour has a narrow way out.

    Heat in and vapour out are one flow: p = psat(T) - R (T1 - T), dp/dt = B (T1 - T). `resistance` is R over the slope
    of the vapour pressure at T1; the time constant is that slope over B. Nothing is melted: what evaporates fits the
    volume, and that is little.
    """

    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        begin, end = _boils_at(c[:, :1]), _boils_at(c[:, 1:2])
        temperature = end - (end - begin) * np.exp(-_AHEAD)
        need = _slope(temperature) / _slope(end) + resistance
        time = np.zeros_like(temperature)
        time[:, 1:] = np.cumsum(np.diff(_AHEAD) * 0.5 * (need[:, 1:] + need[:, :-1]), axis=1)
        slope = _LATENT_OVER_GAS * water.quick_saturation_pressure(end) / end**2
        pressure = water.quick_saturation_pressure(temperature) - resistance * slope * (end - temperature)
        if (
            end.size and float((pressure[:, -1] - pressure[:, 0]).min()) < 0.0
        ):  # a pressure that falls, for the solver
            pressure = np.where(pressure[:, -1:] > pressure[:, :1], pressure, pressure[:, -1:])
        relative = s.t / tau
        rows = zip(time, pressure, c[:, 0], strict=True)
        return np.stack([np.interp(relative + np.interp(p0, p, row), row, p) for row, p, p0 in rows]) * s.vapour

    return curve


_LATENT_OVER_GAS: Final = 5423.0  # [K] 2.5 MJ/kg over 461 J/(kg K)


def _with_leak(
    base: Callable[[Floats, float, Surroundings], Floats],
) -> Callable[[Floats, float, Surroundings], Floats]:
    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        return base(c[:, :2], tau, s) + rise(c[:, 2:3] * s.t, s.air, "orifice")

    return curve


def _with_deep_pool(dries: float) -> Callable[[Floats, float, Surroundings], Floats]:
    """Return the curve of two pools: one that levels off soon, and a deep one whose rate falls with `dries` [s]."""

    def curve(c: Floats, tau: float, s: Surroundings) -> Floats:
        deep = c[:, 2:3] * dries * -np.expm1(-s.t / dries)
        return _levels_off(c[:, :2], tau, s) + deep * s.gas

    return curve


def rise(straight: Floats, air: float, kind: str = "orifice") -> Floats:
    """Return what a leak has let in [Pa], shape of `straight`, where it would be `straight` [Pa] at its first rate.

    Args:
        straight: first rate times time [Pa].
        air: pressure of the air outside [Pa].
        kind: orifice (choked, then slowing down) or channel (laminar).
    """
    if kind == "channel":
        return np.asarray(air * np.tanh(straight / air))
    ahead, risen = _orifice()
    return np.asarray(air * np.interp(straight / air, ahead, risen))


@cache
def _orifice() -> tuple[Floats, Floats]:
    """Return first rate times time over the air's pressure, and the pressure it leads to over the air's."""
    exponent = 1.4
    x = np.linspace(0.0, 1.0, 2001)
    with np.errstate(invalid="ignore"):
        flow = np.sqrt(np.maximum(x ** (2.0 / exponent) - x ** ((exponent + 1.0) / exponent), 0.0))
    critical = (2.0 / (exponent + 1.0)) ** (exponent / (exponent - 1.0))
    relative = np.where(x <= critical, 1.0, flow / flow[np.argmin(np.abs(x - critical))]).clip(1e-3, 1.0)
    steps = np.diff(x) * 0.5 * (1.0 / relative[1:] + 1.0 / relative[:-1])
    return np.concatenate([[0.0], np.cumsum(steps)]), x


_LEVELLING: Final = (75.0, 2 * 3600.0)  # [s] vapour out of oil; common practice
_SHEET: Final = (300.0, 12 * 3600.0)  # [s] out of seals and hoses, thickness squared over D; from memory
_PUMPED: Final = (20.0, 2400.0)  # [s] how long it has given off before; common practice
_UPPER: Final = (20.0, 1800.0)  # [s] the upper of two pools; common practice
_DEEP: Final = (900.0, 2700.0, 8100.0)  # [s] the deep one; common practice
_SETTLING: Final = (3.0, 75.0)  # [s] hoses of some metres; common practice
_DRYING: Final = (15.0, 1.5 * 3600.0)  # [s] out of the open, or out of oil and desiccant; common practice
_SIMPLIFIED: Final = 0.1  # share by which water is off its curve on the way; from simulated logs
_SELDOM: Final = 0.2  # a long tail against a plain levelling off; from memory

SHAPES: Final[tuple[Shape, ...]] = (
    Shape("tight", "flat", ("start",), None, _tight),
    Shape("settling", "gauge and hoses", ("start", "settled"), _SETTLING, _levels_off),
    Shape("leak", "orifice", ("start", "rate"), None, _leak_by("orifice")),
    Shape("leak", "channel", ("start", "rate"), None, _leak_by("channel")),
    Shape("leak", "after settling", ("start", "settled", "rate"), _SETTLING, _with_leak(_levels_off)),
    Shape("wet", "slowly", ("start", "water"), _DRYING, _wet_slowly),
    Shape("wet", "warming", ("start", "water"), _DRYING, _wet_warming(0.0), idealised=_SIMPLIFIED),
    Shape("wet", "warming and filling", ("start", "water"), _DRYING, _wet_warming(1.0), idealised=_SIMPLIFIED),
    Shape("wet", "filling", ("start", "water"), _DRYING, _wet_filling(0.0), idealised=_SIMPLIFIED),
    Shape("wet", "filling slowly", ("start", "water"), _DRYING, _wet_filling(1.0), idealised=_SIMPLIFIED),
    Shape("wet", "ice", ("start", "ice"), _DRYING, _levels_off),
    Shape("outgassing", "slowly", ("start", "vapour"), _LEVELLING, _levels_off),
    Shape("outgassing", "out of a sheet", ("start", "shed"), _SHEET, _along(_out_of_a_sheet), odds=_SELDOM),
    Shape("outgassing", "tail by the root", ("start", "shed"), _PUMPED, _after_pumping(_by_root), odds=_SELDOM),
    Shape(
        "outgassing", "tail by the logarithm", ("start", "shed"), _PUMPED, _after_pumping(_by_logarithm), odds=_SELDOM
    ),
    *(
        Shape(
            "outgassing",
            f"deep pool of {dries:.0f} s",
            ("start", "vapour", "seep"),
            _UPPER,
            _with_deep_pool(dries),
            dries=dries,
            odds=_SELDOM,
        )
        for dries in _DEEP
    ),
    Shape("wet_and_leak", "slowly", ("start", "water", "rate"), _DRYING, _with_leak(_wet_slowly)),
    Shape(
        "wet_and_leak",
        "warming",
        ("start", "water", "rate"),
        _DRYING,
        _with_leak(_wet_warming(0.0)),
        idealised=_SIMPLIFIED,
    ),
    Shape(
        "wet_and_leak",
        "filling",
        ("start", "water", "rate"),
        _DRYING,
        _with_leak(_wet_filling(0.0)),
        idealised=_SIMPLIFIED,
    ),
    Shape(
        "wet_and_leak",
        "filling slowly",
        ("start", "water", "rate"),
        _DRYING,
        _with_leak(_wet_filling(1.0)),
        idealised=_SIMPLIFIED,
    ),
    Shape("outgassing_and_leak", "slowly", ("start", "vapour", "rate"), _LEVELLING, _with_leak(_levels_off)),
    Shape(
        "outgassing_and_leak",
        "out of a sheet",
        ("start", "shed", "rate"),
        _SHEET,
        _with_leak(_along(_out_of_a_sheet)),
        odds=_SELDOM,
    ),
    Shape(
        "outgassing_and_leak",
        "tail by the root",
        ("start", "shed", "rate"),
        _PUMPED,
        _with_leak(_after_pumping(_by_root)),
        odds=_SELDOM,
    ),
)
