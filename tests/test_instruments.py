"""Instruments as people describe them: what is read, what is refused, and what a reading makes of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.columns import from_arrays, from_readings
from twogauge.errors import QuantityError
from twogauge.fields import DEFAULT_ACCURACY
from twogauge.instruments import GRADES, decimals, describe, parse_gauge, parse_thermometer, rounded, show_size
from twogauge.quantities import Dimension, UnitSet
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading, ReadingError
from twogauge.work import Work, usual_gauge_error

PSI = 6894.757293168
PRESSURES = {"refrigerant": "R134a", "low_side": "30 psi", "high_side": "250 psi"}


def limit(text, *at):
    return parse_gauge(text).permitted_error(*at)


def refused(text, parse=parse_gauge):
    with pytest.raises(QuantityError) as caught:
        parse(text, field="low_gauge")
    message = str(caught.value)
    assert message.startswith("low_gauge: ")
    return message


def u(name, **fields):
    """The standard uncertainty of a field, with the air's share taken out."""
    reading = Reading({"barometer": "1013.25 hPa", **fields})
    found = Work(from_readings([reading]), QUANTITIES).measured(name)
    air = 200.0 if name in {"low_side", "high_side"} else 0.0
    return math.sqrt(float(found.u[0]) ** 2 - air**2)


# -- gauges -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "pascal"),
    [
        ("class 1.6, 0 to 10 bar", 16e3),
        ("Class 1,6; 0-10 bar", 16e3),
        ("cl. 1.6 10 bar", 16e3),
        ("EN 837-1 class 1.6, 0..10 bar", 16e3),
        ("class 1,0-10 bar", 10e3),
        ("class 2.5 250 psi", 6.25 * PSI),
        ("class 1.6, -1 to 10 bar", 17.6e3),
        ("class 1, 30 inHg vac to 250 psi", 2.5 * PSI + 0.01 * 30 * 3386.388640341),
        ("class 1.6 dial 0 to 1 MPa", 16e3),
        ("grade B, 0-500 psi", 15 * PSI),
        ("ASME B40.100 grade 1a 500 psi", 5 * PSI),
        ("digital 0.5 % 500 psi", 2.5 * PSI),
        ("digital 0.5% of full scale, 0 to 500 psi", 2.5 * PSI),
        ("digital \u00b1 0.5 % of 500 psi", 2.5 * PSI),
        ("digital 1 psi", PSI),
        ("digital +/- 1 psi", PSI),
        ("\u00b11 psi", PSI),
        ("1 psi", PSI),
    ],
)
def test_a_gauge_is_read_as_it_is_marked(text, pascal):
    assert limit(text) == pytest.approx(pascal, rel=1e-9)


def test_per_cent_of_the_reading_follow_the_reading():
    assert limit("digital 1 % of reading", 2e5) == pytest.approx(2e3)
    assert limit("digital 1 % rdg", -0.5e5) == pytest.approx(500.0)


@pytest.mark.parametrize("grade", GRADES)
def test_no_grade_is_worse_in_its_middle_half(grade):
    gauge = parse_gauge(f"grade {grade} 0-400 psi")
    assert gauge.permitted_error(200 * PSI) <= gauge.permitted_error(10 * PSI) == gauge.permitted_error()


def test_quarters_are_counted_from_the_lower_end_of_the_scale():
    gauge = parse_gauge("grade B, -1 to 7 bar")  # its middle half is 1 to 5 bar
    assert [round(gauge.permitted_error(p * 1e5)) for p in (0.9, 1.1, 4.9, 5.1)] == [24000, 16000, 16000, 24000]


def test_of_a_swing_the_worst_place_on_the_dial_counts():
    gauge = parse_gauge("grade B, 0 to 100 psi")
    assert gauge.permitted_error(20 * PSI, 50 * PSI) == pytest.approx(3 * PSI)
    assert u("low_side", low_side="20 to 50 psi", low_gauge="grade B, 0 to 100 psi") == pytest.approx(
        3 * PSI / math.sqrt(3)
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("clas 1.6, 0 to 10 bar", "did you mean 'class'?"),
        ("bourdon", "write for instance 'class 1.6, 0 to 10 bar'"),
        ("class 1.5 0-10 bar", "(0.1, 0.25, 0.6, 1, 1.6, 2.5, 4); did you mean 1.6?"),
        ("class 50 0-10 bar", "'50' is not a class of EN 837-1 (0.1, 0.25, 0.6, 1, 1.6, 2.5, 4)"),
        ("class fine 0-10 bar", "'fine' is not a class of EN 837-1"),
        ("class 1.6", "lacks the class or the scale"),
        ("grade E, 500 psi", "'E' is not a grade of ASME B40.100; write one of 4A"),
        ("class 1.6, 0 to 10", "gives no unit for the scale"),
        ("class 1.6, 10 to 0 bar", "write its lower end first"),
        ("class 1.6, 0 bar", "write its lower end first"),
        ("class 1.6, 0-10 bara", "without 'a' or 'abs'"),
        ("class 1.6, 10 degC", "'10 degC' is a temperature"),
        ("class 1.6, 10 bananas", "'bananas' is not a unit of pressure"),
        ("digital", "does not say how far off"),
        ("digital 1", "does not say how far off"),
        ("digital 2 %", "per cent of what?"),
        ("digital 60 % of reading", "off by more than half"),
        ("digital -1 psi", "below zero"),
        ("digital 1 K", "a pressure difference belongs here"),
        ("class 1.6, " + "0" * 300, "too long"),
    ],
)
def test_what_is_no_gauge_is_refused_with_what_to_write(text, sentence):
    assert sentence in refused(text)


