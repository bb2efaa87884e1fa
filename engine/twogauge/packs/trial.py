"""Runs the cases of packs (casefiles.py): what was expected, what came, and the reasons for it.

Whole readings go through the core side by side and are compared with what their authors expect. The cases of packs
that lie beneath the ones under test are run too: where a shop's change moves one of those, that is told and is no
failure, since a shop may well have meant it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from twogauge.columns import Floats
from twogauge.diagnosis import Ranked, columns_of, diagnose
from twogauge.packs import selftest
from twogauge.packs.casefiles import BY_TOPIC, LEAST, Expectation, PackCase, read_pack_cases
from twogauge.packs.compile import Program
from twogauge.packs.layers import program_in_force
from twogauge.profiles import with_profile
from twogauge.weigh import CHUNK, Ledger, Verdict, Weighed, topic_weights, weigh_chunk


@dataclass(frozen=True, slots=True)
class CaseFailure:
    """One thing that was expected of a case and did not come.

    Attributes:
        case: which.
        expectation: what was expected.
        came: a sentence: what was to come, and what came.
        ranked: the faults it is about, with their ledgers.
        conditions: (quantity or check, its degree), for a rule that was to hold or not; NaN where an input is missing.
    """

    case: PackCase
    expectation: Expectation
    came: str
    ranked: tuple[Ranked, ...] = ()
    conditions: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Trial:
    """What the examples and cases showed.

    Attributes:
        program: what was tried.
        tested: packs under test; what is said of coverage and mutants is about their rules.
        examples: those that are readings.
        example_failures: those that prove nothing, and those that are no readings.
        cases: in the order of packs, files and lines.
        failures: of cases, in the same order.
        moved: of cases of the packs beneath, which hold without the packs under test.
    """

    program: Program
    tested: frozenset[str]
    examples: tuple[selftest.Example, ...]
    example_failures: tuple[selftest.Failure, ...]
    cases: tuple[PackCase, ...]
    failures: tuple[CaseFailure, ...]
    moved: tuple[CaseFailure, ...]

    @property
    def example_count(self) -> int:
        """How many examples there are, readings or not."""
        return selftest.count_examples(self.program)

    @property
    def found_nothing(self) -> bool:
        """Whether there was neither an example nor a case."""
        return not (self.example_count or self.cases)

    @property
    def holds(self) -> bool:
        """Whether everything proves what it should."""
        return not (self.found_nothing or self.example_failures or self.failures)

    @property
    def sound_cases(self) -> tuple[PackCase, ...]:
        """The cases of which everything comes as expected."""
        failed = {id(failure.case) for failure in (*self.failures, *self.moved)}
        return tuple(case for case in self.cases if id(case) not in failed)


def run(folders: Sequence[str | Path] = ()) -> Trial:
    """Try packs: every example and every case of what is in force.

    Args:
        folders: packs to stack on the others and to test; none tests the built-in and installed ones.

    Raises:
        FileProblems: packs or cases that cannot be used.
        InputError: a folder that is not there or holds no pack.
    """
    program = program_in_force(folders, from_files=True)
    found = [each for each in program.stack.found if not each.refused]
    tested = frozenset(each.name for each in found if each.layer == "named" or not folders)
    cases = read_pack_cases([(each.name, each.folder) for each in found], program)
    examples, _ = selftest.read_examples(program)
    failures = check_cases(cases, program)
    foreign = [failure for failure in failures if failure.case.pack not in tested]
    moved = moved_by(foreign, program_in_force(from_files=True)) if foreign else []
    return Trial(
        program,
        tested,
        tuple(examples),
        tuple(selftest.check_examples(program)),
        tuple(cases),
        tuple(failure for failure in failures if failure not in moved),
        tuple(moved),
    )


def check_cases(cases: Sequence[PackCase], program: Program) -> list[CaseFailure]:
    """Return everything that does not come as it is expected, in the order of the cases."""
    found = []
    for start in range(0, len(cases), CHUNK):
        chunk = cases[start : start + CHUNK]
        readings = [with_profile(case.reading, program) for case in chunk]
        came = Outcome(program, *weigh_chunk(columns_of(readings), program))
        for row, case in enumerate(chunk):
            found += [_failure(case, each, came, row) for each in case.expected if not came.meets(each, row)]
    return found


def moved_by(failures: Sequence[CaseFailure], without: Program) -> list[CaseFailure]:
    """Return the failures of cases of which nothing fails without the packs under test.

    Args:
        failures: with those packs.
        without: what is in force beneath them.
    """
    wrong = {failure.case.place for failure in check_cases([failure.case for failure in failures], without)}
    return [failure for failure in failures if failure.case.place not in wrong]


class Outcome:
    """What came of n readings, to be asked about any of them."""

    def __init__(self, program: Program, weighed: Weighed, ledger: Ledger) -> None:
        self.program = program
        self._weighed = weighed
        self._ledger = ledger
        self._hypothesis = {name: i for i, name in enumerate(ledger.plan.hypotheses)}

    @cached_property
    def _rule(self) -> dict[str, int]:
        return {rule.id: i for i, rule in enumerate(self._ledger.plan.rules)}

    @cached_property
    def _gate(self) -> dict[str, int]:
        return {gate.id: i for i, gate in enumerate(self._ledger.plan.gates)}

    @cached_property
    def _topic(self) -> dict[str, int]:
        speaking = np.unique(self._ledger.plan.term_topic)
        return {self.program.topics[topic]: i for i, topic in enumerate(speaking)}

    @cached_property
    def _of_topics(self) -> Floats:
        return topic_weights(self._ledger)

    @cached_property
    def _order(self) -> np.ndarray:
        return np.argsort(-self._weighed.probability, axis=1, kind="stable")

    def ranking(self, row: int) -> list[str]:
        """Return the hypotheses, most probable first."""
        return [self._weighed.hypotheses[i] for i in self._order[row]]

    def place(self, fault: str, row: int) -> int:
        """Return the place of a hypothesis in the ranking, from 1."""
        return int(np.flatnonzero(self._order[row] == self._hypothesis[fault])[0]) + 1

    def chance(self, fault: str, row: int) -> float:
        """Return the probability of a hypothesis [1]."""
        return float(self._weighed.probability[row, self._hypothesis[fault]])

    def weight(self, fault: str, row: int, topic: str = "") -> float:
        """Return the evidence for (positive) or against a hypothesis [decibans], of one topic or of all."""
        index = self._hypothesis[fault]
        if not topic:
            return float(self._weighed.weight[row, index])
        return float(self._of_topics[self._topic[topic], index, row]) if topic in self._topic else 0.0

    def degree(self, rule: str, row: int) -> float:
        """Return how far a rule or gate holds; NaN where it cannot be judged or does not apply."""
        if rule in self._rule:
            return float(self._ledger.degree[self._rule[rule], row])
        return float(self._ledger.gate_degree[self._gate[rule], row]) if rule in self._gate else math.nan

    def verdict(self, row: int) -> str:
        """Return what the answer amounts to."""
        return Verdict(int(self._weighed.verdict[row])).word

    def meets(self, expectation: Expectation, row: int) -> bool:
        """Return whether what was expected came."""
        key = expectation.key
        if key == "first":
            return self.ranking(row)[0] in expectation.names
        if key == "verdict":
            return self.verdict(row) in expectation.names
        return all(self.meets_for(expectation, name, row) for name in expectation.names)

    def meets_for(self, expectation: Expectation, name: str, row: int) -> bool:
        """Return whether what was expected came as far as this fault or rule goes."""
        match expectation.key:
            case "not_first":
                return self.place(name, row) > 1
            case "within_three":
                return self.place(name, row) <= 3
            case "not_within_three":
                return self.place(name, row) > 3
            case "at_least":
                return self.chance(name, row) >= expectation.chance
            case "at_most":
                return self.chance(name, row) <= expectation.chance
            case "fires":
                return self.degree(name, row) >= selftest.HOLDS_FROM
            case "silent":
                return not self.degree(name, row) > selftest.FAILS_TO
        if self.chance(name, row) == 0.0:
            return False  # it cannot be in this system
        mine = self.weight(name, row, expectation.topic)
        match expectation.key:
            case "speaks_for":
                return mine >= LEAST
            case "speaks_against":
                return mine <= -LEAST
            case _:
                return all(mine - self.weight(each, row, expectation.topic) >= LEAST for each in expectation.rivals)


# -- what is said of a failure ------------------------------------------------------------------------------------


def _failure(case: PackCase, expectation: Expectation, came: Outcome, row: int) -> CaseFailure:
    any_will_do = expectation.key in {"first", "verdict"}
    wrong = [name for name in expectation.names if any_will_do or not came.meets_for(expectation, name, row)]
    leader = came.ranking(row)[0]
    about = {
        "first": (*expectation.names, leader),
        "verdict": came.ranking(row)[:2],
        "favours": (*expectation.names, *expectation.rivals),
    }.get(expectation.key, (*wrong, leader))
    said = _said(expectation, wrong, came, row)
    if expectation.key in {"fires", "silent"}:
        return CaseFailure(case, expectation, said, conditions=_conditions(case, wrong, came.program))
    by_fault = {ranked.fault: ranked for ranked in diagnose(case.reading, program=came.program).ranking}
    ranked = tuple(by_fault[name] for name in dict.fromkeys(about) if name in by_fault)
    return CaseFailure(case, expectation, said, ranked)


def _said(expectation: Expectation, wrong: Sequence[str], came: Outcome, row: int) -> str:
    """Return one sentence: what was to come, and what came."""
    names = expectation.names

    def percent(name: str) -> str:
        return f"{came.chance(name, row) * 100:.3g} %"

    def stands(name: str) -> str:
        return f"{name} is number {came.place(name, row)} with {percent(name)}"

    def evidence(name: str) -> str:
        return f"{came.weight(name, row, expectation.topic):+.1f} dB"

    of = f" of {expectation.topic}" if expectation.topic else ""
    elsewhere = [name for name in wrong if expectation.key in BY_TOPIC and not came.chance(name, row)]
    if elsewhere:
        return f"{' and '.join(elsewhere)} cannot be in this system, so nothing can be expected of it"
    match expectation.key:
        case "first":
            leader = came.ranking(row)[0]
            places = " and ".join(map(stands, names))
            return f"{' or '.join(names)} was to come first; {leader} does with {percent(leader)}, and {places}"
        case "verdict":
            return f"the verdict was to be {' or '.join(names)}; it is {came.verdict(row)}"
        case "not_first":
            return f"{wrong[0]} was not to come first; it does with {percent(wrong[0])}"
        case "within_three" | "not_within_three":
            verb = "was to be" if expectation.key == "within_three" else "was not to be"
            return "; ".join(f"{name} {verb} among the first three; {stands(name)}" for name in wrong)
        case "at_least" | "at_most":
            bound = f"{expectation.key.replace('_', ' ')} {expectation.chance * 100:g} %"
            return f"{wrong[0]} was to have {bound}; it has {percent(wrong[0])}"
        case "fires" | "silent":
            verb = "was to hold" if expectation.key == "fires" else "was not to hold"
            return "; ".join(f"{name} {verb}; its degree is {_shown(came, name, row)}" for name in wrong)
        case "favours":
            rivals = ", ".join(f"{name} ({evidence(name)})" for name in expectation.rivals)
            return f"the evidence{of} was to favour {names[0]} ({evidence(names[0])}) over {rivals}"
    side = expectation.key.removeprefix("speaks_")
    amounts = ", ".join(f"{name} ({evidence(name)})" for name in wrong)
    return f"the evidence{of} was to speak {side} {amounts}"


def _shown(came: Outcome, name: str, row: int) -> str:
    stack = came.program.stack
    if name in stack.disabled:
        return f"none: it is disabled by {stack.disabled[name]}"
    degree = came.degree(name, row)
    return "none: an input is missing, or it is for other systems" if math.isnan(degree) else f"{degree:.2f}"


def _conditions(case: PackCase, wrong: Sequence[str], program: Program) -> tuple[tuple[str, float], ...]:
    compiled = {rule.id: rule for rule in (*program.rules, *(gate.rule for gate in program.gates))}
    found = (selftest.by_condition(case.reading, compiled[name], program) for name in wrong if name in compiled)
    return tuple(each for conditions in found for each in conditions)
