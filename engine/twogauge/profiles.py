"""The machines a shop knows: a reading that names a profile gets what the machine is, and what is normal for it.

A profile stands in a pack. Its `is` fills in fields the reading does not give; its `normal` rows become the `spec` of
the reading for the day: straight lines between the rows' ambient temperatures, and between their humidities if any.
What the reading gives itself always wins. Beyond the rows nothing is extrapolated.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from twogauge.errors import did_you_mean, shown
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.intake import Trouble, is_nothing
from twogauge.packs.problems import MOST_HINTS
from twogauge.quantities import Dimension, show
from twogauge.reading import Reading, ReadingError

if TYPE_CHECKING:
    from twogauge.packs.compile import Program
    from twogauge.packs.model import Profile

REACH: Final = 3.0  # [K] how far beyond its first and last row a profile still speaks

Range = tuple[float, float]


def with_profile(reading: Reading, program: Program) -> Reading:
    """Return the reading with its profile filled in; the same reading if it names none.

    Raises:
        ReadingError: no pack in force has a profile of that name.
    """
    name = reading.given.get("profile")
    if is_nothing(name):
        return reading
    profiles = program.stack.profiles
    if str(name) not in profiles:
        near = did_you_mean(str(name), profiles)
        hint = f"did you mean {near[0]!r}?" if near else "profiles stand in a pack of rules, see --rules"
        raise ReadingError([Trouble(("profile",), f"profile: {shown(name)} is in no pack in force; {hint}")])
    profile = profiles[str(name)].entry
    own = {field: value for field, value in reading.given.items() if not is_nothing(value)}
    filled = Reading({**profile.is_, **own}, units=reading.units)
    filled.baseline = reading.baseline
    spec, note = _spec_for(profile, filled)
    spec = {field: ends for field, ends in spec.items() if field not in filled.parts.spec}
    notes = (*filled.parts.notes, *([note] if note else []))
    filled.parts = replace(filled.parts, spec={**spec, **filled.parts.spec}, notes=notes)
    return filled


def row_reading(row: Any, barometer: float | None = None) -> Reading:
    """Read one row of a profile: its conditions, and its ranges as a spec.

    Raises:
        ReadingError: a field without a maker's range, or a value that cannot be read.
    """
    given: dict[str, object] = {"ambient": row.ambient, "spec": dict(_extra(row))}
    if row.humidity is not None:
        given["humidity"] = row.humidity
    if barometer is not None:
        given["barometer"] = f"{barometer!r} Pa"
    return Reading(given)


def _extra(row: Any) -> Mapping[str, Any]:
    extra = getattr(row, "model_extra", None)
    return extra if extra is not None else {k: v for k, v in vars(row).items() if k not in {"ambient", "humidity"}}


def _spec_for(profile: Profile, reading: Reading) -> tuple[dict[str, Range], str]:
    """Return the ranges for the conditions of a reading [SI, absolute], and a note on what could not be told."""
    ambient = reading.parts.numbers.get("ambient")
    if not profile.normal:
        return {}, ""
    if ambient is None:
        return {}, "the profile's ranges need the ambient temperature, which was not given"
    rows = [row_reading(row, reading.parts.barometer).parts for row in profile.normal]
    known = [row.numbers["ambient"] for row in rows]
    if not min(known) - REACH <= ambient <= max(known) + REACH:
        low, high = (show(end, Dimension.TEMPERATURE, reading.units) for end in (min(known), max(known)))
        return {}, f"the profile knows what is normal from {low} to {high} only; the usual ranges are used today"
    humidity = reading.parts.numbers.get("humidity")
    spec = {}
    for field in SPEC_FIELDS:
        at = [(r.numbers.get("humidity"), r.numbers["ambient"], r.spec[field]) for r in rows if field in r.spec]
        if at:
            spec[field] = _between(at, ambient, humidity)
    return spec, ""


def _between(at: list[tuple[float | None, float, Range]], ambient: float, humidity: float | None) -> Range:
    """Interpolate by ambient for each humidity, then by humidity; without one, the widest of them."""
    by_humidity = []
    for h in sorted({h for h, _, _ in at}, key=lambda h: -1.0 if h is None else h):
        rows = sorted((t, ends) for each, t, ends in at if each == h)
        temperatures = [t for t, _ in rows]
        low, high = (float(np.interp(ambient, temperatures, [ends[i] for _, ends in rows])) for i in (0, 1))
        by_humidity.append((h, low, high))
    told = [(h, low, high) for h, low, high in by_humidity if h is not None]
    if humidity is None or not told:
        return min(low for _, low, _ in by_humidity), max(high for _, _, high in by_humidity)
    humidities = [h for h, _, _ in told]
    low, high = (float(np.interp(humidity, humidities, [row[i] for row in told])) for i in (1, 2))
    return low, high


def check_profile(profile: Profile) -> list[Trouble]:
    """Return what is wrong with the fields and rows of a profile, each with its path in the entry."""
    troubles: list[Trouble] = []
    try:
        Reading(dict(profile.is_))
    except ReadingError as error:
        troubles += [Trouble(("is", *t.path), t.message, t.at_key) for t in error.troubles]
    described = [name for name, field in FIELDS.items() if field.choices or name == "refrigerant"]
    for name in profile.is_:
        if name not in described:
            near = did_you_mean(name, described, 1) if len(troubles) < MOST_HINTS else ()
            hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(described)}"
            troubles.append(Trouble(("is", name), f"{shown(name)} does not describe a machine; {hint}", at_key=True))
    for i, row in enumerate(profile.normal):
        if not _extra(row):
            troubles.append(Trouble(("normal", i), f"a row needs at least one range: {', '.join(SPEC_FIELDS)}"))
        try:
            row_reading(row)
        except ReadingError as error:
            for t in error.troubles:
                path = t.path[1:] if t.path[:1] == ("spec",) else t.path
                message = t.message.removeprefix("spec.").replace("a key of spec", "a range a profile can have")
                troubles.append(Trouble(("normal", i, *path), message, t.at_key))
    return troubles
