"""What to look at next: the laws of the model, what may be proposed at all, and what is said about each outcome."""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import strategies as mine
from twogauge.diagnosis import diagnose, program_for
from twogauge.fields import FIELDS, LEVEL_WORDS
from twogauge.levels import LEVELS
from twogauge.next_checks import (
    _ASK,
    CERTAIN,
    OVERHEAD,
    WORTH,
    Outcome,
    information,
    likelihoods,
    next_checks,
    question_about,
)
from twogauge.output.outlook import step_sentences
from twogauge.output.style import percent
from twogauge.packs.words import EFFORT
from twogauge.quantities import UnitSet
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading

MANY = 1000
TWO_GAUGES = {"refrigerant": "R134a", "low_side": "5 psi", "high_side": "280 psi", "ambient": "90 degF"}

PACK = {
    "pack": "workshop",
    "cautions": {
        "goggles": {"text": "Wear goggles.", "source": "common practice"},
        "burns": {"text": "It burns.", "only_with": ["highly_flammable"], "source": "common practice"},
    },
    "faults": {
        "normal": mine.fault_entry("common", nothing_wrong="yes", title="Nothing wrong"),
        "smothered": mine.fault_entry("common", title="No air"),
        "thirsty": mine.fault_entry("common", title="Not enough in it"),
        "bulb_loose": mine.fault_entry("common", title="A loose bulb", applies_to={"metering": ["expansion_valve"]}),
    },
    "checks": {
        "paper": mine.check_entry(("sticks", "falls"), "glance") | {"cautions": ["goggles", "burns"]},
        "paper_again": mine.check_entry(("sticks", "falls"), "much"),
        "nobody_looks_at_it": mine.check_entry(("yes", "no"), "glance"),
        "bulb": mine.check_entry(("tight", "loose"), "glance") | {"applies_to": {"metering": ["expansion_valve"]}},
        "bulb_chill": mine.check_entry(("yes", "no")) | {"applies_to": {"metering": ["expansion_valve"]}},
        "whisper": mine.check_entry(("yes", "no"), "glance"),
    },
    "bands": mine.BANDS,
    "gates": {
        "too_cold": mine.gate_entry({"ambient": {"below": "5 degC"}}, "everything"),
        "standing": mine.gate_entry({"compressor": {"is": "off"}}, "everything"),
    },
    "rules": {
        "high_high": mine.rule_entry({"high_side_level": {"is": "high"}}, {"smothered": "for"}, "high_side"),
        "low_low": mine.rule_entry({"low_side_level": {"is": "low"}}, {"thirsty": "for"}, "low_side"),
        "paper_falls": mine.rule_entry({"paper": {"is": "falls"}}, {"smothered": "strongly for"}, "air"),
        "paper_falls_again": mine.rule_entry({"paper_again": {"is": "falls"}}, {"smothered": "strongly for"}, "more"),
        "bulb_is_loose": mine.rule_entry({"bulb": {"is": "loose"}}, {"bulb_loose": "strongly for"}, "bulb"),
        "chill_helps": mine.rule_entry({"bulb_chill": {"is": "yes"}}, {"thirsty": "strongly for"}, "chill"),
        "hardly_anything": mine.rule_entry({"whisper": {"is": "yes"}}, {"thirsty": "0.3 dB"}, "noise"),
    },
}


def steps(program=None, count=MANY, **fields):
    return next_checks(Reading(fields), program or mine.compiled(PACK), count=count)


def names(found):
    return [step.name for step in found]


def one(name, **fields):
    return next(step for step in steps(**fields) if step.name == name)


def entropy(p):
    p = p[p > 0]
    return float(-(p * np.log2(p)).sum())


# -- the model ----------------------------------------------------------------------------------------------------


@st.composite
def models(draw):
    faults, answers = draw(st.integers(1, 6)), draw(st.integers(2, 5))
    shares = draw(st.lists(st.floats(0, 1), min_size=faults, max_size=faults).filter(lambda x: sum(x) > 0.01))
    decibans = st.integers(-60, 60).map(float) | st.just(-math.inf)
    rows = draw(st.lists(st.lists(decibans, min_size=faults, max_size=faults), min_size=answers, max_size=answers))
    return np.array(shares) / sum(shares), np.array(rows)


@given(models())
def test_answers_of_a_fault_are_probabilities_and_no_answer_costs_information(model):
    present, evidence = model
    likelihood = likelihoods(evidence)
    assert np.all(likelihood >= 0)
    np.testing.assert_allclose(likelihood.sum(axis=0), 1.0, rtol=1e-12)
    chance = likelihood @ present
    expected = sum(p * entropy(row * present / p) for p, row in zip(chance, likelihood, strict=True) if p > 0)
    gained = information(present, likelihood)
    assert gained >= 0.0
    assert expected <= entropy(present) + 1e-9
    assert gained == pytest.approx(entropy(present) - expected, abs=1e-9)


