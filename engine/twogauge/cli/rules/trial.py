"""`twogauge rules test`: runs the examples that rules and gates carry, and the cases of packs.

Printing only: packs/ runs them.
"""

from __future__ import annotations

import sys
from enum import StrEnum
from typing import Annotated

import typer

from twogauge.cli.common import print_json
from twogauge.cli.diagnose import rules_folders
from twogauge.cli.rules.common import own_style


class Format(StrEnum):
    """How the result is printed."""

    TEXT = "text"
    JSON = "json"


def trial(
    folders: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PACK...]", help="Folders of packs to stack on the built-in ones, and to test."),
    ] = None,
    *,
    coverage: Annotated[
        bool, typer.Option("--coverage", help="Also tell what no example and no case exercises, side by side.")
    ] = False,
    mutants: Annotated[
        bool,
        typer.Option("--mutants", help="Also break every rule in every small way, and tell what nothing notices."),
    ] = False,
    form: Annotated[Format, typer.Option("--format", help="text, or json for other programs.")] = Format.TEXT,
) -> None:
    """Run the examples of all rules in force and the cases of packs; exit 1 if one fails, or if there is none.

    A case is a whole reading with what must come out of it, in a YAML file in the folder `cases` of a pack:
    who must lead or must not, the verdict, which rules hold, for and against what the evidence speaks. A failure is
    told with what came and with the reasons for it. Without PACK the built-in packs are tested.

    With --coverage and --mutants the examples and cases themselves are put to the test. What these two find changes
    no exit status.
    """
    from twogauge.output.trial import as_text, document
    from twogauge.packs.coverage import cover
    from twogauge.packs.mutants import mutate
    from twogauge.packs.trial import run

    found = run(rules_folders(folders))
    covered = cover(found) if coverage else None
    mutation = mutate(found) if mutants and found.holds else None
    if form is Format.JSON:
        print_json(document(found, covered, mutation))
    else:
        style = own_style()
        for notice in found.program.stack.notices:
            typer.echo(style.clean(notice))
        sys.stdout.write(as_text(found, style, covered, mutation))
        if mutants and mutation is None:
            typer.echo("No mutants were made: first every example and every case must hold.")
    if not found.holds:
        raise typer.Exit(1)
