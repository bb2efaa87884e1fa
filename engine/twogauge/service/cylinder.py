"""Cylinders: how full one may be filled, and what may be in one that shows a pressure at a temperature."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from twogauge import refrigerants
from twogauge.errors import InputError, QuantityError
from twogauge.quantities import PA_PER_PSI, Dimension
from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import properties_of
from twogauge.service.facts import Number, facts, number

WITHIN: Final = 2.0  # standard uncertainties: 19 times in 20
COVERAGE: Final = 3.0**0.5  # a permitted error is the half-width of a rectangle


@dataclass(frozen=True, slots=True)
class Fill:
    """How much a cylinder may hold.

    Attributes:
        volume: inside [m3].
        share: of it, or of its water capacity, that may be filled [1].
        at: temperature at which the share counts [K].
        density: of the liquid at that temperature [kg/m3]; NaN if nothing is said about what goes in.
        by_weight: share of the water capacity [kg].
        by_volume: liquid that fills the share of the volume at that temperature [kg]; NaN without a density.
        most: the lower of the two [kg].
        full_by_weight_at: temperature at which `by_weight` fills all of the cylinder as liquid [K]; NaN if it never
            does.
        full_by_volume_at: the same for `by_volume` [K].
        hottest: temperature a cylinder must never exceed [K].
        pressure_when_hottest: of the refrigerant at that temperature [Pa] absolute; NaN above its curve.
    """

    volume: float
    share: Number
    at: Number
    density: float
    by_weight: float
    by_volume: float
    most: float
    full_by_weight_at: float
    full_by_volume_at: float
    hottest: Number
    pressure_when_hottest: float


def safe_fill(refrigerant: Refrigerant | None, volume: float) -> Fill:
    """Return how much a cylinder may hold, by both readings of the published 80 % rule.

    Args:
        refrigerant: what goes in; None if that is not known, and then only the weight of water counts.
        volume: inside of the cylinder [m3].

    Raises:
        InputError: no volume, or a refrigerant that can be no liquid at the hottest a cylinder may see.
    """
    if not volume > 0.0:
        raise QuantityError(
            "a cylinder of no capacity holds nothing; the water capacity is stamped on its collar (WC)",
            field="water_capacity",
            code="out-of-range",
        )
    rule = facts("cylinder")["fill"]
    share, at = number(rule["share"], Dimension.FRACTION), number(rule["temperature"], Dimension.TEMPERATURE)
    hottest = number(rule["hottest"], Dimension.TEMPERATURE)
    by_weight = share.value * volume * water_density()
    if refrigerant is None:
        nan = float("nan")
        return Fill(volume, share, at, nan, by_weight, nan, by_weight, nan, nan, hottest, nan)
    if refrigerant.critical_temperature <= hottest.value:
        raise InputError(
            f"{refrigerant.title} is no liquid above {refrigerant.critical_temperature - 273.15:.0f} degC, whatever the "
            "pressure; the rule for liquids does not hold for it, and the cylinder's maker says how much it may hold"
        )
    density = float(properties_of(refrigerant).liquid_density(at.value))
    by_volume = share.value * volume * density
    return Fill(
        volume=volume,
        share=share,
        at=at,
        density=density,
        by_weight=by_weight,
        by_volume=by_volume,
        most=min(by_weight, by_volume),
        full_by_weight_at=liquid_full_at(refrigerant, by_weight / volume),
        full_by_volume_at=liquid_full_at(refrigerant, by_volume / volume),
        hottest=hottest,
        pressure_when_hottest=float(refrigerant.saturation_pressure(hottest.value, "bubble")),
    )


def water_density() -> float:
    """Return the density of water at which a water capacity is told [kg/m3]."""
    return number(facts("cylinder")["fill"]["water_density"], Dimension.NUMBER).value


def liquid_full_at(refrigerant: Refrigerant, filling: float) -> float:
    """Return the temperature at which a closed container becomes full of liquid [K]; NaN if it never does.

    Args:
        refrigerant: what is in it.
        filling: its mass over the volume of the container [kg/m3].
    """
    properties = properties_of(refrigerant)
    low, high = properties.ends("liquid density")
    if not float(properties.liquid_density(high)) < filling:
        return float("nan")
    if filling >= float(properties.liquid_density(low)):
        return low
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if float(properties.liquid_density(middle)) > filling else (low, middle)
    return 0.5 * (low + high)


# What is in it -----------------------------------------------------------------------------------------------------

Verdict = Literal["fits", "with air", "too low", "too high", "no curve"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One refrigerant held against a cylinder.

    Attributes:
        refrigerant: id.
        title: name as printed.
        bubble, dew: pressure with much liquid, and with the last drop [Pa] absolute; NaN outside its curve.
        off: what the gauge shows above or below that range [Pa]; 0 within it.
        uncertainty: standard uncertainty of `off` [Pa].
        verdict: fits; with air (shows more, as some air would make it); too low (it would have no liquid); too high
            (more than air explains); no curve.
    """

    refrigerant: str
    title: str
    bubble: float
    dew: float
    off: float
    uncertainty: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Identity:
    """What may be in a cylinder.

    Attributes:
        pressure: in it [Pa] absolute.
        temperature: of it [K].
        candidates: every refrigerant, most used first.
        label: the one that the label names, or None.
        apart: temperature at which those that fit differ most [K]; NaN where fewer than two fit.
        apart_pressures: of those that fit, at that temperature [Pa] absolute.
        apart_by: least difference between two of them there [Pa].
        told_apart: whether the gauge could tell them there.
    """

    pressure: float
    temperature: float
    candidates: tuple[Candidate, ...]
    label: Candidate | None
    apart: float
    apart_pressures: tuple[tuple[str, float], ...]
    apart_by: float
    told_apart: bool

    def those(self, verdict: Verdict) -> tuple[Candidate, ...]:
        """Return the candidates of one verdict, most used first."""
        return tuple(each for each in self.candidates if each.verdict == verdict)


