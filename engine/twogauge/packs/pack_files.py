"""Reads one pack: the files of its folder, its header, its entries, and what it changes of others; all with places.

What entries mean together is stack.py's business, what they may look like model.py's.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, TypeVar

from twogauge.errors import FileProblems, InputError, shown
from twogauge.packs import yamlfile
from twogauge.packs.formats import as_present
from twogauge.packs.in_force import CASES
from twogauge.packs.model import ID, KINDS, Header
from twogauge.packs.problems import Place, Problem
from twogauge.packs.validate import validate

CHANGES: Final = ("adjust", "extend", "disable")  # sections that change what packs below say
_HEADER_KEYS: Final = ("pack", "title", "edition", "format", "builds_on")
_FILE_KEYS: Final = (*_HEADER_KEYS, *KINDS, "topic", "applies_to", *CHANGES)
_MAX_FILES: Final = 500
_MAX_BYTES: Final = 16 * 2**20  # of one pack


Key = TypeVar("Key")


@dataclass(frozen=True)
class PackFiles:
    """One pack as it was read, not yet stacked.

    Attributes:
        header, node: who it is, validated and as a tree.
        entries: (section, id) -> entry.
        adjust, extend, disable: id -> the change.
        folder: where it was read.
        notices: what whoever keeps it should know.
    """

    header: Header
    node: yamlfile.Mapping
    entries: Mapping[tuple[str, str], yamlfile.Entry]
    adjust: Mapping[str, yamlfile.Entry]
    extend: Mapping[str, yamlfile.Entry]
    disable: Mapping[str, yamlfile.Entry]
    folder: str = ""
    notices: tuple[str, ...] = ()

    @property
    def counts(self) -> dict[str, int]:
        """How many entries each section holds that holds any."""
        found = Counter(kind for kind, _ in self.entries)
        found.update({section: len(getattr(self, section)) for section in CHANGES})
        return {section: found[section] for section in (*KINDS, *CHANGES) if found[section]}


_NOBODY: Final = Header(pack="nobody")


def files_of(folder: Path) -> list[Path]:
    """Return the files of a pack, sorted; `cases` and what begins with a dot are none of them.

    Raises:
        InputError: it is no folder, holds no such file or too many, or holds links that lead elsewhere.
    """
    if not folder.exists():
        raise InputError(f"{shown(str(folder))} does not exist; --rules and TWOGAUGE_RULES name folders of rules")
    if not folder.is_dir():
        raise InputError(f"{shown(str(folder))} is not a folder; name the folder that holds the pack")
    found, total, root = [], 0, folder.resolve()
    for where, folders, files in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and f != CASES)
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


def read_pack(folder: Path) -> PackFiles:
    """Read a pack.

    Raises:
        FileProblems: everything that is wrong in the form of its files, with file, line and column.
        InputError: as for files_of.
    """
    problems: list[Problem] = []
    paths = files_of(folder)
    files = _trees(paths, problems)
    name = next((text for file in files for text in texts(file.get("pack"))), folder.name)
    files, notices = as_present(name, files)
    pack = _sections(files, problems)
    if problems:
        raise FileProblems(problems)
    if "pack" not in pack.node.entries:
        raise FileProblems(
            [Problem(Place(str(paths[0])), "header", f"no file in {folder} says 'pack: name'; add it to one of them")]
        )
    header = validate(Header, pack.node, problems)
    if problems or not isinstance(header, Header):
        raise FileProblems(problems)
    return replace(pack, header=header, folder=str(folder), notices=tuple(notices))


def _trees(paths: Iterable[Path], problems: list[Problem]) -> list[yamlfile.Mapping]:
    found = []
    for path in paths:
        try:
            node = yamlfile.load(path)
        except FileProblems as error:
            problems.extend(error.problems)
            continue
        if isinstance(node, yamlfile.Mapping):
            found.append(node)
        else:
            problems.append(Problem(node.place, "shape", "a file of a pack is lines of 'key: value'"))
    return found


def _sections(files: Iterable[yamlfile.Mapping], problems: list[Problem]) -> PackFiles:
    """Gather what the files of a pack say, whichever of them says it."""
    header: dict[str, yamlfile.Entry] = {}
    entries: dict[tuple[str, str], yamlfile.Entry] = {}
    changes: dict[str, dict[str, yamlfile.Entry]] = {section: {} for section in CHANGES}
    for file in files:
        problems.extend(yamlfile.unknown_keys(file, _FILE_KEYS))
        for name in _HEADER_KEYS:
            if (entry := file.entries.get(name)) is not None:
                _once(header, name, entry, problems)
        problems.extend(_unheeded(file))
        for kind in KINDS:
            for name, entry in _members(file, kind, problems):
                _once(entries, (kind, name), _with_file_keys(file, kind, entry), problems)
        for section, found in changes.items():
            for name, entry in _members(file, section, problems):
                if section == "disable":
                    problems.extend(yamlfile.unknown_keys(_mapping(entry), ("note",)))
                _once(found, name, entry, problems)
    place = header["pack"].key_place if "pack" in header else Place("")
    node = yamlfile.Mapping(place.path, place.line, place.column, header)
    return PackFiles(_NOBODY, node, entries, changes["adjust"], changes["extend"], changes["disable"])


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


def texts(node: yamlfile.Node | None) -> Sequence[str]:
    """Return what a scalar or a list of scalars says; nothing for anything else."""
    if isinstance(node, yamlfile.Scalar):
        return [node.text]
    if isinstance(node, yamlfile.Sequence):
        return [item.text for item in node.items if isinstance(item, yamlfile.Scalar)]
    return []
