"""What is normal today as a table for a person and as JSON (`"schema": "twogauge.expectation/1"`).

JSON: {schema, expected [{quantity, about, unit, low, high, display, by, source, swing [[low, high], [low, high]] or
null}], unknown [{quantity, reason}], gates [{gate, title, text, instead}], notes [text], packs are not named: they are
those in force. Numbers are SI, pressures absolute; `display` is in the reader's units, as on the dial; `by` is "usual",
"baseline", "spec" or "target"; `gates` is what the conditions alone say against judging anything by these figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from twogauge.expect import Expectation, Expected
from twogauge.output.json import SI_UNIT
from twogauge.output.paper import Pairs, Paper, Points, Table
from twogauge.output.style import Style
from twogauge.output.text import as_sentence
from twogauge.output.values import machine_words
from twogauge.quantities import Dimension, show

SCHEMA: Final = "twogauge.expectation/1"
_BY: Final = {"usual": "usual", "baseline": "known good", "spec": "maker", "target": "target"}


def document(found: Expectation) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    return {
        "schema": SCHEMA,
        "expected": [_entry(each, found) for each in found.expected],
        "unknown": [{"quantity": name, "reason": reason} for name, reason in found.unknown],
        "gates": [
            {"gate": each.gate, "title": each.title, "text": each.text, "instead": each.instead}
            for each in found.gates
        ],
        "notes": list(found.reading.parts.notes),
    }


def _entry(each: Expected, found: Expectation) -> dict[str, Any]:
    return {
        "quantity": each.name,
        "about": each.about,
        "unit": SI_UNIT[each.dimension],
        "low": each.low,
        "high": each.high,
        "display": _range(each, found, each.low, each.high),
        "by": each.by,
        "source": each.source,
        "swing": None if each.swing is None else [list(end) for end in each.swing],
    }


def write(paper: Paper, found: Expectation) -> None:
    """Write the table, who says so, and what is not known."""
    parts = found.reading.parts
    said = [] if "refrigerant" in parts.words else ["refrigerant not told"]
    said += machine_words(parts, ("system", "metering", "compressor_control"))
    for name, dimension in (("ambient", Dimension.TEMPERATURE), ("humidity", Dimension.FRACTION)):
        if name in parts.numbers:
            what = "air" if name == "ambient" else "humidity"
            said.append(f"{show(parts.numbers[name], dimension, found.reading.units)} {what}")
    paper.about(f"Normal today: {', '.join(said)}")
    for gate in found.gates:
        paper.say(f"{gate.title}. {as_sentence(gate.text)} Instead: {gate.instead}")
    names = [each.name.replace("_", " ") for each in found.expected]
    ends = [_range(each, found, each.low, each.high) for each in found.expected]
    by = [_BY[each.by] for each in found.expected]
    swings = [_swing(each, found) for each in found.expected]
    below = [f"{range_}\n{swing}" if swing else range_ for range_, swing in zip(ends, swings, strict=True)]
    paper.laid_out(
        Table("What is normal today", list(zip(names, below, by, strict=True)), ("reading", "normal", "by")),
        lambda style: _columns(list(zip(names, ends, by, strict=True)), swings, style),
    )
    sources = list(dict.fromkeys((_BY[each.by], each.source) for each in found.expected if each.source))
    paper.laid_out(Pairs("Who says so", sources, fine=True), lambda style: ["", *_dim(sources, style)])
    unknown = [(f"no {name.replace('_', ' ')}", reason) for name, reason in found.unknown]
    paper.laid_out(Pairs("Not known", unknown), lambda style: _dim(unknown, style))
    notes = [f"{note[:1].upper()}{note[1:]}" for note in parts.notes]
    paper.laid_out(Points("Taken for granted", notes), lambda style: _listed(notes, style))


def _columns(rows: Sequence[Sequence[str]], swings: Sequence[str], style: Style) -> list[str]:
    """Return rows in columns where the line is wide enough, and as sentences elsewhere."""
    widths = [max((len(row[i]) for row in rows), default=0) for i in range(3)]
    lines: list[str] = []
    for row, swing in zip(rows, swings, strict=True):
        if 2 + sum(widths) + 2 * 2 <= style.width:
            cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
            lines.append(("  " + "  ".join(cells)).rstrip())
        else:
            lines += style.wrap(f"{row[0]}: {row[1]} ({row[2]})", "  ", "    ")
        if swing:
            lines += style.wrap(swing, "    ")
    return lines


def _dim(pairs: Iterable[tuple[str, str]], style: Style) -> list[str]:
    return [style.dim(line) for name, text in pairs for line in style.wrap(f"{name}: {text}", "  ", "    ")]


def _listed(notes: Iterable[str], style: Style) -> list[str]:
    return [line for note in notes for line in style.wrap(note, "  - ", "    ")]


def _swing(each: Expected, found: Expectation) -> str:
    if each.swing is None:
        return ""
    lower, upper = (_range(each, found, *ends) for ends in each.swing)
    return f"swings by design, between {lower} and {upper}"


def _range(each: Expected, found: Expectation, low: float, high: float) -> str:
    decimals = None if each.dimension is Dimension.PRESSURE and found.reading.units.value == "metric" else 0
    first, second = (found.reading.show(each.dimension, end, decimals) for end in (low, high))
    number, _, unit = first.partition(" ")
    return f"{number} to {second}" if second.endswith(f" {unit}") else f"{first} to {second}"
