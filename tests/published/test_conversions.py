"""Every unit factor against published figures and against pint, an independent units library.

Sources: NIST SP 811 (2008) appendix B for the factors of `data/atmosphere_and_water.yaml` (from memory, digits
checked by arithmetic); pint's own registry, which cites NIST and BIPM.
"""

from __future__ import annotations

from pathlib import Path

import pint
import pytest
import yaml

from twogauge.quantities import Dimension, parse, to_unit
from twogauge.units import ALL_UNITS

PUBLISHED = yaml.safe_load((Path(__file__).parent / "data" / "atmosphere_and_water.yaml").read_text())["conversions"]
REGISTRY = pint.UnitRegistry(cache_folder=None)

IN_PINT = {
    "psi": "psi",
    "bar": "bar",
    "mbar": "millibar",
    "hPa": "hectopascal",
    "Pa": "pascal",
    "kPa": "kilopascal",
    "MPa": "megapascal",
    "kg/cm2": "kilogram_force / centimeter ** 2",
    "atm": "standard_atmosphere",
    "inHg": "inch_Hg",
    "mmHg": "millimeter_Hg",
    "torr": "torr",
    "micron": "micrometer_Hg",
    "%": "percent",
    "rpm": "revolutions_per_minute",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "m": "meter",
    "ft": "foot",
    "degC": "degree_Celsius",
    "degF": "degree_Fahrenheit",
    "K": "kelvin",
}
SI_IN_PINT = {
    Dimension.PRESSURE: "pascal",
    Dimension.TEMPERATURE: "kelvin",
    Dimension.TEMPERATURE_DIFFERENCE: "kelvin",
    Dimension.FRACTION: "dimensionless",
    Dimension.ROTATIONAL_SPEED: "revolutions_per_minute",
    Dimension.DURATION: "second",
    Dimension.LENGTH: "meter",
}
# 1e-7: pint builds columns of mercury from density and g (13.5951 g/cm3 x 9.80665 m/s2), which agrees with the
# conventional factor to its seven digits; every other factor is exact in both and agrees to rounding.
TOLERANCE = {"inHg": 1e-6, "mmHg": 1e-6, "micron": 1e-6}


def test_every_unit_has_a_counterpart_here():
    assert {unit.symbol for unit in ALL_UNITS} - {""} == set(IN_PINT)


@pytest.mark.parametrize("number", [1.0, 37.5, 212.0])
@pytest.mark.parametrize("unit", [u for u in ALL_UNITS if u.symbol], ids=lambda unit: unit.symbol)
def test_every_unit_means_what_pint_says(unit, number):
    theirs = REGISTRY.Quantity(number, IN_PINT[unit.symbol]).to(SI_IN_PINT[unit.dimension]).magnitude
    ours = (number + unit.offset) * unit.factor
    assert ours == pytest.approx(theirs, rel=TOLERANCE.get(unit.symbol, 1e-12))
    assert to_unit(ours, unit.dimension, unit.symbol) == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("1 lb", Dimension.MASS, PUBLISHED["kg_per_lb"]),
        ("1 oz", Dimension.MASS, PUBLISHED["g_per_oz"] / 1000),
        ("1 fl oz", Dimension.VOLUME, PUBLISHED["mL_per_US_fl_oz"] / 1e6),
    ],
)
def test_an_ounce_is_the_published_one_and_pints_too(text, dimension, si):
    assert parse(text, dimension).value == pytest.approx(si, rel=1e-12)
    pint_unit, base = {"lb": ("pound", "kg"), "oz": ("ounce", "kg"), "fl oz": ("fluid_ounce", "m**3")}[text[2:]]
    assert REGISTRY.Quantity(1.0, pint_unit).to(base).magnitude == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize("symbol", ["degC", "degF", "K"])
def test_a_difference_of_temperatures_has_no_zero_point(symbol):
    ours = parse(f"10 {symbol}", Dimension.TEMPERATURE_DIFFERENCE).value
    theirs = REGISTRY.Quantity(10.0, {"degC": "delta_degC", "degF": "delta_degF", "K": "kelvin"}[symbol])
    assert ours == pytest.approx(theirs.to("kelvin").magnitude, rel=1e-12)
    assert ours / 10 == pytest.approx(PUBLISHED["K_per_degF_difference"] if symbol == "degF" else 1.0, rel=1e-12)


@pytest.mark.parametrize(
    ("symbol", "key"),
    [
        ("psi", "Pa_per_psi"),
        ("bar", "Pa_per_bar"),
        ("kg/cm2", "Pa_per_kgf_cm2"),
        ("atm", "Pa_per_atm"),
        ("torr", "Pa_per_torr"),
        ("mmHg", "Pa_per_mmHg"),
        ("micron", "Pa_per_micron"),
        ("inHg", "Pa_per_inHg"),
    ],
)
def test_pressure_units_have_their_published_size(symbol, key):
    # 1e-12: the same decimal digits; anything looser would hide a mistyped one
    assert parse(f"1 {symbol} abs", Dimension.PRESSURE).value == pytest.approx(PUBLISHED[key], rel=1e-12)


def test_an_inch_of_mercury_is_25400_microns():
    # 1e-9: two conventional factors of ten digits each
    inch = parse("1 inHg", Dimension.PRESSURE_DIFFERENCE).value
    micron = parse("1 micron", Dimension.PRESSURE_DIFFERENCE).value
    assert inch / micron == pytest.approx(PUBLISHED["microns_per_inHg"], rel=1e-9)


def test_the_atmosphere_lifts_29_92_inches_of_mercury():
    # half a last printed digit of 29.92126
    assert to_unit(101325.0, Dimension.PRESSURE, "inHg") == pytest.approx(PUBLISHED["inHg_per_atm"], abs=5e-6)


def test_the_misprinted_millimetre_would_be_noticed():
    # A chiller manual prints 1 mmHg = 0.3937 inHg; it is 0.03937 (half a last printed digit).
    millimetre = parse("1 mmHg", Dimension.PRESSURE_DIFFERENCE).value
    assert to_unit(millimetre, Dimension.PRESSURE_DIFFERENCE, "inHg") == pytest.approx(0.03937, abs=5e-6)
