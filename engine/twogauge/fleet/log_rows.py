"""Rows of a log as numbers and words of each machine, in the order of time.

Nothing here depends on how a log is cut into batches: whether a row counts is decided by the rows before it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats
from twogauge.fleet.stamps import SECOND, Stamps

Codes = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]
NOT_TOLD: Final = -1


@dataclass(frozen=True, slots=True)
class LogRows:
    """Rows of one machine.

    Attributes:
        time: [us] shape (n,).
        fresh: shape (n,): the clock was set back before this row.
        numbers: [SI] shape (n, fields), NaN where nothing is told.
        words: shape (n, words), an index, NOT_TOLD where nothing is told.
    """

    time: Stamps
    fresh: Flags
    numbers: Floats
    words: Codes

    def __len__(self) -> int:
        """Return how many rows there are."""
        return int(self.time.size)

    def take(self, which: npt.NDArray[np.intp] | Flags | slice) -> LogRows:
        """Return some of the rows."""
        return LogRows(self.time[which], self.fresh[which], self.numbers[which], self.words[which])


def joined(parts: list[LogRows]) -> LogRows:
    """Return rows one below the other; at least one part."""
    if len(parts) == 1:
        return parts[0]
    return LogRows(
        np.concatenate([p.time for p in parts]),
        np.concatenate([p.fresh for p in parts]),
        np.concatenate([p.numbers for p in parts]),
        np.concatenate([p.words for p in parts]),
    )


@dataclass(slots=True)
class Order:
    """Puts the rows of one machine in the order of time, and holds back what a late row may still come before.

    A row that is older than the one before it in the log by more than `late` means that the clock was set back: time
    begins anew there, since nothing tells which of the two clocks was right. One that is older than the newest by more
    than `late`, without such a jump, came too late and is left out. Of two with one stamp the first counts.

    Attributes:
        late: [s] how much after its time a row may come in.
        set_back, too_late, twice: how many of each were met.
    """

    late: float
    set_back: int = 0
    too_late: int = 0
    twice: int = 0
    _held: list[LogRows] = field(default_factory=list)
    _last: int | None = None
    _newest: int | None = None
    _begins: bool = True

    def add(self, rows: LogRows) -> list[LogRows]:
        """Take rows in the order of the log; return those that are final, sorted, parts one after the other."""
        if not len(rows):
            return []
        late = round(self.late * SECOND)
        before = np.concatenate([[rows.time[0] if self._last is None else self._last], rows.time[:-1]])
        self._last = int(rows.time[-1])
        jumps = np.flatnonzero(rows.time < before - late).tolist()
        final = []
        for i, (start, stop) in enumerate(zip([0, *jumps], [*jumps, len(rows)], strict=True)):
            if i > 0:
                final += self.finish()
                self.set_back += 1
                self._newest, self._begins = None, True
            if start < stop:
                final += self._in_order(rows.take(slice(start, stop)), late)
        return final

    def _in_order(self, rows: LogRows, late: int) -> list[LogRows]:
        newest = np.maximum.accumulate(rows.time if self._newest is None else np.maximum(rows.time, self._newest))
        in_time = rows.time >= newest - late
        self._newest = int(newest[-1])
        self.too_late += int((~in_time).sum())
        held = joined([*self._held, rows.take(in_time)])
        self._held = [held]
        return self._release(held.time < newest[-1] - late)

    def _release(self, which: Flags) -> list[LogRows]:
        held = self._held[0]
        out, self._held = held.take(which), [held.take(~which)]
        if not len(out):
            return []
        out = out.take(np.argsort(out.time, kind="stable"))
        same = np.concatenate([[False], out.time[1:] == out.time[:-1]])
        self.twice += int(same.sum())
        out = out.take(~same)
        out.fresh[0] = self._begins
        self._begins = False
        return [out]

    def finish(self) -> list[LogRows]:
        """Return what was held back; nothing comes after it."""
        return self._release(np.ones(len(self._held[0]), dtype=bool)) if self._held else []
