"""What is typed is kept word for word; a switched unit converts it, and the address holds all of it."""

from __future__ import annotations

from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError
from twogauge.serve.state import State
from twogauge.serve.units import converted, is_bare, units_of, with_unit

US = UnitSet.US


def read(**told: str) -> State:
    return State.read(list(told.items()), US)


def unit(field: str, symbol: str):
    return next(choice for choice in units_of(FIELDS[field]) if choice.symbol == symbol)


def test_number_and_unit_of_a_form_become_one_value_of_the_address():
    state = State.read([("low_side", "2.4"), ("low_side.unit", "bar")], US)
    assert dict(state.pairs()) == {"units": "us", "low_side": "2.4 bar"}
    assert state.given() == {"low_side": "2.4 bar"}


@pytest.mark.parametrize(
    ("typed", "taken"),
    [
        ("35", "35 psi"),
        ("35psi", "35 psi"),
        ("2.4 bar", "2.4 bar"),
        ("12 inHg vac", "12 inHg vac"),
        ("22 to 45", "22 to 45 psi"),
        ("50 psia", "50 psia"),
        ("low", "low"),
        ("LOW", "low"),
        ("abc", "abc"),
    ],
)
def test_a_pressure_is_taken_as_it_is_written(typed, taken):
    assert read(low_side=typed).given() == {"low_side": taken}


def test_a_word_may_stand_in_place_of_a_number():
    state = State.read([("high_side", ""), ("high_side.unit", "low")], US)
    assert state.given() == {"high_side": "low"}


def test_a_word_beside_a_number_is_kept_and_refused_by_the_reading():
    state = State.read([("high_side", "200"), ("high_side.unit", "low")], US)
    assert state.values["high_side"].text == "200"
    with pytest.raises(ReadingError, match="high_side"):
        Reading(state.given())


def test_below_zero_needs_no_minus_key():
    assert read(ambient="5 degC below 0").given() == {"ambient": "-5 degC"}


def test_a_unit_that_was_switched_converts_what_was_not_touched():
    told = [("low_side", "35"), ("low_side.unit", "bar"), ("low_side.was", "35 psi")]
    assert State.read(told, US).given() == {"low_side": "2.41 bar"}


def test_a_number_typed_anew_is_in_the_unit_chosen_with_it():
    told = [("low_side", "2.4"), ("low_side.unit", "bar"), ("low_side.was", "35 psi")]
    assert State.read(told, US).given() == {"low_side": "2.4 bar"}


def test_another_set_of_units_converts_everything_typed():
    told = {"low_side": "35 psi", "ambient": "90 degF", "superheat": "18 degF", "units": "metric", "units.was": "us"}
    told |= {"spec.low_side.from": "25", "spec.low_side.to": "35", "spec.low_side.unit": "psi", "humidity": "60 %"}
    state = State.read(list(told.items()), US)
    assert state.units is UnitSet.METRIC
    assert state.given() == {
        "low_side": "2.41 bar",
        "ambient": "32.2 degC",
        "superheat": "10 K",
        "humidity": "60 %",
        "spec": {"low_side": ["1.72 bar", "2.41 bar"]},
    }


@pytest.mark.parametrize(("text", "back"), [("35", "35"), ("0", "0"), ("22 to 45", "22 to 45"), ("7,5", "7.5")])
def test_there_and_back_is_what_was_typed(text, back):
    psi, bar = unit("low_side", "psi"), unit("low_side", "bar")
    there = converted(text, psi, bar)
    assert there is not None
    assert converted(there, bar, psi) == back


@given(st.decimals(min_value=-400, max_value=400, places=1))
def test_a_conversion_keeps_the_quantity_within_the_digit_that_was_typed(number):
    text, field = str(number), FIELDS["ambient"]
    fahrenheit, celsius = unit("ambient", "degF"), unit("ambient", "degC")
    there = converted(text, fahrenheit, celsius)
    assert there is not None
    before = (float(number) + fahrenheit.offset) * fahrenheit.factor
    after = (float(there) + celsius.offset) * celsius.factor
    assert abs(before - after) <= 0.1 * fahrenheit.factor
    assert field.name == "ambient"


def test_pressure_above_the_air_is_no_vacuum_and_is_left_to_be_typed_anew():
    assert converted("35", unit("low_side", "psi"), unit("low_side", "inHg vac")) is None
    assert converted("-5", unit("low_side", "psi"), unit("low_side", "inHg vac")) == "10"


def test_what_nobody_knows_is_told():
    assert read(presure="35").notes == ("the address also says 'presure', which is not known here",)


def test_nothing_is_more_than_its_limit():
    state = State.read([(f"check.c{i}", "yes") for i in range(1000)] + [("note", "x" * 10_000)], US)
    assert len(state.checks) == 200
    assert len(state.values["note"].text) == 300


TEXT = st.text(max_size=40)
NUMBER = st.from_regex(r"-?\d{1,4}([.,]\d{1,3})?", fullmatch=True)
NAMES = sorted(FIELDS)


