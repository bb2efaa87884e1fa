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


@given(
    st.dictionaries(st.sampled_from(NAMES), TEXT | NUMBER, max_size=8),
    st.dictionaries(st.from_regex(r"[a-z_]{1,20}", fullmatch=True), TEXT, max_size=3),
    st.dictionaries(st.sampled_from(SPEC_FIELDS), st.tuples(NUMBER, NUMBER), max_size=2),
    st.sampled_from(list(UnitSet)),
)
def test_the_address_leads_back_to_the_same(values, checks, spec, units):
    told = [("units", units.value), *values.items(), *((f"check.{name}", answer) for name, answer in checks.items())]
    for name, (low, high) in spec.items():
        told += [(f"spec.{name}.from", low), (f"spec.{name}.to", high)]
    state = State.read(told, US)
    again = State.read(parse_qsl(state.query(), keep_blank_values=True), US)
    assert again.given() == state.given()
    assert again.query() == state.query()


@given(TEXT)
def test_a_unit_is_written_behind_plain_numbers_only(text):
    assert with_unit(text, "psi") == (f"{text.strip()} psi" if is_bare(text) else text)
