"""`twogauge rules`: everything a person does with rules apart from using them, one module for each kind of command.

Printing only: packs/ reads, stacks and tests.
"""

from __future__ import annotations

import typer

from twogauge.cli.rules import book, check, listing, new, packs, show, trial, why

rules = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    help="List checks and faults, show a rule with the place of each value, and test rules.",
)
rules.command("book")(book.book)
rules.command("checks")(listing.checks)
rules.command("faults")(listing.faults)
rules.command("list")(listing.entries)
rules.command("new")(new.new)
rules.command("packs")(packs.packs)
rules.command("show")(show.show)
rules.command("test")(trial.trial)
rules.command("why")(why.why)
rules.command("check")(check.check)
rules.command("explain")(check.explain)
rules.command("schema")(check.schema)
