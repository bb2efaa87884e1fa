"""What a diagnosis shows, prepared for its template: the ranking, the next checks, the values, cautions once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from twogauge.diagnosis import Diagnosis, Ranked, Reason, Warned
from twogauge.fields import FIELDS, UNKNOWN
from twogauge.outlook import Outlook
from twogauge.output import outlook
from twogauge.output.style import percent
from twogauge.output.text import (
    LISTED,
    LISTED_FROM,
    YARDSTICKS,
    as_sentence,
    detailed,
    strength,
    verdict_sentence,
)
from twogauge.output.values import range_text, so_it_is, value_text
from twogauge.serve.answer import Answer
from twogauge.serve.labels import label_of, word_of
from twogauge.serve.state import CHECK
from twogauge.serve.view import usual_units

SERIOUS: Final = {"damage": "it damages the machine", "danger": "it can hurt somebody"}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of what the gauges mean."""

    label: str
    value: str
    normal: str
    by: str
    level: str


@dataclass(frozen=True, slots=True)
class StepView:
    """One thing to look at next.

    Attributes:
        control: the name under which an answer is sent, or the field to fill in.
        answers: (value, meaning) of the buttons; none where a number is wanted.
    """

    control: str
    title: str
    ask: str
    how: str
    minutes: str
    answers: tuple[tuple[str, str], ...]
    cautions: tuple[Warned, ...]
    does: tuple[str, ...]
    also: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Result:
    """The answer, in the order in which it is needed."""

    sentence: str
    diagnosis: Diagnosis
    likely: tuple[Ranked, ...]
    others: str
    faults: tuple[Ranked, ...]
    cautions: tuple[Warned, ...]
    steps: tuple[StepView, ...]
    rows: tuple[Row, ...]
    legend: tuple[str, ...]
    left_over: tuple[str, ...]
    sure: tuple[str, ...]


def result(found: Answer) -> Result | None:
    """Return what the page shows of an answer; None where there is none."""
    d, ahead = found.diagnosis, found.ahead
    if d is None or ahead is None:
        return None
    likely = () if d.verdict == "gated" else tuple(r for r in d.ranking if r.probability >= LISTED_FROM)[:LISTED]
    rest = d.ranking[len(likely) :]
    others = f"{percent(sum(r.probability for r in rest))} all {len(rest)} others together" if likely and rest else ""
    faults = tuple(detailed(d))
    cautions = _general(d, ahead, faults) if faults else ()
    steps = _steps(ahead, cautions)
    of_steps = {c.caution for step in steps for c in step.cautions}
    if not faults:
        cautions = tuple(c for c in d.cautions if c.caution not in of_steps)
    used = {shown.judged_by for shown in d.derived} - {"", "told"}
    legend = tuple(f"{word}: {about}" for key, (word, about) in YARDSTICKS.items() if key in used)
    return Result(
        verdict_sentence(d),
        d,
        likely,
        others,
        faults,
        cautions,
        steps,
        tuple(_rows(d)),
        legend,
        outlook.what_is_left(ahead),
        outlook.how_sure(ahead),
    )


def reasons(ranked: Ranked) -> tuple[tuple[str, tuple[Reason, ...]], ...]:
    """Return the reasons of a fault under their headings; headings without any are left out."""
    counted = [r for r in ranked.reasons if r.counted]
    kinds = (
        ("Speaks for it", tuple(r for r in counted if r.weight > 0)),
        ("Speaks against it", tuple(r for r in counted if r.weight < 0)),
        ("Did not count: a stronger reason looks at the same", tuple(r for r in ranked.reasons if not r.counted)),
    )
    return tuple((head, found) for head, found in kinds if found)


def numbers_of(reason: Reason) -> str:
    """Return how much a reason weighs and how sure its condition is."""
    clear = max(reason.degree, 1.0 - reason.degree)
    return f"{strength(reason.weight)}, {reason.weight:+.1f} dB, {percent(clear)} sure"


HELPERS: Final = {
    "usual_units": usual_units,
    "reasons": reasons,
    "numbers_of": numbers_of,
    "percent": percent,
    "as_sentence": as_sentence,
    "serious": SERIOUS,
    "label_of": label_of,
    "word_of": word_of,
}


def _general(d: Diagnosis, ahead: Outlook, faults: Iterable[Ranked]) -> tuple[Warned, ...]:
    """Return the cautions of the advice, each once; those of the next steps alone stand beside the step."""
    advised = [c for ranked in faults for c in ranked.cautions]
    of_steps = {c for step in ahead.steps for c in step.cautions}
    every = [*(c for c in d.cautions if c not in of_steps or c in advised), *advised]
    return tuple({c.caution: c for c in reversed(every)}[name] for name in dict.fromkeys(c.caution for c in every))


def _steps(ahead: Outlook, told: Iterable[Warned]) -> tuple[StepView, ...]:
    seen = {c.caution for c in told}
    steps = []
    for step in ahead.steps:
        new = tuple(c for c in step.cautions if c.caution not in seen)
        seen.update(c.caution for c in new)
        answers = (*step.answers, (UNKNOWN, "cannot tell")) if step.answers else ()
        steps.append(
            StepView(
                step.name if step.name in FIELDS else f"{CHECK}{step.name}",
                re.split(";|, such as", step.title)[0] if step.name in FIELDS else step.title,
                step.ask,
                step.how,
                f"{step.minutes:g} min",
                answers,
                new,
                outlook.step_sentences(step, ahead.titles),
                tuple((name, label_of(name)) for name in step.also),
            )
        )
    return tuple(steps)


def _rows(d: Diagnosis) -> Iterable[Row]:
    parts = d.reading.parts
    for shown in d.derived:
        swing = parts.swings.get(shown.name)
        value = range_text(swing, shown.dimension, d.reading) if swing else value_text(shown, d.reading)
        normal = range_text(shown.normal, shown.dimension, d.reading) if shown.normal else ""
        by = YARDSTICKS[shown.judged_by][0] if normal and shown.judged_by else ""
        yield Row(label_of(shown.name), value, normal, by, so_it_is(shown))
    for name, known in FIELDS.items():
        if known.words and name in parts.words:
            yield Row(label_of(name), parts.words[name], "", YARDSTICKS["told"][0], parts.words[name])
