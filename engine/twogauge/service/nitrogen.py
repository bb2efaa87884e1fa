"""A circuit under dry nitrogen: what its pressure should have become by temperature and weather, and what is missing.

The gas in a closed volume keeps p / T (absolute pressure, kelvin). A gauge shows the difference to the air, so the
barometer counts as well. The scale error of the gauge and of the thermometer are the same in all readings and nearly
drop out; what is left is how finely they are read, how far the thermometer is from the gas, and the weather.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge.errors import InputError
from twogauge.service.criteria import Criterion
from twogauge.service.holdcriteria import Passed
from twogauge.service.holdgauge import smallest_step
from twogauge.service.holdlog import HoldLog
from twogauge.service.holdslips import refuse_other_units

Floats = npt.NDArray[np.float64]
Verdict = Literal["holds", "drops", "cannot say", "rises", "above the limit"]

WITHIN: Final = 2.0  # standard uncertainties: 19 times in 20
MEASURED: Final = 0.5  # [K] how far the change of the thermometer is from that of the gas; common practice
UNMEASURED: Final = 6.0  # [K] how far the gas may have warmed or cooled soon where nobody measured; common practice
DAY_SWING: Final = 15.0  # [K] and the air from noon to night, as a sine; common practice
HALF_DAY: Final = 43_200.0  # [s]
WEATHER: Final = 300.0  # [Pa] how far the air may have changed where the barometer was read once; from memory
READ: Final = 50.0  # [Pa] and where it was read at both ends
SETTLED: Final = 600.0  # [s] a test that is shorter shows mostly how the gas takes the temperature of the metal


@dataclass(frozen=True)
class Told:
    """What was told beside the log.

    Attributes:
        barometer: pressure of the air at the start [Pa].
        barometer_at_end: at the end [Pa]; NaN if not told.
        step: what the gauge is read to [Pa]; NaN to take what the readings show.
        volume: inside [m3]; NaN if not told.
        limit: test pressure of the low side on the label, against the air [Pa]; NaN if not told.
        criteria: those that count.
    """

    barometer: float
    barometer_at_end: float = math.nan
    step: float = math.nan
    volume: float = math.nan
    limit: float = math.nan
    criteria: tuple[Criterion, ...] = ()


@dataclass(frozen=True)
class PressureHold:
    """What a test under pressure says.

    Attributes:
        verdict: holds, drops, rises, cannot say (temperature could explain it, and was not measured), or it was above
            the limit.
        lasted: [s]
        first, last: on the gauge [Pa], against the air.
        warmest: temperature change from the first to the last reading [K]; NaN if it was not measured.
        should: what the gauge should show at the end [Pa], against the air.
        drop: what is missing at the end, at the first temperature [Pa].
        uncertainty: standard uncertainty of it [Pa].
        by_temperature, by_weather: what of the change on the gauge came from these [Pa].
        significant: the smallest drop that would tell something [Pa].
        would_explain: how much colder the gas would have to be for the whole drop [K]; negative for a rise.
        could_be: how much warmer or colder it may have become, as nobody measured it [K]; 0 if somebody did.
        rate: lower bound, middle and upper bound of the drop [Pa/s].
        inside: mean pressure, absolute [Pa].
        temperature: at the start [K]; NaN if not measured.
        barometer: at the start [Pa].
        highest: reading on the gauge [Pa], against the air.
        step: what the gauge is read to [Pa].
        volume: inside [m3], or NaN.
        criteria: those that count, with what came of them.
        notes: sentences.
    """

    verdict: Verdict
    lasted: float
    first: float
    last: float
    warmest: float
    should: float
    drop: float
    uncertainty: float
    by_temperature: float
    by_weather: float
    significant: float
    would_explain: float
    could_be: float
    rate: tuple[float, float, float]
    inside: float
    temperature: float
    barometer: float
    highest: float
    step: float
    volume: float
    criteria: tuple[tuple[Criterion, Passed], ...]
    notes: tuple[str, ...]


def judge(log: HoldLog, told: Told) -> PressureHold:
    """Judge a log of a test under pressure.

    Raises:
        InputError: fewer than two readings, no time between them, no pressure above the air, or a number that makes
            sense in another unit only.
    """
    if told.volume <= 0.0:
        raise InputError("a volume of nothing tells nothing; leave it out, or write what the circuit holds inside")
    refuse_other_units(log.rows)
    t = np.array([row.time for row in log.rows])
    if t.size < 2 or t[-1] <= 0.0:
        raise InputError("a test needs a reading at its start and one at its end")
    end = told.barometer if math.isnan(told.barometer_at_end) else told.barometer_at_end
    air = told.barometer + (end - told.barometer) * t / t[-1]
    p = np.array(
        [
            row.pressure.value + (a if row.pressure.reference == "gauge" else 0.0)
            for row, a in zip(log.rows, air, strict=True)
            if row.pressure is not None
        ]
    )
    if float((p - air).min()) <= 0.0:
        raise InputError("a pressure of this log is not above that of the air; for a vacuum leave out --nitrogen")
    warm, measured = _temperatures(t, np.array([row.temperature for row in log.rows]))
    step = told.step
    if math.isnan(step):
        unit = log.rows[-1].pressure.symbol if log.rows[-1].pressure is not None else "Pa"
        step = smallest_step(np.array([r.pressure.value for r in log.rows if r.pressure is not None]), unit)
        step = min(step, 0.02 * float((p - air).max()))  # round numbers by chance are no coarse gauge
    drop, read = _missing(t, p * warm[0] / warm, step)
    lasted = float(t[-1])
    could_be = 0.0 if measured else plausible_change(lasted)
    thermal = float(p[-1]) * (MEASURED if measured else could_be / WITHIN) / float(warm[0])
    weather = READ if not math.isnan(told.barometer_at_end) else WEATHER
    uncertainty = math.hypot(read, thermal, weather)
    gauge = p - air
    highest = float(gauge.max())
    verdict: Verdict = "holds" if abs(drop) <= WITHIN * uncertainty else "drops" if drop > 0.0 else "rises"
    if verdict == "holds" and not measured and drop > WITHIN * math.hypot(read, weather):
        verdict = "cannot say"  # something is missing, and what the temperature did nobody knows
    if highest > told.limit:
        verdict = "above the limit"
    low, high = (max(drop + sign * WITHIN * uncertainty, 0.0) / lasted for sign in (-1.0, 1.0))
    should = float(p[0] * warm[-1] / warm[0] - air[-1])
    return PressureHold(
        verdict=verdict,
        lasted=lasted,
        first=float(gauge[0]),
        last=float(gauge[-1]),
        warmest=float(warm[-1] - warm[0]) if measured else math.nan,
        should=should,
        drop=drop,
        uncertainty=uncertainty,
        by_temperature=float(p[0] * (warm[-1] / warm[0] - 1.0)),
        by_weather=float(air[0] - air[-1]),
        significant=WITHIN * uncertainty,
        would_explain=drop / float(p[0]) * float(warm[0]),
        could_be=could_be,
        rate=(low, max(drop, 0.0) / lasted, high),
        inside=float(p.mean()),
        temperature=float(warm[0]) if measured else math.nan,
        barometer=told.barometer,
        highest=highest,
        step=step,
        volume=told.volume,
        criteria=tuple((c, _passed(c, verdict, lasted)) for c in told.criteria),
        notes=(*log.notes, *_notes(lasted, measured=measured, told=told)),
    )


def plausible_change(lasted: float) -> float:
    """Return how much warmer or colder the gas may have become in a time where nobody measured it [K].

    Args:
        lasted: that time [s].
    """
    return math.hypot(UNMEASURED, DAY_SWING * math.sin(math.pi / 2.0 * min(lasted / HALF_DAY, 1.0)))


def _temperatures(t: Floats, warm: Floats) -> tuple[Floats, bool]:
    """Return a temperature for every reading [K], and whether they were measured."""
    known = ~np.isnan(warm)
    if int(known.sum()) < 2:
        return np.full(t.shape, 293.15), False
    return np.interp(t, t[known], warm[known]), True


def _missing(t: Floats, level: Floats, step: float) -> tuple[float, float]:
    """Return what is missing at the end and how well reading the gauge fixes that [Pa]: a straight line through all."""
    sigma = 0.5 * step  # read by eye to half a step, or shown to a step
    centred = t - float(t.mean())
    spread = float((centred**2).sum())
    slope = float((centred * level).sum()) / spread
    return -slope * float(t[-1]), sigma / math.sqrt(spread) * float(t[-1])


def _passed(criterion: Criterion, verdict: Verdict, lasted: float) -> Passed:
    if verdict == "drops":
        return "fails"
    if verdict != "holds":
        return "too close to tell"
    return "passes" if lasted >= 0.98 * criterion.within else "not long enough"


def _notes(lasted: float, *, measured: bool, told: Told) -> list[str]:
    said = []
    if not measured:
        said.append(
            "no temperatures at start and end: the gas may have warmed or cooled by some kelvin, and that counts as doubt"
        )
    if math.isnan(told.barometer_at_end) and lasted > 3 * 3600.0:
        said.append(
            "the barometer was told once: the weather of such a time counts as doubt (--barometer-at-end tells it)"
        )
    if lasted < SETTLED:
        said.append("a test of less than ten minutes shows mostly how the gas takes the temperature of the metal")
    return said
