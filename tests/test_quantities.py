"""Quantities: the spellings of the trade, the sentences for what cannot be read, and round trips."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from twogauge.errors import QuantityError
from twogauge.quantities import (
    STANDARD_ATMOSPHERE,
    Dimension,
    UnitSet,
    absolute,
    parse,
    show,
    show_gauge,
    show_mass,
    standard_atmosphere,
    symbol_for,
    to_unit,
)

P, T, DT = Dimension.PRESSURE, Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE
PSI, INHG = 6894.757293168, 3386.388640341


@pytest.mark.parametrize(
    ("text", "pascal", "reference"),
    [
        ("35", 35 * PSI, "gauge"),
        ("35 psi", 35 * PSI, "gauge"),
        ("35psi", 35 * PSI, "gauge"),
        ("35psig", 35 * PSI, "gauge"),
        ("35 PSIG", 35 * PSI, "gauge"),
        ("  35  psi  ", 35 * PSI, "gauge"),
        ("+35 psi gauge", 35 * PSI, "gauge"),
        ("50 psia", 50 * PSI, "absolute"),
        ("50 psi abs", 50 * PSI, "absolute"),
        ("50 psi (absolute)", 50 * PSI, "absolute"),
        ("2.4 bar", 2.4e5, "gauge"),
        ("2,4 bar", 2.4e5, "gauge"),
        ("2.4 bara", 2.4e5, "absolute"),
        ("2.4 barg", 2.4e5, "gauge"),
        ("240 kPa", 2.4e5, "gauge"),
        ("240kpa", 2.4e5, "gauge"),
        ("0.24 MPa", 2.4e5, "gauge"),
        ("2.4 kg/cm2", 2.4 * 98066.5, "gauge"),
        ("2.4 kgf/cm\u00b2", 2.4 * 98066.5, "gauge"),
        ("12 inHg vac", -12 * INHG, "gauge"),
        ("12inHgV", -12 * INHG, "gauge"),
        ("12inHgvac", -12 * INHG, "gauge"),
        ("12in.Hgvacuum", -12 * INHG, "gauge"),
        ("12 in. Hg vac.", -12 * INHG, "gauge"),
        ("12 in.Hg vacuum", -12 * INHG, "gauge"),
        ('12 "Hg vac', -12 * INHG, "gauge"),
        ("-12 inHg", -12 * INHG, "gauge"),
        ("\u221212 inHg", -12 * INHG, "gauge"),
        ("29.92 inHg abs", 29.92 * INHG, "absolute"),
        ("500 micron", 66.6611937075, "absolute"),
        ("500 microns", 66.6611937075, "absolute"),
        ("1 atm", 101325.0, "absolute"),
        ("760 torr", 101325.0, "absolute"),
        ("300 mmHg", 300 * 133.322387415, "absolute"),
        ("-300 mmHg", -300 * 133.322387415, "gauge"),
        ("-760 torr", -101325.0, "gauge"),
        ("300 mmHg vac", -300 * 133.322387415, "gauge"),
        ("35 lbs", 35 * PSI, "gauge"),
        ("35lb", 35 * PSI, "gauge"),
        ("35#", 35 * PSI, "gauge"),
        ("35psi.", 35 * PSI, "gauge"),
        ("35 lbs.", 35 * PSI, "gauge"),
        ("35 psig.", 35 * PSI, "gauge"),
        ("35.psi", 35 * PSI, "gauge"),
        ("1,234.5 kPa", 1_234_500.0, "gauge"),
        ("1.234,5 kPa", 1_234_500.0, "gauge"),
        ("1'234.5 kPa", 1_234_500.0, "gauge"),
        ("1e5 Pa", 1e5, "gauge"),
        (".5 bar", 5e4, "gauge"),
        ("0", 0.0, "gauge"),
    ],
)
def test_pressures_are_read_as_people_write_them(text, pascal, reference):
    read = parse(text, P)
    assert read.value == pytest.approx(pascal, rel=1e-12)
    assert read.reference == reference
    assert read.text == text.strip()


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        ("90", 305.3722222),
        ("90F", 305.3722222),
        ("90 degF", 305.3722222),
        ("90 \u00b0F", 305.3722222),
        ("90 degrees F", 305.3722222),
        ("-40 F", 233.15),
        ("-40C", 233.15),
        ("32 \u00b0C", 305.15),
        ("32C", 305.15),
        ("32,5 degC", 305.65),
        ("305 K", 305.0),
        ("305 kelvin", 305.0),
    ],
)
def test_temperatures_are_read_as_people_write_them(text, kelvin):
    assert parse(text, T).value == pytest.approx(kelvin, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("10 degF", DT, 10 / 1.8),
        ("10 F", DT, 10 / 1.8),
        ("10 K", DT, 10.0),
        ("10 degC", DT, 10.0),
        ("-3 K", DT, -3.0),
        ("2 psi", Dimension.PRESSURE_DIFFERENCE, 2 * PSI),
        ("1 inHg", Dimension.PRESSURE_DIFFERENCE, INHG),
        ("500 micron", Dimension.PRESSURE_DIFFERENCE, 66.6611937075),
        ("60 %", Dimension.FRACTION, 0.60),
        ("60", Dimension.FRACTION, 0.60),
        ("1 %", Dimension.FRACTION, 0.01),
        ("1500 rpm", Dimension.ROTATIONAL_SPEED, 1500.0),
        ("5 min", Dimension.DURATION, 300.0),
        ("30", Dimension.DURATION, 30.0),
        ("5000ft", Dimension.LENGTH, 1524.0),
        ("5000'", Dimension.LENGTH, 1524.0),
        ("1500 m", Dimension.LENGTH, 1500.0),
        ("3.5", Dimension.NUMBER, 3.5),
    ],
)
def test_the_field_decides_what_is_meant(text, dimension, value):
    read = parse(text, dimension)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.dimension is dimension
    assert read.reference is None


@pytest.mark.parametrize(
    ("units", "pascal", "kelvin", "metre"),
    [(UnitSet.US, PSI, 288.15, 0.3048), (UnitSet.SI, 1e3, 332.15, 1.0), (UnitSet.METRIC, 1e5, 332.15, 1.0)],
)
def test_a_bare_number_is_taken_in_the_unit_set(units, pascal, kelvin, metre):
    assert parse("1", P, units=units).value == pytest.approx(pascal)
    assert parse("59", T, units=units).value == pytest.approx(kelvin)
    assert parse(1, Dimension.LENGTH, units=units).value == pytest.approx(metre)


def test_a_feet_mark_is_feet_in_every_unit_set():
    for units in UnitSet:
        assert parse("5000'", Dimension.LENGTH, units=units).value == pytest.approx(1524.0)
        assert parse("5'000 ft", Dimension.LENGTH, units=units).value == pytest.approx(1524.0)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("", P, "nothing is written here"),
        ("psi", P, "is not a number"),
        ("about 35 psi", P, "does not begin with a number"),
        ("nan", P, "is not a number that a gauge can show"),
        ("nan psi", P, "is not a number that a gauge can show"),
        ("-inf", P, "is not a number that a gauge can show"),
        ("Infinity kPa", P, "is not a number that a gauge can show"),
        (math.nan, P, "is not a number that a gauge can show; write a value such as 35 psi"),
        (math.inf, T, "is not a number that a thermometer can show"),
        ("nan", Dimension.FRACTION, "is not a number that an instrument can show"),
        ("1e999 psi", P, "too large"),
        ("9" * 400, P, "too long to be one value"),
        ("35 psi" + " " * 300 + "vac", P, "too long to be one value"),
        ("1.2.3 psi", P, "is not a number"),
        ("1,500 ft", Dimension.LENGTH, "can be read two ways"),
        ("35 psy", P, "did you mean psi?"),
        ("35 furlongs", P, "is not a unit of pressure"),
        ("35 degF", P, "is a temperature, but a pressure belongs here"),
        ("35 psi", T, "is a pressure, but a temperature belongs here"),
        ("35 psi", DT, "is a pressure, but a temperature difference belongs here"),
        ("35 m", P, "is a height, but a pressure belongs here"),
        ("12 inHg", P, "could be above or below the air"),
        ("-12 inHg vac", P, "says vacuum twice"),
        ("-300 mmHg vac", P, "says vacuum twice; write 300 mmHg vac"),
        ("-300 mmHg abs", P, "below a perfect vacuum"),
        ("35 psi..", P, "'psi..' is not a unit of pressure"),
        ("35 .", P, "'.' is not a unit of pressure"),
        ("-3 psia", P, "below a perfect vacuum"),
        ("-500 micron", P, "below a perfect vacuum"),
        ("35 degF abs", T, "only a pressure can be gauge, absolute or vacuum"),
        ("-500 degF", T, "below absolute zero"),
        ("-1 K", T, "below absolute zero"),
        ("-273.16 degC", T, "below absolute zero"),
        ("3000 degF", T, "is outside -190 to 620 degF"),
        ("0.5", Dimension.FRACTION, "write the percent sign"),
        ("120 %", Dimension.FRACTION, "is outside 0 to 100 %"),
        ("90 MPa", P, "did you mean 90 kPa?"),
        ("500 bar", P, "did you mean 500 psi?"),
        ("90000 psi", P, "more than any service gauge shows (40 MPa); check the number and its unit"),
        ("-5 min", Dimension.DURATION, "is outside"),
        ("20000 m", Dimension.LENGTH, "is outside"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_sentence(text, dimension, words):
    with pytest.raises(QuantityError) as caught:
        parse(text, dimension, field="low side")
    assert str(caught.value).startswith("low side: ")
    assert words in str(caught.value)
    assert caught.value.field == "low side"


def test_the_air_itself_is_never_below_the_air():
    for text in ("-300 mmHg", "-12 inHg", "-300 torr"):
        with pytest.raises(QuantityError, match="below a perfect vacuum"):
            parse(text, P, reference="absolute")


def test_control_characters_of_strangers_do_not_reach_the_terminal():
    with pytest.raises(QuantityError) as caught:
        parse("35 \x1b[31mpsi", P)
    assert "\x1b" not in str(caught.value)


def test_gauge_pressures_become_absolute_with_the_air_added():
    assert absolute(parse("35 psi", P), 101325.0) == pytest.approx(35 * PSI + 101325.0)
    assert absolute(parse("35 psi", P), 84000.0) == pytest.approx(35 * PSI + 84000.0)
    assert absolute(parse("50 psia", P), 84000.0) == pytest.approx(50 * PSI)


def test_more_vacuum_than_there_is_air_is_refused():
    deep = parse("29 inHg vac", P)
    assert absolute(deep, 101325.0) == pytest.approx(101325.0 - 29 * INHG)
    with pytest.raises(QuantityError, match=r"low side: '29 inHg vac' is below a perfect vacuum.*24\.9"):
        absolute(deep, 84300.0, field="low side")


def test_a_perfect_vacuum_is_zero_and_never_negative():
    assert absolute(parse(f"{-STANDARD_ATMOSPHERE - 1e-3} Pa", P), STANDARD_ATMOSPHERE) == 0.0


@pytest.mark.parametrize(
    ("value", "dimension", "units", "text"),
    [
        (35 * PSI, P, UnitSet.US, "35.0 psi"),
        (240e3, P, UnitSet.SI, "240 kPa"),
        (240e3, P, UnitSet.METRIC, "2.40 bar"),
        (305.15, T, UnitSet.SI, "32.0 degC"),
        (305.372222, T, UnitSet.US, "90 degF"),
        (10 / 1.8, DT, UnitSet.US, "10 degF"),
        (10.0, DT, UnitSet.METRIC, "10.0 K"),
        (0.6, Dimension.FRACTION, UnitSet.US, "60 %"),
        (3.5, Dimension.NUMBER, UnitSet.US, "3.5"),
        (math.nan, P, UnitSet.US, "unknown"),
        (-1e-4, P, UnitSet.SI, "0 kPa"),
    ],
)
def test_values_are_shown_in_the_readers_units(value, dimension, units, text):
    assert show(value, dimension, units) == text


@pytest.mark.parametrize(
    ("value", "barometer", "units", "text"),
    [
        (STANDARD_ATMOSPHERE + 35 * PSI, STANDARD_ATMOSPHERE, UnitSet.US, "35.0 psi"),
        (STANDARD_ATMOSPHERE - 12.3 * INHG, STANDARD_ATMOSPHERE, UnitSet.US, "12.3 inHg vac"),
        (STANDARD_ATMOSPHERE - 40e3, STANDARD_ATMOSPHERE, UnitSet.SI, "-40 kPa"),
        (STANDARD_ATMOSPHERE, STANDARD_ATMOSPHERE, UnitSet.US, "0.0 psi"),
        (STANDARD_ATMOSPHERE, 84000.0, UnitSet.METRIC, "0.17 bar"),
        (math.nan, STANDARD_ATMOSPHERE, UnitSet.US, "unknown"),
    ],
)
def test_a_dial_shows_vacuum_in_inches_of_mercury_in_us_units(value, barometer, units, text):
    assert show_gauge(value, barometer, units) == text


@pytest.mark.parametrize("height", [-501.0, 11_001.0, math.nan])
def test_heights_without_a_standard_atmosphere_are_refused(height):
    with pytest.raises(QuantityError, match="standard atmosphere"):
        standard_atmosphere(height)


# -- amounts ------------------------------------------------------------------------------------------------------

OUNCE = 0.028349523125


@pytest.mark.parametrize(
    ("text", "kilogram"),
    [
        ("2.5 lb", 40 * OUNCE),
        ("2.5lb", 40 * OUNCE),
        ("2,5 lbs", 40 * OUNCE),
        ("2 lb 4 oz", 36 * OUNCE),
        ("2lb4oz", 36 * OUNCE),
        ("2 lbs., 4.5 oz.", 36.5 * OUNCE),
        ("2 pounds and 4 ounces", 36 * OUNCE),
        ("0 lb 4 oz", 4 * OUNCE),
        ("36 oz", 36 * OUNCE),
        ("36oz.", 36 * OUNCE),
        ("900 g", 0.9),
        ("900g", 0.9),
        ("900 gr", 0.9),
        ("0.9 kg", 0.9),
        (".9kg", 0.9),
    ],
)
def test_amounts_of_refrigerant_as_they_are_written(text, kilogram):
    assert parse(text, Dimension.MASS).value == pytest.approx(kilogram, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "millilitre"),
    [
        ("90 mL", 90),
        ("90ml", 90),
        ("90 cc", 90),
        ("90 cm3", 90),
        ("0.1 L", 100),
        ("12 l", 12_000),
        ("3 fl oz", 88.7205886875),
        ("3 fl. oz.", 88.7205886875),
        ("3 oz", 88.7205886875),
    ],
)
def test_amounts_of_oil_as_they_are_written(text, millilitre):
    assert parse(text, Dimension.VOLUME).value == pytest.approx(millilitre * 1e-6, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("2.5", Dimension.MASS, "needs its unit; write 2.25 lb, 2 lb 4 oz"),
        ("90", Dimension.VOLUME, "needs its unit; write 90 mL"),
        ("36 fl oz", Dimension.MASS, "an ounce of refrigerant is a weight"),
        ("900 mL", Dimension.MASS, "is a volume, but a weight belongs here"),
        ("90 g", Dimension.VOLUME, "is a weight, but a volume belongs here"),
        ("2 lb", Dimension.VOLUME, "is a weight, but a volume belongs here"),
        ("35 psi", Dimension.MASS, "is a pressure, but a weight belongs here"),
        ("35 stone", Dimension.MASS, "is not a unit of weight known here"),
        ("2 lb 17 oz", Dimension.MASS, "a pound has 16 ounces"),
        ("-2 lb", Dimension.MASS, "is outside 0 to 2200 lb"),
        ("2500 kg", Dimension.MASS, "is outside 0 to 1000 kg"),
        ("2 lb 4", Dimension.MASS, "is not a unit of weight known here"),
    ],
)
def test_amounts_that_cannot_be_read_say_what_to_write(text, dimension, words):
    with pytest.raises(QuantityError, match=words):
        parse(text, dimension)


def test_on_a_gauge_a_pound_is_still_a_pressure():
    assert parse("35 lb", P).value == pytest.approx(35 * PSI)


@pytest.mark.parametrize(
    ("kilogram", "units", "text"),
    [
        (36 * OUNCE, UnitSet.US, "2 lb 4.0 oz"),
        (15.96 * OUNCE, UnitSet.US, "1 lb 0.0 oz"),
        (1.25 * OUNCE, UnitSet.US, "1.2 oz"),
        (-1.5 * OUNCE, UnitSet.US, "-1.5 oz"),
        (0.0, UnitSet.US, "0.0 oz"),
        (1.0206, UnitSet.SI, "1021 g"),
        (9.9996, UnitSet.METRIC, "10.00 kg"),
        (math.nan, UnitSet.US, "unknown"),
    ],
)
def test_an_amount_is_shown_as_the_scale_shows_it(kilogram, units, text):
    assert show_mass(kilogram, units) == text


@given(st.floats(0.0, 900.0), st.sampled_from(UnitSet))
def test_an_amount_shown_reads_back_within_the_last_digit(kilogram, units):
    back = parse(show_mass(kilogram, units), Dimension.MASS).value
    assert back == pytest.approx(kilogram, abs=0.051 * OUNCE if units is UnitSet.US else 0.00501)


# -- round trips -------------------------------------------------------------------------------------------------

RANGES = {
    P: (-100e3, 30e6),
    Dimension.PRESSURE_DIFFERENCE: (-1e6, 30e6),
    T: (151.0, 599.0),
    DT: (-299.0, 299.0),
    Dimension.ROTATIONAL_SPEED: (0.0, 20_000.0),
    Dimension.DURATION: (0.0, 86_400.0),
    Dimension.LENGTH: (-499.0, 10_999.0),
    Dimension.MASS: (0.0, 999.0),
    Dimension.VOLUME: (0.0, 0.999),
}


@st.composite
def values(draw):
    dimension = draw(st.sampled_from(sorted(RANGES)))
    low, high = RANGES[dimension]
    return draw(st.floats(low, high)), dimension


@given(values(), st.sampled_from(UnitSet), st.integers(0, 6))
def test_what_is_shown_reads_back_as_the_same_within_its_last_digit(value_and_dimension, units, decimals):
    value, dimension = value_and_dimension
    text = show(value, dimension, units, decimals)
    back = parse(text, dimension).value
    symbol = symbol_for(dimension, units)
    half_a_digit = 0.5 * 10.0**-decimals * (1 + 1e-6) + 1e-9
    assert abs(to_unit(back, dimension, symbol) - to_unit(value, dimension, symbol)) <= half_a_digit


@given(st.floats(1_000.0, 5e6), st.floats(60e3, 108e3), st.sampled_from(UnitSet))
@example(84_316.0, 84_316.0, UnitSet.US)
def test_what_the_dial_shows_reads_back_as_the_same_pressure(pressure, barometer, units):
    text = show_gauge(pressure, barometer, units, 4)
    back = parse(text, P)
    assert back.reference == "gauge"
    # half a last digit: 0.0001 bar is the coarsest of the units
    assert back.value + barometer == pytest.approx(pressure, abs=5.1)


@given(values())
def test_the_same_quantity_in_other_units_is_the_same_quantity(value_and_dimension):
    value, dimension = value_and_dimension
    read = [
        parse(
            f"{to_unit(value, dimension, symbol_for(dimension, units))!r} {symbol_for(dimension, units)}", dimension
        )
        for units in UnitSet
    ]
    for other in read:
        assert other.value == pytest.approx(value, rel=1e-9, abs=1e-6)


@given(st.floats(0.01, 999.0).map(lambda x: round(x, 2)))
def test_decimal_comma_and_decimal_point_are_the_same(number):
    written = f"{number:.2f}"
    assert parse(f"{written.replace('.', ',')} kPa", P).value == parse(f"{written} kPa", P).value


@given(st.text(max_size=30), st.sampled_from(Dimension), st.sampled_from(UnitSet))
@example("1\u00b2 psi", P, UnitSet.US)
@example("\u0663 psi", P, UnitSet.US)
@example("- psi", P, UnitSet.US)
@example("\u20135 psi", P, UnitSet.US)
def test_any_text_is_read_as_a_finite_number_or_refused(text, dimension, units):
    try:
        read = parse(text, dimension, units=units)
    except QuantityError:
        return
    assert math.isfinite(read.value)


@given(st.floats(-499.0, 10_900.0), st.floats(0.5, 100.0))
def test_air_gets_thinner_with_height(height, step):
    assume(height + step <= 11_000.0)
    assert standard_atmosphere(height + step) < standard_atmosphere(height)
