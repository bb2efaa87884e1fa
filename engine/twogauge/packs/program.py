"""A compiled stack, ready for the core: conditions in SI, rules, gates and hypotheses; plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any, Final

from twogauge.bands import Band
from twogauge.packs.in_force import Stack

# Where a level stops being normal, and how far from there it is as good as sure. A band's own ends count as normal.
LEVEL_EDGE: Final = 1.25
LEVEL_SOFT: Final = 0.25
SURE: Final = 2.0537489106318225  # standard deviations that leave 2 in 100 on the other side


@dataclass(frozen=True, slots=True)
class Edge:
    """One side of a numeric condition: more likely than not where sign * (x - threshold) > 0."""

    threshold: float
    sign: float
    spread: float  # standard deviation of the soft edge, SI


@dataclass(frozen=True, slots=True)
class Condition:
    """One test of one quantity or check; equal conditions are evaluated once.

    Attributes:
        name: the quantity, field or check.
        edges: of a numeric test, one or two.
        words: of a word test: the answers for which it holds.
    """

    name: str
    edges: tuple[Edge, ...] = ()
    words: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class CompiledRule:
    """A rule or gate, ready to be evaluated."""

    id: str
    topic: str
    conditions: tuple[Condition, ...]
    says: Mapping[str, float]
    otherwise: Mapping[str, float]
    applies_to: Mapping[str, frozenset[str]]


Scope = frozenset[tuple[str, frozenset[str]]]


def scope_of(applies_to: Mapping[str, frozenset[str]]) -> Scope:
    """Return what a rule applies to as something that can be compared and looked up."""
    return frozenset(applies_to.items())


@dataclass(frozen=True, slots=True)
class CompiledGate:
    """A gate: its rule-like part and the topics it silences (None: all)."""

    rule: CompiledRule
    silences: frozenset[str]


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A fault, or `normal`, with its prior in decibans."""

    id: str
    prior: float
    applies_to: Mapping[str, frozenset[str]]
    nothing_wrong: bool


@dataclass(frozen=True)
class Program:
    """A compiled stack.

    Attributes:
        stack: the entries it was made from.
        hypotheses, rules, gates: sorted by id, so that no file order can matter.
        topics: sorted.
        bands: later ones win.
        answers: check id -> answers.
        plans, advice: what was worked out with it, by whoever did; may be emptied at any time.
    """

    stack: Stack
    hypotheses: tuple[Hypothesis, ...]
    rules: tuple[CompiledRule, ...]
    gates: tuple[CompiledGate, ...]
    topics: tuple[str, ...]
    bands: tuple[Band, ...]
    answers: Mapping[str, tuple[str, ...]]
    plans: dict[tuple[frozenset[str], tuple[int, ...]], Any] = field(default_factory=dict, compare=False, repr=False)
    advice: dict[tuple[str | None, ...], Any] = field(default_factory=dict, compare=False, repr=False)

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what is made anew where it is needed: a program goes to other processes as it was compiled."""
        return {each.name: getattr(self, each.name) for each in fields(self)} | {"plans": {}, "advice": {}}

    @cached_property
    def names(self) -> frozenset[str]:
        """Quantities, fields and checks that any condition looks at."""
        return frozenset(name for _, names in self.asked for name in names)

    @cached_property
    def advised_by(self) -> tuple[str, ...]:
        """Fields that decide which advice about a fault, and which of its cautions, are for a machine."""
        faults = [self.stack.faults[hypothesis.id].entry for hypothesis in self.hypotheses]
        steps = (step for entry in faults for step in (*entry.confirm, *entry.repair))
        return tuple(sorted({"refrigerant", *(name for step in steps for name in step.applies_to)}))

    @cached_property
    def asked(self) -> tuple[tuple[Mapping[str, frozenset[str]], frozenset[str]], ...]:
        """What rules and gates apply to, and the names that the conditions of all that apply to it look at."""
        found: dict[Scope, set[str]] = {}
        for rule in (*self.rules, *(gate.rule for gate in self.gates)):
            found.setdefault(scope_of(rule.applies_to), set()).update(c.name for c in rule.conditions)
        return tuple((dict(applies_to), frozenset(names)) for applies_to, names in found.items())