@given(st.text(max_size=40) | st.from_regex(r"(class|grade|digital) ?[0-9A-E.,% ]{0,8}[ ,to0-9.-]{0,9}(bar|psi)?"))
def test_any_text_is_an_instrument_or_one_sentence(text):
    for parse in (parse_gauge, parse_thermometer):
        try:
            found = parse(text)
        except QuantityError as error:
            assert len(str(error)) > 20  # noqa: PT017 - either way is right
            continue
        size = found.permitted if parse is parse_thermometer else found.permitted_error(1e5)
        assert math.isfinite(size)
        assert size >= 0.0


# -- thermometers -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("1 K", 1.0), ("\u00b1 0.5 degC", 0.5), ("probe 0.5 K", 0.5), ("clamp: 1,8 degF", 1.0), ("infrared 2 K", 2.0)],
)
def test_a_thermometer_is_told_by_what_it_may_be_off(text, kelvin):
    assert parse_thermometer(text).permitted == pytest.approx(kelvin)


def test_only_an_infrared_one_brings_its_caution():
    assert "emissivity" in parse_thermometer("infrared 2 K").notes[0]
    assert parse_thermometer("probe 2 K").notes == ()
    assert any("emissivity" in note for note in Reading(thermometer="ir 4 degF").parts.notes)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("prob 1 K", "did you mean 'probe'?"),
        ("probe", "does not say how far off"),
        ("probe 1", "does not say how far off"),
        ("probe -1 K", "below zero"),
        ("probe 1 psi", "a temperature difference belongs here"),
        ("mercury", "write for instance '1 K'"),
    ],
)
def test_what_is_no_thermometer_is_refused_with_what_to_write(text, sentence):
    assert sentence in refused(text, parse_thermometer)


# -- in a reading -------------------------------------------------------------------------------------------------


def test_a_reading_on_a_dial_has_the_uncertainty_of_its_place_there():
    gauges = {"low_gauge": "grade B, 0 to 100 psi", "high_gauge": "grade B, 0 to 500 psi"}
    assert u("low_side", low_side="20 psi", **gauges) == pytest.approx(3 * PSI / math.sqrt(3))
    assert u("low_side", low_side="40 psi", **gauges) == pytest.approx(2 * PSI / math.sqrt(3))
    assert u("high_side", high_side="250 psi", **gauges) == pytest.approx(10 * PSI / math.sqrt(3))
    assert u("ambient", ambient="90 degF", thermometer="probe 0.9 degF") == pytest.approx(0.5 / math.sqrt(3))


def test_the_dial_counts_from_the_air_of_the_place():
    high_up = {"altitude": "3000 m", "low_side": "24 psi", "low_gauge": "grade B, 0 to 100 psi"}
    assert Reading(high_up).parts.numbers["low_gauge"] == pytest.approx(3 * PSI)  # 24 psi is the outer quarter
    assert Reading({**high_up, "low_side": "26 psi"}).parts.numbers["low_gauge"] == pytest.approx(2 * PSI)


def test_the_order_of_the_fields_does_not_matter():
    told = {"low_gauge": "grade B, 0 to 100 psi", "low_side": "40 psi", "barometer": "1000 hPa"}
    assert Reading(told).parts == Reading(dict(reversed(told.items()))).parts


def test_what_is_told_outright_comes_before_a_description_and_is_noted():
    both = {**PRESSURES, "low_gauge": "class 4, 0 to 10 bar", "low_gauge_accuracy": "1 psi"}
    assert u("low_side", **both) == pytest.approx(PSI / math.sqrt(3))
    assert "low_gauge and low_gauge_accuracy were both given; low_gauge_accuracy counts" in Reading(both).parts.notes


