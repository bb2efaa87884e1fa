"""Putting refrigerant in: how much by the scale, how, whether the cylinder can push it, and how far that cools it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from twogauge.errors import InputError
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension
from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import properties_of
from twogauge.service.draw import Drawn, draw
from twogauge.service.facts import Number, Source, facts, number, prose, source
from twogauge.service.retrofit import (
    RefusedError,
    Retrofit,
    is_vehicle,
    refuse_mixing,
    retrofit,
)

Port = Literal["accumulator", "suction_line", "compressor"]
PORTS: Final[tuple[Port, ...]] = ("accumulator", "suction_line", "compressor")
ROOM: Final = 295.15  # [K] of a shop, where nothing is said
# Where spare refrigerant waits, unless it is told (common practice).
STORES: Final = {"orifice_tube": "accumulator", "expansion_valve": "receiver", "capillary": "none"}
TENTH: Final = 0.1  # of what a cylinder holds: the cooling depends on the share alone
SHELL: Final = "shell_heat_capacity"


@dataclass(frozen=True)
class Job:
    """What is to be charged, and what is known about it; NaN where nothing was said.

    Attributes:
        refrigerant: what goes in.
        label: charge on the label [kg].
        old: what the label names, if it is to be changed.
        inside: what is still in the system, if anything.
        already: of what goes in, weighed in before [kg].
        system: kind of machine, as in a reading.
        metering, liquid_store: as in a reading, or None.
        port: where the low-side port sits, or None.
        ambient: air around it [K].
        container: temperature of the cylinder [K].
        holds: refrigerant in the cylinder [kg].
        tare: weight of the empty cylinder [kg].
        low, high: what both sides hold now [Pa] absolute.
        hoses: volume of the hoses and the manifold that fill [m3].
        barometer: pressure of the air [Pa].
    """

    refrigerant: Refrigerant
    label: float = math.nan
    old: Refrigerant | None = None
    inside: Refrigerant | None = None
    already: float = math.nan
    system: str = "car_ac"
    metering: str | None = None
    liquid_store: str | None = None
    port: Port | None = None
    ambient: float = math.nan
    container: float = math.nan
    holds: float = math.nan
    tare: float = math.nan
    low: float = math.nan
    high: float = math.nan
    hoses: float = math.nan
    barometer: float = STANDARD_ATMOSPHERE


@dataclass(frozen=True, slots=True)
class Amount:
    """What goes in, and what the scale must show for it.

    Attributes:
        start: to begin with [kg], what is in it already taken off.
        stop: not to be exceeded [kg], likewise.
        most: all that the system may hold in the end [kg].
        in_hoses_gas: what stays in the hoses as gas [kg].
        in_hoses_liquid: what stays in them if they are left full of liquid [kg].
        hoses: their volume [m3].
    """

    start: float
    stop: float
    most: float
    in_hoses_gas: float
    in_hoses_liquid: float
    hoses: float


@dataclass(frozen=True, slots=True)
class Push:
    """Whether the cylinder can push.

    Attributes:
        container: its temperature [K].
        pressure: in it [Pa] absolute.
        limit: temperature it may be warmed to [K].
        pressure_at_limit: in it then [Pa] absolute; NaN above the curve.
        hottest: temperature it must never exceed [K].
        low, high: what it pushes against [Pa] absolute; of `low` what a running system usually has, if not told.
        low_told: whether `low` was told.
        liquid_to_gas: density of the liquid over that of the gas on the suction side [1].
    """

    container: float
    pressure: float
    limit: Number
    pressure_at_limit: float
    hottest: Number
    low: float
    high: float
    low_told: bool
    liquid_to_gas: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """How far the cylinder cools if nothing warms it.

    Attributes:
        phase: what is drawn.
        by_a_tenth: fall of its temperature for each first tenth drawn of what it holds [K].
        share_until_low: share of what it holds that comes before it is down to the low side [1].
        drawn: what is wanted of it [kg]; NaN if its content or the amount was not told.
        after: its temperature then [K]; NaN if it holds less or cools too far.
        pressure_after: in it then [Pa] absolute.
        enough: whether it holds what is wanted.
    """

    phase: Drawn
    by_a_tenth: float
    share_until_low: float
    drawn: float
    after: float
    pressure_after: float
    enough: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step, with the works whose cautions stand beside it."""

    text: str
    source: Source
    works: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """All that a charge needs.

    Attributes:
        job: what was asked.
        amount: None if no label was told.
        change: of refrigerant, or None.
        phase: how the refrigerant leaves the cylinder.
        push, cooling: of the cylinder.
        day: cold, warm, between (a maker that judges from 21 degC would not) or unknown.
        judge_from: ambient temperature from which performance says something [K].
        put_in, finish: steps.
    """

    job: Job
    amount: Amount | None
    change: Retrofit | None
    phase: Drawn
    push: Push
    cooling: Cooling
    day: Literal["cold", "between", "warm", "unknown"]
    judge_from: tuple[Number, ...]
    put_in: tuple[Step, ...]
    finish: tuple[Step, ...]


