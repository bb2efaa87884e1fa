"""Files that appear whole or not at all: pieces on the way, the output and the list of bad rows at the end."""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

BAD_HEADER: Final = ("file", "row", "reason")


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
            _move(listed, target)
        elif _is_a_list(target):
            target.unlink()  # of an earlier run: it would speak of this one
    if out:
        _move(whole, Path(os.path.realpath(out)))


def _move(made: Path, target: Path) -> None:
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
