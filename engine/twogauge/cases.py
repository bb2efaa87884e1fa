"""Labelled cases: readings whose cause is known, out of files, each problem with its place.

A file of cases is a YAML (or JSON) list. A case holds what was read in one of two ways, and what was wrong:

    - id: bus_17_june                 # optional; no two alike
      faults: [ID, ID]                # any of these counts as right, the likeliest first
      reading: {low_side: 6 psi, ..., checks: {ID: ANSWER}}       # a reading as `twogauge diagnose` takes it

    - id: manual_table_3_row_2        # as a manual tells it
      faults: [ID]
      kind: vehicle                   # vehicle, shelter, rooftop, or a word of the field `system`
      refrigerant: NAME               # these three: or unknown
      metering: txv                   # txv, or a word of the field `metering`
      compressor: cycling             # cycling, or a word of the field `compressor_control`
      conditions: {ambient: 80 degF}  # fields of a reading; engine_rpm and note only document
      readings: {low_side: 10-25 psi, high_side: low}             # a range is read at its middle
      checks: {ID: ANSWER}            # what the manual's observations answer

The id of the hypothesis that nothing is wrong marks a normal case. Keys that only document, and are not looked into:
source, published_causes, observations, inferred, conflict, note, machine, date, confirmed, packs, twogauge,
verbatim_numbers_checked.

A file whose name ends in `.jsonl` is a case book (casebook.py): one case a line, written the first way.

Nothing is judged here; evaluate.py does that.
"""

from __future__ import annotations

import os
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from twogauge.errors import FileProblems, did_you_mean, shown
from twogauge.fields import FIELDS, UNKNOWN
from twogauge.packs import yamlfile
from twogauge.packs.compile import Program
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError

BOOK_SUFFIX: Final = ".jsonl"
BOOK_BYTES: Final = 64 * 2**20  # some hundred thousand cases

DOCUMENTING: Final = (
    "source",
    "published_causes",
    "observations",
    "inferred",
    "conflict",
    "note",
    "machine",
    "date",
    "confirmed",
    "packs",
    "twogauge",
    "verbatim_numbers_checked",  # whether somebody compared the figures with the source; some files of cases say so
)
TOLD: Final = ("kind", "refrigerant", "metering", "compressor", "conditions", "readings", "checks")
KEYS: Final = ("id", "faults", "reading", *TOLD, *DOCUMENTING)

# Words of manuals for words of a reading; the words of a reading themselves are taken as well.
_KIND: Final = {"vehicle": "car_ac", "shelter": "packaged_ac", "rooftop": "packaged_ac"}
_METERING: Final = {"txv": "expansion_valve"}
_CONTROL: Final = {"cycling": "clutch_cycling"}
_WORDS: Final = (
    ("kind", "system", _KIND),
    ("metering", "metering", _METERING),
    ("compressor", "compressor_control", _CONTROL),
)
_READINGS: Final = {"discharge_temperature": "discharge_line"}
_ONLY_SAID: Final = ("engine_rpm", "note")  # of the conditions

_NUMBER: Final = r"-?\d+(?:\.\d+)?"
_RANGE: Final = re.compile(rf"({_NUMBER})\s*(?:-|to|\.\.)\s*({_NUMBER})\s*([^\d\s-].*)")


@dataclass(frozen=True, slots=True)
class Case:
    """A reading with what was wrong.

    Attributes:
        id: its name, or file and line where it has none.
        reading: what was read.
        faults: ids, the likeliest first; any of them is right.
        source: where the case was told, or "".
        place: where it begins.
        from_book: whether it stands in a case book.
    """

    id: str
    reading: Reading
    faults: tuple[str, ...]
    source: str
    place: Place
    from_book: bool = False


