"""Reads a job sheet of which some entries cannot be read: a write that was cut off, a slip of somebody's hand.

Each entry begins with a dash in the same column. Those blocks are read one by one, so that one that is broken hides no
other; it keeps its number, and what stands in it is shown as it is.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

from twogauge.errors import FileProblems
from twogauge.files import read_bytes_bounded
from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.service.job import FORMAT, UNREADABLE, Entry, Sheet, entry_of, may_be_struck, read_sheet

_ENTRIES: Final = re.compile(rb"entries:\s*(#.*)?")
_FORMAT: Final = re.compile(rb"format:\s*[\"']?([^\"'#\s]*)")
_ITEM: Final = re.compile(rb"( *)-( |$)")
_ALONE: Final = b"entries:\n"  # what a block is read behind
_MOST_BROKEN: Final = 500  # entries; a file with more of them is no sheet with a slip in it
_MOST_SHOWN: Final = 400  # characters of a block that cannot be read


@dataclass(frozen=True, slots=True)
class Block:
    """The lines of one entry.

    Attributes:
        line: where it begins, from 1.
        raw: as it stands in the file.
        entry: what it says, or None.
        problems: why it cannot be read.
    """

    line: int
    raw: bytes
    entry: Entry | None
    problems: tuple[Problem, ...]


def read_what_can_be(path: str | os.PathLike[str], text: bytes | None = None) -> Sheet:
    """Read a job sheet, and what can be read of it where something is broken; `problems` says where.

    Args:
        path: the file; with `text`, only the name used in messages.
        text: the content, when it is at hand.

    Raises:
        FileProblems: it is no job sheet, of another format, or nothing or too little in it can be read.
    """
    content = read_bytes_bounded(path, yamlfile.MAX_BYTES) if text is None else text
    try:
        return read_sheet(path, content)
    except FileProblems as error:
        whole = error
    blocks: list[Block] = []
    broken = 0
    for block in _each_block(path, content):
        blocks.append(block)
        broken += block.entry is None
        if broken > _MOST_BROKEN:
            raise whole
    if broken == len(blocks):
        raise whole
    problems = tuple(problem for block in blocks for problem in block.problems)
    entries: list[Entry] = []
    for block in blocks:
        last = entries[-1].at if entries else datetime.fromtimestamp(0, UTC)
        entries.append(block.entry or _unreadable(block, last))
    return Sheet(os.fspath(path), tuple(entries), problems or whole.problems)


def blocks_of(path: str | os.PathLike[str], content: bytes) -> tuple[Block, ...]:
    """Return the blocks of a sheet, each read by itself; none where it is no sheet of this format.

    Args:
        path: the name used in messages.
        content: of the file.
    """
    return tuple(_each_block(path, content))


def _each_block(path: str | os.PathLike[str], content: bytes) -> Iterator[Block]:
    lines = content.removeprefix(b"\xef\xbb\xbf").splitlines(keepends=True)
    start = next((i for i, line in enumerate(lines) if _ENTRIES.fullmatch(line.rstrip())), None)
    if start is None:
        return
    told = [match[1] for line in lines[:start] if (match := _FORMAT.match(line))]
    if told and told[0] != FORMAT.encode():
        return
    dash = next((match[1] for line in lines[start + 1 :] if (match := _ITEM.match(line))), None)
    begins = [
        i
        for i, line in enumerate(lines)
        if i > start and (match := _ITEM.match(line)) is not None and match[1] == dash
    ]
    kinds: list[str] = []
    for first, behind in zip(begins, [*begins[1:], len(lines)], strict=False):
        block = _block(os.fspath(path), first + 1, b"".join(lines[first:behind]), kinds)
        kinds.append(block.entry.did if block.entry else UNREADABLE)
        yield block


def _block(path: str, line: int, raw: bytes, before: Sequence[str]) -> Block:
    problems: list[Problem] = []
    entry = None
    try:
        node = yamlfile.load(path, _ALONE + raw)
        items = node.get("entries") if isinstance(node, yamlfile.Mapping) else None
        extra = isinstance(node, yamlfile.Mapping) and len(node.entries) > 1
        if extra or not isinstance(items, yamlfile.Sequence) or len(items.items) != 1:
            problems.append(Problem(Place(path, 2), "job", "this is no entry, or more than one"))
        else:
            entry = entry_of(items.items[0], problems)
    except FileProblems as error:
        problems = list(error.problems)
    if entry is not None and entry.did == "strike" and not may_be_struck(entry, before):
        problems.append(Problem(Place(path, 2), "job", f"{entry.text('entry')} is no earlier entry to be struck"))
        entry = None
    return Block(line, raw, entry, tuple(_moved(problem, line - 2) for problem in problems))


def _moved(problem: Problem, lines: int) -> Problem:
    place = problem.place
    return replace(problem, place=Place(place.path, max(place.line, 2) + lines, place.column))


def _unreadable(block: Block, at: datetime) -> Entry:
    raw = " ".join(block.raw.decode("utf-8", "backslashreplace").split())
    text = "".join(each if each.isprintable() else ascii(each)[1:-1] for each in raw[:_MOST_SHOWN])
    told = {"text": text, "why": block.problems[0].message, "place": str(block.problems[0].place)}
    return Entry(UNREADABLE, at, "", told)
