"""`twogauge standing`: what the gauges mean with the compressor stopped and everything levelled out."""

from __future__ import annotations

import math
import sys
from typing import Annotated

import typer

from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    GaugeOption,
    JsonOption,
    ThermometerOption,
    UnitsOption,
    VerboseOption,
    VolumeOption,
    barometer_from,
    limits_of,
    port_pressure,
    print_json,
)
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.quantities import Dimension, UnitSet, parse


def standing(
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
    gauge: GaugeOption = None,
    thermometer: ThermometerOption = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Judge the pressure of a system at rest: is liquid in it, is air in it, how much is left.

    twogauge standing R134a 85psi --coldest 75F
    """
    from twogauge.diagnosis import program_for
    from twogauge.instruments import show_size
    from twogauge.output import standing as output
    from twogauge.output.style import style_for
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.standing import judge

    chosen = get(refrigerant)
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
        charge=amount(charge, Dimension.MASS, "charge"),
    )
    cautions = cautions_beside(("standing_pressure",), program_for(rules_folders(rules)).stack, chosen)
    if as_json:
        print_json(output.document(found, chosen, cautions))
        return
    sizes = (
        show_size(limits.gauge, Dimension.PRESSURE_DIFFERENCE, units),
        show_size(limits.thermometer, Dimension.TEMPERATURE_DIFFERENCE, units),
    )
    sys.stdout.write(
        output.as_text(
            found,
            chosen,
            style_for(sys.stdout),
            units,
            barometer=air.pressure,
            air=air.sentence(units).capitalize(),
            instruments=f"gauge within {sizes[0]}, thermometer within {sizes[1]}",
            cautions=cautions,
            verbose=verbose,
        )
    )