READINGS = st.tuples(
    st.dictionaries(st.sampled_from(NAMES), TEXT | NUMBER, max_size=8),
    st.dictionaries(st.from_regex(r"[a-z_]{1,20}", fullmatch=True), TEXT, max_size=3),
    st.dictionaries(st.sampled_from(SPEC_FIELDS), st.tuples(NUMBER, NUMBER), max_size=2),
)


def pairs_of(reading, at=""):
    values, checks, spec = reading
    told = [*values.items(), *((f"check.{name}", answer) for name, answer in checks.items())]
    for name, (low, high) in spec.items():
        told += [(f"spec.{name}.from", low), (f"spec.{name}.to", high)]
    return [(f"{at}{name}", value) for name, value in told]


@given(READINGS, READINGS, TEXT, st.sampled_from(list(UnitSet)))
def test_the_address_leads_back_to_the_same(today, good, named, units):
    told = [("units", units.value), ("baseline", named), *pairs_of(today), *pairs_of(good, "good.")]
    state = State.read(told, US)
    again = State.read(parse_qsl(state.query(), keep_blank_values=True), US)
    assert again.given() == state.given()
    assert again.query() == state.query()
    assert again.notes == ()


@given(READINGS, st.sampled_from(list(UnitSet)), st.sampled_from(list(UnitSet)))
def test_a_known_good_reading_is_read_and_converted_as_one_by_itself(reading, before, after):
    units = [("units", after.value), ("units.was", before.value)]
    alone = State.read([*units, *pairs_of(reading)], US)
    good = State.read([*units, *pairs_of(reading, "good.")], US)
    assert good.given().get("baseline", {}) == alone.given()
    assert [name for name, _ in good.pairs()[1:]] == [f"good.{name}" for name, _ in alone.pairs()[1:]]


def test_a_unit_of_the_known_good_reading_that_was_switched_converts_it_and_nothing_else():
    told = [("low_side", "30"), ("low_side.unit", "psi"), ("good.low_side", "35"), ("good.low_side.unit", "bar")]
    state = State.read([*told, ("good.low_side.was", "35 psi")], US)
    assert state.given() == {"low_side": "30 psi", "baseline": {"low_side": "2.41 bar"}}


def test_a_known_good_reading_may_say_its_own_units_and_is_shown_in_those_of_the_page():
    state = State.read([("good.units", "metric"), ("good.low_side", "2"), ("low_side", "30")], US)
    assert state.given() == {"low_side": "30 psi", "baseline": {"low_side": "2 bar"}}
    assert state.good.units is state.units is US


def test_a_known_good_reading_has_none_of_its_own_and_strangers_in_it_are_told():
    state = read(
        **{"good.good.low_side": "35", "good.presure": "1", "good.low_side": "30", "good.baseline": "x.yaml"}
    )
    assert state.given() == {"baseline": {"low_side": "30 psi"}}
    assert state.strangers == ("good.good.low_side", "good.presure", "good.baseline")
    assert "'good.presure', which is not known here" in state.notes[1]
    assert state.notes[2] == "the known-good reading names one of its own, which does not count here"
    assert read(**{"good." * 15 + "low_side": "35"}).given() == {}


def test_a_file_that_is_named_is_kept_until_a_known_good_reading_is_there():
    state = read(low_side="30", baseline="may.yaml")
    assert state.given() == {"low_side": "30 psi", "baseline": "may.yaml"}
    assert not read(baseline="may.yaml").says_nothing
    both = state.beside(read(low_side="28", baseline="april.yaml"))
    assert both.given() == {"low_side": "30 psi", "baseline": {"low_side": "28 psi"}}
    assert both.named == ""
    assert state.beside(read()) == state


def test_the_machine_stays_for_another_day_and_what_it_showed_becomes_the_known_good_reading():
    told = {"refrigerant": "R134a", "metering": "capillary", "altitude": "900 ft", "machine": "bus 12"}
    today = {"low_side": "28 psi", "ambient": "79 degF", "date": "2025-05-20", "barometer": "29 inHg"}
    state = read(**told, **today, **{"check.clutch": "engages", "good.low_side": "20 psi"})
    assert state.another_day().given() == {
        **told,
        "baseline": {**told, **today, "checks": {"clutch": "engages"}},
    }
    empty = read(**told, **{"good.low_side": "20 psi"})
    assert empty.another_day() == empty


@given(TEXT)
def test_a_unit_is_written_behind_plain_numbers_only(text):
    assert with_unit(text, "psi") == (f"{text.strip()} psi" if is_bare(text) else text)


def test_a_bare_number_of_an_instrument_means_the_same_in_another_set_of_units():
    told = State.read(
        [("units", "metric"), ("units.was", "us"), ("low_gauge", "2"), ("thermometer", "1")], UnitSet.US
    )
    assert told.given() == {"low_gauge": "2 psi", "thermometer": "1 degF"}
    assert State.read(told.pairs(), UnitSet.US) == told
    marked = State.read([("units", "si"), ("high_gauge", "class 1.6, 0 to 25 bar")], UnitSet.US)
    assert marked.given() == {"high_gauge": "class 1.6, 0 to 25 bar"}
