"""A vacuum hold for a person and as JSON.

`twogauge.hold/1`: {schema, cause or null, why, title, probabilities {cause: p}, leaks or null, readings, lasted_s,
valved_off_s, valved_off_found, gauge {kind, unit, step_Pa, step_told, error_Pa}, start and end {pressure_Pa, low_Pa,
high_Pa, on_dial_Pa, perfect_on_dial_Pa, water_boils_at_K, water_at_coldest_Pa, boils true, false or null}, coldest_K,
coldest_from, rise_Pa_s [low, middle, high], throughput_Pa_m3_s [low, middle, high], loss {refrigerant, working_Pa,
kg_a_year [low, high]} or null, hidden_rise_Pa_s, plateau_Pa [low, middle, high], misfit, trend, criteria [{criterion,
title, result, value_Pa, limit_Pa, within_Pa, within_s, source, ours}], wait_s or null, to_tell_apart [cause, cause],
notes [text], cautions}. All SI, pressures absolute; null where a number is not known, [null, null, null] where there
is none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final

from twogauge.diagnosis import Warned
from twogauge.output.paper import Paper, Table, caution_document, number_or_none
from twogauge.output.style import percent
from twogauge.quantities import PA_PER_INHG, PA_PER_MICRON, Dimension, UnitSet, show, show_mass
from twogauge.refrigerants import Refrigerant
from twogauge.service.facts import facts, prose, source
from twogauge.service.hold import Hold
from twogauge.service.holdcriteria import Judged
from twogauge.service.leakrate import Loss
from twogauge.service.vacuum import Depth

SCHEMA: Final = "twogauge.hold/1"

_CANNOT: Final = {
    "too few": "there are too few readings",
    "too coarse": "the gauge is too coarse, or the time too short, to tell a sound circuit from one that is not",
    "too alike": "what is left fits these readings about equally well; more time would part them",
    "no curve fits": "no known course fits within the gauge's noise; was it moved, heated or opened, the gauge changed?",
    "bottomed out": "the gauge stood at the lower end of its scale all the time and shows only that it is not higher",
}
_NEXT: Final = {
    "too few": ("longer",),
    "too coarse": ("longer",),
    "too alike": ("longer", "again", "hoses"),
    "no curve fits": ("repeat", "longer", "again"),
    "bottomed out": (),
}
SHORT: Final = {
    "tight": "holds",
    "settling": "holds, after gauge and hoses settled",
    "leak": "leak",
    "wet": "water",
    "outgassing": "out of oil or rubber",
    "wet_and_leak": "water and a leak",
    "outgassing_and_leak": "out of oil or rubber and a leak",
}


def document(
    found: Hold, refrigerant: Refrigerant | None, lost: Loss | None, cautions: Iterable[Warned]
) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    return {
        "schema": SCHEMA,
        "cause": found.cause,
        "why": found.why or None,
        "title": _title(found),
        "probabilities": {name: round(p, 6) for name, p in found.weighed.ranked()},
        "leaks": None if found.why == "no curve fits" else round(found.leaks, 6),
        "readings": int(found.t.size),
        "lasted_s": float(found.t[-1]),
        "valved_off_s": found.valved_off,
        "valved_off_found": found.found,
        "gauge": {
            "kind": found.gauge.kind,
            "unit": found.gauge.unit,
            "step_Pa": number_or_none(found.gauge.step),
            "step_told": found.gauge.step_told,
            "error_Pa": number_or_none(found.gauge.error),
        },
        "start": _depth_document(found.start),
        "end": _depth_document(found.end),
        "coldest_K": round(found.coldest, 3),
        "coldest_from": found.coldest_from,
        "rise_Pa_s": [number_or_none(x, 9) for x in found.rate],
        "throughput_Pa_m3_s": [number_or_none(x * found.volume, 12) for x in found.rate],
        "loss": None
        if lost is None or refrigerant is None
        else {
            "refrigerant": refrigerant.id,
            "working_Pa": round(lost.pressure, 1),
            "kg_a_year": [number_or_none(x) for x in lost.a_year],
        },
        "hidden_rise_Pa_s": number_or_none(found.hidden, 9),
        "plateau_Pa": [number_or_none(x, 3) for x in found.plateau],
        "misfit": number_or_none(found.weighed.misfit, 4),
        "trend": number_or_none(found.weighed.trend, 3),
        "criteria": [
            {
                "criterion": j.criterion.id,
                "title": j.criterion.title,
                "result": j.result,
                "value_Pa": number_or_none(j.value, 3),
                "limit_Pa": number_or_none(j.limit, 3),
                "within_Pa": number_or_none(j.within, 3),
                "within_s": number_or_none(j.criterion.within, 1),
                "source": j.criterion.source,
                "ours": j.criterion.ours,
            }
            for j in found.criteria
        ],
        "wait_s": None if not math.isfinite(found.wait) else round(found.wait, 1),
        "to_tell_apart": list(found.rivals),
        "notes": list(found.notes),
        "cautions": [caution_document(each) for each in cautions],
    }


def _depth_document(depth: Depth) -> dict[str, Any]:
    return {
        "pressure_Pa": number_or_none(depth.pressure, 3),
        "low_Pa": number_or_none(depth.low, 3),
        "high_Pa": number_or_none(depth.high, 3),
        "on_dial_Pa": number_or_none(depth.on_dial, 3),
        "perfect_on_dial_Pa": number_or_none(depth.perfect, 3),
        "water_boils_at_K": number_or_none(depth.water_boils_at, 3),
        "water_at_coldest_Pa": number_or_none(depth.water_at_coldest, 3),
        "boils": depth.boils,
    }


def _title(found: Hold) -> str:
    return "Cannot say" if found.cause is None else prose(facts("hold")["causes"][found.cause], "title")


def write(
    page: Paper,
    found: Hold,
    units: UnitSet,
    *,
    refrigerant: Refrigerant | None,
    lost: Loss | None,
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
        air: a sentence about the air around the gauge.
        cautions: to print at the end.
    """
    known = facts("hold")
    page.answer(headline(found))
    if found.cause is not None:
        page.say(prose(known["causes"][found.cause], "seen"))
    elif _leaks_anyway(found):
        page.say(f"It leaks ({percent(found.leaks)}); what else comes into it cannot be told.")
    elif found.why == "too alike" and found.leaks <= 0.1:
        page.say(f"A leak is unlikely ({percent(found.leaks)}).")
    page.rows(Table("What it did", _story(found, units, refrigerant, lost)))
    _likely(page, found)
    _water(page, found, units, known)
    _criteria(page, found, units)
    for sentence in _waiting(found, units):
        page.say(sentence)
    cause = found.cause or (found.weighed.ranked()[0][0] if _leaks_anyway(found) else None)
    steps = (
        known["causes"][cause]["do"] if cause is not None else [known["undecided"][key] for key in _NEXT[found.why]]
    )
    if steps:
        page.head("What to do")
        page.steps((prose(step), source(step)) for step in steps)
    page.head("What this rests on")
    for note in _rests(found, units):
        page.note(note)
    page.note(air)
    page.care(cautions)


