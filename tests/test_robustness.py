"""How sure with these instruments: shares, turning points, and what must hold for both whatever is read."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import small_pack
import strategies as mine
from twogauge.columns import Columns
from twogauge.diagnosis import columns_of, diagnose, program_for
from twogauge.fields import FIELDS
from twogauge.output.outlook import sure_sentences
from twogauge.quantities import Dimension, UnitSet, symbol_for
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.robustness import (
    REACH,
    STEP,
    Taker,
    TurningPoint,
    _axes,
    _points,
    _sample,
    how_sure,
    how_sure_of_columns,
    normal_quantile,
)
from twogauge.weigh import weigh_columns
from twogauge.work import Work

BUILT_IN = program_for()
PSI = 6894.757293168


def faults(*ids):
    common = {name: mine.fault_entry("common") for name in ids}
    return {"normal": mine.fault_entry("common", nothing_wrong="yes"), **common}


# One sharp rule on one thermometer: above 30 degC it is `bent`, below it `normal`.
WARM = mine.compiled(
    {
        "pack": "sharp",
        "faults": faults("bent"),
        "bands": mine.BANDS,
        "rules": {
            "warm": mine.rule_entry(
                {"ambient": {"above": "30 degC"}},
                {"bent": "strongly for"},
                "air",
                otherwise={"bent": "strongly against"},
            )
        },
    }
)
# Between 20 and 30 degC it is `bent`.
MILD = mine.compiled(
    {
        "pack": "mild",
        "faults": faults("bent"),
        "bands": mine.BANDS,
        "rules": {
            "mild": mine.rule_entry(
                {"ambient": {"between": ["20 degC", "30 degC"]}},
                {"bent": "strongly for"},
                "air",
                otherwise={"bent": "strongly against"},
            )
        },
    }
)
# On the low side, counted from the air: in a vacuum it is `bent`.
DIALS = mine.compiled(
    {
        "pack": "sharp",
        "faults": faults("bent"),
        "bands": mine.BANDS,
        "rules": {
            "vacuum": mine.rule_entry(
                {"low_side_above_air": {"below": "0 kPa"}},
                {"bent": "strongly for"},
                "low",
                otherwise={"bent": "strongly against"},
            )
        },
    }
)


def at(celsius, limit="3 K"):
    return Reading(ambient=f"{celsius} degC", thermometer=limit)


def moved(columns: Columns, field: str, shift: float) -> Columns:
    """The reading with one field read otherwise, by hand."""
    numbers = {
        name: values + shift
        if name.partition(".")[0] == field or (field == "barometer" and name.removeprefix("spec.").startswith(SIDES))
        else values
        for name, values in columns.numbers.items()
    }
    barometer = columns.barometer + (shift if field == "barometer" else 0.0)
    return replace(columns, numbers=numbers, barometer=barometer)


SIDES = ("low_side", "high_side")


def leader(columns, program=BUILT_IN):
    found = weigh_columns(columns, program)
    return found.hypotheses[int(found.leader[0])]


# -- how often ----------------------------------------------------------------------------------------------------


def test_a_reading_far_from_every_edge_keeps_its_first_place():
    found = how_sure(at(40), WARM)
    assert (found.leader, found.verdict) == ("bent", "fault")
    assert (found.same_leader, found.same_verdict, found.takers) == (1.0, 1.0, ())


@pytest.mark.parametrize(("celsius", "share"), [(31.0, 4 / 6), (31.5, 4.5 / 6), (32.7, 5.7 / 6), (29.4, 3.6 / 6)])
def test_the_share_is_the_part_of_the_permitted_error_on_this_side_of_the_edge(celsius, share):
    # A permitted error of 3 K is a rectangle 6 K wide; 256 even points know its parts to 1/100.
    found = how_sure(at(celsius), WARM)
    other = "normal" if celsius > 30 else "bent"
    assert found.leader == ("bent" if celsius > 30 else "normal")
    assert found.same_leader == pytest.approx(share, abs=0.01)
    assert found.takers == (Taker(other, pytest.approx(1 - share, abs=0.01)),)


def test_a_sample_is_read_with_instruments_of_the_same_kind():
    columns = columns_of([Reading(refrigerant="R134a", low_side="30 psi", high_side="200 psi", ambient="90 degF")])
    sampled = Work(_sample(columns, _axes(columns), 8, 0), QUANTITIES)
    work = Work(columns, QUANTITIES)
    for name in ("low_side", "high_side", "ambient"):
        assert sampled.number(name).u == pytest.approx(np.repeat(work.number(name).u, 8), rel=0.1)


def test_without_an_error_every_sample_gives_the_answer_itself():
    columns = columns_of([at(31.0)])
    sampled = weigh_columns(_sample(columns, dict.fromkeys(_axes(columns), 0.0), 4, 0), WARM)
    itself = weigh_columns(columns, WARM)
    assert sampled.probability == pytest.approx(np.repeat(itself.probability, 4, axis=0))


def test_the_air_moves_the_pressure_and_not_the_dial():
    # In the vacuum rule only the dial counts: with an exact gauge nothing else can change the answer.
    vacuum = Reading(refrigerant="R134a", low_side="1 inHg vac", low_gauge="0 psi")
    found = how_sure(vacuum, DIALS)
    assert found.varied == ("barometer",)
    assert (found.leader, found.same_leader, found.turning_point) == ("bent", 1.0, None)
    doubtful = how_sure(Reading(vacuum.given, low_gauge="1 psi"), DIALS)
    assert doubtful.varied == ("low_side", "barometer")
    inch = 3386.388640341
    assert doubtful.same_leader == pytest.approx(0.5 + inch / PSI / 2.0, abs=0.01)
    assert doubtful.turning_point.field == "low_side"
    assert doubtful.turning_point.shift == pytest.approx(inch, rel=1e-3)


def test_both_sides_feel_the_same_error_of_the_air():
    columns = columns_of([Reading(refrigerant="R134a", low_side="30 psi", high_side="200 psi")])
    exact = replace(
        columns,
        numbers={**columns.numbers, "low_gauge": np.zeros(1), "high_gauge": np.zeros(1)},
    )
    sampled = _sample(exact, _axes(exact), 100, 0)
    errors = [sampled.numbers[side] - columns.numbers[side] for side in SIDES]
    assert errors[0] == pytest.approx(errors[1], abs=1e-6)
    assert errors[0] == pytest.approx(sampled.barometer - columns.barometer, abs=1e-6)
    assert np.std(errors[0]) == pytest.approx(2000.0, rel=0.1)


def test_a_makers_range_moves_with_the_air_as_the_dial_does():
    columns = columns_of([Reading(low_side="30 psi", low_gauge="0 psi", spec={"low_side": ["25 psi", "35 psi"]})])
    sampled = _sample(columns, _axes(columns), 20, 0)
    assert np.ptp(sampled.numbers["low_side"]) > 1e3
    for end, distance in (("from", 5 * PSI), ("to", -5 * PSI)):
        found = sampled.numbers["low_side"] - sampled.numbers[f"spec.low_side.{end}"]
        assert found == pytest.approx(np.full(20, distance))


def test_a_swing_moves_as_a_whole():
    columns = columns_of([Reading(refrigerant="R134a", low_side="22 to 45 psi", barometer="1013 hPa")])
    sampled = _sample(columns, _axes(columns), 50, 0)
    for end, distance in (("from", 11.5 * PSI), ("to", -11.5 * PSI)):
        found = sampled.numbers["low_side"] - sampled.numbers[f"low_side.{end}"]
        assert found == pytest.approx(np.full(50, distance))
    assert np.ptp(sampled.numbers["low_side"]) > 20e3


def test_what_no_instrument_measured_does_not_vary():
    told = {
        "humidity": "50 %",
        "running_for": "5 min",
        "engine_speed": "1500 rpm",
        "low_side": "low",
        "high_side": "high",
    }
    found = how_sure(Reading(told), BUILT_IN)
    assert (found.varied, found.same_leader, found.turning_points) == ((), 1.0, ())


READINGS = mine.told()
FEW = settings(max_examples=25)


@FEW
@given(READINGS)
def test_shares_are_parts_of_a_whole(told):
    reading = told.reading()
    found = how_sure(reading, BUILT_IN)
    assert 0.0 <= found.same_verdict <= found.same_leader <= 1.0
    assert found.same_leader + sum(t.share for t in found.takers) == pytest.approx(1.0)
    assert all(t.share > 0.0 and t.fault != found.leader for t in found.takers)
    assert [t.share for t in found.takers] == sorted((t.share for t in found.takers), reverse=True)
    diagnosis = diagnose(reading)
    assert found.verdict == diagnosis.verdict
    assert diagnosis.first.probability == pytest.approx(
        next(r.probability for r in diagnosis.ranking if r.fault == found.leader)
    )


@FEW
@given(READINGS)
def test_perfect_instruments_leave_no_doubt(told):
    columns = columns_of([told.reading()])
    exact = {f"{name}_accuracy": np.zeros(1) for name in ("low_gauge", "high_gauge", "thermometer")}
    perfect = replace(columns, numbers={**columns.numbers, **exact}, barometer_uncertainty=np.zeros(1))
    found = how_sure_of_columns(perfect, BUILT_IN)
    assert (found.same_leader, found.same_verdict, found.takers, found.turning_points) == (1.0, 1.0, (), ())


@FEW
@given(READINGS, st.integers(0, 5))
def test_the_same_question_has_the_same_answer(told, seed):
    assert how_sure(told.reading(), BUILT_IN, seed=seed) == how_sure(told.reading(), BUILT_IN, seed=seed)


@FEW
@given(READINGS)
def test_units_change_nothing(told):
    one, other = (how_sure(told.reading(units), BUILT_IN) for units in (UnitSet.SI, UnitSet.US))
    # Rounding in the twelfth digit may carry one sample over an edge, not more.
    assert one.leader == other.leader
    assert one.same_leader == pytest.approx(other.same_leader, abs=2 / one.samples)
    assert [(p.field, p.fault) for p in one.turning_points] == [(p.field, p.fault) for p in other.turning_points]
    assert [p.shift for p in one.turning_points] == pytest.approx([p.shift for p in other.turning_points], rel=1e-3)


@pytest.mark.parametrize("celsius", [30.5, 31.0, 32.0, 29.0, 28.0])
def test_worse_thermometers_never_make_it_surer_on_average(celsius):
    limits = [0.2, 0.5, 1.0, 2.0, 4.0, 6.0]
    means = [np.mean([how_sure(at(celsius, f"{x} K"), WARM, seed=s).same_leader for s in range(6)]) for x in limits]
    assert means == sorted(means, reverse=True)
    assert means[0] > means[-1]


def test_another_seed_is_another_sample_of_the_same():
    shares = [how_sure(at(31.0), WARM, seed=seed).same_leader for seed in range(12)]
    assert len(set(shares)) > 1
    assert max(shares) - min(shares) < 0.02


@pytest.mark.parametrize("bad", [{"samples": 0}, {"seed": -1}])
def test_there_is_at_least_one_sample(bad):
    with pytest.raises(ValueError, match="at least 1"):
        how_sure(at(31), WARM, **bad)


def test_one_reading_at_a_time():
    with pytest.raises(ValueError, match="one reading"):
        how_sure_of_columns(columns_of([at(31), at(32)]), WARM)


# -- what would have to be how wrong --------------------------------------------------------------------------------


def test_the_turning_point_is_the_distance_to_the_edge_in_both_measures():
    # Two equally common hypotheses and one edge at 30 degC: 3 K permitted are 1.732 K standard.
    point = how_sure(at(33.0), WARM).turning_point
    assert point == TurningPoint(
        "ambient",
        pytest.approx(-3.0, abs=1e-3),
        pytest.approx(303.15, abs=1e-3),
        pytest.approx(math.sqrt(3.0)),
        "normal",
    )
    assert point.in_u == pytest.approx(math.sqrt(3.0), abs=1e-3)
    assert point.dimension is Dimension.TEMPERATURE_DIFFERENCE


@pytest.mark.parametrize(("celsius", "shift"), [(23.0, -3.0), (28.0, 2.0)])
def test_of_two_ways_to_change_the_answer_the_shorter_counts(celsius, shift):
    (point,) = how_sure(at(celsius), MILD).turning_points
    assert point.shift == pytest.approx(shift, abs=0.01)


def test_beyond_ten_standard_uncertainties_nobody_looks():
    assert how_sure(at(30.0 + 9.9 * math.sqrt(3.0)), WARM).turning_point is not None
    assert how_sure(at(30.0 + 10.1 * math.sqrt(3.0)), WARM).turning_point is None


@FEW
@given(READINGS)
def test_at_a_turning_point_the_first_place_changes_and_just_before_it_does_not(told):
    columns = columns_of([told.reading()])
    found = how_sure_of_columns(columns, BUILT_IN)
    assert len({p.field for p in found.turning_points}) == len(found.turning_points)
    assert [p.in_u for p in found.turning_points] == sorted(p.in_u for p in found.turning_points)
    for point in found.turning_points:
        assert 0.0 < point.in_u <= REACH + 1e-9
        assert point.fault != found.leader
        assert leader(moved(columns, point.field, point.shift)) == point.fault
        before = point.shift - math.copysign(STEP / 16**3 * point.u * 1.01, point.shift)
        assert leader(moved(columns, point.field, before)) == found.leader


def test_the_other_value_can_be_typed_and_brings_the_answer_that_was_said():
    given_ = {"refrigerant": "R134a", "low_side": "25 psi", "high_side": "350 psi", "ambient": "90 degF"}
    with small_pack.in_place_of_the_built_in():
        program = program_for()
        found = how_sure(Reading(given_), program)
        typed_again = [p for p in found.turning_points if p.field != "barometer"]
        assert typed_again, "this reading lies too far from any edge for this test"
        for point in typed_again:
            pressure = FIELDS[point.field].dimension is Dimension.PRESSURE
            typed = f"{point.value:.6f} Pa abs" if pressure else f"{point.value:.8f} K"
            again = diagnose(Reading({**given_, point.field: typed}), program=program)
            assert again.first.fault == point.fault


def test_no_pressure_is_sought_below_a_perfect_vacuum():
    reading = Reading(
        refrigerant="R134a", low_side="27 inHg vac", low_gauge="class 4, 0 to 40 bar", barometer="1013 hPa"
    )
    columns = columns_of([reading])
    for point in how_sure_of_columns(columns, BUILT_IN).turning_points:
        if point.field == "low_side":
            assert point.value > 0.0
    sampled = _sample(columns, _axes(columns), 64, 0)
    assert (sampled.numbers["low_side"] >= 0.0).all()


# -- the points -----------------------------------------------------------------------------------------------------


def test_the_points_fill_every_part_alike():
    points = _points(256, 12, 0)
    assert points.shape == (12, 256)
    counts = np.array([np.histogram(row, bins=16, range=(0.0, 1.0))[0] for row in points])
    assert counts.min() >= 12
    assert counts.max() <= 20


def test_the_points_of_two_seeds_have_none_in_common():
    one, other = (_points(64, 2, seed).round(9) for seed in (0, 1))
    assert not set(one[0]) & set(other[0])


@pytest.mark.parametrize("p", [1e-6, 1e-3, 0.02, 0.1, 0.5, 0.7, 0.99, 1 - 1e-6])
def test_quantiles_are_those_of_the_standard_library(p):
    # 4.5e-4 is what the formula promises.
    assert float(normal_quantile(np.array([p]))[0]) == pytest.approx(NormalDist().inv_cdf(p), abs=4.5e-4)


def titles(program):
    return {name: loaded.entry.title for name, loaded in program.stack.faults.items()}


# -- said ---------------------------------------------------------------------------------------------------------


def test_it_is_said_in_two_sentences_in_the_readers_units():
    found = how_sure(at(33.0), WARM)
    often, wrong = sure_sentences(found, titles(WARM), UnitSet.US)
    assert often == (
        "Of 256 readings as other instruments of this kind might give them, the same comes first in all."
    )
    assert wrong == (
        'If the ambient were 5.4 degF lower than read, "A fault" would come first: '
        "1.7 times its standard uncertainty."
    )
    assert "3.0 K lower" in sure_sentences(found, titles(WARM), UnitSet.SI)[1]
    often, _ = sure_sentences(how_sure(at(32.0), WARM), titles(WARM), UnitSet.SI)
    assert often.endswith('the same comes first in 84 %, "A fault" in 16 %.')


def test_what_cannot_change_is_said_to_be_so():
    assert sure_sentences(how_sure(at(60.0), WARM), titles(WARM), UnitSet.SI)[1] == (
        "No single reading changes that, even 10 standard uncertainties off."
    )


def test_where_nothing_comes_first_nothing_is_said_of_it():
    found = how_sure(at(33.0), WARM)
    assert sure_sentences(replace(found, verdict="gated"), titles(WARM), UnitSet.SI) == ()
    assert sure_sentences(replace(found, verdict="not_enough"), titles(WARM), UnitSet.SI) == ()
    assert sure_sentences(replace(found, varied=()), titles(WARM), UnitSet.SI) == (
        "No gauge and no thermometer was read, so none can be off.",
    )


@FEW
@given(READINGS, st.sampled_from(list(UnitSet)))
def test_what_is_said_is_whole_sentences_with_the_units_asked_for(told, units):
    found = how_sure(told.reading(), BUILT_IN)
    said = sure_sentences(found, titles(BUILT_IN), units)
    assert all(sentence.endswith(".") and len(sentence) < 300 for sentence in said)
    if len(said) == 2 and found.turning_point is not None:
        assert f" {symbol_for(found.turning_point.dimension, units)} " in said[1]
