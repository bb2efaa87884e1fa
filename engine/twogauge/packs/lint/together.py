"""Conditions of one rule that cannot be true together, and rules that speak of what is never there with them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from twogauge.bands import Band
from twogauge.fields import FIELDS
from twogauge.levels import LEVELS
from twogauge.packs.compile import CompiledRule, Condition
from twogauge.packs.in_force import Loaded
from twogauge.packs.lint.conditions import place_of
from twogauge.packs.lint.spans import Span, reach, span_of
from twogauge.packs.lint.subject import Subject
from twogauge.packs.problems import Problem

# Quantities that are always the difference of two others (derive.py). Superheat, subcooling and the two differences
# of the air are not: an instrument may tell them outright.
DIFFERENCES: Final = {
    "condensing_over_ambient": ("condensing_saturation", "ambient"),
    "suction_below_return_air": ("return_air", "suction_saturation"),
    "suction_below_ambient": ("ambient", "suction_saturation"),
    "pressure_difference": ("high_side", "low_side"),
    "liquid_over_ambient": ("liquid_line", "ambient"),
    "discharge_superheat": ("discharge_line", "condensing_saturation"),
    "vent_below_ambient": ("ambient", "vent_air"),
    "vent_over_suction": ("vent_air", "suction_saturation"),
    "superheat_over_target": ("superheat", "target_superheat"),
    "subcooling_over_target": ("subcooling", "target_subcooling"),
    "air_drop_over_target": ("evaporator_air_drop", "target_air_drop"),
}
_ROUNDS: Final = 6  # more than the longest chain of differences


def applies_to_against_conditions(subject: Subject) -> Iterator[Problem]:
    """Find conditions on a field that the rule's own applies_to has already decided."""
    for rule, loaded in subject.rules_and_gates():
        for condition in rule.conditions:
            allowed = rule.applies_to.get(condition.name)
            if allowed is None or not condition.words:
                continue
            place, told = place_of(loaded, condition.name), " or ".join(sorted(allowed))
            if not condition.words & allowed:
                message = (
                    f"{condition.name} can never be this here: the rule applies to {told} only; change one of them"
                )
                yield Problem(place, "never-together", message)
            elif allowed <= condition.words:
                message = f"this always holds: the rule applies to {told} only; leave this condition out"
                yield Problem(place, "always-holds", message)


def arithmetic(subject: Subject) -> Iterator[Problem]:
    """Find conditions that a subtraction shows to exclude each other."""
    for rule, loaded in subject.rules_and_gates():
        numeric = [c for c in rule.conditions if c.edges and c.name not in LEVELS]
        if len(numeric) < 2 or any(_alone_impossible(c) for c in numeric):
            continue
        if narrowed(rule) is None:
            names = " and ".join(c.name for c in numeric)
            last = max((place_of(loaded, c.name) for c in numeric), key=lambda place: (place.line, place.column))
            message = f"{names} can never be like this at once: each follows from the others; change one of them"
            yield Problem(last, "never-together", message)


def _alone_impossible(condition: Condition) -> bool:
    return span_of(condition).meet(reach(condition.name)).is_empty


def narrowed(rule: CompiledRule) -> Mapping[str, Span] | None:
    """Return what the conditions of a rule leave of each quantity, or None if they leave nothing of one."""
    spans: dict[str, Span] = {}
    for condition in rule.conditions:
        if condition.edges and condition.name not in LEVELS:
            spans[condition.name] = span_of(condition).meet(reach(condition.name))
    triples = [(d, a, b) for d, (a, b) in DIFFERENCES.items() if {d, a, b} & set(spans)]
    for _ in range(_ROUNDS):
        for d, a, b in triples:
            difference, one, other = (spans.get(name, reach(name)) for name in (d, a, b))
            spans[d] = difference.meet(one.minus(other))
            spans[a] = one.meet(difference.plus(other))
            spans[b] = other.meet(one.minus(difference))
            if spans[d].is_empty or spans[a].is_empty or spans[b].is_empty:
                return None
    ratio, low, high = (spans.get(name) for name in ("pressure_ratio", "low_side", "high_side"))
    if ratio and low and high and (ratio.low * low.low >= high.high or ratio.high * low.high <= high.low):
        return None
    return None if any(span.is_empty for span in spans.values()) else spans


