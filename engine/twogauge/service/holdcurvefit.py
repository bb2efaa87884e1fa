"""One candidate curve held against the readings: its amounts by least squares, and its marginal likelihood.

For each of a row of time constants the amounts are found by least squares, and the probability of the readings is
averaged over points drawn around them and from their prior (importance sampling with a fixed seed: the same log gives
the same answer). Amounts are taken as equally likely in every decade, except the vapour pressure of water, which is
known from the temperature of the coldest part. holdfit.py compares the curves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.service.holdcurves import Amount, Shape, Surroundings
from twogauge.service.likelihood import log_likelihood, log_normal

Floats = npt.NDArray[np.float64]

_POINTS: Final = 48  # drawn for each curve, time constant and way of drawing
_COARSE: Final = 18  # time constants
_HALTING: Final = 40  # the same where a halt while ice melts makes the misfit jump from one to the next
_FINE: Final = 12  # more of them, around the best
_SLIPPED: Final = 2.5  # a reading further off than so many errors tells no more of a trend than one there
_INFLATE: Final = 1.3  # the points are drawn a little wider than the errors are
_HOPELESS: Final = 120.0  # a sum of squares that much above the best leaves e^-60
_FAR, _TIMES = 1e5, 300.0  # a coarse sum of squares above that many times the best is not looked at finely
_SLOWER_TOO: Final = 0.1  # leaks slower than what is asked about are thought of as well: they are no other cause
_LARGEST_RATE: Final = 2000.0  # [Pa/s] 120 kPa in a minute: that is no vacuum any more
_RATES: Final = ("rate", "seep")  # amounts that are no pressures [Pa/s]
_STARTS: Final = (0.1, 1.5e5)  # [Pa]
_VAPOURS: Final = (10.0, 6e4)  # [Pa]
_SHEDS: Final = (10.0, 5e3)  # [Pa] what rubber and plastics give off; from memory
_SETTLES: Final = 3.0  # gauge and hoses level out at no more than so many times what it started with,
_SETTLES_BY: Final = 300.0  # [Pa] and no more than this above it; common practice
_SHARE: Final = 0.1  # two causes are named together only where the smaller makes a tenth of the rise, or more
_RANDOM: Final = np.random.default_rng(20260612)
_NORMAL: Final = _RANDOM.standard_normal((_POINTS, 4))
_UNIFORM: Final = (np.arange(_POINTS) + 0.5) / _POINTS


@dataclass(frozen=True)
class Evidence:
    """What is fitted, with what is known about it.

    Attributes:
        t: since the valve was shut [s], shape (n,), rising.
        p: pressures as read, absolute [Pa], shape (n,).
        step: of the gauge at each reading [Pa], shape (n,).
        noise: standard deviation of a reading [Pa], shape (n,).
        air: pressure of the air outside [Pa].
        water, water_error: vapour pressure of water at the coldest part [Pa], and its relative uncertainty [1].
        ice, ice_error: pressure at which ice holds [Pa], and its relative uncertainty [1].
        smallest_rate: the smallest leak that is asked about [Pa/s].
        gas, vapour: of Surroundings, shape (n,) [1].
    """

    t: Floats
    p: Floats
    step: Floats
    noise: Floats
    air: float
    water: float
    water_error: float
    ice: float
    ice_error: float
    smallest_rate: float
    gas: Floats
    vapour: Floats


@dataclass(frozen=True)
class Fitted:
    """One shape, as far as the readings speak for it.

    Attributes:
        shape: the curve.
        log_evidence: natural logarithm of its marginal likelihood [1].
        amounts: points drawn, shape (k, amounts) [Pa or Pa/s].
        taus: their time constants [s], shape (k,).
        weights: of the points [1], shape (k,), sum 1.
    """

    shape: Shape
    log_evidence: float
    amounts: Floats
    taus: Floats
    weights: Floats

    def best(self) -> tuple[Floats, float]:
        """Return the amounts, shape (1, amounts) [Pa or Pa/s], and the time constant [s] of the likeliest point."""
        i = int(np.argmax(self.weights))
        return self.amounts[i : i + 1], float(self.taus[i])


class CurveFit:
    """One shape held against the readings.

    Attributes:
        shape: the curve.
        taus: time constants that were tried [s].
        squares: sum of squares of the best of them [1].
        least: the same with what wider errors cost [1], so that curves can be compared.
    """

    def __init__(self, shape: Shape, e: Evidence, surroundings: Surroundings, least: float) -> None:
        self.shape, self._e, self._s = shape, e, surroundings
        around = np.concatenate([e.p[:1], e.p, e.p[-1:]])  # one slip of the pen widens nothing
        about = np.median(np.stack([around[:-2], around[1:-1], around[2:]]), axis=0)
        gone, ahead = np.maximum(about - e.p[0], 0.0), np.maximum(e.water - about, 0.0)
        simplified = shape.idealised * np.minimum(gone, ahead)
        self._noise = np.hypot(e.noise, simplified)
        self._loosely = np.hypot(e.noise, 2.0 * simplified)
        self._sigma = np.sqrt(self._noise**2 + e.step**2 / 12.0)
        plain = np.sqrt(e.noise**2 + e.step**2 / 12.0)
        self._wider = 2.0 * float(np.log(self._sigma / plain).sum())
        self._solved: dict[float, tuple[Floats, Floats, float]] = {}
        self.taus = self._time_constants(_FAR + _TIMES * max(least, 0.0))
        self.squares = min(self._solve(tau)[2] for tau in self.taus)
        self.least = self.squares + self._wider

    def trend(self) -> float:
        """Return how much neighbouring readings lie off to the same side, in standard deviations of what chance does [1].

        What lies within half a step of the gauge does not lie off. What a simplified curve is off hangs together by its
        nature: there only what is twice as much counts.
        """
        tau = min(self.taus, key=lambda each: self._solve(float(each))[2])
        curve = self.shape.curve(self._solve(float(tau))[0][None, :], float(tau), self._s)[0]
        off = self._e.p - curve
        beyond = np.sign(off) * np.maximum(np.abs(off) - 0.5 * self._e.step, 0.0) / self._loosely
        clipped = np.clip(beyond, -_SLIPPED, _SLIPPED)
        return float((clipped[1:] * clipped[:-1]).sum()) / math.sqrt(max(off.size - 1, 1))

    def _time_constants(self, far: float) -> Floats:
        """Return the time constants the average runs over [s]: a coarse row, and a fine one around the best.

        Where the coarse row stays above `far`, a sum of squares [1], the curve is out of the question.
        """
        if self.shape.span is None:
            return np.array([1.0])
        low, high = np.log(self.shape.span)
        coarse = np.linspace(low, high, _HALTING if self.shape.name.startswith("warming") else _COARSE)
        sums = [self._solve(math.exp(x))[2] for x in coarse]
        if min(sums) > far:
            return np.asarray(np.exp(coarse), np.float64)
        around, spacing = coarse[int(np.argmin(sums))], coarse[1] - coarse[0]
        for _ in range(3):  # home in, then lay the fine row where the misfit grows by a few units
            row = around + spacing * np.linspace(-1.0, 1.0, 7)
            row = row[(row >= low) & (row <= high)]
            sums = [self._solve(math.exp(x))[2] for x in row]
            around, spacing = row[int(np.argmin(sums))], spacing / 3.0
        width = self._width(around, spacing, low, high)
        fine = around + width * np.linspace(-4.0, 4.0, _FINE)
        found = np.unique(np.concatenate([coarse, fine[(fine >= low) & (fine <= high)]]))
        return np.asarray(np.exp(found), np.float64)

    def _width(self, around: float, spacing: float, low: float, high: float) -> float:
        """Return how far ln of the time constant is uncertain [1], from the curvature of the misfit."""
        middle = self._solve(math.exp(around))[2]
        h = max(spacing, 1e-3)
        sides = [self._solve(math.exp(x))[2] for x in (around - h, around + h) if low <= x <= high]
        growth = max((side - middle for side in sides), default=0.0)
        return min(h / math.sqrt(max(growth, 1e-6)), (high - low) / 8.0)

    def _start(self) -> Floats:
        e = self._e
        first, last = float(e.p[0]), float(e.p[-1])
        guess = {"start": first, "settled": last, "ice": e.ice, "water": e.water, "vapour": max(last, first)}
        guess["shed"] = guess["vapour"]
        guess["rate"] = guess["seep"] = max((last - first) / float(e.t[-1] - e.t[0]), 0.0)
        return np.array([max(guess[name], 0.0) for name in self.shape.amounts])

    def _solve(self, tau: float) -> tuple[Floats, Floats, float]:
        """Return the amounts of least squares, the factor of their covariance, and the sum of squares."""
        if tau in self._solved:
            return self._solved[tau]
        e, k = self._e, len(self.shape.amounts)
        c = self._start()
        weight = 1.0 / self._sigma
        # What is known of the amounts beforehand keeps the equations solvable where the readings say nothing.
        about, loose = self._beforehand()
        damp = 0.0

        def residuals(points: Floats) -> Floats:
            return np.asarray((e.p - self.shape.curve(points, tau, self._s)) * weight, np.float64)

        def total(point: Floats, r: Floats) -> float:
            return float(r @ r + (((point - about) / loose) ** 2).sum())

        r = residuals(c[None, :])[0]
        near = min(self._solved, key=lambda known: abs(math.log(known / tau)), default=None)
        if near is not None:  # where the neighbour ended may be a better start
            other = self._solved[near][0]
            other_r = residuals(other[None, :])[0]
            if total(other, other_r) < total(c, r):
                c, r = other, other_r
        normal = np.eye(k)
        scale = np.where(np.isin(self.shape.amounts, _RATES), 1e-4, 1e-2)
        linear = not self.shape.name.startswith(("warming", "filling"))
        for _ in range(2 if linear else 8):
            h = scale * np.maximum(1.0, 0.01 * np.abs(c) / scale)
            jacobian = (residuals(c[None, :] + np.diag(h)) - r).T / -h
            normal = jacobian.T @ jacobian + np.diag(1.0 / loose**2)
            gradient = jacobian.T @ r - (c - about) / loose**2
            better = False
            for _ in range(6):
                step = np.linalg.solve(normal + damp * np.diag(np.diag(normal)), gradient)
                tried = c + step
                tried_r = residuals(tried[None, :])[0]
                if total(tried, tried_r) <= total(c, r) + 1e-9:
                    better = True
                    break
                damp = max(4.0 * damp, 1e-3)
            if not better:
                break
            done = float(np.abs(step / np.maximum(np.abs(c), 1e-3)).max()) < 1e-4
            c, r, damp = tried, tried_r, damp / 8.0
            if done:
                break
        factor = np.linalg.cholesky(np.linalg.inv(normal))
        self._solved[tau] = (c, factor, float(r @ r))
        return self._solved[tau]

    def _beforehand(self) -> tuple[Floats, Floats]:
        e = self._e
        about = {"water": e.water, "ice": e.ice}
        about = dict.fromkeys(("start", "settled", "vapour", "shed", *_RATES), 0.0) | about
        loose = dict.fromkeys(about, 10.0 * e.air)
        loose |= dict.fromkeys(_RATES, 10.0 * _LARGEST_RATE)
        loose |= {"water": e.water * e.water_error, "ice": e.ice * e.ice_error}
        return (
            np.array([about[name] for name in self.shape.amounts]),
            np.array([loose[name] for name in self.shape.amounts]),
        )

    def fitted(self, misfit: float, least: float) -> Fitted:
        """Return the shape with its marginal likelihood.

        Args:
            misfit: every error is widened by it [1].
            least: sum of squares of the best curve of all [1]; where this one is hopelessly worse nothing is drawn.
        """
        e = self._e
        taus = self.taus
        spread = 1.0 if self.shape.span is None else math.log(self.shape.span[1] / self.shape.span[0])
        shares = np.array([1.0]) if taus.size == 1 else _shares(np.log(taus)) / spread
        points, logs, at = [], [], []
        for tau, share in zip(taus, shares, strict=True):
            if (self._solve(float(tau))[2] + self._wider - least) / misfit**2 > _HOPELESS:
                continue
            c, proposed = self._draw(float(tau), misfit)
            prior = self._log_prior(c, float(tau))
            inside = np.isfinite(prior)
            chance = np.full(len(c), -np.inf)
            if inside.any():
                curve = self.shape.curve(c[inside], float(tau), self._s)
                chance[inside] = log_likelihood(curve, e.p, e.step, np.maximum(self._noise * misfit, 0.3 * e.step))
            points.append(c)
            logs.append(chance + prior - proposed + math.log(max(share, 1e-300)) - math.log(len(c)))
            at.append(np.full(len(c), tau))
        if not logs:
            nothing = np.empty((0, len(self.shape.amounts)))
            return Fitted(self.shape, -math.inf, nothing, np.empty(0), np.empty(0))
        log_weights = np.concatenate(logs)
        log_evidence = float(np.logaddexp.reduce(log_weights))
        weights = np.exp(log_weights - log_evidence) if np.isfinite(log_evidence) else np.zeros(log_weights.size)
        return Fitted(self.shape, log_evidence, np.concatenate(points), np.concatenate(at), weights)

    def _draw(self, tau: float, misfit: float) -> tuple[Floats, Floats]:
        """Return points of shape (k, amounts), and the logarithm of the density they were drawn with."""
        centre, factor, _ = self._solve(tau)
        factor = factor * (_INFLATE * misfit)
        k = centre.size
        drawn = [centre + _NORMAL[:, :k] @ factor.T]
        covariance = factor @ factor.T
        loose = [j for j, name in enumerate(self.shape.amounts) if name != "start"]
        conditionals = []
        for j in loose:
            rest = [i for i in range(k) if i != j]
            slope = covariance[rest, j] / covariance[j, j]
            narrow = covariance[np.ix_(rest, rest)] - np.outer(slope, covariance[j, rest])
            tiny = 1e-12 * np.diag(np.diag(covariance[np.ix_(rest, rest)]))
            inner = np.asarray(np.linalg.cholesky(narrow + tiny), np.float64)
            conditionals.append((j, rest, slope, inner))
            value = self._from_prior(self.shape.amounts[j])
            c = np.empty((_POINTS, k))
            c[:, j] = value
            c[:, rest] = centre[rest] + np.outer(value - centre[j], slope) + _NORMAL[:, : k - 1] @ inner.T
            drawn.append(c)
        c = np.concatenate(drawn)
        densities = [log_normal(c - centre, factor)]
        for j, rest, slope, inner in conditionals:
            off = c[:, rest] - centre[rest] - np.outer(c[:, j] - centre[j], slope)
            densities.append(log_normal(off, inner) + self._log_prior_of(self.shape.amounts[j], c[:, j]))
        return c, np.asarray(np.logaddexp.reduce(densities) - math.log(len(densities)))

    def _ends(self, name: Amount) -> tuple[float, float]:
        if name in _RATES:
            return _SLOWER_TOO * self._e.smallest_rate, _LARGEST_RATE
        if name in {"vapour", "shed"}:
            return _VAPOURS if name == "vapour" else _SHEDS
        if name == "settled":
            first = float(max(self._e.p[0], 5.0))
            return 0.9 * first, min(_SETTLES * first, first + _SETTLES_BY)
        return _STARTS

    def _from_prior(self, name: Amount) -> Floats:
        e = self._e
        if name in {"water", "ice"}:
            about, error = (e.water, e.water_error) if name == "water" else (e.ice, e.ice_error)
            return np.asarray(about * np.exp(error * _NORMAL[:, 3]))
        low, high = self._ends(name)
        return np.asarray(low * (high / low) ** _UNIFORM)

    def _log_prior_of(self, name: Amount, value: Floats) -> Floats:
        """Return the logarithm of the density [1/Pa or s/Pa]; minus infinity where it cannot be."""
        e = self._e
        positive = np.maximum(value, 1e-300)
        if name in {"water", "ice"}:
            about, error = (e.water, e.water_error) if name == "water" else (e.ice, e.ice_error)
            z = np.log(positive / about) / error
            found = -0.5 * z * z - np.log(positive * error) - 0.5 * math.log(2.0 * math.pi)
            return np.asarray(np.where(value > 0.0, found, -np.inf))
        low, high = self._ends(name)
        inside = (value >= low) & (value <= high)
        return np.asarray(np.where(inside, -np.log(positive * math.log(high / low)), -np.inf))

    def _log_prior(self, c: Floats, tau: float) -> Floats:
        total = np.zeros(len(c))
        for j, name in enumerate(self.shape.amounts):
            total = total + self._log_prior_of(name, c[:, j])
        if len(self.shape.amounts) == 1 or self.shape.cause in {"leak", "wet"}:
            return total
        lasts = float(self._e.t[-1])
        if "shed" in self.shape.amounts and len(self.shape.amounts) > 2:
            without = self.shape.curve(c * np.array([1.0, 1.0, 0.0]), tau, self._s)
            grown = without[:, -1] - without[:, 0]
        else:
            grown = (c[:, 1] - c[:, 0]) * -math.expm1(-lasts / tau)
        if len(self.shape.amounts) == 2:  # it comes out, it does not go in
            return np.where(grown > 0.0, total, -np.inf)
        if self.shape.cause == "outgassing":  # both pools hold no more than one may
            total = np.where(c[:, 1] + c[:, 2] * self.shape.dries <= _VAPOURS[1], total, -np.inf)
            lasts = self.shape.dries * -math.expm1(-lasts / self.shape.dries)
        leaked = c[:, 2] * lasts
        both = np.minimum(grown, leaked) >= _SHARE * (grown + leaked)
        return np.where(both, total, -np.inf)


def _shares(x: Floats) -> Floats:
    """Return the weights of the trapezoidal rule, shape of `x`."""
    gaps = np.diff(x)
    shares = np.zeros_like(x)
    shares[:-1] += gaps / 2.0
    shares[1:] += gaps / 2.0
    return shares
