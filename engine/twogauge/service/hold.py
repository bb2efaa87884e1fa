"""A vacuum behind a shut valve: what it was doing, how deep it is, which criteria it passes, and how long to wait.

holdlog.py reads, holdfit.py weighs the curves; here what the gauge can show is worked out, the moment the valve was shut
is found, and the weights are turned into an answer, which may be that nothing can be said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge.errors import InputError
from twogauge.service import water
from twogauge.service.criteria import Criterion
from twogauge.service.holdcriteria import Judged, judged
from twogauge.service.holdcurvefit import Evidence
from twogauge.service.holdcurves import Cause, Surroundings
from twogauge.service.holdfit import Weighed, weigh
from twogauge.service.holdgauge import (
    GaugeSeen,
    GaugeTold,
    beyond_the_air,
    bottomed,
    gauge_of,
    permitted_error,
    reading_errors,
    shut_at,
)
from twogauge.service.holdlog import HoldLog
from twogauge.service.holdslips import refuse_other_units
from twogauge.service.vacuum import Depth, depth

Floats = npt.NDArray[np.float64]

SURE: Final = 0.75  # a cause is named where it is three times as likely as all others together,
# what leaks half again as likely, since to look for a leak that is none costs an hour, and to miss one the charge,
_SURE_OF_LEAK: Final = 0.6
_SURE_OF_TAILS: Final = 0.85  # and what only gives off, whose curves may be nearly any, six times
# Fewer readings than these cannot show that a rise slows down: of simulated logs cut off after four, a third of what
# would be called a leak was none; at six times as likely, one in ten.
_FEW: Final = 6
_SURE_OF_A_FEW: Final = 0.85
LARGEST_MISFIT: Final = 3.0  # where even the best curve lies further off, something else is going on,
LARGEST_TREND: Final = 8.0  # and so it is where the readings lie to one side of it and then to the other
GUESSED_COLDEST: Final = 293.15  # [K] taken where no temperature was told
_COLDEST_ERROR: Final = {"told": 1.5, "measured": 2.0, "guessed": 8.0}  # [K] standard uncertainty; common practice
_APART: Final = 4.0  # two curves can be told apart where they differ by so many errors of one reading
_LONGEST: Final = 24 * 3600.0  # [s] nobody waits longer
_FEWEST: Final = 3  # readings that are needed at the least
_STILL_POSSIBLE: Final = (
    0.1  # where that it holds is still as likely as this, the readings are too coarse or too short
)
# Where a leak is as likely as this no other cause alone is named: a leak missed costs most, and a tail hides one well.
_MISSED: Final = {"tight": 0.15, "settling": 0.15, "wet": 0.05, "outgassing": 0.05}
_LEAKING: Final = ("leak", "wet_and_leak", "outgassing_and_leak")

Why = Literal["", "too few", "too coarse", "too alike", "no curve fits", "bottomed out"]


@dataclass(frozen=True)
class Told:
    """What was told beside the log.

    Attributes:
        barometer: pressure of the air [Pa].
        valved_off: when the valve was shut in the time of the log [s]; NaN if not told.
        coldest: temperature of the coldest part [K]; NaN if not told.
        volume: inside [m3]; NaN if not told.
        gauge: what was told about it.
        smallest_rate: the smallest leak that is asked about [Pa/s].
        hold, deep: criteria that count.
    """

    barometer: float
    valved_off: float = math.nan
    coldest: float = math.nan
    volume: float = math.nan
    gauge: GaugeTold = field(default_factory=GaugeTold)
    smallest_rate: float = 0.0111
    hold: tuple[Criterion, ...] = ()
    deep: tuple[Criterion, ...] = ()


@dataclass(frozen=True)
class Hold:
    """What the log says.

    Attributes:
        cause: what happened; None if that cannot be said.
        why: why it cannot.
        weighed: every cause with its probability.
        leaks: probability that there is a leak, whatever else there may be [1].
        t, p: readings since the valve was shut [s, absolute Pa], shape (n,).
        valved_off: when that was in the time of the log [s].
        found: the moment was found in the log and not told.
        rate: of the leak, if there is one: low, middle, high [Pa/s], 19 times in 20; NaN otherwise.
        hidden: fastest leak that could hide in this log [Pa/s].
        plateau: where it levels off, if it does: low, middle, high [Pa]; NaN otherwise.
        start, end: how deep it was when the valve was shut, and at the end.
        gauge: as the log shows it.
        coldest: temperature of the coldest part [K].
        coldest_from: told, measured or guessed.
        volume: inside [m3], or NaN.
        criteria: those that count, judged.
        wait: how long after the valve was shut the question can be settled with this gauge [s]; infinite if not in a
            day; NaN where it is settled.
        rivals: the two that are to be told apart then.
        barometer: pressure of the air [Pa].
        notes: sentences.
    """

    cause: Cause | None
    why: Why
    weighed: Weighed
    leaks: float
    t: Floats
    p: Floats
    valved_off: float
    found: bool
    rate: tuple[float, float, float]
    hidden: float
    plateau: tuple[float, float, float]
    start: Depth
    end: Depth
    gauge: GaugeSeen
    coldest: float
    coldest_from: str
    volume: float
    criteria: tuple[Judged, ...]
    wait: float
    rivals: tuple[str, str]
    barometer: float
    notes: tuple[str, ...] = field(default=())


def judge(log: HoldLog, told: Told) -> Hold:
    """Judge a log.

    Raises:
        InputError: too few readings after the valve was shut; the log begins before that and does not show when; or
            no vacuum; or a number makes sense in another unit only.
    """
    if told.volume <= 0.0:
        raise InputError("a volume of nothing tells nothing; leave it out, or write what the circuit holds inside")
    t = np.array([row.time for row in log.rows])
    p = np.array(
        [
            row.pressure.value + (told.barometer if row.pressure.reference == "gauge" else 0.0)
            for row in log.rows
            if row.pressure
        ]
    )
    warm = np.array([row.temperature for row in log.rows])
    notes = list(log.notes)
    refuse_other_units([row for row in log.rows if math.isnan(told.valved_off) or row.time >= told.valved_off])
    if float(np.median(p)) > 0.97 * told.barometer:
        raise InputError(
            "these pressures are that of the air or above it: no vacuum; with --nitrogen a test under pressure is judged"
        )
    gauge = gauge_of(log, p, told.gauge)
    step, noise = reading_errors(gauge, p)
    begin, found, note = shut_at(t, p, noise, step, told.valved_off)
    notes += [note] if note else []
    keep = np.arange(t.size) >= begin
    t, p, warm, step, noise = t[keep] - t[begin], p[keep], warm[keep], step[keep], noise[keep]
    if t.size < _FEWEST or t[-1] <= 0.0:
        raise InputError(
            f"{t.size} reading{'s' if t.size != 1 else ''} since the valve was shut; at least {_FEWEST} are needed, over "
            "some minutes"
        )
    coldest, coldest_from, notes_of_it = _coldest(warm, told.coldest)
    notes += notes_of_it
    notes += beyond_the_air(p, told.barometer, gauge, [row.place for row in log.rows[begin:]])
    at_its_end = bottomed(p, gauge)
    evidence = _evidence(
        log=(t, p, step, noise, warm),
        gauge=gauge,
        told=told,
        coldest=coldest,
        coldest_error=_COLDEST_ERROR[coldest_from],
    )
    weighed = weigh(evidence)
    cause, why = _answer(weighed, evidence, at_its_end=at_its_end)
    leaking = sum(weighed.probabilities[each] for each in _LEAKING)
    wait, rivals = _wait(weighed, evidence, cause)
    rate = _spread(weighed, cause, "rate")
    if rate[2] < told.smallest_rate:
        notes.append("this leak is slower than what the criteria in force call worth finding in a vacuum")
    first_error = permitted_error(told.gauge, gauge, float(p[0]))
    return Hold(
        cause=cause,
        why=why,
        weighed=weighed,
        leaks=leaking,
        t=t,
        p=p,
        valved_off=float(log.rows[begin].time),
        found=found,
        rate=rate,
        hidden=_hidden(evidence, cause),
        plateau=_plateau(weighed, cause),
        start=depth(float(p[0]), first_error, told.barometer, coldest),
        end=depth(float(p[-1]), permitted_error(told.gauge, gauge, float(p[-1])), told.barometer, coldest),
        gauge=replace(gauge, error=first_error, noise=float(noise[-1])),
        coldest=coldest,
        coldest_from=coldest_from,
        volume=told.volume,
        criteria=tuple(
            judged(c, t, p, np.hypot(noise, step / math.sqrt(12.0)), first_error) for c in (*told.deep, *told.hold)
        ),
        wait=wait,
        rivals=rivals,
        barometer=told.barometer,
        notes=tuple(dict.fromkeys(notes)),
    )


def _coldest(warm: Floats, told: float) -> tuple[float, str, list[str]]:
    if not math.isnan(told):
        return told, "told", []
    if not np.isnan(warm).all():
        return (
            float(np.nanmean(warm)),
            "measured",
            ["the temperatures of the log are taken for those of the coldest part"],
        )
    return GUESSED_COLDEST, "guessed", []


# -- the weighing --------------------------------------------------------------------------------------------------


def _evidence(
    *,
    log: tuple[Floats, Floats, Floats, Floats, Floats],
    gauge: GaugeSeen,
    told: Told,
    coldest: float,
    coldest_error: float,
) -> Evidence:
    t, p, step, noise, warm = log
    wet, ice = (
        float(water.saturation_pressure(coldest)),
        min(water.TRIPLE_PRESSURE, float(water.saturation_pressure(coldest))),
    )
    slope = float(water.saturation_pressure(coldest + 0.5) - water.saturation_pressure(coldest - 0.5)) / wet

    def relative(pressure: float, kelvin: float) -> float:
        off = permitted_error(told.gauge, gauge, pressure) / math.sqrt(3.0) / pressure
        return min(math.hypot(off, slope * kelvin, 0.05), 1.0)

    known = np.where(np.isnan(warm), np.nanmean(warm) if not np.isnan(warm).all() else coldest, warm)
    shift = known - float(known.mean())
    return Evidence(
        t=t,
        p=p,
        step=step,
        noise=noise,
        air=told.barometer,
        water=wet,
        water_error=relative(wet, coldest_error),
        ice=ice,
        ice_error=relative(ice, 0.0 if ice == water.TRIPLE_PRESSURE else coldest_error),
        smallest_rate=told.smallest_rate,
        gas=known / known[0],
        vapour=np.asarray(water.saturation_pressure(coldest + shift)) / wet,
    )


def _answer(weighed: Weighed, evidence: Evidence, *, at_its_end: bool) -> tuple[Cause | None, Why]:
    first, probability = weighed.ranked()[0]
    if at_its_end:
        return None, "bottomed out"
    if weighed.misfit > LARGEST_MISFIT or weighed.trend > LARGEST_TREND:
        return None, "no curve fits"
    still = weighed.probabilities["tight"] + weighed.probabilities["settling"]
    leaking = sum(weighed.probabilities[each] for each in _LEAKING)
    few = evidence.t.size < _FEW
    of_leak = _SURE_OF_A_FEW if few else _SURE_OF_LEAK
    enough = of_leak if first in _LEAKING else _SURE_OF_TAILS if first == "outgassing" else SURE
    sure = probability >= enough or (first in {"tight", "settling"} and still >= SURE)
    if sure and (first in _LEAKING or leaking <= _MISSED[first]):
        return first, ""
    if few:
        return None, "too few"
    return None, "too coarse" if still >= _STILL_POSSIBLE else "too alike"


def _spread(weighed: Weighed, cause: Cause | None, amount: str) -> tuple[float, float, float]:
    """Return the 2.5, 50 and 97.5 % points of an amount over the curves of a cause [SI]; NaN where it has none."""
    values, weights = [], []
    for each in weighed.shapes:
        if each.shape.cause != cause or amount not in each.shape.amounts or not each.weights.size:
            continue
        j = each.shape.amounts.index(amount)
        best = max(f.log_evidence for f in weighed.shapes if f.shape.cause == cause)
        values.append(each.amounts[:, j])
        weights.append(each.weights * math.exp(max(each.log_evidence - best, -700.0)))
    if not values:
        return math.nan, math.nan, math.nan
    low, middle, high = _quantiles(np.concatenate(values), np.concatenate(weights))
    return low, middle, high


def _quantiles(values: Floats, weights: Floats) -> tuple[float, float, float]:
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) / weights.sum()
    low, middle, high = (
        float(values[order][np.searchsorted(reached, q).clip(max=order.size - 1)]) for q in (0.025, 0.5, 0.975)
    )
    return low, middle, high


def _plateau(weighed: Weighed, cause: Cause | None) -> tuple[float, float, float]:
    if cause is None:
        return math.nan, math.nan, math.nan
    best = weighed.best_of(cause).shape.amounts
    if "seep" in best:  # the upper pool levels off, the whole does not
        return math.nan, math.nan, math.nan
    amount = next((name for name in best if name in {"water", "ice", "vapour", "settled"}), "")
    return _spread(weighed, cause, amount)


def _hidden(e: Evidence, cause: Cause | None) -> float:
    """Return the fastest straight rise that these readings still allow [Pa/s], 19 times in 20.

    Where it levelled off only the later half counts: before that the rise has another cause.
    """
    later = e.t >= 0.5 * e.t[-1] if cause in {"settling", "wet", "outgassing"} else e.t >= 0.0
    if int(later.sum()) < 2:
        return math.inf
    t, p = e.t[later], e.p[later]
    weight = 1.0 / np.hypot(e.noise, e.step / math.sqrt(12.0))[later] ** 2
    mean = float((weight * t).sum() / weight.sum())
    spread = float((weight * (t - mean) ** 2).sum())
    slope = float((weight * (t - mean) * p).sum()) / spread
    return max(slope, 0.0) + 1.645 / math.sqrt(spread)


def _wait(weighed: Weighed, e: Evidence, cause: Cause | None) -> tuple[float, tuple[str, str]]:
    """Return when the two likeliest differ by more than the gauge may be off, and which two these are."""
    ranked = [name for name, _ in weighed.ranked()]
    first, second = ranked[0], ranked[1]
    if cause is not None:
        return math.nan, (first, second)
    if "tight" in (first, second) or "settling" in (first, second):
        error = float(np.hypot(e.noise, e.step / math.sqrt(12.0))[-1])
        needed = _APART * error / e.smallest_rate
        return (needed if needed <= _LONGEST else math.inf), ("tight", "leak")
    ahead = float(e.t[-1]) + np.linspace(0.0, _LONGEST, 1441)
    at = Surroundings(ahead, e.air, np.ones_like(ahead), np.ones_like(ahead))
    curves = []
    for name in (first, second):
        best = weighed.best_of(name)
        if not best.weights.size:
            return math.inf, (first, second)
        amounts, tau = best.best()
        curves.append(best.shape.curve(amounts, tau, at)[0])
    lower = np.minimum(*curves)
    noise = e.noise[-1] * np.maximum(lower / max(float(e.p[-1]), 1.0), 1.0)
    far = np.abs(curves[0] - curves[1]) > _APART * np.hypot(noise, e.step[-1] / math.sqrt(12.0))
    return (float(ahead[int(np.argmax(far))]) if far.any() else math.inf), (first, second)
