"""The cases of a pack: whole readings with what must come out of them, out of the files in its folder `cases`.

A file of cases is a YAML list. A case is a reading, what is expected of it, and why:

    - id: leak_that_shows_on_both_gauges      # no two alike in one pack; without it, file and line
      title: ...                              # optional, a line for whoever reads the file
      reading: {low_side: low, high_side: low, vent_air: 70 degF}         # as `twogauge diagnose` takes it
      expect:                                 # at least one of these
        first: [ID, ID]                       # one of these faults is the most probable
        not_first: [ID]                       # none of these is
        within_three: [ID]                    # each of these is among the first three
        not_within_three: [ID]                # none of these is
        verdict: fault                        # or a list of which one comes; see weigh.Verdict
        at_least: {ID: 60 %}                  # the probability of each of these
        at_most: {ID: 5 %}
        fires: [RULE]                         # these rules (or gates) hold, to a degree of at least 0.9
        silent: [RULE]                        # these do not hold, or cannot be judged
        speaks_for: [ID]                      # the evidence makes each of these more likely than it was before
        speaks_against: [ID]                  # less likely
        favours: {ID: [ID]}                   # the evidence speaks more for the first than for each of the others
        topic: NAME                           # in the three before this, only the evidence of this topic counts
      source: ...                             # where the case was told,
      note: ...                               # or why the answer is right; one of the two is needed

One fault or rule may stand without its brackets. The evidence counts from LEAST decibans on: `speaks_for` and
`speaks_against` look at the weight of evidence of a fault, `favours` at the difference of two. A reading that holds
nothing but what one rule looks at makes `speaks_for` and `speaks_against` a statement about that sight alone.

Reads and checks; trial.py compares.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from twogauge.cases import ListReader, source_of
from twogauge.errors import FileProblems, InputError, QuantityError, did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.compile import Program
from twogauge.packs.in_force import CASES
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import Dimension, UnitSet, parse
from twogauge.reading import Reading
from twogauge.weigh import Verdict

LEAST: Final = 0.5  # [decibans] less evidence than this speaks for nothing; half of the smallest weight in use

FAULTS: Final = ("first", "not_first", "within_three", "not_within_three", "speaks_for", "speaks_against")
RULES: Final = ("fires", "silent")
CHANCES: Final = ("at_least", "at_most")
BY_TOPIC: Final = ("speaks_for", "speaks_against", "favours")
EXPECT: Final = (*FAULTS, "verdict", *CHANCES, *RULES, "favours", "topic")
KEYS: Final = ("id", "title", "reading", "expect", "source", "note")

_MAX_FILES: Final = 500


@dataclass(frozen=True, slots=True)
class Expectation:
    """One thing that must come out.

    Attributes:
        key: which, one of EXPECT.
        names: faults, rules or verdicts; for `first` and `verdict` any of them will do, else each counts.
        place: where it is written.
        rivals: for `favours`: the faults that the one in `names` must beat.
        chance: for `at_least` and `at_most` [1].
        topic: for those of BY_TOPIC: the only topic that counts, or "" for all.
    """

    key: str
    names: tuple[str, ...]
    place: Place
    rivals: tuple[str, ...] = ()
    chance: float = 0.0
    topic: str = ""


@dataclass(frozen=True, slots=True)
class PackCase:
    """A reading with what must come out of it.

    Attributes:
        id: its name.
        pack: whose case it is.
        reading: what was read.
        expected: each thing by itself.
        place: where it begins.
        why: its source or its note.
    """

    id: str
    pack: str
    reading: Reading
    expected: tuple[Expectation, ...]
    place: Place
    why: str


def read_pack_cases(folders: Iterable[tuple[str, str | Path]], program: Program) -> list[PackCase]:
    """Read the cases of some packs.

    Args:
        folders: (pack, its folder), in order.
        program: everything in force, compiled; knows faults, rules, topics and checks.

    Raises:
        FileProblems: everything that is wrong in all of the files, with file, line and column.
        InputError: a link that leads out of the pack, or more files than anybody writes.
    """
    cases: list[PackCase] = []
    problems: list[Problem] = []
    for pack, folder in folders:
        reader = _Reader(pack, program)
        for path in _files_of(Path(folder)):
            before = len(reader.cases) + len(reader.problems)
            try:
                reader.take_list(os.fspath(path))
            except FileProblems as error:
                reader.problems += error.problems
            if len(reader.cases) + len(reader.problems) == before:
                message = "there is no case in this file; write at least one, or remove it"
                reader.problems.append(Problem(Place(os.fspath(path)), "empty", message))
        cases += reader.cases
        problems += reader.problems
    if problems:
        raise FileProblems(problems)
    return cases


def _files_of(folder: Path) -> list[Path]:
    where = folder / CASES
    found: list[Path] = []
    for path in sorted(where.rglob("*")):
        if path.suffix not in {".yaml", ".yml"} or any(
            part.startswith(".") for part in path.relative_to(where).parts
        ):
            continue
        if not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder)):
            raise InputError(f"{path} is a link that leads out of the pack; put the file itself there")
        found.append(path)
        if len(found) > _MAX_FILES:
            raise InputError(f"{where} holds more than {_MAX_FILES} files of cases; put several cases into one file")
    return found


class _Reader(ListReader):
    def __init__(self, pack: str, program: Program) -> None:
        super().__init__(program, UnitSet.US)
        self.cases: list[PackCase] = []
        self._pack = pack
        stack = program.stack
        self._rules = {*stack.rules, *stack.gates, *stack.disabled}
        self._topics = set(program.topics) | stack.disabled_topics

    def take_item(self, node: yamlfile.Node, folder: Path | None) -> None:
        if not isinstance(node, yamlfile.Mapping):
            self._problem(node.place, "shape", "a case is lines of 'key: value', such as 'reading: {...}'")
            return
        mine = len(self.problems)
        self.problems += yamlfile.unknown_keys(node, KEYS)
        ident = self._id(node, node.place)
        own, reading = node.get("reading"), None
        if own is None:
            self._problem(node.place, "missing-key", "'reading' is missing here; add what was read")
        else:
            reading = self._reading_below(own, node, folder)
        expected = self._expected(node)
        why = source_of(node) or _prose(node.get("note"))
        if not why:
            message = "say where this case was told ('source'), or why its answer is right ('note')"
            self._problem(node.place, "missing-key", message)
        if len(self.problems) == mine and reading is not None:
            self.cases.append(PackCase(ident, self._pack, reading, expected, node.place, why))

    def _expected(self, node: yamlfile.Mapping) -> tuple[Expectation, ...]:
        expect = node.get("expect")
        if not isinstance(expect, yamlfile.Mapping):
            place = node.place if expect is None else expect.place
            self._problem(place, "missing-key", "'expect' is missing here; add what must come out, such as first: ID")
            return ()
        self.problems += yamlfile.unknown_keys(expect, EXPECT)
        topic = self._topic(expect)
        found: list[Expectation] = []
        for key, entry in expect.entries.items():
            if key in FAULTS:
                names = self._fault_ids(entry.value, key)
                found.append(Expectation(key, names, entry.key_place, topic=topic if key in BY_TOPIC else ""))
            elif key in RULES:
                found.append(Expectation(key, self._listed(entry.value, key, "rule", self._rules), entry.key_place))
            elif key == "verdict":
                words = {verdict.word for verdict in Verdict}
                found.append(Expectation(key, self._listed(entry.value, key, key, words), entry.key_place))
            elif key in CHANCES:
                found += self._chances(key, entry.value)
            elif key == "favours":
                found += self._favours(entry.value, topic)
        if not found and set(expect.entries) <= {"topic"}:
            self._problem(expect.place, "missing-key", "expect: add what must come out, such as first: ID")
        return tuple(found)

    def _topic(self, expect: yamlfile.Mapping) -> str:
        value = expect.get("topic")
        if value is None:
            return ""
        if not set(expect.entries) & set(BY_TOPIC):
            message = f"topic: belongs beside {', '.join(BY_TOPIC)}; there is none of them here"
            self._problem(expect.entries["topic"].key_place, "unheeded", message)
        return "".join(self._listed(value, "topic", "topic", self._topics)[:1])

    def _listed(self, value: yamlfile.Node, key: str, kind: str, known: set[str]) -> tuple[str, ...]:
        """Return names of one kind, out of one text or a list."""
        items: Sequence[yamlfile.Node] = value.items if isinstance(value, yamlfile.Sequence) else (value,)
        found: list[str] = []
        if not items:
            self._problem(value.place, "value", f"{key}: name at least one {kind}")
        for item in items:
            if not isinstance(item, yamlfile.Scalar) or item.is_empty:
                self._problem(item.place, "value", f"{key}: a {kind} belongs here")
            elif item.text not in known:
                near = did_you_mean(item.text, known)
                few = (
                    f"it is one of {', '.join(sorted(known))}"
                    if len(known) < 8
                    else "`twogauge rules list` tells them"
                )
                hint = f"did you mean {' or '.join(map(repr, near))}?" if near else few
                self._problem(item.place, f"unknown-{kind}", f"{shown(item.text)} is not a {kind} known here; {hint}")
            else:
                found.append(item.text)
        return tuple(found)

    def _by_fault(self, key: str, value: yamlfile.Node, example: str) -> Mapping[str, yamlfile.Entry]:
        """Return fault -> what is said of it."""
        if not isinstance(value, yamlfile.Mapping) or not value.entries:
            self._problem(value.place, "shape", f"{key}: lines of 'fault: ...' belong here, such as {example}")
            return {}
        named = {self._fault_id(entry.key): entry for entry in value.entries.values()}
        return {fault: entry for fault, entry in named.items() if fault is not None}

    def _chances(self, key: str, value: yamlfile.Node) -> list[Expectation]:
        found = []
        for fault, entry in self._by_fault(key, value, "{ID: 60 %}").items():
            text = entry.value.text if isinstance(entry.value, yamlfile.Scalar) else ""
            try:
                chance = parse(text, Dimension.FRACTION, units=UnitSet.US).value
            except QuantityError:
                chance = -1.0
            if "%" not in text or not 0.0 < chance < 1.0:
                message = f"{key}: a probability between 0 % and 100 % belongs here, such as 60 %"
                self._problem(entry.value.place, "value", message)
            found.append(Expectation(key, (fault,), entry.key_place, chance=chance))
        return found

    def _favours(self, value: yamlfile.Node, topic: str) -> list[Expectation]:
        found = []
        for fault, entry in self._by_fault("favours", value, "{ID: [ID, ID]}").items():
            rivals = self._fault_ids(entry.value, "favours")
            if fault in rivals:
                self._problem(entry.value.place, "value", f"favours: {fault} cannot beat itself; take it out here")
            found.append(Expectation("favours", (fault,), entry.key_place, rivals, topic=topic))
        return found


def _prose(node: yamlfile.Node | None) -> str:
    return " ".join(node.text.split()) if isinstance(node, yamlfile.Scalar) else ""