def test_ten_decibans_more_are_ten_times_as_likely():
    likelihood = likelihoods(np.array([[10.0, 0.0], [0.0, 0.0]]))
    assert likelihood[:, 0] == pytest.approx([10 / 11, 1 / 11])
    assert likelihood[:, 1] == pytest.approx([0.5, 0.5])
    # Worked by hand: two faults alike, answers 10/11 and 1/11 against even odds.
    by_hand = entropy(np.array([31 / 44, 13 / 44])) - 0.5 * entropy(np.array([10 / 11, 1 / 11])) - 0.5
    assert information(np.array([0.5, 0.5]), likelihood) == pytest.approx(by_hand)


def test_an_answer_that_excludes_a_fault_is_not_expected_of_it():
    likelihood = likelihoods(np.array([[-math.inf, 0.0], [3.0, 0.0]]))
    assert likelihood[:, 0].tolist() == [0.0, 1.0]


def test_the_expected_answer_is_mixed_over_the_present_probabilities():
    found = {r.fault: r.probability for r in diagnose(Reading(low_side="low"), program=mine.compiled(PACK)).ranking}
    falls = next(o for o in one("paper", low_side="low").outcomes if o.answer == "falls")
    smothered = found["smothered"]
    assert falls.probability == pytest.approx(smothered * 10 / 11 + (1 - smothered) / 2)


@given(mine.told())
def test_outcomes_of_any_reading_are_probabilities(told):
    for step in next_checks(told.reading(), program_for(), count=MANY):
        assert sum(o.probability for o in step.outcomes) == pytest.approx(1.0, abs=1e-12)
        assert len(step.outcomes) >= 2
        assert step.information >= WORTH
        for o in step.outcomes:
            assert all(0.0 <= p <= 1.0 for p in (o.probability, o.before, o.after, o.mover_before, o.mover_after))


@given(mine.told(), st.data())
def test_an_outcome_is_what_a_diagnosis_with_that_answer_says(told, data):
    reading, program = told.reading(), program_for()
    now = mine.chances(program, reading)
    found = next_checks(reading, program, count=MANY)
    # A gauge that was read as a number cannot be told as a word beside it; it lacks the air or the refrigerant.
    possible = [(s, o) for s in found for o in s.outcomes if o.puts[0] not in reading.parts.numbers]
    for _, outcome in data.draw(st.lists(st.sampled_from(possible), max_size=5)) if possible else []:
        name, word = outcome.puts
        then = Reading(
            {**reading.given, name: word}
            if name in FIELDS
            else {**reading.given, "checks": {**told.checks, name: word}},
            units=UnitSet.SI,
        )
        after = mine.chances(program, then)
        assert outcome.after == pytest.approx(after[outcome.leader], abs=1e-12)
        assert outcome.after == pytest.approx(max(after.values()), abs=1e-12)
        assert outcome.before == pytest.approx(now[outcome.leader], abs=1e-12)
        assert outcome.mover_before == pytest.approx(now[outcome.mover], abs=1e-12)
        assert outcome.mover_after == pytest.approx(after[outcome.mover], abs=1e-12)
        furthest = max(abs(after[fault] - now[fault]) for fault in after)
        assert abs(outcome.mover_after - outcome.mover_before) == pytest.approx(furthest, abs=1e-12)


# -- what is proposed ---------------------------------------------------------------------------------------------


@given(mine.told(), st.randoms(use_true_random=False))
def test_what_was_answered_given_or_is_unknown_never_appears(told, random):
    reading, program = told.reading(), program_for()
    before = names(next_checks(reading, program, count=MANY))
    assert not set(before) & {*told.numbers, *told.words, *told.checks}
    if before:
        name = random.choice(before)
        where = {name: "unknown"} if name in FIELDS else {"checks": {**told.checks, name: "Unknown"}}
        given_up = Reading({**reading.given, **where}, units=UnitSet.SI)
        assert name not in names(next_checks(given_up, program, count=MANY))


@given(mine.told(), st.randoms(use_true_random=False))
def test_the_order_of_what_is_told_changes_nothing(told, random):
    reading = told.reading()
    again = Reading(mine.shuffled(random, reading.given), units=UnitSet.SI)
    assert next_checks(again, program_for()) == next_checks(reading, program_for())


