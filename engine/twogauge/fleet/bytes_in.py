"""The bytes of an input: a file, a pipe or standard input, unpacked where they are packed, and what they look like.

Everything is read as a stream; a file that is cut short or spoilt says so, with its name, when the reader gets there.
"""

from __future__ import annotations

import bz2
import contextlib
import glob
import gzip
import lzma
import os
import stat
import sys
import tempfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO, Final

import pyarrow as pa

from twogauge.errors import InputError, shown

STDIN: Final = "-"
FORMATS: Final = ("csv", "jsonl", "parquet", "arrow", "arrows")
_SUFFIXES: Final = {
    ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".jsonl": "jsonl", ".ndjson": "jsonl", ".parquet": "parquet",
    ".pq": "parquet", ".arrow": "arrow", ".feather": "arrow", ".ipc": "arrow", ".arrows": "arrows",
}  # fmt: skip
_PACKED: Final = {
    b"\x1f\x8b": "gz",
    b"BZh": "bz2",
    b"\xfd7zXZ\x00": "xz",
    b"\x28\xb5\x2f\xfd": "zst",
    b"\x04\x22\x4d\x18": "lz4",
}
_MAGIC: Final = {b"PAR1": "parquet", b"ARROW1": "arrow", b"\xff\xff\xff\xff": "arrows", b"{": "jsonl"}
_HEAD: Final = 64
_COPY: Final = 1 << 20
_SPOILT: Final = (EOFError, OSError, zlib.error, lzma.LZMAError, pa.ArrowException)


def expand(names: Sequence[str]) -> tuple[str, ...]:
    """Return the files that names and patterns stand for: in the order given, those of a pattern sorted.

    Raises:
        InputError: a pattern that fits no file, a file named twice, or nothing at all.
    """
    found: list[str] = []
    for name in names:
        if name == STDIN or Path(name).exists() or not glob.has_magic(name):
            found.append(name)
            continue
        matches = glob.iglob(name, recursive=True)  # noqa: PTH207 - of any folder, absolute ones too
        fits = sorted(path for path in matches if Path(path).is_file())
        if not fits:
            raise InputError(f"{shown(name)}: no file fits this pattern; check the folder")
        found += fits
    seen: dict[str, str] = {}
    for name in found:
        path = STDIN if name == STDIN else os.path.realpath(name)
        if path in seen:
            raise InputError(f"{shown(name)} is named twice; its rows would be counted twice")
        seen[path] = name
    if not found:
        raise InputError("name at least one file, or - for standard input")
    return tuple(found)


