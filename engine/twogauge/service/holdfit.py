"""What a closed vacuum did: the candidate curves weighed against what was read, the gauge's resolution included.

For each curve (holdcurves.py) the marginal likelihood is worked out: the probability of the readings, averaged over
all amounts and time constants the curve may have. A curve that could have been anything is thereby worth less than one
that had to be what was seen; no threshold on a rise is used anywhere.

  - A reading y with the step q stands for y - q/2 to y + q/2: its likelihood is the normal density of the instrument's
    noise averaged over that interval (Boole's rule with five points, so that it is right for any q up to four times
    the noise), and with a small probability it is a slip of the pen.
  - Amounts are taken as equally likely in every decade, except the vapour pressure of water, which is known from the
    temperature of the coldest part.
  - For each of a row of time constants the amounts are found by least squares, and the average is taken over points
    drawn around them and from their prior (importance sampling with a fixed seed: the same log gives the same answer).

Sources: Kass and Raftery, J. Am. Stat. Assoc. 90 (1995) 773, for comparing by marginal likelihood; Birge, Phys. Rev. 40
(1932) 207, for widening an error by the misfit of the best curve; from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.service.holdcurvefit import CurveFit, Evidence, Fitted
from twogauge.service.holdcurves import SHAPES, Cause, Surroundings

Floats = npt.NDArray[np.float64]

_ROUNDING: Final = 2.0  # a step of so many standard deviations hides the noise
MOST_READINGS: Final = 120  # more are thinned out evenly: the noise of neighbours is hardly independent
# How often each thing is met before anything is read; common practice, and of little weight.
PRIORS: Final[Mapping[Cause, float]] = {
    "tight": 0.25,
    "settling": 0.1,
    "leak": 0.25,
    "wet": 0.15,
    "outgassing": 0.1,
    "wet_and_leak": 0.075,
    "outgassing_and_leak": 0.075,
}


@dataclass(frozen=True)
class Weighed:
    """All causes with their probabilities.

    Attributes:
        probabilities: of each cause [1], sum 1.
        shapes: every curve as it was fitted.
        misfit: how much wider than the instrument's noise the readings scatter about the best curve [1]; 1 or more.
        trend: how much neighbouring readings lie to the same side of the likeliest curve, in standard deviations of what
            chance does [1].
    """

    probabilities: Mapping[Cause, float]
    shapes: tuple[Fitted, ...]
    misfit: float
    trend: float

    def best_of(self, cause: Cause) -> Fitted:
        """Return the likeliest curve of a cause."""
        return max((f for f in self.shapes if f.shape.cause == cause), key=lambda f: f.log_evidence)

    def ranked(self) -> list[tuple[Cause, float]]:
        """Return the causes with their probabilities [1], likeliest first."""
        return sorted(self.probabilities.items(), key=lambda item: -item[1])


def weigh(evidence: Evidence) -> Weighed:
    """Return how likely each cause is.

    Args:
        evidence: at least three readings.
    """
    seen = _thinned(evidence)
    surroundings = Surroundings(seen.t, seen.air, seen.gas, seen.vapour)
    tries: list[CurveFit] = []
    for shape in SHAPES:
        tries.append(CurveFit(shape, seen, surroundings, min((each.least for each in tries), default=math.inf)))
    misfit, fitted = _fitted(seen, tries)
    if not any(math.isfinite(f.log_evidence) for f in fitted):
        return Weighed(PRIORS, tuple(fitted), math.inf, math.inf)
    logs: dict[Cause, float] = {}
    for cause in PRIORS:
        mine = [f for f in fitted if f.shape.cause == cause]
        summed = np.logaddexp.reduce([f.log_evidence + math.log(f.shape.odds) for f in mine])
        logs[cause] = float(summed) - math.log(sum(f.shape.odds for f in mine)) + math.log(PRIORS[cause])
    total = float(np.logaddexp.reduce(list(logs.values())))
    trend = tries[int(np.argmax([f.log_evidence for f in fitted]))].trend()
    return Weighed({cause: math.exp(log - total) for cause, log in logs.items()}, tuple(fitted), misfit, trend)


def _fitted(seen: Evidence, tries: Sequence[CurveFit]) -> tuple[float, list[Fitted]]:
    """Return the misfit, and every curve with its marginal likelihood.

    The best sum of squares may belong to amounts that cannot be (a pressure that falls); then the next one counts.
    """
    misfit = 1.0
    fitted: list[Fitted] = []
    left = sorted(tries, key=lambda each: each.least)
    while left:
        misfit = _misfit(seen, left)
        fitted = [each.fitted(misfit, left[0].least) for each in tries]
        if any(math.isfinite(f.log_evidence) for f in fitted):
            break
        left = left[1:]
    return misfit, fitted


def _thinned(e: Evidence) -> Evidence:
    n = e.t.size
    kept = np.arange(n)
    # A needle that stands still says no more than where it began and ceased to: its errors are the same all the time.
    coarse = e.step[1:-1] >= _ROUNDING * e.noise[1:-1]
    still = (e.p[1:-1] == e.p[:-2]) & (e.p[1:-1] == e.p[2:]) & coarse
    kept = np.delete(kept, np.flatnonzero(still) + 1)
    if kept.size > MOST_READINGS:
        kept = kept[np.unique(np.round(np.linspace(0, kept.size - 1, MOST_READINGS)).astype(int))]
    if kept.size == n:
        return e
    arrays = {name: getattr(e, name)[kept] for name in ("t", "p", "step", "noise", "gas", "vapour")}
    return Evidence(**{**{f: getattr(e, f) for f in e.__dataclass_fields__}, **arrays})


def _misfit(e: Evidence, tries: Sequence[CurveFit]) -> float:
    n = e.t.size
    best = math.inf
    for each in tries:
        free = len(each.shape.amounts) + (each.shape.span is not None)
        if n > free:
            best = min(best, each.squares / (n - free))
    return math.sqrt(max(1.0, best)) if math.isfinite(best) else 1.0