def read_cases(
    files: Iterable[str | Path], program: Program, *, units: UnitSet = UnitSet.US, text: bytes | None = None
) -> list[Case]:
    """Read every case of some files.

    Args:
        files: the files, in order; `-` for `text`.
        program: knows which faults and checks there are.
        units: the set a bare number is taken in, unless a reading has `units`.
        text: what came on standard input.

    Raises:
        FileProblems: everything that is wrong in all of the files, with file, line and column.
    """
    reader = _Reader(program, units)
    for file in files:
        reader.take(os.fspath(file), text)
    if reader.problems:
        raise FileProblems(reader.problems)
    return reader.cases


def fault_named(name: str, program: Program) -> str | None:
    """Return the id of a fault by the id it has or had; None if there never was one."""
    faults = program.stack.faults
    if name in faults:
        return name
    return next((now for now, loaded in faults.items() if name in loaded.entry.formerly), None)


class ListReader(ABC):
    """Reads lists of something that holds a reading; a subclass takes the items and says what else they hold.

    Attributes:
        problems: everything that is wrong so far.
    """

    def __init__(self, program: Program, units: UnitSet) -> None:
        self.problems: list[Problem] = []
        self._program = program
        self._units = units
        self._places: dict[str, Place] = {}  # of each id

    @abstractmethod
    def take_item(self, node: yamlfile.Node, folder: Path | None) -> None:
        """Take one item of a list; `folder` is where a baseline is looked up."""

    def take_list(self, name: str, text: bytes | None = None) -> None:
        """Take every item of a file, or of `text` under that name."""
        node = yamlfile.load(name, text)
        if not isinstance(node, yamlfile.Sequence):
            message = "a file of cases is a list: begin each case with '- ' and indent what belongs to it"
            self._problem(node.place, "shape", message)
            return
        folder = None if name == "<stdin>" else Path(name).resolve().parent
        for item in node.items:
            self.take_item(item, folder)

    def _problem(self, place: Place, code: str, message: str) -> None:
        self.problems.append(Problem(place, code, message))

    def _id(self, node: yamlfile.Mapping, place: Place) -> str:
        given = node.get("id")
        if given is None:
            return f"{Path(place.path).name}:{place.line}"
        if not isinstance(given, yamlfile.Scalar) or given.is_empty or not given.text.isprintable():
            self._problem(given.place, "id", "id: one name belongs here")
            return ""
        if given.text in self._places:
            message = (
                f"{shown(given.text)} is already the id of the case at {self._places[given.text]}; choose another"
            )
            self._problem(given.place, "duplicate", message)
        self._places.setdefault(given.text, place)
        return given.text

    def _fault_ids(self, given: yamlfile.Node, key: str) -> tuple[str, ...]:
        """Return the faults named in one text or a list, each once."""
        items: Sequence[yamlfile.Node] = given.items if isinstance(given, yamlfile.Sequence) else (given,)
        found: list[str] = []
        for item in items:
            if not isinstance(item, yamlfile.Scalar) or item.is_empty:
                self._problem(item.place, "value", f"{key}: ids of faults belong here, such as [ID, ID]")
                continue
            fault = self._fault_id(item)
            if fault is not None and fault not in found:
                found.append(fault)
        if not items:
            self._problem(given.place, "value", f"{key}: name at least one; a sound machine has one of its own")
        return tuple(found)

    def _fault_id(self, item: yamlfile.Scalar) -> str | None:
        fault = fault_named(item.text, self._program)
        if fault is None:
            near = did_you_mean(item.text, self._program.stack.faults)
            hint = f"did you mean {' or '.join(map(repr, near))}?" if near else "`twogauge rules faults` lists them"
            self._problem(item.place, "unknown-fault", f"{shown(item.text)} is not a fault known here; {hint}")
        return fault

    def _reading_below(
        self, own: yamlfile.Node, node: yamlfile.Mapping, folder: Path | None, hint: str = ""
    ) -> Reading | None:
        """Return the reading that is written out under the key `reading` of an item."""
        given = yamlfile.plain(own)
        if not isinstance(given, dict):
            self._problem(own.place, "reading", "reading: lines of 'field: value' belong here")
            return None
        return self._read(given, folder, node, lambda path: ("reading", *path), hint)

    def _read(
        self,
        given: dict[str, object],
        folder: Path | None,
        node: yamlfile.Mapping,
        path_of: Callable[[Sequence[str | int]], tuple[str | int, ...]],
        hint: str = "",
    ) -> Reading | None:
        """Return a reading; what is wrong with it is placed in `node`, where `path_of` says that it stands."""
        try:
            reading = Reading(given, units=self._units, folder=folder)
            reading.validate_checks(self._program.answers)
        except ReadingError as error:
            for trouble in error.troubles:
                place = yamlfile.locate(node, path_of(trouble.path), key=trouble.at_key)
                self._problem(place, "reading", trouble.message + (hint if trouble.at_key else ""))
            return None
        return reading


