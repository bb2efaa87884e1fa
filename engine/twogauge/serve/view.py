"""What a form shows, prepared: fields with their units and hints, checks with their answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from twogauge import refrigerants
from twogauge.columns import may_apply
from twogauge.errors import InputError
from twogauge.fields import FIELDS, GROUPS, SPEC_FIELDS, UNKNOWN, Field
from twogauge.packs.model import Check
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.answer import Answer
from twogauge.serve.labels import label_of, word_of
from twogauge.serve.state import CHECK, GOOD, NAMED, SPEC, State
from twogauge.serve.typed import Typed
from twogauge.serve.units import Choice, silent_unit, units_of, usual_unit

_THEN: Final = " on the good day"  # behind the name of what the machine showed when it cooled well


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
        left_out: (id, title) of rules that do not count.
        summary: (control, label, sentences) of what cannot be used.
    """

    first: tuple[FieldView, ...]
    more: tuple[tuple[str, tuple[FieldView, ...], bool], ...]
    spec: tuple[SpecView, ...]
    seen: tuple[CheckView, ...]
    unseen: tuple[CheckView, ...]
    left_out: tuple[tuple[str, str], ...]
    summary: tuple[tuple[str, str, str], ...]


def form(state: State, found: Answer, program: Program) -> Form:
    """Return what the form shows."""
    views = {name: field_view(known, state, found, program) for name, known in FIELDS.items()}
    grouped = {group: tuple(views[n] for n, known in FIELDS.items() if known.group == group) for group in GROUPS}
    first, *others = GROUPS
    more = tuple((GROUPS[g], grouped[g], any(_says_something(v) for v in grouped[g])) for g in others)
    checks = check_views(state, found, program)
    spec = tuple(spec_view(name, state, found) for name in SPEC_FIELDS)
    return Form(
        grouped[first],
        more,
        spec,
        tuple(c for c in checks if c.told),
        tuple(c for c in checks if not c.told),
        left_out(state, program),
        summary_of(found, program),
    )


def summary_of(found: Answer, program: Program) -> tuple[tuple[str, str, str], ...]:
    """Return (control, label, sentences) of what cannot be used."""
    return tuple((name, _title(name, program), " ".join(told)) for name, told in found.troubles.items())


def left_out(state: State, program: Program) -> tuple[tuple[str, str], ...]:
    """Return (id, title) of the rules that are left out."""
    rules = program.stack.rules
    return tuple((name, rules[name].entry.title if name in rules else "no rule in force") for name in state.without)


def told(state: State, program: Program) -> tuple[tuple[str, str], ...]:
    """Return (label, value) of all that was told, as it belongs on paper beside the answer."""
    good = () if state.good is None else ((f"{label}{_THEN}", value) for label, value in _rows(state.good, program))
    without = (("Rule left out", f"{title} ({name})") for name, title in left_out(state, program))
    return (*_rows(state, program), *good, *without)


def _rows(state: State, program: Program) -> Iterable[tuple[str, str]]:
    for name, typed in state.values.items():
        yield label_of(name), typed.whole
    for name, (low, high, unit) in state.spec.items():
        yield _title(f"{SPEC}{name}", program), f"{low} to {high} {unit}"
    for name, answer in state.checks.items():
        check = program.stack.checks.get(name)
        yield _title(f"{CHECK}{name}", program), dict(_answers(check.entry)).get(answer, answer) if check else answer


def applying(state: State, found: Answer, program: Program) -> list[str]:
    """Return the controls of the checks that make sense for this machine."""
    return [each.name for each in check_views(state, found, program) if each.applies]


def _says_something(view: FieldView) -> bool:
    return bool(view.typed.text or view.typed.option in view.words or view.troubles)


