"""Standing pressure: what both gauges mean when the compressor has stopped and everything has levelled out.

Where liquid is present the pressure is the saturation pressure at the coldest part that holds it, whatever the amount.
Below that there is no liquid left, and the vapour can be weighed from the volume; above it something else presses with
it (air: partial pressures add, Dalton) or something else is inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from twogauge.errors import InputError, RangeError
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension, UnitSet, show_mass
from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import properties_of
from twogauge.service.cylinder import COVERAGE, WITHIN, Candidate, identify
from twogauge.service.facts import facts, number
from twogauge.service.vapour import GAS_CONSTANT, relative_error, vapour_density

Verdict = Literal["below", "at", "above", "not level"]

_NEAR_AIR: Final = 15e3  # [Pa] about 2 psi; common practice
AIR_MOLAR_MASS: Final = 0.0289652  # [kg/mol] dry air, ICAO Doc 7488 (from memory)


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is left where no liquid is.

    Attributes:
        low, high: vapour in the circuit [kg], 19 times in 20.
        for_liquid_low, for_liquid_high: what it takes before there is any liquid [kg].
        share_low, share_high: of the charge [1]; NaN if the charge was not told.
        volume_told: the volume was told; else it was guessed from the charge.
    """

    low: float
    high: float
    for_liquid_low: float
    for_liquid_high: float
    share_low: float
    share_high: float
    volume_told: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """What a standing pressure means.

    Attributes:
        verdict: below saturation, at it, above it; or the two gauges are not level yet.
        pressure: absolute [Pa].
        temperature: of the coldest part [K].
        low, high: saturation there, with the last liquid and with much [Pa]; they differ for blends only.
        off: what the gauge shows above or below that range [Pa]; 0 within it.
        uncertainty: standard uncertainty of `off` [Pa].
        fits_at: temperature at which the pressure would be saturation [K]; NaN outside the curve.
        remaining: what is left, where there is no liquid and volume or charge were told.
        air_low, air_high: pressure of air that would explain it [Pa]; both NaN unless above.
        air_mass: of that air in the middle of the range, if the volume was told [kg]; else NaN.
        least_air: air that these instruments could just show [Pa].
        fitting: refrigerants that would stand here with liquid in them, best first, the one named left out.
        apart: what the two gauges differ by [Pa]; 0 if only one was told.
        near_air: it stands so near the pressure of the air that it may have been open to it.
    """

    verdict: Verdict
    pressure: float
    temperature: float
    low: float
    high: float
    off: float
    uncertainty: float
    fits_at: float
    remaining: Remaining | None
    air_low: float
    air_high: float
    air_mass: float
    least_air: float
    fitting: tuple[Candidate, ...]
    apart: float
    near_air: bool


def judge(
    refrigerant: Refrigerant,
    pressure: float,
    coldest: float,
    *,
    gauge_limit: float,
    thermometer_limit: float,
    air_error: float = 0.0,
    barometer: float = STANDARD_ATMOSPHERE,
    other_gauge: float = math.nan,
    volume: float = math.nan,
    charge: float = math.nan,
) -> Standing:
    """Judge the pressure of a system at rest.

    Args:
        refrigerant: what should be in it.
        pressure: of the gauge that is read finer [Pa] absolute.
        coldest: temperature of the coldest part [K].
        gauge_limit: permitted error of the gauge [Pa].
        thermometer_limit: permitted error of the thermometer [K].
        air_error: standard uncertainty of the pressure of the air [Pa].
        barometer: pressure of the air [Pa].
        other_gauge: pressure of the other one [Pa] absolute, or NaN.
        volume: inside the circuit [m3], or NaN.
        charge: on the label [kg], or NaN.

    Raises:
        InputError: a volume or a charge of nothing, or two that contradict each other.
        RangeError: the refrigerant has no saturation at that temperature.
    """
    for what, value in (("volume", volume), ("charge", charge)):
        if value <= 0.0:
            raise InputError(f"a {what} of nothing tells nothing; leave it out, or write what the maker gives")
    _refuse_contradiction(refrigerant, coldest, volume=volume, charge=charge)
    if refrigerant.critical_temperature <= coldest:
        raise RangeError(
            f"{refrigerant.title} is no liquid above {refrigerant.critical_temperature - 273.15:.1f} degC, so a standing "
            "pressure tells only how dense its gas is there; measure on a colder day"
        )
    high = refrigerant.pressure_at(coldest, "bubble")
    low = refrigerant.pressure_at(coldest, "dew")
    low, high = min(low, high), max(low, high)
    off = min(pressure - low, 0.0) + max(pressure - high, 0.0)
    side: Literal["dew", "bubble"] = "bubble" if off > 0.0 else "dew"
    slope = 1.0 / float(refrigerant.saturation_slope(high if off > 0.0 else low, side))
    uncertainty = math.hypot(gauge_limit / COVERAGE, air_error, slope * thermometer_limit / COVERAGE)
    apart = 0.0 if math.isnan(other_gauge) else abs(pressure - other_gauge)
    verdict: Verdict = "at" if abs(off) <= WITHIN * uncertainty else "below" if off < 0.0 else "above"
    if apart > WITHIN * math.sqrt(2.0) * gauge_limit / COVERAGE:
        verdict = "not level"
    above, below = verdict == "above", verdict == "below"
    air_mass = math.nan
    if above and not math.isnan(volume):
        air_mass = off * volume * AIR_MOLAR_MASS / (GAS_CONSTANT * coldest)
    return Standing(
        verdict=verdict,
        pressure=pressure,
        temperature=coldest,
        low=low,
        high=high,
        off=off,
        uncertainty=uncertainty,
        fits_at=float(refrigerant.saturation_temperature(pressure, side)),
        remaining=_remaining(refrigerant, pressure, coldest, gauge_limit=gauge_limit, volume=volume, charge=charge)
        if below
        else None,
        air_low=max(off - WITHIN * uncertainty, 0.0) if above else math.nan,
        air_high=off + WITHIN * uncertainty if above else math.nan,
        air_mass=air_mass,
        least_air=WITHIN * uncertainty,
        fitting=_fitting(
            refrigerant,
            pressure,
            coldest,
            gauge=gauge_limit,
            thermometer=thermometer_limit,
            air=air_error,
        ),
        apart=apart,
        near_air=abs(pressure - barometer) <= _NEAR_AIR,
    )


