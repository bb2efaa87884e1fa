"""Versions of the pack format: an older pack is read as the present one, a newer one is refused.

A pack says `format: N`; without that line it is of the first. UPGRADES holds, for each version but the present one,
how a file of it becomes a file of the next, as a function from tree to tree: it may rename, move or rewrite keys, and
every node keeps the place where its author wrote it, so that a problem is told where it can be corrected. Nothing on
disk is changed.

To make a new version: raise FORMAT in model.py, and give the old one a row here and a pack in the tests.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from twogauge.errors import FileProblems
from twogauge.packs import yamlfile
from twogauge.packs.model import FORMAT
from twogauge.packs.problems import Problem

FIRST: Final = 1  # what a pack is of that does not say


@dataclass(frozen=True, slots=True)
class Upgrade:
    """How a file of one version becomes one of the next.

    Attributes:
        about: what is different, to follow "in format N+1", such as "'evidence' is called 'says'".
        apply: takes the tree of one file; what it does not know it leaves alone.
    """

    about: str
    apply: Callable[[yamlfile.Mapping], yamlfile.Mapping]


UPGRADES: Final[Mapping[int, Upgrade]] = {}


def as_present(name: str, files: Sequence[yamlfile.Mapping]) -> tuple[list[yamlfile.Mapping], list[str]]:
    """Return the files of a pack in the present format, and a sentence for whoever keeps it if that changed it.

    Args:
        name: what to call the pack.
        files: the tree of each file.

    Raises:
        FileProblems: it was written for a version that is not known here yet.
    """
    stated = _stated(files)
    version = FIRST if stated is None else stated[1]
    if stated is not None and version > FORMAT:
        message = (
            f"this pack was written for format {version}, and this version reads up to {FORMAT}; install a newer "
            f"version"
        )
        raise FileProblems([Problem(stated[0].place, "format", message)])
    if version == FORMAT or version not in UPGRADES:
        return list(files), []
    steps = range(version, FORMAT)
    present = list(files)
    for step in steps:
        present = [UPGRADES[step].apply(file) for file in present]
    told = "; ".join(f"in format {step + 1} {UPGRADES[step].about}" for step in steps)
    notice = f"pack {name!r} is of format {version} and was read as format {FORMAT}: {told}"
    return present, [f"{notice}; bring its files up to date when you next change them"]


def whole(node: yamlfile.Node | None) -> int:
    """Return the small whole number that is written there, else 0; what is wrong with it is said elsewhere."""
    found = re.fullmatch(r"[0-9]{1,4}", node.text.strip()) if isinstance(node, yamlfile.Scalar) else None
    return int(found[0]) if found else 0


def _stated(files: Sequence[yamlfile.Mapping]) -> tuple[yamlfile.Node, int] | None:
    """Return the first `format` line that holds a number; where two stand, that is said elsewhere."""
    for file in files:
        node = file.get("format")
        if node is not None and whole(node):
            return node, whole(node)
    return None
