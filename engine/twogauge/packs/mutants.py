"""Are the examples and cases strict? Every rule is broken in every small way, one at a time, and something must fail.

What is broken, and by how much:

    threshold   moved either way by SHIFT times its soft edge (where it has none, by what STEP says for its dimension)
    answer      of a condition on words or on a level: one answer more, or one less
    condition   left out, where the rule has others
    applies_to  left out, one field at a time
    weight      of `says` and `otherwise`: left out, and turned round

A broken rule (mutant) is caught by an example of its own rule that no longer proves what it should, or by a case that
no longer comes out. One that nothing catches is a line of a rule that nobody would miss. An answer that only one
condition word could have, or a threshold that passes its other end, makes no mutant.

Everything is computed side by side: broken conditions are judged like so many rules in one go, and for each mutant
only the cases are weighed again in which what the rule says has changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats
from twogauge.diagnosis import columns_of
from twogauge.packs import selftest
from twogauge.packs.casefiles import PackCase
from twogauge.packs.compile import LEVEL_EDGE, SURE, CompiledRule, Condition, Edge, Program
from twogauge.packs.coverage import named_edges, under_test
from twogauge.packs.in_force import Loaded
from twogauge.packs.lint.evidence import at_least_as_sure, implies
from twogauge.packs.problems import Place
from twogauge.packs.thresholds import as_difference
from twogauge.packs.trial import Outcome, Trial
from twogauge.profiles import with_profile
from twogauge.quantities import Dimension, UnitSet, show
from twogauge.quantity_table import QUANTITIES
from twogauge.weigh import CHUNK, Degrees, degrees_of, weigh_degrees

Kind = Literal["threshold", "answer", "condition", "applies_to", "weight"]
KINDS: Final[tuple[Kind, ...]] = ("threshold", "answer", "condition", "applies_to", "weight")

SHIFT: Final = 2.0  # soft edges; further than the edge reaches, so that no example may sit on it
STEP: Final = {  # [SI] what a threshold without a soft edge is moved by; what an analogue instrument tells apart
    Dimension.TEMPERATURE: 3.0,
    Dimension.TEMPERATURE_DIFFERENCE: 3.0,
    Dimension.PRESSURE: 50e3,
    Dimension.PRESSURE_DIFFERENCE: 50e3,
}
SHARE: Final = 0.1  # of the threshold, for all other dimensions

_BLOCKS: Final = (8, 32, CHUNK)  # cases weighed at a time; most mutants are caught by the first
_LEVELS: Final = ("low", "normal", "high")


@dataclass(frozen=True, slots=True)
class Mutant:
    """A rule with one thing broken.

    Attributes:
        rule: id of the rule or gate.
        kind: what was broken.
        what: how, in words.
        place: where it is written.
        caught: whether an example or case fails.
        outdone_by: id of a rule of the same topic that holds wherever this one does and says as much, so that no
            reading can show the difference; or "".
    """

    rule: str
    kind: Kind
    what: str
    place: Place
    caught: bool
    outdone_by: str = ""


@dataclass(frozen=True, slots=True)
class Mutation:
    """All mutants of the rules under test, by rule."""

    mutants: tuple[Mutant, ...]

    @property
    def caught(self) -> int:
        """How many made an example or case fail."""
        return sum(mutant.caught for mutant in self.mutants)

    @property
    def share(self) -> float:
        """The part of them that was caught [1]; 1 where there are none."""
        return self.caught / len(self.mutants) if self.mutants else 1.0

    @property
    def survivors(self) -> tuple[Mutant, ...]:
        """Those that nothing noticed."""
        return tuple(mutant for mutant in self.mutants if not mutant.caught)

    def by_rule(self) -> dict[str, tuple[int, int]]:
        """Return rule -> how many of its mutants were caught, and how many there are."""
        found: dict[str, tuple[int, int]] = {}
        for mutant in self.mutants:
            caught, of = found.get(mutant.rule, (0, 0))
            found[mutant.rule] = (caught + mutant.caught, of + 1)
        return found

    def of_kind(self, kind: Kind) -> tuple[int, int]:
        """Return how many of a kind were caught, and how many there are."""
        mine = [mutant.caught for mutant in self.mutants if mutant.kind == kind]
        return sum(mine), len(mine)


def mutate(trial: Trial) -> Mutation:
    """Break every rule under test in every way, and see what notices.

    Args:
        trial: with no failures; of the cases only those count that come out as expected.
    """
    benches = [
        _Bench(trial.program, trial.sound_cases[start : start + CHUNK])
        for start in range(0, len(trial.sound_cases), CHUNK)
    ]
    found: list[Mutant] = []
    broken: list[_Broken] = []
    for rule, loaded in under_test(trial):
        broken += _broken(rule, loaded, trial.program)
    degrees = _Degrees(trial, broken, benches)
    for i, each in enumerate(broken):
        caught = degrees.breaks_an_example(i) or any(
            bench.notices_degree(each.rule.id, degrees.on_cases(i, k)) for k, bench in enumerate(benches)
        )
        found.append(Mutant(each.rule.id, each.kind, each.what, each.place, caught))
    for rule, loaded in under_test(trial):
        for group in ("says", "otherwise"):
            for fault, weight in getattr(rule, group).items():
                place = loaded.place(group, fault, key=True)
                for what, factor in (("left out", 0.0), ("turned round", -1.0)):
                    if weight:
                        caught = any(bench.notices_weight(rule.id, group, fault, factor) for bench in benches)
                        text = f"{group} {fault} ({weight:+g} dB) {what}"
                        louder = (
                            "" if caught or factor or group != "says" else _outdone_by(rule, fault, trial.program)
                        )
                        found.append(Mutant(rule.id, "weight", text, place, caught, louder))
    return Mutation(tuple(sorted(found, key=lambda mutant: mutant.rule)))


def _outdone_by(rule: CompiledRule, fault: str, program: Program) -> str:
    """Return a rule of the topic that holds wherever this one does and says at least as much of the fault, or ""."""
    weight = rule.says[fault]
    for other in program.rules:
        if other.topic == rule.topic and other.id != rule.id:
            said = other.says.get(fault, 0.0)
            if said * weight > 0.0 and abs(said) >= abs(weight) and implies(rule, other, at_least_as_sure):
                return other.id
    return ""


# -- broken conditions ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Broken:
    rule: CompiledRule
    kind: Kind
    what: str
    place: Place


def _broken(rule: CompiledRule, loaded: Loaded[Any], program: Program) -> Iterator[_Broken]:
    for i, condition in enumerate(rule.conditions):
        place = loaded.place("when", condition.name, key=True)
        before, after = rule.conditions[:i], rule.conditions[i + 1 :]
        for kind, what, changed in _changed(condition, loaded.entry.when[condition.name], program):
            yield _Broken(replace(rule, conditions=(*before, changed, *after)), kind, what, place)
        if before or after:
            what = f"the condition on {condition.name} left out"
            yield _Broken(replace(rule, conditions=(*before, *after)), "condition", what, place)
    for name in rule.applies_to:
        rest = {other: words for other, words in rule.applies_to.items() if other != name}
        what = f"applies_to {name} left out"
        yield _Broken(replace(rule, applies_to=rest), "applies_to", what, loaded.place("applies_to", name, key=True))


def _changed(condition: Condition, test: Any, program: Program) -> Iterator[tuple[Kind, str, Condition]]:
    name = condition.name
    info = QUANTITIES.get(name)
    if not condition.edges:
        answers = program.answers[name] if info is None else info.words
        for what, words in _other_words(name, condition.words, answers):
            yield "answer", what, Condition(name, words=words)
    elif test.is_ is not None or test.is_not is not None:
        levels = {test.is_} if test.is_ is not None else {*_LEVELS} - {test.is_not}
        spread = condition.edges[0].spread
        for what, words in _other_words(name, frozenset(levels), _LEVELS):
            if words != {"low", "high"}:  # no interval
                yield "answer", what, Condition(name, _level_edges(words, spread))
    else:
        for i, (edge, what) in enumerate(zip(condition.edges, named_edges(condition, test), strict=True)):
            by = _shift(edge, QUANTITIES[name].dimension)
            for sign, direction in ((1.0, "up"), (-1.0, "down")):
                edges = list(condition.edges)
                edges[i] = replace(edge, threshold=edge.threshold + sign * by)
                if len(edges) < 2 or edges[0].threshold < edges[1].threshold:
                    told = show(by, as_difference(QUANTITIES[name].dimension), UnitSet.SI, 2)
                    yield "threshold", f"{what} moved {direction} by {told}", Condition(name, tuple(edges))


def _other_words(name: str, words: frozenset[str], answers: Sequence[str]) -> Iterator[tuple[str, frozenset[str]]]:
    for word in answers:
        if word in words and len(words) > 1:
            yield f"{name}: no longer for {word}", words - {word}
        elif word not in words and len(words) + 1 < len(answers):
            yield f"{name}: also for {word}", words | {word}


def _level_edges(words: frozenset[str], spread: float) -> tuple[Edge, ...]:
    """Return the edges of a run of neighbouring levels."""
    edges = []
    if "low" not in words:
        edges.append(Edge(-LEVEL_EDGE if "normal" in words else LEVEL_EDGE, 1.0, spread))
    if "high" not in words:
        edges.append(Edge(LEVEL_EDGE if "normal" in words else -LEVEL_EDGE, -1.0, spread))
    return tuple(edges)


def _shift(edge: Edge, dimension: Dimension) -> float:
    if edge.spread:
        return SHIFT * edge.spread * SURE
    return STEP.get(dimension, SHARE * abs(edge.threshold) or SHARE)


class _Degrees:
    """How far each broken rule holds: on the examples, and on the cases of each bench."""

    def __init__(self, trial: Trial, broken: Sequence[_Broken], benches: Sequence[_Bench]) -> None:
        rules = [replace(each.rule, id=str(i)) for i, each in enumerate(broken)]
        examples = [example.reading for example in trial.examples]
        self._of_example = selftest.degrees_on(examples, rules, trial.program) if examples else {}
        self._of_case = [selftest.degrees_on(bench.readings, rules, trial.program) for bench in benches]
        self._cases = [len(bench.readings) for bench in benches]
        self._kinds: list[list[tuple[int, selftest.Kind]]] = []
        own: dict[str, list[tuple[int, selftest.Kind]]] = {}
        for row, example in enumerate(trial.examples):
            own.setdefault(example.loaded.id, []).append((row, example.kind))
        self._kinds = [own.get(each.rule.id, []) for each in broken]

    def breaks_an_example(self, i: int) -> bool:
        degree = self._of_example.get(str(i))
        return any(
            not selftest.proves(kind, np.nan if degree is None else degree[row]) for row, kind in self._kinds[i]
        )

    def on_cases(self, i: int, bench: int) -> Floats:
        return np.array(self._of_case[bench].get(str(i), [np.nan] * self._cases[bench]))


# -- cases, ready to be weighed again -------------------------------------------------------------------------------


class _Bench:
    """Cases that come out as expected, judged once; to be weighed again with one thing changed."""

    def __init__(self, program: Program, cases: Sequence[PackCase]) -> None:
        self.readings = [with_profile(case.reading, program) for case in cases]
        self._program = program
        self._cases = cases
        self._degrees = degrees_of(columns_of(self.readings), program)
        self._contribution = weigh_degrees(self._degrees)[1].contribution
        plan = self._degrees.plan
        self._rule = {rule.id: i for i, rule in enumerate(plan.rules)}
        self._gate = {gate.id: i for i, gate in enumerate(plan.gates)}
        hypotheses = {name: i for i, name in enumerate(plan.hypotheses)}
        self._term = {term: k for k, term in enumerate(plan.terms)}
        self._hypothesis = hypotheses
        # A case with little in it is the likeliest to depend on any one thing.
        self._order = np.argsort((self._contribution != 0.0).sum(axis=0), kind="stable")

    def notices_weight(self, rule: str, group: str, fault: str, factor: float) -> bool:
        """Return whether a case fails when one weight of a rule is multiplied by `factor`."""
        if rule not in self._rule:
            return False
        plan = self._degrees.plan
        k = self._term[self._rule[rule], self._hypothesis[fault]]
        weights: Floats = getattr(plan, group).copy()
        weights[k] *= factor
        broken = replace(plan, says=weights) if group == "says" else replace(plan, otherwise=weights)
        return self._notices(replace(self._degrees, plan=broken), self._contribution[k] != 0.0)

    def notices_degree(self, rule: str, degree: Floats) -> bool:
        """Return whether a case fails when a rule or gate holds to other degrees, shape (n,)."""
        if rule in self._rule:
            before = self._degrees.rule
            changed = replace(self._degrees, rule=_with_row(before, self._rule[rule], degree))
            row = before[self._rule[rule]]
        elif rule in self._gate:
            before = self._degrees.gate
            changed = replace(self._degrees, gate=_with_row(before, self._gate[rule], degree))
            row = before[self._gate[rule]]
        else:
            return False
        return self._notices(changed, ~np.isclose(row, degree, rtol=0.0, atol=1e-6, equal_nan=True))

    def _notices(self, changed: Degrees, touched: npt.NDArray[np.bool_]) -> bool:
        rows = self._order[touched[self._order]]
        start = 0
        for size in _BLOCKS:
            block = rows[start : start + size]
            start += size
            if block.size and self._fails(changed, block):
                return True
        return False

    def _fails(self, changed: Degrees, rows: npt.NDArray[np.intp]) -> bool:
        part = replace(changed, rule=changed.rule[:, rows], gate=changed.gate[:, rows], prior=changed.prior[:, rows])
        came = Outcome(self._program, *weigh_degrees(part))
        return any(
            not came.meets(expectation, i) for i, row in enumerate(rows) for expectation in self._cases[row].expected
        )


def _with_row(table: Floats, row: int, values: Floats) -> Floats:
    changed = table.copy()
    changed[row] = values
    return changed
