"""Two readings of one machine, before a repair and after it: what changed, whether it worked, how fair that is.

Nothing is judged anew here: causes are what the two diagnoses say. A change counts where it is larger than the
instruments of both days can explain.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from twogauge.diagnosis import Diagnosis, Shown
from twogauge.diagnosis import diagnose as ask
from twogauge.fields import DEFAULT_ACCURACY, FIELDS
from twogauge.quantities import Dimension
from twogauge.reading import Reading
from twogauge.service.cylinder import COVERAGE, WITHIN
from twogauge.service.facts import Source, facts, number, prose, source
from twogauge.service.moist_air import Air, Cooled, cooled, from_humidity, from_wet_bulb, leaving_temperature
from twogauge.service.two_readings import Doubt, dates_read, doubts_of

if TYPE_CHECKING:
    from twogauge.packs.compile import Program

Outcome = Literal["worked", "another", "not", "worse", "nothing_was_wrong", "cannot_say"]

AS_DIFFERENCE: Final = {
    Dimension.PRESSURE: Dimension.PRESSURE_DIFFERENCE,
    Dimension.TEMPERATURE: Dimension.TEMPERATURE_DIFFERENCE,
}


@dataclass(frozen=True, slots=True)
class Change:
    """One quantity on both days.

    Attributes:
        before, after: as each diagnosis shows it.
        by: after minus before [SI].
        u: standard uncertainty of that [SI].
        counts: larger than the instruments explain.
        unlike: why the two cannot be compared as they stand ("refrigerant" or "weather"), or "".
    """

    before: Shown
    after: Shown
    by: float
    u: float
    counts: bool
    unlike: str


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that a fair comparison keeps the same.

    Attributes:
        field: of a reading.
        before, after: value [SI] or word; None where it was not told.
        state: same, differs or unknown.
        about: what a difference does.
        corrected: how the answer makes up for it, or "".
        source: who says so.
    """

    field: str
    before: float | str | None
    after: float | str | None
    state: Literal["same", "differs", "unknown"]
    about: str
    corrected: str
    source: Source


@dataclass(frozen=True, slots=True)
class Vents:
    """The air at the vents of one day, by the weather of that day.

    Attributes:
        shown: as the diagnosis shows it, with what is normal at this ambient temperature and humidity.
        entering: air before the evaporator, where it is known; else None.
        taken: what was taken out of it, or None.
        why_not: why it is not known, or "".
    """

    shown: Shown
    entering: Air | None
    taken: Cooled | None
    why_not: str


