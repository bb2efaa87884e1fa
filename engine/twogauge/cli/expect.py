"""`twogauge expect`: what the gauges and the thermometer should show today, before anything is connected."""

from __future__ import annotations

import inspect
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.answered import Answered, tell
from twogauge.cli.common import JsonOption, UnitsOption
from twogauge.cli.diagnose import RulesOption, field_option, read_conditions, rules_folders
from twogauge.fields import FIELDS
from twogauge.quantities import UnitSet

if TYPE_CHECKING:
    from twogauge.packs.program import Program
    from twogauge.reading import Reading

# What a person knows before connecting a gauge.
CONDITIONS: Final = (
    "ambient",
    "humidity",
    "return_air",
    "altitude",
    "barometer",
    "engine_speed",
    "system",
    "metering",
    "compressor_control",
    "liquid_store",
    "profile",
)


def _expect(
    refrigerant: Annotated[
        str | None, typer.Argument(metavar="[REFRIGERANT]", help="What is in the system; a profile may tell it.")
    ] = None,
    *,
    spec: Annotated[
        list[str] | None,
        typer.Option("--spec", metavar="FIELD=LOW..HIGH", help="What the maker says for this day; repeatable."),
    ] = None,
    baseline: Annotated[
        str | None,
        typer.Option("--baseline", metavar="FILE", help="An earlier, known-good reading of the same machine."),
    ] = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    **fields: str | None,
) -> None:
    """Tell what is normal today: both pressures, vents, superheat, subcooling, and where the figures come from.

    twogauge expect R134a --ambient 95F --humidity 60%
    """
    told = {name: value for name, value in fields.items() if value is not None}
    if refrigerant is not None:
        told["refrigerant"] = refrigerant
    reading = read_conditions(told, spec or [], baseline, units)

    from twogauge.diagnosis import program_for

    tell(answer(program_for(rules_folders(rules)), reading), as_json=as_json)


def answer(program: Program, reading: Reading) -> Answered:
    """Tell what is normal under some conditions.

    Args:
        program: the rules in force.
        reading: that holds the conditions.
    """
    from twogauge.expect import expect
    from twogauge.output import expectation

    found = expect(reading, program)
    return Answered(lambda: expectation.document(found), lambda paper: expectation.write(paper, found), found)


def expect(*args: Any, **given: Any) -> None:
    """Run the command; its signature is filled in below, one option for each condition."""
    _expect(*args, **given)


def _fill_in() -> None:
    own = inspect.signature(_expect, eval_str=True).parameters.values()
    kept = [p for p in own if p.kind is not inspect.Parameter.VAR_KEYWORD]
    options = [field_option(FIELDS[name]) for name in CONDITIONS]
    everything = [kept[0], *options, *kept[1:]]
    expect.__signature__ = inspect.Signature(everything)  # type: ignore[attr-defined]  # typer reads it; only classes declare it
    expect.__annotations__ = {p.name: p.annotation for p in everything}
    expect.__doc__ = _expect.__doc__


_fill_in()
