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
import numpy.typing as npt

from twogauge.errors import QuantityError, did_you_mean, shown
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.intake import Trouble, is_nothing
from twogauge.packs.problems import MOST_HINTS
from twogauge.quantities import Dimension, parse, show
from twogauge.reading import Reading, ReadingError

if TYPE_CHECKING:
    from twogauge.packs.compile import Program
    from twogauge.packs.model import Profile

REACH: Final = 3.0  # [K] how far beyond its first and last row a profile still speaks

Range = tuple[float, float]
Floats = npt.NDArray[np.float64]


def with_profile(reading: Reading, program: Program) -> Reading:
    """Return the reading with its profile filled in; the same reading if it names none.

    Raises:
        ReadingError: no pack in force has a profile of that name.
    """
    name = reading.given.get("profile")
    if is_nothing(name):
        return reading
    profile = find_profile(str(name), program)
    own = {field: value for field, value in reading.given.items() if not is_nothing(value)}
    if reading.baseline is not None:
        own["baseline"] = reading.baseline  # what it was read from may be a file, which is not looked up again
    filled = Reading({**profile.is_, **own}, units=reading.units)
    spec, note = _spec_for(profile, filled)
    spec = {field: ends for field, ends in spec.items() if field not in filled.parts.spec}
    notes = (*filled.parts.notes, *([note] if note else []))
    filled.parts = replace(filled.parts, spec={**spec, **filled.parts.spec}, notes=notes)
    return filled


def find_profile(name: str, program: Program) -> Profile:
    """Return a profile by its id.

    Raises:
        ReadingError: no pack in force has it.
    """
    profiles = program.stack.profiles
    if name not in profiles:
        near = did_you_mean(name, profiles)
        hint = f"did you mean {near[0]!r}?" if near else "profiles stand in a pack of rules, see --rules"
        raise ReadingError([Trouble(("profile",), f"profile: {shown(name)} is in no pack in force; {hint}")])
    return profiles[name].entry


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
    if not profile.normal:
        return {}, ""
    ambient = reading.parts.numbers.get("ambient")
    if ambient is None:
        return {}, "the profile's ranges need the ambient temperature, which was not given"
    humidity = reading.parts.numbers.get("humidity", np.nan)
    found = ranges_at(profile, np.array([ambient]), np.array([humidity]), reading.parts.barometer)
    spec = {field: (float(low[0]), float(high[0])) for field, (low, high) in found.items()}
    if all(np.isnan(low) for low, _ in spec.values()):
        known = [row_reading(row).parts.numbers["ambient"] for row in profile.normal]
        low, high = (show(end, Dimension.TEMPERATURE, reading.units) for end in (min(known), max(known)))
        return {}, f"the profile knows what is normal from {low} to {high} only; the usual ranges are used today"
    return spec, ""


def ranges_at(
    profile: Profile, ambient: Floats, humidity: Floats, barometer: float
) -> dict[str, tuple[Floats, Floats]]:
    """Return what is normal by a profile for n conditions.

    Args:
        profile: with or without rows.
        ambient: [K] shape (n,), NaN where it is not known.
        humidity: [1] shape (n,), NaN where it is not known: then the widest range counts.
        barometer: [Pa] of the place.

    Returns:
        field -> lower and upper ends [SI, absolute], shape (n,) each; NaN where the profile does not speak.
    """
    rows = [row_reading(row, barometer).parts for row in profile.normal]
    if not rows:
        return {}
    known = [row.numbers["ambient"] for row in rows]
    within = (ambient >= min(known) - REACH) & (ambient <= max(known) + REACH)
    found = {}
    for field in SPEC_FIELDS:
        at = [(r.numbers.get("humidity"), r.numbers["ambient"], r.spec[field]) for r in rows if field in r.spec]
        if at:
            low, high = _between(at, ambient, humidity)
            found[field] = (np.where(within, low, np.nan), np.where(within, high, np.nan))
    return found


def _between(at: list[tuple[float | None, float, Range]], ambient: Floats, humidity: Floats) -> tuple[Floats, Floats]:
    """Interpolate by ambient for each humidity, then by humidity; without one, the widest of them."""
    lows: list[Floats] = []
    highs: list[Floats] = []
    told: list[float] = []
    for h in sorted({h for h, _, _ in at}, key=lambda h: -1.0 if h is None else h):
        rows = sorted((t, ends) for each, t, ends in at if each == h)
        temperatures = [t for t, _ in rows]
        for ends_of, i in ((lows, 0), (highs, 1)):
            ends_of.append(np.interp(ambient, temperatures, [ends[i] for _, ends in rows]))
        if h is not None:
            told.append(h)
    low, high = np.min(lows, axis=0), np.max(highs, axis=0)
    if not told:
        return low, high
    first = len(lows) - len(told)  # a row without humidity comes first
    damp = ~np.isnan(humidity)
    place = np.interp(np.where(damp, humidity, told[0]), told, np.arange(len(told)))
    below = np.minimum(place.astype(np.intp), max(len(told) - 2, 0))
    above = np.minimum(below + 1, len(told) - 1)
    share, row = place - below, np.arange(ambient.size)
    both = []
    for ends_of, widest in ((lows, low), (highs, high)):
        table = np.array(ends_of[first:])
        between = table[below, row] * (1.0 - share) + table[above, row] * share
        both.append(np.where(damp, between, widest))
    return both[0], both[1]


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
    if profile.charge is not None:
        try:
            if not parse(profile.charge, Dimension.MASS, field="charge").value > 0.0:
                troubles.append(Trouble(("charge",), "charge: a label that asks for no refrigerant cannot be right"))
        except QuantityError as error:
            troubles.append(Trouble(("charge",), str(error)))
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
