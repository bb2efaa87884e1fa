"""What a person has typed, as it stands in the address: kept word for word, also where it cannot be used.

The address has one value for each field, with its unit: `?units=us&refrigerant=R134a&low_side=35 psi&check.clutch=slips`.
A known-good reading of the same machine stands there as another one does, each name with `good.` before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final
from urllib.parse import urlencode

from twogauge.errors import shown
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.quantities import UnitSet
from twogauge.serve.typed import Typed, cleaned, told_of, turned, typed_of, unit_set
from twogauge.serve.units import units_of, usual_unit, with_unit

MOST_CHECKS: Final = 200
MOST_LEFT_OUT: Final = 20  # rules
CHECK: Final = "check."
SPEC: Final = "spec."
GOOD: Final = "good."
WITHOUT: Final = "without"
NAMED: Final = "baseline"  # the file that an opened reading names as its known-good one; it is kept, and never read
_PARTS: Final = ("unit", "was", "from", "to")
_OF_THE_MACHINE: Final = {"refrigerant", "system", "machine", "altitude", "target_subcooling"} | {
    name for name, known in FIELDS.items() if known.group in {"machine", "instruments"}
}


@dataclass(frozen=True, slots=True)
class State:
    """Everything that was typed.

    Attributes:
        units: the set that fields begin with, and that answers are printed in.
        values: field -> what was typed; only what says something.
        spec: field -> the maker's two ends.
        checks: check -> answer.
        good: what the machine showed when it cooled well, if that was told; it has no `good` of its own.
        named: a file that is named for it.
        without: ids of rules to be left out.
        notes: sentences about what was told and does not count.
        strangers: names that nobody knows.
    """

    units: UnitSet
    values: Mapping[str, Typed] = field(default_factory=dict)
    spec: Mapping[str, tuple[str, str, str]] = field(default_factory=dict)
    checks: Mapping[str, str] = field(default_factory=dict)
    good: State | None = None
    named: str = ""
    without: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    strangers: tuple[str, ...] = ()

    @classmethod
    def read(cls, pairs: Iterable[tuple[str, str]], units: UnitSet) -> State:
        """Read the pairs of an address or a form; a later value of one name counts, unless it is empty.

        Args:
            pairs: names and values.
            units: where the pairs do not say.
        """
        told: dict[str, str] = {}
        without: dict[str, None] = {}
        for name, value in pairs:
            key = cleaned(name)[:100]
            if key == WITHOUT:
                without.update(dict.fromkeys(cleaned(value).split()))
            elif value.strip() or key not in told:
                told[key] = cleaned(value)
        of_good = {name.removeprefix(GOOD): told.pop(name) for name in list(told) if name.startswith(GOOD)}
        named = told.pop(NAMED, "")
        state = cls._alone(told, units)
        good = cls._alone({"units": told.get("units", ""), "units.was": told.get("units.was", ""), **of_good}, units)
        strangers = (*state.strangers, *(f"{GOOD}{name}" for name in good.strangers))
        notes = (*state.notes, *good.notes, *map(_unknown, strangers))
        kept = None if good.says_nothing else replace(good, units=state.units, notes=(), strangers=())
        left_out = tuple(without)[:MOST_LEFT_OUT]
        return replace(state, good=kept, named=named, without=left_out, notes=notes, strangers=strangers)

    @classmethod
    def _alone(cls, told: Mapping[str, str], units: UnitSet) -> State:
        """Return one reading, without what it may be compared with."""
        wanted = unit_set(told.get("units", ""), units)
        before = unit_set(told.get("units.was", ""), wanted)
        values = {name: typed for name, known in FIELDS.items() if (typed := typed_of(known, told, before)).whole}
        spec = {name: ends for name in SPEC_FIELDS if any((ends := _ends(name, told, before))[:2])}
        checks = {
            name.removeprefix(CHECK): value
            for name, value in told.items()
            if name.startswith(CHECK) and value and name != CHECK
        }
        notes: tuple[str, ...] = ()
        if len(checks) > MOST_CHECKS:
            notes = (f"more than {MOST_CHECKS} checks were told; the first {MOST_CHECKS} count",)
            checks = dict(list(checks.items())[:MOST_CHECKS])
        strangers = tuple(name for name in told if told[name] and not _is_known(name))[:5]
        state = cls(before, values, spec, checks, notes=notes, strangers=strangers)
        return state if wanted is before else state.in_units(wanted)

    def in_units(self, units: UnitSet) -> State:
        """Return the same in another set of units; what is no plain number stays as it was typed."""
        values = {
            name: turned(FIELDS[name], typed, usual_unit(FIELDS[name], units)) for name, typed in self.values.items()
        }
        spec = {}
        for name, (low, high, symbol) in self.spec.items():
            known, wanted = FIELDS[name], usual_unit(FIELDS[name], units)
            ends = [turned(known, Typed(end, symbol), wanted) if end else Typed("", wanted) for end in (low, high)]
            fits = all(end.option == wanted for end in ends)
            spec[name] = (ends[0].text, ends[1].text, wanted) if fits else (low, high, symbol)
        good = self.good and self.good.in_units(units)
        return replace(self, units=units, values=values, spec=spec, good=good)

    def pairs(self) -> list[tuple[str, str]]:
        """Return what stands in the address, in the order of the fields."""
        told = [("units", self.units.value)]
        told += [(name, self.values[name].whole) for name in FIELDS if name in self.values]
        for name, (low, high, symbol) in self.spec.items():
            told += [(f"{SPEC}{name}.{end}", text) for end, text in (("from", low), ("to", high)) if text]
            told.append((f"{SPEC}{name}.unit", symbol))
        told += [(f"{CHECK}{name}", answer) for name, answer in self.checks.items()]
        if self.without:
            told.append((WITHOUT, " ".join(self.without)))
        if self.named:
            told.append((NAMED, self.named))
        if self.good:
            told += [(f"{GOOD}{name}", text) for name, text in self.good.pairs()[1:]]
        return told

    def query(self) -> str:
        """Return the query of the address that leads back to this."""
        return urlencode(self.pairs())

    @property
    def says_nothing(self) -> bool:
        """Whether nothing but units was told."""
        return not (self.values or self.spec or self.checks or self.good or self.named)

    def given(self) -> dict[str, Any]:
        """Return the reading as a mapping, for `Reading`; every number with its unit."""
        given: dict[str, Any] = {name: told_of(FIELDS[name], typed) for name, typed in self.values.items()}
        spec = {
            name: [with_unit(low, symbol), with_unit(high, symbol)] for name, (low, high, symbol) in self.spec.items()
        }
        if spec:
            given["spec"] = spec
        if self.checks:
            given["checks"] = dict(self.checks)
        if self.good or self.named:
            given["baseline"] = self.good.given() if self.good else self.named
        return given

    def beside(self, good: State) -> State:
        """Return this with another reading as the known-good one; what that one is compared with is left out."""
        good = replace(good, units=self.units, good=None, named="", without=(), notes=(), strangers=())
        return self if good.says_nothing else replace(self, good=good, named="")

    def another_day(self) -> State:
        """Return a new reading of the same machine, with this one as the known-good one, if it says anything."""
        stays = {name: typed for name, typed in self.values.items() if name in _OF_THE_MACHINE}
        if len(stays) == len(self.values) and not self.checks:
            return self
        return State(self.units, stays).beside(self)


def _unknown(name: str) -> str:
    if name == f"{GOOD}{NAMED}":
        return "the known-good reading names one of its own, which does not count here"
    return f"the address also says {shown(name)}, which is not known here"


def _ends(name: str, told: Mapping[str, str], units: UnitSet) -> tuple[str, str, str]:
    known = FIELDS[name]
    low, high = (told.get(f"{SPEC}{name}.{end}", "").strip() for end in ("from", "to"))
    symbol = told.get(f"{SPEC}{name}.unit", "").strip()
    offered = {choice.symbol for choice in units_of(known)}
    return low, high, symbol if symbol in offered else usual_unit(known, units)


def _is_known(name: str) -> bool:
    first, _, part = name.rpartition(".")
    if name in FIELDS or name in {"units", "units.was"} or name.startswith(CHECK):
        return True
    return part in _PARTS and (first in FIELDS or first.removeprefix(SPEC) in SPEC_FIELDS)