def plan(job: Job) -> Plan:
    """Work out a charge.

    Raises:
        RefusedError: a refrigerant that must not go in.
        InputError: figures that contradict each other, or a container above the refrigerant's critical temperature.
    """
    new, old = job.refrigerant, job.old
    vehicle = is_vehicle(job.system)
    if job.inside is not None and job.inside.id != new.id:
        refuse_mixing(job.inside, new)
    if old is None and vehicle and "cautions.no_hydrocarbon_in_vehicle" in new.sources:
        entry = facts("retrofit")["refusals"]["hydrocarbon_in_a_vehicle"]
        raise RefusedError(f"{new.title} must not go into a vehicle. {prose(entry)} [{source(entry)}]")
    change = None if old is None else retrofit(old, new, job.label, job.system)
    phase: Drawn = "liquid" if new.kind == "zeotrope" else "vapour"
    amount = _amount(job, change)
    push = _push(job)
    day, judge_from = _day(job.ambient, vehicle=vehicle)
    told = {
        "machine": "vehicle" if vehicle else "stationary",
        "phase": phase,
        "port": job.port or "unknown",
        "metering": job.metering or "unknown",
        "store": job.liquid_store or STORES.get(job.metering or "", "unknown"),
        "kind": new.kind,
        "job": "top_up" if not math.isnan(job.already) else "retrofit" if change else "new",
        "day": day,
    }
    data = facts("putting_in")
    return Plan(
        job=job,
        amount=amount,
        change=change,
        phase=phase,
        push=push,
        cooling=_cooling(job, phase, push, amount),
        day=day,
        judge_from=judge_from,
        put_in=_steps([*data["before"], *data["empty"], *data["vapour"], *data["end"]], told),
        finish=(
            *(Step(text, by) for text, by in (change.after if change else ())),
            *_steps(data["finish"], told),
        ),
    )


_SAME: Final = 1.02  # [1] a scale and what hoses keep make no difference of an overcharge


def _amount(job: Job, change: Retrofit | None) -> Amount | None:
    if math.isnan(job.label):
        return None
    if not job.label > 0.0:
        raise InputError("a label that asks for no refrigerant cannot be right; read it again, with its unit")
    already = 0.0 if math.isnan(job.already) else job.already
    start, stop = (change.start, change.stop) if change else (job.label, job.label)
    if already > _SAME * stop:
        raise InputError(
            "what is in it already is more than it may hold: too much raises the high side, floods the compressor and "
            "cools worse. Add nothing and do not run it; recover all of it, weigh it, and charge the right amount"
        )
    if already >= stop:
        raise InputError(
            "what is in it already is as much as it may hold: nothing is to be added; if that was weighed and it does "
            "not cool, twogauge diagnose looks for another cause"
        )
    temperature = _container(job)
    properties = properties_of(job.refrigerant)
    hoses = job.hoses if not math.isnan(job.hoses) else usual_hoses()
    return Amount(
        start=max(start - already, 0.0),
        stop=stop - already,
        most=stop,
        in_hoses_gas=float(properties.vapour_density(temperature)) * hoses,
        in_hoses_liquid=float(properties.liquid_density(temperature)) * hoses,
        hoses=hoses,
    )