def _refuse_contradiction(refrigerant: Refrigerant, coldest: float, *, volume: float, charge: float) -> None:
    """Refuse a charge that no circuit of that volume has."""
    if math.isnan(volume) or math.isnan(charge):
        return
    liquid = float(properties_of(refrigerant).liquid_density(coldest)) * volume
    least = number(facts("standing")["liquid_share"], Dimension.NUMBER, "least").value
    weight, room = f"{charge:.3g} kg ({show_mass(charge, UnitSet.US)})", f"{1e3 * volume:.3g} L"
    if charge > liquid:
        raise InputError(
            f"{weight} of {refrigerant.title} do not fit into {room}, not even as liquid; "
            "check --volume, --charge and their units"
        )
    if charge < least * liquid:
        raise InputError(
            f"a charge of {weight} and {room} cannot both be right: so large "
            "a circuit would hold next to nothing; check --volume, --charge and their units"
        )


def _fitting(
    refrigerant: Refrigerant, pressure: float, coldest: float, *, gauge: float, thermometer: float, air: float
) -> tuple[Candidate, ...]:
    found = identify(pressure, coldest, gauge_limit=gauge, thermometer_limit=thermometer, air_error=air)
    others = [each for each in found.those("fits") if each.refrigerant != refrigerant.id]
    return tuple(sorted(others, key=lambda each: abs(pressure - 0.5 * (each.bubble + each.dew)) / each.uncertainty))


def _remaining(
    refrigerant: Refrigerant, pressure: float, coldest: float, *, gauge_limit: float, volume: float, charge: float
) -> Remaining | None:
    """Weigh the vapour: density times volume; where only the charge is known, the volume is guessed from it."""
    if math.isnan(volume) and math.isnan(charge):
        return None
    volumes = (volume, volume)
    if math.isnan(volume):
        share = facts("standing")["liquid_share"]
        liquid = charge / float(properties_of(refrigerant).liquid_density(coldest))
        low, high = (number(share, Dimension.NUMBER, key).value for key in ("low", "high"))
        volumes = (liquid / high, liquid / low)
    density = vapour_density(refrigerant, pressure, coldest)
    saturated = float(properties_of(refrigerant).vapour_density(coldest))
    spread = WITHIN * math.hypot(relative_error(refrigerant) / 2.0, gauge_limit / COVERAGE / pressure)
    return Remaining(
        low=density * volumes[0] * max(1.0 - spread, 0.0),
        high=density * volumes[1] * (1.0 + spread),
        for_liquid_low=saturated * volumes[0],
        for_liquid_high=saturated * volumes[1],
        share_low=density * volumes[0] * max(1.0 - spread, 0.0) / charge,
        share_high=density * volumes[1] * (1.0 + spread) / charge,
        volume_told=not math.isnan(volume),
    )
