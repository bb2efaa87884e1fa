"""`twogauge rules packs`: every pack that is found, in the order in which they lie on one another.

`--json` prints `"schema": "twogauge.packs/1"`. Within version 1 keys may be added, never renamed or removed.

    packs      [{pack, layer (built-in, installed, named), distribution, folder, title, edition, format,
               counts {section: number}, in_force, refused [sentence]}]  null where a thing is not known
    notices    [sentence]
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import typer

from twogauge.cli.common import JsonOption, print_json
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.cli.rules.common import KINDS, own_style, print_lines

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.in_force import Found

SCHEMA: Final = "twogauge.packs/1"
_LAYERS: Final = {
    "built-in": "built in",
    "installed": "installed",
    "named": "named by --rules or TWOGAUGE_RULES",
}
# What one entry of a section is called, and several.
_COUNTED: Final = {
    "adjust": ("adjustment", "adjustments"),
    "extend": ("extension", "extensions"),
    "disable": ("entry disabled", "entries disabled"),
}


def packs(rules_: RulesOption = None, as_json: JsonOption = False) -> None:
    """List every pack that is found, lowest first, and why one is not used; exit 1 if there is such a one."""
    from twogauge.packs.layers import survey

    found, notices = survey(rules_folders(rules_))
    refused = [each for each in found if each.refused]
    if as_json:
        print_json({"schema": SCHEMA, "packs": [_document(each) for each in found], "notices": list(notices)})
    else:
        print_lines(_lines(own_style(), found, notices))
    if refused:
        raise typer.Exit(1)


def _lines(style: Style, found: tuple[Found, ...], notices: tuple[str, ...]) -> list[str]:
    in_force = [each for each in found if not each.refused]
    refused = [each for each in found if each.refused]
    lines = style.wrap("In force; a pack counts over those above it in this list.")
    for each in in_force:
        lines += ["", *_about(style, each)]
    if refused:
        lines += ["", *style.wrap("Not used:")]
    for each in refused:
        lines += ["", *_about(style, each)]
        for reason in each.refused:
            lines += [style.accent(line) for line in style.wrap(reason, "  ! ", "    ")]
    for notice in notices:
        lines += ["", *style.wrap(f"Mind: {notice}", "", "  ")]
    return lines


def _about(style: Style, pack: Found) -> list[str]:
    origin = _LAYERS[pack.layer] + (f" by {pack.distribution}" if pack.distribution else "")
    stated = f", edition {pack.edition}, format {pack.format}" if pack.edition else ""
    lines = style.wrap(f"{pack.name}: {origin}{stated}", "", "  ")
    lines[0] = lines[0].replace(pack.name, style.bold(pack.name), 1)
    lines += style.wrap(pack.title, "  ")
    lines += style.wrap(", ".join(_counted(section, n) for section, n in pack.counts.items()), "  ", "    ")
    return lines + ([f"  {style.dim(style.clean(pack.folder))}"] if pack.folder else [])


def _counted(section: str, number: int) -> str:
    one, several = _COUNTED.get(section, (KINDS.get(section, section), section))
    return f"{number} {one if number == 1 else several}"


def _document(pack: Found) -> dict[str, object]:
    return {
        "pack": pack.name,
        "layer": pack.layer,
        "distribution": pack.distribution or None,
        "folder": pack.folder or None,
        "title": pack.title or None,
        "edition": pack.edition or None,
        "format": pack.format or None,
        "counts": dict(pack.counts),
        "in_force": not pack.refused,
        "refused": list(pack.refused),
    }
