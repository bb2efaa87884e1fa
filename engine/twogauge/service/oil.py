"""Oil: which kind for a refrigerant and a drive, how much with a replaced part, and what seals and residues ask for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from twogauge.errors import InputError, UnknownNameError
from twogauge.quantities import Dimension, UnitSet, show
from twogauge.refrigerants import Refrigerant
from twogauge.service.facts import Source, facts, number, prose, source

Drive = Literal["belt", "electric"]


@dataclass(frozen=True, slots=True)
class Word:
    """What one maker says about a part.

    Attributes:
        maker: who, with the machine.
        amount: to add [m3]; NaN if it depends on what was drained, and that was not told.
        plus: to add to what was drained [m3]; NaN if the amount does not depend on it.
        source: the document.
    """

    maker: str
    amount: float
    plus: float
    source: Source


@dataclass(frozen=True, slots=True)
class Part:
    """Oil with one replaced part.

    Attributes:
        part: its id.
        title: what it is called.
        drained: what came out of the old one [m3]; NaN if it was not told.
        words: of every maker that was read.
        low, high: ends of what they say [m3]; of `plus` where `after_draining`.
        after_draining: both ends are added to what is drained, which was not told.
    """

    part: str
    title: str
    drained: float
    words: tuple[Word, ...]
    low: float
    high: float
    after_draining: bool


@dataclass(frozen=True, slots=True)
class Oil:
    """All about the oil of a job.

    Attributes:
        refrigerant: what is in it.
        drive: what turns the compressor.
        kinds: lubricants in the order they are met; for an electric compressor the insulating one alone.
        kinds_source: who says so.
        of_drive: what the drive asks for.
        parts: replaced; none where no maker's amounts apply.
        low, high: ends of the sum [m3]; NaN where a part waits for what was drained, or no amounts apply.
        instead: what to do where no maker's amounts apply.
        how, seals, residue: what else is said, each with its source.
    """

    refrigerant: Refrigerant
    drive: Drive
    kinds: tuple[str, ...]
    kinds_source: str
    of_drive: tuple[str, Source]
    parts: tuple[Part, ...]
    low: float
    high: float
    instead: tuple[tuple[str, Source], ...]
    how: tuple[tuple[str, Source], ...]
    seals: tuple[tuple[str, Source], ...]
    residue: tuple[tuple[str, Source], ...]


def oil(
    refrigerant: Refrigerant,
    *,
    drive: Drive = "belt",
    system: str | None = None,
    parts: Iterable[str] = (),
    drained: Mapping[str, float] | None = None,
    old: Refrigerant | None = None,
) -> Oil:
    """Return what is known about the oil of a job.

    Args:
        refrigerant: what is in the system, or goes in.
        drive: what turns the compressor.
        system: the kind of machine, as in a reading; None if it was not told.
        parts: replaced, by their ids.
        drained: what came out of each old part, by its id [m3].
        old: the refrigerant before a retrofit.

    Raises:
        UnknownNameError: a part nobody knows.
        InputError: a part twice, oil drained from one that is not replaced, or more or less than can come out of one.
    """
    data = facts("oil")
    named = list(parts)
    measured = dict(drained or {})
    for name in (*named, *measured):
        if name not in data["parts"]:
            raise UnknownNameError("part", name, data["parts"], hint=f"write one of {', '.join(data['parts'])}")
    if len(set(named)) < len(named):
        twice = next(name for name in named if named.count(name) > 1)
        raise InputError(f"{twice!r} is named twice; each part counts once")
    for name in measured:
        if name not in named:
            raise InputError(
                f"oil was drained from {name!r}, which is not among the replaced parts; name it with --part"
            )
    applies = _amounts_apply(data["parts_apply"], refrigerant, system)
    for name, volume in measured.items():
        _refuse_impossible(name, volume, data["drained_most"] if applies else None)
    found = tuple(_part(name, measured.get(name, math.nan)) for name in named if applies)
    waiting = not found or any(part.after_draining for part in found)
    return Oil(
        refrigerant=refrigerant,
        drive=drive,
        kinds=_kinds(refrigerant.lubricants, drive),
        kinds_source=refrigerant.sources["lubricants"],
        of_drive=_sourced(data["drives"][drive]),
        parts=found,
        low=math.nan if waiting else sum(part.low for part in found),
        high=math.nan if waiting else sum(part.high for part in found),
        instead=() if applies else _instead(data, system),
        how=tuple(_sourced(entry) for entry in data["how"] if applies or entry.get("parts") != "only"),
        seals=tuple(
            _sourced(entry) for entry in data["seals"] if entry["for"] == "all" or refrigerant.id in entry["for"]
        ),
        residue=_residue(data["residue"], old),
    )


def part_names() -> tuple[str, ...]:
    """Return the ids of the parts that makers say something about."""
    return tuple(facts("oil")["parts"])


def _amounts_apply(where: Mapping[str, Any], refrigerant: Refrigerant, system: str | None) -> bool:
    return refrigerant.id in where["refrigerant"] and (system is None or system in where["system"])


def _refuse_impossible(name: str, volume: float, most: Mapping[str, Any] | None) -> None:
    if volume < 0.0:
        raise InputError(f"less than nothing cannot come out of {name!r}; write what the cup showed")
    if most is not None and volume > number(most, Dimension.VOLUME).value:
        told = show(volume, Dimension.VOLUME, UnitSet.METRIC, 0)
        raise InputError(
            f"{told} cannot have come out of {name!r}: {prose(most)} ({source(most)}); read the cup again, and its "
            "unit. For a bus or a building name --system"
        )


def _instead(data: Mapping[str, Any], system: str | None) -> tuple[tuple[str, Source], ...]:
    fitting = [each for each in data["instead"] if each["for"] == "all" or system is None or system in each["for"]]
    return (_sourced(data["parts_apply"]), *(_sourced(each) for each in fitting))


def _kinds(lubricants: Sequence[str], drive: Drive) -> tuple[str, ...]:
    """Return the kinds by their short names; what the catalogue adds in brackets is said by the drive."""
    short = tuple(kind.partition(" (")[0] for kind in lubricants)
    if drive == "belt":
        return short
    return tuple(kind for kind in short if kind == "POE") or ("the maker's insulating oil",)


def _part(name: str, drained: float) -> Part:
    data = facts("oil")
    words = tuple(_word(entry, drained) for entry in data["parts"][name])
    amounts = [word.amount for word in words if not math.isnan(word.amount)]
    # Without a measurement those who count from it and those who do not cannot be brought under one figure.
    waiting = math.isnan(drained) and any(not math.isnan(word.plus) for word in words)
    spread = [word.plus for word in words if not math.isnan(word.plus)] if waiting else amounts
    return Part(name, str(data["words"][name]), drained, words, min(spread), max(spread), waiting)


def _word(entry: Mapping[str, Any], drained: float) -> Word:
    maker = str(entry["maker"])
    if "add" in entry:
        return Word(maker, number(entry, Dimension.VOLUME, "add").value, math.nan, source(entry))
    plus = number(entry, Dimension.VOLUME, "drained").value
    amount = drained + plus
    for side, beyond in (("below", drained.__lt__), ("above", drained.__gt__)):
        bound = entry.get(side)
        if bound is None:
            continue
        limit = {**bound, "standing": entry["standing"]}
        if beyond(number(limit, Dimension.VOLUME, "drained").value):
            key = "add" if "add" in bound else "plus"
            amount = number(limit, Dimension.VOLUME, key).value + (0.0 if key == "add" else drained)
    return Word(maker, amount, plus, source(entry))


def _residue(entries: Iterable[Mapping[str, Any]], old: Refrigerant | None) -> tuple[tuple[str, Source], ...]:
    if old is None:
        return ()
    from_old = {"mineral oil"} & set(old.lubricants)
    if any("phosgene" in key for key in old.sources):  # what can give it holds chlorine
        from_old |= {"chlorine"}
    return tuple(_sourced(entry) for entry in entries if entry["from"] in from_old)


def _sourced(entry: Mapping[str, Any]) -> tuple[str, Source]:
    return prose(entry), source(entry)