def identify(
    pressure: float,
    temperature: float,
    *,
    gauge_limit: float,
    thermometer_limit: float,
    air_error: float = 0.0,
    label: str | None = None,
    names: Iterable[str] | None = None,
) -> Identity:
    """Hold every refrigerant against the pressure of a cylinder at rest.

    Args:
        pressure: in it [Pa] absolute.
        temperature: of it [K].
        gauge_limit: permitted error of the gauge [Pa].
        thermometer_limit: permitted error of the thermometer [K].
        air_error: standard uncertainty of the pressure of the air [Pa].
        label: what is written on it.
        names: refrigerants to look at; all if None.

    Raises:
        UnknownNameError: the label names nothing known.
        InputError: a pressure beyond that of every refrigerant.
    """
    _refuse_unheard_of(pressure)
    written = None if label is None else refrigerants.get(label).id
    most_air = number(facts("cylinder")["identify"]["most_air"], Dimension.PRESSURE).value
    u_pressure = float(np.hypot(gauge_limit / COVERAGE, air_error))
    found = tuple(
        _against(
            refrigerants.get(name),
            pressure,
            temperature,
            u_pressure=u_pressure,
            u_temperature=thermometer_limit / COVERAGE,
            most_air=most_air,
        )
        for name in (refrigerants.names() if names is None else names)
    )
    fits = [each for each in found if each.verdict == "fits"]
    apart, pressures, by = _tell_apart([each.refrigerant for each in fits[:3]])
    return Identity(
        pressure=pressure,
        temperature=temperature,
        candidates=found,
        label=next((each for each in found if each.refrigerant == written), None),
        apart=apart,
        apart_pressures=pressures,
        apart_by=by,
        told_apart=bool(by > 2 * WITHIN * u_pressure),
    )


def _refuse_unheard_of(pressure: float) -> None:
    """Refuse what is far above every critical pressure: no cylinder of a refrigerant is made for it."""
    highest = max((refrigerants.get(name) for name in refrigerants.names()), key=lambda each: each.critical_pressure)
    if pressure > highest.critical_pressure:
        raise InputError(
            f"{pressure / 1e5:.0f} bar ({pressure / PA_PER_PSI:.0f} psi) absolute is more than any refrigerant known here "
            f"has with liquid in it (the highest critical pressure is that of {highest.title}, "
            f"{highest.critical_pressure / 1e5:.0f} bar); check the number and its unit"
        )


def _against(
    refrigerant: Refrigerant,
    pressure: float,
    temperature: float,
    *,
    u_pressure: float,
    u_temperature: float,
    most_air: float,
) -> Candidate:
    bubble = float(refrigerant.saturation_pressure(temperature, "bubble"))
    dew = float(refrigerant.saturation_pressure(temperature, "dew"))
    if np.isnan(bubble) or np.isnan(dew):
        nan = float("nan")
        return Candidate(refrigerant.id, refrigerant.title, nan, nan, nan, nan, "no curve")
    bubble, dew = max(bubble, dew), min(bubble, dew)  # an azeotrope's lines may cross by the error of their fit
    off = min(pressure - dew, 0.0) + max(pressure - bubble, 0.0)
    slope = 1.0 / float(refrigerant.saturation_slope(bubble if off > 0 else dew, "bubble" if off > 0 else "dew"))
    uncertainty = float(np.hypot(u_pressure, slope * u_temperature))
    verdict: Verdict
    if abs(off) <= WITHIN * uncertainty:
        verdict = "fits"
    elif off < 0:
        verdict = "too low"
    else:
        verdict = "with air" if off <= most_air else "too high"
    return Candidate(refrigerant.id, refrigerant.title, bubble, dew, off, uncertainty, verdict)


def _tell_apart(names: Sequence[str]) -> tuple[float, tuple[tuple[str, float], ...], float]:
    """Return where these differ most: the temperature, each one's pressure there, and the least difference."""
    if len(names) < 2:
        return float("nan"), (), float("nan")
    rule = facts("cylinder")["identify"]
    low, high = (number(rule[key], Dimension.TEMPERATURE).value for key in ("alike_from", "alike_to"))
    temperatures = np.linspace(low, high, 46)
    each = np.array([refrigerants.get(name).saturation_pressure(temperatures, "bubble") for name in names])
    gaps = np.min(np.diff(np.sort(each, axis=0), axis=0), axis=0)
    if np.isnan(gaps).all():
        return float("nan"), (), float("nan")
    best = int(np.nanargmax(gaps))
    pressures = tuple((refrigerants.get(name).title, float(p)) for name, p in zip(names, each[:, best], strict=True))
    return float(temperatures[best]), pressures, float(gaps[best])
