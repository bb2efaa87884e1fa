"""`twogauge charge`: how much refrigerant, by the scale, and how to put it in; also in a change of refrigerant."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from enum import Enum
from typing import Annotated, Final

import typer

from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    Drive,
    DriveOption,
    JsonOption,
    UnitsOption,
    VerboseOption,
    barometer_from,
    print_json,
)
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError
from twogauge.fields import FIELDS
from twogauge.quantities import Dimension, UnitSet, absolute, parse


class Port(Enum):
    """Where the low-side port sits."""

    ACCUMULATOR = "accumulator"
    SUCTION_LINE = "suction_line"
    COMPRESSOR = "compressor"


System = Enum("System", {word: word for word in FIELDS["system"].choices})  # type: ignore[misc]
Metering = Enum("Metering", {word: word for word in FIELDS["metering"].choices})  # type: ignore[misc]
Store = Enum("Store", {word: word for word in FIELDS["liquid_store"].choices})  # type: ignore[misc]


CAR: Final = System("car_ac")


def charge(
    refrigerant: Annotated[str, typer.Argument(metavar="REFRIGERANT", help="What goes in.")],
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
    system: Annotated[System, typer.Option("--system", help="Kind of machine.")] = CAR,
    metering: Annotated[Metering | None, typer.Option("--metering", help="Metering device.")] = None,
    liquid_store: Annotated[
        Store | None, typer.Option("--liquid-store", help="Where spare refrigerant waits.")
    ] = None,
    low_port: Annotated[Port | None, typer.Option("--low-port", help="Where the low-side port sits.")] = None,
    drive: DriveOption = Drive.BELT,
    hose_volume: Annotated[
        str | None,
        typer.Option("--hose-volume", metavar="VOLUME", help="Volume of the hoses that fill; else two of 50mL."),
    ] = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Tell how much refrigerant goes in, and how.

    twogauge charge R134a --label 2.5lb --retrofit-from R12 --ambient 80F
    """
    from twogauge.diagnosis import Warned, program_for
    from twogauge.output import charge as output
    from twogauge.output.style import style_for
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.charge import Job, plan

    if retrofit_from is not None and label is None:
        raise InputError("--retrofit-from needs --label: the new amount follows from the old charge")
    if already is not None and label is None:
        raise InputError("--already needs --label: what is missing is the difference of the two")
    air = barometer_from(altitude, barometer, units)

    def amount(text: str | None, dimension: Dimension, name: str) -> float:
        return math.nan if text is None else parse(text, dimension, field=name, units=units).value

    def pressure(text: str | None, name: str) -> float:
        if text is None:
            return math.nan
        return absolute(parse(text, Dimension.PRESSURE, field=name, units=units), air.pressure, field=name)

    new = get(refrigerant)
    found = plan(
        Job(
            refrigerant=new,
            label=amount(label, Dimension.MASS, "label"),
            old=None if retrofit_from is None else get(retrofit_from),
            inside=None if inside is None else get(inside),
            already=amount(already, Dimension.MASS, "already"),
            system=system.value,
            metering=None if metering is None else metering.value,
            liquid_store=None if liquid_store is None else liquid_store.value,
            port=None if low_port is None else low_port.value,
            ambient=amount(ambient, Dimension.TEMPERATURE, "ambient"),
            container=amount(cylinder_temperature, Dimension.TEMPERATURE, "cylinder-temperature"),
            holds=amount(cylinder_holds, Dimension.MASS, "cylinder-holds"),
            tare=amount(tare, Dimension.MASS, "tare"),
            low=pressure(low, "low"),
            high=pressure(high, "high"),
            hoses=amount(hose_volume, Dimension.VOLUME, "hose-volume"),
            barometer=air.pressure,
        )
    )
    stack = program_for(rules_folders(rules)).stack
    electric = ("electric_compressor",) if drive is Drive.ELECTRIC else ()

    def care(works: Sequence[str]) -> tuple[Warned, ...]:
        if found.job.old is not None and "retrofit" in works:  # what comes out asks for its own care
            return cautions_beside(works, stack, found.job.old)
        own = "charge" in works
        return cautions_beside((*works, *(electric if own else ())), stack, new, own=own)

    if as_json:
        of_change = care(("retrofit",)) if found.change else ()
        beside = care(("charge", *output.works_of(found.put_in), "warm_container"))
        print_json(output.document(found, dict.fromkeys((*of_change, *beside))))
        return
    sys.stdout.write(output.as_text(found, style_for(sys.stdout), units, care, verbose=verbose))