class _Reader(ListReader):
    def __init__(self, program: Program, units: UnitSet) -> None:
        super().__init__(program, units)
        self.cases: list[Case] = []
        self._packs = {header.pack for header in program.stack.packs}

    def take(self, file: str, text: bytes | None) -> None:
        before = len(self.cases) + len(self.problems)
        name = "<stdin>" if file == "-" else file
        try:
            if file != "-" and file.endswith(BOOK_SUFFIX):
                for number, line in _lines(file):
                    self._take_line(file, number, line)
            else:
                self.take_list(name, text if file == "-" else None)
        except FileProblems as error:
            self.problems += error.problems
        if len(self.cases) + len(self.problems) == before:
            self.problems.append(Problem(Place(name), "empty", "there is no case in this file; write at least one"))

    def _take_line(self, file: str, number: int, line: bytes) -> None:
        """Take one line of a book; it is parsed alone, so its places are moved down to where it stands."""
        mine = len(self.problems)
        try:
            node = yamlfile.load(file, line)
        except FileProblems as error:
            self.problems += error.problems
        else:
            self.take_item(node, None, number)
        self.problems[mine:] = [replace(p, place=_moved(p.place, number)) for p in self.problems[mine:]]

    def take_item(self, node: yamlfile.Node, folder: Path | None, line: int = 0) -> None:
        if not isinstance(node, yamlfile.Mapping):
            self._problem(node.place, "shape", "a case is lines of 'key: value', such as 'faults: [...]'")
            return
        mine = len(self.problems)
        self.problems += yamlfile.unknown_keys(node, KEYS)
        place = _moved(node.place, line) if line else node.place
        ident = self._id(node, place)
        faults = self._faults(node)
        reading = self._reading(node, folder)
        if len(self.problems) == mine and reading is not None:
            self.cases.append(Case(ident, reading, faults, source_of(node), place, from_book=line > 0))

    def _faults(self, node: yamlfile.Mapping) -> tuple[str, ...]:
        given = node.get("faults")
        if given is None:
            message = "'faults' is missing here; add what was wrong, such as 'faults: [ID]'"
            self._problem(node.place, "missing-key", message)
            return ()
        return self._fault_ids(given, "faults")

    def _reading(self, node: yamlfile.Mapping, folder: Path | None) -> Reading | None:
        told = [name for name in TOLD if name in node.entries]
        own = node.get("reading")
        if own is not None:
            for name in told:
                message = f"'reading' says what was read; move {name!r} into it, or leave one of the two out"
                self._problem(node.entries[name].key_place, "twice", message)
            return self._reading_below(own, node, folder, self._packs_missing(node))
        if not told:
            self._problem(node.place, "missing-key", "what was read is missing here; add 'reading' or 'readings'")
            return None
        origin: dict[str, tuple[str, ...]] = {}
        given = self._translated(node, origin)
        return self._read(
            given,
            folder,
            node,
            lambda path: (*origin.get(str(path[0]), tuple(path[:1])), *path[1:]),
            self._packs_missing(node),
        )

    def _packs_missing(self, node: yamlfile.Mapping) -> str:
        """A case confirmed with a shop's pack may answer checks that only this pack knows."""
        packs = node.get("packs")
        if not isinstance(packs, yamlfile.Mapping):
            return ""
        names = [shown(name) for name in packs.entries if name not in self._packs]
        return f" (pack {' and '.join(names)} was in force then; add it with --rules)" if names else ""

    def _translated(self, node: yamlfile.Mapping, origin: dict[str, tuple[str, ...]]) -> dict[str, object]:
        """Turn a manual's telling into a reading; `origin` gets the path of each field in the case."""
        given: dict[str, object] = {}

        def put(field: str, value: object, *path: str) -> None:
            place = yamlfile.locate(node, path, key=True)
            if field in given:
                self._problem(place, "twice", f"{field} is told twice in this case; leave one out")
            given[field], origin[field] = value, path

        for key, field, translation in _WORDS:
            word = self._word(node, key, (*translation, *FIELDS[field].choices, UNKNOWN))
            if word is not None:
                put(field, translation.get(word, word), key)
        refrigerant = node.get("refrigerant")
        if refrigerant is not None:
            put("refrigerant", yamlfile.plain(refrigerant), "refrigerant")
        for part in ("conditions", "readings"):
            for name, entry in self._members(node, part):
                if part == "conditions" and name in _ONLY_SAID:
                    continue
                field = _READINGS.get(name, name) if part == "readings" else name
                if field not in FIELDS:
                    known = [*FIELDS, *(_READINGS if part == "readings" else _ONLY_SAID)]
                    near = did_you_mean(name, known)
                    hint = f"did you mean {' or '.join(map(repr, near))}?" if near else "name a field of a reading"
                    self._problem(entry.key_place, "unknown-field", f"{shown(name)} is not known in {part}; {hint}")
                    continue
                value = yamlfile.plain(entry.value)
                put(field, _middle(value) if isinstance(value, str) else value, part, name)
        if "checks" in node.entries:
            given["checks"] = yamlfile.plain(node.entries["checks"].value)
        return given

    def _word(self, node: yamlfile.Mapping, key: str, known: Sequence[str]) -> str | None:
        value = node.get(key)
        if value is None:
            return None
        text = value.text if isinstance(value, yamlfile.Scalar) else ""
        word = re.sub(r"[\s-]+", "_", text.strip().casefold())
        if word in known:
            return word
        near = did_you_mean(text, known, 1)
        hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(known)}"
        self._problem(value.place, "value", f"{key}: {shown(text)} is not a word for this; {hint}")
        return None

    def _members(self, node: yamlfile.Mapping, key: str) -> Iterator[tuple[str, yamlfile.Entry]]:
        value = node.get(key)
        if isinstance(value, yamlfile.Mapping):
            yield from value.entries.items()
        elif value is not None and not (isinstance(value, yamlfile.Scalar) and value.is_empty):
            self._problem(value.place, "shape", f"{key}: lines of 'field: value' belong here")


def _lines(file: str) -> Iterator[tuple[int, bytes]]:
    for number, line in enumerate(yamlfile.read_bytes_bounded(file, BOOK_BYTES).split(b"\n"), start=1):
        if line.strip():
            yield number, line


def _moved(place: Place, number: int) -> Place:
    return replace(place, line=place.line + number - 1)


def source_of(node: yamlfile.Mapping) -> str:
    """Return where a case was told, or ""."""
    source = node.get("source")
    if isinstance(source, yamlfile.Mapping):
        source = source.get("title")
    return " ".join(source.text.split()) if isinstance(source, yamlfile.Scalar) else ""


def _middle(text: str) -> str:
    """Read a published range at its middle; other text is left as it is."""
    match = _RANGE.fullmatch(text.strip())
    return text if match is None else f"{(float(match[1]) + float(match[2])) / 2:g} {match[3]}"