@settings(max_examples=10)
@given(st.randoms(use_true_random=False))
def test_the_order_of_a_pack_changes_nothing(random):
    shuffled = PACK | {part: mine.shuffled(random, PACK[part]) for part in ("faults", "rules", "gates", "bands")}
    assert steps(mine.compiled(shuffled)) == steps()


def test_the_most_telling_per_minute_come_first_and_no_more_than_wanted():
    found = next_checks(Reading(TWO_GAUGES), program_for(), count=MANY)
    worth = [step.information / (step.minutes + OVERHEAD) for step in found]
    assert len(found) > 5
    assert worth == sorted(worth, reverse=True)
    assert next_checks(Reading(TWO_GAUGES), program_for()) == found[:3]


def test_of_two_that_tell_the_same_the_quick_one_comes_first():
    found = steps(low_side="low")
    first, second = (step for step in found if step.name.startswith("paper"))
    assert (first.name, second.name) == ("paper", "paper_again")
    assert first.information == pytest.approx(second.information)
    assert (first.minutes, second.minutes) == (EFFORT["glance"], EFFORT["much"])


def test_nothing_is_asked_that_no_rule_looks_at_or_that_hardly_matters():
    found = names(steps(low_side="low"))
    assert "paper" in found
    assert not {"nobody_looks_at_it", "whisper"} & set(found)


def test_a_check_of_another_kind_of_machine_is_not_proposed():
    assert {"bulb", "bulb_chill"} <= set(names(steps(low_side="low")))
    assert not {"bulb", "bulb_chill"} & set(names(steps(low_side="low", metering="capillary")))


def test_what_was_measured_is_not_felt_and_of_the_two_only_one_is_proposed():
    pack = copy.deepcopy(PACK)
    pack["checks"]["paper"]["same_as"] = ["vent_air"]
    assert "paper" in names(steps(low_side="low"))
    assert "paper" not in names(steps(mine.compiled(pack), low_side="low", vent_air="50 degF"))
    starved = {"refrigerant": "R134a", "low_side": "0 psi", "high_side": "200 psi", "ambient": "90 degF"}
    found = names(next_checks(Reading(starved), program_for(), count=MANY))
    pairs = {("liquid_line_feel", "liquid_line"), ("suction_line_feel", "suction_line"), ("vent_feel", "vent_air")}
    assert not [pair for pair in pairs if set(pair) <= set(found)]
    assert any(set(pair) & set(found) for pair in pairs)


def test_a_choice_that_decides_which_faults_there_are_is_proposed():
    step = one("metering", low_side="low")
    told = {o.answer: o for o in step.outcomes}
    assert set(told) == set(FIELDS["metering"].choices)
    assert told["capillary"].mover == "bulb_loose"
    assert told["capillary"].mover_after == 0.0
    assert "metering" not in names(steps(low_side="low", metering="capillary"))


def test_an_outcome_that_only_shuts_a_gate_is_none():
    # "off" would take all evidence away; that says when it was read, and nothing about the machine.
    assert "compressor" not in names(steps(low_side="low", high_side="high"))


def test_behind_a_gate_nothing_is_asked_whose_answer_would_not_count():
    assert steps(low_side="low", ambient="0 degC", metering="capillary") == ()


@pytest.mark.parametrize("verdict", ["fault", "normal"])
def test_nothing_is_asked_once_it_is_certain(verdict):
    checks = {"air": [{"sight_glass": "oil_streaks", "clutch": "cycles_rapidly"}, {"vent_feel": "cold"}]}["air"]
    given_ = {
        "fault": {**TWO_GAUGES, "high_side": "100 psi", "checks": checks[0]},
        "normal": {**TWO_GAUGES, "low_side": "32 psi", "high_side": "200 psi", "checks": checks[1]},
    }[verdict]
    found = diagnose(Reading(given_))
    assert (found.verdict, found.first.probability > CERTAIN) == (verdict, True)
    assert next_checks(Reading(given_), program_for()) == ()