def levels(subject: Subject) -> Iterator[Problem]:
    """Find a level and its own quantity that no band in force lets be true together."""
    for rule, loaded in subject.rules_and_gates():
        for condition in rule.conditions:
            quantity = LEVELS.get(condition.name, ("",))[0]
            if not condition.edges or not any(c.name == quantity for c in rule.conditions):
                continue
            spans = narrowed(rule)
            bands = [b for b in subject.program.bands if b.level == condition.name and _may_meet(b, rule)]
            if spans is None or not bands or any(band.around for band in bands):
                continue
            level = span_of(condition)
            if all(spans[quantity].meet(_where(band, level)).is_empty for band in bands):
                message = (
                    f"no usual range lets {condition.name} and {quantity} be like this at once; change one of them, "
                    f"or leave one out: the level is made of the other"
                )
                yield Problem(place_of(loaded, condition.name), "hardly-together", message)


def _may_meet(band: Band, rule: CompiledRule) -> bool:
    return all(words & rule.applies_to.get(name, words) for name, words in band.applies_to.items())


def _where(band: Band, level: Span) -> Span:
    """Return where the quantity of a band can be for these levels, whatever moves the ends of the band."""
    ends = [(low, high) for _, low, high in band.at] or [(band.low, band.high)]
    low = min(e[0] for e in ends) + sum(min(0.0, s.low * s.steps) for s in band.shifts)
    high = max(e[1] for e in ends) + sum(max(0.0, s.high * s.steps) for s in band.shifts)
    low_most = max(e[0] for e in ends) + sum(max(0.0, s.low * s.steps) for s in band.shifts)
    high_least = min(e[1] for e in ends) + sum(min(0.0, s.high * s.steps) for s in band.shifts)
    half = (high - low) / 2.0
    from_ = high_least if level.low >= 1.0 else low - half * max(-level.low - 1.0, 0.0)
    to = low_most if level.high <= -1.0 else high + half * max(level.high - 1.0, 0.0)
    return Span(from_, to)


def elsewhere(subject: Subject) -> Iterator[Problem]:
    """Find faults and checks of a rule that exist only on systems the rule does not apply to."""
    stack = subject.program.stack
    hypotheses = {h.id: h for h in subject.program.hypotheses}
    for rule, loaded in subject.rules():
        for group in ("says", "otherwise"):
            for name in getattr(loaded.entry, group):
                if name in hypotheses and (field := _apart(rule.applies_to, hypotheses[name].applies_to)):
                    message = f"this rule and {name} apply to different kinds of {field}, so it never counts; {_MEND}"
                    yield Problem(loaded.place(group, name, key=True), "applies-elsewhere", message)
        for name in loaded.entry.when:
            if name in subject.program.answers:
                field = _apart(rule.applies_to, _as_sets(stack.checks[name]))
                if field:
                    message = f"this rule and the check {name} apply to different kinds of {field}; {_MEND}"
                    yield Problem(loaded.place("when", name, key=True), "applies-elsewhere", message)


_MEND: Final = "change the applies_to of one of them"


def _as_sets(loaded: Loaded[Any]) -> Mapping[str, frozenset[str]]:
    return {name: frozenset(words) for name, words in loaded.entry.applies_to.items() if name != "refrigerant"}


def _apart(one: Mapping[str, frozenset[str]], other: Mapping[str, frozenset[str]]) -> str:
    """Return a field in which the two have no word in common, or nothing."""
    return next((name for name in one if name in other and name in FIELDS and not one[name] & other[name]), "")
