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
    help="Everything about rules but using them: start, check, test, look up, explain, print.",
)

# In the order of an author's day; the line is what `--help` lists, and the function's own text comes with its help.
rules.command("new", short_help="Start a pack or a rule, from options or by question and answer.")(new.new)
rules.command("check", short_help="Find everything that is wrong with rules, without any reading.")(check.check)
rules.command("explain", short_help="Tell what a problem means, with an example of it.")(check.explain)
rules.command("test", short_help="Run the examples of rules and the cases of packs.")(trial.trial)
rules.command("why", short_help="Tell why a rule fired on a reading, or did not.")(why.why)
rules.command("list", short_help="List everything in force, and where it stands.")(listing.entries)
rules.command("show", short_help="Show one entry, and what packs changed in it.")(show.show)
rules.command("checks", short_help="List what can be looked at, with the answers.")(listing.checks)
rules.command("faults", short_help="List the faults that can be found.")(listing.faults)
rules.command("packs", short_help="List the packs that are found, and what is refused.")(packs.packs)
rules.command("book", short_help="Write everything in force as pages to read and print.")(book.book)
rules.command("schema", short_help="Print the JSON Schema of a pack's files, for editors.")(check.schema)
