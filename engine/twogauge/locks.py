"""A file that one program at a time writes to."""

from __future__ import annotations

import errno
import time
from typing import Final

from twogauge.errors import InputError

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl = None  # type: ignore[assignment]

_PATIENCE: Final = 10.0  # [s] for somebody else's writing


def lock(handle: int, name: str) -> None:
    """Hold an open file until it is closed; without effect where the system or the file system knows no locks.

    Args:
        handle: of the file.
        name: for the message.

    Raises:
        InputError: somebody else held it all the time.
    """
    if fcntl is None:
        return
    until = time.monotonic() + _PATIENCE
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno not in {errno.EAGAIN, errno.EACCES}:
                return
            if time.monotonic() > until:
                raise InputError(f"{name} is held by another program; try again when that has ended") from None
            time.sleep(0.01)
        else:
            return
