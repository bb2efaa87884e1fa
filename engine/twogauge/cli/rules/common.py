"""What the commands of `twogauge rules` share: the rules in force read from their files, and how lines are printed."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from twogauge.cli.diagnose import rules_folders

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.compile import Program


def program_of(folders: list[str] | None) -> Program:
    """Return the rules in force, read from their files: a snapshot has neither positions nor examples."""
    from twogauge.packs.layers import program_in_force

    return program_in_force(rules_folders(folders), from_files=True)


def own_style() -> Style:
    """Return the style for standard output."""
    from twogauge.output.style import style_for

    return style_for(sys.stdout)


def print_lines(lines: list[str]) -> None:
    """Write lines to standard output."""
    sys.stdout.write("\n".join(lines) + "\n")
