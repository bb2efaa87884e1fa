"""Text of a stranger's file to a small tree of text with positions: safe, bounded, and every refusal a sentence.

Reads the part of YAML that people write by hand (mappings, sequences, scalars, comments, quotes, `>` and `|`), and
JSON, which is nearly a part of it. Every scalar stays the text that was written: `off`, `no`, `1e3`, `2024-01-01` and
`~` are words until their field gives them a meaning. Anchors, tags, merge keys, directives and keys that are not text
are refused: nothing here can grow, run or import anything.

Does not know what a rule or a reading is; `packs/model.py` and `reading.py` do.
"""

from __future__ import annotations

import os
import re
from collections import abc
from dataclasses import dataclass
from typing import Final, TypeAlias

import yaml

from twogauge.errors import FileProblems, did_you_mean, shown
from twogauge.files import read_bytes_bounded
from twogauge.packs.problems import MOST_HINTS, Place, Problem
from twogauge.packs.yamlsyntax import (
    MAX_DEPTH,
    NO_ANCHORS,
    NO_DIRECTIVES,
    NO_TAGS,
    ONE_DOCUMENT,
    TEXT_KEYS,
    TOO_DEEP,
    syntax_problem,
)

__all__ = [
    "MAX_BYTES",
    "Entry",
    "Mapping",
    "Node",
    "Scalar",
    "Sequence",
    "load",
    "locate",
    "plain",
    "read_bytes_bounded",
    "unknown_keys",
]

MAX_BYTES: Final = 4 * 2**20
MAX_NODES: Final = 200_000
MAX_SCALAR: Final = 20_000  # characters
MAX_PROBLEMS: Final = 100  # more would help nobody


# The tree


@dataclass(frozen=True, slots=True)
class _Positioned:
    path: str
    line: int
    column: int

    @property
    def place(self) -> Place:
        """Where the node begins."""
        return Place(self.path, self.line, self.column)


@dataclass(frozen=True, slots=True)
class Scalar(_Positioned):
    """Text.

    Attributes:
        text: what was written, quotes and escapes resolved, nothing else.
        quoted: written in quotes or under `>` or `|`, so that even `null` is meant as a word.
    """

    text: str
    quoted: bool

    @property
    def is_empty(self) -> bool:
        """Whether nothing was written, or one of the plain words for nothing (`~`, `null`)."""
        return not self.quoted and self.text in ("", "~", "null", "Null", "NULL")


@dataclass(frozen=True, slots=True)
class Entry:
    """One key of a mapping and its value."""

    key: Scalar
    value: Node

    @property
    def key_place(self) -> Place:
        """Where the key stands."""
        return self.key.place


@dataclass(frozen=True, slots=True)
class Mapping(_Positioned):
    """Keys and values, in the order of the file."""

    entries: abc.Mapping[str, Entry]

    def get(self, key: str) -> Node | None:
        """Return the value of `key`, or None if it is not there."""
        entry = self.entries.get(key)
        return None if entry is None else entry.value


@dataclass(frozen=True, slots=True)
class Sequence(_Positioned):
    """Items in the order of the file."""

    items: tuple[Node, ...]


Node: TypeAlias = Scalar | Mapping | Sequence


# From text to tree


def load(path: str | os.PathLike[str], text: bytes | str | None = None, *, max_bytes: int = MAX_BYTES) -> Node:
    """Return the tree of one YAML or JSON document.

    Args:
        path: the file to read; with `text`, only the name that places show, such as `<stdin>`.
        text: the content, if it is already at hand.
        max_bytes: the largest content accepted.

    Raises:
        FileProblems: all that is wrong, as far as it can be seen in one go. A file that is missing, unreadable, empty
            or too large is reported this way as well, at line 1, column 1. Nothing else is raised for any content.
    """
    name = os.fspath(path)
    if text is None:
        text = read_bytes_bounded(path, max_bytes)
    elif len(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")) > max_bytes:
        raise _refusal(Place(name), "too-large", f"this text is larger than {max_bytes} bytes; split it")
    content = (_decoded(name, text) if isinstance(text, bytes) else text).removeprefix("\ufeff")
    problems = _forbidden_characters(name, content)
    if problems:
        raise FileProblems(problems)
    return _tree(name, _json_as_yaml(content))


def plain(node: Node) -> dict[str, object] | list[object] | str:
    """Return the tree as nested dicts, lists and strings, without positions."""
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Sequence):
        return [plain(item) for item in node.items]
    return {key: plain(entry.value) for key, entry in node.entries.items()}


