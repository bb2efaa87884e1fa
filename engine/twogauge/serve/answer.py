"""From what was typed to the answer: what can be used is used, what cannot is told beside its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from twogauge.diagnosis import Diagnosis, diagnose
from twogauge.errors import InputError
from twogauge.expect import expect
from twogauge.intake import Trouble
from twogauge.outlook import Outlook, look_ahead
from twogauge.output.signs import with_signs
from twogauge.output.text import YARDSTICKS, verdict_sentence
from twogauge.output.values import range_text, so_it_is
from twogauge.packs.compile import compile_stack
from twogauge.packs.program import Program
from twogauge.profiles import with_profile
from twogauge.reading import Reading, ReadingError
from twogauge.serve.desk.wording import OF_A_READING, sentence
from twogauge.serve.state import CHECK, GOOD, NAMED, SPEC, State

NOT_OPENED: Final = (
    "This names a file, and a page opens none by its name. Open it as the known-good reading, under "
    "\u201cOpen or save a reading\u201d; else empty this."
)
_ROUNDS: Final = 5  # taking one value out may show what is wrong with another


@dataclass(frozen=True, slots=True)
class Answer:
    """What a page shows.

    Attributes:
        diagnosis, ahead: None where nothing was told.
        normal: field -> what is normal today, and what this reading is against it.
        troubles: name of a control -> sentences.
    """

    diagnosis: Diagnosis | None = None
    ahead: Outlook | None = None
    normal: Mapping[str, str] = field(default_factory=dict)
    troubles: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def said(self) -> str:
        """The answer in one sentence, behind what it leaves out."""
        if self.diagnosis is None:
            return "Enter what the gauges show."
        said = verdict_sentence(self.diagnosis)
        if not self.troubles:
            return said
        count = len(self.troubles)
        return f"{count} value{'s' if count > 1 else ''} left out, see beside {'them' if count > 1 else 'it'}. {said}"


def answer(state: State, program: Program) -> Answer:
    """Return the answer to what was typed; a value that cannot be used is left out, and why is told."""
    program = in_force(state, program)
    reading, told = usable(state, program)
    if reading is None:
        return Answer(troubles=told)
    normal = _normal(reading, program)
    found = _diagnosed(reading, program)
    if found is None:
        return Answer(normal=normal, troubles=told)
    for shown in found.derived:
        if shown.name in normal and (so := so_it_is(shown)):
            normal[shown.name] += f"; this is {so}"
    return Answer(found, look_ahead(found.reading, program=program), normal, told)


def diagnosis_of(state: State, program: Program) -> Diagnosis | None:
    """Return the diagnosis alone, for a picture of it; None where nothing was told that can be used."""
    program = in_force(state, program)
    reading, _ = usable(state, program)
    return None if reading is None else _diagnosed(reading, program)


def in_force(state: State, program: Program) -> Program:
    """Return the rules without those that are left out; one that does not exist changes nothing."""
    without = [each for each in state.without if each in program.stack.rules]
    return compile_stack(program.stack, without=without) if without else program


def _diagnosed(reading: Reading, program: Program) -> Diagnosis | None:
    return diagnose(reading, program=program) if set(reading.given) - {NAMED} else None


def usable(state: State, program: Program) -> tuple[Reading | None, Mapping[str, tuple[str, ...]]]:
    """Return the reading without what cannot be used, None if nothing helps; and why, by control."""
    troubles: dict[str, list[str]] = {}
    given = state.given()
    if isinstance(given.get(NAMED), str):
        troubles[NAMED] = [NOT_OPENED]
        del given[NAMED]
    reading = None
    for _ in range(_ROUNDS):
        try:
            reading = Reading(given, units=state.units)
            with_profile(reading, program).validate_checks(program.answers)
        except ReadingError as error:
            reading = None
            for trouble in error.troubles:
                sentences = troubles.setdefault(control_of(trouble), [])
                sentence = without_name(trouble)
                if sentence not in sentences:
                    sentences.append(sentence)
                _leave_out(given, *map(str, trouble.path))
        else:
            break
    return reading, {name: tuple(sentences) for name, sentences in troubles.items()}


def _leave_out(given: dict[str, Any], first: str, *rest: str) -> None:
    under = given.get(first)
    if rest and isinstance(under, dict) and rest[0] in under:
        given[first] = inner = dict(under)
        _leave_out(inner, *rest)
    else:
        given.pop(first, None)


def control_of(trouble: Trouble) -> str:
    """Return the name of the control that a trouble belongs to."""
    if inner := _of_the_known_good(trouble):
        return f"{GOOD}{control_of(inner)}"
    first, *rest = map(str, trouble.path)
    prefix = {"checks": CHECK, "spec": SPEC}.get(first)
    return f"{prefix}{rest[0]}" if prefix and rest else first


def without_name(trouble: Trouble) -> str:
    """Return a trouble as it reads beside its field."""
    if inner := _of_the_known_good(trouble):
        return without_name(inner)
    path = ".".join(map(str, trouble.path))
    text = trouble.message.removeprefix(f"{path}: ").removeprefix(f"{trouble.path[-1]}: ")
    return sentence(OF_A_READING.plain(text))


def _of_the_known_good(trouble: Trouble) -> Trouble | None:
    """Return a trouble of the known-good reading as one of a reading by itself; None for any other."""
    if trouble.path[0] != NAMED or len(trouble.path) < 2:
        return None
    return Trouble(trouble.path[1:], trouble.message.removeprefix(f"{NAMED}: "))


def _normal(reading: Reading, program: Program) -> dict[str, str]:
    """Return field -> what is normal today."""
    try:
        found = expect(reading, program)
    except InputError:
        return {}
    if found.gates:  # nothing can be judged, so nothing is said to be normal
        return {}
    said = {}
    when = "Normal today" if "ambient" in reading.parts.numbers else "Normal"
    for each in found.expected:
        text = range_text((each.low, each.high), each.dimension, found.reading)
        said[each.name] = with_signs(f"{when} {text} ({YARDSTICKS[each.by][0]})")
    return said
