"""Finds packs that were installed beside twogauge, without importing anything of theirs.

A distribution offers a pack through an entry point of the group `twogauge.packs`. Its value names the package whose
folder holds the pack's files, such as `depot_rules` or `depot_rules.rules`; it is looked up, never imported, so that
rules stay data. Most environments hold no such pack, and asking importlib.metadata takes longer than the rest of the
search: so the files that declare entry points are only searched for the group's name first.
"""

from __future__ import annotations

import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from twogauge.errors import shown

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

GROUP: Final = "twogauge.packs"
_AT_MOST: Final = 100  # entry points that are looked at
_MODULE: Final = re.compile(r"[^\W\d]\w*(\.[^\W\d]\w*)*")


@dataclass(frozen=True, slots=True)
class Installed:
    """A pack that some distribution offers.

    Attributes:
        name: of the entry point.
        distribution: name and version of what installed it.
        folder: where its files are, or None.
        problem: why there is no folder, or "".
    """

    name: str
    distribution: str
    folder: Path | None
    problem: str = ""


def find() -> tuple[Installed, ...]:
    """Return the packs that are installed, sorted by name; nothing is imported and no pack is read."""
    if not _offered():
        return ()
    from importlib.metadata import entry_points  # noqa: PLC0415 - see the top

    offers = sorted(entry_points(group=GROUP), key=lambda each: (each.name, each.value))
    return tuple(_resolved(each) for each in offers[:_AT_MOST])


def _offered() -> bool:
    """Return whether any distribution on the path mentions the group."""
    wanted = GROUP.encode()
    for folder in dict.fromkeys(sys.path):
        try:
            names = os.listdir(folder or ".")  # noqa: PTH208 - a Path for each of thousands costs more than looking
        except OSError:
            continue
        for name in names:
            if name.endswith((".dist-info", ".egg-info")):
                try:
                    declared = Path(folder, name, "entry_points.txt").read_bytes()
                except OSError:
                    continue
                if wanted in declared:
                    return True
    return False


def _resolved(offer: EntryPoint) -> Installed:
    distribution = f"{offer.dist.name} {offer.dist.version}" if offer.dist is not None else ""
    value = offer.value.strip()
    told = f"its entry point says {shown(value)}"
    if _MODULE.fullmatch(value) is None:
        return Installed(offer.name, distribution, None, f"{told}; it must name a package, such as depot_rules")
    top, *below = value.split(".")
    locations = _locations(top)
    if locations is None:
        problem = f"{told}, but there is no package {shown(top)}; install the distribution again"
        return Installed(offer.name, distribution, None, problem)
    for location in locations:
        folder = Path(location, *below)
        if folder.is_dir():
            return Installed(offer.name, distribution, folder)
        if below and folder.with_suffix(".py").is_file():
            return Installed(offer.name, distribution, folder.parent)
    problem = f"{told}, which has no folder of its own; put the files of the pack into a package"
    return Installed(offer.name, distribution, None, problem)


def _locations(top: str) -> list[str] | None:
    """Return the folders of a package at the top, or [] for a single module; finding it runs nothing of it."""
    from importlib.util import find_spec  # noqa: PLC0415 - see the top

    try:
        spec = find_spec(top)
    except (ImportError, ValueError):
        return None
    if spec is None:
        return None
    return list(spec.submodule_search_locations or ())
