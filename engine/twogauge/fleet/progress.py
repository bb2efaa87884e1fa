"""How far a run is, on one line of a terminal; nothing where there is none."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from typing import Final, TextIO

_EVERY: Final = 0.2  # [s] between two lines
_BAR: Final = 20  # characters


class Progress:
    """A line that is written over and over.

    Args:
        stream: where to; nothing is written unless it is a terminal.
        total: [byte] of all inputs; 0 where nobody knows.
        clock: [s] tells the time.
    """

    def __init__(self, stream: TextIO, total: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._shows = stream.isatty()
        self._total = total
        self._clock = clock
        self._skipped = 0
        self._last = 0.0
        self._began = self._now()
        self._rows = 0

    def _now(self) -> float:
        return self._clock()

    def update(self, rows: int, done: int, *, worked: bool = True) -> None:
        """Tell how far it is.

        Args:
            rows: that were finished just now.
            done: [byte] how much of the inputs lies behind.
            worked: whether they were answered now, and not in an earlier run.
        """
        if not self._shows:
            return
        now = self._now()
        if worked:
            self._rows += rows
        else:
            self._began, self._skipped = now, done
        if now - self._last < _EVERY:
            return
        self._last = now
        self._write(line(self._rows, now - self._began, done, self._total, self._skipped))

    def _write(self, text: str) -> None:
        width = max(shutil.get_terminal_size().columns - 1, 20)
        self._stream.write(f"\r{text[:width].ljust(width)}")
        self._stream.flush()

    def clear(self) -> None:
        """Take the line away."""
        if self._shows and self._last:
            self._write("")
            self._stream.write("\r")
            self._stream.flush()


def line(rows: int, seconds: float, done: int, total: int, skipped: int = 0) -> str:
    """Return the line.

    Args:
        rows: answered in this run.
        seconds: since it began.
        done, total, skipped: [byte] of the inputs: behind, all, and behind already when it began.
    """
    rate = f"{rows / seconds:,.0f} rows/s" if seconds > 0.0 else ""
    if not total:
        return f"{rows:,} rows  {rate}"
    share = min(done / total, 1.0)
    bar = ("#" * round(share * _BAR)).ljust(_BAR, ".")
    left = ""
    if done > skipped and seconds > 1.0:
        left = f"  {_time(seconds * (total - done) / (done - skipped))} left"
    return f"[{bar}] {share:4.0%}  {rows:,} rows  {rate}{left}"


def _time(seconds: float) -> str:
    whole = max(round(seconds), 0)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