def _leaks_anyway(found: Hold) -> bool:
    """Tell whether it leaks though the cause cannot be named; where no curve fits none of their odds counts."""
    return found.cause is None and found.why != "no curve fits" and found.leaks >= 0.9


def headline(found: Hold) -> str:
    """Return the answer in a sentence."""
    if found.cause is None:
        return f"Cannot say what it did: {_CANNOT[found.why]}"
    probability = found.weighed.probabilities[found.cause]
    if found.cause in {"tight", "settling"}:
        probability = found.weighed.probabilities["tight"] + found.weighed.probabilities["settling"]
    return f"{_title(found)} ({percent(probability)})"


def _story(found: Hold, units: UnitSet, refrigerant: Refrigerant | None, lost: Loss | None) -> list[tuple[str, str]]:
    rows = [
        ("shut at", f"{vacuum(found.start.pressure, units)}, {_on_dial(found.start, units)}"),
        (f"after {minutes(float(found.t[-1]))}", vacuum(found.end.pressure, units)),
    ]
    low, middle, high = found.rate
    if not math.isnan(middle):
        rows.append(("rises by", f"{rate(middle, units)} ({_between(rate(low, units), rate(high, units))})"))
        if not math.isnan(found.volume):
            flows = [f"{x * found.volume:.2g}" for x in (middle, low, high)]
            rows.append(
                ("that is", f"{flows[0]} Pa m3/s ({flows[1]} to {flows[2]}) into {found.volume * 1000:.3g} L")
            )
        else:
            rows.append(("", "with --volume this becomes a leak rate"))
    if lost is not None and refrigerant is not None:
        least, most = (show_mass(x, units) for x in lost.a_year)
        at = show(lost.pressure - found.barometer, Dimension.PRESSURE, units)
        rows.append(
            ("as a leak", f"{least} to {most} of {refrigerant.title} a year as gas at {at}, more where it is liquid")
        )
    if not math.isnan(found.plateau[1]) and "leak" not in str(found.cause):
        low, middle, high = found.plateau
        rows.append(
            ("levels off", f"at {vacuum(middle, units)} ({_between(vacuum(low, units), vacuum(high, units))})")
        )
    return rows


