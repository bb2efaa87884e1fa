"""A job sheet: what was found, done, taken out and put in on one machine, by whom and when. This module reads one.

A sheet is YAML that anybody can read without this program:

    format: 1
    entries:
      - did: opened
        at: 2026-06-22T09:10:00-05:00
        by: bay 2
        machine: bus 31

Entries are only ever added (job_file.py); what was wrong is set right by a later one. KINDS says what each may hold.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from twogauge.errors import FileProblems, InputError, QuantityError, UnknownNameError, shown
from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import Dimension, UnitSet, parse
from twogauge.refrigerants import get

FORMAT: Final = "1"
LONGEST: Final = 2000  # characters of one text
RESULTS: Final = ("passed", "failed", "unclear")
# Test -> how it is called in print; those of LEAK_TESTS tell whether the circuit is tight.
TESTS: Final = {
    "standing": "pressure at rest",
    "vacuum": "vacuum reached",
    "hold": "vacuum held",
    "nitrogen": "pressure held with nitrogen",
    "leak_search": "search for leaks",
    "performance": "performance",
}
LEAK_TESTS: Final = ("hold", "nitrogen", "leak_search")
WEIGHED: Final = ("recovered", "charged")


@dataclass(frozen=True, slots=True)
class Kind:
    """What an entry of one kind holds beside `did`, `at`, `by`, `certificate` and `note`.

    Attributes:
        about: what it is for.
        needs: keys it must have, in the order in which they are written behind its name at the command line.
        takes: further keys.
    """

    about: str
    needs: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()


KINDS: Final[Mapping[str, Kind]] = {
    "opened": Kind(
        "the job was opened", takes=("machine", "customer", "refrigerant", "charge", "system", "metering", "place")
    ),
    "reading": Kind("gauges were read", ("reading",), ("diagnosis",)),
    "test": Kind("something was tested", ("test", "result"), ("showed",)),
    "recovered": Kind("refrigerant was taken out", ("refrigerant", "amount"), ("cylinder",)),
    "charged": Kind("refrigerant was put in", ("refrigerant", "amount"), ("cylinder",)),
    "part": Kind("a part was replaced or repaired", ("part",)),
    "oil": Kind("oil was put in", ("oil", "amount")),
    "step": Kind("a step of a plan was done, or does not apply", ("plan", "step"), ("not_applicable",)),
    "note": Kind("something worth keeping", ("note",)),
    "strike": Kind("an earlier entry does not count", ("entry", "note")),
    "closed": Kind("the job was finished"),
    "reopened": Kind("the finished job was opened again", ("note",)),
}
# What may be added to a finished job without opening it again.
AFTER_CLOSING: Final = ("note", "strike", "reopened")
UNREADABLE: Final = "unreadable"  # in place of a kind, of an entry that job_salvage.py could not read
COMMON: Final = ("did", "at", "by", "certificate", "written", "note")
NESTED: Final = ("reading", "diagnosis", "showed")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a sheet.

    Attributes:
        did: a word of KINDS.
        at: when.
        by: who.
        told: everything else that stands in it.
    """

    did: str
    at: datetime
    by: str
    told: Mapping[str, Any]

    def text(self, key: str) -> str:
        """Return a text of it, or ""."""
        return str(self.told.get(key, ""))


