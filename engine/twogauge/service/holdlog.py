"""A hold log: times and pressures, and temperatures where there are any, out of CSV, YAML, JSON or rows as they are typed.

    time [min], pressure [micron], temperature [degF]      a line of headings is welcome, with units in brackets
    0, 410, 75
    5 min, 430 micron                                      or each value brings its own unit, with or without commas

    coldest: 72 degF                                       YAML holds settings as well (SETTINGS)
    readings:
      - [0 min, 410 micron]
      - {time: 5 min, pressure: 430 micron, temperature: 75 degF}

A number without a unit takes that of its heading, else that of the row above; the first of a column needs one, and so
does one below pressures or temperatures in two units. Times may be counted (90 s, 5 min, 1.5 h), read off a clock
(14:05, 14:05:30; past midnight they begin anew) or written with the date (2026-06-12 14:05). In a log of a vacuum psi
and inHg count from the air, and so does a negative pressure in any unit; all others are absolute. Knows nothing of
what the pressures mean.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, TypeVar

from twogauge.errors import FileProblems, QuantityError, did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import Dimension, Quantity, UnitSet, parse
from twogauge.service.logtext import (
    DAY,
    KINDS,
    Cell,
    begins_with_a_number,
    decimal_commas,
    has_clock,
    lines_named,
    looks_like_yaml,
    split_at,
    text_of,
    time_of,
    typed,
)

MAX_ROWS: Final = 20_000
MAX_LINE: Final = 2000  # characters
SETTINGS: Final = (
    "title",
    "valved_off",
    "coldest",
    "volume",
    "refrigerant",
    "system",
    "altitude",
    "barometer",
    "barometer_at_end",
    "resolution",
    "accuracy",
    "working_pressure",
    "test_pressure",
    "pumped",
)
T = TypeVar("T")

_NOTHING: Final = frozenset({"", "-", "--", "---", "?", "n/a", "na", "none", "~"})
_BEYOND: Final = frozenset({"ol", "o.l.", "over", "overload", "high", "hi", "or", "err", "error"})
_ROLES: Final = {
    "time": ("time", "elapsed", "minutes", "seconds", "hours", "clock", "when"),
    "pressure": ("pressure", "p", "vacuum", "microns", "micron", "gauge", "torr", "reading"),
    "temperature": ("temperature", "temp", "coldest", "ambient"),
}


@dataclass(frozen=True, slots=True)
class Row:
    """One reading.

    Attributes:
        time: since some moment [s].
        pressure: as written; None where the gauge showed nothing.
        temperature: [K]; NaN where none is written.
        place: of the row.
    """

    time: float
    pressure: Quantity | None
    temperature: float
    place: Place


@dataclass(frozen=True)
class HoldLog:
    """A log as it was read.

    Attributes:
        name: of the file.
        rows: those that hold a pressure, times never falling.
        settings: what a YAML file says beside its readings: key -> text and place.
        notes: sentences about what was left out or taken for granted.
        origin: what time 0 is [s], so that a time of the clock can be put into the log.
    """

    name: str
    rows: tuple[Row, ...]
    settings: dict[str, tuple[str, Place]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    origin: float = 0.0


def read_log(name: str, data: bytes | None = None, *, vacuum: bool = True) -> HoldLog:
    """Read a log.

    Args:
        name: of the file; with `data`, only what messages call it.
        data: the content, when it came from elsewhere.
        vacuum: pressures are a vacuum; False for a test under pressure, where all count from the air unless they say
            otherwise.

    Raises:
        FileProblems: everything that is wrong, with file, line and column.
    """
    content = yamlfile.read_bytes_bounded(name, yamlfile.MAX_BYTES) if data is None else data
    text = text_of(name, content)
    reader = _Reader(name, vacuum=vacuum)
    if name.endswith((".yaml", ".yml", ".json")) or looks_like_yaml(text):
        reader.take_tree(yamlfile.load(name, content))
    else:
        reader.take_lines(text)
    return reader.finish()


def read_time(text: str, log: HoldLog) -> float:
    """Return a time of a log, since its first reading [s]; a time of the clock is put into it.

    Raises:
        QuantityError: no time.
    """
    seconds, kind = time_of(text)
    if kind == "counted":
        return seconds
    found = seconds - log.origin
    return found % DAY if kind == "clock" else found


class _Reader:
    def __init__(self, name: str, *, vacuum: bool) -> None:
        self._name, self._vacuum = name, vacuum
        self._problems: list[Problem] = []
        self._notes: list[str] = []
        self._rows: list[Row] = []
        self._settings: dict[str, tuple[str, Place]] = {}
        self._units = {"time": "", "pressure": "", "temperature": ""}
        self._headed: set[str] = set()
        self._mixed: set[str] = set()
        self._seen_units: dict[str, None] = {}
        self._signs: dict[str, tuple[bool, Place]] = {}
        self._kind = ""
        self._days = 0.0
        self._before = float("-inf")
        self._skipped: list[int] = []
        self._beyond: list[int] = []

    # -- forms -----------------------------------------------------------------------------------------------------

    def take_tree(self, node: yamlfile.Node) -> None:
        """Take a YAML or JSON document in: a list of readings, or a mapping with `readings` and settings."""
        readings: yamlfile.Node | None = node
        if isinstance(node, yamlfile.Mapping):
            self._problems += yamlfile.unknown_keys(node, (*SETTINGS, "readings"))
            for key in SETTINGS:
                value = node.get(key)
                if isinstance(value, yamlfile.Scalar) and not value.is_empty:
                    self._settings[key] = (value.text, value.place)
                elif value is not None and not isinstance(value, yamlfile.Scalar):
                    self._problem(value.place, "shape", f"{key}: write one value here")
            readings = node.get("readings")
        if not isinstance(readings, yamlfile.Sequence):
            place = node.place if readings is None else readings.place
            self._problem(place, "shape", "readings: a list belongs here, such as '- [5 min, 430 micron]'")
            return
        for item in readings.items:
            self._take_item(item)

    def _take_item(self, item: yamlfile.Node) -> None:
        if isinstance(item, yamlfile.Mapping):
            self._problems += yamlfile.unknown_keys(item, _ROLES)
            cells = {
                role: Cell(value.text, value.place)
                for role in _ROLES
                if isinstance(value := item.get(role), yamlfile.Scalar)
            }
            self._take(cells, item.place)
        elif isinstance(item, yamlfile.Sequence):
            listed = [Cell(v.text, v.place) for v in item.items if isinstance(v, yamlfile.Scalar)]
            self._take(dict(zip(_ROLES, listed, strict=False)), item.place)
        else:
            listed = typed(item.text, item.place)
            self._take(dict(zip(_ROLES, listed, strict=False)), item.place)

    def take_lines(self, text: str) -> None:
        """Take in lines of CSV or as they are typed; a line that begins with # says nothing."""
        lines = [(i, line) for i, line in enumerate(text.splitlines(), start=1)]
        lines = [(i, line) for i, line in lines if line.strip() and not line.lstrip().startswith("#")]
        if (long := next((i for i, line in lines if len(line) > MAX_LINE), None)) is not None:
            message = f"this line has more than {MAX_LINE} characters; write one reading a line"
            self._problem(Place(self._name, long), "too-long", message)
            return
        separator = next((s for s in ("\t", ";", ",") if lines and s in lines[0][1]), "")
        if separator == "," and all(decimal_commas(line) for _, line in lines):
            separator = ""
        roles: list[str | None] = list(_ROLES)
        first = True
        for number, line in lines:
            cells = (
                split_at(line, separator, self._name, number) if separator else typed(line, Place(self._name, number))
            )
            if first:
                first = False
                headings = [cell.text for cell in cells]
                if not any(begins_with_a_number(text) for text in headings):
                    roles = self._headings(cells)
                    if self._problems:
                        return
                    continue
            row = {role: cell for role, cell in zip(roles, cells, strict=False) if role is not None}
            self._take(row, Place(self._name, number))

    def _headings(self, cells: Sequence[Cell]) -> list[str | None]:
        roles: list[str | None] = []
        for cell in cells:
            match = re.fullmatch(r"\s*(?P<name>[^\[(/]*?)\s*(?:[\[(/]\s*(?P<unit>[^\])]*?)\s*[\])]?)?\s*", cell.text)
            name = (match["name"] if match else cell.text).casefold()
            words = re.findall(r"[a-z]+", name)
            role = next((r for r, known in _ROLES.items() if any(w in known for w in words)), None)
            if role is not None and role in roles:
                self._problem(cell.place, "heading", f"{shown(cell.text)} is a second {role}; leave one of them out")
            if role is not None and match and match["unit"]:
                self._units[role] = match["unit"]
                self._headed.add(role)
            elif role is None and name.strip():
                self._notes.append(f"the column {shown(cell.text)} is not used")
            roles.append(role)
        for needed in ("time", "pressure"):
            if needed not in roles:
                near = did_you_mean(" ".join(c.text for c in cells), list(_ROLES[needed]), 1)
                hint = f" (did you mean {near[0]!r}?)" if near else ""
                message = f"no heading says {needed}{hint}; write for instance 'time [min], pressure [micron]'"
                self._problem(cells[0].place, "heading", message)
        return roles

    # -- rows ------------------------------------------------------------------------------------------------------

    def _take(self, cells: dict[str, Cell], place: Place) -> None:
        if len(self._rows) >= MAX_ROWS:
            if len(self._rows) == MAX_ROWS and not any(p.code == "too-many" for p in self._problems):
                self._problem(place, "too-many", f"more than {MAX_ROWS} readings; leave out every second one")
            return
        for needed in ("time", "pressure"):
            if needed not in cells:
                what = "a time and a pressure, such as '5 min, 430 micron'"
                self._problem(place, "row", f"no {needed} stands in this row; write {what}")
                return
        time = self._value("time", cells["time"], self._seconds)
        if time is None:
            return
        written = cells["pressure"].text.strip().casefold()
        if written in _NOTHING:
            self._skipped.append(place.line)
            return
        if written.startswith(">") or written in _BEYOND:
            self._beyond.append(place.line)
            return
        pressure = self._value("pressure", cells["pressure"], self._pressure)
        temperature: float | None = float("nan")
        if "temperature" in cells and cells["temperature"].text.strip().casefold() not in _NOTHING:
            temperature = self._value("temperature", cells["temperature"], self._temperature)
        if pressure is not None and temperature is not None:
            self._rows.append(Row(time, pressure, temperature, place))

    def _value(self, role: str, cell: Cell, read: Callable[[Cell], T]) -> T | None:
        try:
            return read(cell)
        except QuantityError as error:
            self._problem(cell.place, "value", f"{role}: {error}")
            return None

    def _with_unit(self, role: str, text: str, example: str) -> str:
        """Put the unit of the heading or of the row above behind a bare number."""
        if re.search(r"[^\d\s.,+\u2212\u2013eE-]", text):
            unit = re.sub(r"^[-+\u2212\u2013\s]*[\d.,]+(?:[eE][-+]?\d+)?", "", text).strip()
            if unit and role not in self._headed:
                self._mixed |= {role} if self._units[role] not in {"", unit} and role != "time" else set()
                self._units[role] = unit
            return text
        if not self._units[role]:
            raise QuantityError(f"{shown(text)} has no unit, and none stands above it; write for instance {example}")
        if role in self._mixed:
            raise QuantityError(
                f"{shown(text)} has no unit, and the rows above it stand in more than one; write its unit, or one unit in "
                "a heading"
            )
        return f"{text} {self._units[role]}"

    def _seconds(self, cell: Cell) -> float:
        text = cell.text.strip()
        seconds, kind = time_of(text) if has_clock(text) else time_of(self._with_unit("time", text, "'5 min'"))
        if self._kind and kind != self._kind:
            raise QuantityError(
                f"{shown(text)} is {KINDS[kind]}, but above times are {KINDS[self._kind]}; write all alike"
            )
        self._kind = kind
        seconds += self._days
        if kind == "clock" and seconds < self._before - 0.5 * DAY:
            self._days += DAY
            seconds += DAY
            self._notes.append("the clock passes midnight")
        if seconds < self._before:
            raise QuantityError(f"{shown(text)} is earlier than the row above; put the rows in order")
        self._before = seconds
        return seconds

    def _pressure(self, cell: Cell) -> Quantity:
        text = cell.text.strip()
        whole = self._with_unit("pressure", text, "'430 micron' or '29.5 inHg vac'")
        if not self._vacuum:
            return self._noted(parse(whole, Dimension.PRESSURE, units=UnitSet.SI, reference="gauge"), cell)
        plain = parse(whole, Dimension.PRESSURE_DIFFERENCE, units=UnitSet.SI)
        from_air = plain.symbol in {"psi", "inHg"} or plain.value < 0.0
        found = parse(whole, Dimension.PRESSURE, units=UnitSet.SI, reference="gauge" if from_air else "absolute")
        return self._noted(found, cell)

    def _noted(self, found: Quantity, cell: Cell) -> Quantity:
        self._seen_units[f"{found.symbol}{' absolute' if found.reference == 'absolute' else ''}"] = None
        if found.value != 0.0:
            below, place = self._signs.setdefault(found.symbol, (found.reference == "gauge", cell.place))
            if below != (found.reference == "gauge"):
                raise QuantityError(
                    f"{shown(cell.text)} counts from {'the air' if not below else 'a perfect vacuum'}, but line "
                    f"{place.line} does not; write '{found.symbol} abs' or '{found.symbol} vac' behind each"
                )
        return found

    def _temperature(self, cell: Cell) -> float:
        whole = self._with_unit("temperature", cell.text.strip(), "'75 degF'")
        return parse(whole, Dimension.TEMPERATURE).value

    def _problem(self, place: Place, code: str, message: str) -> None:
        self._problems.append(Problem(place, code, message))

    # -- the whole -------------------------------------------------------------------------------------------------

    def finish(self) -> HoldLog:
        """Return the log, or raise all that is wrong with it."""
        if self._problems:
            raise FileProblems(self._problems[: yamlfile.MAX_PROBLEMS])
        if not self._rows:
            raise FileProblems([Problem(Place(self._name), "empty", "no row holds a time and a pressure")])
        rows = self._without_repeats()
        if self._skipped:
            self._notes.append(f"left out, without a pressure: {lines_named(self._skipped)}")
        if self._beyond:
            self._notes.append(f"left out, for the gauge was beyond its range: {lines_named(self._beyond)}")
        if len(self._seen_units) > 1:
            units = " and ".join(self._seen_units)
            self._notes.append(f"pressures stand here in {units}; each was read as it is written")
        self._notes += _gaps(rows)
        origin = rows[0].time
        moved = tuple(Row(r.time - origin, r.pressure, r.temperature, r.place) for r in rows)
        return HoldLog(self._name, moved, self._settings, tuple(dict.fromkeys(self._notes)), origin)

    def _without_repeats(self) -> list[Row]:
        kept: list[Row] = []
        repeated, twice = [], []
        for row in self._rows:
            if kept and row.time == kept[-1].time:
                same = kept[-1].pressure is not None and row.pressure is not None
                if same and kept[-1].pressure.value == row.pressure.value:  # type: ignore[union-attr]
                    repeated.append(row.place.line)
                    continue
                twice.append(row.place.line)
            kept.append(row)
        if repeated:
            self._notes.append(f"left out, for they repeat the row above: {lines_named(repeated)}")
        if twice:
            self._notes.append(f"at the same time as the row above, and both count: {lines_named(twice)}")
        return kept


def _gaps(rows: Sequence[Row]) -> list[str]:
    steps = [b.time - a.time for a, b in pairwise(rows) if b.time > a.time]
    if len(steps) < 4:
        return []
    usual = sorted(steps)[len(steps) // 2]
    gaps = [(a, b) for a, b in pairwise(rows) if b.time - a.time > 3.5 * usual]
    if not gaps:
        return []
    a, b = max(gaps, key=lambda pair: pair[1].time - pair[0].time)
    others = f", and {len(gaps) - 1} shorter gaps" if len(gaps) > 1 else ""
    minutes = (b.time - a.time) / 60.0
    return [
        f"no readings for {minutes:.0f} min between lines {a.place.line} and {b.place.line}{others}; the curves go across"
    ]
