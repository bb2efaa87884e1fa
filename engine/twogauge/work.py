"""The workbench on which quantities are derived from columns: values with their uncertainty, each computed once.

Uncertainties are standard uncertainties, first order, the inputs taken as independent (GUM, JCGM 100:2008, 5.1.2;
from memory). The permitted error of an instrument counts as the half-width of a rectangular distribution.

Knows no quantity by its name: those it is asked for stand in the table it is given (quantity_table.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.bands import Band
from twogauge.columns import Columns, Floats, Words, applies
from twogauge.fields import DEFAULT_ACCURACY, DEFAULT_CLASS, DIALS, FIELDS
from twogauge.quantities import Dimension

_SQRT3: Final = math.sqrt(3.0)


Rows = npt.NDArray[np.bool_] | None
"""Which rows are meant, shape (n,); None for all."""


@dataclass(frozen=True, slots=True)
class Derived:
    """A column of values with their standard uncertainties, both SI, shape (n,); NaN where missing."""

    value: Floats
    u: Floats


@dataclass(frozen=True, slots=True)
class Absent:
    """A quantity that no row has, with the reason and the fields that would help."""

    reason: str
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """A level with the yardstick it was measured by, and the expected band in the field's own quantity.

    Attributes:
        level: [1] shape (n,) and its uncertainty.
        by: shape (n,), index into JUDGED_BY (levels.py), -1 where there is none.
        low, high: shape (n,) [SI] the band, of the level's quantity, or of its field where `by` is the maker's range;
            NaN where only a word was told.
    """

    level: Derived
    by: npt.NDArray[np.int16]
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class QuantityInfo:
    """A derived quantity: its name, dimension and one line about it; levels have no unit.

    Attributes:
        words: for quantities made of words, the words it can be.
        is_target: what the label or a table asks for; a band around it is narrower than the usual one.
        is_level: a position against what is normal: -1 and +1 are the ends of the band, 0 its middle.
        watched: shown in the output when it is known.
    """

    name: str
    dimension: Dimension
    about: str
    compute: Callable[[Work], Derived | Absent | Words]
    words: tuple[str, ...] = ()
    is_level: bool = False
    is_target: bool = False
    watched: bool = False


class Work:
    """The derivation of one set of columns: computes each quantity at most once, and only if asked."""

    def __init__(self, columns: Columns, quantities: Mapping[str, QuantityInfo], bands: Sequence[Band] = ()) -> None:
        self.columns = columns
        self.quantities = quantities
        self.bands = bands
        self.n = columns.n
        self._done: dict[str, Derived | Absent | Words] = {}
        self.judged: dict[str, Judged | Absent] = {}
        self._rows: dict[int, tuple[Mapping[str, frozenset[str]], Rows]] = {}
        self._found: dict[Hashable, Derived | Absent] = {}

    def get(self, name: str) -> Derived | Absent | Words:
        """Return the quantity [SI], computing it if it is new."""
        if name not in self._done:
            self._done[name] = self.quantities[name].compute(self)
        return self._done[name]

    def number(self, name: str) -> Derived | Absent:
        """Return a quantity that is made of numbers [SI]."""
        found = self.get(name)
        if isinstance(found, Words):
            raise TypeError(f"{name} is made of words")
        return found

    def once(self, what: Hashable, compute: Callable[[], Derived | Absent]) -> Derived | Absent:
        """Return something that several quantities are made of [SI], computing it if it is new."""
        found = self._found.get(what)
        if found is None:
            found = self._found[what] = compute()
        return found

    def measured(self, name: str) -> Derived | Absent:
        """Return a field of the reading [SI] with the uncertainty of its instrument."""
        return self.once(name, lambda: self._measure(name))

    def _measure(self, name: str) -> Derived | Absent:
        value = self.columns.numbers.get(name)
        if value is None:
            if name in self.columns.words:
                return Absent(f"{name} was told in words", (name,))
            return Absent(f"{name} was not given", (name,))
        return Derived(value, self._instrument(name))

    def _instrument(self, name: str) -> Floats:
        which = {
            Dimension.PRESSURE: "high_gauge_accuracy" if name == "high_side" else "low_gauge_accuracy",
            Dimension.TEMPERATURE: "thermometer_accuracy",
            Dimension.TEMPERATURE_DIFFERENCE: "thermometer_accuracy",
        }.get(FIELDS[name].dimension or Dimension.NUMBER)
        if which is None:
            return np.zeros(self.n)
        limit = np.full(self.n, DEFAULT_ACCURACY[which])
        if which != "thermometer_accuracy":
            limit = usual_gauge_error(which, self.columns.numbers[name] - self.columns.barometer)
        for key in (which.removesuffix("_accuracy"), which):  # what was told outright comes before a description
            given = self.columns.numbers.get(key)
            if given is not None:
                limit = np.where(np.isnan(given), limit, given)
        u = limit / _SQRT3
        return np.hypot(u, self.columns.barometer_uncertainty) if which != "thermometer_accuracy" else u

    def applies(self, wanted: Mapping[str, frozenset[str]]) -> Rows:
        """Return the rows for which something speaks that applies to what is wanted; None for all rows."""
        if not wanted:
            return None
        known = self._rows.get(id(wanted))
        if known is None:  # the mapping is kept beside its rows, so that no other can take its place in memory
            known = self._rows[id(wanted)] = wanted, self._rows_of(wanted)
        return known[1]

    def _rows_of(self, wanted: Mapping[str, frozenset[str]]) -> Rows:
        for name, allowed in wanted.items():
            words = self.columns.words.get(name)
            if words is None or allowed.isdisjoint(words.values):
                return np.zeros(self.n, dtype=bool)
        rows = applies(self.columns, wanted)
        return None if rows.all() else rows

    def told(self, name: str) -> Words | None:
        """Return the words told for a field, if any row has one."""
        return self.columns.words.get(name)

    def refrigerant_rows(self) -> list[tuple[str, npt.NDArray[np.bool_] | None]]:
        """Return each refrigerant in use with its rows; None for all rows."""
        words = self.told("refrigerant")
        if words is None:
            return []
        if len(words.values) == 1 and bool((words.codes >= 0).all()):
            return [(words.values[0], None)]
        return [(name, words.codes == code) for code, name in enumerate(words.values)]


def usual_gauge_error(accuracy: str, on_dial: Floats) -> Floats:
    """Return the permitted error [Pa] of a gauge that nothing was said about: of the usual dial, or the next longer.

    Args:
        accuracy: low_gauge_accuracy or high_gauge_accuracy.
        on_dial: what it shows [Pa], against the air, shape (n,).

    Source: classes and scales of EN 837-1; which dial is usual is common practice.
    """
    usual = DEFAULT_ACCURACY[accuracy]
    if not (on_dial > usual / DEFAULT_CLASS).any():
        return np.full(on_dial.shape, usual)
    longer = np.array(DIALS)[np.searchsorted(DIALS, on_dial).clip(max=len(DIALS) - 1)]
    return np.where(on_dial > usual / DEFAULT_CLASS, DEFAULT_CLASS * longer, usual)
