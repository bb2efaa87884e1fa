"""The bands of a stack, compiled: both ends of normal in SI, how they move, and for which systems."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

from twogauge.bands import Band, BandShift
from twogauge.errors import QuantityError
from twogauge.fields import FIELDS
from twogauge.levels import LEVELS
from twogauge.packs.complaints import Complaints
from twogauge.packs.in_force import Loaded, Stack
from twogauge.packs.thresholds import as_difference, si_of
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.work import QuantityInfo


class BandCompiler:
    """Compiles bands; what is wrong with them is told to `told`, and not raised.

    Args:
        stack: the entries in force.
        told: takes what is wrong.
        applies: returns what an entry applies to, by its catalogued names.
    """

    def __init__(
        self, stack: Stack, told: Complaints, applies: Callable[[Loaded[Any]], Mapping[str, frozenset[str]]]
    ) -> None:
        self._stack = stack
        self._problem, self._unknown = told.problem, told.unknown
        self._applies = applies

    def bands(self) -> tuple[Band, ...]:
        """Return the bands, later packs and then narrower ones last."""
        order = {h.pack: i for i, h in enumerate(self._stack.packs)}
        found = []
        for name, loaded in self._stack.bands.items():
            entry = loaded.entry
            if entry.level not in LEVELS:
                self._unknown(loaded.place("level"), "level", entry.level, LEVELS)
                continue
            quantity = LEVELS[entry.level][0]
            info = QUANTITIES[quantity]
            difference = as_difference(info.dimension)
            edge = self._number(loaded, ("edge",), entry.edge, difference)
            baseline = self._number(loaded, ("baseline",), entry.baseline, difference)
            low, high = math.nan, math.nan
            ends = difference if entry.around else info.dimension
            if entry.around:
                self._around(loaded, entry.around, info)
            if entry.normal is not None:
                low, high = self._pair(loaded, ("normal",), entry.normal, ends)
            rows = []
            for i, row in enumerate(entry.normal_at):
                ambient = self._number(loaded, ("normal_at", i, "ambient"), row.ambient, Dimension.TEMPERATURE)
                rows.append((ambient, *self._pair(loaded, ("normal_at", i, "normal"), row.normal, ends)))
            if any(not a[0] < b[0] for a, b in pairwise(rows)):
                self._problem(loaded.place("normal_at"), "band-rows", "the rows must rise in ambient temperature")
            shifts = tuple(self._shift(loaded, i, difference) for i in range(len(entry.shifts)))
            if edge < 0 or baseline <= 0:
                self._problem(loaded.place("edge"), "band-width", "edge cannot be negative, and baseline is a width")
            band = Band(
                entry.level,
                quantity,
                low,
                high,
                edge,
                baseline,
                self._applies(loaded),
                name,
                entry.source.numbers or entry.source.facts or "",
                tuple(rows),
                shifts,
                swing=self._swing(loaded, info.dimension),
                around=entry.around or "",
            )
            # Of two that apply alike, the one that looks at the day's conditions is the narrower yardstick.
            found.append(((order.get(loaded.pack, 0), len(entry.applies_to), bool(entry.around), name), band))
        return tuple(band for _, band in sorted(found, key=lambda pair: pair[0]))

    def _around(self, loaded: Loaded[Any], name: str, info: QuantityInfo) -> None:
        """Refuse to count a band from what cannot be subtracted from its quantity."""
        other = QUANTITIES.get(name)
        if other is None:
            self._unknown(loaded.place("around"), "quantity", name, QUANTITIES)
        elif other.is_level or other.words or other.dimension is not info.dimension or name == info.name:
            message = f"{info.name} cannot be counted from {name}; name another {info.dimension.value}"
            self._problem(loaded.place("around"), "band-around", message)

    def _number(self, loaded: Loaded[Any], path: tuple[str | int, ...], text: str, dimension: Dimension) -> float:
        try:
            return si_of(text, dimension)
        except QuantityError as error:
            label = next(str(step) for step in reversed(path) if isinstance(step, str))
            self._problem(loaded.place(*path), error.code, f"{label}: {error}")
            return math.nan

    def _pair(
        self, loaded: Loaded[Any], path: tuple[str | int, ...], pair: tuple[str, str], dimension: Dimension
    ) -> tuple[float, float]:
        low, high = (self._number(loaded, path, text, dimension) for text in pair)
        if low >= high:
            self._problem(loaded.place(*path), "empty-interval", "the lower end comes first")
        return low, high

    def _swing(
        self, loaded: Loaded[Any], dimension: Dimension
    ) -> tuple[tuple[float, float], tuple[float, float]] | None:
        if loaded.entry.swing is None:
            return None
        lower, upper = (
            self._pair(loaded, ("swing", i), pair, dimension) for i, pair in enumerate(loaded.entry.swing)
        )
        return lower, upper

    def _shift(self, loaded: Loaded[Any], i: int, difference: Dimension) -> BandShift:
        shift = loaded.entry.shifts[i]
        field = FIELDS.get(shift.field)
        if field is None or field.dimension is None:
            numbers = [f.name for f in FIELDS.values() if f.dimension is not None]
            self._unknown(loaded.place("shifts", i, "field"), "field", shift.field, numbers)
            return BandShift(shift.field, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0)

        def number(key: str, text: str, dimension: Dimension) -> float:
            return self._number(loaded, ("shifts", i, key), text, dimension)

        start = "above" if shift.above is not None else "below"
        each = number("each", shift.each, as_difference(field.dimension))
        if each <= 0:
            self._problem(loaded.place("shifts", i, "each"), "shift", "a step is greater than zero")
        return BandShift(
            shift.field,
            number(start, shift.above or shift.below, field.dimension),
            1.0 if start == "above" else -1.0,
            each,
            number("low", shift.low, difference),
            number("high", shift.high, difference),
            float(shift.steps),
        )
