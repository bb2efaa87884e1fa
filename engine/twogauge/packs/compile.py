"""From a stack of packs to a program the core can run: names resolved, thresholds in SI, weights in decibans.

Everything that is wrong is found here at once, before any reading is looked at: unknown faults, checks, quantities
and words, a temperature where a difference belongs, a number without unit, an inverted interval, a reason that asks
for something that does not exist.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from twogauge.bands import Band, BandShift
from twogauge.errors import FileProblems, QuantityError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.levels import LEVELS
from twogauge.packs.in_force import Loaded, Stack
from twogauge.packs.problems import MOST_HINTS, Place, Problem
from twogauge.packs.words import HOW_COMMON
from twogauge.quantities import Dimension, UnitSet, absolute, parse
from twogauge.quantity_table import QUANTITIES
from twogauge.work import QuantityInfo

if TYPE_CHECKING:
    from twogauge.packs.model import Test

EVERYTHING: Final = "everything"

# Where a level stops being normal, and how far from there it is as good as sure. A band's own ends count as normal.
LEVEL_EDGE: Final = 1.25
LEVEL_SOFT: Final = 0.25
_MOST_NAMED: Final = 12  # answers in one sentence
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
    """

    stack: Stack
    hypotheses: tuple[Hypothesis, ...]
    rules: tuple[CompiledRule, ...]
    gates: tuple[CompiledGate, ...]
    topics: tuple[str, ...]
    bands: tuple[Band, ...]
    answers: Mapping[str, tuple[str, ...]]
    plans: dict[frozenset[str], Any] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def names(self) -> frozenset[str]:
        """Quantities, fields and checks that any condition looks at."""
        return frozenset(name for _, names in self.asked for name in names)

    @cached_property
    def asked(self) -> tuple[tuple[Mapping[str, frozenset[str]], frozenset[str]], ...]:
        """What rules and gates apply to, and the names that the conditions of all that apply to it look at."""
        found: dict[frozenset[tuple[str, frozenset[str]]], set[str]] = {}
        for rule in (*self.rules, *(gate.rule for gate in self.gates)):
            found.setdefault(frozenset(rule.applies_to.items()), set()).update(c.name for c in rule.conditions)
        return tuple((dict(applies_to), frozenset(names)) for applies_to, names in found.items())


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
        self._unsound: set[str] = set()
        self._problems: list[Problem] = []
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
        bands = self._bands()
        self._check_profiles()
        self._check_criteria()
        topics = tuple(sorted({r.topic for r in rules}))
        program = Program(stack, hypotheses, rules, gates, topics, bands, self._answers)
        return Examined(program, tuple(self._problems), frozenset(self._unsound))

    def _problem(self, place: Place, code: str, message: str) -> None:
        self._problems.append(Problem(place, code, message))

    def _unknown(self, place: Place, kind: str, name: str, known: Iterable[str], code: str = "") -> None:
        if name in self._lost:
            return
        # Likely names take time to find, and nobody reads thousands of them.
        near = did_you_mean(name, known) if len(self._problems) < MOST_HINTS else ()
        hint = f"; did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
        self._problem(place, code or f"unknown-{kind}", f"{shown(name)} is not a {kind} known here{hint}")

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

    def _bands(self) -> tuple[Band, ...]:
        order = {h.pack: i for i, h in enumerate(self._stack.packs)}
        found = []
        for name, loaded in self._stack.bands.items():
            entry = loaded.entry
            if entry.level not in LEVELS:
                self._unknown(loaded.place("level"), "level", entry.level, LEVELS)
                continue
            quantity = LEVELS[entry.level][0]
            info = QUANTITIES[quantity]
            difference = as_difference(info.dimension)
            edge = self._band_number(loaded, ("edge",), entry.edge, difference)
            baseline = self._band_number(loaded, ("baseline",), entry.baseline, difference)
            low, high = math.nan, math.nan
            ends = difference if entry.around else info.dimension
            if entry.around:
                self._around(loaded, entry.around, info)
            if entry.normal is not None:
                low, high = self._band_pair(loaded, ("normal",), entry.normal, ends)
            rows = []
            for i, row in enumerate(entry.normal_at):
                ambient = self._band_number(loaded, ("normal_at", i, "ambient"), row.ambient, Dimension.TEMPERATURE)
                rows.append((ambient, *self._band_pair(loaded, ("normal_at", i, "normal"), row.normal, ends)))
            if any(not a[0] < b[0] for a, b in pairwise(rows)):
                self._problem(loaded.place("normal_at"), "band-rows", "the rows must rise in ambient temperature")
            shifts = tuple(self._shift(loaded, i, difference) for i in range(len(entry.shifts)))
            if edge < 0 or baseline <= 0:
                self._problem(loaded.place("edge"), "band-width", "edge cannot be negative, and baseline is a width")
            band = Band(
                entry.level,
                quantity,
                low,
                high,
                edge,
                baseline,
                self._applies(loaded),
                name,
                entry.source.numbers or entry.source.facts or "",
                tuple(rows),
                shifts,
                swing=self._swing(loaded, info.dimension),
                around=entry.around or "",
            )
            # Of two that apply alike, the one that looks at the day's conditions is the narrower yardstick.
            found.append(((order.get(loaded.pack, 0), len(entry.applies_to), bool(entry.around), name), band))
        return tuple(band for _, band in sorted(found, key=lambda pair: pair[0]))

    def _around(self, loaded: Loaded[Any], name: str, info: QuantityInfo) -> None:
        """Refuse to count a band from what cannot be subtracted from its quantity."""
        other = QUANTITIES.get(name)
        if other is None:
            self._unknown(loaded.place("around"), "quantity", name, QUANTITIES)
        elif other.is_level or other.words or other.dimension is not info.dimension or name == info.name:
            message = f"{info.name} cannot be counted from {name}; name another {info.dimension.value}"
            self._problem(loaded.place("around"), "band-around", message)

    def _band_number(
        self, loaded: Loaded[Any], path: tuple[str | int, ...], text: str, dimension: Dimension
    ) -> float:
        try:
            return si_of(text, dimension)
        except QuantityError as error:
            label = next(str(step) for step in reversed(path) if isinstance(step, str))
            self._problem(loaded.place(*path), error.code, f"{label}: {error}")
            return math.nan

    def _band_pair(
        self, loaded: Loaded[Any], path: tuple[str | int, ...], pair: tuple[str, str], dimension: Dimension
    ) -> tuple[float, float]:
        low, high = (self._band_number(loaded, path, text, dimension) for text in pair)
        if low >= high:
            self._problem(loaded.place(*path), "empty-interval", "the lower end comes first")
        return low, high

    def _swing(
        self, loaded: Loaded[Any], dimension: Dimension
    ) -> tuple[tuple[float, float], tuple[float, float]] | None:
        if loaded.entry.swing is None:
            return None
        lower, upper = (
            self._band_pair(loaded, ("swing", i), pair, dimension) for i, pair in enumerate(loaded.entry.swing)
        )
        return lower, upper

    def _shift(self, loaded: Loaded[Any], i: int, difference: Dimension) -> BandShift:
        shift = loaded.entry.shifts[i]
        field = FIELDS.get(shift.field)
        if field is None or field.dimension is None:
            numbers = [f.name for f in FIELDS.values() if f.dimension is not None]
            self._unknown(loaded.place("shifts", i, "field"), "field", shift.field, numbers)
            return BandShift(shift.field, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0)

        def number(key: str, text: str, dimension: Dimension) -> float:
            return self._band_number(loaded, ("shifts", i, key), text, dimension)

        start = "above" if shift.above is not None else "below"
        each = number("each", shift.each, as_difference(field.dimension))
        if each <= 0:
            self._problem(loaded.place("shifts", i, "each"), "shift", "a step is greater than zero")
        return BandShift(
            shift.field,
            number(start, shift.above or shift.below, field.dimension),
            1.0 if start == "above" else -1.0,
            each,
            number("low", shift.low, difference),
            number("high", shift.high, difference),
            float(shift.steps),
        )


