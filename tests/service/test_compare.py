"""Before and after a repair: only changes that the instruments support count, and the verdict is the diagnoses'."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.diagnosis import diagnose, program_for
from twogauge.reading import Reading
from twogauge.service.compare import compare

PROGRAM = program_for()
STARVED = {
    "refrigerant": "R134a",
    "low_side": "6 psi",
    "high_side": "118 psi",
    "ambient": "91 degF",
    "humidity": "50 %",
    "air_intake": "outside",
    "vent_air": "68 degF",
    "suction_line": "61 degF",
    "liquid_line": "92 degF",
    "running_for": "12 min",
    "checks": {"sight_glass": "bubbles"},
}
SOUND = {
    **STARVED,
    "low_side": "30 psi",
    "high_side": "220 psi",
    "vent_air": "50 degF",
    "suction_line": "48 degF",
    "liquid_line": "116 degF",
    "checks": {"sight_glass": "clear"},
}


def two(before, after):
    return compare(Reading(before), Reading(after), PROGRAM)


def changes(found):
    return {each.before.name: each for each in found.changes}


def test_a_repair_that_worked():
    found = two(STARVED, SOUND)
    assert found.outcome == "worked"
    assert found.fault == diagnose(Reading(STARVED)).first.fault
    assert found.probability[0] > 0.9
    assert found.probability[1] < 0.1
    assert changes(found)["superheat"].counts
    assert changes(found)["superheat"].by < 0
    assert found.fair


@pytest.mark.parametrize(
    ("before", "after", "outcome"),
    [
        (STARVED, STARVED, "not"),
        (SOUND, STARVED, "worse"),
        (SOUND, SOUND, "nothing_was_wrong"),
        (STARVED, {"refrigerant": "R134a", "ambient": "91 degF"}, "cannot_say"),
        (STARVED, {**SOUND, "compressor": "off"}, "cannot_say"),
        (STARVED, {**SOUND, "ambient": "35 degF"}, "cannot_say"),
    ],
)
def test_other_outcomes(before, after, outcome):
    assert two(before, after).outcome == outcome


def test_another_fault_after_the_first_is_told_as_such():
    over = {**SOUND, "low_side": "60 psi", "high_side": "340 psi", "liquid_line": "158 degF", "vent_air": "62 degF"}
    over["checks"] = {"sight_glass": "clear", "condenser_fan": "stopped"}
    found = two(STARVED, over)
    assert found.after.verdict == "fault"
    assert found.outcome == "another"


def test_a_change_within_the_instruments_is_none():
    found = two(SOUND, {**SOUND, "low_side": "31 psi", "high_side": "224 psi", "vent_air": "51 degF"})
    assert not any(each.counts for each in found.changes)


@given(st.floats(0.0, 3.0))
def test_a_larger_change_never_counts_less(times):
    small = two(SOUND, {**SOUND, "low_side": f"{30 + 4 * times} psi"})
    large = two(SOUND, {**SOUND, "low_side": f"{30 + 4 * times + 2} psi"})
    assert changes(small)["low_side"].counts <= changes(large)["low_side"].counts


def test_better_instruments_see_smaller_changes():
    fine = {"low_gauge": "digital 0.2 psi", "high_gauge": "digital 0.5 psi", "barometer": "29.9 inHg"}
    assert not changes(two(SOUND, {**SOUND, "low_side": "32 psi"}))["low_side"].counts
    assert changes(two({**SOUND, **fine}, {**SOUND, **fine, "low_side": "32 psi"}))["low_side"].counts


def test_units_change_nothing():
    metric = {
        **STARVED,
        "units": "metric",
        "low_side": "41.368543759 kPa",
        "high_side": "813.581360594 kPa",
        "ambient": "32.7777777778 degC",
        "vent_air": "20 degC",
        "suction_line": "16.1111111111 degC",
        "liquid_line": "33.3333333333 degC",
    }
    one, other = two(STARVED, SOUND), two(metric, SOUND)
    assert one.probability == pytest.approx(other.probability, abs=1e-6)
    for name, change in changes(one).items():
        assert changes(other)[name].by == pytest.approx(change.by, rel=1e-6, abs=1e-3)
    assert one.same_air.temperature == pytest.approx(other.same_air.temperature, abs=1e-5)


@pytest.mark.parametrize(
    ("told", "field", "fair"),
    [
        ({"ambient": "100 degF"}, "ambient", True),
        ({"humidity": "80 %"}, "humidity", True),
        ({"refrigerant": "R1234yf"}, "refrigerant", True),
        ({"air_intake": "recirculated"}, "air_intake", False),
        ({"doors": "closed"}, "doors", False),
        ({"engine_speed": "900 rpm"}, "engine_speed", False),
        ({"machine": "bus 18"}, "machine", False),
    ],
)
def test_what_differs_is_told_and_only_some_can_be_made_up_for(told, field, fair):
    alike = {"doors": "open", "engine_speed": "1500 rpm", "machine": "bus 17"}
    found = two({**STARVED, **alike}, {**SOUND, **alike, **told})
    assert [each.field for each in found.differing] == [field]
    assert found.fair is fair


def test_two_machines_say_nothing_of_a_repair():
    assert two({**STARVED, "machine": "bus 17"}, {**SOUND, "machine": "Bus 17"}).outcome == "worked"
    assert two({**STARVED, "machine": "bus 17"}, {**SOUND, "machine": "bus 18"}).outcome == "cannot_say"


def test_a_machine_that_had_not_settled_is_told():
    found = two(STARVED, {**SOUND, "running_for": "4 min"})
    assert found.short == ("after",)
    assert not found.fair


def test_rows_that_another_refrigerant_spoils_are_marked():
    found = changes(two(STARVED, {**SOUND, "refrigerant": "R1234yf"}))
    assert found["high_side"].unlike == "refrigerant"
    assert found["condensing_over_ambient"].unlike == ""


def test_the_same_machine_in_drier_air_has_not_become_better():
    humid = {**SOUND, "humidity": "75 %", "vent_air": "62 degF"}
    took = two(humid, humid).vents[0].taken.total
    dry = two(humid, {**humid, "humidity": "35 %"}).vents[1]
    # Find the vents at which drier air gives up as much: colder by several kelvin, and yet no change.
    from twogauge.service.moist_air import leaving_temperature

    colder = leaving_temperature(dry.entering, took)
    found = two(humid, {**humid, "humidity": "35 %", "vent_air": f"{colder - 273.15} degC"})
    assert changes(found)["vent_air"].by < -5.0
    assert changes(found)["vent_air"].counts
    assert found.same_air.by == pytest.approx(0.0, abs=0.01)
    assert not found.same_air.counts


def test_without_humidity_the_vents_are_judged_and_not_carried_over():
    dry = {name: value for name, value in SOUND.items() if name != "humidity"}
    found = two(STARVED, dry)
    assert found.same_air is None
    assert found.vents[1].taken is None
    assert "humidity" in found.vents[1].why_not
    assert found.only_before == ("humidity",)


def test_warm_vents_take_nothing_out_of_the_air():
    found = two({**STARVED, "vent_air": "93 degF"}, SOUND)
    assert found.vents[0].taken is None
    assert "no colder" in found.vents[0].why_not
    assert found.same_air.by < 0


@pytest.mark.parametrize(
    ("before", "after", "older"),
    [
        ("2026-06-22", "2026-06-21", True),
        ("2026-06-22", "2026-06-22", False),
        ("2026-06-22T14:00", "2026-06-22T09:00", True),
        ("2026-06-22T14:00", "2026-06-22", False),
        ("2026-06-22T14:00+00:00", "2026-06-22T10:00-05:00", False),
        ("2026-06-22T16:00+00:00", "2026-06-22T10:00-05:00", True),
        ("2026-06-22T14:00", "2026-06-22T10:00-05:00", False),
        ("22 June", "2026-06-21", False),
        (None, "2026-06-21", False),
    ],
)
def test_which_came_first_is_told_by_what_both_dates_say(before, after, older):
    found = two({**STARVED, "date": before}, {**SOUND, "date": after})
    assert (found.doubts == ("after_is_older",)) == older
    assert found.dates_read == (before != "22 June")


def test_the_same_figures_on_two_days_are_no_copy():
    assert two(STARVED, STARVED).doubts == ("same_figures",)
    assert two({**STARVED, "date": "2026-06-20"}, {**STARVED, "date": "2026-06-22"}).doubts == ()
    assert two(STARVED, {**STARVED, "checks": {"sight_glass": "clear"}}).doubts == ()
