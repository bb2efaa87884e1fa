"""Packs on packs: reads folders of YAML, lets later packs add, adjust and disable, and validates the result.

The result is every entry in force with its position and its history. What the entries mean (whether a fault exists,
what a threshold weighs) is compile.py's business.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar, get_origin

from pydantic import BaseModel, ValidationError

from twogauge.errors import FileProblems, InputError, did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.in_force import BUILT_IN, Loaded, Stack, rules_folder
from twogauge.packs.model import FORMAT, ID, KINDS, Header
from twogauge.packs.problems import Place, Problem

__all__ = ["Loaded", "Stack", "built_in", "rules_folder", "stack", "stack_on_built_in"]

_HEADER_KEYS: Final = ("pack", "title", "edition", "format", "builds_on")
_FILE_KEYS: Final = (*_HEADER_KEYS, *KINDS, "topic", "applies_to", "adjust", "disable")
_MAX_FILES: Final = 500
_MAX_BYTES: Final = 16 * 2**20  # of one pack


Key = TypeVar("Key")


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
        builder.add(_read_pack(Path(folder)))
    return builder.finish()


# -- one pack -----------------------------------------------------------------------------------------------------


@dataclass
class _PackFiles:
    header: Header
    node: yamlfile.Mapping  # of the header
    entries: dict[tuple[str, str], yamlfile.Entry]
    adjust: dict[str, yamlfile.Entry]
    disable: dict[str, yamlfile.Entry]


def _files_of(folder: Path) -> list[Path]:
    if not folder.exists():
        raise InputError(f"{shown(str(folder))} does not exist; --rules and TWOGAUGE_RULES name folders of rules")
    if not folder.is_dir():
        raise InputError(f"{shown(str(folder))} is not a folder; name the folder that holds the pack")
    found, total, root = [], 0, folder.resolve()
    for where, folders, files in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and f != "cases")
        for name in folders:
            if Path(where, name).is_symlink():
                raise InputError(f"{Path(where, name)} is a link to a folder; put the folder itself there")
        for name in sorted(files):
            if not name.endswith((".yaml", ".yml")) or name.startswith("."):
                continue
            path = Path(where, name)
            if root not in Path(os.path.realpath(path)).parents:
                raise InputError(f"{path} is a link that leads out of the pack; put the file itself there")
            total += path.stat().st_size if path.is_file() else 0
            found.append(path)
            if len(found) > _MAX_FILES or total > _MAX_BYTES:
                raise InputError(
                    f"{folder} holds more than {_MAX_FILES} files or {_MAX_BYTES // 2**20} MiB of rules; is this the "
                    f"folder of a pack?"
                )
    if not found:
        raise InputError(f"{folder} holds no .yaml file; a pack needs at least one, with 'pack: name' in it")
    return found


def _read_pack(folder: Path) -> _PackFiles:
    problems: list[Problem] = []
    header: dict[str, yamlfile.Entry] = {}
    entries: dict[tuple[str, str], yamlfile.Entry] = {}
    adjust: dict[str, yamlfile.Entry] = {}
    disable: dict[str, yamlfile.Entry] = {}
    paths = _files_of(folder)
    for path in paths:
        try:
            node = yamlfile.load(path)
        except FileProblems as error:
            problems.extend(error.problems)
            continue
        if not isinstance(node, yamlfile.Mapping):
            problems.append(Problem(node.place, "shape", "a file of a pack is lines of 'key: value'"))
            continue
        problems.extend(yamlfile.unknown_keys(node, _FILE_KEYS))
        for name in _HEADER_KEYS:
            if (entry := node.entries.get(name)) is not None:
                _once(header, name, entry, problems)
        problems.extend(_unheeded(node))
        for kind in KINDS:
            for name, entry in _members(node, kind, problems):
                _once(entries, (kind, name), _with_file_keys(node, kind, entry), problems)
        for name, entry in _members(node, "adjust", problems):
            _once(adjust, name, entry, problems)
        for name, entry in _members(node, "disable", problems):
            problems.extend(yamlfile.unknown_keys(_mapping(entry), ("note",)))
            _once(disable, name, entry, problems)
    _check_format(header)
    if problems:
        raise FileProblems(problems)
    if "pack" not in header:
        raise FileProblems(
            [Problem(Place(str(paths[0])), "header", f"no file in {folder} says 'pack: name'; add it to one of them")]
        )
    place = header["pack"].key_place
    node = yamlfile.Mapping(place.path, place.line, place.column, header)
    validated = _validate(Header, node, problems)
    if problems or not isinstance(validated, Header):
        raise FileProblems(problems)
    return _PackFiles(validated, node, entries, adjust, disable)


def _check_format(header: Mapping[str, yamlfile.Entry]) -> None:
    """Refuse a newer format before anything else: what it calls a key may not be one here."""
    value = header["format"].value if "format" in header else None
    if isinstance(value, yamlfile.Scalar) and _whole(value) > FORMAT:
        message = (
            f"this pack was written for format {_whole(value)}, and this version reads up to {FORMAT}; install a "
            f"newer version"
        )
        raise FileProblems([Problem(value.place, "format", message)])


def _whole(node: yamlfile.Node | None) -> int:
    """Return the small whole number that is written there, else 0; what is wrong with it is said elsewhere."""
    found = re.fullmatch(r"[0-9]{1,4}", node.text.strip()) if isinstance(node, yamlfile.Scalar) else None
    return int(found[0]) if found else 0


def _mapping(entry: yamlfile.Entry) -> yamlfile.Mapping:
    assert isinstance(entry.value, yamlfile.Mapping)  # noqa: S101 - _members lets nothing else through
    return entry.value


def _unheeded(node: yamlfile.Mapping) -> list[Problem]:
    """Say so where an `applies_to` of the file stands above entries that have none and do not take it over."""
    if "applies_to" not in node.entries:
        return []
    place = node.entries["applies_to"].key_place
    message = "applies_to at the top of a file holds for its rules only; write one into {}, or move that away"
    return [
        Problem(place, "unheeded", message.format(name))
        for kind, model in KINDS.items()
        if kind != "rules" and "applies_to" in model.model_fields
        for name, entry in _members(node, kind, [])
        if "applies_to" not in _mapping(entry).entries
    ]


def _once(target: dict[Key, yamlfile.Entry], name: Key, entry: yamlfile.Entry, problems: list[Problem]) -> None:
    if name in target:
        label = name[1] if isinstance(name, tuple) else name
        message = f"{label!r} already stands at {target[name].key_place}; keep one of the two"
        problems.append(Problem(entry.key_place, "duplicate", message))
    else:
        target[name] = entry


def _members(node: yamlfile.Mapping, kind: str, problems: list[Problem]) -> list[tuple[str, yamlfile.Entry]]:
    group = node.get(kind)
    if group is None:
        return []
    if not isinstance(group, yamlfile.Mapping):
        problems.append(Problem(group.place, "shape", f"{kind}: lines of 'id:' with an entry below each belong here"))
        return []
    members = []
    for name, entry in group.entries.items():
        if not isinstance(entry.value, yamlfile.Mapping):
            problems.append(Problem(entry.value.place, "shape", f"{name}: lines of 'key: value' belong here"))
        elif not _is_id(name):
            message = f"{shown(name)} is not an id; use small letters and digits, words joined by _"
            problems.append(Problem(entry.key_place, "id", message))
        else:
            members.append((name, entry))
    return members


def _is_id(name: str) -> bool:
    return len(name) <= 80 and re.fullmatch(ID, name) is not None


def _with_file_keys(node: yamlfile.Mapping, kind: str, entry: yamlfile.Entry) -> yamlfile.Entry:
    """Hand the file's topic and applies_to down to a rule that has none of its own."""
    if kind != "rules" or not isinstance(entry.value, yamlfile.Mapping):
        return entry
    inherited = {k: node.entries[k] for k in ("topic", "applies_to") if k in node.entries}
    value = entry.value
    merged = yamlfile.Mapping(value.path, value.line, value.column, {**inherited, **value.entries})
    return yamlfile.Entry(entry.key, merged)