REFERENCE: Final = re.compile(r"\{([^{}]*)\}")


def as_difference(dimension: Dimension) -> Dimension:
    """Return the dimension of a difference of two values of this dimension."""
    return {
        Dimension.TEMPERATURE: Dimension.TEMPERATURE_DIFFERENCE,
        Dimension.PRESSURE: Dimension.PRESSURE_DIFFERENCE,
    }.get(dimension, dimension)


def si_of(text: str, dimension: Dimension) -> float:
    """Read a threshold; unlike in a reading, a bare number has no unit to fall back on.

    A difference in degC is refused, since a rule is read long after it was written: "40 degC" over the air is more
    often a condensing temperature in the wrong place. In degF both are usual, and the quantity decides.
    """
    quantity = parse(text, dimension, units=UnitSet.SI)
    if dimension is Dimension.TEMPERATURE_DIFFERENCE and quantity.symbol == "degC":
        raise QuantityError(
            f"{shown(text)} is a temperature, but a difference belongs here; write it in K",
            text=text,
            code="wrong-dimension",
        )
    if dimension is not Dimension.NUMBER and re.fullmatch(r"[-+\d.,\s]*", text.strip()):
        raise QuantityError(
            f"{shown(text)} has no unit; write it, such as {text.strip()} {quantity.symbol}",
            text=text,
            code="missing-unit",
        )
    return absolute(quantity, 101_325.0) if dimension is Dimension.PRESSURE else quantity.value
