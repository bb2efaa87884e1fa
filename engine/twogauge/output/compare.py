"""A comparison of two readings for a person and as JSON.

`twogauge.compare/1`: {schema, outcome "worked", "another", "not", "worse", "nothing_was_wrong" or "cannot_say",
before and after {verdict, fault, title, probability, machine, date}, fault_before {fault, title, probability [before,
after or null]}, fair, short [day], doubts [{doubt "same_figures" or "after_is_older", about}], changes [{quantity,
about, unit, before {value, u}, after {value, u}, by, u,
counts, unlike "weather", "refrigerant" or null}], answers [{name, before, after}], only_before [field], only_after
[field], conditions [{field, before, after, state "same", "differs" or "unknown", about, corrected, source,
standing}], vents [before, after: {value_K, normal_K [low, high] or null, level, entering {temperature_K,
humidity_ratio, dew_point_K, wet_bulb_K} or null, taken {sensible_J_kg, latent_J_kg, water_kg_kg} or null, why_not} or
null], same_air {temperature_K, u_K, by_K, counts} or null, cautions}. All SI, pressures absolute, u a standard
uncertainty; per kg of dry air.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Diagnosis, Shown, Warned
from twogauge.fields import FIELDS
from twogauge.instruments import decimals
from twogauge.output.json import SI_UNIT
from twogauge.output.paper import Paper, Table, caution_document, number_or_none, source_document
from twogauge.output.style import percent
from twogauge.output.values import EDGE, range_text, so_it_is, uncertainty, value_text
from twogauge.quantities import Dimension, UnitSet, show, symbol_for, to_unit
from twogauge.reading import Reading
from twogauge.service.compare import AS_DIFFERENCE, Change, Comparison, Condition, SameAir, Vents
from twogauge.service.facts import facts, prose, source

SCHEMA: Final = "twogauge.compare/1"
NONE: Final = "none"
DOUBTS: Final = {
    "same_figures": "Both readings hold the very same figures: one is likely a copy of the other that was not filled in",
    "after_is_older": "The second reading is the older one: are the two given the other way round?",
}
_UNLIKE: Final = {"weather": "*", "refrigerant": "*", "": ""}


def document(found: Comparison, cautions: Iterable[Warned]) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers.

    Args:
        found: the comparison.
        cautions: beside the reading of a running machine.
    """
    return {
        "schema": SCHEMA,
        "outcome": found.outcome,
        "before": _day(found.before),
        "after": _day(found.after),
        "fault_before": {
            "fault": found.fault,
            "title": found.title,
            "probability": [number_or_none(each, 9) for each in found.probability],
        },
        "fair": found.fair,
        "short": list(found.short),
        "doubts": [{"doubt": each, "about": DOUBTS[each]} for each in found.doubts],
        "changes": [
            {
                "quantity": each.before.name,
                "about": each.before.about,
                "unit": SI_UNIT[each.before.dimension],
                "before": {"value": number_or_none(each.before.value), "u": number_or_none(each.before.u)},
                "after": {"value": number_or_none(each.after.value), "u": number_or_none(each.after.u)},
                "by": number_or_none(each.by),
                "u": number_or_none(each.u),
                "counts": each.counts,
                "unlike": each.unlike or None,
            }
            for each in found.changes
        ],
        "answers": [{"name": each.name, "before": each.before, "after": each.after} for each in found.answers],
        "only_before": list(found.only_before),
        "only_after": list(found.only_after),
        "conditions": [
            {
                "field": each.field,
                "before": each.before,
                "after": each.after,
                "state": each.state,
                "about": each.about,
                "corrected": each.corrected or None,
                **source_document(each.source),
            }
            for each in found.conditions
        ],
        "vents": [None if each is None else _vents_document(each) for each in found.vents],
        "same_air": None
        if found.same_air is None
        else {
            "temperature_K": number_or_none(found.same_air.temperature, 3),
            "u_K": number_or_none(found.same_air.u, 3),
            "by_K": number_or_none(found.same_air.by, 3),
            "counts": found.same_air.counts,
        },
        "cautions": [caution_document(each) for each in cautions],
    }


