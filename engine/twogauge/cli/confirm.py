"""`twogauge confirm`: what a reading turned out to be goes into the shop's case book.

Checking and telling only: casebook.py writes.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Final

import typer

from twogauge import __version__
from twogauge.cli.common import UnitsOption
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError, UnknownNameError
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError, positioned, read_file

if TYPE_CHECKING:
    from twogauge.packs.compile import Program

BOOK: Final = "casebook.jsonl"


def confirm(
    file: Annotated[str, typer.Argument(metavar="FILE|-", help="The reading in YAML or JSON; - for standard input.")],
    *,
    fault: Annotated[
        list[str],
        typer.Option(
            "--fault",
            metavar="ID",
            help="What it was; `twogauge rules faults` lists the ids. Repeatable, the main cause first.",
        ),
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
    from twogauge.cases import BOOK_SUFFIX, Case
    from twogauge.diagnosis import program_for
    from twogauge.evaluate import evaluate
    from twogauge.output.style import style_for
    from twogauge.packs.problems import Place
    from twogauge.packs.yamlfile import MAX_BYTES

    if not book.endswith(BOOK_SUFFIX):
        raise InputError(f"a case book is a file whose name ends in {BOOK_SUFFIX}, such as {BOOK}; rename it")
    program = program_for(rules_folders(rules))
    known = tuple(dict.fromkeys(_fault(name, program) for name in fault))
    sound = {hypothesis.id for hypothesis in program.hypotheses if hypothesis.nothing_wrong}
    if len(known) > 1 and sound & set(known):
        raise InputError(f"{' and '.join(known)}: either something was wrong or nothing was; leave one out")
    text = sys.stdin.buffer.read(MAX_BYTES + 1) if file == "-" else None
    reading, node = read_file("<stdin>" if file == "-" else file, units=units, text=text)
    try:
        reading.validate_checks(program.answers)
    except ReadingError as error:
        raise positioned(error, node) from None
    today = datetime.now(tz=UTC).astimezone().date().isoformat()
    append(book, entry(reading, known, program, confirmed=today, note=note, version=__version__))
    (judged,) = evaluate([Case("", reading, known, "", Place(file))], program).judged
    leader, chance = judged.leaders[0]
    here = "came first" if judged.rank == 1 else f"came at rank {judged.rank}, after {leader} ({chance:.0%})"
    style = style_for(sys.stdout)
    was = f"{' and '.join(known)} {'are' if len(known) > 1 else 'is'} confirmed in {book}"
    it = "the better of them" if len(known) > 1 else "it"
    sys.stdout.write("\n".join(style.wrap(f"{was}; in the ranking {it} {here}.")) + "\n")


def _fault(name: str, program: Program) -> str:
    from twogauge.cases import fault_named

    known = fault_named(name, program)
    if known is None:
        raise UnknownNameError("fault", name, program.stack.faults, hint="`twogauge rules faults` lists them")
    return known
