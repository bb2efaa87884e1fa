"""`twogauge rules check`, `explain` and `schema`: what is wrong with a pack, what that means, and help for editors."""

from __future__ import annotations

import textwrap
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.diagnose import rules_folders
from twogauge.cli.rules.common import own_style, print_lines

if TYPE_CHECKING:
    from twogauge.output.style import Style
    from twogauge.packs.check import Report
    from twogauge.packs.codes import Code


class Format(StrEnum):
    """How problems are printed."""

    TEXT = "text"
    JSON = "json"
    ANNOTATIONS = "annotations"


def check(
    packs: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PACK...]", help="Folders of rules; without one, the built-in ones."),
    ] = None,
    *,
    strict: Annotated[bool, typer.Option("--strict", help="Count warnings as errors.")] = False,
    format_: Annotated[
        Format, typer.Option("--format", help="text, json, or annotations for the page of a code host.")
    ] = Format.TEXT,
) -> None:
    """Find everything that is wrong with rules, their examples and their cases; exit 1 if there is something.

    Errors keep a pack from being used. Warnings are what is likely not meant: --strict counts them too.
    """
    from twogauge.cli.common import print_json
    from twogauge.output.problems import annotation, document, text_lines
    from twogauge.packs.check import check_packs

    report = check_packs(rules_folders(packs))
    if format_ is Format.JSON:
        print_json(document(report.problems, report.packs))
    elif format_ is Format.ANNOTATIONS:
        print_lines([annotation(problem) for problem in report.problems])
    else:
        style = own_style()
        lines = text_lines(report.problems, style)
        print_lines([*lines, *([""] if lines else []), *style.wrap(_summary(report))])
    if report.count("error") or (strict and report.problems):
        raise typer.Exit(1)


def _summary(report: Report) -> str:
    where = f"{'pack' if len(report.packs) == 1 else 'packs'} {', '.join(report.packs)}"
    if not report.problems:
        rules = "one rule" if report.rules == 1 else f"{report.rules} rules"
        return f"Nothing is wrong with the {rules} of {where}. `twogauge rules test` runs the examples and cases."
    counts = [(report.count("error"), "error"), (report.count("warning"), "warning")]
    found = " and ".join(f"{n} {word}{'' if n == 1 else 's'}" for n, word in counts if n)
    return f"{found} in {where}. `twogauge rules explain CODE` tells more about each kind."


def schema() -> None:
    """Print the JSON Schema of a file of a pack, for editors.

    The first line of a file tells an editor where it is: `# yaml-language-server: $schema=PATH`.
    """
    from twogauge.packs.schema import SCHEMA

    typer.echo(SCHEMA.read_text("utf-8"), nl=False)


def explain(
    code: Annotated[
        str | None, typer.Argument(metavar="[CODE]", help="Code of a problem; without one, all of them are listed.")
    ] = None,
) -> None:
    """Tell what a problem that `check` found means, with an example of each side."""
    from twogauge.errors import UnknownNameError
    from twogauge.packs.codes import CODES

    style = own_style()
    if code is None:
        lines: list[str] = []
        for each in CODES.values():
            lines += [f"{style.bold(each.name)}{'' if each.severity == 'error' else ' (warning)'}"]
            lines += style.wrap(each.meaning, "    ")
        print_lines(lines)
        return
    if code not in CODES:
        raise UnknownNameError("code", code, CODES, hint="`twogauge rules explain` lists them")
    print_lines(_explained(CODES[code], style))


def _explained(code: Code, style: Style) -> list[str]:
    from twogauge.packs.codes import ABOUT

    lines = [style.bold(f"{code.name} ({code.severity})"), *style.wrap(code.meaning)]
    for title, example in (("This has it:", code.bad), ("This has not:", code.good)):
        lines += ["", title]
        for line in textwrap.dedent(example).splitlines():
            clean = "".join(c if c.isprintable() else "?" if c != "\t" else "\t" for c in line)
            lines.append(f"    {clean if len(clean) <= style.width - 4 else clean[: style.width - 8] + ' ...'}")
    return [*lines, "", *(style.dim(line) for line in style.wrap(ABOUT))]
