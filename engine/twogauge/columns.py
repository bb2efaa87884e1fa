"""Readings side by side: one array per number, one array of codes per word. A single reading has n = 1.

This is the only form in which the core sees readings. It holds no judgement and computes nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.fields import BAROMETER_UNCERTAINTY, FIELDS
from twogauge.quantities import STANDARD_ATMOSPHERE
from twogauge.reading import Reading

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]

NO_WORD: Final = -1  # the code of "not told"


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words.

    Attributes:
        codes: shape (n,), index into `values`; -1 where nothing is told.
        values: the words in use.
    """

    codes: Codes
    values: tuple[str, ...]

    def is_one_of(self, wanted: Iterable[str]) -> npt.NDArray[np.bool_]:
        """Return shape (n,): whether the word is told and among `wanted`."""
        known = frozenset(wanted)
        table = np.array([*(value in known for value in self.values), False])
        return table[self.codes]

    def truth(self, wanted: frozenset[str]) -> Floats:
        """Return shape (n,): 1 where the word is among `wanted`, 0 where it is another, NaN where none is told."""
        table = np.array([*(float(value in wanted) for value in self.values), np.nan])
        return table[self.codes]


@dataclass(frozen=True, slots=True)
class Columns:
    """n readings, as SI numbers and words.

    Attributes:
        n: how many readings.
        numbers: field -> shape (n,), SI; pressures absolute [Pa]; NaN where not given.
            A swing has the middle under its field and its ends under `<field>.from` and `<field>.to`; the maker's
            range stands under `spec.<field>.from` and `.to`; a baseline's derived quantity under `baseline.<name>`.
        words: field or check id -> words.
        barometer: shape (n,) [Pa], and its standard uncertainty, shape (n,) [Pa].
    """

    n: int
    numbers: Mapping[str, Floats]
    words: Mapping[str, Words]
    barometer: Floats
    barometer_uncertainty: Floats

    @property
    def present(self) -> frozenset[str]:
        """Names of the columns that hold anything."""
        return frozenset(self.numbers) | frozenset(self.words)

    def rows(self, start: int, stop: int) -> Columns:
        """Return the readings start to stop (not included) as columns of their own."""
        part = slice(start, stop)
        return Columns(
            len(range(*part.indices(self.n))),
            {name: values[part] for name, values in self.numbers.items()},
            {name: Words(w.codes[part], w.values) for name, w in self.words.items()},
            self.barometer[part],
            self.barometer_uncertainty[part],
        )


def applies(columns: Columns, wanted: Mapping[str, Iterable[str]]) -> npt.NDArray[np.bool_]:
    """Return shape (n,): whether a row tells one of the wanted words for each field; not told is no."""
    rows = np.ones(columns.n, dtype=bool)
    for name, allowed in wanted.items():
        words = columns.words.get(name)
        if words is None:
            return np.zeros(columns.n, dtype=bool)
        rows &= words.is_one_of(allowed)
    return rows


def may_apply(words: Mapping[str, str], wanted: Mapping[str, Collection[str]]) -> bool:
    """Tell whether what one reading tells in words leaves room for each wanted word; not told is yes."""
    return all(words.get(name, next(iter(allowed))) in allowed for name, allowed in wanted.items())


def from_readings(readings: Sequence[Reading]) -> Columns:
    """Set readings side by side.

    Raises:
        ValueError: no reading at all.
    """
    if not readings:
        raise ValueError("no readings")
    n = len(readings)
    numbers: dict[str, Floats] = {}
    told: dict[str, dict[int, str]] = {}

    def put(name: str, row: int, value: float) -> None:
        if name not in numbers:
            numbers[name] = np.full(n, np.nan)
        numbers[name][row] = value

    for row, reading in enumerate(readings):
        parts = reading.parts
        for name, value in parts.numbers.items():
            put(name, row, value)
        for name, (low, high) in parts.swings.items():
            put(f"{name}.from", row, low)
            put(f"{name}.to", row, high)
        for name, (low, high) in parts.spec.items():
            put(f"spec.{name}.from", row, low)
            put(f"spec.{name}.to", row, high)
        for name, word in parts.words.items():
            told.setdefault(name, {})[row] = word
    words = {}
    for name, by_row in told.items():
        values = tuple(sorted(set(by_row.values())))
        codes = np.full(n, NO_WORD, dtype=np.int16)
        for row, word in by_row.items():
            codes[row] = values.index(word)
        words[name] = Words(codes, values)
    return Columns(
        n,
        numbers,
        words,
        np.array([r.parts.barometer for r in readings]),
        np.array([BAROMETER_UNCERTAINTY[r.parts.barometer_from] for r in readings]),
    )


def from_arrays(
    numbers: Mapping[str, npt.ArrayLike],
    words: Mapping[str, str | Sequence[str]],
    *,
    barometer: npt.ArrayLike = STANDARD_ATMOSPHERE,
) -> Columns:
    """Set columns of SI numbers and words side by side, without a detour through text.

    Args:
        numbers: field -> shape (n,) or a scalar for all; SI; pressures absolute [Pa]; NaN where missing.
        words: field or check -> one word for all, or n words ("" where not told).
        barometer: [Pa] shape (n,) or a scalar.

    Raises:
        ValueError: a name that is no number field of a reading, arrays of different length, or a value that is
            infinite or far beyond any measurement (1e15 in SI).
    """
    arrays = {name: np.asarray(values, dtype=np.float64) for name, values in numbers.items()}
    air = np.asarray(barometer, dtype=np.float64)
    lengths = {a.shape[0] for a in (*arrays.values(), air) if a.ndim == 1}
    lengths |= {len(w) for w in words.values() if not isinstance(w, str)}
    if len(lengths) > 1:
        raise ValueError(f"columns of different length: {sorted(lengths)}")
    n = lengths.pop() if lengths else 1
    for name, array in arrays.items():
        base = name.removeprefix("spec.").removeprefix("baseline.").partition(".")[0]
        if not name.startswith("baseline.") and (base not in FIELDS or FIELDS[base].dimension is None):
            raise ValueError(f"{name!r} is no number of a reading")
        _check_size(name, array)
    if np.isnan(air).any():
        raise ValueError("barometer holds NaN; leave it out where it is not known")
    _check_size("barometer", air)
    columns: dict[str, Words] = {}
    for name, given in words.items():
        if isinstance(given, str):
            columns[name] = Words(np.zeros(n, dtype=np.int16), (given,))
            continue
        values, codes = np.unique(np.asarray(given, dtype=np.str_), return_inverse=True)
        kept = [v for v in values.tolist() if v]
        table = np.array([kept.index(v) if v else NO_WORD for v in values.tolist()], dtype=np.int16)
        columns[name] = Words(table[codes.reshape(-1)], tuple(kept))
    return Columns(
        n,
        {name: np.ascontiguousarray(np.broadcast_to(a, (n,))) for name, a in arrays.items()},
        columns,
        np.ascontiguousarray(np.broadcast_to(air, (n,))),
        np.full(n, BAROMETER_UNCERTAINTY["barometer"]),
    )


_HUGE: Final = 1e15  # [SI] far beyond any measurement, and its square is still a number


def _check_size(name: str, array: Floats) -> None:
    if (np.abs(array) > _HUGE).any():
        raise ValueError(
            f"{name!r} holds a value beyond {_HUGE:g}, or an infinite one; write NaN where there is none"
        )
