"""A standing pressure for a person and as JSON.

`twogauge.standing/1`: {schema, refrigerant, verdict "below", "at", "above" or "not level", pressure_Pa, temperature_K,
saturation_Pa [last liquid, much liquid], off_Pa, uncertainty_Pa (standard), fits_at_K, remaining {low_kg, high_kg,
for_liquid_kg [low, high], share [low, high], volume "told" or "guessed"} or null, air {low_Pa, high_Pa, mass_kg} or
null, least_air_Pa, near_air, fitting [{refrigerant, saturation_Pa [last liquid, much liquid]}], apart_Pa, profile
or null, cautions}. All SI, pressures absolute, null where a number is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.instruments import show_size
from twogauge.output.paper import Paper, Table, caution_document, number_or_none
from twogauge.quantities import Dimension, UnitSet, show, show_gauge, show_mass
from twogauge.refrigerants import Refrigerant
from twogauge.service.cylinder import WITHIN
from twogauge.service.facts import facts, prose, source
from twogauge.service.standing import Remaining, Standing

SCHEMA: Final = "twogauge.standing/1"
MOST_ROWS: Final = 5


def document(
    found: Standing, refrigerant: Refrigerant, cautions: Iterable[Warned], profile: str = ""
) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    left = found.remaining
    return {
        "schema": SCHEMA,
        "refrigerant": refrigerant.id,
        "verdict": found.verdict,
        "pressure_Pa": number_or_none(found.pressure, 1),
        "temperature_K": number_or_none(found.temperature, 3),
        "saturation_Pa": [number_or_none(found.low, 1), number_or_none(found.high, 1)],
        "off_Pa": number_or_none(found.off, 1),
        "uncertainty_Pa": number_or_none(found.uncertainty, 1),
        "fits_at_K": number_or_none(found.fits_at, 3),
        "remaining": None
        if left is None
        else {
            "low_kg": number_or_none(left.low),
            "high_kg": number_or_none(left.high),
            "for_liquid_kg": [number_or_none(left.for_liquid_low), number_or_none(left.for_liquid_high)],
            "share": [number_or_none(left.share_low), number_or_none(left.share_high)],
            "volume": "told" if left.volume_told else "guessed",
        },
        "air": None
        if math.isnan(found.air_low)
        else {
            "low_Pa": number_or_none(found.air_low, 1),
            "high_Pa": number_or_none(found.air_high, 1),
            "mass_kg": number_or_none(found.air_mass),
        },
        "least_air_Pa": number_or_none(found.least_air, 1),
        "fitting": [
            {"refrigerant": c.refrigerant, "saturation_Pa": [number_or_none(c.dew, 1), number_or_none(c.bubble, 1)]}
            for c in found.fitting
        ],
        "near_air": found.near_air,
        "apart_Pa": number_or_none(found.apart, 1),
        "profile": profile or None,
        "cautions": [caution_document(each) for each in cautions],
    }


def write(
    page: Paper,
    found: Standing,
    refrigerant: Refrigerant,
    units: UnitSet,
    *,
    barometer: float,
    air: str,
    instruments: str,
    cautions: Iterable[Warned],
    profile: str = "",
) -> None:
    """Write what a person reads.

    Args:
        page: to write on.
        found: the judgement.
        refrigerant: what should be in it.
        units: the reader's.
        barometer: pressure of the air [Pa].
        air: a sentence about where that is from.
        instruments: a sentence about what they may be off.
        cautions: to print at the end.
        profile: title of the machine's profile, or "".
    """
    dial = _Dial(barometer, units)
    page.answer(_headline(found, refrigerant))
    page.rows(
        Table(
            "What was read, and what liquid would show",
            [
                (
                    "one gauge" if found.verdict == "not level" else "both gauges",
                    dial(found.pressure),
                    f"coldest part {_warm(found.temperature, units)}",
                ),
                (
                    "with liquid",
                    dial.between(found.low, found.high),
                    f"{dial.size(WITHIN * found.uncertainty)} either way is within the instruments",
                ),
            ],
        )
    )
    for sentence in _meaning(found, refrigerant, dial, units):
        page.say(sentence)
    _known(page, found)
    if found.verdict in {"above", "below"} and found.fitting:
        page.head("Or it is something else: with liquid inside these stand there too")
        page.rows(
            Table(
                "What else stands there",
                [(each.title, dial.between(each.dew, each.bubble), "") for each in found.fitting[:MOST_ROWS]],
                ("refrigerant", "with liquid", ""),
            )
        )
        if len(found.fitting) > MOST_ROWS:
            page.note(f"and {len(found.fitting) - MOST_ROWS} more", "--json names them all")
    elif found.verdict == "at" and found.fitting:
        names = ", ".join(each.title for each in found.fitting[:MOST_ROWS])
        page.say(f"A gauge alone does not tell {refrigerant.title} from what else fits here: {names}.")
    if profile:
        page.note(f"For {profile}: the charge of its profile, unless it was told otherwise.")
    page.note(f"{air}; {instruments}")
    page.care(cautions)


def _headline(found: Standing, refrigerant: Refrigerant) -> str:
    return {
        "not level": "The two gauges are not level yet: wait, this is no standing pressure",
        "below": f"Below saturation: no liquid {refrigerant.title} is left",
        "at": f"At saturation: liquid {refrigerant.title} is there, how much cannot be seen",
        "above": f"Above saturation: not {refrigerant.title} alone, or something is warmer than measured",
    }[found.verdict]


def _meaning(found: Standing, refrigerant: Refrigerant, dial: _Dial, units: UnitSet) -> list[str]:
    if found.verdict == "not level":
        return [f"They differ by {dial.size(found.apart)}, more than two such gauges may."]
    if found.verdict == "below":
        said = [
            f"It is {dial.size(-found.off)} short of what any liquid at {_warm(found.temperature, units)} would show."
        ]
        if found.near_air:
            said.append("It stands about level with the air outside: it may have been open, and hold air instead.")
        if found.remaining is None:
            return [*said, "With --volume or --charge it can be told about how much is left."]
        return [*said, *_left(found.remaining, refrigerant, units)]
    if found.verdict == "at":
        return [f"Less than {dial.size(found.least_air)} of air would not show with these instruments."]
    low, high = dial.size(found.air_low), dial.size(found.air_high)
    said = [f"If it is air, that air presses with {low} to {high} (partial pressures add: Dalton)."]
    if not math.isnan(found.air_mass):
        said.append(f"In this volume that is about {1000.0 * found.air_mass:.1f} g of air.")
    if not math.isnan(found.fits_at):
        said.append(
            f"Or the liquid is not at {_warm(found.temperature, units)} but at {_warm(found.fits_at, units)}."
        )
    return said


def _left(left: Remaining, refrigerant: Refrigerant, units: UnitSet) -> list[str]:
    amount = f"{show_mass(left.low, units)} to {show_mass(left.high, units)}"
    need = (
        show_mass(left.for_liquid_low, units)
        if left.volume_told
        else f"{show_mass(left.for_liquid_low, units)} to {show_mass(left.for_liquid_high, units)}"
    )
    said = [f"Vapour only: {amount} of {refrigerant.title}; it takes {need} before any of it is liquid."]
    if not math.isnan(left.share_low):
        low, high = (f"{100 * share:.0f}" for share in (left.share_low, left.share_high))
        share = "less than 1 %" if high == "0" else f"{low} to {high} %" if low != high else f"{high} %"
        said.append(f"That is {share} of the charge.")
    if not left.volume_told:
        said.append("The volume was guessed from the charge; with --volume this is narrower.")
    return said


def _known(page: Paper, found: Standing) -> None:
    known = facts("standing")
    for key in {"not level": ["wait"], "at": ["usual_figures"], "above": ["hot_spot", "air"]}.get(found.verdict, []):
        page.say(prose(known[key]))
        page.source(source(known[key]))


def _warm(temperature: float, units: UnitSet) -> str:
    return show(temperature, Dimension.TEMPERATURE, units)


class _Dial:
    """Prints absolute pressures as a gauge shows them."""

    def __init__(self, barometer: float, units: UnitSet) -> None:
        self._barometer, self._units = barometer, units

    def __call__(self, pressure: float) -> str:
        return show_gauge(pressure, self._barometer, self._units)

    def between(self, low: float, high: float) -> str:
        first, second = self(low), self(high)
        if first == second:
            return first
        number, _, unit = first.partition(" ")
        return f"{number} to {second}" if second.endswith(f" {unit}") else f"{first} to {second}"

    def size(self, difference: float) -> str:
        return show_size(difference, Dimension.PRESSURE_DIFFERENCE, self._units)