def write(page: Paper, found: Comparison, cautions: Iterable[Warned]) -> None:
    """Write what a person reads, in the units of the second reading.

    Args:
        page: to write on.
        found: the comparison.
        cautions: beside the reading of a running machine.
    """
    units = found.after.units
    for doubt in found.doubts:
        page.answer(DOUBTS[doubt])
    if found.doubts:
        page.say(f"As they stand: {_small(verdict(found))}.")
    else:
        page.answer(verdict(found))
    for day, diagnosis in (("Before", found.before), ("After", found.after)):
        page.say(f"{day}: {_about(diagnosis)}")
    _chances(page, found)
    _what_changed(page, found)
    _at_the_vents(page, found, units)
    _how_fair(page, found, units)
    page.care(cautions)


def _day(diagnosis: Diagnosis) -> dict[str, Any]:
    given = diagnosis.reading.given
    return {
        "verdict": diagnosis.verdict,
        "fault": diagnosis.first.fault,
        "title": diagnosis.first.title,
        "probability": number_or_none(diagnosis.first.probability, 9),
        "machine": str(given["machine"]) if given.get("machine") else None,
        "date": str(given["date"]) if given.get("date") else None,
    }


def _vents_document(vents: Vents) -> dict[str, Any]:
    air, taken = vents.entering, vents.taken
    return {
        "value_K": number_or_none(vents.shown.value, 3),
        "normal_K": None if vents.shown.normal is None else [number_or_none(each, 3) for each in vents.shown.normal],
        "level": vents.shown.level or None,
        "entering": None
        if air is None
        else {
            "temperature_K": number_or_none(air.temperature, 3),
            "humidity_ratio": number_or_none(air.moisture),
            "dew_point_K": number_or_none(air.dew_point, 3),
            "wet_bulb_K": number_or_none(air.wet_bulb, 3),
        },
        "taken": None
        if taken is None
        else {
            "sensible_J_kg": number_or_none(taken.sensible, 1),
            "latent_J_kg": number_or_none(taken.latent, 1),
            "water_kg_kg": number_or_none(taken.water),
        },
        "why_not": vents.why_not or None,
    }


# -- the answer -----------------------------------------------------------------------------------------------------


def headline(found: Comparison) -> str:
    """Return the verdict in a sentence, or first what makes it doubtful."""
    return " ".join(part.rstrip(".?") + "." for part in (*(DOUBTS[each] for each in found.doubts), verdict(found)))[
        :-1
    ]


def verdict(found: Comparison) -> str:
    """Return the verdict in a sentence."""
    later = found.after.first
    chance = f"{later.title} ({percent(later.probability)})"
    return {
        "worked": "It worked: nothing wrong with the refrigerant circuit shows any more",
        "another": f"{found.title} is no longer first, but another fault shows: {chance}",
        "not": f"It did not work: still {chance}",
        "worse": f"Nothing was wrong before, and now there is: {chance}",
        "nothing_was_wrong": "Nothing wrong showed before, and nothing shows now",
        "cannot_say": "Cannot say whether it worked",
    }[found.outcome]


def _about(diagnosis: Diagnosis) -> str:
    given = diagnosis.reading.given
    told = ", ".join(str(given[name]) for name in ("machine", "date") if given.get(name))
    verdict = {
        "fault": f"most likely {_small(diagnosis.first.title)} ({percent(diagnosis.first.probability)})",
        "normal": f"nothing wrong that shows ({percent(diagnosis.first.probability)})",
        "too_close": "too close to call between "
        + " and ".join(_small(each.title) for each in diagnosis.ranking if each.fault in diagnosis.close),
        "not_enough": "not enough to say what is wrong",
        "gated": "the readings say nothing: "
        + (_small(diagnosis.gates[0].title) if diagnosis.gates else "see twogauge diagnose"),
    }[diagnosis.verdict]
    return f"{told}: {verdict}" if told else verdict


