"""A reading at the door: every kind of field, what is refused and with which words, files and baselines."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge.diagnosis import program_for
from twogauge.errors import FileProblems, InputError
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.quantities import Dimension, UnitSet
from twogauge.reading import Reading, ReadingError, positioned, read_file

PSI = 6894.757293168
AIR = 101_325.0


def parts(**fields):
    return Reading(fields).parts


def troubles(given_=None, **fields):
    with pytest.raises(ReadingError) as caught:
        Reading(given_, **fields)
    return caught.value.troubles


def refusal(given_=None, **fields):
    """The one sentence with which a reading is refused."""
    (trouble,) = troubles(given_, **fields)
    return trouble.message


def taken(given_):
    """A reading, or the troubles it is refused with; anything else that is raised is a fault."""
    try:
        reading = Reading(given_)
        reading.validate_checks(program_for().answers)
    except ReadingError as error:
        return None, error.troubles
    return reading, ()


# -- every kind of field ------------------------------------------------------------------------------------------

_AN_EXAMPLE = {
    Dimension.PRESSURE: ("200 kPa", 2e5 + AIR),
    Dimension.PRESSURE_DIFFERENCE: ("10 kPa", 1e4),
    Dimension.TEMPERATURE: ("20 degC", 293.15),
    Dimension.TEMPERATURE_DIFFERENCE: ("18 degF", 10.0),
    Dimension.FRACTION: ("55 %", 0.55),
    Dimension.ROTATIONAL_SPEED: ("1500 rpm", 1500.0),
    Dimension.DURATION: ("2 min", 120.0),
    Dimension.LENGTH: ("1000 ft", 304.8),
}


@pytest.mark.parametrize("name", [n for n, f in FIELDS.items() if f.dimension and n not in {"barometer", "altitude"}])
def test_a_number_is_read_with_its_unit(name):
    text, si = _AN_EXAMPLE[FIELDS[name].dimension]
    assert Reading({name: text}).parts.numbers == {name: pytest.approx(si)}


@pytest.mark.parametrize(("name", "word"), [(n, w) for n, f in FIELDS.items() for w in f.words])
def test_a_word_may_stand_for_a_number(name, word):
    for written in (word, word.upper(), f"  {word} "):
        found = Reading({name: written}).parts
        assert found.words[name] == word
        assert name not in found.numbers


@pytest.mark.parametrize(("name", "word"), [(n, w) for n, f in FIELDS.items() for w in f.choices])
def test_a_choice_is_one_of_its_words_in_any_case_and_with_any_gap(name, word):
    for written in (word, word.upper().replace("_", "-"), f" {word.replace('_', ' ')} "):
        assert Reading({name: written}).parts.words[name] == word


@pytest.mark.parametrize("name", [n for n, f in FIELDS.items() if not f.dimension and not f.choices])
@pytest.mark.parametrize("nothing", [None, "", " ", "~", "null", "unknown", "UNKNOWN"])
def test_nothing_and_unknown_are_as_good_as_left_out(name, nothing):
    assert Reading({name: nothing}).parts == Reading().parts


@pytest.mark.parametrize("name", ["ambient", "metering", "sight_glass", "checks", "spec", "baseline", "barometer"])
def test_any_field_may_be_left_empty(name):
    for nothing in (None, "", "unknown"):
        assert Reading({name: nothing}).parts == Reading().parts


@pytest.mark.parametrize("written", ["R134a", "r-134A", "134a", " R 134a ", "HFC-134a"])
def test_a_refrigerant_goes_by_any_of_its_names(written):
    assert parts(refrigerant=written).words["refrigerant"] == "R134a"


def test_a_refrigerant_may_be_a_plain_number():
    assert parts(refrigerant=22).words["refrigerant"] == "R22"


def test_free_text_is_kept_and_judged_by_nobody():
    reading = Reading(machine="Bus 17", date="2024-07-19", note="low: 5, high: ???")
    assert reading.parts == Reading().parts
    assert reading.given["machine"] == "Bus 17"


def test_a_machine_is_a_car_unless_it_is_said_otherwise():
    assert parts().words == {"system": "car_ac"}
    assert parts(system="bus_ac").words == {"system": "bus_ac"}


def test_keywords_lie_over_the_mapping():
    assert Reading({"ambient": "20 degC", "doors": "open"}, ambient="30 degC").parts.numbers["ambient"] == 303.15


def test_what_was_given_is_not_changed():
    given_ = {"units": "si", "ambient": 30, "checks": {"one": "yes"}}
    Reading(given_)
    assert given_ == {"units": "si", "ambient": 30, "checks": {"one": "yes"}}


# -- units and numbers ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("units", "pressure", "kelvin", "difference"),
    [
        ("us", 30 * PSI + AIR, (30 + 459.67) / 1.8, 30 / 1.8),
        ("si", 30e3 + AIR, 303.15, 30.0),
        ("metric", 30e5 + AIR, 303.15, 30.0),
    ],
)
def test_a_bare_number_is_taken_in_the_unit_set(units, pressure, kelvin, difference):
    for reading in (
        Reading(high_side=30, ambient="30", superheat=30.0, units=units),
        Reading({"high_side": "30", "ambient": 30, "superheat": "30", "units": units}),
        Reading({"high_side": "30", "ambient": 30, "superheat": "30", "units": f" {units.upper()} "}, units="si"),
    ):
        assert reading.units is UnitSet(units)
        numbers = reading.parts.numbers
        assert numbers == {
            "high_side": pytest.approx(pressure),
            "ambient": pytest.approx(kelvin),
            "superheat": pytest.approx(difference),
        }


@pytest.mark.parametrize("where", ["keyword", "field"])
def test_a_set_of_units_nobody_knows_is_refused_with_the_known_ones(where):
    for written, hint in (("metrik", "did you mean 'metric'?"), ("imperial", "write one of us, si, metric")):
        message = refusal(units=written) if where == "keyword" else refusal({"units": written})
        assert message == f"units: '{written}' is not a set of units known here; {hint}"


@pytest.mark.parametrize(
    ("text", "bar"), [("2,4 bar", 2.4), ("2.4 bar", 2.4), ("1.234,5 kPa", 12.345), ("0,75 bar", 0.75)]
)
def test_a_decimal_comma_is_a_decimal_point(text, bar):
    assert parts(low_side=text).numbers["low_side"] == pytest.approx(bar * 1e5 + AIR)


def test_a_comma_that_may_be_either_is_asked_about():
    assert "write 1200 for thousands or 1.200" in refusal(engine_speed="1,200 rpm")


@pytest.mark.parametrize("value", [True, ["1 psi"], ["1 psi", "2 psi", "3 psi"], {"psi": 35}, b"35 psi"])
def test_what_is_not_one_value_is_refused(value):
    assert refusal(low_side=value) == "low_side: one value belongs here, such as '35 psi'"


# -- swings -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written",
    [
        "22 to 45 psi",
        "22-45 psi",
        "22..45 psi",
        "22...45 psi",
        "22 - 45 psi",
        "22\u201345 psi",
        "22 psi to 45 psi",
        "22psi-45psi",
        "45 to 22 psi",
        "22 to 45",
        "22.0 to 45,0 psi",
        "22 TO 45 psi",
        "22 psig to 45 psig",
        ["22 psi", "45 psi"],
        ("22", 45),
        [22, 45.0],
    ],
)
def test_a_swing_has_two_ends_however_it_is_spelled(written):
    found = parts(low_side=written)
    assert found.swings["low_side"] == pytest.approx((22 * PSI + AIR, 45 * PSI + AIR))
    assert found.numbers["low_side"] == pytest.approx(33.5 * PSI + AIR)


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [
        ("12 inHg vac to 5 psi", -12 * 3386.388640341, 5 * PSI),
        ("-12 inHg to -5 inHg", -12 * 3386.388640341, -5 * 3386.388640341),
        ("\u221212 inHg to 5 psi", -12 * 3386.388640341, 5 * PSI),
        ("-5 to 5 psi", -5 * PSI, 5 * PSI),
        ("1,5 bar..2,1 bar", 1.5e5, 2.1e5),
        ("1.5 kg/cm2 to 2 kg/cm2", 1.5 * 98_066.5, 2 * 98_066.5),
    ],
)
def test_a_swing_may_cross_the_air_and_use_any_unit(written, low, high):
    assert parts(low_side=written).swings["low_side"] == pytest.approx((low + AIR, high + AIR))


@pytest.mark.parametrize("written", ["1e-3 bar", "2.5e-1 bar", "1E+2 kPa"])
def test_a_power_of_ten_is_no_swing(written):
    number = float(written.split()[0]) * {"bar": 1e5, "kPa": 1e3}[written.split()[1]]
    assert parts(low_side=written).numbers["low_side"] == pytest.approx(number + AIR)
    assert not parts(low_side=written).swings


def test_only_the_two_gauges_swing():
    assert "ambient" in refusal(ambient="80 to 90 degF")
    assert refusal(ambient=["80 degF", "90 degF"]).startswith("ambient: one value belongs here")


def test_both_ends_of_a_swing_are_looked_at():
    assert "'40 inHg vac' is below a perfect vacuum" in refusal(low_side=["40 inHg vac", "5 psi"])
    assert len(troubles(low_side=["x psi", "y psi"])) == 2


# -- checks ---------------------------------------------------------------------------------------------------------


def test_checks_may_stand_at_the_top_or_under_checks():
    flat, nested = Reading(sight_glass="foam"), Reading(checks={"sight_glass": "foam"})
    assert flat.parts == nested.parts
    assert flat.check_answers == nested.check_answers == {"sight_glass": "foam"}


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (True, "yes"),
        (False, "no"),
        ("true", "yes"),
        ("False", "no"),
        ("Y", "yes"),
        ("n", "no"),
        ("Stays off", "stays_off"),
        ("dirty-or blocked", "dirty_or_blocked"),
        ("off", "off"),
        (3, "3"),
    ],
)
def test_an_answer_is_one_word(value, word):
    assert Reading(checks={"a_check": value}).check_answers == {"a_check": word}


def test_an_unknown_answer_is_no_answer():
    assert Reading(checks={"a_check": "Unknown", "another": None}).check_answers == {}


def test_what_is_no_answer_is_refused():
    assert refusal(checks=["sight_glass"]) == "checks: lines of 'check: answer' belong here"
    assert refusal(checks={"sight_glass": ["foam"]}) == "'sight_glass': one word belongs here"
    assert refusal(sight_glass={"is": "foam"}) == "'sight_glass': one word belongs here"
    assert "ambient is a field of the reading, not a check" in refusal(checks={"ambient": "30 degC"})


ANSWERS = {"sight_glass": ("clear", "foam"), "oily_spots": ("yes", "no")}


@pytest.mark.parametrize(
    ("given_", "path", "message"),
    [
        (
            {"sight_glas": "foam"},
            ("sight_glas",),
            "'sight_glas' is neither a field nor a check known here; did you mean 'sight_glass'?",
        ),
        ({"checks": {"sight_glas": "foam"}}, ("checks", "sight_glas"), "did you mean 'sight_glass'?"),
        ({"ambiant": "30 degC"}, ("ambiant",), "did you mean 'ambient'?"),
        ({"spek": "x"}, ("spek",), "did you mean 'spec'?"),
        ({"xyzzy": "x"}, ("xyzzy",), "`twogauge rules checks` lists the checks"),
        (
            {"sight_glass": "fome"},
            ("sight_glass",),
            "sight_glass: 'fome' is not an answer to this check; did you mean 'foam'?",
        ),
        ({"sight_glass": "42"}, ("sight_glass",), "write one of clear, foam, unknown"),
    ],
)
def test_a_name_nobody_knows_is_refused_with_the_nearest(given_, path, message):
    with pytest.raises(ReadingError) as caught:
        Reading(given_).validate_checks(ANSWERS)
    (trouble,) = caught.value.troubles
    assert trouble.path == path
    assert message in trouble.message


def test_known_checks_and_answers_pass():
    Reading(sight_glass="Foam", checks={"oily_spots": False}).validate_checks(ANSWERS)


def test_looking_for_likely_names_has_an_end():
    """Each takes a moment; a file of tens of thousands of strange words would take a minute."""
    many = {f"sight_glas{i}": "x" for i in range(1000)}
    with pytest.raises(ReadingError) as caught:
        Reading(checks=many).validate_checks(ANSWERS)
    assert sum("did you mean" in each.message for each in caught.value.troubles) == 200
    with pytest.raises(ReadingError) as caught:
        Reading(spec={f"low_sid{i}": ["1 psi", "2 psi"] for i in range(1000)})
    assert sum("did you mean" in each.message for each in caught.value.troubles) == 200


def test_all_unknown_names_are_told_at_once():
    with pytest.raises(ReadingError) as caught:
        Reading(foo="x", checks={"bar": "y"}, sight_glass="z").validate_checks(ANSWERS)
    assert len(caught.value.troubles) == 3


@pytest.mark.parametrize(
    ("fields", "hint"),
    [
        ({"compressor_control": "fixd"}, "did you mean 'fixed'?"),
        ({"compressor_control": "x"}, "write one of clutch_cycling, fixed, variable"),
        ({"compressor": False}, "write one of running, off, cycling"),
        ({"low_side": "hgh"}, "did you mean 'high'?"),
        ({"low_side": "vacum"}, "did you mean 'vacuum'?"),
        ({"low_side": "so-so"}, "write a number with its unit or low, normal, high, vacuum, equal"),
        ({"ambient": "warm"}, "write a value such as 90 degF or 32 degC"),
        ({"refrigerant": "R134b"}, "did you mean 'R134a'"),
        (
            {"refrigerant": "R999"},
            "'R999' is not a refrigerant known here; twogauge refrigerants lists the known ones",
        ),
        ({"refrigerant": ["R134a"]}, "one name belongs here"),
    ],
)
def test_a_word_nobody_knows_is_refused_with_the_nearest(fields, hint):
    assert hint in refusal(fields)


# -- the maker's range ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", [["25 psi", "35 psi"], "25 to 35 psi", "25-35 psi", "25..35 psi", (25, 35)])
def test_a_maker_range_is_a_pair(written):
    assert parts(spec={"low_side": written}).spec == {"low_side": pytest.approx((25 * PSI + AIR, 35 * PSI + AIR))}


@pytest.mark.parametrize("name", SPEC_FIELDS)
def test_each_field_with_a_makers_range_takes_one(name):
    low, high = {"K": ("5 K", "8 K"), "C": ("5 degC", "8 degC"), "p": ("5 bar", "8 bar")}[
        {Dimension.PRESSURE: "p", Dimension.TEMPERATURE: "C"}.get(FIELDS[name].dimension, "K")
    ]
    found = parts(spec={name: [low, high]}).spec[name]
    assert found[1] - found[0] == pytest.approx(3e5 if "bar" in low else 3.0)


@pytest.mark.parametrize(
    ("spec", "message"),
    [
        ({"low_side": "30 psi"}, "spec.low_side: two ends belong here, such as [25 psi, 35 psi]"),
        ({"low_side": ["35 psi", "25 psi"]}, "spec.low_side: the first end must be the lower one"),
        ({"low_side": ["25 psi", "25 psi"]}, "spec.low_side: the first end must be the lower one"),
        ({"low_sid": [1, 2]}, "'low_sid' is not a key of spec; did you mean 'low_side'?"),
        ({"ambient": [1, 2]}, "'ambient' is not a key of spec; known here: low_side, high_side"),
        ({"low_side": ["25 degF", "30 psi"]}, "is a temperature, but a pressure belongs here"),
        ("25 to 35 psi", "spec: lines such as 'low_side: [25 psi, 35 psi]' belong here"),
    ],
)
def test_what_is_no_makers_range_is_refused(spec, message):
    assert message in refusal(spec=spec)


# -- the air --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_", "pascal", "how"),
    [
        ({}, 101_325.0, "assumed"),
        ({"altitude": "5000 ft"}, 84_307.0, "altitude"),  # US Standard Atmosphere 1976 at 1524 m: 843.07 hPa
        ({"barometer": "29.92 inHg"}, 101_320.7, "barometer"),
        ({"barometer": "950 hPa"}, 95_000.0, "barometer"),
        ({"barometer": "14.7"}, 101_352.9, "barometer"),
        ({"barometer": "950 hPa", "altitude": "5000 ft"}, 95_000.0, "barometer"),
    ],
)
def test_a_gauge_reads_from_the_air_around_it(given_, pascal, how):
    found = Reading({"low_side": "35 psi"} | given_).parts
    assert found.barometer == pytest.approx(pascal, abs=15)
    assert found.barometer_from == how
    assert found.numbers["low_side"] == pytest.approx(35 * PSI + pascal, abs=15)
    assert any("sea level is assumed" in note for note in found.notes) == (how == "assumed")


def test_nothing_is_assumed_of_the_air_where_no_gauge_was_read():
    assert parts(ambient="90 degF", low_side="low").notes == ()


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"barometer": "1013"}, "is not the pressure of air anywhere people work"),
        ({"barometer": "0 psi gauge"}, "a gauge shows zero for the air"),
        ({"barometer": "100 kPa gauge"}, "gauge"),
        ({"barometer": "30 degF"}, "is a temperature, but a pressure belongs here"),
        ({"altitude": "20000 m"}, "is outside -500 to 11000 m"),
        ({"altitude": "high"}, "is not a number"),
    ],
)
def test_what_cannot_be_the_air_is_refused(given_, words):
    assert words in refusal(given_)


def test_at_height_less_vacuum_is_all_there_is():
    assert "24.9 inHg" in refusal(low_side="26 inHg vac", altitude="5000 ft")
    assert parts(low_side="24 inHg vac", altitude="5000 ft").numbers["low_side"] > 0.0


# -- slips of the unit --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (
            {"low_side": "35 bar"},
            "low_side: '35 bar' is more than R-134a can show on this side; did you mean 35 psi?",
        ),
        ({"low_side": "350 psi"}, "more than R-134a can show on this side; did you mean 350 kPa?"),
        (
            {"low_side": "1400"},
            "'1400' is more than R-134a can show on this side; check the number, its unit and the refrigerant",
        ),
        (
            {"high_side": "1400"},
            "high_side: '1400' is more than R-134a can show on this side; did you mean 1400 kPa?",
        ),
        ({"high_side": "210 bar"}, "more than R-134a can show on this side; did you mean 210 psi?"),
        ({"low_side": "5000 psi"}, "more than R-134a can show on this side; check the number"),
        ({"low_side": "700 inHg absolute"}, "more than R-134a can show on this side"),
        ({"low_side": ["900 psi", "1400 psi"]}, "more than R-134a can show on this side"),
    ],
)
def test_a_pressure_the_refrigerant_cannot_show_is_a_slip(fields, sentence):
    assert sentence in refusal(refrigerant="R134a", **fields)


def slip_notes(units="us", **fields):
    return [note for note in Reading(fields, units=units).parts.notes if "without a unit" in note]


@pytest.mark.parametrize(
    ("fields", "units", "taken", "hint"),
    [
        ({"ambient": "90 degF"}, "us", "psi", "if they are bar, write 14bar or --units metric"),
        ({}, "us", "psi", "if they are bar, write 14bar or --units metric"),
        ({"ambient": "32"}, "us", "psi", "if they are bar"),  # all of it typed as on a metric set
        ({"low_side": 2.4, "high_side": 14.0, "ambient": "90 degF"}, "us", "psi", "write 14bar"),
        ({"low_side": "2.2 to 2.6", "ambient": "90 degF"}, "us", "psi", "write 14bar"),
        ({"low_side": "2,4", "high_side": "14,5", "ambient": "90 degF"}, "us", "psi", "write 14.5bar"),
        ({"refrigerant": "R410A", "low_side": "8", "high_side": "28", "ambient": "85 degF"}, "us", "psi", "28bar"),
        ({"refrigerant": "R744", "low_side": "35", "high_side": "95", "ambient": "90 degF"}, "us", "psi", "95bar"),
        ({"ambient": "32 degC"}, "si", "kPa", "if they are bar, write 14bar or --units metric"),
        (
            {"low_side": "35", "high_side": "210", "ambient": "32"},
            "si",
            "kPa",
            "if they are psi, write 210psi or --units us",
        ),
    ],
)
def test_bare_numbers_that_make_sense_in_another_unit_alone_are_remarked(fields, units, taken, hint):
    notes = slip_notes(units, **{"refrigerant": "R134a", "low_side": "2.4", "high_side": "14"} | fields)
    assert len(notes) == 1
    assert f"written without a unit and taken as {taken}" in notes[0]
    assert hint in notes[0]


@pytest.mark.parametrize(
    ("fields", "units"),
    [
        ({"low_side": "2.4 psi", "high_side": "14 psi"}, "us"),
        ({"high_side": "14 psi"}, "us"),
        ({"low_side": "2.4 psi"}, "us"),
        ({"low_side": "35", "high_side": "210"}, "us"),
        ({"low_side": "5", "high_side": "40"}, "us"),  # nearly empty, and no machine in bar either
        ({"low_side": "12", "high_side": "14"}, "us"),
        ({"high_side": "33"}, "us"),  # 33 bar would condense 59 K over this air
        ({"low_side": "30", "high_side": "320", "ambient": None}, "si"),  # a cool day, or psi on a warm one
        ({"low_side": "-0.2", "high_side": "3"}, "us"),
        ({"compressor": "off"}, "us"),
        ({"refrigerant": None}, "us"),
        ({"high_side": None}, "us"),
        ({"low_side": "low"}, "us"),
        ({}, "metric"),
        ({"low_side": "240", "high_side": "1400"}, "si"),
    ],
)
def test_numbers_with_a_unit_or_without_a_better_one_are_taken_as_they_are(fields, units):
    told = {"refrigerant": "R134a", "low_side": "2.4", "high_side": "14", "ambient": "90 degF"} | fields
    assert slip_notes(units, **told) == []


def test_without_a_refrigerant_a_high_pressure_is_taken_as_read():
    assert parts(low_side="35 bar").numbers["low_side"] == pytest.approx(35e5 + AIR)


def test_a_settled_system_in_the_sun_is_no_slip():
    assert parts(refrigerant="R134a", low_side="200 psi", high_side="200 psi", compressor="off")
    assert parts(refrigerant="R744", high_side="120 bar")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"ambient": "90 C"}, "ambient: '90 C' (90 degC) is no air people work in; did you mean 90 degF?"),
        ({"ambient": 90, "units": "si"}, "did you mean 90 degF?"),
        ({"vent_air": "-60 degF"}, "vent_air: '-60 degF' (-51 degC) is no air people work in; check the number"),
        ({"return_air": "300 F"}, "is no air people work in; check the number and its unit"),
        ({"ambient": "-122 degC"}, "is no air people work in; check the number and its unit"),
        ({"ambient": "-189 degF"}, "is no air people work in; check the number and its unit"),
        ({"ambient": "90 K"}, "ambient: '90 K' is outside 150 to 600 K"),
        ({"ambient": "200 K"}, "ambient: '200 K' (-73 degC) is no air people work in"),
        ({"ambient": "-500 degF"}, "is below absolute zero"),
        ({"superheat": "10 psi"}, "is a pressure, but a temperature difference belongs here"),
        ({"humidity": "0.5"}, "write the percent sign"),
        ({"humidity": "150 %"}, "is outside 0 to 100 %"),
        ({"seconds_on": "-5 s"}, "is outside 0 to"),
        ({"low_side": "40 inHg vac"}, "is below a perfect vacuum"),
        ({"ambient": "nan degF"}, "is not a number that a "),
        ({"low_side": float("nan")}, "is not a number that a "),
        ({"low_gauge_accuracy": "-5 psi"}, "low_gauge_accuracy: '-5 psi' is below zero"),
        ({"thermometer_accuracy": "-1 K"}, "thermometer_accuracy: '-1 K' is below zero"),
    ],
)
def test_what_cannot_be_a_measurement_is_refused_with_what_to_do(fields, sentence):
    assert sentence in refusal(fields)


@given(
    st.sampled_from(sorted(n for n, f in FIELDS.items() if f.dimension)),
    st.floats(-1e7, 1e7),
    st.sampled_from(
        ("", "psi", "bar", "MPa", "inHg vac", "inHg", "psia", "torr", "degF", "degC", "K", "%", "ft", "h", "rpm")
    ),
    st.none() | st.sampled_from(mine.REFRIGERANTS),
)
def test_any_number_in_any_unit_is_read_or_refused_field_by_field(name, number, unit, refrigerant):
    read, refused = taken({name: f"{number:.6g} {unit}", "refrigerant": refrigerant})
    assert {t.path[0] for t in refused} <= {name}
    assert all(t.message.startswith(f"{name}: ") for t in refused)
    assert bool(refused) != bool(read and (read.parts.numbers or read.parts.barometer_from != "assumed"))


_ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


_NAMES = st.sampled_from([*FIELDS, "checks", "spec", "units", "baseline"]) | st.text(max_size=8)


@given(st.dictionaries(_NAMES, _ANYTHING, max_size=6))
def test_anything_at_all_is_a_reading_or_refused_with_sentences(given_):
    read, refused = taken(given_)
    assert (read is None) == bool(refused)
    assert all(len(t.message) > 10 and t.path for t in refused)


# -- notes -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", ["35 psia", "50 psi absolute", "3 bara", "250 kPa abs"])
def test_an_absolute_pressure_is_taken_at_its_word_and_noted(written):
    notes = parts(low_side=written, altitude="0 m").notes
    assert any("was given as an absolute pressure" in note and written in note for note in notes)
    assert parts(low_side="35 psi", altitude="0 m", system="bus_ac").notes == ()
    assert parts(low_side="35 psia").numbers["low_side"] == pytest.approx(35 * PSI)


def test_a_system_that_is_assumed_is_told():
    assert any("car_ac is assumed" in note for note in parts(low_side="35 psi").notes)
    assert not any("assumed" in note for note in parts(low_side="35 psi", altitude="0 m", system="split_ac").notes)
    assert parts(ambient="90 degF").notes == ()  # nothing was compared with what is normal


def test_a_wet_bulb_is_never_warmer_than_the_air():
    assert parts(return_wet_bulb="67 degF", return_air="80 degF").numbers["return_wet_bulb"] < 295.0
    with pytest.raises(ReadingError, match="return_wet_bulb: it is warmer than return_air"):
        parts(return_wet_bulb="85 degF", return_air="80 degF")


@pytest.mark.parametrize(
    ("low", "high", "compressor", "noted"),
    [(210, 35, "running", True), (210, 35, "off", False), (37, 35, "running", False), (35, 210, "running", False)],
)
def test_swapped_hoses_are_noted_where_only_they_explain_it(low, high, compressor, noted):
    notes = parts(low_side=f"{low} psi", high_side=f"{high} psi", compressor=compressor).notes
    assert any("hoses are swapped" in note for note in notes) == noted


# -- baselines ------------------------------------------------------------------------------------------------------


def test_a_baseline_is_a_reading_in_place_or_made_before():
    fields = {"refrigerant": "R134a", "high_side": 200, "ambient": 30}
    inside = Reading({"baseline": fields}, units="si").baseline
    assert inside.parts == Reading(fields, units="si").parts
    assert Reading(baseline=inside).baseline is inside


def test_a_baseline_takes_its_own_units():
    assert Reading({"baseline": {"ambient": 30, "units": "si"}}).baseline.parts.numbers["ambient"] == pytest.approx(
        303.15
    )


def test_a_baseline_has_the_refrigerant_and_the_air_of_the_same_machine_where_it_says_neither():
    now = {"refrigerant": "R134a", "altitude": "5000 ft", "low_side": "30 psi"}
    earlier = Reading(now, baseline={"low_side": "28 psi"}).baseline.parts
    assert earlier.words["refrigerant"] == "R134a"
    assert earlier.barometer == Reading(now).parts.barometer
    assert earlier.numbers["low_side"] == Reading(altitude="5000 ft", low_side="28 psi").parts.numbers["low_side"]
    made_before = Reading(low_side="28 psi")
    assert Reading(now, baseline=made_before).baseline.parts == earlier
    own = {"refrigerant": "R12", "altitude": "900 ft", "low_side": "28 psi"}
    assert Reading(now, baseline=own).baseline.parts == Reading(own).parts
    assert Reading(now | {"altitude": ""}, baseline=own).baseline.parts == Reading(own).parts


def test_what_does_not_fit_the_refrigerant_of_the_machine_is_refused_under_the_baseline():
    (trouble,) = troubles(refrigerant="R134a", baseline={"high_side": "900 psi"})
    assert trouble.path == ("baseline", "high_side")
    assert trouble.message.startswith("baseline: high_side: '900 psi'")


@pytest.mark.parametrize(
    ("baseline", "message"),
    [
        ({"ambient": "90 C"}, "baseline: ambient: '90 C' (90 degC) is no air people work in"),
        ({"baseline": {}}, "a baseline has no baseline of its own"),
        (17, "baseline: the path of a reading belongs here, or its fields"),
        ("other.yaml", "baseline: a file can be named only in a reading that is a file"),
    ],
)
def test_what_is_no_baseline_is_refused(baseline, message):
    (trouble,) = troubles(baseline=baseline)
    assert message in trouble.message
    assert trouble.path[0] == "baseline"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "good.yaml").write_text("refrigerant: R134a\nhigh_side: 200 psi\nambient: 85 degF\n")
    (tmp_path / "hot.yaml").write_text("refrigerant: R134a\nambient: 90 degC\n")
    (tmp_path / "chain.yaml").write_text("ambient: 90 degF\nbaseline: good.yaml\n")
    (tmp_path / "list.yaml").write_text("- one\n- two\n")
    return tmp_path


def read(folder, text, name="reading.yaml"):
    (folder / name).write_text(text)
    return read_file(folder / name)[0]


def test_a_baseline_may_be_a_file_beside_the_reading(folder):
    earlier = read(folder, "ambient: 90 degF\nbaseline: good.yaml\n").baseline
    assert earlier.parts.words["refrigerant"] == "R134a"


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("gone.yaml", "there is no such file"),
        ("../secret.yaml", "leads out of the folder of this reading"),
        ("sub/../../secret.yaml", "leads out of the folder"),
        ("/etc/hostname", "leads out of the folder"),
        ("chain.yaml", "must be a reading without a baseline of its own"),
        ("reading.yaml", "must be a reading without a baseline of its own"),  # itself
        ("list.yaml", "must be a reading"),
        ("hot.yaml", "hot.yaml:2:10: ambient: '90 degC' (90 degC) is no air people work in"),
        (".", "this is a folder"),
    ],
)
def test_a_baseline_file_that_cannot_serve_is_refused_where_it_is_named(folder, path, message):
    with pytest.raises(FileProblems) as caught:
        read(folder, f"ambient: 90 degF\nbaseline: {path}\n")
    assert message in str(caught.value)
    assert str(caught.value).startswith(f"{folder / 'reading.yaml'}:2:11: baseline: ")


def test_a_baseline_that_links_out_of_the_folder_is_refused(folder):
    inner = folder / "inner"
    inner.mkdir()
    (inner / "link.yaml").symlink_to(folder / "good.yaml")
    with pytest.raises(FileProblems, match="leads out of the folder"):
        read(inner, "ambient: 90 degF\nbaseline: link.yaml\n")


# -- files ----------------------------------------------------------------------------------------------------------


def test_a_file_is_a_reading_in_yaml_or_json(folder):
    text = "refrigerant: R-134a\nlow_side: 35\ncompressor: off\nchecks:\n  sight_glass: foam\n"
    as_json = '{"refrigerant": "R-134a", "low_side": 35, "compressor": "off", "checks": {"sight_glass": "foam"}}'
    one, other = read(folder, text), read(folder, as_json, "reading.json")
    assert one.parts == other.parts
    assert one.parts.words["compressor"] == "off"
    assert read_file("<stdin>", text=text.encode())[0].parts == one.parts


def test_everything_wrong_in_a_file_is_told_at_once_with_its_place(folder):
    text = """\
