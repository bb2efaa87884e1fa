"""The criteria of the packs in numbers: what a vacuum or a pressure test must show to pass, and which ones count here.

Published criteria disagree, so they are data (rules/common/criteria.yaml); where a shop has set one of its own for a
test (`ours: yes`), the others do not count.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from twogauge.errors import InputError, QuantityError, UnknownNameError
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension, UnitSet, absolute, parse

if TYPE_CHECKING:
    from twogauge.packs.in_force import Loaded, Stack

GaugeKind = Literal["dial", "vacuum_gauge"]


@dataclass(frozen=True, slots=True)
class Criterion:
    """A criterion in numbers; NaN where it says nothing.

    Attributes:
        id, title, test: as in the pack.
        gauge: any, dial or vacuum_gauge.
        reaches: absolute pressure [Pa]; what a dial shows for it shrinks with the height of the place.
        rises: most it may rise [Pa].
        stays_below: most it may come to, absolute [Pa].
        within: in this time, or for so long [s].
        ours: set by a shop.
        source: who says so.
        pack: that holds it.
    """

    id: str
    title: str
    test: str
    gauge: str
    reaches: float
    rises: float
    stays_below: float
    within: float
    ours: bool
    source: str
    pack: str


def check_criterion(entry: Any) -> list[tuple[str, str]]:
    """Return what cannot be read in an entry: the key and a sentence.

    Args:
        entry: of the section `criteria`, validated in its form.
    """
    found = []
    for key, read in _READERS.items():
        text = getattr(entry, key)
        if text is None:
            continue
        try:
            value = read(text)
        except QuantityError as error:
            found.append((key, f"{key}: {error}"))
            continue
        if not value > 0.0 and key != "rises":
            found.append((key, f"{key}: write a value above zero"))
        if value < 0.0:
            found.append((key, f"{key}: a rise cannot be negative"))
    return found


def criteria_for(
    stack: Stack, test: str, *, gauge: GaugeKind | None = None, system: str | None = None, name: str | None = None
) -> tuple[Criterion, ...]:
    """Return the criteria that count, the strictest last.

    Args:
        stack: the packs in force.
        test: what is judged, one of CRITERION_TESTS (packs/words.py).
        gauge: the kind of gauge at hand; those meant for another kind are left out.
        system: the kind of machine; those meant for another kind are left out.
        name: only this one.

    Raises:
        UnknownNameError: there is no criterion of that name.
        InputError: it judges something else.
    """
    if name is not None:
        if name not in stack.criteria:
            raise UnknownNameError("criterion", name, stack.criteria)
        chosen = _in_numbers(stack.criteria[name])
        if chosen.test != test:
            raise InputError(f"{name!r} is a criterion for {chosen.test.replace('_', ' ')}, not for this test")
        return (chosen,)
    fitting = [
        _in_numbers(loaded)
        for loaded in stack.criteria.values()
        if loaded.entry.test == test and _applies(loaded.entry.applies_to, system)
    ]
    fitting = [each for each in fitting if gauge is None or each.gauge in {"any", gauge}]
    chosen_ones = [each for each in fitting if each.ours] or fitting
    return tuple(sorted(chosen_ones, key=_leniency, reverse=True))


def _applies(wanted: Mapping[str, Iterable[str]], system: str | None) -> bool:
    return system is None or "system" not in wanted or system in wanted["system"]


def _leniency(criterion: Criterion) -> tuple[float, ...]:
    shown = (criterion.rises, criterion.stays_below, criterion.reaches)
    size = min((value for value in shown if not math.isnan(value)), default=0.0)
    return (size, -criterion.within if not math.isnan(criterion.within) else 0.0)


def _pressure(text: str) -> float:
    return absolute(parse(text, Dimension.PRESSURE, units=UnitSet.SI), STANDARD_ATMOSPHERE)


def _rise(text: str) -> float:
    return parse(text, Dimension.PRESSURE_DIFFERENCE, units=UnitSet.SI).value


def _time(text: str) -> float:
    return parse(text, Dimension.DURATION, units=UnitSet.SI).value


_READERS: Final[dict[str, Callable[[str], float]]] = {
    "reaches": _pressure,
    "rises": _rise,
    "stays_below": _pressure,
    "within": _time,
}


def _in_numbers(loaded: Loaded[Any]) -> Criterion:
    entry = loaded.entry
    numbers = {
        key: math.nan if getattr(entry, key) is None else read(getattr(entry, key)) for key, read in _READERS.items()
    }
    return Criterion(
        id=loaded.id,
        title=entry.title,
        test=entry.test,
        gauge=entry.gauge,
        ours=entry.ours == "yes",
        source=entry.source.numbers or entry.source.facts or "",
        pack=loaded.pack,
        **numbers,
    )
