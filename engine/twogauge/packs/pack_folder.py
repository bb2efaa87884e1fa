"""Which files a pack consists of; imports nothing that reads them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from twogauge.errors import InputError, shown
from twogauge.packs.in_force import CASES
from twogauge.packs.problems import Place, Problem

_MAX_FILES: Final = 500
_MAX_BYTES: Final = 16 * 2**20  # of one pack


def files_of(folder: Path, problems: list[Problem]) -> list[Path]:
    """Return the files of a pack, sorted; `cases` and what begins with a dot are none of them.

    Args:
        folder: of the pack.
        problems: taken further by links that lead elsewhere and by more than a pack may hold.

    Raises:
        InputError: it is no folder, or holds no such file.
    """
    if not folder.exists():
        raise InputError(f"{shown(str(folder))} does not exist; --rules and TWOGAUGE_RULES name folders of rules")
    if not folder.is_dir():
        raise InputError(f"{shown(str(folder))} is not a folder; name the folder that holds the pack")
    found: list[Path] = []
    total, root = 0, folder.resolve()
    for where, folders, files in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and f != CASES)
        for name in [name for name in folders if Path(where, name).is_symlink()]:
            message = "this is a link to a folder; put the folder itself there"
            problems.append(Problem(Place(str(Path(where, name))), "link", message))
            folders.remove(name)
        for name in sorted(files):
            if not name.endswith((".yaml", ".yml")) or name.startswith("."):
                continue
            path = Path(where, name)
            if root not in Path(os.path.realpath(path)).parents:
                message = "this is a link that leads out of the pack; put the file itself there"
                problems.append(Problem(Place(str(path)), "link", message))
                continue
            total += path.stat().st_size if path.is_file() else 0
            found.append(path)
            if len(found) > _MAX_FILES or total > _MAX_BYTES:
                message = (
                    f"this folder holds more than {_MAX_FILES} files or {_MAX_BYTES // 2**20} MiB of rules; is it the "
                    f"folder of a pack?"
                )
                problems.append(Problem(Place(str(folder)), "too-large", message))
                return []
    if not found and not problems:
        raise InputError(f"{folder} holds no .yaml file; a pack needs at least one, with 'pack: name' in it")
    return found
