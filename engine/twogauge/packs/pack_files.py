"""Reads one pack: the files of its folder, its header, its entries, and what it changes of others; all with places.

What entries mean together is stack.py's business, what they may look like model.py's.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, TypeVar

from twogauge.errors import FileProblems, shown
from twogauge.packs import yamlfile
from twogauge.packs.formats import as_present
from twogauge.packs.model import ID, KINDS, Header
from twogauge.packs.pack_folder import files_of
from twogauge.packs.problems import Place, Problem
from twogauge.packs.validate import validate

CHANGES: Final = ("adjust", "extend", "disable")  # sections that change what packs below say
_HEADER_KEYS: Final = ("pack", "title", "edition", "format", "builds_on")
_FILE_KEYS: Final = (*_HEADER_KEYS, *KINDS, "topic", "applies_to", *CHANGES)


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


def read_pack(folder: Path) -> PackFiles:
    """Read a pack.

    Raises:
        FileProblems: everything that is wrong in the form of its files, with file, line and column.
        InputError: as for files_of.
    """
    found = survey_pack(folder)
    if found.problems or found.pack is None:
        raise FileProblems(found.problems)
    return found.pack


@dataclass(frozen=True)
class PackSurvey:
    """One pack as far as it could be read.

    Attributes:
        pack: what could be read; None if it was written for a format that is not known here.
        problems: everything that is wrong in the form of its files.
        lost: what may be names of entries that could not be read.
        mentioned: whatever else may be a name there.
    """

    pack: PackFiles | None
    problems: tuple[Problem, ...]
    lost: frozenset[str] = frozenset()
    mentioned: frozenset[str] = frozenset()


def survey_pack(folder: Path) -> PackSurvey:
    """Read a pack as far as it can be read, and collect what is wrong.

    Raises:
        InputError: it is no folder, or holds no such file.
    """
    problems: list[Problem] = []
    paths = files_of(folder, problems)
    files, unread = _trees(paths, problems)
    name = next((text for file in files for text in texts(file.get("pack"))), folder.name)
    try:
        files, notices = as_present(name, files)
    except FileProblems as error:  # what it calls a key may not be one here: nothing else is worth saying
        return PackSurvey(None, error.problems)
    pack = _sections(files, problems)
    header = None
    if "pack" in pack.node.entries:
        header = validate(Header, pack.node, problems)
    elif paths and not unread:
        message = f"no file in {folder} says 'pack: name'; add it to one of them"
        problems.append(Problem(Place(str(paths[0])), "header", message))
    text = "\n".join(map(_text_of, unread))
    known = header if isinstance(header, Header) else _header_for([*_names_in(text), name, folder.name])
    pack = replace(pack, header=known, folder=str(folder), notices=tuple(notices))
    lost = {*re.findall(r"(?m)^[ \t]*(?:topic:[ \t]*)?([a-z][a-z0-9_]{0,79})", text), *_ids_without_entry(files)}
    return PackSurvey(pack, tuple(problems), frozenset(lost), frozenset(re.findall(r"[a-z][a-z0-9_]{0,79}", text)))


def _names_in(text: str) -> list[str]:
    """Return what files that are no trees seem to call their pack."""
    return re.findall(r"""(?m)^pack:[ \t]*["']?([a-z][a-z0-9_]{0,79})""", text)


def _header_for(names: Iterable[str]) -> Header:
    """Return a header in place of one that cannot be read, under the first name that can be one."""
    return next((Header(pack=name) for name in names if re.fullmatch(ID, name) and len(name) <= 80), _NOBODY)


def _text_of(path: Path) -> str:
    """Return the text of a file that is no tree: no name in it may be called unknown or unused elsewhere."""
    try:
        return yamlfile.read_bytes_bounded(path, yamlfile.MAX_BYTES).decode("utf-8", "replace")
    except FileProblems:
        return ""


def _ids_without_entry(files: Iterable[yamlfile.Mapping]) -> list[str]:
    """Return the ids of entries that are no mappings, and are not read any further."""
    groups = [group for file in files for kind in KINDS if isinstance(group := file.get(kind), yamlfile.Mapping)]
    return [
        n for group in groups for n, entry in group.entries.items() if not isinstance(entry.value, yamlfile.Mapping)
    ]


def names_inside(node: yamlfile.Node) -> set[str]:
    """Return every key and text of a tree."""
    if isinstance(node, yamlfile.Scalar):
        return {node.text}
    if isinstance(node, yamlfile.Sequence):
        return {name for item in node.items for name in names_inside(item)}
    return {*node.entries, *(name for entry in node.entries.values() for name in names_inside(entry.value))}


def _trees(paths: Iterable[Path], problems: list[Problem]) -> tuple[list[yamlfile.Mapping], list[Path]]:
    """Return the trees of those files that can be read, and the other files."""
    found, unread = [], []
    for path in paths:
        try:
            node = yamlfile.load(path)
        except FileProblems as error:
            problems.extend(error.problems)
            unread.append(path)
            continue
        if isinstance(node, yamlfile.Mapping):
            found.append(node)
        else:
            problems.append(Problem(node.place, "shape", "a file of a pack is lines of 'key: value'"))
    return found, unread


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
    place = next((header[key].key_place for key in _HEADER_KEYS if key in header), Place(""))
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
    # A caution without one is told of every machine: it stands beside advice that may be for others than the file's.
    return [
        Problem(place, "unheeded", message.format(name))
        for kind, model in KINDS.items()
        if kind not in {"rules", "cautions"} and "applies_to" in model.model_fields
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
