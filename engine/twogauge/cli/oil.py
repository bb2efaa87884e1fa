"""`twogauge oil`: which oil, how much with a replaced part, which seals, and what an old oil leaves behind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.charge import System
from twogauge.cli.common import Drive, DriveOption, UnitsOption
from twogauge.errors import InputError, shown
from twogauge.quantities import Dimension, UnitSet, parse

if TYPE_CHECKING:
    from twogauge.packs.program import Program


@answering
def oil(
    program: Program,
    refrigerant: Annotated[str, typer.Argument(metavar="REFRIGERANT", help="What is in the system, or goes in.")],
    *,
    part: Annotated[
        list[str] | None,
        typer.Option("--part", metavar="PART", help="A replaced part, such as condenser; repeatable."),
    ] = None,
    drained: Annotated[
        list[str] | None,
        typer.Option("--drained", metavar="PART=VOLUME", help="What came out of the old one: compressor=2oz."),
    ] = None,
    system: Annotated[System | None, typer.Option("--system", help="Kind of machine.")] = None,
    drive: DriveOption = Drive.BELT,
    retrofit_from: Annotated[
        str | None, typer.Option("--retrofit-from", metavar="REFRIGERANT", help="What was in it before a retrofit.")
    ] = None,
    units: UnitsOption = UnitSet.US,
) -> Answered:
    """Tell which oil, and how much with a replaced part.

    twogauge oil R134a --part condenser --part compressor --drained compressor=2oz
    """
    from twogauge.output import oil as output
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.oil import oil as look_up
    from twogauge.service.oil import part_names

    chosen = get(refrigerant)
    found = look_up(
        chosen,
        drive="electric" if drive is Drive.ELECTRIC else "belt",
        system=None if system is None else system.value,
        parts=part or part_names(),
        drained=_drained(drained or []),
        old=None if retrofit_from is None else get(retrofit_from),
    )
    works = ("oil", "electric_compressor") if drive is Drive.ELECTRIC else ("oil",)
    cautions = cautions_beside(works, program.stack, chosen, system=None if system is None else system.value)
    return Answered(
        lambda: output.document(found, cautions),
        lambda paper: output.write(paper, found, units, cautions, asked=bool(part)),
    )


def _drained(given: list[str]) -> dict[str, float]:
    found = {}
    for each in given:
        name, equals, volume = each.partition("=")
        if not equals:
            raise InputError(f"--drained {shown(each)}: write the part and what came out, such as compressor=60mL")
        if name.strip() in found:
            raise InputError(f"--drained names {shown(name.strip())} twice; write what came out of it once")
        found[name.strip()] = parse(volume, Dimension.VOLUME, field=f"drained {name.strip()}").value
    return found
