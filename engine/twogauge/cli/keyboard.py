"""Somebody at the keyboard: what was typed is kept in a file where it cannot be used, or the terminal goes away."""

from __future__ import annotations

import shlex
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import chain, count
from pathlib import Path
from types import FrameType
from typing import Final

from twogauge.cli.common import STDIN, read_standard_input
from twogauge.errors import InputError
from twogauge.files import write_atomically

UNSAVED: Final = "twogauge_unsaved"  # .yaml, _2.yaml, ... in the folder one works in
_ENDINGS: Final = ("SIGHUP", "SIGTERM", "SIGQUIT")  # a closed terminal sends the first, more than once
_Handler = Callable[[int, FrameType | None], object] | signal.Handlers


@contextmanager
def hang_up_interrupts() -> Iterator[None]:
    """Let a closed terminal and a request to end count like Ctrl-C, so that what was typed is kept."""

    def interrupt(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    with _on(_ENDINGS, interrupt):
        yield


@contextmanager
def _on(names: Sequence[str], handler: _Handler) -> Iterator[None]:
    wanted = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, handler) for number in wanted}
    try:
        yield
    finally:
        for number, each in before.items():
            signal.signal(number, each)


def keep(text: Callable[[], str | bytes], suffix: str) -> Path:
    """Write what would be lost to a new file, here or else among the temporary files, and return its path.

    Args:
        text: what was typed.
        suffix: of the file, such as ".yaml".

    Raises:
        InputError: neither folder takes it.
    """
    for folder in (Path(), Path(tempfile.gettempdir())):
        names = chain([UNSAVED], (f"{UNSAVED}_{number}" for number in count(2)))
        path = next(p for p in (folder / f"{name}{suffix}" for name in names) if not p.exists())
        try:
            write_atomically(path, text())
        except InputError:
            continue
        return path
    raise InputError(f"neither this folder nor {tempfile.gettempdir()} takes a file; what was typed is lost")


@contextmanager
def rows_of(name: str, most: int) -> Iterator[bytes | None]:
    """Read rows from standard input up to its end; if they were typed and what is done with them fails, keep them.

    Args:
        name: of a file, or - for standard input.
        most: bytes that are read; one more, so that too much can be told.

    Yields:
        the rows; None where a file was named.
    """
    if name != STDIN:
        yield None
        return
    if sys.stdin is None or not sys.stdin.isatty():
        yield read_standard_input(most)
        return
    _say("Type a time and a pressure in each line, such as '5 min, 430 micron'.\nCtrl-D on a line of its own ends.")
    rows: list[bytes] = []
    with hang_up_interrupts():
        try:
            size = 0
            while size <= most and (line := _line()):
                rows.append(line)
                size += len(line)
            yield b"".join(rows)[: most + 1]
        except (InputError, KeyboardInterrupt):
            try:
                _rescue(rows)
            except KeyboardInterrupt:  # reading from a closed terminal fails a moment before its signal comes
                _rescue(rows)
            raise


def _line() -> bytes:
    try:
        return sys.stdin.buffer.readline()
    except OSError:  # the terminal has gone
        raise KeyboardInterrupt from None


def _rescue(rows: list[bytes]) -> None:
    """Keep the rows and say how to go on with them; no second signal comes between."""
    if not b"".join(rows).strip():
        return
    with _on(("SIGINT", *_ENDINGS), signal.SIG_IGN), suppress(OSError):  # nobody may be there to read it
        path = keep(lambda: b"".join(rows), ".txt")
        rows.clear()
        command = shlex.join(["twogauge", *(str(path) if word == STDIN else word for word in sys.argv[1:])])
        _say(f"\nWhat you typed is kept. To go on, look it over and type:\n  {command}")


def _say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
    sys.stderr.flush()
