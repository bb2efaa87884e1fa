"""Pressure-temperature tables: which points stand in one, and what each refrigerant does there.

Pure computation in SI: pressures are absolute, and nothing here knows how a table is printed (`output/tables.py`).
A point off the curve is NaN with its reason; nothing is extrapolated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from twogauge.errors import InputError
from twogauge.quantities import (
    PA_PER_INHG,
    ZERO_CELSIUS,
    ZERO_FAHRENHEIT,
    Dimension,
    UnitSet,
    symbol_for,
    to_unit,
)
from twogauge.refrigerants import Phase, Place, Refrigerant

Floats = NDArray[np.float64]

MOST_ROWS: Final = 2000
SAME_TEMPERATURE: Final = 0.15  # [K] bubble and dew closer than this share a column: no thermometer tells them apart


class By(StrEnum):
    """What the rows of a table are."""

    TEMPERATURE = "temperature"
    PRESSURE = "pressure"


class Missing(StrEnum):
    """Why a point has no value."""

    BELOW = "below the curve"
    NEAR_CRITICAL = "too close to the critical point"
    SUPERCRITICAL = "above the critical point"
    UNSOLVED = "no solution found"


@dataclass(frozen=True, eq=False)
class Column:
    """One refrigerant in one phase.

    Attributes:
        refrigerant: what it is.
        phase: "bubble" or "dew"; "" where the two are the same.
        values: [Pa] absolute or [K], shape (n,); NaN where missing.
        missing: the reason at each row, or None, length n.
    """

    refrigerant: Refrigerant
    phase: str
    values: Floats
    missing: tuple[Missing | None, ...]


@dataclass(frozen=True, eq=False)
class Table:
    """A pressure-temperature table.

    Attributes:
        by: what the rows are.
        index: [K] or [Pa] absolute, shape (n,), ascending.
        columns: one or two per refrigerant, in the order asked for.
        barometer: [Pa] absolute pressure of the air around the gauge.
        air: how that is known, such as "sea level assumed".
        origin: where the values come from.
    """

    by: By
    index: Floats
    columns: tuple[Column, ...]
    barometer: float
    air: str
    origin: str


Solver = Callable[[Refrigerant, Phase, By, Floats], Floats]
"""(refrigerant, phase, by, index inside the curve) -> values; NaN where there is no solution."""


def from_curve(refrigerant: Refrigerant, phase: Phase, by: By, index: Floats) -> Floats:
    """Return saturation pressures [Pa] or temperatures [K] from the shipped curve, shape of `index`."""
    if by is By.TEMPERATURE:
        return refrigerant.saturation_pressure(index, phase)
    return refrigerant.saturation_temperature(index, phase)


def make_table(
    refrigerants: Sequence[Refrigerant],
    by: By,
    index: Floats,
    *,
    barometer: float,
    air: str,
    solver: Solver = from_curve,
    origin: str = "shipped saturation curves",
) -> Table:
    """Evaluate each refrigerant at each row.

    Args:
        refrigerants: in the order of the columns.
        by: what `index` is.
        index: [K] or [Pa] absolute, shape (n,), ascending.
        barometer: [Pa], carried along for whoever prints the table.
        air: how the barometer is known.
        solver: where the values come from.
        origin: the name of that.
    """
    columns = [column for refrigerant in refrigerants for column in _columns(refrigerant, by, index, solver)]
    return Table(by, index, tuple(columns), barometer, air, origin)


def why_missing(refrigerant: Refrigerant, phase: Phase, by: By, point: float) -> Missing | None:
    """Tell why the curve has no value at a point, or None if it has one.

    Args:
        refrigerant: whose curve.
        phase: "bubble" or "dew".
        by: what the point is.
        point: [K] or [Pa] absolute.
    """
    if by is By.PRESSURE:
        place = Place(int(refrigerant.where(point, phase)))
        return {
            Place.BELOW: Missing.BELOW,
            Place.ABOVE: Missing.NEAR_CRITICAL,
            Place.SUPERCRITICAL: Missing.SUPERCRITICAL,
        }.get(place)
    if point < refrigerant.temperature_min(phase):
        return Missing.BELOW
    if point >= refrigerant.critical_temperature:
        return Missing.SUPERCRITICAL
    return Missing.NEAR_CRITICAL if point > refrigerant.temperature_max(phase) else None


def has_glide(refrigerant: Refrigerant) -> bool:
    """Tell whether bubble and dew differ enough to matter, anywhere from -40 to 60 degC."""
    if refrigerant.kind == "pure":
        return False
    temperatures = np.linspace(ZERO_CELSIUS - 40.0, ZERO_CELSIUS + 60.0, 21)
    at_dew = refrigerant.saturation_pressure(temperatures, "dew")
    glide = np.abs(temperatures - refrigerant.saturation_temperature(at_dew, "bubble"))
    return bool((glide[~np.isnan(glide)] > SAME_TEMPERATURE).any())


def _columns(refrigerant: Refrigerant, by: By, index: Floats, solver: Solver) -> list[Column]:
    phases: tuple[Phase, ...] = ("bubble", "dew") if has_glide(refrigerant) else ("dew",)
    columns = [_column(refrigerant, phase, by, index, solver) for phase in phases]
    return columns if len(columns) > 1 else [replace(columns[0], phase="")]


def _column(refrigerant: Refrigerant, phase: Phase, by: By, index: Floats, solver: Solver) -> Column:
    reasons = [why_missing(refrigerant, phase, by, float(point)) for point in index]
    inside = np.array([reason is None for reason in reasons], dtype=bool)
    values = np.full(len(index), np.nan)
    if inside.any():
        values[inside] = solver(refrigerant, phase, by, index[inside])
    missing = tuple(
        Missing.UNSOLVED if reason is None and math.isnan(value) else reason
        for reason, value in zip(reasons, values, strict=True)
    )
    return Column(refrigerant, phase, values, missing)


# -- which rows --------------------------------------------------------------------------------------------------

# Steps as (up to this number, step), in the numbers on the dial: fine where the low side lives. Below zero a dial in
# US units counts inches of mercury.
_STEPS: Final[dict[tuple[By, UnitSet], tuple[tuple[float, float], ...]]] = {
    (By.TEMPERATURE, UnitSet.US): ((math.inf, 5.0),),
    (By.TEMPERATURE, UnitSet.SI): ((math.inf, 2.0),),
    (By.TEMPERATURE, UnitSet.METRIC): ((math.inf, 2.0),),
    (By.PRESSURE, UnitSet.US): ((100.0, 5.0), (300.0, 10.0), (1000.0, 20.0), (math.inf, 50.0)),
    (By.PRESSURE, UnitSet.SI): ((0.0, 10.0), (700.0, 20.0), (2000.0, 50.0), (5000.0, 100.0), (math.inf, 200.0)),
    (By.PRESSURE, UnitSet.METRIC): ((0.0, 0.1), (7.0, 0.2), (20.0, 0.5), (50.0, 1.0), (math.inf, 2.0)),
}
# From a hard frost to a condenser in a desert; the same ends serve pressures, through the refrigerants' own curves.
_ENDS: Final = {UnitSet.US: (-40.0, 150.0), UnitSet.SI: (-40.0, 66.0), UnitSet.METRIC: (-40.0, 66.0)}


def temperature_rows(
    units: UnitSet, *, low: float | None = None, high: float | None = None, step: float | None = None
) -> Floats:
    """Return the temperatures of a table [K], ascending.

    Args:
        units: their round numbers; they also decide the ends where none are given.
        low: [K], or None.
        high: [K], or None.
        step: [K], or None for what suits the units.

    Raises:
        InputError: the ends are in the wrong order, the step is not above zero, or there are too many rows.
    """
    symbol = symbol_for(Dimension.TEMPERATURE, units)
    first, last = (
        to_unit(end, Dimension.TEMPERATURE, symbol) if end is not None else default
        for end, default in zip((low, high), _ENDS[units], strict=True)
    )
    each = None if step is None else to_unit(step, Dimension.TEMPERATURE_DIFFERENCE, symbol)
    numbers = np.array(_numbers(first, last, each, _STEPS[By.TEMPERATURE, units]))
    if units is UnitSet.US:
        return (numbers + ZERO_FAHRENHEIT) / 1.8
    return numbers + ZERO_CELSIUS


def pressure_rows(
    units: UnitSet,
    refrigerants: Sequence[Refrigerant],
    barometer: float,
    *,
    low: float | None = None,
    high: float | None = None,
    step: float | None = None,
) -> Floats:
    """Return the pressures of a table [Pa] absolute, ascending.

    Without ends they reach from the lowest to the highest pressure that the refrigerants have between -40 and
    66 degC.

    Args:
        units: whose round gauge numbers are wanted.
        refrigerants: of the table.
        barometer: [Pa] absolute.
        low: [Pa] absolute, or None.
        high: [Pa] absolute, or None.
        step: [Pa], or None for what suits the units, finer at low pressure.

    Raises:
        InputError: the ends are in the wrong order, the step is not above zero, or there are too many rows.
    """
    steps = _STEPS[By.PRESSURE, units]
    mercury = units is UnitSet.US  # whose dials count a vacuum in inches of mercury
    coldest, hottest = ZERO_CELSIUS - 40.0, ZERO_CELSIUS + 66.0
    first, last = (
        _dial(end - barometer, units, mercury=mercury)
        for end in (
            low if low is not None else min(_pressure_near(r, coldest) for r in refrigerants),
            high if high is not None else max(_pressure_near(r, hottest) for r in refrigerants),
        )
    )
    if low is None:
        first = _round_down(first, steps)
        if _from_dial(first, units, mercury=mercury) + barometer <= 0.0:  # no dial goes below a perfect vacuum
            first = _following(first, steps)
    if high is None:
        last = -_round_down(-last, ((math.inf, _step_at(last, steps)),))
    if step is None:
        numbers = _numbers(first, last, None, steps)
    else:
        each = to_unit(step, Dimension.PRESSURE_DIFFERENCE, symbol_for(Dimension.PRESSURE, units))
        if mercury and first < 0.0 < each:  # the step is for the pressures; the vacuum keeps its round inches
            numbers = _numbers(first, last, None, ((0.0, 5.0), (math.inf, each)))
        else:
            numbers = _numbers(first, last, each, steps)
    return np.array([_from_dial(number, units, mercury=mercury) for number in numbers]) + barometer


def _pressure_near(refrigerant: Refrigerant, temperature: float) -> float:
    """Return the dew pressure [Pa] at a temperature [K], or at the end of the curve nearest to it."""
    inside = min(max(temperature, refrigerant.temperature_min()), refrigerant.temperature_max())
    return float(refrigerant.saturation_pressure(inside))


def _dial(gauge: float, units: UnitSet, *, mercury: bool) -> float:
    if mercury and gauge < 0:
        return gauge / PA_PER_INHG
    return to_unit(gauge, Dimension.PRESSURE, symbol_for(Dimension.PRESSURE, units))


def _from_dial(number: float, units: UnitSet, *, mercury: bool) -> float:
    if mercury and number < 0:
        return number * PA_PER_INHG
    return number / to_unit(1.0, Dimension.PRESSURE, symbol_for(Dimension.PRESSURE, units))


def _numbers(first: float, last: float, step: float | None, steps: Sequence[tuple[float, float]]) -> list[float]:
    """Return the numbers from first to last: `step` apart, or the round ones between them and both ends."""
    if not first < last:
        raise InputError(f"a table runs upward, but {first:.6g} is not below {last:.6g}; exchange the ends")
    if step is not None and not step > 0:
        raise InputError(f"the step must be above zero, not {step:.6g}")
    numbers = [round(first, 6)]
    while numbers[-1] < last - 1e-6:
        if len(numbers) >= MOST_ROWS:
            raise InputError(f"that would be more than {MOST_ROWS} rows; take a larger step or a shorter range")
        if step is None:
            numbers.append(min(_following(numbers[-1], steps), round(last, 6)))
        else:
            following = round(first + len(numbers) * step, 6)
            if following > last + 1e-6:
                break
            if following <= numbers[-1]:
                raise InputError(f"a step of {step:.6g} is too small to tell the rows apart")
            numbers.append(following)
    return numbers


def _step_at(number: float, steps: Sequence[tuple[float, float]]) -> float:
    return next(step for below, step in steps if number < below - 1e-6)


def _following(number: float, steps: Sequence[tuple[float, float]]) -> float:
    step = _step_at(number, steps)
    return round((math.floor(number / step + 1e-6) + 1) * step, 6)


def _round_down(number: float, steps: Sequence[tuple[float, float]]) -> float:
    step = _step_at(number, steps)
    return round(math.floor(number / step + 1e-6) * step, 6)
