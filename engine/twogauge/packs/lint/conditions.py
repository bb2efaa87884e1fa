"""Single conditions that can never hold, always hold, or are softer than they are wide."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

from twogauge.bands import Band
from twogauge.levels import LEVELS
from twogauge.packs.compile import CompiledRule, Condition
from twogauge.packs.in_force import Loaded
from twogauge.packs.lint.spans import Span, reach, span_of
from twogauge.packs.lint.subject import Subject
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import UnitSet, show
from twogauge.quantity_table import QUANTITIES

_SURE: Final = 1.2815515655446004  # standard deviations that leave one in ten: what an example under `holds` needs


def numeric(subject: Subject) -> Iterator[tuple[CompiledRule, Loaded[Any], Condition]]:
    """Yield each condition on numbers."""
    for rule, loaded in subject.rules_and_gates():
        for condition in rule.conditions:
            if condition.edges:
                yield rule, loaded, condition


def place_of(loaded: Loaded[Any], name: str) -> Place:
    """Return where the value of a condition stands, or its key if it has several."""
    test = loaded.entry.when[name]
    keys = [key for key in ("above", "below", "between", "is", "is_not", "any_of") if _given(test, key)]
    return loaded.place("when", name, keys[0]) if len(keys) == 1 else loaded.place("when", name, key=True)


def _given(test: object, key: str) -> bool:
    return getattr(test, "is_" if key == "is" else key) is not None


def beyond_reach(subject: Subject) -> Iterator[Problem]:
    """Find conditions outside what a quantity can be, and conditions that take in all of it."""
    for _, loaded, condition in numeric(subject):
        possible = level_reach(condition.name, subject.program.bands)
        wanted, place = span_of(condition), place_of(loaded, condition.name)
        if wanted.low >= possible.high or wanted.high <= possible.low:
            side, end = ("above", possible.high) if wanted.low >= possible.high else ("below", possible.low)
            limit = show(end, QUANTITIES[condition.name].dimension, UnitSet.SI)
            message = (
                f"this never holds: no {condition.name} there can be lies {side} about {limit}; check the value and its "
                f"unit"
            )
            yield Problem(place, "never-holds", message)
        elif wanted.low <= possible.low and wanted.high >= possible.high and math.isfinite(possible.low):
            if wanted.low == possible.low == 0.0 and math.isinf(wanted.high):
                continue  # above zero is a condition where zero can be
            message = (
                f"this always holds: every {condition.name} there can be is like this; check the value and its unit"
            )
            yield Problem(place, "always-holds", message)


def level_reach(name: str, bands: Sequence[Band]) -> Span:
    """Return what a quantity can be; a level as far as the bands in force say (a maker's range may be narrower)."""
    if name not in LEVELS:
        return reach(name)
    possible = reach(LEVELS[name][0])
    mine = [band for band in bands if band.level == name]
    if not mine or any(band.around for band in mine):
        return Span()
    ends = [end for band in mine for end in ([(band.low, band.high)] if not band.at else [at[1:] for at in band.at])]
    half = min([(high - low) / 2.0 for low, high in ends] + [band.baseline for band in mine])
    if not half > 0.0:
        return Span()
    return Span((possible.low - max(h for _, h in ends)) / half, (possible.high - min(low for low, _ in ends)) / half)


def soft_edges(subject: Subject) -> Iterator[Problem]:
    """Find edges so soft that a perfect instrument could not make the condition as good as sure."""
    for _, loaded, condition in numeric(subject):
        test = loaded.entry.when[condition.name]
        if test.soft is None:
            continue
        wanted, possible = span_of(condition), reach(condition.name)
        spread = max(edge.spread for edge in condition.edges)
        room = wanted.meet(possible)
        if room.is_empty or not spread > 0.0:
            continue
        place = loaded.place("when", condition.name, "soft")
        if len(condition.edges) == 2:
            best = math.erf((wanted.high - wanted.low) / 2.0 / spread / math.sqrt(2.0))
            if best < 0.9:
                message = (
                    f"the two soft edges run into each other: even in the middle {condition.name} is only "
                    f"{best:.0%} sure to lie inside; make soft smaller, or the interval wider"
                )
                yield Problem(place, "soft-edge", message)
        elif math.isfinite(room.high - room.low) and room.high - room.low < _SURE * spread:
            message = (
                f"this edge is so soft that no {condition.name} there can be is as good as sure to lie beyond it; "
                f"make soft smaller, or move the edge"
            )
            yield Problem(place, "soft-edge", message)