# -- one on the other ---------------------------------------------------------------------------------------------


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

    def add(self, pack: _PackFiles) -> None:
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
            for old in _texts(former):
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
            valid = _validate(KINDS[kind], entry.value, self._problems, key_place=entry.key_place)
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

    def _take_header(self, pack: _PackFiles) -> None:
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

    def _disable(self, pack: _PackFiles, ident: str, entry: yamlfile.Entry, note: str) -> None:
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
            self._topics_of_disabled.update(_texts(before.value.get("topic")))

    def _adjust(self, pack: _PackFiles, ident: str, change: yamlfile.Entry) -> None:
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
        edition = _whole(entry.value.get("changed"))
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


def _texts(node: yamlfile.Node | None) -> Sequence[str]:
    if isinstance(node, yamlfile.Scalar):
        return [node.text]
    if isinstance(node, yamlfile.Sequence):
        return [item.text for item in node.items if isinstance(item, yamlfile.Scalar)]
    return []


# -- pydantic's complaints in our words ---------------------------------------------------------------------------


def _validate(
    model: type[BaseModel],
    node: yamlfile.Mapping,
    problems: list[Problem],
    *,
    key_place: Place | None = None,
) -> BaseModel | None:
    try:
        return model.model_validate(yamlfile.plain(node))
    except ValidationError as error:
        every = error.errors(include_url=False)
    meant = {
        (*each["loc"][:-1], near)
        for each in every
        if each["type"] == "extra_forbidden"
        for near in did_you_mean(str(each["loc"][-1]), _keys_at(model, each["loc"][:-1]), 1)
    }
    for each in every:
        if each["type"] == "missing" and tuple(each["loc"]) in meant:
            continue  # it is there, misspelled, and that is said
        problems.append(_as_problem(model, node, each, key_place))
    return None