class Input:
    """One input, which says what it holds and gives its bytes.

    Args:
        name: of a file, or `-` for standard input.
        format: one of FORMATS, or "" to find out.

    Attributes:
        name: as given; `<stdin>` for standard input.
        format: one of FORMATS.
        packed: how it is compressed, such as "gz", or "".
        size: [byte] of the file; 0 where nobody knows.
        once: whether it can be read a single time only.

    Raises:
        InputError: it is missing, or cannot be read.
    """

    def __init__(self, name: str, format: str = "") -> None:  # noqa: A002 - the word people know
        self.path = name
        self.name = "<stdin>" if name == STDIN else name
        self.size, self.once = 0, name == STDIN
        self.identity: tuple[str, int, int] = (name, 0, 0)
        self._kept: Any = None
        raw = self._open_raw()
        try:
            if not self.once:
                status = os.fstat(raw.fileno())
                self.once = not stat.S_ISREG(status.st_mode)
                self.size = 0 if self.once else status.st_size
                self.identity = (os.path.realpath(name), status.st_size, status.st_mtime_ns)
            head = _read_up_to(raw, _HEAD, self.name)
            self.packed = next((how for magic, how in _PACKED.items() if head.startswith(magic)), "")
            if self.once:
                raw = self._kept = _Rejoined(head, raw)
            if self.packed:
                head = self._first_unpacked(raw)
            self.format = format or self._format(head)
        finally:
            if not self.once:
                raw.close()

    def _open_raw(self) -> Any:
        if self.path == STDIN:
            return sys.stdin.buffer
        try:
            return Path(self.path).open("rb")
        except FileNotFoundError:
            raise InputError(f"{self.name}: there is no such file; check the name and the folder") from None
        except (OSError, ValueError) as error:
            if Path(self.path).is_dir():
                raise InputError(
                    f"{self.name}: this is a folder; name its files, such as {shown(self.path.rstrip('/') + '/*.csv')}"
                ) from None
            raise InputError(f"{self.name} cannot be read ({_reason(error)}); check its permissions") from None

    def _first_unpacked(self, raw: Any) -> bytes:
        if self.once:
            unpacked = _unpack(raw, self.packed)
            first = _read_up_to(unpacked, _HEAD, self.name)
            self._kept = _Rejoined(first, unpacked)
            return first
        raw.seek(0)
        return _read_up_to(_unpack(raw, self.packed), _HEAD, self.name)

    def _format(self, head: bytes) -> str:
        for magic, kind in _MAGIC.items():
            if head.lstrip(b"\xef\xbb\xbf \r\n\t" if kind == "jsonl" else b"").startswith(magic):
                return kind
        suffixes = [suffix.lower() for suffix in Path(self.path).suffixes]
        kinds = [_SUFFIXES[suffix] for suffix in suffixes if suffix in _SUFFIXES]
        kind = kinds[-1] if kinds else "csv"
        if head and kind in ("parquet", "arrow", "arrows"):
            raise InputError(
                f"{self.name}: this is no {kind} file, whatever its name says; it is damaged or misnamed"
            )
        return kind

    @contextlib.contextmanager
    def stream(self) -> Iterator[Guarded]:
        """Give the unpacked bytes from the beginning on; of an input that can be read once, only once."""
        if self._kept is not None:
            kept, self._kept = self._kept, None
            yield Guarded(kept, self.name, None)
            return
        with contextlib.ExitStack() as stack:
            raw = stack.enter_context(self._open_raw())
            yield Guarded(_unpack(raw, self.packed) if self.packed else raw, self.name, raw)

    @contextlib.contextmanager
    def file(self, folder: str | None = None) -> Iterator[BinaryIO]:
        """Give a file that can be read at any place, for the formats that need it; a pipe is copied to one first.

        Args:
            folder: for the copy; None for the usual one for temporary files.
        """
        if not self.packed and not self.once:
            with self._open_raw() as raw:
                yield raw
            return
        with tempfile.TemporaryFile(dir=folder) as copy, self.stream() as stream:
            while data := stream.read(_COPY):
                copy.write(data)
            copy.seek(0)
            yield copy


class Guarded:
    """A stream whose troubles name the input."""

    def __init__(self, stream: Any, name: str, raw: Any) -> None:
        self._stream = stream
        self._raw = raw
        self._name = name

    def read(self, count: int) -> bytes:
        """Return up to `count` bytes, fewer only at the end.

        Raises:
            InputError: the input is cut short or spoilt.
        """
        return _read_up_to(self._stream, count, self._name)

    def tell(self) -> int:
        """Return how many bytes of the file have been read, packed as they are; 0 where nobody knows."""
        return 0 if self._raw is None else self._raw.tell()


class _Rejoined:
    """A stream with the bytes that were looked at put back."""

    def __init__(self, head: bytes, rest: Any) -> None:
        self._head = head
        self._rest = rest

    def read(self, count: int = -1) -> bytes:
        if not self._head:
            return bytes(self._rest.read(count))
        if 0 <= count < len(self._head):
            data, self._head = self._head[:count], self._head[count:]
            return data
        data, self._head = self._head, b""
        return data

    @property
    def closed(self) -> bool:
        return False

    def readable(self) -> bool:
        return True

    def close(self) -> None:
        self._head = b""


def _unpack(raw: Any, how: str) -> Any:
    if how == "gz":
        return gzip.GzipFile(fileobj=raw, mode="rb")
    if how == "bz2":
        return bz2.BZ2File(raw)
    if how == "xz":
        return lzma.LZMAFile(raw)
    return pa.CompressedInputStream(pa.PythonFile(raw, mode="r"), {"zst": "zstd"}.get(how, how))


def _read_up_to(stream: Any, count: int, name: str) -> bytes:
    parts, missing = [], count
    try:
        while missing > 0 and (data := stream.read(missing)):
            parts.append(data)
            missing -= len(data)
    except _SPOILT as error:
        raise InputError(
            f"{name} cannot be read to its end ({_reason(error)}); it is cut short or damaged: fetch it again"
        ) from None
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _reason(error: Exception) -> str:
    """Return the system's words for what went wrong, the first line of them."""
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return shown(words.splitlines()[0], 120).strip("'\"")


def size_of(inputs: Sequence[Input]) -> int:
    """Return how many bytes the inputs have together; 0 where one of them is a pipe."""
    return 0 if any(each.once for each in inputs) else sum(each.size for each in inputs)
