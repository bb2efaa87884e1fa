"""Packs on packs: lets later packs add to, adjust, extend and disable what earlier ones say, and validates the result.

From below to above: the built-in packs, those installed beside twogauge (layers.py finds them), and those a person
names, in the order named; the later one counts. The result is every entry in force with its position and its history.
What the entries mean (whether a fault exists, what a threshold weighs) is compile.py's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Final

from twogauge.errors import FileProblems, did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.formats import whole
from twogauge.packs.in_force import BUILT_IN, Change, Disabled, Found, Layer, Loaded, Stack, rules_folder
from twogauge.packs.merge import Step, extended, replaced
from twogauge.packs.model import KINDS, Header
from twogauge.packs.pack_files import PackFiles, names_inside, read_pack, survey_pack, texts
from twogauge.packs.problems import MOST_HINTS, Place, Problem
from twogauge.packs.validate import salvage, validate

__all__ = [
    "Layered",
    "Loaded",
    "Stack",
    "Survey",
    "built_in",
    "built_in_packs",
    "read_pack",
    "rules_folder",
    "stack",
    "stack_on_built_in",
    "stack_packs",
    "survey",
]


@dataclass(frozen=True)
class Layered:
    """A pack and where it comes from.

    Attributes:
        distribution: name and version of what installed it, or "".
    """

    pack: PackFiles
    layer: Layer
    distribution: str = ""

    def found(self, refused: tuple[str, ...] = ()) -> Found:
        """Return what can be told of it."""
        header = self.pack.header
        return Found(
            header.pack,
            self.layer,
            self.pack.folder,
            self.distribution,
            header.title or "",
            header.edition,
            header.format,
            self.pack.counts,
            refused,
        )


@cache
def built_in() -> Stack:
    """Return the built-in packs, read once."""
    return stack_packs(built_in_packs())


def built_in_packs() -> list[Layered]:
    """Return the built-in packs as they were read; read once for each folder they may lie in."""
    return [Layered(_read_once(rules_folder() / name), "built-in") for name in BUILT_IN]


_read_once = cache(read_pack)


def stack_on_built_in(folders: Iterable[str | Path]) -> Stack:
    """Stack folders on the built-in packs, in the order given.

    Raises:
        FileProblems: everything that is wrong in them, with file, line and column.
        InputError: a folder that is not there or holds no pack.
    """
    mine = [Layered(read_pack(Path(folder)), "named") for folder in folders]
    return stack_packs([*built_in_packs(), *mine]) if mine else built_in()


def stack(folders: Iterable[str | Path]) -> Stack:
    """Read packs and stack them: later ones add to, adjust, extend and disable what earlier ones say.

    Raises:
        FileProblems: everything that is wrong in them, with file, line and column.
        InputError: a folder that is not there or holds no pack.
    """
    return stack_packs([Layered(read_pack(Path(folder)), "named") for folder in folders])


def stack_packs(packs: Sequence[Layered]) -> Stack:
    """Stack packs that were read.

    Raises:
        FileProblems: everything that is wrong in them, with file, line and column.
    """
    found = _Builder(packs).finish()
    if found.problems:
        raise FileProblems(found.problems)
    return found.stack


@dataclass(frozen=True)
class Survey:
    """What a look through all packs found, whether or not they can be used.

    Attributes:
        stack: every entry that is sound by itself.
        problems: everything that is wrong in the form of the files and in how they stack.
        remarks: what the author of a change should look at again.
        lost: names of entries that could not be read; nobody can say that they do not exist.
        mentioned: names that stand inside what could not be read; nobody can say that they are not used.
        rests: section -> id -> what is sound of an entry that is not; only for a further look at its names and numbers.
    """

    stack: Stack
    problems: tuple[Problem, ...]
    remarks: tuple[Problem, ...]
    lost: frozenset[str]
    mentioned: frozenset[str]
    rests: Mapping[str, Mapping[str, Loaded[Any]]] = field(default_factory=dict)


_WORTH_SAVING: Final = ("rules", "gates")


def survey(ground: Sequence[Layered], folders: Iterable[str | Path]) -> Survey:
    """Read and stack packs as far as they can be read, and collect what is wrong in all of them.

    Args:
        ground: packs that were read, below the others.
        folders: of the packs on them, in order.

    Raises:
        InputError: a folder that is not there or holds no pack.
    """
    read = [survey_pack(Path(folder)) for folder in folders]
    mine = [Layered(each.pack, "named") for each in read if each.pack is not None]
    lost = frozenset(name for each in read for name in each.lost)
    found = _Builder([*ground, *mine], lost).finish()
    problems = (*(problem for each in read for problem in each.problems), *found.problems)
    mentioned = found.mentioned.union(*(each.mentioned for each in read))
    return replace(found, problems=tuple(dict.fromkeys(problems)), mentioned=mentioned)


class _Builder:
    def __init__(self, packs: Sequence[Layered], lost: frozenset[str] = frozenset()) -> None:
        self._packs = packs
        self._lost = set(lost)
        self._mentioned: set[str] = set()
        self._remarks: list[Problem] = []
        self._headers: list[Header] = []
        self._layers: dict[str, Layer] = {}
        self._entries: dict[str, tuple[str, yamlfile.Entry, str]] = {}  # id -> section, entry, pack
        self._notes: dict[str, list[tuple[str, str]]] = {}
        self._changes: dict[str, list[Change]] = {}
        self._touched: dict[tuple[str, tuple[str, ...]], tuple[str, Place]] = {}
        self._formerly: dict[str, str] = {}
        self._disabled: dict[str, Disabled] = {}
        self._rests: dict[str, dict[str, Loaded[Any]]] = {kind: {} for kind in _WORTH_SAVING}
        self._problems: list[Problem] = []
        self._notices: list[str] = []
        self._builds_on: dict[str, set[str]] = {}

    def add(self, layered: Layered) -> None:
        pack = layered.pack
        self._notices.extend(pack.notices)
        self._take_header(pack)
        name = pack.header.pack
        self._layers[name] = layered.layer
        added = []
        for (kind, ident), entry in pack.entries.items():
            if ident in self._entries:
                _, first, owner = self._entries[ident]
                message = f"{ident!r} is already defined by pack {owner!r} at {first.key_place}; "
                message += "use 'adjust' to change it, or another id" if owner != name else "give one another id"
                self._problem(entry.key_place, "duplicate", message)
                continue
            self._entries[ident] = (kind, entry, name)
            added.append(ident)
        for ident in added:
            self._take_former_ids(ident)
        for section in ("adjust", "extend"):
            for ident, entry in getattr(pack, section).items():
                target = self._find(ident, entry.key_place, section, name)
                note = self._note(entry) if target is not None else None
                if target is not None and note is not None and isinstance(entry.value, yamlfile.Mapping):
                    self._change(pack, target, entry.key_place, entry.value, note, extends=section == "extend")
        for ident, entry in pack.disable.items():
            target = self._find(ident, entry.key_place, "disable", name)
            note = self._note(entry)
            if target is not None and note is not None:
                self._disable(name, target, entry, note)

    def finish(self) -> Survey:
        """Stack them all, validate what results, and say what is wrong."""
        for each in self._packs:
            self.add(each)
        loaded: dict[str, dict[str, Loaded[Any]]] = {kind: {} for kind in KINDS}
        for ident, (kind, entry, pack) in self._entries.items():
            if ident in self._disabled or not isinstance(entry.value, yamlfile.Mapping):
                continue
            valid = validate(KINDS[kind], entry.value, self._problems, key_place=entry.key_place)
            if valid is None:
                self._lost.update((ident, *texts(entry.value.get("topic"))))
                self._mentioned |= names_inside(entry.value)
                rest = salvage(KINDS[kind], entry.value) if kind in _WORTH_SAVING else None
                if rest is not None:
                    self._rests[kind][ident] = Loaded(ident, rest, entry.value, pack, defined=entry.key_place)
                continue
            notes = tuple(dict.fromkeys(self._notes.get(ident, ())))
            changes = tuple(self._changes.get(ident, ()))
            loaded[kind][ident] = Loaded(ident, valid, entry.value, pack, notes, changes, entry.key_place)
        found = Stack(
            tuple(self._headers),
            **{kind: dict(sorted(entries.items())) for kind, entries in loaded.items()},
            disabled={name: f"{each.pack}: {each.note}" for name, each in sorted(self._disabled.items())},
            disabled_topics=frozenset(t for each in self._disabled.values() for t in texts(each.node.get("topic"))),
            notices=tuple(self._notices),
            taken_out=dict(sorted(self._disabled.items())),
            found=tuple(each.found() for each in self._packs),
        )
        problems = tuple(dict.fromkeys(self._problems))  # what a file hands down is wrong once
        lost, mentioned = frozenset(self._lost), frozenset(self._mentioned)
        return Survey(found, problems, tuple(self._remarks), lost, mentioned, self._rests)

    def _remark(self, place: Place, code: str, message: str) -> None:
        remark = Problem(place, code, message, "warning")
        self._remarks.append(remark)
        self._notices.append(str(remark))

    def _problem(self, place: Place, code: str, message: str) -> None:
        self._problems.append(Problem(place, code, message))

    def _take_header(self, pack: PackFiles) -> None:
        header = pack.header
        editions = {h.pack: h.edition for h in self._headers}
        if header.pack in editions:
            message = f"pack {header.pack!r} is already in the stack; name each folder once"
            self._problem(pack.node.place, "duplicate", message)
        ground = set(header.builds_on) or ({h.pack for h in self._headers if h.pack in BUILT_IN})
        for below, edition in header.builds_on.items():
            place = yamlfile.locate(pack.node, ("builds_on", below), key=True)
            if below not in editions:
                self._problem(place, "builds-on", self._not_below(header.pack, below, editions))
            elif edition > editions[below]:
                message = (
                    f"{header.pack!r} builds on edition {edition} of {below!r}, but edition {editions[below]} is "
                    f"installed; install a newer version"
                )
                self._problem(place, "builds-on", message)
        for below in tuple(ground):
            ground |= self._builds_on.get(below, set())
        self._builds_on[header.pack] = ground
        self._headers.append(header)

    def _not_below(self, name: str, below: str, known: Iterable[str]) -> str:
        """Say why a pack cannot build on another, and what to do."""
        if below == name:
            return f"{name!r} builds on itself; take this line out"
        later = next((each.pack.header for each in self._packs if each.pack.header.pack == below), None)
        if later is not None and name in later.builds_on:
            return f"{name!r} and {below!r} each build on the other; take the line out of one of them"
        if later is not None:
            return f"{name!r} builds on {below!r}, which comes after it; name {below!r} first"
        near = did_you_mean(below, known, 1) if len(self._problems) < MOST_HINTS else ()
        hint = f"did you mean {near[0]!r}?" if near else f"below it are: {', '.join(known) or 'none'}"
        return f"{name!r} builds on {below!r}, which is not below it; {hint}"

    def _take_former_ids(self, ident: str) -> None:
        """Remember the ids an entry had before; they must lead to one entry, and only if none has them now."""
        _, entry, _ = self._entries[ident]
        node = entry.value.get("formerly") if isinstance(entry.value, yamlfile.Mapping) else None
        for old in texts(node):
            place = node.place if node is not None else entry.key_place
            if old in self._entries:
                owner = "this entry itself" if old == ident else f"an entry at {self._entries[old][1].key_place}"
                self._problem(place, "formerly", f"{old!r} is the id of {owner}; a former id is one that is gone")
            elif old in self._formerly:
                message = f"{old!r} is a former id of {self._formerly[old]!r} already; it can lead to one entry only"
                self._problem(place, "formerly", message)
            else:
                self._formerly[old] = ident

    def _find(self, ident: str, place: Place, verb: str, pack: str) -> str | None:
        """Return the id that a change is meant for, or say why there is none."""
        target = ident if ident in self._entries else self._formerly.get(ident)
        if target is None and ident in self._lost:
            return None
        if target is None:
            near = did_you_mean(ident, self._entries) if len(self._problems) < MOST_HINTS else ()
            hint = f"; did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
            later = self._packs[len(self._headers) :]
            owner = next((p.pack.header.pack for p in later if any(i == ident for _, i in p.pack.entries)), None)
            if owner is not None:
                hint = f" below it: pack {owner!r}, which defines it, comes later; name {owner!r} first"
            self._problem(place, "unknown-id", f"this pack {verb}s {shown(ident)}, which does not exist{hint}")
            return None
        if target != ident:
            self._remark(place, "renamed", f"{ident!r} is now called {target!r}; the change is applied to it")
        _, entry, owner = self._entries[target]
        if owner == pack:
            self._problem(place, "own", f"{target!r} is this pack's own, at {entry.key_place}; change it there")
            return None
        gone = self._disabled.get(target)
        if gone is not None and gone.pack != pack:
            what = "is disabled twice" if verb == "disable" else "has no effect here"
            self._remark(place, "no-effect", f"{target!r} {what}: pack {gone.pack!r} disabled it at {gone.place}")
            return None
        return target

    def _note(self, entry: yamlfile.Entry) -> str | None:
        note = entry.value.get("note") if isinstance(entry.value, yamlfile.Mapping) else None
        if isinstance(note, yamlfile.Scalar) and note.text.strip():
            return " ".join(note.text.split())
        message = (
            f"{entry.key.text}: a 'note' that says why is missing; it stands wherever the change moves an answer"
        )
        self._problem(entry.key_place, "note", message)
        return None

    def _disable(self, pack: str, ident: str, entry: yamlfile.Entry, note: str) -> None:
        kind, before, owner = self._entries[ident]
        if kind not in {"rules", "gates", "bands", "criteria", "plans"}:
            message = (
                f"{ident!r} stands under {kind}, which rules speak of; only rules, gates, bands, criteria and "
                f"plans can be disabled. Adjust it instead, such as its applies_to"
            )
            self._problem(entry.key_place, "disable", message)
            return
        if ident in self._disabled:
            self._problem(
                entry.key_place, "disable", f"{ident!r} is disabled twice by this pack; keep one of the two"
            )
        if any(change.pack == pack for change in self._changes.get(ident, ())):
            message = f"this pack changes {ident!r} and disables it as well; keep one of the two"
            self._problem(entry.key_place, "disable", message)
        if isinstance(before.value, yamlfile.Mapping):
            self._disabled[ident] = Disabled(
                ident, kind, before.value, before.key_place, owner, pack, note, entry.key_place
            )

    def _change(
        self, pack: PackFiles, ident: str, place: Place, change: yamlfile.Mapping, note: str, *, extends: bool
    ) -> None:
        """Lay a change over an entry, and keep what it replaced."""
        name = pack.header.pack
        kind, entry, owner = self._entries[ident]
        if not isinstance(entry.value, yamlfile.Mapping):
            return
        if extends:
            merged, steps, problems = extended(entry.value, change, KINDS[kind])
            self._problems.extend(problems)
        else:
            merged, steps = replaced(entry.value, change)
            for step in steps:
                self._touch(name, ident, step)
        written_against = pack.header.builds_on.get(owner)
        edition = whole(entry.value.get("changed"))
        if written_against is not None and edition > written_against:
            message = (
                f"{ident!r} changed in edition {edition} of {owner!r}, after this adjustment was written (against "
                f"edition {written_against}); look at it again"
            )
            self._remark(place, "changed-since", message)
        self._notes.setdefault(ident, []).append((name, note))
        self._changes.setdefault(ident, []).extend(
            Change(step.path, step.before, step.after, name, note, extends) for step in steps
        )
        self._entries[ident] = (kind, yamlfile.Entry(entry.key, merged), owner)

    def _touch(self, name: str, ident: str, step: Step) -> None:
        """Note who changed a leaf; two packs that do not know of each other are told where it matters."""
        label = ".".join((ident, *step.path))
        before, there = self._touched.get((ident, step.path), ("", step.place))
        self._touched[ident, step.path] = (name, step.place)
        if not before or before in self._builds_on[name]:
            return
        if before == name:
            message = f"{label} is changed twice by this pack; keep one of the two"
            self._problem(step.place, "conflict", message)
        elif self._layers[name] == self._layers[before] == "installed":  # nobody chose their order
            message = f"{label} is also changed by pack {before!r}; let one of the two build on the other"
            self._problem(step.place, "conflict", message)
        elif self._layers[name] == self._layers[before]:
            message = (
                f"{label} is also changed by pack {before!r} at {there}; this one comes later and counts (if that is "
                f"meant, let {name!r} build on {before!r})"
            )
            self._remark(step.place, "changed-twice", message)
