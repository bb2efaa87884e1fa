"""How full a cylinder may be and what may be in it, for a person and as JSON.

`twogauge.cylinder_fill/1`: {schema, refrigerant or null, most_kg, by_weight_kg, by_volume_kg, volume_m3, share,
at_K, liquid_density_kg_m3, full_by_weight_at_K, full_by_volume_at_K, hottest_K, pressure_when_hottest_Pa, tare_kg,
on_scale_kg, room_kg, sources [{source, standing}], cautions}.
`twogauge.cylinder_identity/1`: {schema, pressure_Pa, temperature_K, label, candidates [{refrigerant, verdict, bubble_Pa,
dew_Pa, off_Pa, uncertainty_Pa}], apart {temperature_K, pressures, least_difference_Pa, told_apart} or null, cautions}.
All SI, pressures absolute, null where a number is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.output.paper import Paper, Table, caution_document, number_or_none, source_document
from twogauge.quantities import Dimension, UnitSet, show, show_gauge, show_mass
from twogauge.refrigerants import Refrigerant, get, summaries
from twogauge.service.cylinder import Candidate, Fill, Identity
from twogauge.service.facts import facts, prose, source

FILL_SCHEMA: Final = "twogauge.cylinder_fill/1"
IDENTITY_SCHEMA: Final = "twogauge.cylinder_identity/1"
MOST_ROWS: Final = 6


# Filling -----------------------------------------------------------------------------------------------------------


def fill_document(
    fill: Fill, refrigerant: Refrigerant | None, *, tare: float, on_scale: float, cautions: Iterable[Warned]
) -> dict[str, Any]:
    """Return the JSON of a filling; tare and what is on the scale are NaN where they were not given [kg]."""
    return {
        "schema": FILL_SCHEMA,
        "refrigerant": None if refrigerant is None else refrigerant.id,
        "most_kg": number_or_none(fill.most),
        "by_weight_kg": number_or_none(fill.by_weight),
        "by_volume_kg": number_or_none(fill.by_volume),
        "volume_m3": number_or_none(fill.volume, 8),
        "share": fill.share.value,
        "at_K": fill.at.value,
        "liquid_density_kg_m3": number_or_none(fill.density, 3),
        "full_by_weight_at_K": number_or_none(fill.full_by_weight_at, 3),
        "full_by_volume_at_K": number_or_none(fill.full_by_volume_at, 3),
        "hottest_K": fill.hottest.value,
        "pressure_when_hottest_Pa": number_or_none(fill.pressure_when_hottest, 1),
        "tare_kg": number_or_none(tare),
        "on_scale_kg": number_or_none(on_scale),
        "room_kg": number_or_none(fill.most - (on_scale - tare)),
        "sources": [source_document(each.source) for each in (fill.share, fill.at, fill.hottest)],
        "cautions": [caution_document(each) for each in cautions],
    }


def write_fill(
    paper: Paper,
    fill: Fill,
    refrigerant: Refrigerant | None,
    units: UnitSet,
    *,
    tare: float,
    on_scale: float,
    barometer: float,
    cautions: Iterable[Warned],
) -> None:
    """Write what a person reads about a filling."""
    what = "refrigerant" if refrigerant is None else refrigerant.title
    in_all = f", {show_mass(tare + fill.most, units)} on the scale with the cylinder" if not math.isnan(tare) else ""
    over = on_scale - tare - fill.most
    if over > 0.0:
        paper.answer(f"Overfilled: {show_mass(over, units)} too much in it")
        paper.say(
            "Add nothing. Keep it cool and out of the sun, do not warm it and do not carry it about: full of liquid it "
            "bursts as it warms. Draw the excess into an empty cylinder of the same kind, by weight."
        )
        paper.say(f"The most it may hold: {show_mass(fill.most, units)} of {what}{in_all}.")
    else:
        paper.answer(f"Stop at {show_mass(fill.most, units)} of {what}{in_all}")
    share, at = show(fill.share.value, Dimension.FRACTION, units), _temperature(fill.at.value, units)
    hottest = fill.hottest.value
    ways = [(f"{share} of the water capacity, by weight", fill.by_weight, fill.full_by_weight_at)]
    if refrigerant is not None:
        ways.append((f"{share} of the room, as liquid at {at}", fill.by_volume, fill.full_by_volume_at))
    paper.rows(
        Table(
            "How much it may hold",
            [(way, show_mass(mass, units), _full(full_at, hottest, units)) for way, mass, full_at in ways],
            ("rule", "most", "then"),
        )
    )
    paper.source(fill.share.source)
    if refrigerant is None:
        paper.say(
            "Without the refrigerant's name only the weight counts, and only for one that is heavier than water: "
            "propane, butane and ammonia are lighter, and would burst it."
        )
    elif fill.by_weight > fill.by_volume:
        paper.say(
            f"Liquid {refrigerant.title} is lighter than water: by weight alone the cylinder would be overfilled, so the "
            "second figure counts."
        )
    else:
        paper.say("Both readings of the rule are in use; the lower one leaves room in either.")
    if not math.isnan(fill.pressure_when_hottest):
        pressure = _gauge(fill.pressure_when_hottest, barometer, units)
        paper.say(
            f"At {_temperature(hottest, units)}, the most it may ever see, it holds {pressure}: its stamped rating must "
            "be above."
        )
    room = fill.most - (on_scale - tare)
    if not math.isnan(room):
        inside = show_mass(on_scale - tare, units)
        left = f"room for {show_mass(room, units)} more" if room > 0 else f"{show_mass(-room, units)} too much"
        paper.say(f"In it now: {inside}, {left}.")
    paper.head("How")
    rule = facts("cylinder")["fill"]
    steps = [
        ("Read WC (water capacity) and TW (tare) from the collar, and the test date.", None),
        (prose(rule["retest"]), source(rule["retest"])),
        ("Zero the scale, set the cylinder on it, and stop at the figure above: tare plus filling.", None),
        ("Hoses and oil weigh too; never fill by the sound of the machine or by pressure.", None),
        (prose(rule["regulation"]), source(rule["regulation"])),
    ]
    paper.steps(steps)
    paper.care(cautions)
    if refrigerant is not None:
        paper.grade(refrigerant)


def _full(temperature: float, hottest: float, units: UnitSet) -> str:
    if math.isnan(temperature):
        return "never liquid-full"
    if temperature <= hottest:
        return "overfilled: bursts"
    return f"liquid-full at {_temperature(temperature, units)}"


# What is in it -----------------------------------------------------------------------------------------------------


def identity_document(found: Identity, cautions: Iterable[Warned]) -> dict[str, Any]:
    """Return the JSON of an identification."""
    return {
        "schema": IDENTITY_SCHEMA,
        "pressure_Pa": number_or_none(found.pressure, 1),
        "temperature_K": number_or_none(found.temperature, 3),
        "label": None if found.label is None else _candidate(found.label),
        "candidates": [_candidate(each) for each in found.candidates],
        "apart": None
        if math.isnan(found.apart)
        else {
            "temperature_K": found.apart,
            "pressures_Pa": {title: round(pressure, 1) for title, pressure in found.apart_pressures},
            "least_difference_Pa": round(found.apart_by, 1),
            "told_apart": found.told_apart,
        },
        "cautions": [caution_document(each) for each in cautions],
    }


def _candidate(each: Candidate) -> dict[str, Any]:
    return {
        "refrigerant": each.refrigerant,
        "verdict": each.verdict,
        "bubble_Pa": number_or_none(each.bubble, 1),
        "dew_Pa": number_or_none(each.dew, 1),
        "off_Pa": number_or_none(each.off, 1),
        "uncertainty_Pa": number_or_none(each.uncertainty, 1),
    }


def write_identity(
    paper: Paper,
    found: Identity,
    units: UnitSet,
    *,
    barometer: float,
    cautions: Iterable[Warned],
) -> None:
    """Write what a person reads about what is in a cylinder."""
    fits, airy = found.those("fits"), found.those("with air")
    given = f"{_gauge(found.pressure, barometer, units)} at {_temperature(found.temperature, units)}"
    paper.answer(_headline(found, fits, given))
    if found.label is not None:
        paper.say(_of_label(found.label, barometer, units))
    rows = [
        (each.title, _should(each, barometer, units), "fits, within what the instruments may be off")
        for each in fits[:MOST_ROWS]
    ]
    rows += [
        (
            each.title,
            _should(each, barometer, units),
            f"only with air: {_difference(each.off, units)} more than it should be",
        )
        for each in sorted(airy, key=lambda each: each.off)[: MOST_ROWS // 2]
    ]
    paper.rows(Table("What fits", rows, ("refrigerant", "should show", "so it")))
    left = max(len(fits) - MOST_ROWS, 0)
    if left:
        paper.note(f"and {left} more that fit, less used", "--json names them all")
    paper.head("What that is worth")
    rule = facts("cylinder")["identify"]
    if not math.isnan(found.apart):
        paper.say(_apart(found, barometer, units))
    if set(rule["alike"]["refrigerants"]) & {each.refrigerant for each in fits}:
        paper.say(prose(rule["alike"]))
        paper.source(source(rule["alike"]))
    paper.say(_mixed(found))
    paper.source(source(rule["mixture"]))
    if found.those("too low"):
        paper.say("If no liquid is left in it, it may be any refrigerant that would show more than this, or none.")
    paper.head("How to be surer")
    paper.steps((prose(each), source(each)) for each in rule["how"])
    paper.care(cautions)
    if found.label is not None:
        paper.grade(get(found.label.refrigerant))


def _headline(found: Identity, fits: tuple[Candidate, ...], given: str) -> str:
    label = found.label
    if label is not None and label.verdict == "fits":
        others = f", and so do {len(fits) - 1} others" if len(fits) > 1 else ""
        return f"{given}: {label.title} fits{others}"
    if label is not None:
        return f"{given}: that is not {label.title} alone with liquid in it"
    if not fits:
        return f"{given}: no refrigerant known here fits with liquid in it and nothing else"
    if len(fits) == 1:
        return f"{given}: of the refrigerants known here only {fits[0].title} fits"
    return f"{given}: {len(fits)} refrigerants fit; pressure cannot say which"


def _of_label(label: Candidate, barometer: float, units: UnitSet) -> str:
    if label.verdict == "no curve":
        return f"{label.title} has no saturation at that temperature: its pressure tells nothing here."
    should = f"{label.title} with liquid in it should show {_should(label, barometer, units)}"
    if label.verdict == "fits":
        return f"{should}: the label may be right, or another that fits is inside."
    if label.off < 0:
        return f"{should}: no liquid is left, it is colder inside than the thermometer says, or it is something else."
    air = _difference(label.off, units)
    return f"{should}: {air} too much. If that is air, air presses with {air} of it; or it is a mixture, or another."


def _apart(found: Identity, barometer: float, units: UnitSet) -> str:
    each = ", ".join(f"{title} {_gauge(pressure, barometer, units)}" for title, pressure in found.apart_pressures)
    gap = _difference(found.apart_by, units)
    verdict = (
        "bring it to that temperature and read again"
        if found.told_apart
        else f"{gap} between two of them, too little for this gauge, at any temperature from "
        f"{_temperature(273.15, units)} to {_temperature(318.15, units)}"
    )
    return f"They differ most at {_temperature(found.apart, units)}: {each}: {verdict}."


def _mixed(found: Identity) -> str:
    pure = {each.id for each in summaries() if each.kind == "pure"}
    below = [e for e in (*found.those("with air"), *found.those("too high")) if e.refrigerant in pure]
    above = [e for e in found.those("too low") if e.refrigerant in pure]
    text = prose(facts("cylinder")["identify"]["mixture"])
    if not below or not above:
        return text
    low, high = (min(side, key=lambda each: abs(each.off)) for side in (below, above))
    return f"{text} So it may also be {low.title} mixed with {high.title}, for instance."


def _should(each: Candidate, barometer: float, units: UnitSet) -> str:
    low, high = _gauge(each.dew, barometer, units), _gauge(each.bubble, barometer, units)
    return high if low == high else f"{low.partition(' ')[0]} to {high}"


def _difference(value: float, units: UnitSet) -> str:
    return show(value, Dimension.PRESSURE_DIFFERENCE, units, 0 if units is UnitSet.US else None)


def _gauge(pressure: float, barometer: float, units: UnitSet) -> str:
    return show_gauge(pressure, barometer, units, 0 if units is UnitSet.US else None)


def _temperature(value: float, units: UnitSet) -> str:
    return show(value, Dimension.TEMPERATURE, units, 0)
