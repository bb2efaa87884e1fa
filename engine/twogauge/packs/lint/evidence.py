"""Rules whose weights never count, weigh too much or have nothing behind them; faults and checks without a rule."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from itertools import combinations
from typing import Final

from twogauge.packs.compile import SURE, CompiledRule, Condition
from twogauge.packs.lint.spans import span_of
from twogauge.packs.lint.subject import Subject, place_of_id
from twogauge.packs.problems import Problem
from twogauge.quantity_table import QUANTITIES

HEAVY: Final = 12.0  # [decibans] 16 to 1: more than memory alone should say
_MOST_NAMES: Final = 5  # conditions of a rule of which all parts are looked up
_MOST_RIVALS: Final = 150  # rules on one fault in one topic, by the same quantities, that one is compared with


# -- rules that never count -----------------------------------------------------------------------------------------


def hidden(subject: Subject) -> Iterator[Problem]:
    """Find rules that never count, because another rule of the topic holds wherever they do and says as much."""
    rivals: _Rivals = defaultdict(list)
    for rule in subject.program.rules:
        if rule.id not in subject.unsound:
            for fault in _spoken_of(rule):
                rivals[rule.topic, tuple(c.name for c in rule.conditions), fault].append(
                    (_loudest(rule, fault), rule)
                )
    for group in rivals.values():
        group.sort(key=lambda pair: -pair[0])
    order = {rule.id: place_of_id(subject.program.stack.rules[rule.id]) for rule in subject.program.rules}
    for rule, loaded in subject.rules():
        for other in _candidates(rule, rivals):
            if other.id == rule.id or not _covers(other, rule):
                continue
            if _covers(rule, other) and order[rule.id] < order[other.id]:
                continue  # the two are the same: one of them is told
            message = (
                f"{rule.id} never counts: {other.id} of the same topic ({order[other.id]}) holds wherever it does and "
                f"says as much; leave it out, narrow the other, or give it a topic of its own"
            )
            yield Problem(place_of_id(loaded), "hidden", message)
            break


# Topic, what is looked at and a fault, which two rivals share -> how much each rule says of the fault, and the rule.
_Rivals = dict[tuple[str, tuple[str, ...], str], list[tuple[float, CompiledRule]]]


def _spoken_of(rule: CompiledRule) -> list[str]:
    return [fault for fault in {**rule.says, **rule.otherwise} if _loudest(rule, fault)]


def _loudest(rule: CompiledRule, fault: str) -> float:
    return max(abs(rule.says.get(fault, 0.0)), abs(rule.otherwise.get(fault, 0.0)))


def _candidates(rule: CompiledRule, rivals: _Rivals) -> Iterator[CompiledRule]:
    names = tuple(c.name for c in rule.conditions)
    fault = next(iter(_spoken_of(rule)), "")
    mine = _loudest(rule, fault)
    sizes = range(1, len(names) + 1) if len(names) <= _MOST_NAMES else [len(names)]
    for size in sizes:
        for part in combinations(names, size):
            for loud, other in rivals.get((rule.topic, part, fault), ())[:_MOST_RIVALS]:
                if loud < mine:  # the strongest come first
                    break
                yield other


def _covers(wide: CompiledRule, narrow: CompiledRule) -> bool:
    """Whether `wide` holds at least as much wherever `narrow` does, and says at least as much of each fault."""
    if not _outweighs(wide.says, narrow.says):
        return False
    if any(narrow.otherwise.values()) and not (
        _outweighs(wide.otherwise, narrow.otherwise)
        and wide.conditions == narrow.conditions
        and wide.applies_to == narrow.applies_to
    ):
        return False
    return implies(narrow, wide, at_least_as_sure)


def _outweighs(more: Mapping[str, float], less: Mapping[str, float]) -> bool:
    for fault, weight in less.items():
        if weight > 0.0:
            if more.get(fault, 0.0) < weight:
                return False
        elif weight < 0.0 and more.get(fault, 0.0) > weight:
            return False
    return True


def implies(narrow: CompiledRule, wide: CompiledRule, inside: Callable[[Condition, Condition], bool]) -> bool:
    """Whether one rule's conditions are met wherever the other's are; `inside` says what that takes of each."""
    if any(
        not narrow.applies_to.get(name, frozenset()) or not narrow.applies_to[name] <= words
        for name, words in wide.applies_to.items()
    ):
        return False
    mine = {condition.name: condition for condition in narrow.conditions}
    return all(c.name in mine and inside(mine[c.name], c) for c in wide.conditions)


def at_least_as_sure(narrow: Condition, wide: Condition) -> bool:
    """Whether one condition is met, to at least the same degree, wherever the other is."""
    if not narrow.edges or not wide.edges:
        return not narrow.edges and not wide.edges and narrow.words <= wide.words
    inner, outer = span_of(narrow), span_of(wide)
    if len(wide.edges) == 2 and len(narrow.edges) == 2 and inner == outer:
        return all(a.spread <= b.spread for a, b in zip(wide.edges, narrow.edges, strict=True))
    softest = max(edge.spread for edge in wide.edges)
    return (
        outer.low <= inner.low
        and inner.high <= outer.high
        and len(wide.edges) <= len(narrow.edges)
        and softest <= min(edge.spread for edge in narrow.edges)
    )


def _sure(narrow: Condition, wide: Condition) -> bool:
    """Whether the wide one is as good as sure from where the narrow one begins to count."""
    if not narrow.edges or not wide.edges:
        return not narrow.edges and not wide.edges and narrow.words <= wide.words
    inner = span_of(narrow)
    return all(
        (inner.low if edge.sign > 0 else -inner.high) >= edge.sign * edge.threshold + SURE * edge.spread
        for edge in wide.edges
    )


def silenced(subject: Subject) -> Iterator[Problem]:
    """Find rules whose own conditions close a gate on their topic."""
    stack = subject.program.stack
    for rule, loaded in subject.rules():
        for gate in subject.program.gates:
            if (
                rule.topic in gate.silences
                and gate.rule.id not in subject.unsound
                and implies(rule, gate.rule, _sure)
            ):
                message = (
                    f"{rule.id} never counts: wherever it holds, the gate {gate.rule.id} "
                    f"({place_of_id(stack.gates[gate.rule.id])}) silences its topic {rule.topic!r}; use another topic"
                )
                yield Problem(loaded.place("topic"), "silenced", message)


# -- weights and sources ----------------------------------------------------------------------------------------------


def weights(subject: Subject) -> Iterator[Problem]:
    """Find weights that are too heavy for what stands behind them, and rules that say the same either way."""
    for rule, loaded in subject.rules():
        source = loaded.entry.source.weights or loaded.entry.source.facts or ""
        if not any(rule.says.values()) and not any(rule.otherwise.values()):
            message = f"{rule.id} says nothing of any fault; give one a weight, or disable the rule"
            yield Problem(loaded.place("says", key=True), "says-nothing", message)
        for group, said in (("says", rule.says), ("otherwise", rule.otherwise)):
            for fault, weight in said.items():
                if abs(weight) > HEAVY and source.strip().casefold().startswith("from memory"):
                    message = (
                        f"{abs(weight):g} dB is {10 ** (abs(weight) / 10):.0f} to 1, much for one sight from memory; "
                        f"write no more than {HEAVY:g} dB, or name what the weight rests on"
                    )
                    yield Problem(loaded.place(group, fault), "heavy-weight", message)
        measured = not any(name in subject.program.answers for name in loaded.entry.when)
        for fault, weight in rule.otherwise.items():  # that somebody was led to look may say something by itself
            if measured and weight * rule.says.get(fault, 0.0) > 0.0:
                side = "for" if weight > 0 else "against"
                message = f"this speaks {side} {fault} whether the rule holds or not; turn one of the two round"
                yield Problem(loaded.place("otherwise", fault), "same-either-way", message)


def sources(subject: Subject) -> Iterator[Problem]:
    """Find rules that name a source, but none for their weights or their thresholds."""
    for rule, loaded in subject.rules():
        source = loaded.entry.source
        if source.facts is not None:
            continue
        written = [
            loaded.entry.when[c.name]
            for c in rule.conditions
            if c.edges and _is_written(c.name, loaded.entry.when[c.name])
        ]
        for part, wanted, what in (
            ("weights", True, "the weights"),
            ("numbers", bool(written), "the thresholds"),
        ):
            if wanted and getattr(source, part) is None:
                message = f"no source is named for {what}; add '{part}:' with a document, or 'common practice'"
                yield Problem(loaded.place("source", key=True), "unsourced", message)


def _is_written(name: str, test: object) -> bool:
    """Whether a condition names a number of its own; the words for a level do not."""
    return name in QUANTITIES and any(getattr(test, key) is not None for key in ("above", "below", "between"))


# -- what nothing points at -------------------------------------------------------------------------------------------


def unused(subject: Subject) -> Iterator[Problem]:
    """Find faults that no rule speaks for, checks that no rule looks at, and cautions that nothing names."""
    stack, program = subject.program.stack, subject.program
    pointed = {
        f for r in program.rules for said in (r.says, r.otherwise) for f, weight in said.items() if weight > 0.0
    }
    used = {name for kind in (stack.rules, stack.gates) for each in kind.values() for name in each.entry.when}
    advised = {c for kind in (stack.faults, stack.checks) for each in kind.values() for c in each.entry.cautions}
    advised |= {c for plan in stack.plans.values() for step in plan.entry.steps.values() for c in step.cautions}
    for name, fault in stack.faults.items():
        if (
            subject.is_checked(fault)
            and name not in pointed | subject.mentioned
            and fault.entry.nothing_wrong == "no"
        ):
            message = f"no rule speaks for {name}, so it is never found; write one, or take the fault out"
            yield Problem(place_of_id(fault), "fault-without-rule", message)
    for name, check in stack.checks.items():
        if subject.is_checked(check) and name not in used | subject.mentioned:
            message = f"no rule looks at {name}, so its answer moves nothing; write one, or take the check out"
            yield Problem(place_of_id(check), "check-without-rule", message)
    for name, caution in stack.cautions.items():
        unread = name not in advised | subject.mentioned and not caution.entry.beside
        if subject.is_checked(caution) and unread:
            message = f"no fault, check or plan names {name}, so nobody reads it; name it under their cautions"
            yield Problem(place_of_id(caution), "caution-unused", message)
