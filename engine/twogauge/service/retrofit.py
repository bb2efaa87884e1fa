"""Changing the refrigerant of a system: what is refused, how much of the new one, and what else must change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from twogauge.errors import InputError
from twogauge.quantities import Dimension
from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import properties_of
from twogauge.service.facts import Source, facts, number, prose, source

# Of an ASHRAE 34 class: how easily it burns.
BURNS: Final = ("1", "2L", "2", "3")


class RefusedError(InputError):
    """A change of refrigerant that must not be made; the message names the rule and who made it."""


@dataclass(frozen=True, slots=True)
class Method:
    """One way to an amount of the new refrigerant.

    Attributes:
        title: what it is.
        low, high: ends of the amount [kg]; the same where there is one.
        counts: whether the recommendation uses it.
        note: why it does not, or "".
        source: who says so.
    """

    title: str
    low: float
    high: float
    counts: bool
    note: str
    source: Source


@dataclass(frozen=True, slots=True)
class Retrofit:
    """A change of refrigerant.

    Attributes:
        old, new: what was in it, what goes in.
        label: old charge [kg].
        methods: every one that is known; the ratio of densities is the last.
        start: amount to begin with [kg].
        stop: amount not to exceed [kg].
        published: whether somebody published guidance for this pair.
        pressure_ratio: of the new refrigerant's pressure to the old one's, warm [1].
        checklist: what must change, with the law or standard behind it.
        in_brief: the same in a few words each.
        after: what to expect of it afterwards.
        notes: what else must be known.
    """

    old: Refrigerant
    new: Refrigerant
    label: float
    methods: tuple[Method, ...]
    start: float
    stop: float
    published: bool
    pressure_ratio: float
    checklist: tuple[tuple[str, Source], ...]
    in_brief: tuple[str, ...]
    after: tuple[tuple[str, Source], ...]
    notes: tuple[tuple[str, Source], ...]


def is_vehicle(system: str) -> bool:
    """Tell whether a kind of machine is the air conditioning of a vehicle."""
    return system in facts("retrofit")["vehicles"]["systems"]


def retrofit(old: Refrigerant, new: Refrigerant, label: float, system: str) -> Retrofit:
    """Return what changing the refrigerant amounts to.

    Args:
        old: what the label names.
        new: what is to go in.
        label: charge on the label [kg].
        system: kind of machine, as in a reading.

    Raises:
        RefusedError: the change must not be made.
        InputError: it is the same refrigerant, or there is no charge to start from.
    """
    if old.id == new.id:
        raise InputError(f"{new.title} to {new.title} is no retrofit; leave out --retrofit-from")
    if not label > 0.0:
        raise InputError("a retrofit starts from the old charge on the label; a charge of nothing says nothing")
    refuse(old, new, system)
    data = facts("retrofit")
    published = [_method(entry, label) for entry in data["methods"] if entry["only"] == _pair(old, new, system)]
    by_density = _by_density(old, new, label)
    counting = [method for method in published if method.counts]
    if counting:
        start, stop = min(m.low for m in counting), max(m.high for m in counting)
    else:
        middle = density_ratio(old, new, _at("at")) * label
        start, stop = (number(data["density"][key], Dimension.FRACTION).value * middle for key in ("start", "stop"))
    ratio = pressure_ratio(old, new)
    return Retrofit(
        old=old,
        new=new,
        label=label,
        methods=(*published, by_density),
        start=start,
        stop=stop,
        published=bool(published),
        pressure_ratio=ratio,
        checklist=_list("checklist", old, new, system),
        in_brief=tuple(prose(entry, "brief") for entry in _entries("checklist", old, new, system)),
        after=_list("after", old, new, system),
        notes=_notes(published=bool(published), ratio=ratio, vehicle=is_vehicle(system)),
    )


def refuse(old: Refrigerant, new: Refrigerant, system: str) -> None:
    """Refuse a change of refrigerant that must not be made.

    Args:
        old: what the system was made for.
        new: what is to go in.
        system: kind of machine, as in a reading.

    Raises:
        RefusedError: with the rule and its source.
    """
    of_new = {key.removeprefix("cautions.") for key in new.sources}
    of_old = {key.removeprefix("cautions.") for key in old.sources}
    why, more = "", ""
    if is_vehicle(system) and "no_hydrocarbon_in_vehicle" in of_new:
        why = "hydrocarbon_in_a_vehicle"
    elif is_vehicle(system) and "new_vehicles_only" in of_new:
        why = "new_vehicles_only"
    elif is_vehicle(system) and "new_vehicles_only" in of_old:
        why = "built_for_it"
    elif BURNS.index(new.safety_class[1:]) > BURNS.index(old.safety_class[1:]):
        why, more = "burns", f" ({new.title} is {new.safety_class}, {old.title} {old.safety_class})"
    elif new.safety_class[0] > old.safety_class[0]:
        why, more = "poisonous", f" ({new.title} is {new.safety_class}, {old.title} {old.safety_class})"
    elif "ozone" in of_new:
        why = "ozone"
    elif not pressure_ratio(old, new) <= number(facts("retrofit")["pressure"]["most"], Dimension.NUMBER).value:
        ratio = pressure_ratio(old, new)
        how = f"{ratio:.2f} times the pressure" if math.isfinite(ratio) else "a pressure far above"
        why, more = "pressure", f" {new.title} works at {how} of {old.title}."
    if why:
        entry = facts("retrofit")["refusals"][why]
        raise RefusedError(f"{new.title} must not replace {old.title} here. {prose(entry)}{more} [{source(entry)}]")


def refuse_mixing(old: Refrigerant, new: Refrigerant) -> None:
    """Refuse to put one refrigerant on top of another.

    Raises:
        RefusedError: always.
    """
    entry = facts("retrofit")["refusals"]["drop_in"]
    raise RefusedError(f"{new.title} must not go on top of {old.title}. {prose(entry)} [{source(entry)}]")


def density_ratio(old: Refrigerant, new: Refrigerant, temperature: float) -> float:
    """Return the density of the new liquid over that of the old [1]; NaN where one is not known.

    Args:
        old, new: the refrigerants.
        temperature: of both [K].
    """
    one, other = (float(properties_of(each).liquid_density(temperature)) for each in (new, old))
    return one / other


def pressure_ratio(old: Refrigerant, new: Refrigerant) -> float:
    """Return the pressure of the new refrigerant over that of the old one, warm [1]; infinite where it has none."""
    at = number(facts("retrofit")["pressure"]["at"], Dimension.TEMPERATURE).value
    one, other = (float(each.saturation_pressure(at, "bubble")) for each in (new, old))
    return math.inf if math.isnan(one) or math.isnan(other) else one / other


def _at(key: str) -> float:
    return number(facts("retrofit")["density"][key], Dimension.TEMPERATURE).value


def _method(entry: Mapping[str, Any], label: float) -> Method:
    if entry["kind"] == "share":
        low, high = (number(entry, Dimension.FRACTION, key).value * label for key in ("low", "high"))
        return Method(prose(entry, "amount"), low, high, counts=True, note="", source=source(entry))
    share = number(entry, Dimension.FRACTION, "share").value
    amount = share * label - number(entry, Dimension.MASS, "less").value
    sensible = label >= number(entry, Dimension.MASS, "sensible_from").value
    note = "" if sensible else "means nothing for so small a charge"
    return Method(
        prose(entry, "amount"), max(amount, 0.0), max(amount, 0.0), counts=sensible, note=note, source=source(entry)
    )


def _by_density(old: Refrigerant, new: Refrigerant, label: float) -> Method:
    ends = [density_ratio(old, new, _at(key)) * label for key in ("from", "to")]
    title = "ratio of the liquids' densities in a warm system"
    return Method(
        title, min(ends), max(ends), counts=False, note="an estimate", source=Source("CoolProp", "computed")
    )


def _list(name: str, old: Refrigerant, new: Refrigerant, system: str) -> tuple[tuple[str, Source], ...]:
    return tuple((prose(entry), source(entry)) for entry in _entries(name, old, new, system))


def _entries(name: str, old: Refrigerant, new: Refrigerant, system: str) -> list[Mapping[str, Any]]:
    pair = _pair(old, new, system)
    return [
        entry
        for entry in facts("retrofit")[name]
        if entry.get("only", pair) == pair
        and entry.get("not") != pair
        and (entry.get("vehicle") != "yes" or is_vehicle(system))
    ]


def _pair(old: Refrigerant, new: Refrigerant, system: str) -> str:
    """Return how the data name a change; what is published for vehicles says nothing about other machines."""
    return f"{old.id} to {new.id} in {'a vehicle' if is_vehicle(system) else 'another machine'}"


def _notes(*, published: bool, ratio: float, vehicle: bool) -> tuple[tuple[str, Source], ...]:
    least = number(facts("retrofit")["pressure"]["least"], Dimension.NUMBER).value
    names = []
    if not published:
        names.append("no_guidance")
    if ratio < least:
        names.append("far_lower_pressure")
    if vehicle:
        names.append("old_vehicle" if published else "listed_only")
    entries = [facts("retrofit")["notes"][name] for name in names]
    return tuple((prose(entry), source(entry)) for entry in entries)