def _as_problem(model: type[BaseModel], node: yamlfile.Mapping, error: Any, key_place: Place | None) -> Problem:
    path, kind = tuple(error["loc"]), error["type"]
    label = ".".join(str(step) for step in path if step != "[key]")
    if kind == "extra_forbidden":
        known = _keys_at(model, path[:-1])
        near = did_you_mean(str(path[-1]), known)
        hint = f"did you mean {' or '.join(repr(n) for n in near)}?" if near else f"known here: {', '.join(known)}"
        message = f"{shown(path[-1])} is not a key here; {hint}"
        return Problem(yamlfile.locate(node, path, key=True), "unknown-key", message)
    if kind == "too_long" or (kind == "missing" and isinstance(path[-1], int)):
        path = path if kind == "too_long" else path[:-1]
        message = f"{'.'.join(map(str, path))}: two values belong here, such as [15 K, 30 K]"
        return Problem(yamlfile.locate(node, path), "value", message)
    if kind == "missing":
        place = yamlfile.locate(node, path[:-1], key=True) if len(path) > 1 else (key_place or node.place)
        return Problem(place, "missing-key", f"{path[-1]!r} is missing here; add it{_what(model, path)}")
    place = yamlfile.locate(node, path)
    if kind == "value_error":
        return Problem(place, "value", f"{label}: {error['ctx']['error']}" if label else str(error["ctx"]["error"]))
    if kind == "string_pattern_mismatch":
        return Problem(place, "id", f"{label}: not an id; use small letters and digits, words joined by _")
    return Problem(place, "value", f"{label}: {_plainly(kind, error)}")


def _plainly(kind: str, error: Any) -> str:
    if kind in {"dict_type", "model_type", "model_attributes_type", "mapping_type"}:
        return "lines of 'key: value' belong here"
    if kind in {"tuple_type", "list_type"}:
        return "a list belongs here, such as [one, two]"
    if kind == "string_type":
        return "a text belongs here"
    if kind in {"string_too_short", "too_short"}:
        return "something is missing here; write it out"
    return str(error["msg"]).lower()


def _keys_at(model: type[BaseModel], path: Sequence[str | int]) -> list[str]:
    """Return the keys allowed where `path` leads; by the models, since the file may not have them."""
    here: Any = model
    names_are_free = False
    for step in path:
        if names_are_free or isinstance(step, int):
            names_are_free = False
            continue
        found = next((f for n, f in getattr(here, "model_fields", {}).items() if step in {n, f.alias}), None)
        here = None if found is None else _inner_model(found.annotation)
        names_are_free = found is not None and get_origin(found.annotation) is dict
    fields = getattr(here, "model_fields", {})
    return [f.alias or n for n, f in fields.items()]


def _what(model: type[BaseModel], path: Sequence[str | int]) -> str:
    """Return what a missing key of the entry holds, as the models describe it."""
    field_info = model.model_fields.get(str(path[0])) if len(path) == 1 else None
    return f": {field_info.description}" if field_info is not None and field_info.description else ""


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _inner_model(part)
        if found is not None:
            return found
    return None
