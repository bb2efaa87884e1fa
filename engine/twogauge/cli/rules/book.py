"""`twogauge rules book`: everything in force as pages to read and to print, or whether such pages are stale."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import own_style, print_lines, program_of
from twogauge.errors import InputError

if TYPE_CHECKING:
    from twogauge.packs.compile import Program


class Form(StrEnum):
    """How the pages are written."""

    MARKDOWN = "markdown"
    HTML = "html"
    BOTH = "both"


def book(
    out: Annotated[str | None, typer.Option("--out", metavar="DIR", help="Folder the pages are written to.")] = None,
    check: Annotated[
        str | None, typer.Option("--check", metavar="DIR", help="Write nothing; exit 1 if the pages there are stale.")
    ] = None,
    form: Annotated[Form, typer.Option("--format", help="markdown, html or both.")] = Form.BOTH,
    built_in: Annotated[
        bool, typer.Option("--built-in", help="Only the built-in packs, whatever is installed or named.")
    ] = False,
    rules_: RulesOption = None,
) -> None:
    """Write a book of every fault, check, rule, gate, band and caution in force, cross-linked, with sources.

    The same rules give the same pages, so they can be kept beside the rules and checked.
    """
    from twogauge.output.book import HTML, MARKDOWN, stale, write, written
    from twogauge.packs.book import book as pages_of

    if (out is None) == (check is None):
        raise InputError("name the folder for the pages with --out DIR, or one to compare with --check DIR")
    folder = Path(out or check or "")
    pages = pages_of(_built_in() if built_in else program_of(rules_))
    endings = {Form.MARKDOWN: (MARKDOWN,), Form.HTML: (HTML,), Form.BOTH: (MARKDOWN, HTML)}[form]
    files = {name: text for ending in endings for name, text in written(pages, ending).items()}
    style = own_style()
    if check is None:
        write(folder, files)
        first = folder / f"index{endings[-1]}"
        print_lines(style.wrap(f"Wrote {len(files)} pages to {folder}; begin with {first}."))
    elif found := stale(folder, files):
        told = f"Stale: {', '.join(found)}. The same command with --out in place of --check writes them anew."
        print_lines(style.wrap(told))
        raise typer.Exit(1)
    else:
        print_lines(style.wrap(f"All {len(files)} pages in {folder} are what the rules in force say."))


def _built_in() -> Program:
    from twogauge.packs.compile import compile_stack
    from twogauge.packs.stack import built_in

    return compile_stack(built_in())