@dataclass(frozen=True, slots=True)
class Sheet:
    """A job sheet that was read.

    Attributes:
        name: of its file, as given.
        entries: in the order in which they were added; the first is number 1.
        problems: what in it cannot be read, with places; only where job_salvage.py read it.
    """

    name: str
    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...] = ()

    def those(self, *did: str) -> tuple[Entry, ...]:
        """Return the entries of some kinds, without those that were struck."""
        struck = self.struck
        return tuple(each for i, each in enumerate(self.entries, start=1) if each.did in did and i not in struck)

    @property
    def struck(self) -> dict[int, str]:
        """Return the number of each entry that does not count [1], and why."""
        return {int(each.text("entry")): each.text("note") for each in self.entries if each.did == "strike"}

    def latest(self, key: str) -> str:
        """Return what the last opening entry says under a key, or ""."""
        return next((each.text(key) for each in reversed(self.those("opened")) if each.text(key)), "")

    @property
    def certificates(self) -> dict[str, str]:
        """Return the last certificate number written beside each name that has one."""
        return {each.by: each.text("certificate") for each in self.entries if each.text("certificate")}

    def total(self, did: str) -> dict[str, float]:
        """Return refrigerant -> weight of all entries of a kind [kg]."""
        found: dict[str, float] = {}
        for each in self.those(did):
            name = get(each.text("refrigerant")).id
            found[name] = found.get(name, 0.0) + weight(each)
        return found

    def done(self, plan: str) -> tuple[str, ...]:
        """Return the steps of a plan that were ticked as done; of several ticks of one step the last counts."""
        return tuple(step for step, reason in self._ticks(plan).items() if not reason)

    def not_applicable(self, plan: str) -> dict[str, str]:
        """Return the steps of a plan that were ticked as not applicable, each with the reason."""
        return {step: reason for step, reason in self._ticks(plan).items() if reason}

    def _ticks(self, plan: str) -> dict[str, str]:
        ticks = [each for each in self.those("step") if each.text("plan") == plan]
        return {each.text("step"): each.text("not_applicable") for each in ticks}

    @property
    def closing(self) -> Entry | None:
        """The entry that finished the job, unless it was opened again after that."""
        last = self.those("closed", "reopened")[-1:]
        return last[0] if last and last[0].did == "closed" else None

    @property
    def closed(self) -> bool:
        """Whether the job is finished; what is noted afterwards does not open it again."""
        return self.closing is not None


def weight(entry: Entry) -> float:
    """Return the weight of an entry that was weighed [kg]."""
    return parse(entry.text("amount"), Dimension.MASS, units=UnitSet.SI).value


def moment(text: str) -> datetime:
    """Read a day and a time; where no time zone stands, that of this machine.

    Raises:
        InputError: it is none.
    """
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{shown(text)} is not a time; write it as 2026-06-22T09:10, or 2026-06-22 09:10") from None
    try:
        return found.astimezone() if found.tzinfo is None else found
    except (OverflowError, OSError, ValueError):
        raise InputError(f"{shown(text)} is not a time of this world") from None


def read_sheet(path: str | os.PathLike[str], text: bytes | None = None) -> Sheet:
    """Read a job sheet.

    Args:
        path: the file; with `text`, only the name used in messages.
        text: the content, when it is at hand.

    Raises:
        FileProblems: everything that is wrong with it, with places.
    """
    node = yamlfile.load(path, text)
    place = node.place
    if not isinstance(node, yamlfile.Mapping) or node.get("entries") is None:
        raise _refusal(place, "this is no job sheet: it has no 'entries'; `twogauge job new` begins one")
    version = node.get("format")
    if not isinstance(version, yamlfile.Scalar) or version.text != FORMAT:
        at = place if version is None else version.place
        raise _refusal(at, f"this sheet is not of format {FORMAT}, the only one known here")
    problems = yamlfile.unknown_keys(node, ("format", "entries"))
    listed = node.get("entries")
    if not isinstance(listed, yamlfile.Sequence):
        raise _refusal(place if listed is None else listed.place, "entries: a list belongs here")
    entries: list[Entry] = []
    kinds: list[str] = []
    for item in listed.items:
        found = entry_of(item, problems)
        if len(problems) >= yamlfile.MAX_PROBLEMS:
            break
        if found is None:
            continue
        if found.did == "strike" and not may_be_struck(found, kinds):
            message = f"entry: {found.text('entry')} is no earlier entry that can be struck; the first is number 1"
            problems.append(Problem(yamlfile.locate(item, ("entry",)), "job", message))
        entries.append(found)
        kinds.append(found.did)
    if problems:
        raise FileProblems(problems)
    return Sheet(os.fspath(path), tuple(entries))


