"""`twogauge compare`: what a repair changed, and whether it worked."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.answered import Answered, tell
from twogauge.cli.common import STDIN, JsonOption, PlotOption, UnitsOption, VerboseOption
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError, shown
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError, positioned, read_file

if TYPE_CHECKING:
    from twogauge.cli.plotting import Wanted
    from twogauge.packs.program import Program


def compare(
    before: Annotated[
        str, typer.Argument(metavar="BEFORE.yaml", help="The reading with the fault in it; - for standard input.")
    ],
    after: Annotated[
        str, typer.Argument(metavar="AFTER.yaml", help="The reading with the repair done; - for standard input.")
    ],
    *,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    plot: PlotOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Tell what a repair changed, whether it worked, and how fair the comparison is.

    twogauge compare examples/readings/bus_17_warm_vents.yaml examples/readings/bus_17_after_repair.yaml
    """
    from twogauge.diagnosis import program_for
    from twogauge.packs.yamlfile import MAX_BYTES

    _refuse_one_file(before, after)
    pictures: tuple[Wanted, ...] = ()
    if plot is not None:
        from twogauge.cli.plotting import OF_A_COMPARISON, wanted

        pictures = wanted([plot], OF_A_COMPARISON)
    program = program_for(rules_folders(rules))
    readings = []
    for file in (before, after):
        piped = sys.stdin.buffer.read(MAX_BYTES + 1) if file == STDIN else None
        reading, node = read_file("<stdin>" if piped is not None else file, units=units, text=piped)
        try:
            reading.validate_checks(program.answers)
        except ReadingError as error:
            raise positioned(error, node) from None
        readings.append(reading)
    answered = answer(program, *readings)
    tell(answered, as_json=as_json, verbose=verbose)
    if pictures:
        from twogauge.cli.plotting import draw

        sys.stdout.flush()
        draw(pictures, answered.found)


def answer(program: Program, before: Reading, after: Reading) -> Answered:
    """Compare two readings; the `found` of the answer is what a picture is made from.

    Args:
        program: the rules in force.
        before: the repair.
        after: it.
    """
    from twogauge.output import compare as output
    from twogauge.profiles import with_profile
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.compare import compare as weigh_up

    found = weigh_up(before, after, program)
    words = with_profile(after, program).parts.words
    told = words.get("refrigerant")
    cautions = cautions_beside(
        ("performance",), program.stack, None if told is None else get(told), system=words.get("system")
    )
    return Answered(
        lambda: output.document(found, cautions), lambda paper: output.write(paper, found, cautions), found
    )


def _refuse_one_file(before: str, after: str) -> None:
    if before == after == STDIN:
        raise InputError("only one of the two readings can come from standard input; write the other into a file")
    if STDIN in (before, after):
        return
    try:
        one = Path(before).samefile(after)
    except (OSError, ValueError):  # reading it tells what is wrong with a file
        return
    if one:
        raise InputError(
            f"{shown(before)} and {shown(after)} are the same file: a comparison needs two readings, one from before "
            "the repair and one from after it"
        )
