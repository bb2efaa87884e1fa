"""The table of units: what each is in SI, how people spell it, and which are taken where none is written.

Nothing is read or printed here; that is quantities.py, which hands these names on.

Factors: NIST SP 811 (2008), appendix B (from memory; the tests compare each with an independent units library).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal

Reference = Literal["gauge", "absolute"]

STANDARD_ATMOSPHERE: Final = 101_325.0  # [Pa] ICAO Doc 7488 = ISO 2533
PA_PER_PSI: Final = 6894.757293168
PA_PER_INHG: Final = 3386.388640341  # conventional mercury, 0 degC
PA_PER_MICRON: Final = 0.133322387415  # 1 micron = 0.001 mmHg
ZERO_CELSIUS: Final = 273.15  # [K]
ZERO_FAHRENHEIT: Final = 459.67  # [degF above absolute zero]


class Dimension(StrEnum):
    """What kind of quantity a field holds; the value is the phrase used in messages."""

    PRESSURE = "pressure"
    PRESSURE_DIFFERENCE = "pressure difference"
    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature difference"
    FRACTION = "percentage"
    ROTATIONAL_SPEED = "speed of rotation"
    DURATION = "time"
    LENGTH = "height"
    MASS = "weight"
    VOLUME = "volume"
    NUMBER = "number"


class UnitSet(StrEnum):
    """The units a bare number is taken in, and the units of what is printed."""

    US = "us"
    SI = "si"
    METRIC = "metric"


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = (number + offset) * factor.

    Attributes:
        symbol: as it is printed.
        dimension: what it measures.
        factor: one of it [SI].
        offset: added to the number, so that its zero is the zero of the SI unit [1].
        reference: of a pressure, where the unit implies it; None: the field decides.
    """

    symbol: str
    dimension: Dimension
    factor: float
    offset: float = 0.0
    reference: Reference | None = None


def fold(symbol: str) -> str:
    """Return a symbol without spaces and in small letters, as the tables have it."""
    return re.sub(r"\s+", "", symbol).casefold()


_P, _T, _DT = Dimension.PRESSURE, Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE

ALL_UNITS: Final = (
    Unit("psi", _P, PA_PER_PSI),
    Unit("bar", _P, 1e5),
    Unit("mbar", _P, 1e2),
    Unit("hPa", _P, 1e2),
    Unit("Pa", _P, 1.0),
    Unit("kPa", _P, 1e3),
    Unit("MPa", _P, 1e6),
    Unit("kg/cm2", _P, 98_066.5),
    Unit("atm", _P, STANDARD_ATMOSPHERE, 0.0, "absolute"),
    Unit("inHg", _P, PA_PER_INHG),
    Unit("mmHg", _P, 133.322387415, 0.0, "absolute"),
    Unit("torr", _P, STANDARD_ATMOSPHERE / 760.0, 0.0, "absolute"),
    Unit("micron", _P, PA_PER_MICRON, 0.0, "absolute"),
    Unit("degC", _T, 1.0, ZERO_CELSIUS),
    Unit("degF", _T, 5.0 / 9.0, ZERO_FAHRENHEIT),
    Unit("K", _T, 1.0),
    Unit("%", Dimension.FRACTION, 0.01),
    Unit("rpm", Dimension.ROTATIONAL_SPEED, 1.0),
    Unit("s", Dimension.DURATION, 1.0),
    Unit("min", Dimension.DURATION, 60.0),
    Unit("h", Dimension.DURATION, 3600.0),
    Unit("m", Dimension.LENGTH, 1.0),
    Unit("ft", Dimension.LENGTH, 0.3048),
    Unit("", Dimension.NUMBER, 1.0),
)

KG_PER_OUNCE: Final = 0.028349523125

# Amounts stand apart: a pound is a weight here and a pressure on a gauge, and none may be told without its unit.
NEEDS_A_UNIT: Final = frozenset({Dimension.MASS, Dimension.VOLUME})
AMOUNTS: Final[dict[Dimension, dict[str, Unit]]] = {
    dimension: {
        spelling: Unit(symbol, dimension, factor)
        for symbol, factor, spellings in rows
        for spelling in (fold(symbol), *spellings)
    }
    for dimension, rows in (
        (
            Dimension.MASS,
            (
                ("kg", 1.0, ("kgs", "kilo", "kilos", "kilogram", "kilograms")),
                ("g", 0.001, ("gr", "gram", "grams")),
                ("lb", 16 * KG_PER_OUNCE, ("lbs", "#", "pound", "pounds")),
                ("oz", KG_PER_OUNCE, ("ozs", "ounce", "ounces")),
            ),
        ),
        (
            Dimension.VOLUME,
            (
                ("mL", 1e-6, ("cc", "cm3", "ccm", "millilitre", "millilitres", "milliliter", "milliliters")),
                ("L", 1e-3, ("dm3", "litre", "litres", "liter", "liters")),
                ("m3", 1.0, ()),
                # Of the USA; the imperial one is 4 % smaller.
                ("fl oz", 29.5735295625e-6, ("oz", "ozs", "ounce", "ounces", "fluidounce", "fluidounces")),
            ),
        ),
    )
}

