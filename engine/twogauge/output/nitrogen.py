"""A test under dry nitrogen for a person and as JSON.

`twogauge.pressure_hold/1`: {schema, verdict "holds", "drops", "rises", "cannot say" or "above the limit", lasted_s,
first_Pa, last_Pa, should_Pa (all three on the gauge), drop_Pa, uncertainty_Pa (standard), significant_Pa,
would_explain_K, could_be_K (0 if temperatures were measured), by_temperature_Pa, by_weather_Pa, warmer_K, rate_Pa_s
[low, middle, high], throughput_Pa_m3_s [low, middle, high], loss {refrigerant, working_Pa, kg_a_year [low, high]} or
null, limit_Pa, highest_Pa, step_Pa, criteria [{criterion, title, result, within_s, source}], notes [text], cautions}.
All SI; null where a number is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.instruments import show_size
from twogauge.output.hold import minutes
from twogauge.output.paper import Paper, Table, caution_document, number_or_none
from twogauge.quantities import Dimension, UnitSet, show, show_mass
from twogauge.refrigerants import Refrigerant
from twogauge.service.facts import facts, prose, source
from twogauge.service.leakrate import Loss
from twogauge.service.nitrogen import PressureHold

SCHEMA: Final = "twogauge.pressure_hold/1"


def document(
    found: PressureHold, refrigerant: Refrigerant | None, lost: Loss | None, limit: float, cautions: Iterable[Warned]
) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers.

    Args:
        found: the judgement.
        refrigerant: what will be in the circuit, or None.
        lost: what the leak would lose of it, or None.
        limit: test pressure on the label [Pa] against the air, or NaN.
        cautions: of the work.
    """
    return {
        "schema": SCHEMA,
        "verdict": found.verdict,
        "lasted_s": found.lasted,
        "first_Pa": round(found.first, 1),
        "last_Pa": round(found.last, 1),
        "should_Pa": round(found.should, 1),
        "drop_Pa": round(found.drop, 1),
        "uncertainty_Pa": round(found.uncertainty, 1),
        "significant_Pa": round(found.significant, 1),
        "would_explain_K": round(found.would_explain, 3),
        "could_be_K": round(found.could_be, 3),
        "by_temperature_Pa": round(found.by_temperature, 1),
        "by_weather_Pa": round(found.by_weather, 1),
        "warmer_K": number_or_none(found.warmest, 3),
        "rate_Pa_s": [number_or_none(x, 9) for x in found.rate],
        "throughput_Pa_m3_s": [number_or_none(x * found.volume, 12) for x in found.rate],
        "loss": None
        if lost is None or refrigerant is None
        else {
            "refrigerant": refrigerant.id,
            "working_Pa": round(lost.pressure, 1),
            "kg_a_year": [number_or_none(x) for x in lost.a_year],
        },
        "limit_Pa": number_or_none(limit, 1),
        "highest_Pa": round(found.highest, 1),
        "step_Pa": number_or_none(found.step),
        "criteria": [
            {"criterion": c.id, "title": c.title, "result": result, "within_s": c.within, "source": c.source}
            for c, result in found.criteria
        ],
        "notes": list(found.notes),
        "cautions": [caution_document(each) for each in cautions],
    }


