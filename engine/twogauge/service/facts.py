"""Facts of the trade that the service commands work with: read from data/, each with who says so and how well it is known.

A fact's `standing` is `read` (the source was read), `common practice`, `from memory` or `computed`. The files are ours,
but they go through the same safe door as a stranger's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from twogauge.packs.yamlfile import load, plain
from twogauge.quantities import Dimension, UnitSet, absolute, parse

STANDINGS: Final = ("read", "common practice", "from memory", "computed")

_DATA: Final = Path(__file__).parent / "data"


@dataclass(frozen=True, slots=True)
class Source:
    """Who says something, and how well that is known here.

    Attributes:
        text: the document, or "" where nobody is named.
        standing: one of `STANDINGS`.
    """

    text: str
    standing: str

    def __str__(self) -> str:
        return ", ".join(part for part in (self.text, self.standing if self.standing != "read" else "") if part)


@dataclass(frozen=True, slots=True)
class Number:
    """A number with its source.

    Attributes:
        value: [SI]
        source: who says so.
    """

    value: float
    source: Source


@cache
def facts(name: str) -> Mapping[str, Any]:
    """Return the content of `data/<name>.yaml`: mappings, lists and texts."""
    content = plain(load(_DATA / f"{name}.yaml"))
    assert isinstance(content, dict)  # noqa: S101 - our own file; the tests read them all
    return content


def source(entry: Mapping[str, Any]) -> Source:
    """Return the source of an entry."""
    return Source(" ".join(str(entry.get("source", "")).split()), str(entry["standing"]))


def number(entry: Mapping[str, Any], dimension: Dimension, key: str = "value") -> Number:
    """Return the number under `key` of an entry, with the entry's source.

    Args:
        entry: of a file of facts.
        dimension: of the number.
        key: where it stands.
    """
    found = parse(str(entry[key]), dimension, units=UnitSet.SI, reference="absolute")
    value = absolute(found, 0.0) if dimension is Dimension.PRESSURE else found.value
    return Number(value, source(entry))


def prose(entry: Mapping[str, Any], key: str = "text") -> str:
    """Return a text of an entry on one line."""
    return " ".join(str(entry[key]).split())
