"""`twogauge rules checks` and `faults`: what can be looked at, and what can be found."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import own_style, print_lines, program_of

if TYPE_CHECKING:
    from twogauge.output.style import Style


def checks(rules_: RulesOption = None) -> None:
    """List what can be looked at, felt or tried, with the answers `--check ID=ANSWER` takes."""
    from twogauge.packs.words import EFFORT

    style = own_style()
    lines: list[str] = []
    for name, check in program_of(rules_).stack.checks.items():
        lines += [*([""] if lines else []), style.bold(name)]
        lines += style.wrap(f"{check.entry.ask} (about {EFFORT[check.entry.effort]:g} min)", "  ")
        lines += style.wrap(check.entry.how, "  ")
        for answer, meaning in check.entry.answers.items():
            same = meaning.casefold() == answer.replace("_", " ")
            lines += style.wrap(answer if same else f"{answer}: {meaning}", "    = ", "      ")
        lines += _applies(style, check.entry.applies_to)
    print_lines(lines)


def faults(rules_: RulesOption = None) -> None:
    """List the faults that can be found, and how common each is."""
    style = own_style()
    lines: list[str] = []
    for name, fault in program_of(rules_).stack.faults.items():
        lines += [*([""] if lines else []), style.bold(name)]
        serious = "" if fault.entry.serious == "comfort" else f", {fault.entry.serious} if it stays"
        lines += style.wrap(f"{fault.entry.title} ({fault.entry.how_common}{serious})", "  ")
        lines += style.wrap(fault.entry.what_happens, "  ")
        lines += _applies(style, fault.entry.applies_to)
    print_lines(lines)


def _applies(style: Style, wanted: Mapping[str, tuple[str, ...]]) -> list[str]:
    told = "; ".join(f"{name} {' or '.join(words)}" for name, words in wanted.items())
    return [style.dim(line) for line in style.wrap(f"Only for {told}.", "  ", "    ")] if told else []