def check(told: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with the values of an entry: the key and a sentence.

    Args:
        told: the whole entry, as texts and mappings.
    """
    did = str(told.get("did", ""))
    if did not in KINDS:
        return [("did", str(UnknownNameError("kind of entry", did, KINDS, hint=f"write one of {', '.join(KINDS)}")))]
    kind = KINDS[did]
    found = [(key, f"{did}: {key} is missing") for key in ("at", "by", *kind.needs) if not told.get(key)]
    known = (*COMMON, *kind.needs, *kind.takes)
    for key, value in told.items():
        if key not in known:
            hint = f"an entry '{did}' holds {', '.join(known)}"
            found.append((key, str(UnknownNameError("key", key, known, hint=hint))))
        elif key in NESTED:
            if not isinstance(value, Mapping):
                found.append((key, f"{key}: lines of 'name: value' belong here"))
        elif not isinstance(value, str):
            found.append((key, f"{key}: a text belongs here"))
        elif len(value) > LONGEST or not value.isprintable():
            found.append((key, f"{key}: write plain text of at most {LONGEST} characters, on one line"))
    return found or list(_values(told))


def _values(told: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    for key in ("at", "written"):
        try:
            moment(told.get(key, told["at"]))
        except InputError as error:
            yield key, str(error)
    for key in ("refrigerant", "amount", "charge"):
        if key not in told:
            continue
        try:
            if key == "refrigerant":
                get(told[key])
            else:
                dimension = Dimension.VOLUME if told["did"] == "oil" else Dimension.MASS
                value = parse(told[key], dimension, field=key, units=UnitSet.US).value
                if value < 0.0 or (key == "charge" and not value > 0.0):
                    yield key, f"{key}: {shown(told[key])} cannot be; write what the scale showed"
                if not any(c.isalpha() for c in told[key]):
                    yield (
                        key,
                        f"{key}: write the unit behind {shown(told[key])}, for nobody remembers it in ten years",
                    )
        except (InputError, QuantityError) as error:
            yield key, str(error)
    if told["did"] == "strike" and not (told["entry"].isascii() and told["entry"].isdecimal()):
        yield "entry", f"entry: {shown(told['entry'])} is not the number of an entry; `twogauge job show` tells them"
    if "test" in told and told["test"] not in TESTS:
        hint = f"write one of {', '.join(TESTS)}"
        yield "test", str(UnknownNameError("test", told["test"], TESTS, hint=hint))
    if "result" in told and told["result"] not in RESULTS:
        hint = f"write one of {', '.join(RESULTS)}"
        yield "result", str(UnknownNameError("result", told["result"], RESULTS, hint=hint))


def entry_of(item: yamlfile.Node, problems: list[Problem]) -> Entry | None:
    """Read one entry, or tell why it cannot be read.

    Args:
        item: of the list of entries.
        problems: gets what is wrong.
    """
    told = yamlfile.plain(item)
    if not isinstance(told, dict):
        problems.append(Problem(item.place, "job", "an entry is lines of 'key: value', beginning with 'did'"))
        return None
    told = {key: " ".join(value.split()) if isinstance(value, str) else value for key, value in told.items()}
    wrong = check(told)
    problems += [
        Problem(yamlfile.locate(item, (key,) if key in told else ()), "job", message) for key, message in wrong
    ]
    if wrong:
        return None
    rest = {key: value for key, value in told.items() if key not in {"did", "at", "by"}}
    return Entry(str(told["did"]), moment(str(told["at"])), str(told["by"]), rest)


def may_be_struck(found: Entry, before: Sequence[str]) -> bool:
    """Tell whether an entry strikes one that may be struck.

    Args:
        found: an entry `strike`.
        before: the kinds of the entries before it.
    """
    number = int(found.text("entry")) if len(found.text("entry")) < 7 else 0
    return 1 <= number <= len(before) and before[number - 1] not in {"opened", "strike"}


def _refusal(place: Place, message: str) -> FileProblems:
    return FileProblems([Problem(place, "job", message)])
