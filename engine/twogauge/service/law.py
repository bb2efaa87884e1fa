"""What the law says of work with refrigerant, by place: named, never judged; the law of the place decides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from twogauge.service.facts import Source, facts, prose, source


@dataclass(frozen=True, slots=True)
class Law:
    """What is known of the law of one place.

    Attributes:
        place: a country or a union, or "anywhere".
        text: which law, and what it asks for.
        source: who says so, and how well that is known here.
    """

    place: str
    text: str
    source: Source


def law_for(machine: Literal["vehicle", "stationary"]) -> tuple[Law, ...]:
    """Return the law of putting refrigerant in, place by place; the last says who decides anywhere.

    Args:
        machine: the air conditioning of a vehicle, or anything else.
    """
    return tuple(
        Law(str(entry["place"]), prose(entry), source(entry))
        for entry in facts("law")["service"]
        if entry.get("machine", machine) == machine
    )


def law_of_records() -> tuple[Law, ...]:
    """Return the law of keeping a log of refrigerant, place by place."""
    return tuple(Law(str(entry["place"]), prose(entry), source(entry)) for entry in facts("law")["records"])
