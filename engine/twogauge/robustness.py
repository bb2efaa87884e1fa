"""How sure, with these instruments: how often the first place survives, and what would have to be wrong to change it.

Two questions about one reading, both answered by weighing columns of readings like it (weigh.py); words never vary.

**How often.** Each sample is what another set of instruments of the same kind might have shown: every dial and
thermometer is moved by an error drawn within its permitted limits, the air pressure by one of its own that moves both
sides alike. Each is weighed just as the reading itself was, with the uncertainty of its instruments, so that a sample
with no error gives the answer that stands above. The share is how often one would have come to the same answer. It is
not the probability of the fault: rules may be wrong as well.

**How wrong.** The turning point is asked in the same way: the answer one gets by typing the other value.

Errors of different fields are taken as independent, as in work.py: one thermometer that is always 1 K high is not
looked for. A baseline stands as it was read. A maker's range is taken as gauge pressure, and moves with the air.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Columns, Floats, Words
from twogauge.diagnosis import columns_of
from twogauge.fields import DEFAULT_ACCURACY, FIELDS, INSTRUMENTS
from twogauge.packs.compile import Program
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.weigh import Verdict, weigh_columns
from twogauge.work import Derived, Work

SAMPLES: Final = 256
REACH: Final = 10.0  # [1] how many standard uncertainties a single reading is moved at most
STEP: Final = 0.25  # [1] of the first search; an answer that changes and changes back in between is not seen
_ZOOM: Final = 16  # parts a step is cut into, three times over: the turning point is known to 1/16000 of u
_ROUNDS: Final = 3
_NOT_READ: Final = frozenset((*DEFAULT_ACCURACY, *INSTRUMENTS))
AIR: Final = "barometer"  # the axis of the air pressure, under the name of its field


@dataclass(frozen=True, slots=True)
class Taker:
    """Who else comes first, and how often.

    Attributes:
        fault: id.
        share: part of the samples [1].
    """

    fault: str
    share: float


@dataclass(frozen=True, slots=True)
class TurningPoint:
    """The least error of one reading that would change the first place.

    Attributes:
        field: of the reading; "barometer" is the air pressure, however it was told.
        shift: what it would have to be more (or less) than was read [Pa] or [K].
        value: what it would have to be, pressures absolute [Pa] or [K].
        u: standard uncertainty of the instrument alone [Pa] or [K].
        fault: who would come first then.
    """

    field: str
    shift: float
    value: float
    u: float
    fault: str

    @property
    def in_u(self) -> float:
        """The shift in standard uncertainties [1], without sign; beyond 3 it is hardly the instrument."""
        return abs(self.shift) / self.u

    @property
    def dimension(self) -> Dimension:
        """What kind of number the shift is: a difference."""
        pressure = FIELDS[self.field].dimension is Dimension.PRESSURE
        return Dimension.PRESSURE_DIFFERENCE if pressure else Dimension.TEMPERATURE_DIFFERENCE


@dataclass(frozen=True, slots=True)
class HowSure:
    """How far the answer to one reading depends on its instruments.

    Attributes:
        leader: id of the first place, as diagnosed.
        verdict: the word of the verdict, as diagnosed.
        samples: how many were weighed.
        varied: fields that have an error; if there are none every share is 1.
        same_leader: part of the samples with the same first place [1].
        same_verdict: part of the samples with the same first place and verdict [1].
        takers: who else comes first, most often first.
        turning_points: one for each field that can change the first place, the smallest error in u first.
    """

    leader: str
    verdict: str
    samples: int
    varied: tuple[str, ...]
    same_leader: float
    same_verdict: float
    takers: tuple[Taker, ...]
    turning_points: tuple[TurningPoint, ...]

    @property
    def turning_point(self) -> TurningPoint | None:
        """The reading that would have to be least wrong; None if no single one can change the first place."""
        return self.turning_points[0] if self.turning_points else None


def how_sure(reading: Reading, program: Program, *, samples: int = SAMPLES, seed: int = 0) -> HowSure:
    """Tell how far the answer to a reading depends on its instruments; the same every time.

    Args:
        reading: as diagnosed.
        program: the rules it was diagnosed with.
        samples: how many sets of instruments are tried [1].
        seed: another seed takes another stretch of the same sequence of points [1].

    Raises:
        ValueError: fewer than one sample, or a negative seed.
    """
    return how_sure_of_columns(columns_of([reading]), program, samples=samples, seed=seed)


def how_sure_of_columns(columns: Columns, program: Program, *, samples: int = SAMPLES, seed: int = 0) -> HowSure:
    """Do the same for columns of one reading.

    Raises:
        ValueError: more than one reading, fewer than one sample, or a negative seed.
    """
    if columns.n != 1:
        raise ValueError(f"one reading belongs here, not {columns.n}")
    if samples < 1 or seed < 0:
        raise ValueError("samples must be at least 1, and seed must not be negative")
    found = weigh_columns(columns, program)
    leader, verdict = int(found.leader[0]), int(found.verdict[0])
    axes = _axes(columns)
    same_leader, same_verdict = 1.0, 1.0
    takers: tuple[Taker, ...] = ()
    if axes:
        spread = weigh_columns(_sample(columns, axes, samples, seed), program)
        mine = spread.leader == leader
        same_leader = float(mine.mean())
        same_verdict = float((mine & (spread.verdict == verdict)).mean())
        counts = np.bincount(spread.leader, minlength=len(found.hypotheses))
        takers = tuple(
            Taker(found.hypotheses[i], float(counts[i]) / samples)
            for i in sorted(np.flatnonzero(counts).tolist(), key=lambda i: (-counts[i], found.hypotheses[i]))
            if i != leader
        )
    return HowSure(
        found.hypotheses[leader],
        Verdict(verdict).word,
        samples,
        tuple(axes),
        same_leader,
        same_verdict,
        takers,
        _turning_points(columns, program, axes, leader),
    )


# -- readings like this one -----------------------------------------------------------------------------------------


def _axes(columns: Columns) -> dict[str, float]:
    """Return each field that an instrument measured, with the standard uncertainty of that instrument alone [SI]."""
    work = Work(_without_air(columns), QUANTITIES)
    axes = {}
    for name in FIELDS:
        if name not in columns.numbers or name in _NOT_READ or name.startswith("target_"):
            continue
        found = work.measured(name)
        if isinstance(found, Derived) and not np.isnan(found.value[0]) and found.u[0] > 0.0:
            axes[name] = float(found.u[0])
    air = float(columns.barometer_uncertainty[0])
    if air > 0.0 and any(FIELDS[name].dimension is Dimension.PRESSURE for name in columns.numbers if name in FIELDS):
        axes[AIR] = air
    return axes


def _without_air(columns: Columns) -> Columns:
    return replace(columns, barometer_uncertainty=np.zeros(columns.n))


def _moved(columns: Columns, shifts: Mapping[str, Floats], n: int) -> Columns:
    """Return the one reading n times over, each field moved by its shifts [SI], shape (n,)."""
    numbers = {name: np.repeat(values, n) for name, values in columns.numbers.items()}
    barometer = np.repeat(columns.barometer, n)
    for field, shift in shifts.items():
        if field == AIR:
            barometer = barometer + shift
        numbers |= {name: values + shift for name, values in numbers.items() if _moves(field, name)}
    for name, values in numbers.items():
        if _is_pressure(name):
            np.maximum(values, 0.0, out=values)  # no dial reads below a perfect vacuum
    words = {name: Words(np.repeat(told.codes, n), told.values) for name, told in columns.words.items()}
    return Columns(n, numbers, words, barometer, np.repeat(columns.barometer_uncertainty, n))


def _moves(field: str, name: str) -> bool:
    """Tell whether a column moves with a field: the ends of a swing do, and with the air all gauge pressures."""
    if field == AIR:
        return _is_pressure(name)
    return name == field or name in {f"{field}.from", f"{field}.to"}


def _is_pressure(name: str) -> bool:
    field = FIELDS.get(name.removeprefix("spec.").partition(".")[0])
    return field is not None and field.dimension is Dimension.PRESSURE


def _sample(columns: Columns, axes: Mapping[str, float], samples: int, seed: int) -> Columns:
    """Return what other instruments of the same kind might have shown."""
    points = _points(samples, len(axes), seed)
    shifts = {}
    for (field, u), point in zip(axes.items(), points, strict=True):
        # A permitted error is anywhere within its limits alike; the air pressure has none, and is taken as normal.
        shifts[field] = u * (normal_quantile(point) if field == AIR else np.sqrt(3.0) * (2.0 * point - 1.0))
    return _moved(columns, shifts, samples)


def _points(samples: int, axes: int, seed: int) -> Floats:
    """Return shape (axes, samples): points that fill the unit cube evenly, multiples of the roots of primes mod 1.

    Source: Kronecker's sequence with Richtmyer's choice of generators; from memory.
    """
    roots = np.sqrt(np.array(_primes(axes), dtype=np.float64))
    points: Floats = (0.5 + np.outer(roots, np.arange(1, samples + 1) + seed * samples)) % 1.0
    return np.clip(points, 1e-6, 1.0 - 1e-6)


def _primes(count: int) -> list[int]:
    found: list[int] = []
    candidate = 2
    while len(found) < count:
        if all(candidate % prime for prime in found):
            found.append(candidate)
        candidate += 1
    return found


def normal_quantile(p: Floats) -> Floats:
    """Return what a standard normal variable stays below with this probability [1], any shape, within 4.5e-4.

    Args:
        p: probability [1], more than 0 and less than 1.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.23; the coefficients are from memory, and
    tests/test_robustness.py compares with the standard library.
    """
    t = np.sqrt(-2.0 * np.log(np.minimum(p, 1.0 - p)))
    above = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
    return np.where(p < 0.5, -above, above)


# -- what would have to be how wrong --------------------------------------------------------------------------------


def _turning_points(
    columns: Columns, program: Program, axes: Mapping[str, float], leader: int
) -> tuple[TurningPoint, ...]:
    """Move each field alone outward, all in one set of columns, then look closer where the answer turns."""
    if not axes:
        return ()
    lines = [(field, sign) for field in axes for sign in (1.0, -1.0)]
    steps: Floats = np.linspace(STEP, REACH, round(REACH / STEP))
    first = _leaders(columns, program, axes, [(field, sign * steps) for field, sign in lines])
    turned = first != leader
    brackets = [  # field, sign, where it has not turned yet, where it has, and who leads there
        (*line, float(steps[k] - STEP), float(steps[k]), int(first[i, k]))
        for i, line in enumerate(lines)
        if turned[i].any() and _stays_possible(columns, axes, line, float(steps[k := int(turned[i].argmax())]))
    ]
    for _ in range(_ROUNDS):
        if not brackets:
            return ()
        cuts = [np.linspace(inside, outside, _ZOOM + 1)[1:-1] for _, _, inside, outside, _ in brackets]
        found = _leaders(columns, program, axes, [(b[0], b[1] * cut) for b, cut in zip(brackets, cuts, strict=True)])
        brackets = [_narrower(b, cut, row, leader) for b, cut, row in zip(brackets, cuts, found, strict=True)]
    nearest: dict[str, tuple[str, float, float, float, int]] = {}
    for bracket in brackets:
        before = nearest.get(bracket[0])
        if before is None or bracket[3] < before[3]:
            nearest[bracket[0]] = bracket
    points = []
    for field, sign, _, outside, taker in nearest.values():
        shift = sign * outside * axes[field]
        points.append(
            TurningPoint(field, shift, _value(columns, field) + shift, axes[field], program.hypotheses[taker].id)
        )
    return tuple(sorted(points, key=lambda point: (point.in_u, point.field)))


def _narrower(
    bracket: tuple[str, float, float, float, int], cut: Floats, found: npt.NDArray[np.int16], leader: int
) -> tuple[str, float, float, float, int]:
    field, sign, inside, outside, taker = bracket
    turned = np.flatnonzero(found != leader)
    if turned.size == 0:
        return field, sign, float(cut[-1]), outside, taker
    k = int(turned[0])
    return field, sign, inside if k == 0 else float(cut[k - 1]), float(cut[k]), int(found[k])


def _leaders(
    columns: Columns, program: Program, axes: Mapping[str, float], lines: list[tuple[str, Floats]]
) -> npt.NDArray[np.int16]:
    """Return shape (lines, multiples): who leads where one field is moved by so many standard uncertainties."""
    each = len(lines[0][1])
    n = each * len(lines)
    shifts: dict[str, Floats] = {}
    for i, (field, multiples) in enumerate(lines):
        column = shifts.setdefault(field, np.zeros(n))
        column[i * each : (i + 1) * each] = multiples * axes[field]
    return weigh_columns(_moved(columns, shifts, n), program).leader.reshape(len(lines), each)


def _value(columns: Columns, field: str) -> float:
    return float(columns.barometer[0] if field == AIR else columns.numbers[field][0])


def _stays_possible(columns: Columns, axes: Mapping[str, float], line: tuple[str, float], outside: float) -> bool:
    """Tell whether no pressure would have to be below a perfect vacuum there."""
    shift = line[1] * outside * axes[line[0]]
    moved = [name for name in columns.numbers if _moves(line[0], name) and _is_pressure(name)]
    return all(not columns.numbers[name][0] + shift <= 0.0 for name in moved)
