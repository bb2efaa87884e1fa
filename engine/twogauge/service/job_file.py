"""Writes job sheets: begins one, and adds entries at its end; what stands in it stays as it was written, byte for byte.

An entry is there whole or not at all: the new sheet is written beside the old one, is on the disk, and then takes its
place in one step. The sheet is locked from reading to replacing (locks.py), and a writer that waited looks whether the
file it opened is still the one that bears the name; so two people at once lose nothing.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from twogauge.errors import FileProblems, InputError
from twogauge.files import read_bytes_bounded, write_atomically, write_new
from twogauge.locks import lock
from twogauge.packs.yamlfile import MAX_BYTES
from twogauge.service.job import AFTER_CLOSING, FORMAT, Sheet, check, read_sheet
from twogauge.service.job_salvage import blocks_of

_HEAD: Final = f"""\
# A job sheet: what was found, done, taken out and put in, by whom and when. Entries are only added; what is wrong is
# set right by a later entry. `twogauge job show` tells it, `twogauge job report` prints it.
format: {FORMAT}
entries:
"""
# What every reader of YAML takes for a text as it stands: words that begin with a letter, numbers with a unit.
_PLAIN: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._/%+()-]*(?<! )")
_WORDS: Final = re.compile(r"(?i)(?:true|false|yes|no|on|off|null|y|n|[-+0-9._]+(?:e[-+0-9]*)?|0[xo][0-9a-f]*)")


def begin(path: str | os.PathLike[str], entry: Mapping[str, Any]) -> Sheet:
    """Write a new sheet with its first entry.

    Raises:
        InputError: there is such a file already, it cannot be written, or the entry cannot be used.
    """
    text, sheet = begun(path, entry)
    write_new(path, text)
    return sheet


def begun(path: str | os.PathLike[str], entry: Mapping[str, Any]) -> tuple[str, Sheet]:
    """Return a new sheet as text and as it is read; nothing is written.

    Args:
        path: the name used in messages.
        entry: the first one.

    Raises:
        InputError: the entry cannot be used.
    """
    _refuse_wrong(entry)
    text = _HEAD + as_block(entry)
    return text, read_sheet(path, text.encode())


def add(path: str | os.PathLike[str], entry: Mapping[str, Any]) -> Sheet:
    """Add one entry at the end of a sheet, and return the sheet.

    Args:
        path: the sheet.
        entry: texts, and mappings of texts; `did`, `at` and `by` among them.

    Raises:
        FileProblems: the sheet cannot be read as it is; nothing was added.
        InputError: the entry cannot be used, or the sheet cannot be written; nothing was added.
    """
    _refuse_wrong(entry)
    name = os.fspath(path)
    handle = locked(name)
    try:
        before = read_bytes_bounded(path, MAX_BYTES)
        new, sheet = added(path, before, entry)
        if read_bytes_bounded(path, MAX_BYTES) != before:  # where there are no locks
            raise InputError(f"{name} was changed by somebody else just now; nothing was added, try again")
        write_atomically(path, new)
    finally:
        os.close(handle)
    return sheet


def added(path: str | os.PathLike[str], before: bytes, entry: Mapping[str, Any]) -> tuple[str, Sheet]:
    """Return a sheet with one more entry as text and as it is read; nothing is written.

    Args:
        path: the name used in messages.
        before: the sheet as it is.
        entry: texts, and mappings of texts; `did`, `at` and `by` among them.

    Raises:
        FileProblems: the sheet cannot be read as it is.
        InputError: the entry cannot be used.
    """
    _refuse_wrong(entry)
    name = os.fspath(path)
    old = _sound(path, before)
    _refuse_out_of_turn(name, old, str(entry["did"]))
    text = before.decode("utf-8-sig")
    text += "" if text.endswith("\n") else "\n"
    new = text + as_block(entry)
    if len(new.encode()) > MAX_BYTES:
        raise InputError(f"{name} is full; begin another sheet for this job")
    try:
        sheet = read_sheet(path, new.encode())
    except InputError as error:
        if entry.get("did") == "strike":
            raise InputError(f"{_last_words(error)}; nothing was added") from None
        sheet = old
    if sheet.entries[:-1] != old.entries or len(sheet.entries) != len(old.entries) + 1:
        raise InputError(
            f"{name}: nothing can be added at its end, because somebody wrote it in another form; let 'entries:' be "
            "last in it, each entry beginning with two blanks and a dash"
        )
    return new, sheet


def _sound(path: str | os.PathLike[str], content: bytes) -> Sheet:
    """Read a sheet that may be added to; where something in it is broken, tell how to go on."""
    try:
        return read_sheet(path, content)
    except FileProblems as error:
        found = list(error.problems)
        if any(block.entry for block in blocks_of(path, content)):
            name = os.fspath(path)
            how = f"; nothing was added: mend it by hand, or keep it as a comment with `twogauge job mend {name}`"
            found[-1] = replace(found[-1], message=found[-1].message + how)
        raise FileProblems(found) from None


def _refuse_out_of_turn(name: str, sheet: Sheet, did: str) -> None:
    closing = sheet.closing
    if closing is not None and did not in AFTER_CLOSING:
        day = closing.at.strftime("%Y-%m-%d")
        raise InputError(
            f"{name}: this job was finished on {day}; nothing was added. `twogauge job add {name} reopened WHY` opens it "
            "again; a note can be added as it is"
        )
    if closing is None and did == "reopened":
        raise InputError(f"{name}: this job is open; nothing was added")


def _last_words(error: InputError) -> str:
    """Return what a problem says, without its place: the entry is not in the file."""
    return str(error).rpartition("entry: ")[2]


def locked(name: str) -> int:
    """Open the file that bears the name now and hold it, until nobody replaced it in between.

    Raises:
        InputError: there is no such file, or it cannot be written.
    """
    while True:
        try:
            handle = os.open(name, os.O_RDWR | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0))
        except FileNotFoundError:
            raise InputError(f"{name}: there is no such sheet; `twogauge job new {name}` begins one") from None
        except (OSError, ValueError) as error:  # ValueError: a NUL inside the name
            reason = getattr(error, "strerror", None) or str(error)
            raise InputError(f"{name} cannot be written ({reason}); check the folder and its permissions") from None
        try:
            lock(handle, name)
            mine, now = os.fstat(handle), Path(name).stat()
        except FileNotFoundError:
            os.close(handle)
            continue
        except BaseException:
            os.close(handle)
            raise
        if (mine.st_dev, mine.st_ino) == (now.st_dev, now.st_ino):
            return handle
        os.close(handle)


def as_block(entry: Mapping[str, Any]) -> str:
    """Return an entry as it stands in the file, with its line feed."""
    lines = _lines(entry, "    ")
    return "  - " + lines[0].lstrip(" ") + "\n" + "".join(f"{line}\n" for line in lines[1:])


def _lines(told: Mapping[str, Any], indent: str) -> list[str]:
    lines = []
    for key, value in told.items():
        if isinstance(value, Mapping | list | tuple) and not value:
            continue
        if isinstance(value, Mapping):
            lines += [f"{indent}{_scalar(str(key))}:", *_lines(value, indent + "  ")]
        elif isinstance(value, list | tuple):
            lines.append(f"{indent}{_scalar(str(key))}: [{', '.join(_scalar(str(each)) for each in value)}]")
        else:
            lines.append(f"{indent}{_scalar(str(key))}: {_scalar(str(value))}")
    return lines


def _scalar(text: str) -> str:
    """Write a text so that every reader of YAML takes it for that text; JSON's quotes are YAML's too."""
    if _PLAIN.fullmatch(text) and not _WORDS.fullmatch(text):
        return text
    return json.dumps(text, ensure_ascii=not text.isprintable())


def _refuse_wrong(entry: Mapping[str, Any]) -> None:
    wrong = check(entry)
    if wrong:
        raise InputError("; ".join(message for _, message in wrong) + "; nothing was added")
