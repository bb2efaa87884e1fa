"""`twogauge standing`: what the gauges mean with the compressor stopped and everything levelled out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    GaugeOption,
    ProfileOption,
    ThermometerOption,
    UnitsOption,
    VolumeOption,
    barometer_from,
    limits_of,
    port_pressure,
)
from twogauge.cli.diagnose import RulesOption
from twogauge.cli.machine import Machine
from twogauge.quantities import Dimension, UnitSet, parse

if TYPE_CHECKING:
    from twogauge.packs.program import Program


@answering
def standing(
    program: Program,
    refrigerant: Annotated[str, typer.Argument(metavar="REFRIGERANT", help="What should be in it, such as R134a.")],
    pressure: Annotated[
        str, typer.Argument(metavar="PRESSURE", help="What both gauges show; of two, the one that is read finer.")
    ],
    *,
    coldest: Annotated[
        str, typer.Option("--coldest", metavar="TEMPERATURE", help="Of the coldest part of the circuit.")
    ],
    other_gauge: Annotated[
        str | None, typer.Option("--other-gauge", metavar="PRESSURE", help="What the second gauge shows.")
    ] = None,
    volume: VolumeOption = None,
    charge: Annotated[
        str | None, typer.Option("--charge", metavar="WEIGHT", help="On the label, such as 1.6lb.")
    ] = None,
    profile: ProfileOption = None,
    gauge: GaugeOption = None,
    thermometer: ThermometerOption = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
) -> Answered:
    """Judge the pressure of a system at rest: is liquid in it, is air in it, how much is left.

    twogauge standing R134a 85psi --coldest 75F
    """
    from twogauge.instruments import show_size
    from twogauge.output import standing as output
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.standing import judge

    chosen = get(refrigerant)
    machine = Machine.of(profile, program, rules or ())
    machine.refuse_another(chosen, "write {id}: what else would fit is told as well")
    air = barometer_from(altitude, barometer, units)

    def inside(text: str, field: str) -> float:
        return port_pressure(text, field, chosen, air, units)

    def amount(text: str | None, dimension: Dimension, field: str) -> float:
        return math.nan if text is None else parse(text, dimension, field=field, units=units).value

    shown = inside(pressure, "pressure")
    on_dial = shown - air.pressure
    limits = limits_of(gauge, thermometer, on_dial, air, barometer)
    found = judge(
        chosen,
        shown,
        parse(coldest, Dimension.TEMPERATURE, field="coldest", units=units).value,
        gauge_limit=limits.gauge,
        thermometer_limit=limits.thermometer,
        air_error=limits.air,
        barometer=air.pressure,
        other_gauge=math.nan if other_gauge is None else inside(other_gauge, "other-gauge"),
        volume=amount(volume, Dimension.VOLUME, "volume"),
        charge=amount(machine.charge if charge is None else charge, Dimension.MASS, "charge"),
    )
    cautions = cautions_beside(("standing_pressure",), program.stack, chosen, system=machine.words.get("system"))
    sizes = (
        show_size(limits.gauge, Dimension.PRESSURE_DIFFERENCE, units),
        show_size(limits.thermometer, Dimension.TEMPERATURE_DIFFERENCE, units),
    )
    return Answered(
        lambda: output.document(found, chosen, cautions, machine.title),
        lambda paper: output.write(
            paper,
            found,
            chosen,
            units,
            barometer=air.pressure,
            air=air.sentence(units).capitalize(),
            instruments=f"gauge within {sizes[0]}, thermometer within {sizes[1]}",
            cautions=cautions,
            profile=machine.title,
        ),
    )
