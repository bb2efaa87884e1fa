"""Finds readings that prove a condition: the readings of the rules in force, one value moved where need be."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from twogauge.fields import FIELDS
from twogauge.packs.compile import CompiledRule, Program
from twogauge.packs.selftest import degrees_on
from twogauge.quantities import Dimension
from twogauge.reading import Reading, ReadingError
from twogauge.weigh import CHUNK

Given = dict[str, str]

CLEAR: Final = 0.97  # better than an example needs, so that a small change does not make it fail at once
_FINE: Final = {"thermometer_accuracy": "0.2 K", "low_gauge_accuracy": "0.5 psi", "high_gauge_accuracy": "0.5 psi"}
_BASES: Final = 40  # readings that are varied
# What a value is moved to, by its dimension: the unit it is written in, and the numbers.
_GRID: Final[Mapping[Dimension, tuple[str, Sequence[float]]]] = {
    Dimension.TEMPERATURE: ("degF", range(-40, 301, 5)),
    Dimension.TEMPERATURE_DIFFERENCE: ("K", range(-20, 81, 2)),
    Dimension.PRESSURE: ("psi", (*range(-14, 100, 5), *range(100, 701, 10))),
    Dimension.FRACTION: ("%", range(0, 101, 5)),
    Dimension.DURATION: ("min", (0.1, 0.2, 0.5, 1, 2, 3, 5, 10, 15, 20, 30, 45, 60, 120)),
    Dimension.ROTATIONAL_SPEED: ("rpm", range(0, 6001, 250)),
}


def find(
    rule: CompiledRule, program: Program, ground: Program, fixed: Mapping[str, str]
) -> tuple[Given | None, Given | None, Given | None]:
    """Return a reading for which the rule holds, one for which it does not, and one that cannot say.

    Args:
        rule: with one condition.
        program: the rules in force, this one among them.
        ground: the rules in force without it; its examples are the readings that are tried.
        fixed: what every reading must say, so that the rule applies.

    Returns:
        None for each that was not found.
    """
    (condition,) = rule.conditions
    name = condition.name
    if name in program.answers:
        words: Sequence[str] = program.answers[name]
    elif name in FIELDS and FIELDS[name].choices:
        words = FIELDS[name].choices
    else:
        words = ()
    by_word = [{**fixed, name: word} for word in words]
    candidates = by_word or _candidates(rule, program, ground, dict(fixed))
    degrees = _judged(candidates, rule, program)
    holds = _best(candidates, degrees, wanted=True)
    fails = _best(candidates, degrees, wanted=False)
    if holds is None or fails is None:  # a narrow condition needs good instruments
        fine = [{**given, **_FINE} for given in candidates]
        degrees = _judged(fine, rule, program)
        holds = holds or _best(fine, degrees, wanted=True)
        fails = fails or _best(fine, degrees, wanted=False)
    told = holds or {}
    unknown = [{k: v for k, v in told.items() if k != left} for left in told if left not in fixed]
    unknown += [{**fixed, "low_side": "normal"}, {**fixed, "ambient": "80 degF"}]
    silent = (
        given
        for given, d in zip(unknown, _judged(unknown, rule, program), strict=True)
        if given.keys() - fixed.keys() and math.isnan(d)
    )
    return holds, fails, next(silent, None)


def _candidates(rule: CompiledRule, program: Program, ground: Program, fixed: Given) -> list[Given]:
    """Return the readings of the rules in force, and what becomes of those that say something by one change."""
    name = rule.conditions[0].name
    bases: list[Given] = []
    for given in _examples(ground):
        base = {**given, **fixed}
        if base not in bases:
            bases.append(base)
    degrees = _judged(bases, rule, program)
    telling = [base for base, degree in zip(bases, degrees, strict=True) if not math.isnan(degree)]
    telling = sorted(telling, key=len)[:_BASES]  # the shortest; sorting keeps the order of the others
    if name in FIELDS:
        telling.insert(0, {**fixed, name: ""})
    varied = [given for base in telling for given in _varied(base)]
    return [*bases, *varied]


def _examples(program: Program) -> Iterator[Given]:
    stack = program.stack
    every: list[Any] = [*(stack.rules[rule.id] for rule in program.rules), *stack.gates.values()]
    for loaded in every:
        for kind in ("holds", "does_not_hold"):
            for given in getattr(loaded.entry.examples, kind):
                if all(isinstance(value, str) for value in given.values()):
                    yield dict(given)


def _varied(base: Given) -> Iterator[Given]:
    """Move one value of a reading: over its range, to each of its words, or to a swing of each width."""
    for name, known in FIELDS.items():
        if name not in base:
            continue
        for word in known.words:
            yield {**base, name: word}
        unit, numbers = _GRID.get(known.dimension or Dimension.NUMBER, ("", ()))
        for number in numbers:
            yield {**base, name: f"{number:g} {unit}"}
        if known.swing:
            for number in numbers[::3]:
                for width in (1, 2, 5, 10, 20, 40):
                    yield {**base, name: f"{number:g} to {number + width:g} {unit}"}


def _judged(candidates: Sequence[Given], rule: CompiledRule, program: Program) -> list[float]:
    """Return the degree of the rule on each; NaN also for what is no reading."""
    readings: list[tuple[int, Reading]] = []
    for i, given in enumerate(candidates):
        try:
            reading = Reading(given)
            reading.validate_checks(program.answers)
        except ReadingError:
            continue
        readings.append((i, reading))
    out = [math.nan] * len(candidates)
    for start in range(0, len(readings), CHUNK):
        chunk = readings[start : start + CHUNK]
        degrees = degrees_on([reading for _, reading in chunk], [rule], program).get(rule.id)
        for (i, _), degree in zip(chunk, degrees or [math.nan] * len(chunk), strict=True):
            out[i] = degree
    return out


def _best(candidates: Sequence[Given], degrees: Sequence[float], *, wanted: bool) -> Given | None:
    """Return the shortest reading that clearly holds, or clearly does not; of several the one least far from doubt."""
    clear = [
        (len(given) + sum(" to " in value for value in given.values()), abs(degree - 0.5), i)
        for i, (given, degree) in enumerate(zip(candidates, degrees, strict=True))
        if (degree >= CLEAR if wanted else degree <= 1.0 - CLEAR)
    ]
    return dict(candidates[min(clear)[2]]) if clear else None
