"""Which rules, conditions, thresholds, answers and faults the examples and cases exercise, and on which side.

A condition is seen to hold, or not to hold, where all other conditions of its rule hold and the rule applies: only
there does it decide. Thresholds are looked at one by one, so an interval has two. An answer is seen where the check
was answered with it. A fault is exercised by cases: one that expects it (or evidence for it) and one that does not.

A rule is exercised by its own examples and by all cases; what mutants.py finds is the stricter question.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import applies
from twogauge.diagnosis import columns_of
from twogauge.packs import selftest
from twogauge.packs.compile import CompiledRule, Condition
from twogauge.packs.in_force import Loaded
from twogauge.packs.problems import Place
from twogauge.packs.trial import Trial
from twogauge.profiles import with_profile
from twogauge.quantity_table import QUANTITIES

KINDS: Final = ("rules", "conditions", "thresholds", "answers", "faults")
EXPECTS: Final = ("first", "within_three", "at_least", "speaks_for", "favours")
DENIES: Final = ("not_first", "not_within_three", "at_most", "speaks_against")

Rows = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that examples and cases should exercise on both of its sides.

    Attributes:
        kind: one of KINDS.
        of: id of the rule, gate or fault.
        what: what it is, such as "superheat above 22 K"; "" for the rule or fault itself.
        held: whether it was seen to hold (for a fault: was expected).
        failed: whether it was seen not to hold (for a fault: was not to come); None where only one side is asked.
        place: where it is written.
    """

    kind: str
    of: str
    what: str
    held: bool
    failed: bool | None
    place: Place

    @property
    def covered(self) -> bool:
        """Whether nothing is missing."""
        return self.held and self.failed is not False


@dataclass(frozen=True, slots=True)
class Coverage:
    """Everything that could be exercised, in the order of ids."""

    items: tuple[Item, ...]

    @property
    def gaps(self) -> tuple[Item, ...]:
        """What is not exercised, or on one side only."""
        return tuple(item for item in self.items if not item.covered)

    def count(self, kind: str) -> tuple[int, int]:
        """Return how many of a kind are covered, and how many there are."""
        mine = [item for item in self.items if item.kind == kind]
        return sum(item.covered for item in mine), len(mine)


def under_test(trial: Trial) -> Iterator[tuple[CompiledRule, Loaded[Any]]]:
    """Yield the rules and gates that packs under test define or change, compiled and as they are written."""
    stack = trial.program.stack
    for rule in trial.program.rules:
        if _is_of(stack.rules[rule.id], trial):
            yield rule, stack.rules[rule.id]
    for gate in trial.program.gates:
        if _is_of(stack.gates[gate.rule.id], trial):
            yield gate.rule, stack.gates[gate.rule.id]


def _is_of(loaded: Loaded[Any], trial: Trial) -> bool:
    return bool(trial.tested & {loaded.pack, *(pack for pack, _ in loaded.notes)})


def cover(trial: Trial) -> Coverage:
    """Find out what the examples and cases of a trial exercise."""
    rules = list(under_test(trial))
    readings = [example.reading for example in trial.examples]
    readings += [with_profile(case.reading, trial.program) for case in trial.cases]
    if not readings:
        return Coverage(tuple(_faults(trial)))
    seen = _Seen(trial, readings, rules)
    items = [item for rule, loaded in rules for item in seen.items(rule, loaded)]
    return Coverage((*items, *_faults(trial)))


def named_edges(condition: Condition, test: Any) -> list[str]:
    """Return what each edge of a numeric condition says, as its author wrote it."""
    name = condition.name
    if test.is_ is not None or test.is_not is not None:
        if len(condition.edges) == 1:
            return [f"{name} is {test.is_}" if test.is_ is not None else f"{name} is not {test.is_not}"]
        return [f"{name} is {test.is_} (not low)", f"{name} is {test.is_} (not high)"]
    low = test.above if test.between is None else test.between[0]
    high = test.below if test.between is None else test.between[1]
    return [f"{name} {side} {end}" for side, end in (("above", low), ("below", high)) if end is not None]


class _Seen:
    """The degrees of every part of every rule on all readings at once."""

    def __init__(
        self, trial: Trial, readings: Sequence[Any], rules: Sequence[tuple[CompiledRule, Loaded[Any]]]
    ) -> None:
        self._columns = columns_of(readings)
        self._trial = trial
        parts = {part: None for rule, _ in rules for c in rule.conditions for part in (c, *_parts(c))}
        alone = [CompiledRule(str(i), "", (part,), {}, {}, {}) for i, part in enumerate(parts)]
        whole = [rule for rule, _ in rules]
        degrees = selftest.degrees_on(readings, [*alone, *whole], trial.program)
        nothing = [np.nan] * len(readings)
        self._part = {part: np.array(degrees.get(str(i), nothing)) for i, part in enumerate(parts)}
        self._whole = {rule.id: np.array(degrees.get(rule.id, nothing)) for rule in whole}
        first_case = len(trial.examples)
        self._owner = np.array(
            [*(example.loaded.id for example in trial.examples), *[""] * (len(readings) - first_case)]
        )

    def items(self, rule: CompiledRule, loaded: Loaded[Any]) -> Iterator[Item]:
        mine = (self._owner == rule.id) | (self._owner == "")
        held, failed = _sides(self._whole[rule.id], mine)
        yield Item("rules", rule.id, "", held, failed, loaded.place())
        fits = mine & applies(self._columns, rule.applies_to)
        for condition in rule.conditions:
            others = [self._part[c] >= selftest.HOLDS_FROM for c in rule.conditions if c is not condition]
            rows = np.logical_and.reduce([fits, *others])
            yield from self._of_condition(rule, loaded, condition, rows)

    def _of_condition(
        self, rule: CompiledRule, loaded: Loaded[Any], condition: Condition, rows: Rows
    ) -> Iterator[Item]:
        place = loaded.place("when", condition.name, key=True)
        if condition.edges:
            is_level = QUANTITIES[condition.name].is_level
            names = named_edges(condition, loaded.entry.when[condition.name])
            for part, what in zip(_parts(condition), names, strict=True):
                held, failed = _sides(self._part[part], rows)
                yield Item("conditions" if is_level else "thresholds", rule.id, what, held, failed, place)
            return
        held, failed = _sides(self._part[condition], rows)
        yield Item("conditions", rule.id, f"the condition on {condition.name}", held, failed, place)
        for part in _parts(condition):
            held, _ = _sides(self._part[part], rows)
            yield Item("answers", rule.id, f"{condition.name} is {next(iter(part.words))}", held, None, place)


def _parts(condition: Condition) -> list[Condition]:
    """Return each edge, or each answer, as a condition of its own."""
    edges = [Condition(condition.name, (edge,)) for edge in condition.edges]
    return edges or [Condition(condition.name, words=frozenset({word})) for word in sorted(condition.words)]


def _sides(degree: npt.NDArray[np.float64], rows: Rows) -> tuple[bool, bool]:
    mine = degree[rows]
    return bool((mine >= selftest.HOLDS_FROM).any()), bool((mine <= selftest.FAILS_TO).any())


def _faults(trial: Trial) -> Iterator[Item]:
    expected: set[str] = set()
    denied: set[str] = set()
    for each in (each for case in trial.sound_cases for each in case.expected):
        expected.update(each.names if each.key in EXPECTS else ())
        denied.update(each.names if each.key in DENIES else each.rivals)
    for name, loaded in trial.program.stack.faults.items():
        if _is_of(loaded, trial):
            yield Item("faults", name, "", name in expected, name in denied, loaded.place())
