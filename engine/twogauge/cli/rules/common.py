"""What the commands of `twogauge rules` share: the rules in force read from their files, and how lines are printed."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any, Final

from twogauge.cli.diagnose import rules_folders

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs import yamlfile
    from twogauge.packs.compile import Program
    from twogauge.packs.in_force import Loaded, Stack
    from twogauge.packs.problems import Place

# Sections of a pack in the order in which they are printed, each with the name of one entry of it.
KINDS: Final = {
    "faults": "fault",
    "checks": "check",
    "rules": "rule",
    "gates": "gate",
    "bands": "band",
    "cautions": "caution",
    "profiles": "profile",
    "criteria": "criterion",
    "plans": "plan",
}


def program_of(folders: list[str] | None) -> Program:
    """Return the rules in force, read from their files: a snapshot has neither positions nor examples."""
    from twogauge.packs.layers import program_in_force

    return program_in_force(rules_folders(folders), from_files=True)


def entries_of(stack: Stack) -> list[tuple[str, Loaded[Any]]]:
    """Return every entry in force with the name of its kind, by kind and id."""
    return [(kind, loaded) for section, kind in KINDS.items() for loaded in getattr(stack, section).values()]


def own_style() -> Style:
    """Return the style for standard output."""
    from twogauge.output.style import style_for

    return style_for(sys.stdout)


def print_lines(lines: list[str]) -> None:
    """Write lines to standard output."""
    sys.stdout.write("\n".join(lines) + "\n")


def short(place: Place) -> str:
    """Return `file:line` as an editor jumps to it from the folder one stands in."""
    path = os.path.relpath(place.path)
    return f"{place.path if path.startswith('..') else path}:{place.line}"


def placed(style: Style, text: str, place: Place, indent: str = "  ") -> list[str]:
    """Put a text at the left and its place at the right, or below where both do not fit."""
    where = style.clean(short(place))
    room = style.width - 2 - len(indent) - len(text) - len(where)
    if room >= 0:
        return [f"{indent}{text}{' ' * (room + 2)}{style.dim(where)}"]
    return [f"{indent}{text}", f"{indent}  {style.dim(where)}"]


def flat(node: yamlfile.Node) -> str:
    """Write a small tree on one line, as it might stand in a file."""
    from twogauge.packs import yamlfile

    if isinstance(node, yamlfile.Mapping):
        return "{" + ", ".join(f"{name}: {flat(entry.value)}" for name, entry in node.entries.items()) + "}"
    if isinstance(node, yamlfile.Sequence):
        return "[" + ", ".join(flat(item) for item in node.items) + "]"
    return " ".join(node.text.split())