def _chances(page: Paper, found: Comparison) -> None:
    if found.before.verdict in {"fault", "too_close"}:
        one, two = found.probability
        after = "no longer a cause that could be" if math.isnan(two) else percent(two)
        page.say(f"{found.title}: {percent(one)} before, {after} after.")
    if found.outcome in {"another", "not", "worse"}:
        page.say("What to do now, and with what care: twogauge diagnose AFTER.yaml")
    if found.outcome == "cannot_say" and found.after.verdict == "not_enough":
        page.say("Measure afterwards what was measured before; twogauge diagnose AFTER.yaml says what would help.")


def _what_changed(page: Paper, found: Comparison) -> None:
    page.head("What changed")
    rows = plain_rows(found)
    if len(rows) == 1:
        page.say("Nothing was measured on both days.")
    else:
        page.rows(Table("What changed", rows[1:], rows[0]), headed=True)
    reasons = {each.unlike for each in found.changes} - {""}
    if reasons:
        other = "another refrigerant" if reasons == {"refrigerant"} else "the weather"
        if reasons == {"refrigerant", "weather"}:
            other = "the weather and another refrigerant"
        page.note(f"*: moves with {other} too; go by the others")
    if any(not each.counts for each in found.changes):
        page.note(f"{NONE}: no more than the instruments may be off; \u00b1 holds 19 times in 20")
    for answer in found.answers:
        nothing = "not told" if answer.name in FIELDS else "not looked at"
        words = [nothing if word is None else word.replace("_", " ") for word in (answer.before, answer.after)]
        page.say(f"{answer.name.replace('_', ' ')}: {words[0]} before, {words[1]} after")
    for day, fields in (("before", found.only_before), ("after", found.only_after)):
        if fields:
            page.say(f"Measured {day} only: {', '.join(name.replace('_', ' ') for name in fields)}.")


def plain_rows(found: Comparison) -> list[tuple[str, str, str, str]]:
    """Return the quantities known on both days as rows of text, a head first, in the units of the second reading."""
    after = found.after.reading
    before = copy.copy(found.before.reading)
    before.units = after.units
    return [
        ("reading", "before", "after", "change"),
        *(
            (
                each.before.name.replace("_", " ") + _UNLIKE[each.unlike],
                value_text(each.before, before),
                value_text(each.after, after),
                _by(each, after.units) if each.counts else NONE,
            )
            for each in found.changes
        ),
    ]


def _by(change: Change, units: UnitSet) -> str:
    dimension = AS_DIFFERENCE.get(change.before.dimension, change.before.dimension)
    symbol = symbol_for(dimension, units)
    within = 2.0 * abs(to_unit(change.u, dimension, symbol))
    text = show(abs(change.by), dimension, units, decimals(within))
    return f"{'up' if change.by > 0 else 'down'} {text}"


def _at_the_vents(page: Paper, found: Comparison, units: UnitSet) -> None:
    if found.vents == (None, None):
        return
    page.head("At the vents")
    missing = []
    for day, vents, diagnosis in zip(("Before", "After"), found.vents, (found.before, found.after), strict=True):
        if vents is None:
            page.say(f"{day}: not measured.")
            continue
        reading = copy.copy(diagnosis.reading)
        reading.units = units
        page.say(f"{day}: {_judged(vents.shown, reading)}")
        if vents.taken is not None and vents.entering is not None:
            page.say(_taken(vents, units), "    ")
        else:
            missing.append(vents.why_not)
    for sentence in dict.fromkeys(missing):
        page.note(sentence)
    if found.same_air is not None:
        page.say(_in_same_air(found.same_air, units))
        page.note(prose(facts("compare")["same_air"]))
        page.source(source(facts("compare")["same_air"]))


