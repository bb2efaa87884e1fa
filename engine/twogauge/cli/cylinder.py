"""`twogauge cylinder`: how full a cylinder may be, and what may be in one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    GaugeOption,
    ThermometerOption,
    UnitsOption,
    barometer_from,
    limits_of,
)
from twogauge.errors import InputError, QuantityError
from twogauge.quantities import Dimension, UnitSet, absolute, parse

if TYPE_CHECKING:
    from twogauge.packs.program import Program

cylinder = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    help="Tell how full a cylinder may be, and what may be in one.",
)


@cylinder.command("fill")
@answering
def fill(
    program: Program,
    refrigerant: Annotated[
        str | None, typer.Argument(metavar="[REFRIGERANT]", help="What goes in; without it only the weight counts.")
    ] = None,
    *,
    water_capacity: Annotated[
        str,
        typer.Option("--water-capacity", metavar="WEIGHT", help="WC on the collar, 47.7lb; or the volume, 21.6L."),
    ],
    tare: Annotated[str | None, typer.Option("--tare", metavar="WEIGHT", help="TW on the collar.")] = None,
    on_scale: Annotated[
        str | None, typer.Option("--on-scale", metavar="WEIGHT", help="What it weighs now; needs --tare.")
    ] = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
) -> Answered:
    """Tell how much a recovery cylinder may hold.

    twogauge cylinder fill R134a --water-capacity 47.7lb --tare 27.5lb
    """
    from twogauge.output import cylinder as output
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.cylinder import safe_fill

    chosen = None if refrigerant is None else get(refrigerant)
    air = barometer_from(altitude, barometer, units)
    empty = float("nan") if tare is None else parse(tare, Dimension.MASS, field="tare").value
    now = float("nan") if on_scale is None else parse(on_scale, Dimension.MASS, field="on-scale").value
    if on_scale is not None and tare is None:
        raise InputError("--on-scale needs --tare: what is in it is the difference of the two")
    if now < empty:
        raise InputError("the cylinder weighs less than its tare; check both weights, and that the scale was zeroed")
    found = safe_fill(chosen, _capacity(water_capacity))
    cautions = cautions_beside(("recovery",), program.stack, chosen)
    return Answered(
        lambda: output.fill_document(found, chosen, tare=empty, on_scale=now, cautions=cautions),
        lambda paper: output.write_fill(
            paper, found, chosen, units, tare=empty, on_scale=now, barometer=air.pressure, cautions=cautions
        ),
    )


@cylinder.command("identify")
@answering
def identify(
    program: Program,
    label: Annotated[
        str | None, typer.Argument(metavar="[REFRIGERANT]", help="What its label says, if it has one.")
    ] = None,
    *,
    pressure: Annotated[str, typer.Option("--pressure", metavar="PRESSURE", help="What a gauge on it shows.")],
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="TEMPERATURE", help="Of its shell, at rest for hours.")
    ],
    gauge: GaugeOption = None,
    thermometer: ThermometerOption = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
) -> Answered:
    """Tell which refrigerants fit the pressure of a cylinder at rest.

    twogauge cylinder identify R134a --pressure 95psi --temperature 80F
    """
    from twogauge.output import cylinder as output
    from twogauge.refrigerants import get
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.cylinder import identify as hold_against

    air = barometer_from(altitude, barometer, units)
    shown = parse(pressure, Dimension.PRESSURE, field="pressure", units=units)
    inside = absolute(shown, air.pressure, field="pressure")
    limits = limits_of(gauge, thermometer, inside - air.pressure, air, barometer)
    found = hold_against(
        inside,
        parse(temperature, Dimension.TEMPERATURE, field="temperature", units=units).value,
        gauge_limit=limits.gauge,
        thermometer_limit=limits.thermometer,
        air_error=limits.air,
        label=label,
    )
    chosen = None if label is None else get(label)
    cautions = cautions_beside(("unknown_refrigerant",), program.stack, chosen)
    return Answered(
        lambda: output.identity_document(found, cautions),
        lambda paper: output.write_identity(paper, found, units, barometer=air.pressure, cautions=cautions),
    )


def _capacity(text: str) -> float:
    """Read a water capacity as a weight of water or as a volume; return the volume [m3]."""
    from twogauge.service.cylinder import water_density

    try:
        return parse(text, Dimension.MASS, field="water-capacity").value / water_density()
    except QuantityError as not_a_weight:
        try:
            return parse(text, Dimension.VOLUME, field="water-capacity").value
        except QuantityError:
            raise not_a_weight from None
