"""`twogauge rules why`: for one reading, why a rule fired, did not fire, or could not be judged."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from twogauge.cli.common import JsonOption, UnitsOption, print_json
from twogauge.cli.diagnose import RulesOption
from twogauge.cli.rules.common import own_style, program_of, short
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError, positioned, read_file


def why(
    context: typer.Context,
    rule: Annotated[str, typer.Argument(metavar="RULE", help="Id of a rule or gate.")],
    file: Annotated[
        str, typer.Argument(metavar="READING|-", help="A reading in YAML or JSON; - for standard input.")
    ],
    *,
    units: UnitsOption = UnitSet.US,
    rules_: RulesOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell why a rule fired on a reading, did not, or could not be judged, and whether what it says counted.

    Each condition stands with its threshold, the value with its uncertainty, and its degree; then what kept the rule
    away or quiet, and what became of each of its weights.
    """
    from twogauge.output.why import as_text, document
    from twogauge.packs.why import why as explain
    from twogauge.packs.yamlfile import MAX_BYTES

    program = program_of(rules_)
    text = sys.stdin.buffer.read(MAX_BYTES + 1) if file == "-" else None
    reading, node = read_file("<stdin>" if file == "-" else file, units=units, text=text)
    if str(context.get_parameter_source("units")).rpartition(".")[2] == "COMMANDLINE":
        reading.units = units
    try:
        found = explain(rule, reading, program)
    except ReadingError as error:  # a check or an answer that no pack knows
        raise positioned(error, node) from None
    if as_json:
        print_json(document(found, reading.units))
        return
    loaded = program.stack.rules.get(rule) or program.stack.gates.get(rule)
    where = short(loaded.defined) if loaded is not None and loaded.defined is not None else ""
    sys.stdout.write(as_text(found, own_style(), where))
