"""A charge for a person, the figure first, and as JSON.

`twogauge.charge/1`: {schema, refrigerant, grade, label_kg, amount {start_kg, stop_kg, most_kg, in_hoses_gas_kg,
in_hoses_liquid_kg, hoses_m3} or null, retrofit {from, methods [{title, low_kg, high_kg, counts, note, source,
standing}], start_kg, stop_kg, published, pressure_ratio, checklist [{text, source, standing}], notes} or null, phase,
push {container_K, pressure_Pa, limit_K, pressure_at_limit_Pa, low_Pa, low_told, high_Pa, liquid_to_gas}, cooling
{by_a_tenth_K, share_until_low, drawn_kg, after_K, pressure_after_Pa, enough}, day, judge_from_K, put_in [{text,
source, standing}], finish, law [{place, text, source, standing}], odd_label, profile or null, drive, cautions}. All
SI, pressures absolute, null where a number is not known.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.output.paper import Paper, Table, caution_document, number_or_none, source_document
from twogauge.quantities import Dimension, UnitSet, show, show_gauge, show_mass, to_unit
from twogauge.service.charge_parts import Job, Plan, Step
from twogauge.service.facts import Source, facts, prose, source
from twogauge.service.retrofit import Retrofit

SCHEMA: Final = "twogauge.charge/1"

Care = Callable[[Sequence[str]], tuple[Warned, ...]]


def document(plan: Plan, cautions: Iterable[Warned]) -> dict[str, Any]:
    """Return the JSON of a charge."""
    push, cooling = plan.push, plan.cooling
    amount = plan.amount
    return {
        "schema": SCHEMA,
        "refrigerant": plan.job.refrigerant.id,
        "grade": plan.job.refrigerant.grade,
        "label_kg": number_or_none(plan.job.label),
        "amount": None
        if amount is None
        else {
            "start_kg": number_or_none(amount.start),
            "stop_kg": number_or_none(amount.stop),
            "most_kg": number_or_none(amount.most),
            "in_hoses_gas_kg": number_or_none(amount.in_hoses_gas),
            "in_hoses_liquid_kg": number_or_none(amount.in_hoses_liquid),
            "hoses_m3": number_or_none(amount.hoses, 8),
        },
        "retrofit": None if plan.change is None else _change_document(plan.change),
        "phase": plan.phase,
        "push": {
            "container_K": number_or_none(push.container, 3),
            "pressure_Pa": number_or_none(push.pressure, 1),
            "limit_K": push.limit.value,
            "pressure_at_limit_Pa": number_or_none(push.pressure_at_limit, 1),
            "low_Pa": number_or_none(push.low, 1),
            "low_told": push.low_told,
            "high_Pa": number_or_none(push.high, 1),
            "liquid_to_gas": number_or_none(push.liquid_to_gas, 2),
        },
        "cooling": {
            "by_a_tenth_K": number_or_none(cooling.by_a_tenth, 3),
            "share_until_low": number_or_none(cooling.share_until_low, 4),
            "drawn_kg": number_or_none(cooling.drawn),
            "after_K": number_or_none(cooling.after, 3),
            "pressure_after_Pa": number_or_none(cooling.pressure_after, 1),
            "enough": cooling.enough,
        },
        "day": plan.day,
        "judge_from_K": [each.value for each in plan.judge_from],
        "put_in": [_sourced(step.text, step.source) for step in plan.put_in],
        "finish": [_sourced(step.text, step.source) for step in plan.finish],
        "law": [{"place": each.place, **_sourced(each.text, each.source)} for each in plan.law],
        "odd_label": plan.odd_label,
        "profile": plan.job.profile or None,
        "drive": plan.job.drive,
        "cautions": [caution_document(each) for each in cautions],
    }


def _change_document(change: Retrofit) -> dict[str, Any]:
    return {
        "from": change.old.id,
        "methods": [
            {
                "title": method.title,
                "low_kg": number_or_none(method.low),
                "high_kg": number_or_none(method.high),
                "counts": method.counts,
                "note": method.note,
                **source_document(method.source),
            }
            for method in change.methods
        ],
        "start_kg": number_or_none(change.start),
        "stop_kg": number_or_none(change.stop),
        "published": change.published,
        "pressure_ratio": number_or_none(change.pressure_ratio, 4),
        "checklist": [_sourced(text, by) for text, by in change.checklist],
        "notes": [_sourced(text, by) for text, by in change.notes],
    }


def _sourced(text: str, by: Source) -> dict[str, Any]:
    return {"text": text, **source_document(by)}


def write(paper: Paper, plan: Plan, units: UnitSet, care: Care) -> None:
    """Write what a person reads about a charge.

    Args:
        paper: to write on.
        plan: the charge.
        units: the reader's.
        care: the cautions beside some works.
    """
    page = Page(plan, paper, units, care)
    page.amount()
    if plan.change is not None:
        page.methods(plan.change)
        page.checklist(plan.change)
    page.put_in()
    page.cylinder()
    page.finish()
    page.law()
    paper.grade(plan.job.refrigerant)
    paper.note("each caution in full and every source: --verbose")


class Page:
    """The parts of a printed charge, in the order in which they are read.

    Args:
        plan: the charge.
        paper: to print on.
        units: the reader's.
        care: the cautions beside some works.
    """

    def __init__(self, plan: Plan, paper: Paper, units: UnitSet, care: Care) -> None:
        self.plan, self.paper, self.units, self.care = plan, paper, units, care
        self.name = plan.job.refrigerant.title

    def amount(self) -> None:
        """Begin with how much goes in, and what the scale shows."""
        amount, change, paper = self.plan.amount, self.plan.change, self.paper
        if amount is None:
            paper.answer(f"How much {self.name}: what the label says, by weight; no gauge tells it")
            paper.say("Give --label with its unit, and the scale reading follows.")
            return
        stop = self.mass(amount.stop)
        on_top = "" if math.isnan(self.plan.job.already) else f" on top of {self.mass(self.plan.job.already)}"
        if change is None:
            paper.answer(f"Charge {stop} of {self.name}{on_top}")
        else:
            sure = "" if change.published else "An estimate only: "
            begin = f"start with {self.mass(amount.start)}" if amount.start > 0 else "go on with an ounce at a time"
            sentence = f"{sure}{begin} of {self.name}{on_top}, finish by performance, stop at {stop}"
            paper.answer(sentence[0].upper() + sentence[1:])
        gas, liquid = self.mass(amount.in_hoses_gas), self.mass(amount.in_hoses_liquid)
        volume = show(amount.hoses, Dimension.VOLUME, self.units)
        down = self.mass(amount.stop + amount.in_hoses_gas)
        if change:
            begin = f"{self.mass(amount.start + amount.in_hoses_gas)} to begin with, " if amount.start > 0 else ""
            down = f"{begin}{down} at most"
        paper.say(
            f"On the scale: down by {down}. Hoses and manifold ({volume}) keep {gas} as gas; left full of liquid they "
            f"would keep {liquid}, so let them be drawn empty at the end."
        )
        if self.plan.odd_label:
            paper.say(
                f"{self.mass(self.plan.job.label)} is not what such a machine usually holds: check the label and its unit, "
                "and --system."
            )
        if self.plan.job.profile:
            paper.say(f"For {self.plan.job.profile}: what its profile says, unless it was told otherwise.")

    def methods(self, change: Retrofit) -> None:
        """Tell each method of a retrofit, with how well it is known."""
        paper = self.paper
        paper.head(
            f"{change.old.title} to {change.new.title}: the label says {self.mass(change.label)} of {change.old.title}"
        )
        rows = []
        for method in change.methods:
            low, high = self.mass(method.low), self.mass(method.high)
            known = f"{method.note}; {method.source}" if method.note else str(method.source)
            rows.append((low if low == high else f"{low} to {high}", f"{method.title} ({known})"))
        paper.rows(Table("What goes in, by each method", rows, ("amount", "method")))
        counting = [method for method in change.methods if method.counts]
        if len(counting) > 1 and len({round(m.low, 4) for m in counting}) > 1:
            paper.say("The two disagree: begin at the lower, and let the performance decide from there on.")
        for text, by in change.notes:
            paper.say(text)
            paper.source(by)

    def checklist(self, change: Retrofit) -> None:
        """Tell what must change with the refrigerant."""
        self.paper.head("What must change, in this order")
        for text, by in change.checklist:
            self.paper.item("[ ] ", text, by)
        self.paper.care(self.care(("retrofit",)))

    def put_in(self) -> None:
        """Tell how it goes in."""
        self.paper.head("Putting it in")
        self.paper.steps((step.text, step.source) for step in self.plan.put_in)
        if self.plan.phase == "vapour":
            self.paper.say(
                "Why gas only: in the suction line the same volume of liquid weighs "
                f"{self.plan.push.liquid_to_gas:.0f} times as much and cannot be pressed together. It breaks valves and "
                "pistons and washes the oil away."
            )
        self.paper.care(self.care(("charge", *works_of(self.plan.put_in))))

    def cylinder(self) -> None:
        """Tell whether the cylinder can push."""
        push, paper = self.plan.push, self.paper
        paper.head("Can the cylinder push?")
        at = self.temperature(push.container)
        if push.container > push.hottest.value:
            paper.say(
                f"It is far too warm: no cylinder may ever be above {self.temperature(push.hottest.value)}. Bring it into "
                "the shade, cool it with water, and do not connect it before it has cooled."
            )
        has = f"At {at} it holds {self.gauge(push.pressure)}"
        against = "the low side now" if push.low_told else "a low side at work, about"
        low = self.gauge(push.low)
        if push.pressure > push.low:
            paper.say(f"{has}, against {low} ({against}): it flows, {self._gap(push.pressure - push.low)} to spare.")
        else:
            paper.say(
                f"{has}, against {low} ({against}): nothing flows in, and some may flow out. Warm the cylinder."
            )
        if not push.low_told:
            paper.say(
                "With the machine stopped it flows only until system and cylinder are equal; then the compressor must draw."
            )
        if math.isnan(push.high):
            paper.say("A high side at work holds more than a cylinder in the same air: its valve stays shut.")
        else:
            over = push.high > push.pressure
            paper.say(
                f"The high side holds {self.gauge(push.high)}"
                + (
                    ", more than the cylinder: through the high-side valve the system would fill the cylinder."
                    if over
                    else ": its valve stays shut all the same once the machine runs."
                )
            )
        self._cooling()
        if not math.isnan(push.pressure_at_limit):
            warming = facts("putting_in")["warming"]
            paper.say(
                f"{prose(warming)} The limit is {self.temperature(push.limit.value)}: there it pushes with "
                f"{self.gauge(push.pressure_at_limit)}."
            )
            paper.source(source(warming))
        paper.care(self.care(("warm_container",)))

    def _cooling(self) -> None:
        cooling, paper = self.plan.cooling, self.paper
        if cooling.phase == "liquid":
            paper.say("Drawn as liquid it cools little.")
        elif not math.isnan(cooling.by_a_tenth):
            fall = show(cooling.by_a_tenth, Dimension.TEMPERATURE_DIFFERENCE, self.units, 0)
            share = show(cooling.share_until_low, Dimension.FRACTION, self.units)
            paper.say(
                f"Drawn fast, each tenth of its content that leaves as gas cools the rest by {fall}; {share} of it comes "
                "before it is down to the low side. Drawn slowly the air warms it again."
            )
        if not cooling.enough:
            paper.say("It holds less than is wanted: have a second one at hand, and note the first one's share.")
        elif not math.isnan(cooling.after):
            paper.say(
                f"After {self.mass(cooling.drawn)} it would be at {self.temperature(cooling.after)} and push with "
                f"{self.gauge(cooling.pressure_after)}, if nothing warmed it."
            )
        elif not math.isnan(cooling.drawn):
            paper.say("Before all that is wanted has left it, it is too cold to push: it must be warmed on the way.")

    def finish(self) -> None:
        """Tell how to see whether it is right."""
        paper, plan = self.paper, self.plan
        paper.head("Is it right?")
        first, last = (self.temperature(each.value) for each in (plan.judge_from[0], plan.judge_from[-1]))
        asked = first if first == last else f"{first} (some) or {last} (others)"
        if plan.day == "cold":
            cold = facts("putting_in")["cold_retrofit" if plan.change else "cold"]
            paper.say(f"Makers judge from {asked} of air on. {prose(cold)}")
        elif plan.day == "between":
            paper.say(f"Makers judge from {asked} of air on: today performance is half an answer.")
        elif plan.day == "unknown":
            paper.say(f"By performance only if it is warm: makers ask for {asked} of air. Below, by weight alone.")
        for limit in plan.judge_from:
            paper.source(limit.source)
        paper.steps((step.text, step.source) for step in plan.finish)
        if plan.day != "cold":
            paper.say(f"For this machine: {self._expect()}")

    def law(self) -> None:
        """Name the law, place by place."""
        self.paper.head("What the law asks for")
        self.paper.rows(
            Table(
                "What the law asks for",
                [(each.place, f"{each.text} ({_known(each.source)})") for each in self.plan.law],
                ("place", "what it asks for"),
            )
        )

    def _expect(self) -> str:
        """Return the command that tells what this machine should show."""
        job = self.plan.job
        if job.options and job.old is None:  # a profile knows the machine as it was
            return " ".join(["twogauge expect", job.options, *self._day()])
        words = ["twogauge expect", job.refrigerant.id]
        words += [] if job.system == Job.system else [f"--system {job.system}"]
        words += [f"--metering {job.metering}"] if job.metering else []
        return " ".join([*words, *self._day()])

    def _day(self) -> list[str]:
        """Return the option that tells another command how warm it is, in the reader's unit."""
        ambient = self.plan.job.ambient
        if math.isnan(ambient):
            return []
        symbol, letter = ("degF", "F") if self.units is UnitSet.US else ("degC", "C")
        return [f"--ambient {to_unit(ambient, Dimension.TEMPERATURE, symbol):.1f}".removesuffix(".0") + letter]

    def mass(self, value: float) -> str:
        """Return a weight [kg] in the reader's units."""
        return show_mass(value, self.units)

    def gauge(self, pressure: float) -> str:
        """Return an absolute pressure [Pa] as a gauge shows it."""
        return show_gauge(pressure, self.plan.job.barometer, self.units, 0 if self.units is UnitSet.US else None)

    def _gap(self, value: float) -> str:
        return show(value, Dimension.PRESSURE_DIFFERENCE, self.units, 0 if self.units is UnitSet.US else None)

    def temperature(self, value: float) -> str:
        """Return a temperature [K] in the reader's units."""
        return show(value, Dimension.TEMPERATURE, self.units, 0)


def _known(by: Source) -> str:
    return by.text if by.standing == "read" else str(by)


def works_of(steps: Iterable[Step]) -> tuple[str, ...]:
    """Return the works whose cautions stand beside these steps, each once."""
    return tuple(dict.fromkeys(work for step in steps for work in step.works))
