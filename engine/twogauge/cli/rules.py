"""`twogauge rules`: what the rules in force know, where each of their values comes from, and whether they hold.

Printing only: packs/stack.py reads and stacks, packs/selftest.py runs the examples.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import UnknownNameError

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.compile import Program
    from twogauge.packs.in_force import Loaded, Stack
    from twogauge.packs.problems import Place

rules = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    help="List checks and faults, show a rule with the place of each value, and test rules.",
)


@rules.command("checks")
def _checks(rules_: RulesOption = None) -> None:
    """List what can be looked at, felt or tried, with the answers `--check ID=ANSWER` takes."""
    from twogauge.packs.words import EFFORT

    style = _style()
    lines: list[str] = []
    for name, check in _program(rules_).stack.checks.items():
        lines += [*([""] if lines else []), style.bold(name)]
        lines += style.wrap(f"{check.entry.ask} (about {EFFORT[check.entry.effort]:g} min)", "  ")
        lines += style.wrap(check.entry.how, "  ")
        for answer, meaning in check.entry.answers.items():
            same = meaning.casefold() == answer.replace("_", " ")
            lines += style.wrap(answer if same else f"{answer}: {meaning}", "    = ", "      ")
        lines += _applies(style, check.entry.applies_to)
    _print(lines)


@rules.command("faults")
def _faults(rules_: RulesOption = None) -> None:
    """List the faults that can be found, and how common each is."""
    style = _style()
    lines: list[str] = []
    for name, fault in _program(rules_).stack.faults.items():
        lines += [*([""] if lines else []), style.bold(name)]
        serious = "" if fault.entry.serious == "comfort" else f", {fault.entry.serious} if it stays"
        lines += style.wrap(f"{fault.entry.title} ({fault.entry.how_common}{serious})", "  ")
        lines += style.wrap(fault.entry.what_happens, "  ")
        lines += _applies(style, fault.entry.applies_to)
    _print(lines)


@rules.command("show")
def _show(
    rule: Annotated[str, typer.Argument(metavar="RULE", help="Id of a rule, gate, fault, check, band or caution.")],
    rules_: RulesOption = None,
) -> None:
    """Show a rule as it is in force, with the file and line each value comes from."""
    stack = _program(rules_).stack
    style = _style()
    if rule in stack.disabled:
        _print(style.wrap(f"{rule} is disabled by {stack.disabled[rule]}"))
        return
    kind, loaded = _find(stack, rule)
    lines = [style.bold(f"{rule}, {kind} of pack {loaded.pack}")]
    for pack, note in loaded.notes:
        lines += style.wrap(f"Adjusted by {pack}: {note}", "  ", "    ")
    for path, text, place in _leaves(loaded):
        lines += ["", *_placed(style, ".".join(path), place), *style.wrap(text, "    ")]
    _print(lines)


@rules.command("test")
def _test(
    folders: Annotated[
        list[str] | None, typer.Argument(metavar="[DIR...]", help="Folders of rules to stack on the built-in ones.")
    ] = None,
) -> None:
    """Run the examples of all rules and gates in force; exit 1 if one does not prove its rule."""
    from twogauge.packs.selftest import check_examples, count_examples

    program = _program(folders)
    style = _style()
    count = count_examples(program)
    failures = check_examples(program)
    for line in (*program.stack.notices, *failures):
        typer.echo(style.clean(str(line)))
    where = f"{len(program.rules)} rules and {len(program.gates)} gates"
    if not count:
        typer.echo(f"No example was found in {where}; nothing was tested.")
    elif failures:
        typer.echo(f"{len({f.place for f in failures})} of {count} examples of {where} fail.")
    else:
        typer.echo(f"All {count} examples of {where} hold.")
    if failures or not count:
        raise typer.Exit(1)


def _program(folders: list[str] | None) -> Program:
    """Return the rules in force, read from their files: a snapshot has neither positions nor examples."""
    from twogauge.packs.compile import compile_stack
    from twogauge.packs.stack import stack_on_built_in

    return compile_stack(stack_on_built_in(rules_folders(folders)))


def _style() -> Style:
    from twogauge.output.style import style_for

    return style_for(sys.stdout)


def _print(lines: list[str]) -> None:
    sys.stdout.write("\n".join(lines) + "\n")


def _applies(style: Style, wanted: Mapping[str, tuple[str, ...]]) -> list[str]:
    told = "; ".join(f"{name} {' or '.join(words)}" for name, words in wanted.items())
    return [style.dim(line) for line in style.wrap(f"Only for {told}.", "  ", "    ")] if told else []


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
