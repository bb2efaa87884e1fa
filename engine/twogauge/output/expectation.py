"""What is normal today as a table for a person and as JSON (`"schema": "twogauge.expectation/1"`).

JSON: {schema, expected [{quantity, about, unit, low, high, display, by, source, swing [[low, high], [low, high]] or
null}], unknown [{quantity, reason}], notes [text], packs are not named: they are those in force. Numbers are SI,
pressures absolute; `display` is in the reader's units, as on the dial; `by` is "usual", "baseline", "spec" or "target".
"""

from __future__ import annotations

from typing import Any, Final

from twogauge.expect import Expectation, Expected
from twogauge.output.json import SI_UNIT
from twogauge.output.paper import Paper
from twogauge.output.style import Style
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
    paper.laid_out(lambda style: _lines(found, style))


def _lines(found: Expectation, style: Style) -> list[str]:
    parts = found.reading.parts
    said = [] if "refrigerant" in parts.words else ["refrigerant not told"]
    said += machine_words(parts, ("system", "metering", "compressor_control"))
    for name, dimension in (("ambient", Dimension.TEMPERATURE), ("humidity", Dimension.FRACTION)):
        if name in parts.numbers:
            what = "air" if name == "ambient" else "humidity"
            said.append(f"{show(parts.numbers[name], dimension, found.reading.units)} {what}")
    lines = style.wrap(f"Normal today: {', '.join(said)}", "", "  ")
    rows = [(e.name.replace("_", " "), _range(e, found, e.low, e.high), _BY[e.by]) for e in found.expected]
    widths = [max((len(row[i]) for row in rows), default=0) for i in range(3)]
    for each, row in zip(found.expected, rows, strict=True):
        if 2 + sum(widths) + 2 * 2 <= style.width:
            cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
            lines.append(("  " + "  ".join(cells)).rstrip())
        else:
            lines += style.wrap(f"{row[0]}: {row[1]} ({row[2]})", "  ", "    ")
        if each.swing is not None:
            lower, upper = (_range(each, found, *ends) for ends in each.swing)
            lines += style.wrap(f"swings by design, between {lower} and {upper}", "    ")
    sources = dict.fromkeys((e.by, e.source) for e in found.expected if e.source)
    lines.append("")
    for by, source in sources:
        lines += [style.dim(line) for line in style.wrap(f"{_BY[by]}: {source}", "  ", "    ")]
    for name, reason in found.unknown:
        lines += [style.dim(line) for line in style.wrap(f"no {name.replace('_', ' ')}: {reason}", "  ", "    ")]
    for note in parts.notes:
        lines += style.wrap(f"{note[:1].upper()}{note[1:]}", "  - ", "    ")
    return lines


def _range(each: Expected, found: Expectation, low: float, high: float) -> str:
    decimals = None if each.dimension is Dimension.PRESSURE and found.reading.units.value == "metric" else 0
    first, second = (found.reading.show(each.dimension, end, decimals) for end in (low, high))
    number, _, unit = first.partition(" ")
    return f"{number} to {second}" if second.endswith(f" {unit}") else f"{first} to {second}"
