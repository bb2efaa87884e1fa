"""`twogauge rules show`: an entry as it is in force, with the place of each value, and what packs changed in it.

`--json` prints `"schema": "twogauge.entry/1"`. Within version 1 keys may be added, never renamed or removed.

    id, kind, pack
    disabled   {by (pack), note, path, line, column} or null
    notes      [{by, note}] of packs that changed it, in order
    changes    [{key [step], how (adjust, extend), by, note, before {text, path, line, column} or null, after {the same}}]
    values     [{key [step], text, path, line, column}] as they are in force
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.common import JsonOption, print_json
from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import KINDS, entries_of, flat, own_style, placed, print_lines, program_of
from twogauge.errors import UnknownNameError

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs import yamlfile
    from twogauge.packs.in_force import Change, Disabled, Stack
    from twogauge.packs.problems import Place


SCHEMA: Final = "twogauge.entry/1"


@dataclass(frozen=True)
class _Entry:
    """An entry of any kind, in force or not."""

    id: str
    kind: str
    pack: str
    node: yamlfile.Mapping | None
    notes: Sequence[tuple[str, str]] = ()
    changes: Sequence[Change] = ()
    disabled: Disabled | None = None


def show(
    entry: Annotated[
        str, typer.Argument(metavar="ENTRY", help="Id of a rule, gate, fault, check, band, caution or profile.")
    ],
    rules_: RulesOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show an entry as it is in force: the place of each value, and what packs changed, from what to what, and why."""
    found = _find(program_of(rules_).stack, entry)
    if as_json:
        print_json(_document(found))
    else:
        print_lines(_lines(own_style(), found))


def _find(stack: Stack, name: str) -> _Entry:
    for kind, loaded in entries_of(stack):
        if loaded.id == name:
            return _Entry(name, kind, loaded.pack, loaded.node, loaded.notes, loaded.changes)
    if (gone := stack.taken_out.get(name)) is not None:
        return _Entry(name, KINDS[gone.kind], gone.owner, gone.node, disabled=gone)
    known = [loaded.id for _, loaded in entries_of(stack)] + list(stack.taken_out)
    raise UnknownNameError("rule", name, known, hint="`twogauge rules list` tells them all")


def _lines(style: Style, found: _Entry) -> list[str]:
    lines = [style.bold(f"{found.id}, {found.kind} of pack {found.pack}")]
    if found.disabled is not None:
        gone = found.disabled
        lines += style.wrap(f"{found.id} is disabled by {gone.pack}: {gone.note}", "  ", "    ")
        lines += placed(style, "It says so at", gone.place)
    for pack, note in found.notes:
        lines += style.wrap(f"Adjusted by {pack}: {note}", "  ", "    ")
    if found.changes:
        lines += ["", style.bold("What was changed")]
    for change in found.changes:
        lines += ["", *_change(style, change)]
    if found.changes:
        lines += ["", style.bold("What is in force")]
    for path, text, place in _leaves(found.node):
        lines += ["", *placed(style, ".".join(path), place), *style.wrap(text, "    ")]
    return lines


def _change(style: Style, change: Change) -> list[str]:
    """Return one change as lines to take away and lines to add."""
    lines = style.wrap(
        f"{'.'.join(change.path)}, {'added to' if change.extends else 'changed'} by {change.pack}", "  "
    )
    if change.before is not None and not change.extends:
        lines += _side(style, "-", change.before)
    return lines + _side(style, "+", change.after)


def _side(style: Style, sign: str, node: yamlfile.Node) -> list[str]:
    text = style.clean(flat(node))
    if len(text) <= style.width // 3:
        return placed(style, f"{sign} {text}", node.place, "    ")
    return [*style.wrap_after(text, f"    {sign} "), *placed(style, "", node.place, "     ")]


def _document(found: _Entry) -> dict[str, Any]:
    gone = found.disabled
    return {
        "schema": SCHEMA,
        "id": found.id,
        "kind": found.kind,
        "pack": found.pack,
        "disabled": None if gone is None else {"by": gone.pack, "note": gone.note, **_where(gone.place)},
        "notes": [{"by": pack, "note": note} for pack, note in found.notes],
        "changes": [
            {
                "key": list(change.path),
                "how": "extend" if change.extends else "adjust",
                "by": change.pack,
                "note": change.note,
                "before": None if change.before is None else _value(change.before),
                "after": _value(change.after),
            }
            for change in found.changes
        ],
        "values": [{"key": list(path), "text": text, **_where(place)} for path, text, place in _leaves(found.node)],
    }


def _value(node: yamlfile.Node) -> dict[str, Any]:
    return {"text": flat(node), **_where(node.place)}


def _where(place: Place) -> dict[str, Any]:
    return {"path": place.path, "line": place.line, "column": place.column}


def _leaves(entry: yamlfile.Mapping | None) -> Iterator[tuple[tuple[str, ...], str, Place]]:
    """Yield path, text and place of each value of an entry, in the order of its file."""
    from twogauge.packs import yamlfile

    def walk(node: yamlfile.Node, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str, Place]]:
        if isinstance(node, yamlfile.Mapping) and node.entries:
            for name, each in node.entries.items():
                yield from walk(each.value, (*path, name))
        elif isinstance(node, yamlfile.Sequence) and not _is_flat(node):
            for number, item in enumerate(node.items, start=1):
                yield path, f"{number}. {flat(item)}", item.place
        else:
            yield path, flat(node), node.place

    if entry is not None:
        yield from walk(entry, ())


def _is_flat(node: yamlfile.Sequence) -> bool:
    first = {(item.place.path, item.place.line) for item in node.items}
    return len(first) <= 1 and all(not hasattr(item, "entries") and len(flat(item)) < 40 for item in node.items)