def write(
    page: Paper,
    found: PressureHold,
    units: UnitSet,
    *,
    refrigerant: Refrigerant | None,
    lost: Loss | None,
    limit: float,
    air: str,
    cautions: Iterable[Warned],
) -> None:
    """Write what a person reads.

    Args:
        page: to write on.
        found: the judgement.
        units: the reader's.
        refrigerant: what will be in the circuit, or None.
        lost: what the leak would lose of it, or None.
        limit: test pressure on the label [Pa] against the air, or NaN.
        air: a sentence about the air around the gauge.
        cautions: to print at the end.
    """
    known = facts("hold")["nitrogen"]

    def size(pressure: float) -> str:
        return show_size(pressure, Dimension.PRESSURE_DIFFERENCE, units)

    def dial(pressure: float) -> str:
        return show(pressure, Dimension.PRESSURE, units, {UnitSet.US: 1, UnitSet.SI: 1, UnitSet.METRIC: 3}[units])

    page.answer(_headline(found, dial, limit))
    rows = [
        ("at first", dial(found.first)),
        (f"after {minutes(found.lasted)}", dial(found.last)),
        ("it should show", f"{dial(found.should)}{_why(found, dial, units)}"),
        ("missing", f"{_signed(found.drop, size)}, known within {size(found.significant)}"),
        ("significant", f"a drop of {size(found.significant)} or more, with this gauge and these conditions"),
    ]
    if found.verdict == "drops" and not math.isnan(found.volume):
        flows = [f"{x * found.volume:.2g}" for x in (found.rate[1], found.rate[0], found.rate[2])]
        rows.append(("a leak of", f"{flows[0]} Pa m3/s ({flows[1]} to {flows[2]}) of nitrogen"))
    if lost is not None and refrigerant is not None:
        least, most = (show_mass(x, units) for x in lost.a_year)
        at = show(lost.pressure - found.barometer, Dimension.PRESSURE, units)
        amount = f"{least} to {most}" if found.verdict == "drops" else f"less than {most}"
        rows.append(("as a leak", f"{amount} of {refrigerant.title} a year as gas at {at}, more where it is liquid"))
    page.rows(Table("What it did", rows))
    if found.verdict == "cannot say":
        page.say(_unmeasured(found, units))
    if found.verdict == "rises":
        page.say(
            "More than there was: the gas still warms up, or the regulator lets some in; shut its valve and take it off."
        )
    if found.criteria and found.verdict != "above the limit":
        page.head("Criteria")
        page.rows(
            Table(
                "Criteria",
                [(result, f"{c.title} ({c.source})") for c, result in found.criteria],
                ("result", "criterion"),
            )
        )
    page.head("How it is done")
    keys = ["never", "limit", "wait"] + (["rule_of_thumb"] if page.verbose else [])
    page.steps((prose(known[key]), source(known[key])) for key in keys)
    page.head("What this rests on")
    page.note(f"gauge read to {size(found.step)}; its scale error drops out, for it is the same at both ends; {air}")
    for note in found.notes:
        page.note(note)
    page.care(cautions)


def _headline(found: PressureHold, dial: Any, limit: float) -> str:
    if found.verdict == "above the limit":
        return (
            f"Let it down: {dial(found.highest)} is above the {dial(limit)} that the label allows the low side; a test "
            "above it proves nothing and can burst the evaporator"
        )
    return {
        "holds": "It holds: nothing is missing that this gauge could show",
        "drops": "It leaks: the pressure fell by more than temperature and weather explain",
        "cannot say": "Cannot say: a change of temperature, which nobody measured, could make such a drop",
        "rises": "Cannot say: the pressure rose by more than temperature and weather explain",
    }[found.verdict]


def _unmeasured(found: PressureHold, units: UnitSet) -> str:
    kelvin, day = (
        show(size, Dimension.TEMPERATURE_DIFFERENCE, units, 1) for size in (found.would_explain, found.could_be)
    )
    return (
        f"Gas {kelvin} colder at the end than at the start would explain the whole drop, and in {minutes(found.lasted)} "
        f"it may well change by {day}. Measure the temperature of the metal at both ends and write it beside the "
        "pressures, or read again when it is as warm as it was at the start."
    )


def _why(found: PressureHold, dial: Any, units: UnitSet) -> str:
    parts = []
    if not math.isnan(found.warmest) and found.warmest:
        kelvin = show(abs(found.warmest), Dimension.TEMPERATURE_DIFFERENCE, units, 1)
        word = "warmer" if found.warmest > 0 else "colder"
        parts.append(f"{kelvin} {word}: {'+' if found.by_temperature > 0 else '-'}{dial(abs(found.by_temperature))}")
    if found.by_weather:
        parts.append(f"barometer: {'+' if found.by_weather > 0 else '-'}{dial(abs(found.by_weather))}")
    return f" ({', '.join(parts)})" if parts else ""


def _signed(drop: float, size: Any) -> str:
    return size(drop) if drop >= 0.0 else f"nothing ({size(-drop)} too much)"
