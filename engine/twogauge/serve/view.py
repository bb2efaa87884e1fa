"""What the templates show, prepared: fields with their units and hints, checks with their answers, cautions once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from twogauge import refrigerants
from twogauge.columns import may_apply
from twogauge.diagnosis import Diagnosis, Ranked, Reason, Warned
from twogauge.errors import InputError
from twogauge.fields import FIELDS, GROUPS, SPEC_FIELDS, UNKNOWN, Field
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
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.answer import Answer
from twogauge.serve.state import CHECK, SPEC, State, Typed
from twogauge.serve.units import Choice, units_of, usual_unit

SERIOUS: Final = {"damage": "it damages the machine", "danger": "it can hurt somebody"}


@dataclass(frozen=True, slots=True)
class FieldView:
    """One field of the form.

    Attributes:
        name: of the control; its id is `f-NAME`.
        label, about: what it is.
        kind: number, choice, refrigerant or text.
        typed: the value and the unit or word beside it.
        units: that it may be typed in.
        words: that may stand instead of a number.
        choices: (value, label) of a choice.
        normal: what is normal today.
        troubles: why it cannot be used.
    """

    name: str
    label: str
    about: str
    kind: str
    typed: Typed
    units: tuple[Choice, ...]
    words: tuple[str, ...]
    choices: tuple[tuple[str, str], ...]
    normal: str
    troubles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CheckView:
    """One thing that can be looked at, with its answers."""

    name: str
    title: str
    ask: str
    answers: tuple[tuple[str, str], ...]
    told: str
    applies: bool
    troubles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpecView:
    """The two ends that a maker gives for one field."""

    name: str
    label: str
    low: str
    high: str
    unit: str
    units: tuple[Choice, ...]
    troubles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Form:
    """The whole form.

    Attributes:
        first: the fields of most readings.
        more: (title, fields, whether something is told in it) of the others.
        spec: the maker's ranges.
        seen, unseen: checks with and without an answer.
    """

    first: tuple[FieldView, ...]
    more: tuple[tuple[str, tuple[FieldView, ...], bool], ...]
    spec: tuple[SpecView, ...]
    seen: tuple[CheckView, ...]
    unseen: tuple[CheckView, ...]
    summary: tuple[tuple[str, str, tuple[str, ...]], ...]


def label_of(name: str) -> str:
    """Return a field's name as it is read."""
    return name.replace("_", " ").capitalize()


def word_of(word: str) -> str:
    """Return a word of a choice as it is read."""
    return word.replace("_", " ").replace(" ac", " A/C")


def form(state: State, found: Answer, program: Program) -> Form:
    """Return what the form shows."""
    views = {name: _field(known, state, found, program) for name, known in FIELDS.items()}
    grouped = {group: tuple(views[n] for n, known in FIELDS.items() if known.group == group) for group in GROUPS}
    first, *others = GROUPS
    more = tuple((GROUPS[g], grouped[g], any(_says_something(v) for v in grouped[g])) for g in others)
    checks = _checks(state, found, program)
    spec = tuple(_spec(name, state, found) for name in SPEC_FIELDS)
    return Form(
        grouped[first],
        more,
        spec,
        tuple(c for c in checks if c.told),
        tuple(c for c in checks if not c.told),
        tuple((name, _title(name, program), sentences) for name, sentences in found.troubles.items()),
    )


def applying(state: State, found: Answer, program: Program) -> list[str]:
    """Return the controls of the checks that make sense for this machine."""
    return [each.name for each in _checks(state, found, program) if each.applies]


def _says_something(view: FieldView) -> bool:
    return bool(view.typed.text or view.typed.option in view.words or view.troubles)


def _field(known: Field, state: State, found: Answer, program: Program) -> FieldView:
    units = units_of(known)
    kind = "number" if units else "choice" if known.choices else "text"
    choices = tuple((word, word_of(word)) for word in known.choices)
    typed = state.values.get(known.name) or Typed("", usual_unit(known, state.units))
    if known.name == "refrigerant":
        kind, choices = "refrigerant", tuple((each.id, each.title) for each in refrigerants.summaries())
        typed = Typed(_refrigerant(typed.text))
    elif known.name == "profile" and program.stack.profiles:
        kind = "choice"
        choices = tuple((name, loaded.entry.title or name) for name, loaded in program.stack.profiles.items())
    about = known.about.partition(";")[0]
    normal = found.normal.get(known.name, "")
    troubles = found.troubles.get(known.name, ())
    words = tuple(known.words) if units else ()
    return FieldView(
        known.name, label_of(known.name), about, kind, typed, units, words, choices, normal, tuple(troubles)
    )


def _refrigerant(told: str) -> str:
    """Return the id for any spelling that is known; what is not known stays as it is."""
    try:
        return refrigerants.get(told).id if told else ""
    except InputError:
        return told


def _spec(name: str, state: State, found: Answer) -> SpecView:
    known = FIELDS[name]
    low, high, unit = state.spec.get(name, ("", "", usual_unit(known, state.units)))
    troubles = found.troubles.get(f"{SPEC}{name}", ())
    return SpecView(f"{SPEC}{name}", label_of(name), low, high, unit, units_of(known), tuple(troubles))


def _checks(state: State, found: Answer, program: Program) -> tuple[CheckView, ...]:
    words = found.diagnosis.reading.parts.words if found.diagnosis else {}
    views = []
    for name, loaded in sorted(program.stack.checks.items(), key=lambda item: item[1].entry.title):
        entry = loaded.entry
        answers = tuple((answer, meaning) for answer, meaning in entry.answers.items())
        views.append(
            CheckView(
                f"{CHECK}{name}",
                entry.title,
                entry.ask,
                (*answers, (UNKNOWN, "cannot tell")),
                state.checks.get(name, ""),
                may_apply(words, entry.applies_to),
                tuple(found.troubles.get(f"{CHECK}{name}", ())),
            )
        )
    strangers = [name for name in state.checks if name not in program.stack.checks]
    for name in strangers:
        troubles = tuple(found.troubles.get(f"{CHECK}{name}", ()))
        views.append(CheckView(f"{CHECK}{name}", name, "", (), state.checks[name], True, troubles))
    return tuple(views)


def _title(name: str, program: Program) -> str:
    if name.startswith(CHECK):
        check = program.stack.checks.get(name.removeprefix(CHECK))
        return check.entry.title if check else name.removeprefix(CHECK)
    if name.startswith(SPEC):
        return f"{label_of(name.removeprefix(SPEC))}, the maker's range"
    return label_of(name)


# -- the answer ----------------------------------------------------------------------------------------------------


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


def usual_units(control: str) -> tuple[tuple[str, str], ...]:
    """Return (set of units, the unit a control has in it)."""
    known = FIELDS[control.removeprefix(SPEC)]
    return tuple((units.value, usual_unit(known, units)) for units in UnitSet)


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
                step.title,
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
        by = YARDSTICKS[shown.judged_by][0] if shown.judged_by else ""
        yield Row(label_of(shown.name), value, normal, by, so_it_is(shown))
    for name, known in FIELDS.items():
        if known.words and name in parts.words:
            yield Row(label_of(name), parts.words[name], "", YARDSTICKS["told"][0], parts.words[name])
