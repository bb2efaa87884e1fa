"""Prose that names a number the rule's own condition contradicts.

Deliberately narrow: one numeric condition, a number with a unit behind a word such as "above" or "less than", in the
title or in a sentence that names the quantity. What a sentence denies, or tells of healthy machines, is left alone.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any, Final

from twogauge.errors import FileProblems, QuantityError
from twogauge.packs import yamlfile
from twogauge.packs.compile import SURE, Condition
from twogauge.packs.in_force import Loaded
from twogauge.packs.lint.spans import Span, span_of
from twogauge.packs.lint.subject import Subject
from twogauge.packs.problems import Place, Problem
from twogauge.packs.thresholds import si_of
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES

_MORE: Final = ("more than", "over", "above", "greater than", "higher than", "warmer than", "hotter than", "at least")
_LESS: Final = ("less than", "under", "below", "smaller than", "lower than", "colder than", "cooler than", "at most")
_CLAIM: Final = re.compile(
    rf"\b(?P<word>{'|'.join((*_MORE, *_LESS))})\s+"
    r"(?P<number>-?\d+(?:\.\d+)?)\s?(?P<unit>K|degF|degC|°F|°C|psia?|psig|kPa|bara?|inHg|%|rpm|s|min)(?![\w])",
    re.IGNORECASE,
)
_LEFT_ALONE: Final = re.compile(
    r"\b(?:no|not|never|none|nothing|nobody|hardly|seldom|unless|without|until|normal|usual|usually|healthy|sound|most|"
    r"published|should|would|rather|instead|once|before|after|elsewhere|others?)\b",
    re.IGNORECASE,
)
_ROUNDING: Final = 0.03  # a number in prose is rounded
_ROUNDING_OF_TEMPERATURES: Final = 1.0  # [K]


def contradictions(subject: Subject) -> Iterator[Problem]:
    """Find numbers in titles and reasons that the condition beside them does not allow."""
    sources: dict[str, str] = {}
    for rule, loaded in subject.rules_and_gates():
        numeric = [c for c in rule.conditions if c.edges]
        if len(numeric) != 1 or QUANTITIES[numeric[0].name].is_level:
            continue
        (condition,) = numeric
        for key in ("title", "because"):
            for match in _claims(getattr(loaded.entry, key), condition.name, anywhere=key == "title"):
                wrong = _contradicts(match, condition)
                if wrong:
                    place = _place_of(loaded, key, match, sources)
                    yield Problem(
                        place, "prose-number", f"'{match[0]}' is said here, but {wrong}; change one of them"
                    )


def _claims(text: str, name: str, *, anywhere: bool) -> Iterator[re.Match[str]]:
    for sentence in re.split(r"(?<=[.;:!?])\s", text):
        about = anywhere or f"{{{name}}}" in sentence or name.replace("_", " ") in sentence.casefold()
        if about and not _LEFT_ALONE.search(sentence):
            yield from _CLAIM.finditer(sentence)


def _contradicts(match: re.Match[str], condition: Condition) -> str:
    """Return what the condition says instead, or nothing if the two agree or cannot be compared."""
    dimension = QUANTITIES[condition.name].dimension
    try:
        value = si_of(f"{match['number']} {match['unit']}", dimension)
    except QuantityError:
        return ""
    wanted = span_of(condition)
    blur = max(edge.spread for edge in condition.edges) * SURE
    blur += _ROUNDING_OF_TEMPERATURES if dimension is Dimension.TEMPERATURE else _ROUNDING * abs(value)
    more = match["word"].casefold() in _MORE
    said = Span(value, math.inf) if more else Span(-math.inf, value)
    if said.meet(Span(wanted.low - blur, wanted.high + blur)).is_empty:
        return f"{condition.name} is never there when the condition holds"
    if more and math.isfinite(wanted.low) and value > wanted.low + blur:
        return "the condition holds below that as well"
    if not more and math.isfinite(wanted.high) and value < wanted.high - blur:
        return "the condition holds above that as well"
    return ""


def _place_of(loaded: Loaded[Any], key: str, match: re.Match[str], sources: dict[str, str]) -> Place:
    """Return where the words stand in the file; where the text begins if they cannot be found there."""
    place = loaded.place(key)
    if place.path not in sources:
        try:
            raw = yamlfile.read_bytes_bounded(place.path, yamlfile.MAX_BYTES)
        except FileProblems:
            raw = b""
        sources[place.path] = raw.decode("utf-8", "replace")
    lines = sources[place.path].splitlines(keepends=True)
    before = sum(map(len, lines[: place.line - 1])) + place.column - 1
    words = re.compile(r"\s+".join(map(re.escape, match[0].split())))
    found = words.search(sources[place.path], before)
    if found is None:
        return place
    start = sources[place.path].rfind("\n", 0, found.start()) + 1
    line = sources[place.path].count("\n", 0, found.start()) + 1
    return Place(place.path, line, found.start() - start + 1)
