"""Packs on packs: lets later packs add to, adjust and disable what earlier ones say, and validates the result.

The result is every entry in force with its position and its history. What the entries mean (whether a fault exists,
what a threshold weighs) is compile.py's business.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from twogauge.errors import FileProblems, did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.in_force import BUILT_IN, Loaded, Stack, rules_folder
from twogauge.packs.model import KINDS, Header
from twogauge.packs.pack_files import PackFiles, read_pack, texts, whole
from twogauge.packs.problems import Place, Problem
from twogauge.packs.validate import validate

__all__ = ["Loaded", "Stack", "built_in", "rules_folder", "stack", "stack_on_built_in"]


@cache
def built_in() -> Stack:
    """Return the built-in packs, read once."""
    return stack([rules_folder() / name for name in BUILT_IN])


def stack_on_built_in(folders: Iterable[str | Path]) -> Stack:
    """Stack folders on the built-in packs, in the order given.

    Raises:
        FileProblems: everything that is wrong in them, with file, line and column.
        InputError: a folder that is not there or holds no pack.
    """
    mine = list(folders)
    if not mine:
        return built_in()
    return stack([*(rules_folder() / name for name in BUILT_IN), *mine])


def stack(folders: Iterable[str | Path]) -> Stack:
    """Read packs and stack them: later ones add to, adjust and disable what earlier ones say.

    Raises:
        FileProblems: everything that is wrong in them, with file, line and column.
        InputError: a folder that is not there or holds no pack.
    """
    builder = _Builder()
    for folder in folders:
        builder.add(read_pack(Path(folder)))
    return builder.finish()


class _Builder:
    def __init__(self) -> None:
        self._headers: list[Header] = []
        self._entries: dict[str, tuple[str, yamlfile.Entry, str]] = {}  # id -> kind, entry, pack
        self._notes: dict[str, list[tuple[str, str]]] = {}
        self._touched: dict[tuple[str, tuple[str, ...]], str] = {}
        self._formerly: dict[str, str] = {}
        self._disabled: dict[str, str] = {}
        self._topics_of_disabled: set[str] = set()
        self._problems: list[Problem] = []
        self._notices: list[str] = []
        self._builds_on: dict[str, set[str]] = {}

    def add(self, pack: PackFiles) -> None:
        self._take_header(pack)
        name = pack.header.pack
        for (kind, ident), entry in pack.entries.items():
            if ident in self._entries:
                _, first, owner = self._entries[ident]
                message = f"{ident!r} is already defined by pack {owner!r} at {first.key_place}; "
                message += "use 'adjust' to change it, or another id" if owner != name else "give one another id"
                self._problems.append(Problem(entry.key_place, "duplicate", message))
                continue
            self._entries[ident] = (kind, entry, name)
            former = entry.value.get("formerly") if isinstance(entry.value, yamlfile.Mapping) else None
            for old in texts(former):
                self._formerly[old] = ident
        for ident, entry in pack.adjust.items():
            target = self._find(ident, entry.key_place, "adjusts")
            if target is not None:
                self._adjust(pack, target, entry)
        for ident, entry in pack.disable.items():
            target = self._find(ident, entry.key_place, "disables")
            note = self._note(entry)
            if target is not None and note is not None:
                self._disable(pack, target, entry, note)

    def finish(self) -> Stack:
        loaded: dict[str, dict[str, Loaded[Any]]] = {kind: {} for kind in KINDS}
        for ident, (kind, entry, pack) in self._entries.items():
            if ident in self._disabled or not isinstance(entry.value, yamlfile.Mapping):
                continue
            valid = validate(KINDS[kind], entry.value, self._problems, key_place=entry.key_place)
            if valid is not None:
                notes = tuple(self._notes.get(ident, ()))
                loaded[kind][ident] = Loaded(ident, valid, entry.value, pack, notes)
        if self._problems:
            raise FileProblems(tuple(dict.fromkeys(self._problems)))  # what a file hands down is wrong once
        return Stack(
            tuple(self._headers),
            **{kind: dict(sorted(entries.items())) for kind, entries in loaded.items()},
            disabled=dict(sorted(self._disabled.items())),
            disabled_topics=frozenset(self._topics_of_disabled),
            notices=tuple(self._notices),
        )

    def _take_header(self, pack: PackFiles) -> None:
        header = pack.header
        editions = {h.pack: h.edition for h in self._headers}
        if header.pack in editions:
            message = f"pack {header.pack!r} is already in the stack; name each folder once"
            self._problems.append(Problem(pack.node.place, "duplicate", message))
        ground = set(header.builds_on) or ({h.pack for h in self._headers if h.pack in BUILT_IN})
        for below, edition in header.builds_on.items():
            place = yamlfile.locate(pack.node, ("builds_on", below), key=True)
            if below not in editions:
                near = did_you_mean(below, editions, 1)
                hint = f"did you mean {near[0]!r}?" if near else f"below it are: {', '.join(editions) or 'none'}"
                message = f"{header.pack!r} builds on {below!r}, which is not below it; {hint}"
                self._problems.append(Problem(place, "builds-on", message))
            elif edition > editions[below]:
                message = (
                    f"{header.pack!r} builds on edition {edition} of {below!r}, but edition {editions[below]} is "
                    f"installed; install a newer version"
                )
                self._problems.append(Problem(place, "builds-on", message))
        for below in tuple(ground):
            ground |= self._builds_on.get(below, set())
        self._builds_on[header.pack] = ground
        self._headers.append(header)

    def _find(self, ident: str, place: Place, verb: str) -> str | None:
        if ident in self._entries:
            return ident
        if ident in self._formerly:
            now = self._formerly[ident]
            self._notices.append(f"{place}: {ident!r} is now called {now!r}; the change is applied to it")
            return now
        near = did_you_mean(ident, self._entries)
        hint = f"; did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
        self._problems.append(
            Problem(place, "unknown-id", f"this pack {verb} {shown(ident)}, which does not exist{hint}")
        )
        return None

    def _note(self, entry: yamlfile.Entry) -> str | None:
        note = entry.value.get("note") if isinstance(entry.value, yamlfile.Mapping) else None
        if isinstance(note, yamlfile.Scalar) and note.text.strip():
            return " ".join(note.text.split())
        message = (
            f"{entry.key.text}: a 'note' that says why is missing; it stands wherever the change moves an answer"
        )
        self._problems.append(Problem(entry.key_place, "note", message))
        return None

    def _disable(self, pack: PackFiles, ident: str, entry: yamlfile.Entry, note: str) -> None:
        kind, before, _ = self._entries[ident]
        if kind not in {"rules", "gates", "bands"}:
            message = (
                f"{ident!r} stands under {kind}, which rules speak of; only rules, gates and bands can be disabled. "
                f"Adjust it instead, such as its applies_to"
            )
            self._problems.append(Problem(entry.key_place, "disable", message))
            return
        self._disabled[ident] = f"{pack.header.pack}: {note}"
        if isinstance(before.value, yamlfile.Mapping):
            self._topics_of_disabled.update(texts(before.value.get("topic")))

    def _adjust(self, pack: PackFiles, ident: str, change: yamlfile.Entry) -> None:
        name = pack.header.pack
        kind, entry, owner = self._entries[ident]
        note = self._note(change)
        if note is None or not isinstance(change.value, yamlfile.Mapping):
            return
        if not isinstance(entry.value, yamlfile.Mapping):
            return
        for path, place in _leaves(change.value):
            if path == ("note",):
                continue
            before = self._touched.get((ident, path))
            if before is not None and before not in self._builds_on[name]:
                message = f"{'.'.join((ident, *path))} is also changed by pack {before!r}; "
                message += "let one of the two build on the other"
                if before == name:
                    message = f"{'.'.join((ident, *path))} is changed twice by this pack; keep one of the two"
                self._problems.append(Problem(place, "conflict", message))
            self._touched[ident, path] = name
        written_against = pack.header.builds_on.get(owner)
        edition = whole(entry.value.get("changed"))
        if written_against is not None and edition > written_against:
            self._notices.append(
                f"{change.key_place}: {ident!r} changed in edition {edition} of {owner!r}, after this adjustment was "
                f"written (against edition {written_against}); look at it again"
            )
        self._notes.setdefault(ident, []).append((name, note))
        self._entries[ident] = (kind, yamlfile.Entry(entry.key, _merged(entry.value, change.value)), owner)


def _merged(base: yamlfile.Mapping, change: yamlfile.Mapping) -> yamlfile.Mapping:
    """Replace the leaves that `change` names and keep the rest; each leaf keeps the place it was written at."""
    entries = dict(base.entries)
    for name, entry in change.entries.items():
        old = entries.get(name)
        if old is not None and isinstance(old.value, yamlfile.Mapping) and isinstance(entry.value, yamlfile.Mapping):
            entries[name] = yamlfile.Entry(old.key, _merged(old.value, entry.value))
        else:
            entries[name] = entry
    return yamlfile.Mapping(base.path, base.line, base.column, entries)


def _leaves(node: yamlfile.Mapping, path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Place]]:
    found = []
    for name, entry in node.entries.items():
        if isinstance(entry.value, yamlfile.Mapping):
            found.extend(_leaves(entry.value, (*path, name)))
        else:
            found.append(((*path, name), entry.key_place))
    return found
