"""A whole job as steps with the figures of the machine at hand: what the packs say, filled in by the service modules."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from twogauge.columns import may_apply
from twogauge.diagnosis import Warned, diagnose
from twogauge.errors import InputError, UnknownNameError
from twogauge.expect import expect
from twogauge.fields import DEFAULT_SYSTEM
from twogauge.packs.words import PLAN_VALUES
from twogauge.quantities import PA_PER_INHG, STANDARD_ATMOSPHERE, Dimension, UnitSet, show, show_gauge, show_mass
from twogauge.reading import Reading
from twogauge.refrigerants import Refrigerant
from twogauge.service import charge as charging
from twogauge.service.cautions import cautions_concerning
from twogauge.service.oil import oil
from twogauge.service.plan_commands import with_told
from twogauge.service.plan_criteria import Choice, choices
from twogauge.service.plan_steps import NAMED, TEXTS, in_order
from twogauge.service.retrofit import refuse
from twogauge.service.water import TRIPLE_TEMPERATURE, saturation_pressure

if TYPE_CHECKING:
    from twogauge.packs.compile import Program

# The part that holds the drier, by what is known of the circuit (common practice).
_DRIER: Final = {
    "accumulator": "accumulator",
    "receiver": "receiver",
    "orifice_tube": "accumulator",
    "expansion_valve": "receiver",
}
_WORDS: Final = ("system", "metering", "liquid_store", "compressor_control")


@dataclass(frozen=True)
class Conditions:
    """What is known of the machine and the day; NaN, None or "" where nothing was said.

    Attributes:
        refrigerant: what is in it, or goes in.
        old: what a retrofit takes out.
        label: charge on the label [kg].
        label_text: the same as it was written.
        ambient: [K]
        ambient_text: the same as it was written.
        humidity: relative [1].
        barometer: pressure of the air [Pa].
        air_told: whether anybody said anything about that.
        words: of a reading, such as system and metering.
        job: file of the job sheet.
        units: the reader's.
        told: option of the command line without its dashes -> its values as they were given, for commands to type.
    """

    refrigerant: Refrigerant | None = None
    old: Refrigerant | None = None
    label: float = math.nan
    label_text: str = ""
    ambient: float = math.nan
    ambient_text: str = ""
    humidity: float = math.nan
    barometer: float = STANDARD_ATMOSPHERE
    air_told: bool = False
    words: Mapping[str, str] | None = None
    job: str = ""
    units: UnitSet = UnitSet.US
    told: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One step with its figures.

    Attributes:
        id: in the plan.
        do, why, passes: sentences; `passes` may be "".
        command: what to type for its numbers, or "".
        record: what to type to keep it in the job sheet, or "".
        criteria: which one counts for its tests, and beside which others.
        cautions: beside it, each only at the first step that has it and applies, or has it where none that applies does.
        source: who says so.
        done: ticked in the job sheet.
        not_applicable: why it was ticked as one that does not apply, or "".
    """

    id: str
    do: str
    why: str
    passes: str
    command: str
    record: str
    criteria: tuple[Choice, ...]
    cautions: tuple[Warned, ...]
    source: str
    done: bool
    not_applicable: str = ""


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with its figures.

    Attributes:
        id, title, about: as in the packs.
        steps: in order, those for another kind of machine left out.
        known: value -> text, those that were filled in.
        source: where the order comes from.
        notes: (pack, why) of each pack that changed it.
    """

    id: str
    title: str
    about: str
    steps: tuple[PlannedStep, ...]
    known: Mapping[str, str]
    source: str
    notes: tuple[tuple[str, str], ...]


def plan_id(name: str, program: Program) -> str:
    """Return the id of a plan, also where a hyphen was written.

    Raises:
        UnknownNameError: there is no such plan.
    """
    folded = name.strip().casefold().replace("-", "_")
    plans = program.stack.plans
    if folded not in plans:
        raise UnknownNameError("plan", name, plans, hint=f"write one of {', '.join(plans)}")
    return folded


def takes_out_another(entry: Any) -> bool:
    """Tell whether a plan speaks of an old refrigerant, so that the label of the machine names that one.

    Args:
        entry: of the section `plans`.
    """
    texts = [getattr(step, key) or "" for step in entry.steps.values() for key in TEXTS]
    return any("old_refrigerant" in NAMED.findall(text) for text in texts)


def planned(
    name: str,
    conditions: Conditions,
    program: Program,
    done: Iterable[str] = (),
    not_applicable: Mapping[str, str] | None = None,
) -> Planned:
    """Fill a plan in.

    Args:
        name: of the plan.
        conditions: what is known.
        program: the rules in force.
        done: steps that were ticked.
        not_applicable: step -> why it was ticked as one that does not apply.

    Raises:
        UnknownNameError: there is no such plan.
        InputError: figures that cannot be, or a change of refrigerant that must not be made.
    """
    stack = program.stack
    if conditions.old is not None and conditions.refrigerant is not None:
        refuse(conditions.old, conditions.refrigerant, dict(conditions.words or {}).get("system", DEFAULT_SYSTEM))
    loaded = stack.plans[plan_id(name, program)]
    known = values(conditions, program)
    words = dict(conditions.words or {})
    ticked, warned = set(done), set[str]()
    steps = []
    todo = [
        (ident, step)
        for ident, step in in_order(loaded.entry.steps)
        if step.left_out != "yes" and may_apply(words, step.applies_to)
    ]
    inapplicable = dict(not_applicable or {})
    elsewhere = {name for ident, step in todo if ident not in inapplicable for name in step.cautions}
    for ident, step in todo:
        left = inapplicable.get(ident, "")
        names = [each for each in step.cautions if each not in warned and not (left and each in elsewhere)]
        told = cautions_concerning(names, stack, _concerned(step, conditions), words.get("system"))
        warned.update(each.caution for each in told)
        steps.append(
            PlannedStep(
                id=ident,
                do=_filled(step.do, known),
                why=_filled(step.why, known),
                passes=_filled(step.passes or "", known),
                command=with_told(_filled(step.command or "", known), conditions.told),
                record=_filled(step.record or "", known),
                criteria=tuple(each for test in step.criteria for each in choices(stack, test, words.get("system"))),
                cautions=told,
                source=_source(step.source),
                done=ident in ticked,
                not_applicable=left,
            )
        )
    entry = loaded.entry
    return Planned(
        loaded.id, entry.title, _filled(entry.about, known), tuple(steps), known, _source(entry.source), loaded.notes
    )


def _concerned(step: Any, c: Conditions) -> list[Refrigerant | None]:
    """Return what is worked with in a step: what goes out, what goes in, or both, by which of them it names."""
    if c.old is None:
        return [c.refrigerant]
    named = {name for key in TEXTS for name in NAMED.findall(getattr(step, key) or "")}
    of_old, of_new = bool(named & {"old_refrigerant", "old_id"}), bool(named & {"refrigerant", "id"})
    if of_old != of_new:
        return [c.old if of_old else c.refrigerant]
    return [c.refrigerant, c.old]


def _filled(text: str, known: Mapping[str, str]) -> str:
    return NAMED.sub(lambda match: known.get(match[1], PLAN_VALUES.get(match[1], match[0])), text)


def _source(source: Any) -> str:
    return "; ".join(dict.fromkeys(t for t in (source.numbers, source.weights, source.facts) if t))


# -- the values -----------------------------------------------------------------------------------------------------


def values(conditions: Conditions, program: Program) -> dict[str, str]:
    """Return the values of PLAN_VALUES that are known, as text in the reader's units.

    Args:
        conditions: what is known.
        program: the rules in force, for what is usual today.

    Raises:
        InputError: figures that cannot be, or a change of refrigerant that must not be made.
    """
    c = conditions
    if c.label <= 0.0:
        raise InputError("a label that asks for no refrigerant cannot be right; read it again, with its unit")
    known: dict[str, str] = {}
    _of_refrigerants(c, known)
    if c.air_told:
        known["perfect_vacuum"] = dial_vacuum(c.barometer, c)
    if not math.isnan(c.ambient):
        known["ambient"] = show(c.ambient, Dimension.TEMPERATURE, c.units)
        known["air"] = shlex.quote(c.ambient_text or known["ambient"].replace(" ", ""))
        boiling = dial_vacuum(c.barometer - float(saturation_pressure(c.ambient)), c)
        known["boiling_vacuum"] = boiling if c.air_told else f"{boiling} at sea level"
        known["water_boils"] = (
            f"water boils at {known['ambient']} once it shows {known['boiling_vacuum']}"
            if c.ambient >= TRIPLE_TEMPERATURE
            else f"at {known['ambient']} water is ice, which hardly leaves: warm the machine above freezing first"
        )
    if not math.isnan(c.label):
        known["label_charge"] = show_mass(c.label, c.units)
        known["label"] = shlex.quote(c.label_text or known["label_charge"])
    words = dict(c.words or {})
    drier = _DRIER.get(words.get("liquid_store", ""), _DRIER.get(words.get("metering", ""), ""))
    if drier:
        known["drier"] = drier
    if c.job:
        known["job"] = shlex.quote(c.job)
    _of_charge(c, known)
    _of_today(c, program, known)
    return known


def _of_refrigerants(c: Conditions, known: dict[str, str]) -> None:
    for refrigerant, name, ident, standing in (
        (c.refrigerant, "refrigerant", "id", "standing"),
        (c.old, "old_refrigerant", "old_id", "old_standing"),
    ):
        if refrigerant is None:
            continue
        known[name], known[ident] = refrigerant.title, refrigerant.id
        pressure = (
            float(refrigerant.saturation_pressure(c.ambient, "bubble")) if not math.isnan(c.ambient) else math.nan
        )
        if not math.isnan(pressure):
            known[standing] = show_gauge(pressure, c.barometer, c.units)
    if c.refrigerant is not None and "standing" in known:
        known["cylinder_pressure"] = known["standing"]
    if c.old is not None:
        known["old_oil"] = f"the old {' or '.join(oil(c.old).kinds)}"


def _of_charge(c: Conditions, known: dict[str, str]) -> None:
    if c.refrigerant is None:
        return
    words = dict(c.words or {})
    job = charging.Job(
        refrigerant=c.refrigerant,
        label=c.label,
        old=c.old if c.old is not None and not math.isnan(c.label) else None,
        system=words.get("system", DEFAULT_SYSTEM),
        metering=words.get("metering"),
        liquid_store=words.get("liquid_store"),
        ambient=c.ambient,
        barometer=c.barometer,
    )
    if c.ambient >= c.refrigerant.critical_temperature:  # then the cylinder cannot be judged, and the rest can
        return
    amount = charging.plan(job).amount
    if amount is None:
        return
    start, stop = show_mass(amount.start, c.units), show_mass(amount.stop, c.units)
    known["charge"] = start if start == stop else f"{start} to {stop}"
    gas, liquid = show_mass(amount.in_hoses_gas, c.units), show_mass(amount.in_hoses_liquid, c.units)
    known["in_hoses"] = f"{gas} as gas, {liquid} if they are left full of liquid"


def _of_today(c: Conditions, program: Program, known: dict[str, str]) -> None:
    if c.refrigerant is None or math.isnan(c.ambient):
        return
    told: dict[str, object] = {
        "refrigerant": c.refrigerant.id,
        "ambient": f"{c.ambient} K",
        "barometer": f"{c.barometer} Pa",
        **{key: word for key, word in (c.words or {}).items() if key in _WORDS},
    }
    if not math.isnan(c.humidity):
        told["humidity"] = f"{100.0 * c.humidity} %"
    today = Reading(told)
    shut = [gate for gate in diagnose(today, program=program).gates if gate.degree >= 0.5]
    if shut:
        known["usual_today"] = f"{shut[0].title}: what is usual says nothing today. {shut[0].instead}".rstrip(".")
        return
    found = {each.name: each for each in expect(today, program).expected}
    for name, key in (("low_side", "low_today"), ("high_side", "high_today"), ("vent_air", "vent_today")):
        if name in found and not math.isnan(found[name].low + found[name].high):
            low, high = found[name].low, found[name].high
            known[key] = _between(_shower(c, found[name].dimension), low, high)
    names = (("low_today", "low side"), ("high_today", "high side"), ("vent_today", "vents"))
    usual = ", ".join(f"{name} {known[key]}" for key, name in names if key in known)
    if usual:
        known["usual_today"] = f"Usual today: {usual}"


def _shower(c: Conditions, dimension: Dimension) -> Callable[[float], str]:
    digits = 1 if c.units is UnitSet.METRIC else 0
    if dimension is Dimension.PRESSURE:
        return lambda value: show_gauge(value, c.barometer, c.units, digits)
    return lambda value: show(value, dimension, c.units, 0)


def _between(shower: Callable[[float], str], low: float, high: float) -> str:
    first, second = shower(low), shower(high)
    number, _, unit = first.partition(" ")
    return f"{number} to {second}" if second.endswith(f" {unit}") else f"{first} to {second}"


def dial_vacuum(below_air: float, c: Conditions) -> str:
    """Return what a dial shows so far below the air.

    Args:
        below_air: [Pa]
        c: for the units.
    """
    if c.units is UnitSet.US:
        return f"{below_air / PA_PER_INHG:.1f} inHg"
    return show(-below_air, Dimension.PRESSURE_DIFFERENCE, c.units)