@dataclass(frozen=True, slots=True)
class SameAir:
    """What the vents of the second day would have been in the air of the first.

    Attributes:
        temperature: [K]
        u: standard uncertainty [K].
        by: that minus the vents of the first day [K].
        counts: larger than the instruments explain.
    """

    temperature: float
    u: float
    by: float
    counts: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """A check, or a gauge told in words, that was answered on one day at least; None where it was not."""

    name: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """What two readings say of a repair.

    Attributes:
        before, after: the two diagnoses.
        outcome: whether it worked.
        fault, title: what led before.
        probability: of that [1], before and after; NaN where it is no longer among the hypotheses.
        changes: quantities known on both days.
        answers: words that differ, or were told on one day only.
        only_before, only_after: fields measured on one day only.
        conditions: what a fair comparison needs.
        vents: of both days, where they were measured.
        same_air: corrected for the weather, where that can be done.
        short: fields of the days whose machine had not run long enough ("before", "after").
        doubts: why the two may not be what they are said to be.
        dates_read: every date that was given can be read.
    """

    before: Diagnosis
    after: Diagnosis
    outcome: Outcome
    fault: str
    title: str
    probability: tuple[float, float]
    changes: tuple[Change, ...]
    answers: tuple[Answer, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    conditions: tuple[Condition, ...]
    vents: tuple[Vents | None, Vents | None]
    same_air: SameAir | None
    short: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    dates_read: bool

    @property
    def differing(self) -> tuple[Condition, ...]:
        """Conditions that were not the same."""
        return tuple(each for each in self.conditions if each.state == "differs")

    @property
    def fair(self) -> bool:
        """Whether nothing differed that the answer does not make up for, both had settled, and they are two."""
        return not self.doubts and not self.short and all(each.corrected for each in self.differing)


def compare(before: Reading, after: Reading, program: Program) -> Comparison:
    """Compare two readings of one machine.

    Args:
        before: with the fault in it.
        after: with the repair done.
        program: the rules in force.

    Raises:
        ReadingError: a check or an answer that no pack knows.
        InputError: moist air that cannot be.
    """
    one, two = (ask(reading, program=program) for reading in (before, after))
    conditions = _conditions(one.reading, two.reading)
    unlike = _unlike(conditions)
    vents = (_vents(one), _vents(two))
    leader = one.first
    still = next((each.probability for each in two.ranking if each.fault == leader.fault), math.nan)
    return Comparison(
        before=one,
        after=two,
        outcome="cannot_say" if _two_machines(conditions) else _outcome(one, two),
        fault=leader.fault,
        title=leader.title,
        probability=(leader.probability, still),
        changes=tuple(_changes(one.derived, two.derived, unlike)),
        answers=tuple(_answers(one.reading, two.reading)),
        only_before=_only(one.reading, two.reading),
        only_after=_only(two.reading, one.reading),
        conditions=conditions,
        vents=vents,
        same_air=_same_air(vents),
        short=_short(one.reading, two.reading),
        doubts=tuple(doubts_of(before, after)),
        dates_read=dates_read(before, after),
    )


def _two_machines(conditions: Iterable[Condition]) -> bool:
    return any(each.field == "machine" and each.state == "differs" for each in conditions)


def _outcome(before: Diagnosis, after: Diagnosis) -> Outcome:
    undecided = {"gated", "not_enough", "too_close"}
    if before.verdict in {"gated", "not_enough"} or after.verdict in undecided:
        return "cannot_say"
    if before.verdict == "normal":
        return "nothing_was_wrong" if after.verdict == "normal" else "worse"
    if after.verdict == "normal":
        return "worked"
    return "not" if after.first.fault in before.close else "another"


def _changes(before: Sequence[Shown], after: Sequence[Shown], unlike: dict[str, str]) -> Iterable[Change]:
    later = {each.name: each for each in after}
    for one in before:
        two = later.get(one.name)
        if two is None:
            continue
        by, u = two.value - one.value, math.hypot(one.u, two.u)
        yield Change(one, two, by, u, counts=abs(by) > WITHIN * u, unlike=unlike.get(one.name, ""))


def _unlike(conditions: Iterable[Condition]) -> dict[str, str]:
    """Return quantity -> why its two values cannot be compared."""
    differing = {each.field for each in conditions if each.state == "differs"}
    data = facts("compare")
    found: dict[str, str] = {}
    if differing & {"ambient", "humidity"}:
        found.update(dict.fromkeys(data["weather"]["rows"], "weather"))
    if "refrigerant" in differing:
        found.update(dict.fromkeys(data["another_refrigerant"]["rows"], "refrigerant"))
    return found


def _answers(before: Reading, after: Reading) -> Iterable[Answer]:
    known = {"refrigerant", *facts("compare")["conditions"]}
    one, two = before.parts.words, after.parts.words
    for name in dict.fromkeys((*one, *two)):
        if name not in known and one.get(name) != two.get(name):
            yield Answer(name, one.get(name), two.get(name))


def _only(reading: Reading, other: Reading) -> tuple[str, ...]:
    return tuple(
        name
        for name in reading.parts.numbers
        if name in FIELDS and name not in other.parts.numbers and name not in other.parts.words
    )


# -- conditions -----------------------------------------------------------------------------------------------------


def _conditions(before: Reading, after: Reading) -> tuple[Condition, ...]:
    return tuple(
        _condition(field, entry, _told(before, field), _told(after, field))
        for field, entry in facts("compare")["conditions"].items()
    )


def _told(reading: Reading, field: str) -> float | str | None:
    known = FIELDS[field]
    if known.dimension is None and not known.choices and field != "refrigerant":
        text = reading.given.get(field)
        return " ".join(str(text).split()) if text else None
    found: float | str | None = reading.parts.numbers.get(field)
    return reading.parts.words.get(field) if found is None else found


def _condition(field: str, entry: dict[str, Any], before: float | str | None, after: float | str | None) -> Condition:
    state: Literal["same", "differs", "unknown"]
    if before is None or after is None:
        state = "unknown"
    elif isinstance(before, float) and isinstance(after, float):
        dimension = FIELDS[field].dimension or Dimension.NUMBER
        apart = number(entry, AS_DIFFERENCE.get(dimension, dimension), "apart").value
        state = "differs" if abs(after - before) > apart else "same"
    else:
        state = "same" if str(before).casefold() == str(after).casefold() else "differs"
    return Condition(field, before, after, state, prose(entry, "about"), entry.get("corrected", ""), source(entry))


def _short(before: Reading, after: Reading) -> tuple[str, ...]:
    least = number(facts("compare")["ran_for"], Dimension.DURATION).value
    days = (("before", before), ("after", after))
    return tuple(day for day, reading in days if reading.parts.numbers.get("running_for", math.inf) < least)


# -- vents ----------------------------------------------------------------------------------------------------------


def _vents(diagnosis: Diagnosis) -> Vents | None:
    shown = next((each for each in diagnosis.derived if each.name == "vent_air"), None)
    if shown is None:
        return None
    entering, why_not = _entering(diagnosis.reading)
    if entering is None:
        return Vents(shown, None, None, why_not)
    if shown.value >= entering.temperature:
        return Vents(shown, entering, None, "The vents are no colder than the air that goes in.")
    return Vents(shown, entering, cooled(entering, shown.value), "")


def _entering(reading: Reading) -> tuple[Air | None, str]:
    """Return the air before the evaporator, or why it is not known."""
    numbers, pressure = reading.parts.numbers, reading.parts.barometer
    if "return_air" in numbers and "return_wet_bulb" in numbers:
        return from_wet_bulb(
            numbers["return_air"], min(numbers["return_wet_bulb"], numbers["return_air"]), pressure
        ), ""
    if reading.parts.words.get("air_intake") == "outside" and {"ambient", "humidity"} <= set(numbers):
        return from_humidity(numbers["ambient"], numbers["humidity"], pressure), ""
    return None, (
        "The air that the blower breathes is not known, so the heat taken out of it is not: that takes ambient, humidity "
        "and 'air_intake: outside', or return_air and return_wet_bulb."
    )


def _same_air(vents: tuple[Vents | None, Vents | None]) -> SameAir | None:
    """Carry the cooling of the second day over to the air of the first."""
    one, two = vents
    if one is None or two is None or one.entering is None or two.entering is None or two.taken is None:
        return None
    inputs = (
        one.entering.temperature,
        _relative(one.entering),
        two.entering.temperature,
        _relative(two.entering),
        two.shown.value,
    )
    pressures = (one.entering.pressure, two.entering.pressure)

    def vent(values: Sequence[float]) -> float:
        first = from_humidity(values[0], min(max(values[1], 0.0), 1.0), pressures[0])
        second = from_humidity(values[2], min(max(values[3], 0.0), 1.0), pressures[1])
        return leaving_temperature(first, cooled(second, min(values[4], values[2])).total)

    best = vent(inputs)
    thermometer = DEFAULT_ACCURACY["thermometer_accuracy"] / COVERAGE
    hygrometer = number(facts("compare")["hygrometer"], Dimension.FRACTION).value / COVERAGE
    errors = (thermometer, hygrometer, thermometer, hygrometer, two.shown.u)
    moved = [vent([v + (e if i == j else 0.0) for j, v in enumerate(inputs)]) - best for i, e in enumerate(errors)]
    if math.isnan(best) or any(map(math.isnan, moved)):
        return None
    u = math.hypot(*moved)
    by = best - one.shown.value
    return SameAir(best, u, by, counts=abs(by) > WITHIN * math.hypot(u, one.shown.u))


def _relative(air: Air) -> float:
    """Return the relative humidity of air [1]."""
    saturated = from_humidity(air.temperature, 1.0, air.pressure).moisture
    # By partial pressures: w = 0.621945 p_w / (p - p_w), ASHRAE Handbook Fundamentals, chapter on psychrometrics.
    ratio = air.moisture / saturated
    return ratio * (0.621945 + saturated) / (0.621945 + air.moisture)
