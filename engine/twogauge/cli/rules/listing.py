"""`twogauge rules list`, `checks` and `faults`: what is in force, what can be looked at, and what can be found.

`list --json` prints `"schema": "twogauge.list/1"`. Within version 1 keys may be added, never renamed or removed.

    entries    [{id, kind, pack, topic, title, path, line, column, says {fault: dB}, otherwise {fault: dB},
               changed_by [pack]}]  topic and title are null where an entry has none
    disabled   [{id, kind, pack, topic, by (pack), note, path, line, column}]  the place is that of the reason
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.common import JsonOption, print_json
from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import KINDS, entries_of, own_style, placed, print_lines, program_of
from twogauge.errors import InputError, UnknownNameError

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.in_force import Disabled, Loaded


SCHEMA: Final = "twogauge.list/1"
_SECTION: Final = {kind: section for section, kind in KINDS.items()}


def entries(
    *,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help=f"Only {', '.join(KINDS.values())} entries.")
    ] = None,
    pack: Annotated[
        str | None, typer.Option("--pack", metavar="PACK", help="Only what this pack defines or changes.")
    ] = None,
    topic: Annotated[str | None, typer.Option("--topic", metavar="TOPIC", help="Only rules of this topic.")] = None,
    fault: Annotated[
        str | None, typer.Option("--fault", metavar="FAULT", help="Only this fault, and rules that speak of it.")
    ] = None,
    rules_: RulesOption = None,
    as_json: JsonOption = False,
) -> None:
    """List every entry in force: its id, kind, pack, topic and place, and what was disabled."""
    stack = program_of(rules_).stack
    wanted = _known("kind", kind, KINDS.values(), also=KINDS)
    wanted = KINDS.get(wanted or "", wanted)
    pack = _known("pack", pack, [header.pack for header in stack.packs])
    topic = _known("topic", topic, {rule.entry.topic for rule in stack.rules.values()} | stack.disabled_topics)
    fault = _known("fault", fault, stack.faults)
    if fault is not None and wanted not in {None, "fault", "rule"}:
        raise InputError("--fault asks for a fault and the rules that speak of it; leave out --kind")
    found = [
        (each, loaded)
        for each, loaded in entries_of(stack)
        if wanted in {None, each}
        and (pack is None or pack in {loaded.pack, *(by for by, _ in loaded.notes)})
        and (topic is None or getattr(loaded.entry, "topic", None) == topic)
        and (fault is None or _speaks_of(loaded, fault))
    ]
    gone = [
        each
        for each in stack.taken_out.values()
        if wanted in {None, KINDS[each.kind]}
        and pack in {None, each.owner, each.pack}
        and (topic is None or topic == _text(each, "topic"))
        and (fault is None or fault in _weighed(each))
    ]
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "entries": [_document(*each) for each in found],
                "disabled": [_gone(each) for each in gone],
            }
        )
    else:
        print_lines(_lines(own_style(), found, gone))


def _known(what: str, name: str | None, known: Iterable[str], *, also: Iterable[str] = ()) -> str | None:
    """Return a name that something in force has.

    Raises:
        UnknownNameError: nothing has it.
    """
    names = sorted(known)
    if name is not None and name not in {*names, *also}:
        raise UnknownNameError(what, name, names, hint=f"known here: {', '.join(names)}")
    return name


def _speaks_of(loaded: Loaded[Any], fault: str) -> bool:
    weights = {**getattr(loaded.entry, "says", {}), **getattr(loaded.entry, "otherwise", {})}
    return loaded.id == fault or fault in weights


def _lines(style: Style, found: Sequence[tuple[str, Loaded[Any]]], gone: Sequence[Disabled]) -> list[str]:
    lines: list[str] = []
    for kind, group in groupby(found, key=lambda each: each[0]):
        listed = [loaded for _, loaded in group]
        lines += [*([""] if lines else []), style.bold(f"{_SECTION[kind].capitalize()}, {len(listed)}")]
        for loaded in listed:
            lines += placed(style, loaded.id, loaded.defined or loaded.place())
            lines += style.wrap(_about(loaded), "    ")
    if gone:
        lines += [*([""] if lines else []), style.bold(f"Disabled, {len(gone)}")]
    for each in gone:
        lines += placed(style, each.id, each.defined)
        lines += style.wrap(f"{KINDS[each.kind]} of {each.owner}, by {each.pack}: {each.note}", "    ")
    return lines or style.wrap("Nothing in force is of that kind.")


def _about(loaded: Loaded[Any]) -> str:
    """Return topic or level, pack and title, and who changed it."""
    where = getattr(loaded.entry, "topic", "") or getattr(loaded.entry, "level", "")
    title = getattr(loaded.entry, "title", None) or getattr(loaded.entry, "short", None) or ""
    by = [pack for pack, _ in dict.fromkeys(loaded.notes)]
    changed = f" (changed by {' and '.join(by)})" if by else ""
    return f"{loaded.pack}{f', {where}' if where else ''}{f': {title}' if title else ''}{changed}"


def _document(kind: str, loaded: Loaded[Any]) -> dict[str, Any]:
    place, entry = loaded.defined or loaded.place(), loaded.entry
    return {
        "id": loaded.id,
        "kind": kind,
        "pack": loaded.pack,
        "topic": getattr(entry, "topic", None),
        "title": getattr(entry, "title", None),
        "path": place.path,
        "line": place.line,
        "column": place.column,
        "says": dict(getattr(entry, "says", {})),
        "otherwise": dict(getattr(entry, "otherwise", {})),
        "changed_by": [pack for pack, _ in dict.fromkeys(loaded.notes)],
    }


def _gone(each: Disabled) -> dict[str, Any]:
    return {
        "id": each.id,
        "kind": KINDS[each.kind],
        "pack": each.owner,
        "topic": _text(each, "topic"),
        "by": each.pack,
        "note": each.note,
        "path": each.place.path,
        "line": each.place.line,
        "column": each.place.column,
    }


def _text(each: Disabled, key: str) -> str | None:
    return getattr(each.node.get(key), "text", None)


def _weighed(each: Disabled) -> set[str]:
    groups = (each.node.get("says"), each.node.get("otherwise"))
    return {name for group in groups for name in getattr(group, "entries", {})}


def checks(rules_: RulesOption = None) -> None:
    """List what can be looked at, felt or tried, with the answers `--check ID=ANSWER` takes."""
    from twogauge.packs.words import EFFORT

    style = own_style()
    lines: list[str] = []
    for name, check in program_of(rules_).stack.checks.items():
        lines += [*([""] if lines else []), style.bold(name)]
        lines += style.wrap(f"{check.entry.ask} (about {EFFORT[check.entry.effort]:g} min)", "  ")
        for step in check.entry.how:
            lines += style.wrap(step.text, "  ")
            lines += _applies(style, step.applies_to)
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