@pytest.mark.parametrize("name", ["low_gauge", "high_gauge", "thermometer"])
def test_trouble_with_an_instrument_stands_at_its_field(name):
    for value in ("nonsense", "-1 K" if name == "thermometer" else "-1 psi", ["class 1.6"], True):
        with pytest.raises(ReadingError) as caught:
            Reading({name: value})
        (trouble,) = caught.value.troubles
        assert trouble.path == (name,)
        assert trouble.message.startswith(f"{name}: ")


def test_a_pressure_beyond_the_scale_is_noted():
    def notes(text):
        return [n for n in Reading(low_side="180 psi", low_gauge=text).parts.notes if "beyond the scale" in n]

    assert notes("class 1.6, 0 to 10 bar")
    assert not notes("class 1.6, 0 to 16 bar")
    assert not notes("digital 1 psi")


def test_a_gauge_beside_a_word_changes_nothing_and_troubles_nobody():
    for text in ("digital 1 % of reading", "grade B, 0 to 100 psi"):
        reading = Reading(low_side="low", low_gauge=text)
        assert "low_side" not in reading.parts.numbers
        assert not any("gauge" in sentence for sentence in describe(reading))


def test_in_columns_a_row_without_a_description_has_the_usual_gauge():
    columns = from_arrays({"low_side": [3e5, 3e5], "low_gauge": [math.nan, 2e3]}, {})
    found = Work(columns, QUANTITIES).measured("low_side").u
    expected = [math.hypot(limit / math.sqrt(3), 200.0) for limit in (DEFAULT_ACCURACY["low_gauge_accuracy"], 2e3)]
    assert found == pytest.approx(expected)


def test_nobody_reads_a_pressure_off_a_dial_too_short_for_it():
    dials = usual_gauge_error("low_gauge_accuracy", np.array([-0.5e5, 3e5, 10e5, 10.1e5, 95e5, 9e9])) / 0.016
    assert dials == pytest.approx([10e5, 10e5, 10e5, 16e5, 100e5, 400e5])
    assert usual_gauge_error("high_gauge_accuracy", np.array([20e5, 36e5])) / 0.016 == pytest.approx([35e5, 40e5])


# -- said ---------------------------------------------------------------------------------------------------------


def test_what_was_assumed_is_said_in_the_readers_units():
    (said,) = describe(Reading(PRESSURES, ambient="90 degF"))
    assert said == (
        "Instruments assumed: low-side gauge class 1.6, 0 to 10 bar (within 2.3 psi); high-side gauge class 1.6, "
        "0 to 35 bar (within 8.1 psi); thermometer within 2.7 degF; the air pressure of sea level, within 0.58 psi "
        "19 times in 20."
    )
    metric = describe(Reading(refrigerant="R134a", low_side="2 bar", units="metric"))[0]
    assert "within 0.16 bar" in metric
    assert "thermometer" not in metric
    assert "high-side" not in metric


def test_what_was_told_stands_apart_from_what_was_assumed():
    told, assumed = describe(
        Reading(
            PRESSURES, high_gauge="grade B, 0-500 psi", low_gauge_accuracy="1 psi", altitude="300 m", ambient="30 C"
        )
    )
    assert told.startswith("Instruments as told: low-side gauge within 1.0 psi; high-side gauge grade B, 0-500 psi ")
    assert "(within 10 psi here); air pressure from the altitude, within 0.29 psi" in told
    assert assumed == "Instruments assumed: thermometer within 2.7 degF."


def test_words_alone_need_no_instrument():
    assert describe(Reading(low_side="low", high_side="high")) == ()


def test_an_error_is_shown_to_two_digits_or_so():
    shown = [show_size(p * PSI, Dimension.PRESSURE_DIFFERENCE, UnitSet.US) for p in (0.123, 1.23, 9.96, 12.3)]
    assert shown == ["0.12 psi", "1.2 psi", "10 psi", "12 psi"]


@pytest.mark.parametrize(
    ("value", "within", "expected"),
    [
        (118.234, 9.2, (118.0, 9.0)),
        (6.5321, 0.98, (6.5, 1.0)),
        (2.3456, 0.0123, (2.35, 0.01)),
        (2.3456, 0.0, (2.35, 0.0)),
        (814.4, 62.0, (814.0, 62.0)),
    ],
)
def test_a_value_keeps_the_digits_its_uncertainty_supports(value, within, expected):
    assert rounded(value, within) == pytest.approx(expected)


@given(st.floats(-1e6, 1e6), st.floats(0.006, 1e6))
def test_rounding_moves_a_value_by_less_than_its_uncertainty(value, within):
    kept, _ = rounded(value, within)
    assert abs(kept - value) <= within + 1e-9
    assert 0 <= decimals(within) <= 2