def usual_hoses() -> float:
    """Return the volume of the hoses that fill, where nothing is said [m3]."""
    data = facts("putting_in")["hose"]
    return number(data["each"], Dimension.VOLUME).value * number(data["count"], Dimension.NUMBER).value


def _container(job: Job) -> float:
    if not math.isnan(job.container):
        return job.container
    return ROOM if math.isnan(job.ambient) else job.ambient


def _push(job: Job) -> Push:
    new, at = job.refrigerant, _container(job)
    pressure = float(new.saturation_pressure(at, "bubble"))
    limit = number(facts("cylinder")["warming"]["limit"], Dimension.TEMPERATURE)
    if math.isnan(pressure):
        where = f"{new.title} at the cylinder's {at - 273.15:.0f} degC"
        if at >= new.temperature_max("bubble"):
            critical = new.critical_temperature - 273.15
            raise InputError(
                f"{where} is too close to its critical temperature of {critical:.0f} degC, or above: what the cylinder "
                "pushes with cannot be told from it; give --cylinder-temperature, and see its maker's procedure"
            )
        raise InputError(
            f"{where} is colder than anything known of it here; check --cylinder-temperature and its unit"
        )
    evaporating = number(facts("putting_in")["running_low_side"], Dimension.TEMPERATURE).value
    low = float(new.saturation_pressure(evaporating, "dew")) if math.isnan(job.low) else job.low
    properties = properties_of(new)
    return Push(
        container=at,
        pressure=pressure,
        limit=limit,
        pressure_at_limit=float(new.saturation_pressure(limit.value, "bubble")),
        hottest=number(facts("cylinder")["fill"]["hottest"], Dimension.TEMPERATURE),
        low=low,
        high=job.high,
        low_told=not math.isnan(job.low),
        liquid_to_gas=float(properties.liquid_density(evaporating) / properties.vapour_density(evaporating)),
    )


def _cooling(job: Job, phase: Drawn, push: Push, amount: Amount | None) -> Cooling:
    bare = draw(job.refrigerant, 1.0, push.container, phase=phase)
    wanted = amount.stop if amount else math.nan
    known = not math.isnan(job.holds) and not math.isnan(wanted)
    after, pressure = math.nan, math.nan
    if known and wanted < job.holds:
        capacity = number(facts("cylinder")["warming"][SHELL], Dimension.NUMBER).value
        shell = 0.0 if math.isnan(job.tare) else job.tare * capacity
        after, pressure = draw(job.refrigerant, job.holds, push.container, phase=phase, shell=shell).after(wanted)
    return Cooling(
        phase=phase,
        by_a_tenth=push.container - bare.after(TENTH)[0],
        share_until_low=bare.until(push.low),
        drawn=wanted if known else math.nan,
        after=after,
        pressure_after=pressure,
        enough=not known or wanted < job.holds,
    )


def _day(
    ambient: float, *, vehicle: bool
) -> tuple[Literal["cold", "between", "warm", "unknown"], tuple[Number, ...]]:
    data = facts("putting_in")["cold"]
    keys = ("judge_from", "judge_surely_from") if vehicle else ("judge_stationary_from",)
    limits = tuple(number(data[key], Dimension.TEMPERATURE) for key in keys)
    if math.isnan(ambient):
        return "unknown", limits
    if ambient < limits[0].value:
        return "cold", limits
    return ("between" if ambient < limits[-1].value else "warm"), limits


def _steps(entries: Iterable[Mapping[str, Any]], told: Mapping[str, str]) -> tuple[Step, ...]:
    return tuple(
        Step(prose(entry), source(entry), _listed(entry.get("works", [])))
        for entry in entries
        if all(told[key] in _listed(allowed) for key, allowed in entry.get("when", {}).items())
    )


def _listed(allowed: object) -> tuple[str, ...]:
    return tuple(str(each) for each in allowed) if isinstance(allowed, list) else (str(allowed),)
