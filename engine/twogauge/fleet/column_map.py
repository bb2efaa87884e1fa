"""Which column of a table is which field of a reading, in which unit and words, with constants for the rest.

A map is a small YAML file; without one the header of the table is read: a column named like a field, a check or an
option of `twogauge diagnose`, with its unit behind it, such as `low_side [bar]` or `vent (degC)`.

    units: si                                   # what bare numbers are; us if it is left out
    columns:
      machine: bus                              # tells the machines apart
      time: stamp                               # when the row was read
      low_side: {column: p_suction, unit: bar}
      high_side: {column: [p_min, p_max], unit: bar}      # the two ends of a swing
      ambient: air_out
      compressor: {column: clutch, words: {"1": running, "0": off}}
    constants:                                  # as in a reading
      refrigerant: R134a
      system: bus_ac
      altitude: 300 m
    windows:                                    # what is steady enough; window_rules.py names the keys
      zone: America/Chicago

What a row tells comes before a constant.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from twogauge.errors import FileProblems, InputError, QuantityError, did_you_mean, shown
from twogauge.fields import FIELDS
from twogauge.fleet.scale import scale_of
from twogauge.fleet.window_rules import KEY as WINDOWS
from twogauge.fleet.window_rules import WindowRules, read_rules
from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError, positioned

MACHINE: Final = "machine"
TIME: Final = "time"
NOT_MAPPED: Final = ("date", "note")  # of a reading; here `time` says when, and notes say nothing to the rules
_KEYS: Final = ("units", "columns", "constants", WINDOWS)
_SOURCE_KEYS: Final = ("column", "unit", "words")
_HEADER: Final = re.compile(r"(?P<name>[^\[(]*?)\s*(?:\[(?P<square>[^\]]*)\]|\((?P<round>[^)]*)\))?\s*")
_ENDS: Final = {".from": 0, ".to": 1}


@dataclass(frozen=True, slots=True)
class Source:
    """Where one field comes from.

    Attributes:
        columns: the column, or the two that hold the ends of a swing.
        unit: of its numbers; "" for the usual one of the unit set.
        words: what the column writes -> the word a reading knows.
        place: where the map says so, if a file does.
    """

    columns: tuple[str, ...]
    unit: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What the columns of a table mean.

    Attributes:
        fields: field or check id -> where it comes from; `machine` and `time` stand apart.
        constants: as a reading takes them, for every row that tells nothing else.
        units: what bare numbers are.
        machine: the column that tells machines apart, or "".
        time: the column that says when a row was read, or "".
        windows: when a stretch of a log is worth a diagnosis.
    """

    fields: Mapping[str, Source]
    constants: Mapping[str, object] = field(default_factory=dict)
    units: UnitSet = UnitSet.US
    machine: str = ""
    time: str = ""
    windows: WindowRules = field(default_factory=WindowRules)

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column that is looked at, in the order of the map."""
        names = [name for source in self.fields.values() for name in source.columns]
        return tuple(dict.fromkeys([*names, *(n for n in (self.machine, self.time) if n)]))

    def with_constants(self, more: Mapping[str, object]) -> ColumnMap:
        """Return the map with constants that come before its own."""
        return replace(self, constants={**self.constants, **more})

    def check_columns(self, names: Collection[str], table: str = "the table") -> None:
        """Compare the map with the columns that are there.

        Args:
            names: of the columns.
            table: how to call the table in the message.

        Raises:
            FileProblems: a column that is missing, where the map that asks for it is a file.
            InputError: the same, where it is not.
        """
        problems, sentences = [], []
        wanted = [(name, s.place) for s in self.fields.values() for name in s.columns]
        for name, place in [*wanted, *((n, None) for n in (self.machine, self.time) if n)]:
            if name in names:
                continue
            near = did_you_mean(name, names)
            hint = f"; did you mean {' or '.join(map(repr, near))}?" if near else f"; it has {_listed(names)}"
            sentence = f"{table} has no column {shown(name)}{hint}"
            sentences.append(sentence)
            if place is not None:
                problems.append(Problem(place, "column", sentence))
        if problems:
            raise FileProblems(problems)
        if sentences:
            raise InputError("\n".join(sentences))


def read_map(path: str | Path, answers: Mapping[str, Iterable[str]], *, text: bytes | None = None) -> ColumnMap:
    """Read a map from its file.

    Args:
        path: the file; with `text`, only the name used in messages.
        answers: check id -> the answers it allows, as the packs in force have them.
        text: the content, when it is already at hand.

    Raises:
        FileProblems: everything that is wrong with it, with file, line and column.
    """
    return _FileReader(yamlfile.load(path, text), answers).read()


def map_from_header(
    names: Sequence[str], answers: Collection[str], *, units: UnitSet = UnitSet.US, row: Sequence[str] = ()
) -> ColumnMap:
    """Read the map off the header of a table.

    Args:
        names: of the columns.
        answers: ids of the checks.
        units: the set of numbers whose column names no unit.
        row: a unit for each column, from a row below the header; "" for none.

    Raises:
        InputError: no column says anything, a unit does not fit its field, or two columns say the same.
    """
    known = known_names(answers)
    found: dict[str, dict[int, str]] = {}
    unit_of: dict[str, str] = {}
    for i, column in enumerate(names):
        match = _HEADER.fullmatch(column)
        name, end = header_name(column), 0
        for suffix, which in _ENDS.items():
            if name.endswith(suffix) and FIELDS.get(known.get(name.removesuffix(suffix), ""), FIELDS["note"]).swing:
                name, end = name.removesuffix(suffix), which + 1
        target = known.get(name)
        if match is None or target is None:
            continue
        if end in found.setdefault(target, {}):
            raise InputError(
                f"two columns say {target}: {shown(found[target][end])} and {shown(column)}; write a map (--map)"
            )
        found[target][end] = column
        unit = (match["square"] or match["round"] or (row[i] if i < len(row) else "")).strip()
        unit_of.setdefault(target, unit)
    fields = {}
    for name, ends in found.items():
        columns = tuple(ends[e] for e in (1, 2) if e in ends) if 0 not in ends else (ends[0],)
        fields[name] = Source(columns, unit_of[name])
    machine, time = (fields.pop(name, None) for name in (MACHINE, TIME))
    for name, source in fields.items():
        sentence = _wrong_unit(name, source.unit, units)
        if sentence:
            raise InputError(f"column {shown(source.columns[0])}: {sentence}")
    if not fields:
        raise InputError(
            f"no column is named like a field of a reading or a check (it has {_listed(names)}); write a map that says "
            "which column is which field (--map), or name the columns like 'low_side [psi]'"
        )
    return ColumnMap(fields, {}, units, machine.columns[0] if machine else "", time.columns[0] if time else "")


def known_names(answers: Collection[str]) -> dict[str, str]:
    """Return what a column may be named -> the field or check it is."""
    known = {_folded(f.name): f.name for f in FIELDS.values() if f.name not in NOT_MAPPED}
    known |= {_folded(f.flag): f.name for f in FIELDS.values() if f.flag and f.name not in NOT_MAPPED}
    known |= {_folded(name): name for name in answers}
    return known | {TIME: TIME, "date": TIME}


def header_name(column: str) -> str:
    """Return what a column of a header is called, without its unit, small, with one `_` between its words."""
    match = _HEADER.fullmatch(column)
    return _folded(match["name"]) if match else ""


def _folded(name: str) -> str:
    return "_".join(name.strip().casefold().replace("-", " ").replace("_", " ").split())


def _listed(names: Iterable[str]) -> str:
    shown_names = [shown(name) for name in names]
    more = f" and {len(shown_names) - 12} more" if len(shown_names) > 12 else ""
    return ", ".join(shown_names[:12]) + more if shown_names else "no columns"


def _wrong_unit(name: str, unit: str, units: UnitSet) -> str:
    """Return what is wrong with a unit, or "" where nothing is."""
    known = FIELDS.get(name)
    if known is None or known.dimension is None:
        return f"{name} is told in words and has no unit" if unit else ""
    try:
        scale_of(known, unit, units)
    except QuantityError as error:
        return str(error)
    return ""


class _FileReader:
    """Reads one map; problems are collected, not raised one by one."""

    def __init__(self, node: yamlfile.Node, answers: Mapping[str, Iterable[str]]) -> None:
        self._node = node
        self._answers = answers
        self._problems: list[Problem] = []

    def read(self) -> ColumnMap:
        node = self._node
        if not isinstance(node, yamlfile.Mapping):
            raise FileProblems(
                [Problem(node.place, "map", "a map has the keys columns, constants, units and windows")]
            )
        self._problems += yamlfile.unknown_keys(node, _KEYS)
        units = self._units(node.get("units"))
        sources = self._sources(node.get("columns"), units)
        constants = self._constants(node.get("constants"), units)
        windows = read_rules(node.get(WINDOWS), self._problems)
        if self._problems:
            raise FileProblems(self._problems)
        machine, time = (sources.pop(name, None) for name in (MACHINE, TIME))
        return ColumnMap(
            sources,
            constants,
            units,
            machine.columns[0] if machine else "",
            time.columns[0] if time else "",
            windows,
        )

    def _say(self, place: Place, message: str) -> None:
        self._problems.append(Problem(place, "map", message))

    def _units(self, node: yamlfile.Node | None) -> UnitSet:
        if node is None:
            return UnitSet.US
        text = node.text.strip().casefold() if isinstance(node, yamlfile.Scalar) else ""
        if text not in list(UnitSet):
            self._say(node.place, f"units: write one of {', '.join(UnitSet)}")
            return UnitSet.US
        return UnitSet(text)

    def _sources(self, node: yamlfile.Node | None, units: UnitSet) -> dict[str, Source]:
        if not isinstance(node, yamlfile.Mapping) or not node.entries:
            place = self._node.place if node is None else node.place
            self._say(place, "columns: lines such as 'low_side: {column: p_suction, unit: bar}' belong here")
            return {}
        known = [name for name in FIELDS if name not in NOT_MAPPED] + [TIME, *self._answers]
        self._problems += yamlfile.unknown_keys(node, known)
        sources = {}
        for name, entry in node.entries.items():
            if name in known and (source := self._source(name, entry.value, units)) is not None:
                sources[name] = source
        return sources

    def _source(self, name: str, node: yamlfile.Node, units: UnitSet) -> Source | None:
        if isinstance(node, yamlfile.Scalar) and not node.is_empty:
            return self._with_unit(name, Source((node.text,), place=node.place), node.place, units)
        if isinstance(node, yamlfile.Sequence):
            both = self._columns(name, node)
            return None if both is None else self._with_unit(name, Source(both, place=node.place), node.place, units)
        if not isinstance(node, yamlfile.Mapping) or node.get("column") is None:
            self._say(node.place, f"{name}: write the name of a column, or {{column: NAME, unit: UNIT}}")
            return None
        self._problems += yamlfile.unknown_keys(node, _SOURCE_KEYS)
        column, unit, words = (node.get(key) for key in _SOURCE_KEYS)
        columns = self._columns(name, column)
        if columns is None:
            return None
        source = Source(columns, _text(unit), self._words(name, words), column.place if column else node.place)
        return self._with_unit(name, source, unit.place if unit else node.place, units)

    def _columns(self, name: str, node: yamlfile.Node | None) -> tuple[str, ...] | None:
        if isinstance(node, yamlfile.Scalar) and not node.is_empty:
            return (node.text,)
        if isinstance(node, yamlfile.Sequence):
            texts = [item.text for item in node.items if isinstance(item, yamlfile.Scalar)]
            if len(texts) == len(node.items) == 2 and name in FIELDS and FIELDS[name].swing:
                return tuple(texts)
            self._say(
                node.place,
                f"{name}: one column belongs here"
                + (", or two with the ends of its swing" if name in FIELDS and FIELDS[name].swing else ""),
            )
            return None
        self._say(node.place if node else self._node.place, f"{name}: the name of a column belongs here")
        return None

    def _words(self, name: str, node: yamlfile.Node | None) -> Mapping[str, str]:
        if node is None:
            return {}
        if not isinstance(node, yamlfile.Mapping):
            self._say(node.place, f"{name}: lines such as '\"1\": running' belong under words")
            return {}
        known = FIELDS.get(name)
        allowed = tuple(self._answers.get(name, ())) if known is None else (*known.choices, *known.words)
        if not allowed and name != "refrigerant":
            self._say(node.place, f"{name} is not told in words")
            return {}
        words = {}
        for written, entry in node.entries.items():
            word = _text(entry.value)
            if allowed and word not in (*allowed, "unknown"):
                near = did_you_mean(word, allowed, 1)
                hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join((*allowed, 'unknown'))}"
                self._say(entry.value.place, f"{name}: {shown(word)} is not a word for this; {hint}")
            words[written] = word
        return words

    def _with_unit(self, name: str, source: Source, place: Place, units: UnitSet) -> Source:
        if name not in (MACHINE, TIME):
            sentence = _wrong_unit(name, source.unit, units)
            if sentence:
                self._say(place, sentence)
        elif source.unit or source.words or len(source.columns) != 1:
            self._say(place, f"{name}: only the name of a column belongs here")
        return source

    def _constants(self, node: yamlfile.Node | None, units: UnitSet) -> Mapping[str, object]:
        if node is None or (isinstance(node, yamlfile.Scalar) and node.is_empty):
            return {}
        given = yamlfile.plain(node)
        if not isinstance(node, yamlfile.Mapping) or not isinstance(given, dict):
            self._say(node.place, "constants: lines such as 'refrigerant: R134a' belong here, as in a reading")
            return {}
        if "units" in given:
            self._say(yamlfile.locate(node, ("units",), key=True), "units stand beside constants, not under them")
            return {}
        try:
            reading = Reading(given, units=units, folder=Path(node.path).resolve().parent)
            reading.validate_checks(self._answers)
        except ReadingError as error:
            self._problems += positioned(error, node).problems
        return given


def _text(node: yamlfile.Node | None) -> str:
    return node.text.strip() if isinstance(node, yamlfile.Scalar) and not node.is_empty else ""
