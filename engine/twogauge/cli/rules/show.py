"""`twogauge rules show`: an entry as it is in force, with the place each of its values comes from."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import own_style, print_lines, program_of
from twogauge.errors import UnknownNameError

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.in_force import Loaded, Stack
    from twogauge.packs.problems import Place


def show(
    rule: Annotated[str, typer.Argument(metavar="RULE", help="Id of a rule, gate, fault, check, band or caution.")],
    rules_: RulesOption = None,
) -> None:
    """Show a rule as it is in force, with the file and line each value comes from."""
    stack = program_of(rules_).stack
    style = own_style()
    if rule in stack.disabled:
        print_lines(style.wrap(f"{rule} is disabled by {stack.disabled[rule]}"))
        return
    kind, loaded = _find(stack, rule)
    lines = [style.bold(f"{rule}, {kind} of pack {loaded.pack}")]
    for pack, note in loaded.notes:
        lines += style.wrap(f"Adjusted by {pack}: {note}", "  ", "    ")
    for path, text, place in _leaves(loaded):
        lines += ["", *_placed(style, ".".join(path), place), *style.wrap(text, "    ")]
    print_lines(lines)


def _find(stack: Stack, name: str) -> tuple[str, Loaded[Any]]:
    kinds: dict[str, Mapping[str, Loaded[Any]]] = {
        "rule": stack.rules,
        "gate": stack.gates,
        "fault": stack.faults,
        "check": stack.checks,
        "band": stack.bands,
        "caution": stack.cautions,
    }
    for kind, entries in kinds.items():
        if name in entries:
            return kind, entries[name]
    known = [each for entries in kinds.values() for each in entries]
    raise UnknownNameError("rule", name, known, hint="`twogauge rules test` says how many there are")


def _leaves(loaded: Loaded[Any]) -> Iterator[tuple[tuple[str, ...], str, Place]]:
    """Yield path, text and place of each value of an entry, in the order of its file."""
    from twogauge.packs import yamlfile

    def walk(node: yamlfile.Node, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str, Place]]:
        if isinstance(node, yamlfile.Mapping) and node.entries:
            for name, entry in node.entries.items():
                yield from walk(entry.value, (*path, name))
        elif isinstance(node, yamlfile.Sequence) and not _is_flat(node):
            for number, item in enumerate(node.items, start=1):
                yield path, f"{number}. {_flat(item)}", item.place
        else:
            yield path, _flat(node), node.place

    if loaded.node is not None:
        yield from walk(loaded.node, ())


def _is_flat(node: Any) -> bool:
    return all(not hasattr(item, "entries") and len(_flat(item)) < 40 for item in node.items)


def _flat(node: Any) -> str:
    """Write a small tree on one line, as it might stand in a file."""
    if hasattr(node, "entries"):
        return "{" + ", ".join(f"{name}: {_flat(entry.value)}" for name, entry in node.entries.items()) + "}"
    if hasattr(node, "items"):
        return "[" + ", ".join(_flat(item) for item in node.items) + "]"
    return " ".join(str(node.text).split())


def _placed(style: Style, name: str, place: Place) -> list[str]:
    """Put a name at the left and its place at the right, or below where both do not fit."""
    path = os.path.relpath(place.path)
    short = place.path if path.startswith("..") else path
    where = style.clean(f"{short}:{place.line}")
    room = style.width - 4 - len(name) - len(where)
    if room >= 0:
        return [f"  {name}{' ' * (room + 2)}{style.dim(where)}"]
    return [f"  {name}", f"    {style.dim(where)}"]
