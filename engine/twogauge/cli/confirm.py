"""`twogauge confirm`: what a reading turned out to be goes into the shop's case book.

Checking and telling only: casebook.py writes.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import Annotated, Final

import typer

from twogauge import __version__
from twogauge.cli.common import UnitsOption
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError, UnknownNameError
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError, positioned, read_file

BOOK: Final = "casebook.jsonl"


def confirm(
    file: Annotated[str, typer.Argument(metavar="FILE|-", help="The reading in YAML or JSON; - for standard input.")],
    *,
    fault: Annotated[
        str, typer.Option("--fault", metavar="ID", help="What it was; `twogauge rules faults` lists the ids.")
    ],
    book: Annotated[
        str, typer.Option("--book", metavar="BOOK", envvar="TWOGAUGE_CASEBOOK", help="The case book, a .jsonl file.")
    ] = BOOK,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="Anything worth keeping with it.")] = "",
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
) -> None:
    """Add a reading whose cause is now known to the shop's case book.

    Confirm after the repair has proved itself, not before. A machine that turned out sound is worth a line too:
    `--fault normal`. Lines are only added, and two people may do so at once. `twogauge evaluate` reads the book.
    """
    from twogauge.casebook import append, entry
    from twogauge.cases import BOOK_SUFFIX, Case, fault_named
    from twogauge.diagnosis import program_for
    from twogauge.evaluate import evaluate
    from twogauge.output.style import style_for
    from twogauge.packs.problems import Place
    from twogauge.packs.yamlfile import MAX_BYTES

    if not book.endswith(BOOK_SUFFIX):
        raise InputError(f"a case book is a file whose name ends in {BOOK_SUFFIX}, such as {BOOK}; rename it")
    program = program_for(rules_folders(rules))
    known = fault_named(fault, program)
    if known is None:
        raise UnknownNameError("fault", fault, program.stack.faults, hint="`twogauge rules faults` lists them")
    text = sys.stdin.buffer.read(MAX_BYTES + 1) if file == "-" else None
    reading, node = read_file("<stdin>" if file == "-" else file, units=units, text=text)
    try:
        reading.validate_checks(program.answers)
    except ReadingError as error:
        raise positioned(error, node) from None
    today = datetime.now(tz=UTC).astimezone().date().isoformat()
    append(book, entry(reading, known, program, confirmed=today, note=note, version=__version__))
    (judged,) = evaluate([Case("", reading, (known,), "", Place(file))], program).judged
    leader, chance = judged.leaders[0]
    here = "came first" if judged.rank == 1 else f"came at rank {judged.rank}, after {leader} ({chance:.0%})"
    style = style_for(sys.stdout)
    sys.stdout.write("\n".join(style.wrap(f"{known} is confirmed in {book}; in the ranking it {here}.")) + "\n")
