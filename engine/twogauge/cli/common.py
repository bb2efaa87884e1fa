"""What several commands ask for in the same words: units, the air around the gauge, and the shape of the output."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.errors import QuantityError, shown
from twogauge.quantities import (
    PA_PER_INHG,
    STANDARD_ATMOSPHERE,
    Dimension,
    UnitSet,
    absolute,
    parse,
    show,
    show_gauge,
    standard_atmosphere,
)

if TYPE_CHECKING:
    from twogauge.refrigerants import Refrigerant

UnitsOption = Annotated[
    UnitSet,
    typer.Option("--units", envvar="TWOGAUGE_UNITS", help="us: psi, degF; si: kPa, degC; metric: bar, degC."),
]
AltitudeOption = Annotated[
    str | None,
    typer.Option("--altitude", metavar="HEIGHT", help="Height of this place, such as 5000ft or 1500m."),
]
BarometerOption = Annotated[
    str | None,
    typer.Option(
        "--barometer",
        metavar="PRESSURE",
        help="What a barometer at this place shows, such as 24.9inHg; not the sea-level figure of a weather report.",
    ),
]
GaugeOption = Annotated[
    str | None,
    typer.Option("--gauge", metavar="TEXT", help="The gauge, as it is marked: 'class 1.6, 0 to 10 bar'."),
]
ThermometerOption = Annotated[
    str | None, typer.Option("--thermometer", metavar="TEXT", help="The thermometer: '1 K'.")
]
VolumeOption = Annotated[
    str | None, typer.Option("--volume", metavar="VOLUME", help="Inside the circuit, such as 2.5L.")
]
ProfileOption = Annotated[
    str | None,
    typer.Option("--profile", metavar="PROFILE", help="A machine of the shop's rules: what it is, and its label."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, for other programs.")]
PlotOption = Annotated[
    str | None, typer.Option("--plot", metavar="FILE", help="Draw a picture of it into FILE.svg, .png or .pdf.")
]
VerboseOption = Annotated[bool, typer.Option("--verbose", help="Cautions in full, and every source.")]


class Drive(Enum):
    """What turns the compressor."""

    BELT = "belt"
    ELECTRIC = "electric"


DriveOption = Annotated[Drive, typer.Option("--drive", help="What turns the compressor.")]

_LOWEST_AIR: Final = 44_000.0  # [Pa] standard atmosphere at 6500 m
_HIGHEST_AIR: Final = 109_000.0  # [Pa] a little above the highest sea-level pressure on record (from memory)


@dataclass(frozen=True, slots=True)
class Barometer:
    """The pressure of the air around the gauge, and how it is known.

    Attributes:
        pressure: [Pa] absolute.
        note: such as "sea level assumed" or "standard air at 5000 ft".
        assumed: nobody said anything about it.
    """

    pressure: float
    note: str
    assumed: bool

    def sentence(self, units: UnitSet) -> str:
        """Return for instance `air 14.7 psi (sea level assumed)`."""
        return f"air {show_absolute(self.pressure, units)} ({self.note})"


def barometer_from(altitude: str | None, barometer: str | None, units: UnitSet) -> Barometer:
    """Work out the pressure of the air from what was given on the command line.

    Args:
        altitude: text of a height, or None.
        barometer: text of an absolute pressure, or None.
        units: the set a bare number is taken in.

    Raises:
        QuantityError: both are given, or one is not a usable height or pressure.
    """
    if altitude is not None and barometer is not None:
        raise QuantityError("give --altitude or --barometer, not both: each says what the air presses with")
    if barometer is not None:
        given = parse(barometer, Dimension.PRESSURE, field="barometer", units=units, reference="absolute")
        pressure = absolute(given, STANDARD_ATMOSPHERE, field="barometer")
        if not _LOWEST_AIR <= pressure <= _HIGHEST_AIR:
            low, high = (show_absolute(end, units) for end in (_LOWEST_AIR, _HIGHEST_AIR))
            mercury = f"; did you mean {barometer.strip()}inHg?" if _plain_mercury(barometer) else ""
            raise QuantityError(
                f"{shown(barometer)} is not the pressure of air at any place with a road "
                f"({low} to {high} absolute){mercury}",
                field="barometer",
                text=barometer,
            )
        return Barometer(pressure, "barometer", assumed=False)
    if altitude is not None:
        height = parse(altitude, Dimension.LENGTH, field="altitude", units=units)
        return Barometer(
            standard_atmosphere(height.value),
            f"standard air at {show(height.value, Dimension.LENGTH, units)}",
            assumed=False,
        )
    return Barometer(STANDARD_ATMOSPHERE, "sea level assumed", assumed=True)


@dataclass(frozen=True, slots=True)
class Limits:
    """What the instruments of one pressure and one temperature may be off.

    Attributes:
        gauge: permitted error [Pa].
        thermometer: permitted error [K].
        air: standard uncertainty of the pressure of the air [Pa].
    """

    gauge: float
    thermometer: float
    air: float


def limits_of(
    gauge: str | None, thermometer: str | None, on_dial: float, air: Barometer, barometer: str | None
) -> Limits:
    """Read what was told about the instruments; the usual ones where nothing was.

    Args:
        gauge, thermometer: as they are marked, or None.
        on_dial: what the gauge shows [Pa], against the air.
        air: as `barometer_from` gave it.
        barometer: text of what a barometer shows, or None.

    Raises:
        QuantityError: a description that cannot be read.
    """
    import numpy as np

    from twogauge.fields import BAROMETER_UNCERTAINTY, DEFAULT_ACCURACY
    from twogauge.instruments import parse_gauge, parse_thermometer
    from twogauge.work import usual_gauge_error

    known = "assumed" if air.assumed else "altitude" if barometer is None else "barometer"
    return Limits(
        float(usual_gauge_error("low_gauge_accuracy", np.array([on_dial]))[0])
        if gauge is None
        else parse_gauge(gauge).permitted_error(on_dial),
        DEFAULT_ACCURACY["thermometer_accuracy"] if thermometer is None else parse_thermometer(thermometer).permitted,
        BAROMETER_UNCERTAINTY[known],
    )


def port_pressure(
    text: str, field: str, refrigerant: Refrigerant, air: Barometer, units: UnitSet, *, side: str = "high_side"
) -> float:
    """Return the absolute pressure [Pa] of what a gauge on a circuit shows.

    Args:
        text: as it was typed.
        field: name of it in messages.
        refrigerant: what should be in the circuit.
        air: around the gauge.
        units: the set a bare number is taken in.
        side: `low_side` of a running system, or `high_side`; the latter also of a system at rest.

    Raises:
        QuantityError: no pressure, or more than such a circuit can show.
    """
    from twogauge.slips import Machine

    given = parse(text, Dimension.PRESSURE, field=field, units=units)
    pressure = absolute(given, air.pressure, field=field)
    if what := Machine(refrigerant.id, air.pressure).of_pressure(side, pressure, given):
        most = show_gauge(refrigerant.critical_pressure, air.pressure, units, 0 if units is UnitSet.US else None)
        what = f"{shown(text)} {what} (critical pressure of {refrigerant.title}: {most} on the gauge)"
        raise QuantityError(what, field=field, text=text, code="out-of-range")
    return pressure


def show_absolute(pressure: float, units: UnitSet) -> str:
    """Print an absolute pressure of the air, fine enough to tell heights apart."""
    return show(pressure, Dimension.PRESSURE, units, {UnitSet.US: 1, UnitSet.SI: 1, UnitSet.METRIC: 3}[units])


STDIN: Final = "-"  # the name of standard input


def read_standard_input(most: int) -> bytes:
    """Return what was piped in, one byte more than `most` at the most, so that too much can be told."""
    return sys.stdin.buffer.read(most + 1)


def print_json(document: Any) -> None:
    """Print a document as JSON; there is no NaN in it, an unknown number is null."""
    typer.echo(json.dumps(document, indent=2, allow_nan=False, ensure_ascii=False))


def _plain_mercury(text: str) -> bool:
    try:
        return _LOWEST_AIR <= float(text) * PA_PER_INHG <= _HIGHEST_AIR
    except ValueError:
        return False
