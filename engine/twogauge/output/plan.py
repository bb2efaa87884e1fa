"""A plan for a person, as a list to be ticked, and as JSON.

`twogauge.plan/1`: {schema, plan, title, about, source, known {value: text}, notes [{pack, note}], steps [{step, do,
why, passes, command, record, done, not_applicable, criteria [{criterion, title, gauge, source, ours, default, why}],
cautions, source}]}; a text that does not exist is null. `twogauge.plans/1`: {schema, plans [{plan, title, about,
steps}]}, of which steps is their number.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from twogauge.output.paper import Paper, Table, caution_document, first_source
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension, UnitSet, show
from twogauge.service.criteria import Criterion
from twogauge.service.facts import Source
from twogauge.service.plan import Conditions, Planned, PlannedStep, dial_vacuum
from twogauge.service.plan_commands import with_told
from twogauge.service.plan_criteria import Choice
from twogauge.service.plan_steps import in_order
from twogauge.service.water import saturation_pressure

if TYPE_CHECKING:
    from twogauge.packs.in_force import Stack

SCHEMA: Final = "twogauge.plan/1"
LIST_SCHEMA: Final = "twogauge.plans/1"


def document(found: Planned) -> dict[str, Any]:
    """Return the document as dicts, lists and texts."""
    return {
        "schema": SCHEMA,
        "plan": found.id,
        "title": found.title,
        "about": found.about,
        "source": found.source,
        "known": dict(found.known),
        "notes": [{"pack": pack, "note": note} for pack, note in found.notes],
        "steps": [
            {
                "step": each.id,
                "do": each.do,
                "why": each.why,
                "passes": each.passes or None,
                "command": each.command or None,
                "record": each.record or None,
                "done": each.done,
                "not_applicable": each.not_applicable or None,
                "criteria": [
                    _criterion_document(criterion, choice)
                    for choice in each.criteria
                    for criterion in (choice.criterion, *choice.others)
                ],
                "cautions": [caution_document(caution) for caution in each.cautions],
                "source": each.source,
            }
            for each in found.steps
        ],
    }


def _criterion_document(criterion: Criterion, choice: Choice) -> dict[str, Any]:
    default = criterion is choice.criterion
    return {
        "criterion": criterion.id,
        "title": criterion.title,
        "gauge": criterion.gauge,
        "source": criterion.source,
        "ours": criterion.ours,
        "default": default,
        "why": choice.why or None if default else None,
    }


def list_document(stack: Stack) -> dict[str, Any]:
    """Return the document of all plans."""
    plans = [
        {
            "plan": loaded.id,
            "title": loaded.entry.title,
            "about": loaded.entry.about,
            "steps": len(in_order(loaded.entry.steps)),
        }
        for loaded in stack.plans.values()
    ]
    return {"schema": LIST_SCHEMA, "plans": plans}


def write_list(page: Paper, stack: Stack) -> None:
    """Write the plans in force."""
    page.answer("Plans", "twogauge plan PLAN prints one")
    plans = list(stack.plans.values())
    page.rows(
        Table(
            "Plans",
            [(each.id, f"{each.entry.title}. {each.entry.about}") for each in plans],
            ("plan", "what it is for"),
            commands=[f"twogauge plan {each.id}" for each in plans],
        )
    )


def write(page: Paper, found: Planned, conditions: Conditions, ticked_in: str = "") -> None:
    """Write what a person reads.

    Args:
        page: to write on.
        found: the plan.
        conditions: what was known of the machine.
        ticked_in: the job sheet, as a person calls it; "" without one.
    """
    page.answer(found.title)
    page.say(found.about)
    job = found.known.get("job", "JOB.yaml")
    done = sum(each.done for each in found.steps)
    if ticked_in:
        left = sum(bool(each.not_applicable) for each in found.steps)
        also = "" if not left else ", 1 does not apply" if left == 1 else f", {left} do not apply"
        page.say(f"{done} of {len(found.steps)} steps are done in {ticked_in}{also}.")
    for count, step in enumerate(found.steps, start=1):
        _step(page, count, step, conditions, job)
    page.head("To keep it")
    tick = with_told(f"twogauge job add {job} step {found.id} STEP", conditions.told)
    page.command("Tick a step:", tick)
    page.command("One that does not apply:", f"{tick} --not-applicable REASON")
    page.source(Source(found.source, "read"), "  ")
    for pack, note in found.notes:
        page.note(f"Changed by {pack}: {note}")
    untold = (
        ("--refrigerant", "refrigerant" not in found.known),
        ("--label", "label_charge" not in found.known),
        ("--ambient", "ambient" not in found.known),
        ("--altitude", not conditions.air_told),
        ("--system", not (conditions.words or {}).get("system")),
    )
    missing = [option for option, is_missing in untold if is_missing]
    if missing:
        page.note(f"With {', '.join(missing)} more is filled in, and less that does not concern it stands here.")


def _step(page: Paper, count: int, step: PlannedStep, conditions: Conditions, job: str) -> None:
    page.task(count, step.id, "x" if step.done else "-" if step.not_applicable else " ")
    if step.not_applicable:
        page.say(f"Not applicable: {step.not_applicable}")
        page.care(step.cautions)
        return
    page.say(step.do)
    page.say(f"Why: {step.why}")
    if step.passes:
        page.say(f"Passes: {step.passes}")
    for choice in step.criteria:
        _choice(page, choice, conditions)
    if step.command:
        page.command("Type:", step.command)
    if step.record and not step.done:
        page.command("Keep:", with_told(f"twogauge job add {job} {step.record}", conditions.told))
    page.source(Source(step.source, "read"), "  ")
    page.care(step.cautions)


_WITH: Final = {"any": "", "dial": " on a dial", "vacuum_gauge": " on a vacuum gauge"}


def _choice(page: Paper, choice: Choice, conditions: Conditions) -> None:
    chosen = choice.criterion
    lead = f"By default{_WITH[chosen.gauge]}: " if choice.others else ""
    text = f"{lead}{chosen.title}{_here(chosen, conditions)}{_too_little(chosen, conditions)}"
    page.item("- ", text, Source(chosen.source, "read"))
    if not _boils(chosen, conditions):
        page.say("So go by a vacuum gauge, or warm the machine first: at this vacuum water stays inside.", "    ")
    dry = _boils(chosen, conditions)
    others = "; ".join(
        f"{each.title}{_here(each, conditions)}{_too_little(each, conditions) if dry else ''}{_by(each)}"
        for each in choice.others
    )
    why = f"{choice.why[:1].upper()}{choice.why[1:]}. " if choice.why else ""
    if why or others:
        page.say(f"{why}Others: {others}." if others else why.strip(), "    ")


def _by(criterion: Criterion) -> str:
    name = first_source(criterion.source)
    return f" ({name})" if name else ""


def _here(criterion: Criterion, conditions: Conditions) -> str:
    """Return what a vacuum to be reached shows on a dial at this altitude, in the reader's unit."""
    if math.isnan(criterion.reaches) or criterion.gauge != "dial":
        return ""
    if conditions.air_told:
        return f": {dial_vacuum(conditions.barometer - criterion.reaches, conditions)} here"
    if conditions.units is not UnitSet.US:
        return f" ({dial_vacuum(STANDARD_ATMOSPHERE - criterion.reaches, conditions)})"
    return ""


def _boils(criterion: Criterion, conditions: Conditions) -> bool:
    """Tell whether water boils in the vacuum of a criterion at the temperature of the air, as far as that is known."""
    return not criterion.reaches > float(saturation_pressure(conditions.ambient))


def _too_little(criterion: Criterion, conditions: Conditions) -> str:
    if _boils(criterion, conditions):
        return ""
    return f", too little to boil water at {show(conditions.ambient, Dimension.TEMPERATURE, conditions.units)}"
