"""The finished pieces of a run, in a folder beside its output, so that a run that was ended can be gone on with.

The folder holds `job.json`, what the run is made of; `pieces.jsonl`, a line for each finished piece; the pieces
themselves; and `lock`, held by the run that works in it. A piece is whole or not there. Pieces count for exactly the
same run only: the same inputs, map, rules and program.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from twogauge.errors import InputError, shown
from twogauge.locks import lock

_JOB: Final = "job.json"
_LIST: Final = "pieces.jsonl"
_LOCK: Final = "lock"
_OURS: Final = re.compile(
    r"(?:job\.json|pieces\.jsonl|lock|\d{8}\.arrow|\d{8}\.bad\.csv|whole(?:\.bad\.csv)?|.*\.tmp)"
)


@dataclass(frozen=True, slots=True)
class Piece:
    """What is known of a finished piece.

    Attributes:
        number: from 0, in the order of the output.
        rows: how many it answers.
        bad: how many of them are no readings.
        spoilt: how many lines beside them were no rows.
        verdicts: word -> how many.
        faults: fault -> how many rows name it.
        size: [byte] of its file.
        first_bad: (file, row, reason) of the first that is bad or spoilt.
    """

    number: int
    rows: int
    bad: int
    spoilt: int
    verdicts: Mapping[str, int]
    faults: Mapping[str, int]
    size: int
    first_bad: tuple[str, int, str] | None = None


class Parts:
    """The folder of one run; a context that holds its lock.

    Args:
        folder: where it is or will be.
        job: what the run is made of, as plain data.
        resumable: whether what an earlier run left may be used.

    Attributes:
        done: number -> piece, of those that are finished.
        note: what became of an earlier run's pieces, in words; "" where there were none.

    Raises:
        InputError: another run works in it, or something else stands there.
    """

    def __init__(self, folder: Path, job: Mapping[str, Any], *, resumable: bool = True) -> None:
        self.folder = folder
        self.done: dict[int, Piece] = {}
        self.note = ""
        self._job = json.dumps(job, sort_keys=True, ensure_ascii=False, default=str)
        self._resumable = resumable
        self._stack = contextlib.ExitStack()

    def __enter__(self) -> Self:
        try:
            self._hold()
            self._take_up()
        except OSError as error:
            self._stack.close()
            raise no_room(self.folder, error) from None
        except BaseException:
            self._stack.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None and not self.done:  # nothing to go on with
            with contextlib.suppress(OSError):
                self.remove()
        self._stack.close()

    def _hold(self) -> None:
        while True:
            if self.folder.exists() and not self.folder.is_dir():
                raise InputError(f"{self.folder} is in the way: finished pieces go there; move it away")
            strange = (
                [p.name for p in self.folder.iterdir() if not _OURS.fullmatch(p.name)] if self.folder.exists() else []
            )
            if strange:
                raise InputError(
                    f"{self.folder} holds {shown(strange[0])}, which is not of an earlier run; move that folder away"
                )
            self.folder.mkdir(exist_ok=True)
            path = self.folder / _LOCK
            held = self._stack.enter_context(path.open("a+b"))
            lock(held.fileno(), str(path))
            # Whoever held it may have finished, and taken the folder away.
            with contextlib.suppress(OSError):
                if path.stat().st_ino == os.fstat(held.fileno()).st_ino:
                    return
            self._stack.pop_all().close()

    def _take_up(self) -> None:
        path = self.folder / _JOB
        before = path.read_text("utf-8", "replace") if path.exists() else ""
        if before == self._job and self._resumable:
            self.done = self._listed()
            rows = sum(piece.rows + piece.spoilt for piece in self.done.values())
            if rows:
                self.note = f"going on with an earlier run: {rows:,} rows are done"
        elif before:
            why = "standard input cannot be read again" if not self._resumable else _difference(before, self._job)
            self.note = f"an earlier run was not finished, but {why}: starting anew"
        if not self.done:
            self._empty()
            temporary = path.with_suffix(".tmp")
            temporary.write_text(self._job, "utf-8")
            temporary.replace(path)
        self._list = self._stack.enter_context((self.folder / _LIST).open("ab"))

    def _listed(self) -> dict[int, Piece]:
        found = {}
        path = self.folder / _LIST
        lines = path.read_bytes().split(b"\n") if path.exists() else []
        for line in lines:
            try:
                told = json.loads(line)
                first = told.pop("first_bad")
                piece = Piece(**told, first_bad=None if first is None else tuple(first))
                if self.path(piece.number).stat().st_size != piece.size:
                    continue
                if (piece.bad or piece.spoilt) and not self.bad_path(piece.number).exists():
                    continue
            except (ValueError, TypeError, KeyError, AttributeError, OSError):
                continue  # the line that was being written when the run was ended, or a piece that did not last
            found[piece.number] = piece
        if lines and lines[-1]:
            with path.open("ab") as file:
                file.write(b"\n")
        return found

    def path(self, number: int) -> Path:
        """Return where a piece is or will be."""
        return self.folder / f"{number:08d}.arrow"

    def bad_path(self, number: int) -> Path:
        """Return where the bad rows of a piece are or will be."""
        return self.folder / f"{number:08d}.bad.csv"

    @property
    def whole(self) -> Path:
        """Where the output grows."""
        return self.folder / "whole"

    def record(self, piece: Piece) -> None:
        """Keep note of a piece that was written."""
        if piece.number not in self.done:
            self._list.write(json.dumps(asdict(piece)).encode() + b"\n")
            self._list.flush()
            self.done[piece.number] = piece

    def _empty(self) -> None:
        for path in self.folder.iterdir():
            if path.name != _LOCK:
                path.unlink()

    def remove(self) -> None:
        """Take the folder away; the run is finished."""
        self._list.close()
        self._empty()
        with contextlib.suppress(OSError):  # where an open file cannot be taken away, an empty folder stays
            (self.folder / _LOCK).unlink()
            self.folder.rmdir()


def no_room(path: Path | str, error: OSError) -> InputError:
    """Return how to say that something cannot be written."""
    said = shown((error.strerror or str(error)).splitlines()[0], 160).strip("'\"")
    return InputError(
        f"{path} cannot be written ({said}); what is finished is kept: make room or check the permissions, and the "
        "same command goes on from there"
    )


def digest(value: object) -> str:
    """Return a digest of plain data, dataclasses and models that does not depend on the order of mappings and sets."""
    text = json.dumps(_plain(value), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _plain(value: object) -> Any:
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(json.dumps(_plain(each), sort_keys=True) for each in value)
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if hasattr(value, "model_dump"):
        return _plain(value.model_dump())
    fields = getattr(value, "__dataclass_fields__", None) or getattr(value, "__dict__", None)
    return (
        str(value) if fields is None else {name: _plain(getattr(value, name)) for name in fields if name != "place"}
    )


def _difference(before: str, now: str) -> str:
    """Say what differs between two runs."""
    try:
        old, new = json.loads(before), json.loads(now)
        names = [name for name in new if old.get(name) != new[name]]
    except (ValueError, AttributeError, TypeError):
        names = []
    return f"{names[0]} differ{'s' if names[0] in _ONE else ''} now" if names else "it was another one"


_ONE: Final = frozenset({"map", "version"})