def _likely(page: Paper, found: Hold) -> None:
    ranked = [(name, p) for name, p in found.weighed.ranked() if p >= 0.02][:4]
    if found.why not in {"bottomed out", "no curve fits"} and len(ranked) > 1:
        page.say("How likely: " + ", ".join(f"{SHORT[name]} {percent(p)}" for name, p in ranked) + ".")


def _water(page: Paper, found: Hold, units: UnitSet, known: Mapping[str, Any]) -> None:
    depth = found.start
    page.head("How deep that is")
    warm = show(found.coldest, Dimension.TEMPERATURE, units)
    word = "ice evaporates" if found.coldest < 273.16 else "water boils"
    limit = vacuum(depth.water_at_coldest, units)
    said = {
        True: f"At the coldest part ({warm}) {word} below {limit}: deep enough.",
        False: f"At the coldest part ({warm}) {word} below {limit} only: not deep enough to dry it.",
        None: f"At the coldest part ({warm}) {word} below {limit}: this gauge cannot tell whether that was reached.",
    }[depth.boils]
    page.say(said)
    is_wet = str(found.cause).startswith("wet")  # then water was in there all the same: it evaporates only so fast
    if is_wet:
        page.say(
            "While the pump runs, water that evaporates slowly holds the pressure where the pump can; it is not gone."
        )
    elif depth.boils and not math.isnan(depth.water_boils_at) and depth.water_boils_at < 273.16:
        at = show(depth.water_boils_at, Dimension.TEMPERATURE, units)
        page.say(
            f"Only ice colder than {at} could still lie in it; water that was there when it got so deep is ice now."
        )
    perfect = depth.perfect / PA_PER_INHG
    page.say(f"A dial here shows {perfect:.1f} inHg for nothing at all.")
    if found.gauge.kind == "dial":
        page.say(prose(known["dial"]))
        page.source(source(known["dial"]))


def _criteria(page: Paper, found: Hold, units: UnitSet) -> None:
    if not found.criteria:
        return
    page.head("Criteria" + (" of the shop" if all(j.criterion.ours for j in found.criteria) else ""))
    page.rows(
        Table(
            "Criteria",
            [(j.result, f"{j.criterion.title}{_how_near(j, units)} ({j.criterion.source})") for j in found.criteria],
            ("result", "criterion"),
        )
    )
    results = {j.result for j in found.criteria if j.criterion.test == "vacuum_hold"}
    if {"passes", "fails"} <= results or {"passes", "too close to tell"} <= results:
        page.say(
            "Published criteria disagree; a shop sets its own in a pack (ours: yes), or names one with --criterion."
        )


def _how_near(judged: Judged, units: UnitSet) -> str:
    rises = not math.isnan(judged.criterion.rises)
    shown = difference(judged.value, units) if rises else vacuum(judged.value, units)
    return f": {shown}, known within {difference(judged.within, units)}"


