"""Slips of the unit: numbers that make sense only in another unit than the one they were written or taken in.

What no machine can show is refused by the door (intake.py) with the sentence from here; what one could show, but
hardly does, is remarked. Nothing is changed by itself: 35 stays what it was said to be.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge import refrigerants
from twogauge.errors import QuantityError
from twogauge.quantities import Dimension, Quantity, UnitSet, parse, symbol_for, to_unit

Floats = npt.NDArray[np.float64]

OF_AIR: Final = ("ambient", "return_air", "return_wet_bulb", "vent_air")

_T, _P = Dimension.TEMPERATURE, Dimension.PRESSURE
# Air that people work in [K], and what a running machine of any kind shows (common practice): suction and condensing
# saturation [K], and condensing over ambient [K]. Wide: a slip of the unit is far outside.
_PLAIN_AIR: Final = (223.15, 343.15)
_AIR: Final = (243.15, 328.15)
_SUCTION: Final = (238.15, 293.15)
_CONDENSING: Final = (283.15, 353.15)
_OVER_AMBIENT: Final = (-2.0, 55.0)
_BELOW_AMBIENT: Final = 5.0  # [K] a high side that condenses so far below the air does not give off heat
_HOTTEST_SUCTION: Final = 343.15  # [K] no low side of any circuit, running or resting, saturates above it
_MILD: Final = 288.15  # [K] air that is taken where none was read


def of_air(_name: str, value: float, written: Quantity) -> str:
    """Return what is wrong with a temperature of air [K], or "" where nothing is."""
    if _PLAIN_AIR[0] <= value <= _PLAIN_AIR[1]:
        return ""
    number = to_unit(value, _T, written.symbol)
    other = {"degC": "degF", "degF": "degC", "K": "degF"}[written.symbol]
    again = _read_as(number, other, _T)
    hint = f"did you mean {number:.6g} {other}?" if _AIR[0] <= again <= _AIR[1] else "check the number and its unit"
    return f"({value - 273.15:.0f} degC) is no air people work in; {hint}"


def plain_air(kelvin: Floats) -> npt.NDArray[np.bool_]:
    """Return shape (n,): whether `of_air` has nothing against a temperature [K]."""
    return (kelvin >= _PLAIN_AIR[0]) & (kelvin <= _PLAIN_AIR[1])


class Machine:
    """The circuit by its refrigerant, in the air around it: what its gauges can show."""

    def __init__(self, refrigerant: str, barometer: float) -> None:
        self._what = refrigerants.get(refrigerant)
        self._barometer = barometer

    def _condenses_at(self, pressure: float) -> float:
        """Return the dew temperature [K]; infinite above the critical point."""
        at = float(self._what.saturation_temperature([pressure], "dew")[0])
        return at if not math.isnan(at) or pressure < self._what.critical_pressure else math.inf

    def plain_up_to(self, name: str) -> float:
        """Return an absolute pressure [Pa] up to which `of_pressure` has nothing to say at this port."""
        if name != "low_side":
            return self._highest
        hottest = float(self._what.saturation_pressure([_HOTTEST_SUCTION], "dew")[0])
        below_critical = math.nextafter(self._what.critical_pressure, 0.0)
        # A hair less, since the way back from a temperature to its pressure is not exact.
        return min(self._highest, below_critical, math.inf if math.isnan(hottest) else hottest * (1.0 - 1e-6))

    @property
    def _highest(self) -> float:
        return (3.0 if self._is_transcritical else 1.5) * self._what.critical_pressure

    def of_pressure(self, name: str, value: float, written: Quantity) -> str:
        """Return what is wrong with an absolute pressure [Pa] at a port, or "" where nothing is."""
        # Beyond these a running or resting circuit is not imaginable, whatever its fault (common practice).
        impossible = _HOTTEST_SUCTION if name == "low_side" else math.inf
        if value <= self._highest and not self._condenses_at(value) > impossible:
            return ""
        number = to_unit(written.value, _P, written.symbol)
        low, high = (238.15, 313.15) if name == "low_side" else (273.15, 368.15)
        for symbol in ("psi", "kPa", "bar"):
            if symbol == written.symbol:
                continue
            again = _read_as(number, symbol, _P) + self._barometer
            if low <= self._condenses_at(again) <= high:
                hint = f"did you mean {number:.6g} {symbol}?"
                break
        else:
            hint = "check the number, its unit and the refrigerant"
        return f"is more than {self._what.title} can show on this side; {hint}"

    @property
    def _is_transcritical(self) -> bool:
        return self._what.critical_temperature < 330.0

    def of_bare_numbers(self, numbers: Mapping[str, float], written: Mapping[str, Quantity]) -> str:
        """Return a remark where both pressures came without a unit, and only another unit makes a machine of them.

        Args:
            numbers: field -> value [SI], pressures absolute.
            written: field -> how it was written.
        """
        sides = [written.get(name) for name in ("low_side", "high_side")]
        if any(side is None or not side.bare for side in sides):
            return ""
        if self._condenses_at(numbers["high_side"]) > numbers.get("ambient", _MILD) - _BELOW_AMBIENT:
            return ""
        taken = written["high_side"].symbol
        low, high = (to_unit(numbers[name] - self._barometer, _P, taken) for name in ("low_side", "high_side"))
        for units in UnitSet:
            symbol = symbol_for(_P, units)
            first, second = (_read_as(number, symbol, _P) + self._barometer for number in (low, high))
            if self._runs(first, second, _airs(numbers, written, units)):
                return (
                    f"low_side and high_side were written without a unit and taken as {taken}: the high side would "
                    f"condense below the temperature of the air, as in a machine that is almost empty; if they are "
                    f"{symbol}, write {high:.6g}{symbol} or --units {units} (in a file, units: {units})"
                )
        return ""

    def _runs(self, low: float, high: float, airs: Collection[float]) -> bool:
        """Tell whether a running machine may show these absolute pressures [Pa] in one of these airs [K]."""
        if not _SUCTION[0] <= self._condenses_at(low) <= _SUCTION[1]:
            return False
        condensing = self._condenses_at(high)
        if math.isinf(condensing):
            return self._is_transcritical and high <= 1.8 * self._what.critical_pressure
        if not airs:
            return _CONDENSING[0] <= condensing <= _CONDENSING[1]
        return any(_OVER_AMBIENT[0] <= condensing - air <= _OVER_AMBIENT[1] for air in airs)


def _airs(numbers: Mapping[str, float], written: Mapping[str, Quantity], units: UnitSet) -> list[float]:
    """Return the ambient temperature [K] as it was taken and, if it too had no unit, as it would be in these units."""
    value, how = numbers.get("ambient"), written.get("ambient")
    if value is None or how is None:
        return []
    again = _read_as(to_unit(value, _T, how.symbol), symbol_for(_T, units), _T)
    return [value, again] if how.bare else [value]


def _read_as(number: float, symbol: str, dimension: Dimension) -> float:
    """Return the number in another unit [SI]; NaN where it cannot be one of that unit either."""
    try:
        return parse(f"{number:.6g} {symbol}", dimension).value
    except QuantityError:
        return math.nan
