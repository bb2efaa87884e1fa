"""`twogauge evaluate`: labelled cases, or the shop's case book, to a table of how often the rules are right.

Printing only: cases.py reads, evaluate.py and casebook.py judge.
"""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from twogauge.cli.common import JsonOption, UnitsOption, print_json
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError
from twogauge.quantities import UnitSet


def evaluate(
    files: Annotated[
        list[str],
        typer.Argument(metavar="CASES...", help="Files of cases, case books (.jsonl), or - for standard input."),
    ],
    *,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="RULE", help="Leave a rule out this time; repeatable.")
    ] = None,
    brief: Annotated[bool, typer.Option("--brief", help="Only the tables, no line for each case.")] = False,
    learn: Annotated[
        bool, typer.Option("--learn", help="Also tell how each rule fared; always done for a case book.")
    ] = False,
    propose: Annotated[
        str | None,
        typer.Option(
            "--propose", metavar="DIR", help="Write priors that fit a case book as a pack into a new folder."
        ),
    ] = None,
    as_json: JsonOption = False,
    no_color: Annotated[bool, typer.Option("--no-color", help="No bold, no colour.")] = False,
) -> None:
    """Tell how often the rules are right on cases whose cause is known, and how they are wrong.

    A file of cases is a YAML list. Each case has `faults`, a list of ids of which any is right (`normal` where
    nothing was wrong), and either `reading`, which is a reading as `twogauge diagnose` takes it, or what a manual
    tells: kind, refrigerant, metering, compressor, conditions, readings (a range is read at its middle), checks.

    A case book that `twogauge confirm` keeps is taken as it is. Rules are never changed.
    """
    from twogauge.cases import read_cases
    from twogauge.diagnosis import program_for
    from twogauge.evaluate import evaluate as run
    from twogauge.output.evaluation import as_text, document, proposal_text
    from twogauge.output.style import style_for
    from twogauge.packs.yamlfile import MAX_BYTES

    program = program_for(rules_folders(rules), tuple(without or ()))
    text = sys.stdin.buffer.read(MAX_BYTES + 1) if "-" in files else None
    cases = read_cases(files, program, units=units, text=text)
    found = run(cases, program)
    proposal = None
    if propose is not None:
        if not all(case.from_book for case in cases):
            raise InputError(
                "--propose counts how often each fault was met, which only a case book (.jsonl) tells; name only such"
            )
        from twogauge.casebook import propose as priors_of

        proposal = priors_of(cases, program)
    records = None
    if learn or any(case.from_book for case in cases):
        from twogauge.casebook import rule_records

        records = rule_records(cases, program)
    path = None
    if proposal is not None and propose is not None:
        from twogauge.casebook import write_proposal

        written = write_proposal(propose, proposal)
        path = None if written is None else str(written)
    if as_json:
        print_json(document(found, records, proposal, path))
        return
    style = style_for(sys.stdout, color=not no_color)
    sys.stdout.write(as_text(found, style, brief=brief, records=records))
    if proposal is not None:
        sys.stdout.write("\n" + proposal_text(proposal, path, style))