refrigerant: R134b
low_side: 35 degF
high_side: hgh
ambient: 90 C
metering: orifise_tube
spec:
  low_side: [35 psi, 25 psi]
  hi_side: [1 bar, 2 bar]
checks:
  ambient: yes
units: metrik
baseline:
  ambient: warm
"""
    with pytest.raises(FileProblems) as caught:
        read(folder, text)
    places = [(p.place.line, p.place.column) for p in caught.value.problems]
    assert places == [(1, 14), (2, 11), (3, 12), (4, 10), (5, 11), (7, 13), (8, 3), (10, 3), (11, 8), (13, 12)]
    lines = str(caught.value).splitlines()
    assert all(line.startswith(f"{folder / 'reading.yaml'}:") for line in lines)
    assert "did you mean 'R134a'" in lines[0]
    assert "did you mean 'orifice_tube'?" in lines[4]


def test_a_file_that_is_no_mapping_is_no_reading(folder):
    with pytest.raises(FileProblems, match=r":1:1: a reading is lines of 'field: value'"):
        read(folder, "- 35 psi\n- 210 psi\n")


def test_units_of_a_file_come_before_those_asked_for(folder):
    (folder / "own.yaml").write_text("units: si\nambient: 30\n")
    assert read_file(folder / "own.yaml", units=UnitSet.US)[0].parts.numbers["ambient"] == pytest.approx(303.15)
    (folder / "bare.yaml").write_text("ambient: 30\n")
    assert read_file(folder / "bare.yaml", units=UnitSet.SI)[0].parts.numbers["ambient"] == pytest.approx(303.15)


def test_a_baseline_is_not_looked_for_where_the_text_came_from_elsewhere():
    with pytest.raises(FileProblems, match="a file can be named only in a reading that is a file"):
        read_file("<stdin>", text=b"ambient: 90 degF\nbaseline: good.yaml\n")


def test_later_problems_can_be_placed_too(folder):
    (folder / "r.yaml").write_text("ambient: 90 degF\nchecks:\n  sight_glas: foam\n  oily_spots: perhaps\n")
    reading, node = read_file(folder / "r.yaml")
    with pytest.raises(ReadingError) as caught:
        reading.validate_checks(ANSWERS)
    found = positioned(caught.value, node)
    assert [(p.place.line, p.place.column) for p in found.problems] == [(3, 3), (4, 15)]
    assert isinstance(found, InputError)


def test_a_reading_shows_what_it_was_made_of():
    assert repr(Reading(ambient="90 degF", units="si")) == "Reading({'ambient': '90 degF'}, units='si')"


@pytest.mark.parametrize(
    ("told", "noted"),
    [
        ({"low_side": "80 psi", "high_side": "82 psi"}, True),
        ({"low_side": "80 psi", "high_side": "equal"}, True),
        ({"low_side": "80 psi", "high_side": "82 psi", "compressor": "off"}, False),
        ({"low_side": "80 psi", "high_side": "82 psi", "compressor": "running"}, False),
        ({"low_side": "35 psi", "high_side": "200 psi"}, False),
        ({"low_side": "80 psi"}, False),
    ],
)
def test_gauges_that_agree_ask_whether_the_machine_is_off(told, noted):
    notes = Reading({"refrigerant": "R134a", "ambient": "86 degF", **told}).parts.notes
    assert any("if the compressor is switched off" in note for note in notes) == noted
