"""Mends a job sheet of which some entries cannot be read: each is kept as a comment, with a note in its place.

So the sheet is YAML again that anybody can read, every other entry keeps its number, and nothing is thrown away: the
broken file stays beside it as well, byte for byte.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from twogauge.errors import FileProblems, InputError
from twogauge.files import read_bytes_bounded, write_atomically
from twogauge.packs.yamlfile import MAX_BYTES
from twogauge.service.job import Sheet, read_sheet
from twogauge.service.job_file import as_block, locked
from twogauge.service.job_salvage import Block, blocks_of

_MOST_COPIES: Final = 100


def mend(path: str | os.PathLike[str], at: str, by: str) -> tuple[Sheet, str]:
    """Keep what cannot be read as comments, and return the sheet and the name of the copy of the broken one.

    Args:
        path: the sheet.
        at: when it is mended, as ISO 8601.
        by: who does it.

    Raises:
        FileProblems: it is broken in a way that only a person can mend; nothing has changed.
        InputError: there is nothing to mend, or it cannot be written.
    """
    name = os.fspath(path)
    handle = locked(name)
    try:
        content = read_bytes_bounded(path, MAX_BYTES)
        try:
            read_sheet(path, content)
        except FileProblems as error:
            whole = error
        else:
            raise InputError(f"{name} can be read as it is; there is nothing to mend")
        blocks = blocks_of(path, content)
        broken = [i for i, block in enumerate(blocks) if block.entry is None]
        if not broken or len(broken) == len(blocks):
            raise whole
        head = b"".join(content.splitlines(keepends=True)[: blocks[0].line - 1]).decode("utf-8-sig", "strict")
        text = head + "".join(_kept(i, block, at, by) for i, block in enumerate(blocks, start=1))
        sheet = read_sheet(path, text.encode())  # FileProblems: the head is broken as well
        copy = _copy(Path(os.path.realpath(path)))
        write_atomically(path, text)
    except UnicodeDecodeError:
        raise whole from None
    finally:
        os.close(handle)
    return sheet, copy


def _kept(number: int, block: Block, at: str, by: str) -> str:
    if block.entry is not None:
        text = block.raw.decode()
        return text if text.endswith("\n") else text + "\n"
    why = f"entry {number} could not be read and is kept above as a comment"
    note = as_block({"did": "note", "at": at, "by": by, "note": why})
    return "".join(f"  # {line}\n" for line in _printable(block.raw)) + note


def _printable(raw: bytes) -> Iterable[str]:
    for line in raw.decode("utf-8", "backslashreplace").splitlines():
        yield "".join(each if each.isprintable() else ascii(each)[1:-1] for each in line).rstrip()


def _copy(path: Path) -> str:
    """Give the broken file a second name, which stays when the first gets another content."""
    for number in range(1, _MOST_COPIES):
        name = path.with_name(f"{path.name}.broken" + (f"-{number}" if number > 1 else ""))
        try:
            os.link(path, name)
        except FileExistsError:
            continue
        except OSError as error:
            raise InputError(f"{name} cannot be written ({error.strerror}); nothing was mended") from None
        return str(name)
    raise InputError(f"{path}.broken is there already, and many more; move them away first")