# The same symbol where a difference is wanted.
AS_DIFFERENCE: Final[dict[tuple[str, Dimension], Unit]] = {
    **{
        (u.symbol, Dimension.PRESSURE_DIFFERENCE): Unit(u.symbol, Dimension.PRESSURE_DIFFERENCE, u.factor)
        for u in ALL_UNITS
        if u.dimension is _P
    },
    **{(u.symbol, _DT): Unit(u.symbol, _DT, u.factor) for u in ALL_UNITS if u.dimension is _T},
}

_SPELLINGS: Final[dict[str, str]] = {
    "psig": "psi gauge",
    "psia": "psi absolute",
    "pounds": "psi",
    "lbs": "psi",
    "lb": "psi",
    "#": "psi",
    "lb/in2": "psi",
    "lbf/in2": "psi",
    "kgf/cm2": "kg/cm2",
    "kg/cm^2": "kg/cm2",
    "kg/cm\u00b2": "kg/cm2",
    "kgf/cm\u00b2": "kg/cm2",
    "barg": "bar gauge",
    "bara": "bar absolute",
    "kpag": "kPa gauge",
    "kpaa": "kPa absolute",
    "mpag": "MPa gauge",
    "mpaa": "MPa absolute",
    "in.hg": "inHg",
    "inchhg": "inHg",
    "incheshg": "inHg",
    '"hg': "inHg",
    "inhga": "inHg absolute",
    "microns": "micron",
    "\u00b5mhg": "micron",
    "\u03bcmhg": "micron",
    "umhg": "micron",
    "mtorr": "micron",
    "c": "degC",
    "\u00b0c": "degC",
    "\u2103": "degC",
    "celsius": "degC",
    "degreec": "degC",
    "degreesc": "degC",
    "f": "degF",
    "\u00b0f": "degF",
    "\u2109": "degF",
    "fahrenheit": "degF",
    "degreef": "degF",
    "degreesf": "degF",
    "kelvin": "K",
    "percent": "%",
    "%rh": "%",
    "1/min": "rpm",
    "r/min": "rpm",
    "rev/min": "rpm",
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "mins": "min",
    "minute": "min",
    "minutes": "min",
    "hour": "h",
    "hours": "h",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "feet": "ft",
    "foot": "ft",
    "'": "ft",
}


def unit_of(symbol: str, dimension: Dimension) -> Unit:
    """Return the unit of that symbol; of amounts that of the wanted dimension."""
    return AMOUNTS.get(dimension, UNITS)[fold(symbol)]


def _all_spellings() -> dict[str, Unit]:
    units = {fold(unit.symbol): unit for unit in ALL_UNITS}
    for spelling, meaning in _SPELLINGS.items():
        symbol, _, reference = meaning.partition(" ")
        unit = units[fold(symbol)]
        if reference:
            said: Reference = "gauge" if reference == "gauge" else "absolute"
            unit = Unit(unit.symbol, unit.dimension, unit.factor, unit.offset, said)
        units[fold(spelling)] = unit
    return units


UNITS: Final = _all_spellings()

BARE: Final[dict[UnitSet, dict[Dimension, str]]] = {
    units: {
        Dimension.PRESSURE: pressure,
        Dimension.PRESSURE_DIFFERENCE: pressure,
        Dimension.TEMPERATURE: temperature,
        Dimension.TEMPERATURE_DIFFERENCE: difference,
        Dimension.FRACTION: "%",
        Dimension.ROTATIONAL_SPEED: "rpm",
        Dimension.DURATION: "s",
        Dimension.LENGTH: length,
        Dimension.MASS: mass,
        Dimension.VOLUME: volume,
        Dimension.NUMBER: "",
    }
    for units, pressure, temperature, difference, length, mass, volume in (
        (UnitSet.US, "psi", "degF", "degF", "ft", "lb", "fl oz"),
        (UnitSet.SI, "kPa", "degC", "K", "m", "kg", "mL"),
        (UnitSet.METRIC, "bar", "degC", "K", "m", "kg", "mL"),
    )
}

DECIMALS: Final = {
    "lb": 2,
    "kg": 2,
    "fl oz": 1,
    "psi": 1,
    "bar": 2,
    "kPa": 0,
    "degF": 0,
    "degC": 1,
    "K": 1,
    "%": 0,
    "": 1,
}
