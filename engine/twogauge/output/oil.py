"""The oil of a job for a person, the amount first, and as JSON.

`twogauge.oil/1`: {schema, refrigerant, drive, kinds, kinds_source, of_drive {text, source, standing}, parts [{part,
title, drained_m3, low_m3, high_m3, after_draining, words [{maker, amount_m3, plus_m3, source, standing}]}], low_m3,
high_m3, instead, how, seals, residue [{text, source, standing}], cautions}. SI; null where a number is not known; where
`after_draining`, low and high are added to what is drained from the old part. `parts` is empty and `instead` is not
where no maker's amounts apply to the machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.output.paper import Paper, Table, caution_document, number_or_none, source_document
from twogauge.quantities import Dimension, UnitSet, show
from twogauge.service.facts import Source
from twogauge.service.oil import Oil, Part, Word

SCHEMA: Final = "twogauge.oil/1"


def document(found: Oil, cautions: Iterable[Warned]) -> dict[str, Any]:
    """Return the JSON of an answer about oil."""
    return {
        "schema": SCHEMA,
        "refrigerant": found.refrigerant.id,
        "drive": found.drive,
        "kinds": list(found.kinds),
        "kinds_source": found.kinds_source,
        "of_drive": _sourced(*found.of_drive),
        "parts": [
            {
                "part": part.part,
                "title": part.title,
                "drained_m3": number_or_none(part.drained, 9),
                "low_m3": number_or_none(part.low, 9),
                "high_m3": number_or_none(part.high, 9),
                "after_draining": part.after_draining,
                "words": [
                    {
                        "maker": word.maker,
                        "amount_m3": number_or_none(word.amount, 9),
                        "plus_m3": number_or_none(word.plus, 9),
                        **source_document(word.source),
                    }
                    for word in part.words
                ],
            }
            for part in found.parts
        ],
        "low_m3": number_or_none(found.low, 9),
        "high_m3": number_or_none(found.high, 9),
        "instead": [_sourced(*each) for each in found.instead],
        "how": [_sourced(*each) for each in found.how],
        "seals": [_sourced(*each) for each in found.seals],
        "residue": [_sourced(*each) for each in found.residue],
        "cautions": [caution_document(each) for each in cautions],
    }


def _sourced(text: str, by: Source) -> dict[str, Any]:
    return {"text": text, **source_document(by)}


def write(paper: Paper, found: Oil, units: UnitSet, cautions: Iterable[Warned], *, asked: bool) -> None:
    """Write what a person reads about oil.

    Args:
        paper: to write on; a verbose one gets every maker.
        found: the answer.
        units: the reader's.
        cautions: beside the work.
        asked: whether parts were named; else the parts are a table to look up in, and no sum is made.
    """
    paper.answer(_headline(found, units, asked=asked))
    of_drive, by = found.of_drive
    paper.say(of_drive)
    paper.source(by)
    if found.instead:
        paper.head("Oil with a replaced part: no maker's amounts are known for this machine")
        for text, by in found.instead:
            paper.item("- ", text, by)
    if found.parts:
        paper.head("Oil with a replaced part, as makers of vehicles say")
        rows = [(part.title, _amount(part, units), str(len(part.words))) for part in found.parts]
        paper.rows(Table("Oil with a replaced part", rows, ("part", "oil to add", "read")), headed=True)
        if any(part.after_draining for part in found.parts):
            paper.say(
                "drained + so much: measure what comes out of the old part; --drained PART=VOLUME works it out."
            )
        if paper.verbose:
            for part in found.parts:
                paper.head(part.title)
                paper.rows(
                    Table(
                        part.title,
                        [(_of_maker(word, units), word.maker) for word in part.words],
                        ("oil to add", "maker"),
                    )
                )
        paper.say(
            "Read: how many makers or machines stand behind the range. They differ, and the manual of this machine "
            "decides; the range is what to expect of it."
        )
    paper.head("How")
    paper.steps(found.how)
    if found.seals:
        paper.head("Seals")
        for text, by in found.seals:
            paper.item("- ", text, by)
    if found.residue:
        paper.head("What the old oil and refrigerant leave behind")
        for text, by in found.residue:
            paper.item("- ", text, by)
    paper.care(cautions)
    paper.note("each caution in full, every maker and every source: --verbose")


def _headline(found: Oil, units: UnitSet, *, asked: bool) -> str:
    kinds = " or ".join(found.kinds)
    name = found.refrigerant.title
    if asked and found.instead:
        return f"Put in what the maker of this machine says, for no amount is known here; oil for {name}: {kinds}"
    if not asked:
        return f"Oil for {name}: {kinds}"
    if math.isnan(found.low):
        return f"Add what is drained and some more, by part; oil for {name}: {kinds}"
    return f"Add {_range(found.low, found.high, units)} in all; oil for {name}: {kinds}"


def _amount(part: Part, units: UnitSet) -> str:
    amount = _range(part.low, part.high, units)
    if not part.after_draining:
        return amount
    fixed = [word.amount for word in part.words if math.isnan(word.plus)]
    also = f", or {_range(min(fixed), max(fixed), units)}" if fixed else ""
    return f"drained + {amount}{also}"


def _of_maker(word: Word, units: UnitSet) -> str:
    if not math.isnan(word.amount):
        return _volume(word.amount, units)
    return f"drained + {_volume(word.plus, units)}" if word.plus > 0 else "as drained"


def _range(low: float, high: float, units: UnitSet) -> str:
    first, last = _volume(low, units), _volume(high, units)
    return first if first == last else f"{first.partition(' ')[0]} to {last}"


def _volume(value: float, units: UnitSet) -> str:
    return show(value, Dimension.VOLUME, units)
