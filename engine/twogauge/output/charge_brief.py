"""A charge on one screen: the figures, the way in a few lines, and every caution; the rest stands in output/charge.py."""

from __future__ import annotations

import math

from twogauge.output.charge import Care, Page, works_of
from twogauge.output.paper import Paper
from twogauge.quantities import UnitSet
from twogauge.service.charge_parts import Plan


def write_brief(paper: Paper, plan: Plan, units: UnitSet, care: Care) -> None:
    """Write the short form of a charge.

    Args:
        paper: to write on.
        plan: the charge.
        units: the reader's.
        care: the cautions beside some works.
    """
    page = Page(plan, paper, units, care)
    page.amount()
    if plan.change is not None:
        if not plan.change.published:
            paper.say("No published guidance for this pair is known here: ask the maker.")
        paper.say(f"What must change: {'; '.join(plan.change.in_brief)}.")
    paper.steps((f"{each.brief[0].upper()}{each.brief[1:]}.", None) for each in plan.put_in if each.brief)
    paper.say(_pushes(page))
    paper.say(_judged(page))
    of_change = care(("retrofit",)) if plan.change is not None else ()
    paper.care((*of_change, *care(("charge", *works_of(plan.put_in), "warm_container"))))
    paper.grade(plan.job.refrigerant)
    paper.note("why, by whom, and what the law of some places asks for: the same without --brief")


def _pushes(page: Page) -> str:
    push = page.plan.push
    held = f"The cylinder at {page.temperature(push.container)} holds {page.gauge(push.pressure)}"
    against = f"against {page.gauge(push.low)} on the low side"
    if push.container > push.hottest.value:
        return f"{held}: far too warm, cool it with water before it is connected."
    warm = f"warm it in water of no more than {page.temperature(push.limit.value)}, never with a flame"
    if push.pressure > push.low:
        return f"{held} {against}: it flows; if it slows down, {warm}."
    return f"{held} {against}: nothing flows in; {warm}."


def _judged(page: Page) -> str:
    plan = page.plan
    end = " ".join(f"{each.brief[0].upper()}{each.brief[1:]}." for each in plan.finish if each.brief)
    if plan.day == "cold":
        least = page.temperature(plan.judge_from[0].value)
        return f"Colder than {least}: by weight alone, judge it on a warm day. {end}"
    if math.isnan(plan.job.ambient):
        return f"Judge it only in air of {page.temperature(plan.judge_from[-1].value)} or warmer. {end}"
    return end
