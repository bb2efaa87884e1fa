"""From a stack of packs to a program the core can run: names resolved, thresholds in SI, weights in decibans.

Everything that is wrong is found here at once, before any reading is looked at: unknown faults, checks, quantities
and words, a temperature where a difference belongs, a number without unit, an inverted interval, a reason that asks
for something that does not exist.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from twogauge.errors import FileProblems, QuantityError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.packs.compile_bands import BandCompiler
from twogauge.packs.complaints import Complaints
from twogauge.packs.in_force import Loaded, Stack
from twogauge.packs.problems import MOST_HINTS, Place, Problem
from twogauge.packs.program import (
    LEVEL_EDGE,
    LEVEL_SOFT,
    SURE,
    CompiledGate,
    CompiledRule,
    Condition,
    Edge,
    Hypothesis,
    Program,
)
from twogauge.packs.thresholds import as_difference, si_of
from twogauge.packs.words import HOW_COMMON
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.work import QuantityInfo

if TYPE_CHECKING:
    from twogauge.packs.model import Test

__all__ = [
    "LEVEL_EDGE",
    "REFERENCE",
    "SURE",
    "CompiledGate",
    "CompiledRule",
    "Condition",
    "Edge",
    "Examined",
    "Hypothesis",
    "Program",
    "compile_stack",
    "examine",
]

EVERYTHING: Final = "everything"

_MOST_NAMED: Final = 12  # answers in one sentence


def compile_stack(stack: Stack, *, without: Iterable[str] = ()) -> Program:
    """Compile a stack.

    Args:
        stack: the entries in force.
        without: ids of rules to leave out, for one run.

    Raises:
        FileProblems: everything that cannot be made sense of, with file, line and column.
        InputError: `without` names a rule that does not exist.
    """
    found = examine(stack, without=without)
    if found.problems:
        raise FileProblems(found.problems)
    return found.program


@dataclass(frozen=True)
class Examined:
    """A stack as far as it can be compiled.

    Attributes:
        program: of the entries that mean something.
        problems: everything that cannot be made sense of.
        unsound: ids of rules and gates that a problem was found in; what is compiled of them is not the whole.
    """

    program: Program
    problems: tuple[Problem, ...]
    unsound: frozenset[str]


def examine(stack: Stack, *, without: Iterable[str] = (), lost: frozenset[str] = frozenset()) -> Examined:
    """Compile a stack as far as it goes, and collect what is wrong with the meaning of its entries.

    Args:
        stack: the entries in force.
        without: ids of rules to leave out.
        lost: names that stand in what could not be read; they are taken to exist.

    Raises:
        InputError: `without` names a rule that does not exist.
    """
    return _Compiler(stack, lost).examined(frozenset(without))


class _Compiler:
    def __init__(self, stack: Stack, lost: frozenset[str] = frozenset()) -> None:
        self._stack = stack
        self._lost = lost
        self._told = Complaints(lost)
        self._problem, self._unknown = self._told.problem, self._told.unknown
        self._unsound: set[str] = set()
        self._problems = self._told.found
        mine = (name for name in stack.checks if name not in FIELDS and name not in QUANTITIES)
        self._answers = {name: tuple(stack.checks[name].entry.answers) for name in mine}
        self._names = {**QUANTITIES, **self._answers}
        self._topics = sorted({r.entry.topic for r in stack.rules.values()} | stack.disabled_topics)

    def examined(self, without: frozenset[str]) -> Examined:
        stack = self._stack
        for missing in sorted(without - set(stack.rules)):
            from twogauge.errors import UnknownNameError  # noqa: PLC0415

            raise UnknownNameError("rule", missing, stack.rules)
        self._check_names()
        rules = tuple(self._rule(r) for name, r in stack.rules.items() if name not in without)
        gates = tuple(self._gate(g) for g in stack.gates.values())
        hypotheses = tuple(
            Hypothesis(
                name,
                HOW_COMMON[f.entry.how_common],
                self._applies(f),
                f.entry.nothing_wrong == "yes",
            )
            for name, f in stack.faults.items()
        )
        if sum(h.nothing_wrong for h in hypotheses) != 1 and not self._lost:
            order = {h.pack: i for i, h in enumerate(stack.packs)}
            saying = [stack.faults[h.id] for h in hypotheses if h.nothing_wrong] or list(stack.faults.values())
            last = max(saying, key=lambda f: (order[f.pack], f.place()), default=None)
            place = last.place("nothing_wrong", key=True) if last else Place("faults")
            self._problem(place, "nothing-wrong", "exactly one entry under faults must say 'nothing_wrong: yes'")
        for name, loaded in stack.faults.items():
            if loaded.entry.nothing_wrong == "yes" and loaded.entry.applies_to:
                message = f"{name} says 'nothing_wrong: yes', which applies to every system; remove applies_to"
                self._problem(loaded.place("applies_to", key=True), "nothing-wrong", message)
        bands = BandCompiler(stack, self._told, self._applies).bands()
        self._check_profiles()
        for caution in self._stack.cautions.values():
            self._applies(caution)
        self._check_criteria()
        self._check_plans()
        topics = tuple(sorted({r.topic for r in rules}))
        program = Program(stack, hypotheses, rules, gates, topics, bands, self._answers)
        return Examined(program, tuple(self._problems), frozenset(self._unsound))

    def _check_names(self) -> None:
        """Every name that one entry uses of another must exist."""
        stack = self._stack
        for name in stack.checks:
            if name in FIELDS or name in QUANTITIES:
                message = f"{name!r} is a field or quantity of the engine; give the check another id"
                self._problem(stack.checks[name].place(), "taken-id", message)
        advised: list[Loaded[Any]] = [*stack.faults.values(), *stack.checks.values()]
        for each in advised:
            for i, name in enumerate(each.entry.cautions):
                if name not in stack.cautions:
                    self._unknown(each.place("cautions", i), "caution", name, stack.cautions)
            self._applies(each)
        for check in stack.checks.values():
            for i, name in enumerate(check.entry.same_as):
                if name not in FIELDS:
                    self._unknown(check.place("same_as", i), "field", name, FIELDS)
            for i, step in enumerate(check.entry.how):
                self._chosen(check, step.applies_to, "how", i)
        for fault in stack.faults.values():
            for i, name in enumerate(fault.entry.excludes):
                if name not in stack.faults:
                    self._unknown(fault.place("excludes", i), "fault", name, stack.faults)
            for key in ("confirm", "repair"):
                for i, step in enumerate(getattr(fault.entry, key)):
                    self._chosen(fault, step.applies_to, key, i)

    def _check_profiles(self) -> None:
        if not self._stack.profiles:
            return
        from twogauge.profiles import check_profile  # noqa: PLC0415 - only shops have profiles

        for loaded in self._stack.profiles.values():
            for trouble in check_profile(loaded.entry):
                place = loaded.place(*trouble.path, key=trouble.at_key)
                self._problem(place, "profile", trouble.message)

    def _check_criteria(self) -> None:
        written = [loaded for loaded in self._stack.criteria.values() if loaded.node is not None]
        if not written:  # as they ship, and then they were checked when the snapshot was made
            return
        from twogauge.service.criteria import check_criterion  # noqa: PLC0415 - a diagnosis needs none

        for loaded in written:
            self._applies(loaded)
            for key, message in check_criterion(loaded.entry):
                self._problem(loaded.place(key), "criterion", message)

    def _check_plans(self) -> None:
        written = [loaded for loaded in self._stack.plans.values() if loaded.node is not None]
        if not written:  # as they ship
            return
        from twogauge.service.plan_steps import check_plan  # noqa: PLC0415 - a diagnosis needs none

        for loaded in written:
            self._applies(loaded)
            for path, code, message in check_plan(loaded.entry):
                self._problem(loaded.place(*path), code, message)
            for name, step in loaded.entry.steps.items():
                for i, caution in enumerate(step.cautions):
                    if caution not in self._stack.cautions:
                        place = loaded.place("steps", name, "cautions", i)
                        self._unknown(place, "caution", caution, self._stack.cautions)
                self._chosen(loaded, step.applies_to, "steps", name)

    def _applies(self, loaded: Loaded[Any]) -> Mapping[str, frozenset[str]]:
        wanted = {}
        for name, words in loaded.entry.applies_to.items():
            known = FIELDS.get(name)
            if known is None or not (known.choices or name == "refrigerant"):
                choices = [f.name for f in FIELDS.values() if f.choices] + ["refrigerant"]
                self._unknown(loaded.place("applies_to", name, key=True), "field", name, choices)
                continue
            if name == "refrigerant":
                wanted[name] = frozenset(self._refrigerants(loaded, words))
                continue
            for i, word in enumerate(words):
                if word not in known.choices:
                    self._unknown(
                        loaded.place("applies_to", name, i), f"word for {name}", word, known.choices, "unknown-word"
                    )
            wanted[name] = frozenset(words)
        for name in loaded.entry.applies_to:
            if not loaded.entry.applies_to[name]:
                self._problem(loaded.place("applies_to", name), "empty-list", f"{name}: name a word, or leave it out")
        return wanted

    def _chosen(self, loaded: Loaded[Any], wanted: Mapping[str, Sequence[str]], *path: str | int) -> None:
        """Check what a step of advice is for: kinds of machine, told by the fields that have words to choose from."""
        choices = {f.name: f.choices for f in FIELDS.values() if f.choices}
        for name, words in wanted.items():
            if name not in choices:
                self._unknown(loaded.place(*path, "applies_to", name, key=True), "field", name, choices)
                continue
            for i, word in enumerate(words):
                if word not in choices[name]:
                    place = loaded.place(*path, "applies_to", name, i)
                    self._unknown(place, f"word for {name}", word, choices[name], "unknown-word")

    def _refrigerants(self, loaded: Loaded[Any], words: Sequence[str]) -> list[str]:
        from twogauge import refrigerants  # noqa: PLC0415 - only packs that name one need the catalogue
        from twogauge.errors import InputError  # noqa: PLC0415

        found = []
        for i, word in enumerate(words):
            try:
                found.append(refrigerants.get(word).id)
            except InputError as error:
                self._problem(loaded.place("applies_to", "refrigerant", i), "unknown-refrigerant", str(error))
        return found

    def _rule(self, loaded: Loaded[Any]) -> CompiledRule:
        entry, before = loaded.entry, len(self._problems)
        for group in ("says", "otherwise"):
            for name in getattr(entry, group):
                if name not in self._stack.faults:
                    self._unknown(loaded.place(group, name, key=True), "fault", name, self._stack.faults)
        for i, name in enumerate(entry.check_next):
            if name not in self._stack.checks and name not in FIELDS:
                known = [*self._stack.checks, *FIELDS]
                self._unknown(loaded.place("check_next", i), "check", name, known)
        rule = CompiledRule(
            loaded.id, entry.topic, self._conditions(loaded), entry.says, entry.otherwise, self._applies(loaded)
        )
        if len(self._problems) > before:
            self._unsound.add(loaded.id)
        return rule

    def _gate(self, loaded: Loaded[Any]) -> CompiledGate:
        entry, before = loaded.entry, len(self._problems)
        for group in ("silences", "except"):
            for i, topic in enumerate(entry.silences if group == "silences" else entry.except_):
                if topic != EVERYTHING and topic not in self._topics:
                    self._unknown(loaded.place(group, i), "topic", topic, self._topics)
        silenced = set(self._topics) if EVERYTHING in entry.silences else set(entry.silences)
        rule = CompiledRule(loaded.id, "", self._conditions(loaded), {}, {}, self._applies(loaded))
        if len(self._problems) > before:
            self._unsound.add(loaded.id)
        return CompiledGate(rule, frozenset(silenced - set(entry.except_)))

    def _conditions(self, loaded: Loaded[Any]) -> tuple[Condition, ...]:
        for match in REFERENCE.finditer(loaded.entry.because):
            if match[1] not in self._names:
                place = loaded.place("because")
                code = "unknown-quantity" if re.fullmatch(r"\w+", match[1]) else "braces"
                self._unknown(place, "quantity or check", match[1], self._names, code)
        if re.search("[{}]", REFERENCE.sub("", loaded.entry.because)):
            message = "braces hold the name of one quantity or check, such as {superheat}, and nothing else"
            self._problem(loaded.place("because"), "braces", message)
        conditions = [self._condition(loaded, name, test) for name, test in loaded.entry.when.items()]
        return tuple(sorted((c for c in conditions if c is not None), key=lambda c: c.name))

    def _condition(self, loaded: Loaded[Any], name: str, test: Test) -> Condition | None:
        if name in self._answers:
            return self._word_condition(loaded, name, test, self._answers[name])
        info = QUANTITIES.get(name)
        if info is None:
            place = loaded.place("when", name, key=True)
            self._unknown(place, "quantity or check", name, self._names, "unknown-quantity")
            self._unsound.add(loaded.id)
            return None
        if info.is_level and test.above is None and test.below is None and test.between is None:
            return self._level_condition(loaded, name, test)
        if info.words and not info.is_level:
            return self._word_condition(loaded, name, test, info.words)
        return self._numeric_condition(loaded, info, test)

    def _word_condition(
        self, loaded: Loaded[Any], name: str, test: Test, answers: tuple[str, ...]
    ) -> Condition | None:
        place = loaded.place("when", name, key=True)
        wanted = [w for w in (test.is_, test.is_not, *(test.any_of or ())) if w is not None]
        if not wanted and test.any_of is None:
            self._problem(place, "wrong-test", f"{name} is told in words; use is, is_not or any_of")
            return None
        known = frozenset(answers)
        for word in wanted:
            if word not in known:
                near = did_you_mean(word, answers, 1) if len(self._problems) < MOST_HINTS else ()
                hint = f"did you mean {near[0]!r}?" if near else f"it is one of {', '.join(answers[:_MOST_NAMED])}"
                self._problem(place, "unknown-answer", f"{name} is never {shown(word)}; {hint}")
        holds = frozenset(answers) - set(wanted) if test.is_not is not None else frozenset(wanted)
        if (not holds or holds == frozenset(answers)) and holds.issubset(answers):
            how = "always" if holds else "never"
            self._problem(place, f"{how}-holds", f"this condition on {name} {how} holds")
        return Condition(name, words=holds)

    def _level_condition(self, loaded: Loaded[Any], name: str, test: Test) -> Condition | None:
        place = loaded.place("when", name, key=True)
        spread = LEVEL_SOFT / SURE
        low, high = Edge(-LEVEL_EDGE, -1.0, spread), Edge(LEVEL_EDGE, 1.0, spread)
        not_low, not_high = Edge(-LEVEL_EDGE, 1.0, spread), Edge(LEVEL_EDGE, -1.0, spread)
        by_word = {"low": (low,), "normal": (not_low, not_high), "high": (high,)}
        by_not = {"low": (not_low,), "high": (not_high,)}
        word = test.is_ if test.is_ is not None else test.is_not
        if test.is_ in by_word:
            return Condition(name, by_word[test.is_])
        if test.is_not in by_not:
            return Condition(name, by_not[test.is_not])
        message = f"{name} is low, normal or high ('is_not' takes low or high); "
        message += "any_of is not known here" if word is None else f"{shown(word)} is none of these"
        self._problem(place, "unknown-answer", message)
        return None

    def _numeric_condition(self, loaded: Loaded[Any], info: QuantityInfo, test: Test) -> Condition | None:
        name, place = info.name, loaded.place("when", info.name, key=True)
        if test.is_ is not None or test.is_not is not None or test.any_of is not None:
            self._problem(place, "wrong-test", f"{name} is a {info.dimension.value}; use above, below or between")
            return None
        if info.dimension is Dimension.PRESSURE and "refrigerant" not in loaded.entry.applies_to:
            message = (
                f"{name} as a raw pressure means something for one refrigerant only; name it under applies_to, or "
                f"use a level, a saturation temperature or kelvin over ambient"
            )
            self._problem(place, "raw-pressure", message)
        given = {
            "above": test.above,
            "below": test.below,
            **({"between": test.between[0], "between_": test.between[1]} if test.between else {}),
        }
        numbers = {
            key: self._number(loaded, info, text, key.rstrip("_")) for key, text in given.items() if text is not None
        }
        soft = 0.0
        if test.soft is not None:
            soft = self._number(loaded, info, test.soft, "soft", difference=True)
            if soft < 0:
                self._problem(loaded.place("when", name, "soft"), "soft-edge", "soft cannot be negative")
        if any(math.isnan(n) for n in (*numbers.values(), soft)):
            return None
        low = numbers.get("above", numbers.get("between"))
        high = numbers.get("below", numbers.get("between_"))
        if low is not None and high is not None and not low < high:
            self._problem(place, "empty-interval", f"no value of {name} lies between these two; turn them round")
        edges = []
        if low is not None:
            edges.append(Edge(low, 1.0, soft / SURE))
        if high is not None:
            edges.append(Edge(high, -1.0, soft / SURE))
        return Condition(name, tuple(edges))

    def _number(
        self, loaded: Loaded[Any], info: QuantityInfo, text: str, key: str, *, difference: bool = False
    ) -> float:
        place = loaded.place("when", info.name, key)
        dimension = as_difference(info.dimension) if difference else info.dimension
        try:
            return si_of(text, dimension)
        except QuantityError as error:
            self._problem(place, error.code, f"{key}: {error}")
            return math.nan


REFERENCE: Final = re.compile(r"\{([^{}]*)\}")
