"""A plan for a person, as a list to be ticked, and as JSON.

`twogauge.plan/1`: {schema, plan, title, about, source, known {value: text}, notes [{pack, note}], steps [{step, do, why,
passes, command, record, done, criteria [{criterion, title, source, ours}], cautions, source}]}; a text that does not
exist is null. `twogauge.plans/1`: {schema, plans [{plan, title, about, steps}]}, of which steps is their number.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from twogauge.output.paper import Paper, caution_document
from twogauge.output.style import Style
from twogauge.service.criteria import Criterion
from twogauge.service.facts import Source
from twogauge.service.plan import Conditions, Planned, PlannedStep, dial_vacuum
from twogauge.service.plan_commands import with_told
from twogauge.service.plan_steps import in_order

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
                "criteria": [
                    {"criterion": c.id, "title": c.title, "source": c.source, "ours": c.ours} for c in each.criteria
                ],
                "cautions": [caution_document(caution) for caution in each.cautions],
                "source": each.source,
            }
            for each in found.steps
        ],
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


def list_as_text(stack: Stack, style: Style) -> str:
    """Return the plans in force, as lines."""
    page = Paper(style)
    page.answer("Plans: twogauge plan PLAN prints one")
    page.rows([(loaded.id, f"{loaded.entry.title}. {loaded.entry.about}") for loaded in stack.plans.values()])
    return page.text()


def as_text(found: Planned, style: Style, conditions: Conditions, *, verbose: bool) -> str:
    """Return what a person reads.

    Args:
        found: the plan.
        style: how to print.
        conditions: what was known of the machine.
        verbose: cautions in full, and every source.
    """
    page = Paper(style, verbose=verbose)
    page.answer(found.title)
    page.say(found.about)
    job = found.known.get("job", "JOB.yaml")
    done = sum(each.done for each in found.steps)
    if conditions.job:
        page.say(f"{done} of {len(found.steps)} steps are done in {conditions.job}.")
    for count, step in enumerate(found.steps, start=1):
        _step(page, count, step, conditions, job)
    page.head("To keep it")
    page.command("Tick a step:", with_told(f"twogauge job add {job} step {found.id} STEP", conditions.told))
    page.source(Source(found.source, "read"), "  ")
    for pack, note in found.notes:
        page.note(f"Changed by {pack}: {note}")
    missing = [
        name
        for name, known in (
            ("--refrigerant", "refrigerant"),
            ("--label", "label_charge"),
            ("--ambient", "ambient"),
        )
        if known not in found.known
    ]
    if missing:
        page.note(f"With {', '.join(missing)} more figures are filled in.")
    return page.text()


def _step(page: Paper, count: int, step: PlannedStep, conditions: Conditions, job: str) -> None:
    page.head(f"[{'x' if step.done else ' '}] {count}. {step.id}")
    page.say(step.do)
    page.say(f"Why: {step.why}")
    if step.passes:
        page.say(f"Passes: {step.passes}")
    for criterion in step.criteria:
        ours = " (ours)" if criterion.ours else ""
        page.item("- ", f"{criterion.title}{ours}{_here(criterion, conditions)}", Source(criterion.source, "read"))
    if step.command:
        page.command("Type:", step.command)
    if step.record and not step.done:
        page.command("Keep:", with_told(f"twogauge job add {job} {step.record}", conditions.told))
    page.source(Source(step.source, "read"), "  ")
    page.care(step.cautions)


def _here(criterion: Criterion, conditions: Conditions) -> str:
    """Return what a vacuum to be reached shows on a dial at this altitude."""
    if math.isnan(criterion.reaches) or criterion.gauge != "dial" or not conditions.air_told:
        return ""
    return f": {dial_vacuum(conditions.barometer - criterion.reaches, conditions)} here"