def locate(node: Node, path: abc.Iterable[str | int], *, key: bool = False) -> Place:
    """Return the place of what `path` names, or of the deepest part of it that exists.

    Made for error locations of pydantic: steps that name nothing here (it adds some for unions and for missing keys)
    are passed over, and its last step `[key]` asks for the key. Where a part of what is named was put there from another
    file, that part is meant: what stood there before was sound.

    Args:
        node: where the path begins.
        path: keys and item numbers.
        key: ask for the place of the last key instead of its value; right for "not a key here" and "missing in".
    """
    steps = tuple(path)
    key_place = node.place
    for step in steps:
        if isinstance(node, Mapping) and (entry := node.entries.get(str(step))) is not None:
            node, key_place = entry.value, entry.key_place
        elif isinstance(node, Sequence) and isinstance(step, int) and 0 <= step < len(node.items):
            node = node.items[step]
            key_place = node.place
    if steps and isinstance(node, Mapping) and (changed := _put_there(node, node.path)) is not None:
        return changed
    return key_place if key or steps[-1:] == ("[key]",) else node.place


def _put_there(node: Mapping, path: str) -> Place | None:
    for entry in node.entries.values():
        if entry.value.path != path:
            return entry.value.place
        if isinstance(entry.value, Mapping) and (inside := _put_there(entry.value, path)) is not None:
            return inside
    return None


def unknown_keys(mapping: Mapping, known: abc.Iterable[str]) -> list[Problem]:
    """Return a problem for each key that is not in `known`, with the known ones that look like it."""
    names = list(known)
    problems: list[Problem] = []
    for name, entry in mapping.entries.items():
        if name in names:
            continue
        message = f"{shown(name)} is not a key here"
        if similar := did_you_mean(name, names) if len(problems) < MOST_HINTS else ():
            message += f"; did you mean {' or '.join(repr(each) for each in similar)}?"
        elif names:
            message += f"; known here: {', '.join(sorted(names))}"
        problems.append(Problem(entry.key_place, "unknown-key", message))
    return problems


def _refusal(place: Place, code: str, message: str) -> FileProblems:
    return FileProblems([Problem(place, code, message)])


# Bytes to characters

_LINE_END = re.compile(r"\r\n|\r|\n")
# Control characters, separators that only some programs take for a line end, characters that reorder the text around
# them (so that a person reads something else than the program), halves of surrogate pairs, and non-characters.
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufeff\ufffe\uffff]"
)
_MARKS: Final = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)


def _decoded(name: str, data: bytes) -> str:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            raise _refusal(Place(name), "encoding", f"this file is {encoding}; save it as UTF-8")
    if len(data) > 1 and data[:2].count(0) == 1:
        raise _refusal(Place(name), "encoding", "this file looks like UTF-16; save it as UTF-8")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        good = data[: error.start].decode("utf-8").removeprefix("\ufeff")
        message = f"byte 0x{data[error.start]:02x} at offset {error.start} is not UTF-8; save the file as UTF-8"
        raise _refusal(_place_at(name, good, len(good)), "encoding", message) from None


def _place_at(name: str, text: str, offset: int) -> Place:
    """Return the place of the character at `offset` (which may be the end of the text)."""
    line, start = 1, 0
    for end in _LINE_END.finditer(text, 0, offset):
        line, start = line + 1, end.end()
    return Place(name, line, offset - start + 1)


def _forbidden_kind(character: str) -> str:
    if character in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069":
        return "a character that changes the direction of the text around it"
    if character in "\u2028\u2029\x85":
        return "a line separator that many editors do not show as one"
    return "a NUL character" if character == "\0" else "a character that is not text"


def _forbidden_characters(name: str, text: str) -> list[Problem]:
    problems = []
    for number, match in enumerate(_FORBIDDEN.finditer(text)):
        if number == 10:
            break
        character = match.group()
        message = f"{_forbidden_kind(character)} (U+{ord(character):04X}) stands here; remove it"
        problems.append(Problem(_place_at(name, text, match.start()), "bad-character", message))
    return problems


# What JSON has and YAML has not: tabs as blanks, and pairs of \u escapes for one character. Both are replaced by as
# many characters as they had, so that every column stays true; the filler cannot occur in the text, see _FORBIDDEN.
_FILLER: Final = "\ufdd0"
_FILLED = re.compile(f"(?<=[\U00010000-\U0010ffff]){_FILLER}{{11}}")
_STRING_OR_TAB = re.compile(r'"(?:[^"\\]|\\.?)*+"?|\t', re.DOTALL)  # an open string matches too: no second try
_SURROGATE_PAIR = re.compile(r"(?<!\\)((?:\\\\)*+)\\u(d[89ab][0-9a-f]{2})\\u(d[c-f][0-9a-f]{2})", re.IGNORECASE)


def _json_as_yaml(text: str) -> str:
    if not text.lstrip(" \t\r\n").startswith(("{", "[")):
        return text
    if "\t" in text:
        text = _STRING_OR_TAB.sub(lambda match: " " if match.group() == "\t" else match.group(), text)

    def joined(match: re.Match[str]) -> str:
        high, low = int(match.group(2), 16), int(match.group(3), 16)
        return match.group(1) + chr(0x10000 + ((high - 0xD800) << 10) + low - 0xDC00) + _FILLER * 11

    return _SURROGATE_PAIR.sub(joined, text)


