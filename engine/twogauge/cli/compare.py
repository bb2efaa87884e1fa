"""`twogauge compare`: what a repair changed, and whether it worked."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from twogauge.cli.common import JsonOption, UnitsOption, VerboseOption, print_json
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError, positioned, read_file


def compare(
    before: Annotated[str, typer.Argument(metavar="BEFORE.yaml", help="The reading with the fault in it.")],
    after: Annotated[str, typer.Argument(metavar="AFTER.yaml", help="The reading with the repair done.")],
    *,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Tell what a repair changed, whether it worked, and how fair the comparison is.

    twogauge compare examples/readings/bus_17_warm_vents.yaml examples/readings/bus_17_after_repair.yaml
    """
    from twogauge.diagnosis import program_for
    from twogauge.output import compare as output
    from twogauge.output.style import style_for
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.compare import compare as weigh_up

    program = program_for(rules_folders(rules))
    readings = []
    for file in (before, after):
        reading, node = read_file(file, units=units)
        try:
            reading.validate_checks(program.answers)
        except ReadingError as error:
            raise positioned(error, node) from None
        readings.append(reading)
    found = weigh_up(readings[0], readings[1], program)
    told = readings[1].parts.words.get("refrigerant")
    cautions = cautions_beside(("performance",), program.stack, None if told is None else get(told))
    if as_json:
        print_json(output.document(found, cautions))
        return
    sys.stdout.write(output.as_text(found, style_for(sys.stdout), cautions, verbose=verbose))
