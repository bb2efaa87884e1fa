"""What the leader leaves over: two faults are found as two, a wrong reading is suspected; neither is forced."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

import strategies as mine
from twogauge.diagnosis import columns_of, diagnose, program_for
from twogauge.reading import Reading
from twogauge.second import STRONG, second
from twogauge.weigh import topic_weights, weigh_chunk

BUILT_IN = program_for()
# A retrofitted bus with too small a charge and a condenser fan that stands still: the high side looks nearly right.
SHORT_AND_HOT = {
    "refrigerant": "R134a",
    "system": "bus_ac",
    "low_side": "28 psi",
    "high_side": "200 psi",
    "ambient": "85 degF",
    "sight_glass": "bubbles",
    "superheat": "high",
    "subcooling": "low",
    "condenser_fan": "stopped",
    "condenser_face": "dirty_or_blocked",
}
# Everything says health but one gauge.
ONE_BAD_GAUGE = {
    "refrigerant": "R134a",
    "low_side": "32 psi",
    "high_side": "90 psi",
    "ambient": "85 degF",
    "vent_air": "44 degF",
    "superheat": "normal",
    "subcooling": "normal",
    "suction_line_feel": "cold",
    "cooling_over_time": "steady",
}


def test_two_faults_at_once_are_found_as_two():
    found = second(Reading(SHORT_AND_HOT), BUILT_IN)
    first = diagnose(Reading(SHORT_AND_HOT)).first.fault
    assert {first, found.faults[0].fault} == {"low_charge", "condenser_cooling"}
    assert found.faults[0].gain >= 6.0
    assert found.faults[0].odds > 0.0


def test_one_fault_that_explains_everything_gets_no_second():
    found = second(Reading(low_side="high", high_side="low", compressor_noise="noisy"), BUILT_IN)
    assert found.remainder < STRONG
    assert found.faults == ()
    assert found.suspects == ()


def test_faults_that_exclude_each_other_are_no_pair():
    told = {"low_side": "low", "high_side": "low", "sight_glass": "foam", "subcooling": "high"}
    reading = Reading(told, leak_detector="finds_leak", last_service="charged_by_pressure")
    assert diagnose(reading).first.fault == "low_charge"
    found = second(reading, BUILT_IN)
    assert found.remainder > STRONG
    assert "overcharge" not in {f.fault for f in found.faults}


def test_a_gauge_that_contradicts_everything_is_suspected_first():
    found = second(Reading(ONE_BAD_GAUGE), BUILT_IN)
    assert found.suspects[0].names == ("high_side",)
    assert found.suspects[0].fault == "normal"
    assert found.suspects[0].remainder < found.remainder - 6.0
    good = second(Reading({**ONE_BAD_GAUGE, "high_side": "200 psi"}), BUILT_IN)
    assert good.suspects == ()


def test_swapped_ports_are_tried_in_each_others_place():
    reading = Reading(
        refrigerant="R134a", low_side="210 psi", high_side="33 psi", ambient="85 degF", vent_air="45 degF"
    )
    (suspect,) = [s for s in second(reading, BUILT_IN).suspects if s.swapped]
    assert suspect.names == ("low_side", "high_side")
    assert suspect.fault == "normal"


def test_behind_a_gate_nothing_is_offered():
    found = second(Reading({**SHORT_AND_HOT, "compressor": "off"}), BUILT_IN)
    assert found.faults == ()
    assert found.suspects == ()


def test_descriptions_of_the_machine_are_no_readings():
    found = second(Reading({**ONE_BAD_GAUGE, "metering": "expansion_valve", "system": "bus_ac"}), BUILT_IN)
    assert not {"metering", "system", "refrigerant"} & {name for s in found.suspects for name in s.names}


@given(mine.told())
def test_what_topics_say_adds_up_to_the_weight(told):
    weighed, ledger = weigh_chunk(columns_of([told.reading()]), BUILT_IN)
    assert topic_weights(ledger)[:, :, 0].sum(axis=0) == pytest.approx(weighed.weight[0], abs=1e-9)


@given(mine.told())
def test_any_reading_gets_an_answer_and_always_the_same(told):
    found = second(told.reading(), BUILT_IN)
    assert found == second(told.reading(), BUILT_IN)
    assert found.remainder >= 0.0
    assert np.isfinite(
        [found.remainder, *(f.odds for f in found.faults), *(s.remainder for s in found.suspects)]
    ).all()
    assert all(s.remainder <= found.remainder or s.swapped for s in found.suspects)
    assert list(found.faults) == sorted(found.faults, key=lambda f: (-f.odds, f.fault))
