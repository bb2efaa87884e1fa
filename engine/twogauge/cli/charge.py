"""`twogauge charge`: how much refrigerant, by the scale, and how to put it in; also in a change of refrigerant."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    Drive,
    ProfileOption,
    UnitsOption,
    barometer_from,
    port_pressure,
)
from twogauge.cli.diagnose import RulesOption
from twogauge.cli.machine import Machine
from twogauge.errors import InputError
from twogauge.fields import DEFAULT_SYSTEM, FIELDS
from twogauge.quantities import Dimension, UnitSet, parse

if TYPE_CHECKING:
    from twogauge.output.paper import Paper
    from twogauge.packs.program import Program


System = Enum("System", {word: word for word in FIELDS["system"].choices})  # type: ignore[misc]
Metering = Enum("Metering", {word: word for word in FIELDS["metering"].choices})  # type: ignore[misc]
Store = Enum("Store", {word: word for word in FIELDS["liquid_store"].choices})  # type: ignore[misc]

Port = Enum("Port", {word: word for word in ("accumulator", "suction_line", "compressor")})  # type: ignore[misc]


@answering
def charge(
    program: Program,
    refrigerant: Annotated[
        str | None, typer.Argument(metavar="[REFRIGERANT]", help="What goes in; a profile may tell it.")
    ] = None,
    *,
    label: Annotated[
        str | None, typer.Option("--label", metavar="WEIGHT", help="Charge on the label: 2.5lb, '2 lb 4 oz', 900g.")
    ] = None,
    retrofit_from: Annotated[
        str | None, typer.Option("--retrofit-from", metavar="REFRIGERANT", help="What the label names, if changed.")
    ] = None,
    inside: Annotated[
        str | None,
        typer.Option("--inside", metavar="REFRIGERANT", help="What is still in the system, if anything."),
    ] = None,
    already: Annotated[
        str | None,
        typer.Option("--already", metavar="WEIGHT", help="Of it, weighed in before; the rest is worked out."),
    ] = None,
    ambient: Annotated[str | None, typer.Option("--ambient", metavar="TEMPERATURE", help="Air around it.")] = None,
    cylinder_temperature: Annotated[
        str | None, typer.Option("--cylinder-temperature", metavar="TEMPERATURE", help="Else that of the air.")
    ] = None,
    cylinder_holds: Annotated[
        str | None, typer.Option("--cylinder-holds", metavar="WEIGHT", help="Refrigerant in the cylinder.")
    ] = None,
    tare: Annotated[
        str | None, typer.Option("--tare", metavar="WEIGHT", help="Weight of the empty cylinder.")
    ] = None,
    low: Annotated[str | None, typer.Option("--low", metavar="PRESSURE", help="What the low side shows now.")] = None,
    high: Annotated[
        str | None, typer.Option("--high", metavar="PRESSURE", help="What the high side shows now.")
    ] = None,
    profile: ProfileOption = None,
    system: Annotated[System | None, typer.Option("--system", help="Kind of machine; else car_ac.")] = None,
    metering: Annotated[Metering | None, typer.Option("--metering", help="Metering device.")] = None,
    liquid_store: Annotated[
        Store | None, typer.Option("--liquid-store", help="Where spare refrigerant waits.")
    ] = None,
    low_port: Annotated[Port | None, typer.Option("--low-port", help="Where the low-side port sits.")] = None,
    drive: Annotated[Drive | None, typer.Option("--drive", help="What turns the compressor; else belt.")] = None,
    hose_volume: Annotated[
        str | None,
        typer.Option("--hose-volume", metavar="VOLUME", help="Volume of the hoses that fill; else two of 50mL."),
    ] = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    brief: Annotated[
        bool, typer.Option("--brief", help="The figures, the way in a few lines, the cautions.")
    ] = False,
) -> Answered:
    """Tell how much refrigerant goes in, and how.

    twogauge charge R134a --label 2.5lb --retrofit-from R12 --ambient 80F
    """
    from twogauge.diagnosis import Warned
    from twogauge.output import charge as output
    from twogauge.output.charge_brief import write_brief
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.charge import plan
    from twogauge.service.charge_parts import Job

    machine = Machine.of(profile, program, rules or ())
    label = machine.charge if label is None else label
    refrigerant = refrigerant or machine.words.get("refrigerant")
    if refrigerant is None:
        raise InputError(
            "what goes in? write its name behind the command, such as R134a, or give a --profile that tells it"
        )
    if retrofit_from is not None and label is None:
        raise InputError("--retrofit-from needs --label: the new amount follows from the old charge")
    if already is not None and label is None:
        raise InputError("--already needs --label: what is missing is the difference of the two")
    if tare is not None and cylinder_holds is None:
        raise InputError("--tare needs --cylinder-holds: the shell cools with what is in it")
    air = barometer_from(altitude, barometer, units)

    def amount(text: str | None, dimension: Dimension, name: str) -> float:
        return math.nan if text is None else parse(text, dimension, field=name, units=units).value

    new = get(refrigerant)
    if retrofit_from is None:
        machine.refuse_another(new, "if that is what is being changed, write --retrofit-from {id}")

    def pressure(text: str | None, name: str) -> float:
        return math.nan if text is None else port_pressure(text, name, new, air, units, side=f"{name}_side")

    found = plan(
        Job(
            refrigerant=new,
            label=amount(label, Dimension.MASS, "label"),
            old=None if retrofit_from is None else get(retrofit_from),
            inside=None if inside is None else get(inside),
            already=amount(already, Dimension.MASS, "already"),
            system=machine.word("system", system) or DEFAULT_SYSTEM,
            metering=machine.word("metering", metering),
            liquid_store=machine.word("liquid_store", liquid_store),
            port=machine.word("low_port", low_port),
            drive=machine.word("drive", drive) or Drive.BELT.value,
            ambient=amount(ambient, Dimension.TEMPERATURE, "ambient"),
            container=amount(cylinder_temperature, Dimension.TEMPERATURE, "cylinder-temperature"),
            holds=amount(cylinder_holds, Dimension.MASS, "cylinder-holds"),
            tare=amount(tare, Dimension.MASS, "tare"),
            low=pressure(low, "low"),
            high=pressure(high, "high"),
            hoses=amount(hose_volume, Dimension.VOLUME, "hose-volume"),
            barometer=air.pressure,
            profile=machine.title,
            options=machine.options,
        )
    )
    stack = program.stack
    electric = ("electric_compressor",) if found.job.drive == Drive.ELECTRIC.value else ()

    def care(works: Sequence[str]) -> tuple[Warned, ...]:
        if found.job.old is not None and "retrofit" in works:  # what comes out asks for its own care
            return cautions_beside(works, stack, found.job.old, system=found.job.system)
        own = "charge" in works
        return cautions_beside((*works, *(electric if own else ())), stack, new, system=found.job.system, own=own)

    def document() -> Any:
        of_change = care(("retrofit",)) if found.change else ()
        beside = care(("charge", *output.works_of(found.put_in), "warm_container"))
        return output.document(found, dict.fromkeys((*of_change, *beside)))

    def write(paper: Paper) -> None:
        if brief and paper.verbose:
            raise InputError("--brief and --verbose contradict each other; give one of them")
        (write_brief if brief else output.write)(paper, found, units, care)

    return Answered(document, write)