def _judged(shown: Shown, reading: Reading) -> str:
    value = value_text(shown, reading)
    numbers = reading.parts.numbers
    weather = []
    if "ambient" in numbers:
        weather.append(f"{show(numbers['ambient'], Dimension.TEMPERATURE, reading.units)} air")
    weather.append(
        f"{show(numbers['humidity'], Dimension.FRACTION, reading.units)} humidity"
        if "humidity" in numbers
        else "humidity not told"
    )
    where = " and ".join(weather)
    if shown.normal is None or not shown.level:
        return f"{value} ({where})"
    ends = range_text(shown.normal, shown.dimension, reading)
    word = so_it_is(shown)
    is_it = "at the edge of normal" if word == EDGE else word
    return f"{value}, {is_it}: {ends} in {where}"


def _taken(vents: Vents, units: UnitSet) -> str:
    air, taken = vents.entering, vents.taken
    if air is None or taken is None:
        return ""
    dew = show(air.dew_point, Dimension.TEMPERATURE, units)
    return (
        f"{taken.total / 1000.0:.0f} kJ taken out of each kg of air ({taken.sensible / 1000.0:.0f} by cooling it, "
        f"{taken.latent / 1000.0:.0f} by drying it: {1000.0 * taken.water:.1f} g of water; its dew point was {dew})"
    )


def _in_same_air(same: SameAir, units: UnitSet) -> str:
    shown = Shown("vent_air", "", Dimension.TEMPERATURE, same.temperature, same.u)
    within, symbol = uncertainty(shown, units, math.inf)
    digits = decimals(within)
    value = number_of(same.temperature, units, digits).removesuffix(symbol).strip()
    begin = f"In the air of the first day the vents would now be at {value} \u00b1 {within:.{digits}f} {symbol}"
    if not same.counts:
        return f"{begin}: no change that can be told."
    size = show(abs(same.by), Dimension.TEMPERATURE_DIFFERENCE, units, digits)
    return f"{begin}, {size} {'warmer' if same.by > 0 else 'colder'} than then."


def number_of(temperature: float, units: UnitSet, digits: int) -> str:
    """Return a temperature [K] in the reader's units."""
    return show(temperature, Dimension.TEMPERATURE, units, digits)


def _how_fair(page: Paper, found: Comparison, units: UnitSet) -> None:
    page.head("How fair this is")
    for each in found.differing:
        told = f"{_label(each)}: {_value(each, each.before, units)} before, {_value(each, each.after, units)} after"
        page.say(f"{told}. {_sentence(each.about)}.")
        if each.corrected:
            page.say(f"Made up for: {each.corrected}.", "    ")
        page.source(each.source)
    for day in found.short:
        known = facts("compare")["ran_for"]
        page.say(f"{_sentence(day)}: read before it had run {known['value']}; {prose(known, 'about')}.")
        page.source(source(known))
    if not found.dates_read:
        page.say("A date is not written as 2026-06-22, so which of the two came first was not checked.")
    if found.fair:
        page.say("Nothing else that was told of both days stands against it.")
    unknown = [_label(each).lower() for each in found.conditions if each.state == "unknown"]
    if unknown:
        page.say(f"Not told of both days: {', '.join(unknown)}.")
    page.say(prose(facts("compare")["vents"]))
    page.source(source(facts("compare")["vents"]))
    if page.verbose:
        page.note(prose(facts("compare")["instruments"]))


def _label(condition: Condition) -> str:
    return _sentence(condition.field.replace("_", " "))


def _value(condition: Condition, value: float | str | None, units: UnitSet) -> str:
    if value is None:
        return "not told"
    if isinstance(value, float):
        return show(value, FIELDS[condition.field].dimension or Dimension.NUMBER, units)
    return value.replace("_", " ") if condition.field != "machine" else value


def _small(title: str) -> str:
    return title[:1].lower() + title[1:]


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
