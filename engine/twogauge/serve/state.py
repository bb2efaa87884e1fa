"""What a person has typed, as it stands in the address: kept word for word, also where it cannot be used.

The address has one value for each field, with its unit: `?units=us&refrigerant=R134a&low_side=35 psi&check.clutch=slips`.
A form without JavaScript sends number, unit and the value the page had shown apart (`low_side`, `low_side.unit`,
`low_side.was`); `State.read` puts them together and converts what was not touched when its unit was switched.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final
from urllib.parse import urlencode

from twogauge.errors import shown
from twogauge.fields import FIELDS, SPEC_FIELDS, Field
from twogauge.quantities import UnitSet
from twogauge.serve.units import converted, is_bare, units_of, usual_unit, with_unit

LONGEST: Final = 300  # characters of one value
MOST_CHECKS: Final = 200
CHECK: Final = "check."
SPEC: Final = "spec."
_PARTS: Final = ("unit", "was", "from", "to")


@dataclass(frozen=True, slots=True)
class Typed:
    """One value as it was typed, and the unit or the word that was chosen beside it."""

    text: str = ""
    option: str = ""

    @property
    def whole(self) -> str:
        """Both together, as they stand in the address."""
        return f"{self.text} {self.option}".strip() if not self.text or is_bare(self.text) else self.text


@dataclass(frozen=True, slots=True)
class State:
    """Everything that was typed.

    Attributes:
        units: the set that fields begin with, and that answers are printed in.
        values: field -> what was typed; only what says something.
        spec: field -> the maker's two ends.
        checks: check -> answer.
        notes: sentences about what was told and does not count.
        strangers: names that nobody knows.
    """

    units: UnitSet
    values: Mapping[str, Typed] = field(default_factory=dict)
    spec: Mapping[str, tuple[str, str, str]] = field(default_factory=dict)
    checks: Mapping[str, str] = field(default_factory=dict)
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
        for name, value in pairs:
            if value.strip() or name not in told:
                told[name[:100]] = cleaned(value)
        notes: list[str] = []
        wanted = unit_set(told.get("units", ""), units)
        before = unit_set(told.get("units.was", ""), wanted)
        values = {name: typed for name, known in FIELDS.items() if (typed := typed_of(known, told, before)).whole}
        spec = {name: ends for name in SPEC_FIELDS if any((ends := _ends(name, told, before))[:2])}
        checks = {
            name.removeprefix(CHECK): value
            for name, value in told.items()
            if name.startswith(CHECK) and value and name != CHECK
        }
        if len(checks) > MOST_CHECKS:
            notes.append(f"more than {MOST_CHECKS} checks were told; the first {MOST_CHECKS} count")
            checks = dict(list(checks.items())[:MOST_CHECKS])
        strangers = tuple(name for name in told if told[name] and not _is_known(name))[:5]
        notes += [f"the address also says {shown(name)}, which is not known here" for name in strangers]
        state = cls(before, values, spec, checks, tuple(notes), strangers)
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
        return replace(self, units=units, values=values, spec=spec)

    def pairs(self) -> list[tuple[str, str]]:
        """Return what stands in the address, in the order of the fields."""
        told = [("units", self.units.value)]
        told += [(name, self.values[name].whole) for name in FIELDS if name in self.values]
        for name, (low, high, symbol) in self.spec.items():
            told += [(f"{SPEC}{name}.{end}", text) for end, text in (("from", low), ("to", high)) if text]
            told.append((f"{SPEC}{name}.unit", symbol))
        return told + [(f"{CHECK}{name}", answer) for name, answer in self.checks.items()]

    def query(self) -> str:
        """Return the query of the address that leads back to this."""
        return urlencode(self.pairs())

    @property
    def says_nothing(self) -> bool:
        """Whether nothing but units was told."""
        return not (self.values or self.spec or self.checks)

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
        return given


def told_of(known: Field, typed: Typed) -> str:
    """Return one value as a reading takes it."""
    if typed.option in known.words:
        return typed.whole
    return with_unit(typed.text, typed.option)


def typed_of(known: Field, told: Mapping[str, str], units: UnitSet) -> Typed:
    """Put number and unit together; convert what stands as it was shown while its unit is another."""
    text, option = told.get(known.name, "").strip(), told.get(f"{known.name}.unit", "").strip()
    offered = {choice.symbol: choice for choice in units_of(known)}
    if not offered and not known.words:
        return Typed(text)
    if option not in offered and option not in known.words:
        return _apart(text, known, units)
    was = _apart(told.get(f"{known.name}.was", "").strip(), known, units)
    if text and text == was.text and option != was.option and was.option in offered and option in offered:
        now = converted(text, offered[was.option], offered[option])
        text = text if now is None else now
    if text and not is_bare(text):
        return _apart(text, known, units)
    if not text and option in offered:
        return Typed()
    return Typed(text, option)


def _apart(whole: str, known: Field, units: UnitSet) -> Typed:
    """Take a value of the address apart into what is typed and what is chosen."""
    options = (*(choice.symbol for choice in units_of(known)), *known.words)
    if whole.casefold() in known.words:
        return Typed("", whole.casefold())
    for option in sorted(options, key=len, reverse=True):
        if whole.casefold().endswith(option.casefold()) and is_bare(rest := whole[: -len(option)].strip()):
            return Typed(rest, option)
    if not whole:
        return Typed()
    return Typed(whole, usual_unit(known, units))


def _ends(name: str, told: Mapping[str, str], units: UnitSet) -> tuple[str, str, str]:
    known = FIELDS[name]
    low, high = (told.get(f"{SPEC}{name}.{end}", "").strip() for end in ("from", "to"))
    symbol = told.get(f"{SPEC}{name}.unit", "").strip()
    offered = {choice.symbol for choice in units_of(known)}
    return low, high, symbol if symbol in offered else usual_unit(known, units)


def turned(known: Field, typed: Typed, wanted: str) -> Typed:
    """Return a value in another unit; as it was typed where it makes no sense there."""
    offered = {choice.symbol: choice for choice in units_of(known)}
    if typed.option not in offered or wanted not in offered or typed.option in {wanted, "%"}:
        return typed
    now = converted(typed.text, offered[typed.option], offered[wanted])
    return typed if now is None else Typed(now, wanted)


def _is_known(name: str) -> bool:
    first, _, part = name.rpartition(".")
    if name in FIELDS or name in {"units", "units.was"} or name.startswith(CHECK):
        return True
    return part in _PARTS and (first in FIELDS or first.removeprefix(SPEC) in SPEC_FIELDS)


def unit_set(told: str, otherwise: UnitSet) -> UnitSet:
    """Return the set of units that is named, or another."""
    try:
        return UnitSet(told.strip().casefold())
    except ValueError:
        return otherwise


def cleaned(value: str) -> str:
    """Return a value on one line, without control characters, no longer than anybody types."""
    return "".join(c if c.isprintable() else " " for c in value[:LONGEST]).strip()
