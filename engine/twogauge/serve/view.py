"""What a form shows, prepared: fields with their units and hints, checks with their answers."""

from __future__ import annotations

from dataclasses import dataclass

from twogauge import refrigerants
from twogauge.columns import may_apply
from twogauge.errors import InputError
from twogauge.fields import FIELDS, GROUPS, SPEC_FIELDS, UNKNOWN, Field
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.answer import Answer
from twogauge.serve.state import CHECK, SPEC, State, Typed
from twogauge.serve.units import Choice, units_of, usual_unit


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
        summary: (control, label, sentences) of what cannot be used.
    """

    first: tuple[FieldView, ...]
    more: tuple[tuple[str, tuple[FieldView, ...], bool], ...]
    spec: tuple[SpecView, ...]
    seen: tuple[CheckView, ...]
    unseen: tuple[CheckView, ...]
    summary: tuple[tuple[str, str, str], ...]


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
        tuple((name, _title(name, program), " ".join(sentences)) for name, sentences in found.troubles.items()),
    )


def told(state: State, found: Form) -> tuple[tuple[str, str], ...]:
    """Return (label, value) of all that was told, as it belongs on paper beside the answer."""
    fields = [(label_of(name), typed.whole) for name, typed in state.values.items()]
    ends = [
        (f"{label_of(name)}, the maker's range", f"{low} to {high} {unit}")
        for name, (low, high, unit) in state.spec.items()
    ]
    checks = [(each.title, dict(each.answers).get(each.told, each.told)) for each in found.seen]
    return (*fields, *ends, *checks)


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


def usual_units(control: str) -> tuple[tuple[str, str], ...]:
    """Return (set of units, the unit a control has in it)."""
    known = FIELDS[control.removeprefix(SPEC)]
    return tuple((units.value, usual_unit(known, units)) for units in UnitSet)
