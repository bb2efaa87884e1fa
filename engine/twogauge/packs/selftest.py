"""Runs the examples that rules and gates carry.

A reading under `holds` must give a degree of at least 0.9, one under `does_not_hold` at most 0.1, and one under
`cannot_say` none at all.

All examples go through the core side by side, the way every reading goes. Cases, which are whole readings (who must
lead), are run by trial.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from twogauge.diagnosis import columns_of
from twogauge.packs.compile import CompiledRule, Program
from twogauge.packs.in_force import Loaded
from twogauge.packs.problems import Place
from twogauge.reading import Reading, ReadingError
from twogauge.weigh import CHUNK, weigh_chunk

if TYPE_CHECKING:
    from twogauge.packs.model import Gate, Rule

Kind = Literal["holds", "does_not_hold", "cannot_say"]
KINDS: Final[tuple[Kind, ...]] = ("holds", "does_not_hold", "cannot_say")
HOLDS_FROM: Final = 0.9
FAILS_TO: Final = 0.1
_WANTED: Final = {
    "holds": f"a degree of at least {HOLDS_FROM:g}",
    "does_not_hold": f"a degree of at most {FAILS_TO:g}",
    "cannot_say": "no degree, because an input is missing",
}


@dataclass(frozen=True, slots=True)
class Failure:
    """An example that does not prove what it should.

    Attributes:
        rule: id of the rule or gate.
        kind: holds, does_not_hold or cannot_say.
        place: where the example stands, or what is wrong in it.
        degree: what came; NaN for none.
        conditions: (quantity or check, its degree) of each condition; NaN where an input is missing.
        problem: why the example is no reading, or "".
    """

    rule: str
    kind: Kind
    place: Place
    degree: float
    conditions: tuple[tuple[str, float], ...] = ()
    problem: str = ""

    def __str__(self) -> str:
        if self.problem:
            return f"{self.place}: {self.rule}: this example is no reading: {self.problem}"
        each = ", ".join(f"{name} {_shown(degree)}" for name, degree in self.conditions)
        return (
            f"{self.place}: {self.rule}: an example under {self.kind!r} needs {_WANTED[self.kind]}; "
            f"{_shown(self.degree)} came ({each})"
        )


@dataclass(frozen=True, slots=True)
class Example:
    """An example that is a reading.

    Attributes:
        loaded: the rule or gate that carries it.
        kind: holds, does_not_hold or cannot_say.
        index: its number among those of its kind, from 0.
        reading: what it says.
    """

    loaded: Loaded[Rule] | Loaded[Gate]
    kind: Kind
    index: int
    reading: Reading

    def place(self) -> Place:
        """Return where it stands."""
        return self.loaded.place("examples", self.kind, self.index)


def count_examples(program: Program, pack: str = "") -> int:
    """Return how many examples the rules and gates in force carry; those of one pack, where it is named."""
    carrying = (loaded for loaded in _in_force(program) if pack in {"", loaded.pack})
    return sum(len(getattr(loaded.entry.examples, kind)) for loaded in carrying for kind in KINDS)


def check_examples(program: Program) -> list[Failure]:
    """Run every example of every rule and gate in force.

    Args:
        program: a compiled stack that was read from files; a snapshot holds no examples.

    Returns:
        what failed, in the order of file, line and column; empty if all examples prove what they should.
    """
    examples, failures = read_examples(program)
    for start in range(0, len(examples), CHUNK):
        failures += _failures_of(examples[start : start + CHUNK], program)
    return sorted(failures, key=lambda failure: failure.place)


def read_examples(program: Program) -> tuple[list[Example], list[Failure]]:
    """Return the examples of every rule and gate in force, and those that are no readings."""
    failures: list[Failure] = []
    examples: list[Example] = []
    for loaded in _in_force(program):
        for kind in KINDS:
            for index, given in enumerate(getattr(loaded.entry.examples, kind)):
                try:
                    reading = Reading(given)
                    reading.validate_checks(program.answers)
                except ReadingError as error:
                    failures += [
                        Failure(
                            loaded.id,
                            kind,
                            loaded.place("examples", kind, index, *trouble.path, key=trouble.at_key),
                            math.nan,
                            problem=trouble.message,
                        )
                        for trouble in error.troubles
                    ]
                else:
                    examples.append(Example(loaded, kind, index, reading))
    return examples, failures


def _in_force(program: Program) -> Iterator[Loaded[Rule] | Loaded[Gate]]:
    yield from (program.stack.rules[rule.id] for rule in program.rules)
    yield from (program.stack.gates[gate.rule.id] for gate in program.gates)


def _failures_of(examples: Sequence[Example], program: Program) -> list[Failure]:
    compiled = {rule.id: rule for rule in (*program.rules, *(gate.rule for gate in program.gates))}
    degrees = degrees_on([example.reading for example in examples], list(compiled.values()), program)
    failures = []
    for row, example in enumerate(examples):
        degree = degrees.get(example.loaded.id, [math.nan] * len(examples))[row]
        if proves(example.kind, degree):
            continue
        rule = compiled[example.loaded.id]
        failures.append(
            Failure(rule.id, example.kind, example.place(), degree, by_condition(example.reading, rule, program))
        )
    return failures


def proves(kind: Kind, degree: float) -> bool:
    """Return whether an example of this kind proves what it should with this degree (NaN for none)."""
    if kind == "cannot_say":
        return math.isnan(degree)
    return degree >= HOLDS_FROM if kind == "holds" else degree <= FAILS_TO


def degrees_on(
    readings: Sequence[Reading], rules: Sequence[CompiledRule], program: Program
) -> dict[str, list[float]]:
    """Return rule -> its degree on each reading; a rule that lacks an input everywhere is not in it.

    Gates are judged as rules of no topic's concern; none of them may silence anything here.
    """
    speaking = {program.hypotheses[0].id: 1.0}  # a rule that says nothing when it fails may be skipped by the core
    judged = tuple(replace(rule, topic="", says=speaking, otherwise=speaking) for rule in rules)
    trial = replace(program, rules=judged, gates=(), topics=("",), plans={})
    ledger = weigh_chunk(columns_of(readings), trial)[1]
    return {rule.id: row.tolist() for rule, row in zip(ledger.plan.rules, ledger.degree, strict=True)}


def by_condition(reading: Reading, rule: CompiledRule, program: Program) -> tuple[tuple[str, float], ...]:
    """Return (quantity or check, its degree) of each condition: a rule for each condition alone."""
    alone = [
        replace(rule, id=str(i), conditions=(condition,), applies_to={})
        for i, condition in enumerate(rule.conditions)
    ]
    degrees = degrees_on([reading], alone, program)
    told = [(c.name, degrees.get(str(i), [math.nan])[0]) for i, c in enumerate(rule.conditions)]
    if rule.applies_to:
        words = reading.parts.words
        fits = all(words.get(name) in allowed for name, allowed in rule.applies_to.items())
        told.append(("applies_to", 1.0 if fits else 0.0))
    return tuple(told)


def _shown(degree: float) -> str:
    return "none" if math.isnan(degree) else f"{degree:.2f}"
