"""`twogauge rules test`: runs the examples that rules and gates carry."""

from __future__ import annotations

from typing import Annotated

import typer

from twogauge.cli.rules.common import own_style, program_of


def trial(
    folders: Annotated[
        list[str] | None, typer.Argument(metavar="[DIR...]", help="Folders of rules to stack on the built-in ones.")
    ] = None,
) -> None:
    """Run the examples of all rules and gates in force; exit 1 if one does not prove its rule."""
    from twogauge.packs.selftest import check_examples, count_examples

    program = program_of(folders)
    style = own_style()
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
