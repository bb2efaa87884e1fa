"""Readings of a log that make sense in another unit only: a slip of the pen, or a gauge switched over half-way.

A reading is held against its neighbours. Where it lies far off and the same number in another unit lies where they do,
it is refused with its place and the unit that fits: nothing is put right in silence. Knows nothing of causes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, cast

from twogauge.errors import FileProblems
from twogauge.packs.problems import Problem
from twogauge.quantities import Dimension, Quantity, to_unit
from twogauge.service.holdlog import Row

_UNITS: Final = ("micron", "Pa", "mbar", "Torr", "kPa", "inHg", "psi", "bar")
_FAR: Final = 3.0  # a reading is far off where it is so many times its neighbours, or so small a part of them,
_FAR_IF_STEADY: Final = 1.6  # and where these are steady, so many times
_NEAR: Final = 2.0  # neighbours are near each other within that ratio
_STEADY: Final = 1.1  # and steady within this one
_FITS: Final = 1.08  # in the other unit it lies between them, or off by that ratio at most
_LEAP: Final = 50.0  # so many times higher at once can hardly be the circuit; less may be ice that melts


def refuse_other_units(rows: Sequence[Row]) -> None:
    """Refuse a log in which a number makes sense in another unit only.

    Args:
        rows: those that count, each with a pressure, in the order of time.

    Raises:
        FileProblems: each such row with its place, the unit that fits, and what to do.
    """
    found = [problem for i in range(len(rows)) if (problem := _odd(rows, i)) is not None]
    if found:
        raise FileProblems(found)


def _odd(rows: Sequence[Row], i: int) -> Problem | None:
    before, after = _sizes(rows, i, (i - 2, i - 1)), _sizes(rows, i, (i + 1, i + 2))
    if before and after:
        if (unit := _fitting(rows[i], (before[-1], after[0]))) is not None:
            return _told(rows[i], unit, before[-1], "that row alone")
        onward = len(before) == len(after) == 2 and _ratio(_size(rows[i]), after[0]) <= _STEADY
        if onward and (_falls(rows, i) or _leaps(rows[i], before)):
            unit = _fitting(rows[i], before, _STEADY)
            return None if unit is None else _told(rows[i], unit, before[-1], "all rows from there on")
        return None
    others = before or _sizes(rows, i, (1, 2, 3))
    if len(others) < 2 or not _leaps(rows[i], others):
        return None
    unit = _fitting(rows[i], others, _STEADY)
    return None if unit is None else _told(rows[i], unit, others[-1], "that row alone")


def _sizes(rows: Sequence[Row], i: int, others: Sequence[int]) -> list[float]:
    """Return what stands in other rows [Pa], as far as it counts from where row i counts from."""
    return [
        _size(rows[j])
        for j in others
        if 0 <= j < len(rows)
        and _pressure(rows[j]).reference == _pressure(rows[i]).reference
        and _size(rows[j]) > 0.0
    ]


def _pressure(row: Row) -> Quantity:
    return cast("Quantity", row.pressure)  # a log holds only rows with one


def _size(row: Row) -> float:
    return abs(_pressure(row).value)


def _ratio(a: float, b: float) -> float:
    return max(a, b) / max(min(a, b), 1e-9)


def _falls(rows: Sequence[Row], i: int) -> bool:
    return _pressure(rows[i]).value < _pressure(rows[i - 1]).value


def _leaps(row: Row, others: Sequence[float]) -> bool:
    return all(_ratio(_size(row), other) >= _LEAP for other in others)


def _fitting(row: Row, others: Sequence[float], most: float = _NEAR) -> str | None:
    """Return the unit in which a number would lie where the others do, if it lies far from them as it stands."""
    low, high = min(others), max(others)
    size = _size(row)
    if not size or _ratio(low, high) > most:
        return None
    far = _FAR_IF_STEADY if _ratio(low, high) <= _STEADY else _FAR
    if low / far < size < high * far:
        return None
    number = to_unit(size, Dimension.PRESSURE_DIFFERENCE, _pressure(row).symbol)
    fits = {
        unit: _ratio(number * one, (low * high) ** 0.5)
        for unit in _UNITS
        if low / _FITS <= number * (one := _one(unit)) <= high * _FITS
    }
    return min(fits, key=lambda unit: fits[unit]) if fits else None


def _one(unit: str) -> float:
    return 1.0 / to_unit(1.0, Dimension.PRESSURE_DIFFERENCE, unit)


def _told(row: Row, unit: str, other: float, which: str) -> Problem:
    pressure = _pressure(row)
    number = to_unit(_size(row), Dimension.PRESSURE_DIFFERENCE, pressure.symbol)
    around = to_unit(other, Dimension.PRESSURE_DIFFERENCE, pressure.symbol)
    below = " vac" if pressure.reference == "gauge" and pressure.value < 0.0 else ""
    message = (
        f"{number:g} {pressure.symbol}{below} does not go with the rows around it ({around:.4g} {pressure.symbol}{below}), "
        f"but {number:g} {unit} would; if that was meant write '{number:g} {unit}{below}' ({which}), else put the number "
        "right or leave the row out"
    )
    return Problem(row.place, "other-unit", message)
