"""Readings side by side, from readings and from arrays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

import strategies as mine
from twogauge.columns import NO_WORD, Words, from_arrays, from_readings
from twogauge.diagnosis import columns_of, program_for
from twogauge.quantities import STANDARD_ATMOSPHERE
from twogauge.reading import Reading
from twogauge.weigh import weigh_columns


def test_readings_stand_side_by_side_with_holes_where_nothing_was_told():
    columns = from_readings(
        [
            Reading(refrigerant="R134a", low_side="35 psi", ambient="90 degF", altitude="1500 m"),
            Reading(refrigerant="R22", low_side="low", high_side="200 to 250 psi", barometer="950 hPa"),
            Reading(spec={"low_side": ["25 psi", "35 psi"]}, checks={"sight_glass": "foam"}),
        ]
    )
    psi, air = 6894.757293168, STANDARD_ATMOSPHERE
    assert columns.n == 3
    thin = columns.barometer[0]
    assert thin == pytest.approx(84_556, abs=5)  # US Standard Atmosphere 1976 at 1500 m
    assert columns.numbers["low_side"] == pytest.approx([35 * psi + thin, math.nan, math.nan], nan_ok=True)
    assert columns.numbers["high_side.from"][1] == pytest.approx(200 * psi + 95_000)
    assert columns.numbers["high_side.to"][1] == pytest.approx(250 * psi + 95_000)
    assert columns.numbers["high_side"][1] == pytest.approx(225 * psi + 95_000)
    assert columns.numbers["spec.low_side.from"][2] == pytest.approx(25 * psi + air)
    assert columns.words["low_side"].is_one_of(["low"]).tolist() == [False, True, False]
    assert columns.words["refrigerant"].is_one_of(["R22", "R134a"]).tolist() == [True, True, False]
    assert columns.words["system"].is_one_of(["car_ac"]).all()
    assert columns.words["sight_glass"].codes.tolist() == [NO_WORD, NO_WORD, 0]
    assert columns.barometer_uncertainty.tolist() == [1000.0, 200.0, 2000.0]
    assert {"ambient", "sight_glass"} <= columns.present


def test_no_reading_is_no_column():
    with pytest.raises(ValueError, match="no readings"):
        from_readings([])


def test_a_word_that_was_not_told_is_none_of_any():
    words = Words(np.array([0, -1, 1], dtype=np.int16), ("cold", "hot"))
    assert words.is_one_of(["cold", "hot", "warm"]).tolist() == [True, False, True]
    assert words.is_one_of([]).tolist() == [False, False, False]


@given(mine.columns_told())
def test_a_part_of_a_column_is_the_column_of_that_part(several):
    readings = [told.reading() for told in several]
    half = len(readings) // 2
    part, own = columns_of(readings).rows(half, len(readings)), columns_of(readings[half:])
    assert part.n == own.n
    for name, values in own.numbers.items():
        assert np.array_equal(part.numbers[name], values, equal_nan=True)
    for name, words in own.words.items():
        told = [words.values[c] if c >= 0 else "" for c in words.codes]
        assert [part.words[name].values[c] if c >= 0 else "" for c in part.words[name].codes] == told
    assert part.barometer.tolist() == own.barometer.tolist()


def test_arrays_need_no_detour_through_text():
    reading = Reading(refrigerant="R134a", low_side="2 bar", high_side="14 bar", ambient="30 degC", barometer="1 bar")
    columns = from_arrays(
        {"low_side": [3e5, math.nan], "high_side": 15e5, "ambient": [303.15, 303.15]},
        {"refrigerant": "R134a", "system": ["car_ac", ""]},
        barometer=1e5,
    )
    program = program_for()
    one, two = weigh_columns(columns_of([reading]), program), weigh_columns(columns, program)
    assert two.probability[0] == pytest.approx(one.probability[0], abs=1e-9)
    assert columns.words["system"].is_one_of(["car_ac"]).tolist() == [True, False]
    assert columns.numbers["high_side"].shape == (2,)


def test_the_air_may_be_the_only_column():
    columns = from_arrays({"low_side": 3e5}, {"refrigerant": "R134a"}, barometer=[1e5, 0.9e5, 0.8e5])
    assert columns.n == 3
    assert columns.numbers["low_side"].tolist() == [3e5] * 3


def test_a_maker_range_and_a_baseline_are_columns_too():
    columns = from_arrays(
        {"high_side": 15e5, "spec.high_side.from": 12e5, "spec.high_side.to": 14e5, "baseline.superheat": 5.0}, {}
    )
    assert {"spec.high_side.from", "baseline.superheat"} <= columns.present


@pytest.mark.parametrize(
    ("numbers", "words", "message"),
    [
        ({"low_side": [1e5, 2e5], "ambient": [300.0]}, {}, "different length"),
        ({"low_side": [1e5, 2e5]}, {"refrigerant": ["R134a"] * 3}, "different length"),
        ({"lowside": [1e5]}, {}, "'lowside' is no number of a reading"),
        ({"metering": [1.0]}, {}, "'metering' is no number"),
        ({"spec.colour.from": [1.0]}, {}, "no number of a reading"),
        ({"ambient": [math.inf]}, {}, "infinite"),
        ({"ambient": [2e15]}, {}, "beyond 1e"),
    ],
)
def test_arrays_that_are_no_readings_are_refused(numbers, words, message):
    with pytest.raises(ValueError, match=message):
        from_arrays(numbers, words)


def test_the_air_must_be_as_long_as_the_readings():
    with pytest.raises(ValueError, match="different length"):
        from_arrays({"low_side": [1e5, 2e5]}, {}, barometer=[1e5, 1e5, 1e5])


def test_no_rows_give_no_answers():
    columns = from_arrays({"low_side": [], "ambient": []}, {"refrigerant": "R134a"})
    weighed = weigh_columns(columns, program_for())
    assert weighed.probability.shape == (0, len(weighed.hypotheses))
    assert len(weighed.verdict) == 0
