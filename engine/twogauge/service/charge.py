"""Putting refrigerant in: how much by the scale, how, whether the cylinder can push it, and how far that cools it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final, Literal

from twogauge.errors import InputError
from twogauge.quantities import Dimension
from twogauge.refrigerants.properties import properties_of
from twogauge.service.charge_parts import Amount, Job, Plan, Step
from twogauge.service.draw import Drawn
from twogauge.service.facts import Number, facts, number, prose, source
from twogauge.service.law import law_for
from twogauge.service.push import container_of, cooling_of, push_of
from twogauge.service.retrofit import (
    RefusedError,
    Retrofit,
    is_vehicle,
    refuse_mixing,
    retrofit,
)

__all__ = ["Job", "plan", "usual_hoses"]

# Where spare refrigerant waits, unless it is told (common practice).
STORES: Final = {"orifice_tube": "accumulator", "expansion_valve": "receiver", "capillary": "none"}
MOST_HOSES: Final = 5e-3  # [m3] no set of hoses holds more (common practice)
SIDES_APART: Final = 0.05  # of the low side [1]: what two gauges of a system at rest may differ by


def plan(job: Job) -> Plan:
    """Work out a charge.

    Raises:
        RefusedError: a refrigerant that must not go in.
        InputError: figures that contradict each other, or a container above the refrigerant's critical temperature.
    """
    _refuse_figures(job)
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
    push = push_of(job)
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
        "drive": job.drive,
        "inside": "yes" if job.inside is not None and math.isnan(job.already) else "no",
    }
    data = facts("putting_in")
    return Plan(
        job=job,
        amount=amount,
        change=change,
        phase=phase,
        push=push,
        cooling=cooling_of(job, phase, push, amount),
        day=day,
        judge_from=judge_from,
        put_in=_steps([*data["before"], *data["empty"], *data["vapour"], *data["end"]], told),
        finish=(
            *(Step(text, by) for text, by in (change.after if change else ())),
            *_steps(data["finish"], told),
        ),
        odd_label=_odd_label(job),
        law=law_for("vehicle" if vehicle else "stationary"),
    )


def _refuse_figures(job: Job) -> None:
    """Refuse figures that cannot be, whatever is charged."""
    if job.hoses <= 0.0 or job.hoses > MOST_HOSES:
        raise InputError(
            "hose-volume: hoses hold more than nothing and no more than 5 L (1.3 gal); leave it out for two of 50 mL"
        )
    if job.holds <= 0.0:
        raise InputError(
            "cylinder-holds: an empty cylinder charges nothing; write what its scale shows, less its tare"
        )
    if job.low > job.high * (1.0 + SIDES_APART):
        raise InputError("--low is above --high: they are the wrong way round, or one gauge is wrong")


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
    temperature = container_of(job)
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


def _odd_label(job: Job) -> bool:
    """Tell whether such a machine hardly has such a charge."""
    usual = facts("putting_in")["usual_label"].get(job.system)
    if usual is None or math.isnan(job.label):
        return False
    low, high = (number(usual, Dimension.MASS, key).value for key in ("low", "high"))
    return not low <= job.label <= high


def usual_hoses() -> float:
    """Return the volume of the hoses that fill, where nothing is said [m3]."""
    data = facts("putting_in")["hose"]
    return number(data["each"], Dimension.VOLUME).value * number(data["count"], Dimension.NUMBER).value


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
        Step(
            prose(entry),
            source(entry),
            _listed(entry.get("works", [])),
            prose(entry, "brief") if "brief" in entry else "",
        )
        for entry in entries
        if all(told[key] in _listed(allowed) for key, allowed in entry.get("when", {}).items())
    )


def _listed(allowed: object) -> tuple[str, ...]:
    return tuple(str(each) for each in allowed) if isinstance(allowed, list) else (str(allowed),)
