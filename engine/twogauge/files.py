"""Reading a file without being drowned by it, and writing one whole or not at all.

What the bytes mean is decided elsewhere (`packs/yamlfile.py`, the table reader).
"""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from twogauge.errors import FileProblems, InputError
from twogauge.packs.problems import Place, Problem

# A pipe is read only where the shell made it (`/dev/stdin`, `<(command)`); opened elsewhere it may never end.
_SHELL_PIPES = ("/dev/stdin", "/dev/fd/", "/proc/self/fd/")


def read_bytes_bounded(path: str | os.PathLike[str], limit: int) -> bytes:
    """Return the bytes of a regular file, or of a pipe the shell made.

    Never holds more than `limit` + 1 bytes and never waits on a pipe or device that lies about in a folder.

    Args:
        path: the file; it stands in messages as given.
        limit: the most bytes it may have.

    Raises:
        FileProblems: one problem at line 1, column 1: the file is missing, not a file, unreadable or too large.
    """
    name = os.fspath(path)

    def refusal(code: str, message: str) -> FileProblems:
        return FileProblems([Problem(Place(name), code, message)])

    too_large = refusal("too-large", f"this file is larger than {_size(limit)}; split it into smaller files")
    not_a_file = refusal("not-a-file", "this is not a regular file; name a file of text")
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            status = os.fstat(file.fileno())
            if stat.S_ISFIFO(status.st_mode) and name.startswith(_SHELL_PIPES):
                os.set_blocking(file.fileno(), True)
            elif not stat.S_ISREG(status.st_mode):
                raise not_a_file
            elif status.st_size > limit:
                raise too_large
            data = file.read(limit + 1)
    except FileNotFoundError:
        raise refusal("missing-file", "there is no such file; check the name and the folder") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL inside the name
        if Path(name).is_dir():
            raise refusal("not-a-file", "this is a folder; name a file in it") from None
        raise refusal(
            "unreadable", f"this file cannot be read ({_reason(error)}); check its name and permissions"
        ) from None
    if len(data) > limit:
        raise too_large
    return data


def write_atomically(path: str | os.PathLike[str], text: str | bytes, *, private: bool = False) -> None:
    """Write `text`, as UTF-8, or bytes so that a reader sees the old file or the new one, never half of one.

    The permission bits of a file that is replaced are kept (its owner is not), unless it is `private`: then nobody
    else may read or write it. A symbolic link stays a link and the file it points to is replaced. Line ends are
    written as they stand in `text`.

    Raises:
        InputError: the file cannot be written there; nothing has changed and no temporary file is left.
    """
    name = os.fspath(path)
    temporary: Path | None = None
    try:
        data = text if isinstance(text, bytes) else text.encode("utf-8")
        target = Path(os.path.realpath(path))
        mode = target.stat().st_mode if target.exists() else None
        if mode is not None and not stat.S_ISREG(mode):
            raise InputError(f"{name} cannot be written: it is not a regular file; name another")
        candidate = target.with_name(f".{os.urandom(8).hex()}.tmp")
        with open(candidate, "xb", opener=_open_privately if private else None) as file:
            temporary = candidate
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None and not private:
            temporary.chmod(stat.S_IMODE(mode))
        temporary.replace(target)
        temporary = None
    except (OSError, ValueError) as error:  # ValueError: a NUL inside the name, or text that is not Unicode
        raise InputError(
            f"{name} cannot be written ({_reason(error)}); check the folder and its permissions"
        ) from None
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def write_new(path: str | os.PathLike[str], text: str) -> None:
    """Write `text` as UTF-8 to a file that must not be there yet, whole or not at all.

    Raises:
        InputError: something is there already, or the file cannot be written; nothing has changed and no temporary
            file is left.
    """
    target = Path(path)
    temporary = target.with_name(f".{os.urandom(8).hex()}.tmp")
    try:
        with temporary.open("xb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        # Unlike a rename a link never replaces what another program put there a moment ago.
        os.link(temporary, target)
    except FileExistsError:
        raise InputError(f"{os.fspath(path)} is there already; nothing was written over it") from None
    except (OSError, ValueError) as error:
        raise InputError(
            f"{os.fspath(path)} cannot be written ({_reason(error)}); check the folder and its permissions"
        ) from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)


def _open_without_waiting(path: str, flags: int) -> int:
    """Open as `open` asks, but do not wait for somebody at the other end of a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0))


def _open_privately(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _reason(error: Exception) -> str:
    """Return the system's words for what went wrong."""
    return getattr(error, "strerror", None) or str(error)


def _size(count: int) -> str:
    """Return a number of bytes for people."""
    return f"{count / 2**20:g} MiB" if count >= 2**20 else f"{count} bytes"
