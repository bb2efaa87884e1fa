"""Files that appear whole or not at all: pieces on the way, the output and the list of bad rows at the end."""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from twogauge.errors import InputError, shown

BAD_HEADER: Final = ("file", "row", "reason")


def place_for(path: str, option: str) -> Path:
    """Return where a file will stand, with links followed.

    Args:
        path: as a person named it.
        option: that named it, for messages.

    Raises:
        InputError: there is no such folder, or something stands there that is no file: a folder, a device or a pipe.
    """
    place = Path(os.path.realpath(path))
    if not place.parent.is_dir():
        raise InputError(f"{option} {path}: there is no folder {place.parent}; make it first")
    if place.is_dir():
        raise InputError(f"{option} {path} is a folder; name a file in it")
    if place.exists() and not place.is_file():
        raise InputError(f"{option} {path} is not a file that can be replaced; name another")
    return place


def refuse_overwriting(written: Mapping[str, str], read: Collection[str]) -> None:
    """Refuse an output that is read as well, and two outputs that are one.

    Args:
        written: option -> path.
        read: paths of the inputs.

    Raises:
        InputError: as said, or as `place_for` says.
    """
    inputs = {os.path.realpath(name): name for name in read}
    outputs: dict[Path, str] = {}
    for option, path in written.items():
        name = inputs.get(os.path.realpath(path))
        if name is not None:
            raise InputError(f"{option} {path} would write over {shown(name)}, which is read; name another file")
        other = outputs.setdefault(place_for(path, option), option)
        if other != option:
            raise InputError(f"{other} and {option} name the same file")


def put_in_place(whole: Path, listed: Path, *, out: str, bad: str, any_bad: bool) -> None:
    """Let the output and the list of bad rows appear, the list first.

    Args:
        whole, listed: the finished files.
        out, bad: where they belong; "" for a file that is not wanted.
        any_bad: whether anything is listed.
    """
    if bad:
        target = Path(os.path.realpath(bad))
        if any_bad:
            move(listed, target)
        elif _is_a_list(target):
            target.unlink()  # of an earlier run: it would speak of this one
    if out:
        move(whole, Path(os.path.realpath(out)))


def move(made: Path, target: Path) -> None:
    """Let a finished file take the place of an older one, whose permissions it keeps."""
    if target.exists():
        made.chmod(target.stat().st_mode & 0o7777)
    try:
        made.replace(target)
    except OSError:  # on another disk
        temporary = target.with_name(f".{target.name}.tmp")
        temporary.write_bytes(made.read_bytes())
        temporary.replace(target)


def _is_a_list(path: Path) -> bool:
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            return file.readline(100).rstrip("\n") == ",".join(BAD_HEADER)
    except OSError:
        return False


def write_whole(path: Path, write: Callable[[Any], None]) -> int:
    """Write a file whole or not at all, and return its size [byte]."""
    temporary = path.with_suffix(f"{path.suffix}.tmp")
    try:
        with temporary.open("wb") as file:
            write(file)
            size = file.tell()
        temporary.replace(path)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
    return size


def write_bad(file: Any, bad: Sequence[tuple[str, int, str]]) -> None:
    """Write bad rows as lines of file, row and reason, without a header."""
    lines = io.StringIO()
    csv.writer(lines, lineterminator="\n").writerows(bad)
    file.write(lines.getvalue().encode("utf-8", "replace"))