# -- measurements -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured", "told_as"),
    [
        ("suction_line", "superheat"),
        ("liquid_line", "subcooling"),
        ("vent_air", "vent_air"),
        ("discharge_line", "discharge_line"),
        ("condenser_air_out", "condenser_air_rise"),
        ("return_air", "evaporator_air_drop"),
        ("low_side", "low_side"),
        ("high_side", "high_side"),
    ],
)
def test_a_measurement_is_weighed_as_the_level_it_feeds(measured, told_as):
    level = next(name for name, (_, field) in LEVELS.items() if field == told_as)
    rule = mine.rule_entry({level: {"is": "high"}}, {"thirsty": "strongly for"}, "it")
    quantity = QUANTITIES[LEVELS[level][0]]
    band = {
        "level": level,
        "normal": ["0 degC", "20 degC"] if quantity.dimension.value == "temperature" else ["1 K", "20 K"],
        "edge": "1 K",
        "baseline": "2 K",
        "source": "from memory",
    }
    pack = PACK | {"rules": {"it": rule}, "bands": {"its_band": band}}
    everything = TWO_GAUGES | {
        "suction_line": "60 degF",
        "liquid_line": "100 degF",
        "vent_air": "50 degF",
        "discharge_line": "160 degF",
        "condenser_air_out": "110 degF",
        "return_air": "80 degF",
    }
    reading = {name: value for name, value in everything.items() if name != measured}
    (step,) = steps(mine.compiled(pack), **reading, metering="capillary")
    assert (step.name, step.also) == (measured, ())
    assert [o.puts for o in step.outcomes] == [(told_as, word) for word in LEVEL_WORDS]
    assert [o.meaning.rpartition(" ")[2] for o in step.outcomes] == [*LEVEL_WORDS]
    assert steps(mine.compiled(pack), **everything, metering="capillary") == ()


def test_a_gauge_that_means_nothing_yet_asks_for_what_it_lacks():
    found = {step.name: step for step in steps(low_side="5 psi", high_side="280 psi", metering="capillary")}
    assert found["refrigerant"].outcomes[0].puts[0] == "low_side"
    assert not {"low_side", "high_side"} & set(found)
    known = steps(refrigerant="R134a", low_side="5 psi", high_side="280 psi", metering="capillary")
    assert next(step for step in known if step.name == "ambient").outcomes[0].puts[0] == "high_side"


def test_what_needs_two_measurements_says_so_and_takes_the_time_of_both():
    program = program_for()
    step = next(s for s in steps(program, low_side="low") if s.name == "return_air")
    assert step.also == ("vent_air",)
    alone = next(s for s in steps(program, low_side="low", vent_air="60 degF") if s.name == "return_air")
    assert alone.also == ()
    assert step.minutes > alone.minutes


def test_where_its_parts_cannot_be_measured_a_difference_is_not_asked_for_either():
    program = program_for()
    found = names(steps(program, **TWO_GAUGES, suction_line="unknown"))
    assert not {"suction_line", "superheat"} & set(found)
    assert "superheat" in names(steps(program, low_side="low", high_side="low"))  # no number to compute it from


@pytest.mark.parametrize(
    "name", sorted({f.name for f in FIELDS.values() if f.choices} | {f for _, f in LEVELS.values()})
)
def test_every_field_that_may_be_proposed_has_a_question(name):
    step = question_about(name, Reading(), program_for())
    assert step.ask == _ASK[name]
    assert step.ask.endswith("?")
    assert step.minutes > 0


# -- what is said -------------------------------------------------------------------------------------------------


def test_a_step_carries_what_somebody_needs_to_do_it():
    step = one("paper", low_side="low")
    assert (step.title, step.ask, step.how) == ("A check", "What is it like?", "Look at it.")
    assert [c.caution for c in step.cautions] == ["goggles", "burns"]
    assert [c.caution for c in one("paper", low_side="low", refrigerant="R134a").cautions] == ["goggles"]
    assert [c.caution for c in one("paper", low_side="low", refrigerant="R290").cautions] == ["goggles", "burns"]
    measure = next(s for s in next_checks(Reading(TWO_GAUGES), program_for(), count=MANY) if s.name == "suction_line")
    assert measure.how
    assert measure.cautions


def test_a_sentence_says_what_an_outcome_does_to_the_ranking():
    step = one("paper", low_side="low")
    titles = {"smothered": "No air", "thirsty": "Not enough in it", "normal": "Nothing wrong", "bulb_loose": "A bulb"}
    falls = next(o for o in step.outcomes if o.answer == "falls")
    assert (falls.mover, falls.leader, step.first) == ("smothered", "smothered", "thirsty")
    now, then = percent(falls.mover_before), percent(falls.mover_after)
    assert step_sentences(step, titles) == (
        f'If it is falls: "No air" goes from {now} to {then}.',
        "If it is sticks: little changes.",
    )


def test_a_new_leader_that_did_not_move_most_is_named():
    outcome = Outcome("a", "it is so", ("x", "a"), 1.0, "second", 0.3, 0.4, "first", 0.5, 0.1)
    step = one("paper", low_side="low")
    step = type(step)("x", "", "", "", 1.0, (), 0.1, (outcome,), (), "first")
    titles = {"first": "One", "second": "Two"}
    assert step_sentences(step, titles) == ('If it is so: "One" goes from 50 % to 10 %, and "Two" leads (40 %).',)