def field_view(known: Field, state: State, found: Answer, program: Program, at: str = "") -> FieldView:
    """Return one field.

    Args:
        known: which.
        state: that holds what was typed in it.
        found: the answer to it.
        program: the rules in force.
        at: GOOD for the known-good reading, whose state this is then.
    """
    name = f"{at}{known.name}"
    units = units_of(known)
    kind = "number" if units else "choice" if known.choices else "text"
    choices = tuple((word, word_of(word)) for word in known.choices)
    typed = state.values.get(known.name) or Typed("", usual_unit(known, state.units))
    if known.name == "refrigerant":
        kind, choices = "refrigerant", tuple((each.id, each.title) for each in refrigerants.summaries())
        typed = Typed(_refrigerant(typed.text))
    elif known.name == "profile" and program.stack.profiles:
        kind = "choice"
        choices = tuple((each, loaded.entry.title or each) for each, loaded in program.stack.profiles.items())
    about = known.about.partition(";")[0]
    if known.swing:  # two points stand on the keys for numbers of every telephone, and no word does
        about += "; a swing: 22..45"
    normal = found.normal.get(name, "")
    troubles = tuple(found.troubles.get(name, ()))
    words = tuple(known.words) if units else ()
    return FieldView(name, _title(name, program), about, kind, typed, units, words, choices, normal, troubles)


def _refrigerant(told: str) -> str:
    """Return the id for any spelling that is known; what is not known stays as it is."""
    try:
        return refrigerants.get(told).id if told else ""
    except InputError:
        return told


def spec_view(name: str, state: State, found: Answer, at: str = "") -> SpecView:
    """Return the maker's range of one field; `at` as for `field_view`."""
    known = FIELDS[name]
    low, high, unit = state.spec.get(name, ("", "", usual_unit(known, state.units)))
    troubles = tuple(found.troubles.get(f"{at}{SPEC}{name}", ()))
    label = f"{label_of(name)}{_THEN if at else ''}"
    return SpecView(f"{at}{SPEC}{name}", label, low, high, unit, units_of(known), troubles)


def check_views(state: State, found: Answer, program: Program, at: str = "") -> tuple[CheckView, ...]:
    """Return every check, those that nobody knows last; `at` as for `field_view`."""
    words = found.diagnosis.reading.parts.words if found.diagnosis else {}
    known = sorted(program.stack.checks.items(), key=lambda item: item[1].entry.title)
    strangers = [name for name in state.checks if name not in program.stack.checks]
    views = []
    for name in (*(name for name, _ in known), *strangers):
        control = f"{at}{CHECK}{name}"
        title, told = _title(control, program), state.checks.get(name, "")
        troubles = tuple(found.troubles.get(control, ()))
        if name in strangers:
            views.append(CheckView(control, title, "", (), told, True, troubles))
            continue
        entry = program.stack.checks[name].entry
        applies = may_apply(words, entry.applies_to)
        views.append(CheckView(control, title, entry.ask, _answers(entry), told, applies, troubles))
    return tuple(views)


def _answers(entry: Check) -> tuple[tuple[str, str], ...]:
    return (*entry.answers.items(), (UNKNOWN, "cannot tell"))


def _title(name: str, program: Program) -> str:
    if name.startswith(GOOD):
        return f"{_title(name.removeprefix(GOOD), program)}{_THEN}"
    if name == NAMED:
        return "File of the known-good reading"
    if name.startswith(CHECK):
        check = program.stack.checks.get(name.removeprefix(CHECK))
        return check.entry.title if check else name.removeprefix(CHECK)
    if name.startswith(SPEC):
        return f"{label_of(name.removeprefix(SPEC))}, the maker's range"
    return label_of(name)


def usual_units(control: str) -> tuple[tuple[str, str], ...]:
    """Return (set of units, the unit a control has in it, "" for none)."""
    known = FIELDS.get(control.removeprefix(GOOD).removeprefix(SPEC))
    return tuple(
        (units.value, (usual_unit(known, units) or silent_unit(known, units)) if known else "") for units in UnitSet
    )