def _waiting(found: Hold, units: UnitSet) -> list[str]:
    said = []
    if found.cause in {"tight", "settling", "wet", "outgassing"}:
        said.append(f"A leak that adds less than {rate(found.hidden, units)} could hide in this log.")
    if found.cause is not None:
        return said
    if found.why == "no curve fits":
        return said
    first, second = (SHORT[name] for name in found.rivals)
    if math.isfinite(found.wait):
        more = "" if found.wait > float(found.t[-1]) else ", with more readings than these"
        said.append(
            f"To tell '{first}' from '{second}' with this gauge, wait {minutes(found.wait)} from shutting the valve{more}."
        )
    else:
        said.append(f"To tell '{first}' from '{second}' this gauge would need more than a day; use a vacuum gauge.")
    return said


def _rests(found: Hold, units: UnitSet) -> list[str]:
    gauge = found.gauge
    kind = "compound gauge" if gauge.kind == "dial" else "vacuum gauge"
    told = "as told" if gauge.step_told else "as the readings show"
    cold = {"told": "", "measured": " (from the log)", "guessed": " (guessed; --coldest tells it)"}[
        found.coldest_from
    ]
    read_to = f"{kind} read to {difference(gauge.step, units)} {told}, within {difference(gauge.error, units)}"
    warm = show(found.coldest, Dimension.TEMPERATURE, units)
    said = [f"{found.t.size} readings; {read_to}; coldest part {warm}{cold}"]
    if 1.5 < found.weighed.misfit < math.inf:
        said.append(f"the readings scatter {found.weighed.misfit:.1f} times as far as such a gauge should")
    return [*said, *found.notes]


def _on_dial(depth: Depth, units: UnitSet) -> str:
    if units is UnitSet.US:
        return f"{depth.on_dial / PA_PER_INHG:.2f} inHg vac on a dial here"
    return f"{show(-depth.on_dial, Dimension.PRESSURE, units, 3 if units is UnitSet.METRIC else 1)} on a dial here"


def vacuum(pressure: float, units: UnitSet) -> str:
    """Print an absolute pressure of a vacuum.

    Args:
        pressure: [Pa]
        units: US prints microns, SI pascals, metric millibars.
    """
    if math.isnan(pressure):
        return "unknown"
    if units is UnitSet.US:
        return f"{_digits(pressure / PA_PER_MICRON)} micron"
    return f"{_digits(pressure)} Pa" if units is UnitSet.SI else f"{_digits(pressure / 100.0)} mbar"


def difference(size: float, units: UnitSet) -> str:
    """Print a difference of vacuum pressures.

    Args:
        size: [Pa]
        units: US prints microns, or inches of mercury from a tenth of an inch on.
    """
    if units is UnitSet.US and abs(size) >= 0.1 * PA_PER_INHG:
        return f"{size / PA_PER_INHG:.1f} inHg"
    factor, unit = {UnitSet.US: (PA_PER_MICRON, "micron"), UnitSet.SI: (1.0, "Pa")}.get(units, (100.0, "mbar"))
    return f"{_rounded(size / factor, 2):g} {unit}"


def rate(rise: float, units: UnitSet) -> str:
    """Print a rise.

    Args:
        rise: [Pa/s]
        units: US prints microns a minute.
    """
    return f"{vacuum(60.0 * rise, units)}/min"


def _between(low: str, high: str) -> str:
    number, _, unit = low.partition(" ")
    return f"{number} to {high}" if high.endswith(f" {unit}") else f"{low} to {high}"


def _digits(number: float) -> str:
    """Print three digits that count, or four of a number above 1000."""
    rounded = _rounded(number, 4 if abs(number) >= 1000 else 3)
    return f"{rounded:.0f}" if abs(rounded) >= 100 else f"{rounded:g}"


def _rounded(number: float, digits: int) -> float:
    return 0.0 if number == 0.0 else round(number, digits - 1 - math.floor(math.log10(abs(number))))


def minutes(seconds: float) -> str:
    """Print a time.

    Args:
        seconds: [s]
    """
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 3 * 3600.0 else f"{seconds / 3600.0:.1f} h"