# Characters to tree

_LOADER: type[yaml.SafeLoader | yaml.CSafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # C if it is there

_DIRECTIVE = re.compile(r"(?:[ \t]*(?:#[^\r\n]*)?(?:\r\n|\r|\n))*+%")  # before anything but blank lines and comments


class _Open:
    """A mapping or sequence that has begun and not yet ended."""

    __slots__ = ("column", "entries", "items", "key", "line")

    def __init__(self, line: int, column: int, *, is_mapping: bool) -> None:
        self.line, self.column = line, column
        self.entries: dict[str, Entry] | None = {} if is_mapping else None
        self.items: list[Node] = []
        self.key: Scalar | None = None


def _tree(name: str, text: str) -> Node:
    """Build the tree from the parser's events; no recursion, and it stops at the first limit that is passed."""
    problems: list[Problem] = []
    stack: list[_Open] = []
    root: Node | None = None
    documents = nodes = 0
    if directive := _DIRECTIVE.match(text):  # the parsers differ in which of these they report
        raise _refusal(_place_at(name, text, directive.end() - 1), "directive", NO_DIRECTIVES)

    def report(line: int, column: int, code: str, message: str) -> None:
        problems.append(Problem(Place(name, line, column), code, message))

    try:
        for event in yaml.parse(text, Loader=_LOADER):
            if (mark := event.start_mark) is None:
                continue  # for the type checker: both parsers set it on all events
            line, column = mark.line + 1, mark.column + 1
            node: Node

            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    report(line, column, "several-documents", ONE_DOCUMENT)
                    break
                continue
            if isinstance(event, yaml.NodeEvent):
                nodes += 1
                if nodes > MAX_NODES:
                    report(line, column, "too-large", f"more than {MAX_NODES} values in one file; split it")
                    break
                if event.anchor is not None:  # of an alias as well
                    report(line, column, "anchor", NO_ANCHORS)
                if getattr(event, "tag", None) is not None:
                    report(line, column, "tag", NO_TAGS)
                if len(problems) >= MAX_PROBLEMS:
                    break

            if isinstance(event, yaml.ScalarEvent):
                value = _FILLED.sub("", event.value) if _FILLER in event.value else event.value
                quoted = event.style in ("'", '"', "|", ">")
                if len(value) > MAX_SCALAR:
                    report(line, column, "too-long", f"this text has more than {MAX_SCALAR} characters; shorten it")
                if event.style == '"' and (match := _FORBIDDEN.search(value)):  # by way of an escape
                    kind = _forbidden_kind(match.group())
                    message = f"{kind} (U+{ord(match.group()):04X}) is escaped in this text; remove it"
                    report(line, column, "bad-character", message)
                node = Scalar(name, line, column, value, quoted)
            elif isinstance(event, yaml.CollectionStartEvent):
                if len(stack) == MAX_DEPTH:
                    report(line, column, "too-deep", TOO_DEEP)
                    break
                stack.append(_Open(line, column, is_mapping=isinstance(event, yaml.MappingStartEvent)))
                continue
            elif isinstance(event, yaml.CollectionEndEvent):
                done = stack.pop()
                if done.entries is None:
                    node = Sequence(name, done.line, done.column, tuple(done.items))
                else:
                    node = Mapping(name, done.line, done.column, done.entries)
            elif isinstance(event, yaml.AliasEvent):
                node = Scalar(name, line, column, "", quoted=True)  # already reported
            else:
                continue

            if not stack:
                root = node
                continue
            top = stack[-1]
            if top.entries is None:
                top.items.append(node)
            elif top.key is not None:
                top.entries.setdefault(top.key.text, Entry(top.key, node))
                top.key = None
            elif not isinstance(node, Scalar):
                report(node.line, node.column, "complex-key", TEXT_KEYS)
                top.key = Scalar(name, node.line, node.column, "", quoted=True)
            else:
                top.key = node
                if node.text == "<<" and not node.quoted:
                    report(line, column, "merge-key", "merge keys (<<) are not used here; write the keys out")
                elif first := top.entries.get(node.text):
                    where = f"line {first.key.line}, column {first.key.column}"
                    message = f"{shown(node.text)} already stands at {where}; keep one of the two"
                    report(line, column, "duplicate-key", message)
    except (yaml.YAMLError, ValueError, OverflowError) as error:  # the pure parser lets some of chr() and int() pass
        problems.append(syntax_problem(name, text, error))
    if problems:
        raise FileProblems(problems)
    if root is None or (isinstance(root, Scalar) and root.is_empty):
        raise _refusal(
            Place(name), "empty", "this file is empty, or holds only comments; write at least one 'key: value'"
        )
    return root
