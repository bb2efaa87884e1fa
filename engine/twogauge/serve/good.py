"""The known-good reading of the same machine in a form: which of its fields count, and what is shown of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, TypeVar

from twogauge.columns import from_readings
from twogauge.fields import FIELDS, Field
from twogauge.levels import LEVELS
from twogauge.packs.program import Program
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.serve.answer import Answer
from twogauge.serve.state import GOOD, NAMED, State
from twogauge.serve.typed import Typed
from twogauge.serve.view import CheckView, FieldView, SpecView, check_views, field_view, spec_view
from twogauge.work import Work

Column = TypeVar("Column")


@dataclass(frozen=True, slots=True)
class GoodView:
    """What a form shows of the known-good reading.

    Attributes:
        named: the name of the file that an opened reading has for it, if that is all there is.
        first: the numbers that most readings hold.
        more: the other fields that count, and whatever else was told.
        spec, checks: that were told; they came with a file.
        is_open: whether something is told.
        more_is_open: whether something is wrong in what is not shown at once.
    """

    named: tuple[FieldView, ...]
    first: tuple[FieldView, ...]
    more: tuple[FieldView, ...]
    spec: tuple[SpecView, ...]
    checks: tuple[CheckView, ...]
    is_open: bool
    more_is_open: bool


def good_view(state: State, found: Answer, program: Program) -> GoodView:
    """Return what the form shows."""
    good = state.good or State(state.units)
    first, more = fields_of(program)
    told = tuple(name for name in FIELDS if name in good.values and name not in first)
    views = {name: _field(name, good, found, program) for name in (*first, *more, *told)}
    others = tuple(views[name] for name in FIELDS if name in views and name not in first)
    spec = tuple(spec_view(name, good, found, at=GOOD) for name in good.spec)
    checks = tuple(each for each in check_views(good, found, program, at=GOOD) if each.told)
    return GoodView(
        (_named(state, found, program),) if state.named else (),
        tuple(views[name] for name in first),
        others,
        spec,
        checks,
        state.good is not None or bool(state.named),
        any(name.startswith(GOOD) and name.removeprefix(GOOD) not in first for name in found.troubles),
    )


def fields_of(program: Program) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the fields of a known-good reading that count: the numbers that most readings hold, and the others.

    Args:
        program: the rules in force; what they have no band for is not compared.
    """
    levels = frozenset(band.level for band in program.bands)
    counts = _fields_that_enter(frozenset(LEVELS[level][0] for level in levels))
    first = tuple(name for name in counts if FIELDS[name].group == "first" and FIELDS[name].dimension)
    return first, tuple(name for name in counts if name not in first)


@cache
def _fields_that_enter(quantities: frozenset[str]) -> tuple[str, ...]:
    """Return the fields that some quantities are computed from, found out by computing them."""
    asked: set[str] = set()
    for told in ({}, {"low_side": "1 bar", "high_side": "10 bar"}):  # what is asked for depends on what is there
        columns = from_readings([Reading(told)])
        heard = replace(columns, numbers=_Heard(columns.numbers, asked), words=_Heard(columns.words, asked))
        work = Work(heard, QUANTITIES)
        for quantity in quantities:
            work.number(quantity)
    enters = {name for name in asked & FIELDS.keys() if FIELDS[name].group != "instruments"}
    if any(FIELDS[name].dimension is Dimension.PRESSURE for name in enters):  # a gauge counts from the air around it
        enters |= {"altitude", "barometer"}
    return tuple(name for name in FIELDS if name in enters)


class _Heard(dict[str, Column]):
    """Columns that remember which of them were asked for."""

    def __init__(self, columns: Mapping[str, Column], asked: set[str]) -> None:
        super().__init__(columns)
        self._asked = asked

    def get(self, name: str, otherwise: Any = None) -> Any:
        self._asked.add(name)
        return super().get(name, otherwise)

    def __contains__(self, name: object) -> bool:
        self._asked.add(str(name))
        return super().__contains__(name)


def _field(name: str, good: State, found: Answer, program: Program) -> FieldView:
    view = field_view(FIELDS[name], good, found, program, at=GOOD)
    return view if view.typed.option in view.words else replace(view, words=())  # a word is nothing to compare with


def _named(state: State, found: Answer, program: Program) -> FieldView:
    known = Field(NAMED, "as the opened reading names it")
    return replace(field_view(known, state, found, program), typed=Typed(state.named))
