"""The pack for stationary comfort cooling: what it may speak about, the yardsticks it brings, and everyday cases."""

from __future__ import annotations

import numpy as np
import pytest

from published.cases import published_cases
from twogauge import Reading, diagnose, refrigerants
from twogauge.diagnosis import columns_of, program_for
from twogauge.expect import expect
from twogauge.levels import JUDGED_BY, judge
from twogauge.output import expectation
from twogauge.output.paper import Paper
from twogauge.output.style import Style
from twogauge.output.text import as_text
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import built_in, rules_folder, stack
from twogauge.quantity_table import QUANTITIES
from twogauge.weigh import weigh_columns
from twogauge.work import Judged, Work

SYSTEMS = {"split_ac", "packaged_ac"}
FIXED = {"orifice_tube", "capillary"}
REFRIGERANTS = ("R22", "R410A", "R32", "R454B", "R407C")
AIR = 101_325.0


@pytest.fixture(scope="module")
def packs():
    return built_in()


@pytest.fixture(scope="module")
def without():
    """The built-in packs but for this one."""
    return compile_stack(stack([rules_folder() / name for name in ("common", "automotive")]))


def entries(packs, kind):
    return {name: loaded for name, loaded in getattr(packs, kind).items() if loaded.pack == "stationary"}


# -- what it is -----------------------------------------------------------------------------------------------------


def test_it_builds_on_the_common_pack_and_has_no_fault_of_its_own(packs):
    (header,) = (header for header in packs.packs if header.pack == "stationary")
    assert dict(header.builds_on) == {"common": 1}
    assert entries(packs, "faults") == {}
    assert entries(packs, "cautions") == {}
    assert len(entries(packs, "rules")) >= 20
    assert compile_stack(stack([rules_folder() / name for name in ("common", "stationary")])).rules


@pytest.mark.parametrize("kind", ["rules", "gates", "bands", "checks"])
def test_every_entry_of_it_is_for_stationary_units_only(packs, kind):
    mine = entries(packs, kind)
    assert mine
    assert {name for name, each in mine.items() if not set(each.entry.applies_to["system"]) <= SYSTEMS} == set()


def test_nobody_elses_band_or_gate_is_for_stationary_units_only(packs):
    for kind in ("bands", "gates"):
        for name, loaded in getattr(packs, kind).items():
            systems = set(loaded.entry.applies_to.get("system", ()))
            assert loaded.pack == "stationary" or not systems or not systems <= SYSTEMS, name


def test_nothing_is_copied_from_another_pack(packs):
    for kind, text in (("rules", "because"), ("rules", "title"), ("gates", "because"), ("checks", "how")):
        mine = {str(getattr(each.entry, text)) for each in entries(packs, kind).values()}
        theirs = {str(getattr(e.entry, text)) for e in getattr(packs, kind).values() if e.pack != "stationary"}
        assert mine & theirs == set()


def test_what_is_measured_against_a_target_shares_a_topic_with_the_level_of_the_same_quantity(packs):
    same = {
        "superheat_over_target": "superheat_level",
        "subcooling_over_target": "subcooling_level",
        "air_drop_over_target": "evaporator_air_drop_level",
    }
    for quantity, level in same.items():
        mine = {r.entry.topic for r in entries(packs, "rules").values() if quantity in r.entry.when}
        common = {r.entry.topic for r in packs.rules.values() if r.pack == "common" and set(r.entry.when) == {level}}
        assert mine == common, quantity
        assert len(mine) == 1


def test_a_target_for_fixed_orifices_is_asked_of_fixed_orifices_only(packs):
    for name, rule in entries(packs, "rules").items():
        if "superheat_over_target" in rule.entry.when:
            assert set(rule.entry.applies_to["metering"]) <= FIXED, name


# -- vehicles do not notice -----------------------------------------------------------------------------------------

# What a stationary unit would be judged by, told of a vehicle.
_OF_A_BUILDING = {
    "return_air": "80 degF",
    "return_wet_bulb": "67 degF",
    "liquid_line": "75 degF",
    "suction_line": "70 degF",
    "target_superheat": "10 degF",
    "target_subcooling": "10 degF",
    "target_air_drop": "19 degF",
    "vent_air": "55 degF",
    "running_for": "5 min",
}
_VEHICLES = [case for case in published_cases() if case.reading.parts.words["system"] not in SYSTEMS]


@pytest.mark.parametrize("more", [{}, _OF_A_BUILDING], ids=["as_published", "with_more_measured"])
def test_a_published_vehicle_case_is_weighed_as_without_it(without, more):
    assert len(_VEHICLES) >= 15
    columns = columns_of([Reading({**more, **case.reading.given}, units=case.reading.units) for case in _VEHICLES])
    one, other = weigh_columns(columns, program_for()), weigh_columns(columns, without)
    assert one.hypotheses == other.hypotheses
    np.testing.assert_allclose(one.probability, other.probability, rtol=1e-12)
    np.testing.assert_array_equal(one.verdict, other.verdict)


def test_a_stationary_unit_does_notice(without):
    columns = columns_of([Reading({**_OF_A_BUILDING, "system": "split_ac", "metering": "orifice_tube"})])
    one, other = weigh_columns(columns, program_for()), weigh_columns(columns, without)
    assert np.abs(one.probability - other.probability).max() > 0.01


# -- yardsticks -----------------------------------------------------------------------------------------------------


def normal(level, **fields):
    """Return the two ends of normal [SI]."""
    found = judge(Work(columns_of([Reading(fields)]), QUANTITIES, program_for().bands), level)
    assert isinstance(found, Judged), found
    return float(found.low[0]), float(found.high[0])


UNIT = {"system": "split_ac", "metering": "orifice_tube", "ambient": "85 degF"}


def test_superheat_is_measured_from_its_target_where_there_is_one():
    # 85 degF outside and 68 degF wet bulb inside ask for 19 degF.
    low, high = normal("superheat_level", **UNIT, superheat="10 K", return_wet_bulb="68 degF")
    assert (low * 1.8, high * 1.8) == pytest.approx((14.0, 24.0))
    told = normal("superheat_level", **UNIT, superheat="10 K", target_superheat="12 degF")
    assert (told[0] * 1.8, told[1] * 1.8) == pytest.approx((7.0, 17.0))
    wide = normal("superheat_level", **UNIT, superheat="10 K")
    assert wide[1] - wide[0] > 10.0
    assert wide == normal("superheat_level", **UNIT, superheat="10 K", return_wet_bulb="80 degF")


def test_subcooling_and_air_drop_are_measured_from_the_label():
    label = normal("subcooling_level", **UNIT, subcooling="5 K", target_subcooling="10 degF")
    assert (label[0] * 1.8, label[1] * 1.8) == pytest.approx((7.0, 13.0))
    drop = normal("evaporator_air_drop_level", **UNIT, evaporator_air_drop="10 K", target_air_drop="19 degF")
    assert (drop[0] * 1.8, drop[1] * 1.8) == pytest.approx((16.0, 22.0))


def judged_by(level, **fields):
    found = judge(Work(columns_of([Reading(fields)]), QUANTITIES, program_for().bands), level)
    return JUDGED_BY[found.by[0]]


def test_a_target_is_a_yardstick_of_its_own():
    told = {**UNIT, "superheat": "10 K", "return_wet_bulb": "68 degF", "subcooling": "5 K", "return_air": "80 degF"}
    assert judged_by("superheat_level", **told) == "target"
    assert judged_by("subcooling_level", **told, target_subcooling="10 degF") == "target"
    assert judged_by("subcooling_level", **told) == "usual"
    # Counted from the air that is cooled, which nobody asked for: no target.
    assert judged_by("low_side_level", **told, refrigerant="R410A", low_side="118 psi") == "usual"
    assert judged_by("superheat_level", **told, baseline={**UNIT, "superheat": "6 K"}) == "baseline"
    assert judged_by("superheat_level", **{**told, "return_wet_bulb": "45 degF"}) == "usual"  # the table has none


def test_rows_with_and_without_a_target_keep_their_own_yardsticks():
    rough = {**UNIT, "superheat": "10 K"}
    columns = columns_of([Reading(rough), Reading({**rough, "return_wet_bulb": "68 degF"}), Reading(rough)])
    found = judge(Work(columns, QUANTITIES, program_for().bands), "superheat_level")
    assert [JUDGED_BY[by] for by in found.by] == ["usual", "target", "usual"]


def test_the_answer_says_that_superheat_was_compared_with_its_target():
    reading = Reading({**UNIT, "refrigerant": "R410A", "superheat": "10 K", "return_wet_bulb": "68 degF"})
    found = diagnose(reading)
    assert {s.name: s.judged_by for s in found.derived}["superheat"] == "target"
    printed = as_text(found, Style(width=100))
    line = next(line for line in printed.splitlines() if line.startswith("  superheat "))
    assert line.split()[-2:] == ["target", "normal"]
    assert "target: what the label or the table asks for in this weather" in printed


def test_the_expectation_names_the_target_as_well():
    found = expect(Reading({**UNIT, "refrigerant": "R410A", "return_wet_bulb": "68 degF"}), program_for())
    assert {e.name: e.by for e in found.expected}["superheat"] == "target"
    paper = Paper(Style())
    expectation.write(paper, found)
    printed = paper.text()
    assert next(line for line in printed.splitlines() if line.startswith("  superheat")).endswith("target")
    assert "\n  target: " in printed


def test_a_known_good_reading_and_the_makers_range_come_before_the_target():
    fields = {**UNIT, "superheat": "10 K", "return_wet_bulb": "68 degF"}
    assert normal("superheat_level", **fields, baseline={**UNIT, "superheat": "6 K"}) == pytest.approx((2.0, 10.0))
    spec = {"superheat": ["4 K", "7 K"]}
    assert normal("superheat_level", **fields, spec=spec) == pytest.approx((4.0, 7.0))


def test_the_low_side_is_measured_from_the_air_it_cools():
    fields = {**UNIT, "refrigerant": "R410A", "low_side": "118 psi"}
    low, high = normal("low_side_level", **fields, return_air="80 degF")
    warm = normal("low_side_level", **fields, return_air="90 degF")
    assert warm == pytest.approx((low + 10 / 1.8, high + 10 / 1.8))
    fixed = normal("low_side_level", **fields)
    assert fixed == normal("low_side_level", **{**fields, "ambient": "100 degF"})


def test_an_uncertain_target_blurs_the_ends():
    def u(**fields):
        return float(
            judge(Work(columns_of([Reading(fields)]), QUANTITIES, program_for().bands), "superheat_level").level.u[0]
        )

    rough = {**UNIT, "superheat": "10 K", "return_wet_bulb": "68 degF"}
    fine = u(**rough, thermometer_accuracy="0.1 K")
    assert u(**rough) > 3 * fine
    assert u(**UNIT, superheat="10 K", target_superheat="19 degF", thermometer_accuracy="0.1 K") < fine


# -- gates ----------------------------------------------------------------------------------------------------------

CHARGED = {"refrigerant": "R410A", "low_side": "118 psi", "high_side": "190 psi", "system": "split_ac"}


def gates(**fields):
    return {gate.gate for gate in diagnose(Reading({**CHARGED, **fields})).gates}


def test_the_charge_is_judged_from_13_degrees_on_and_the_pressures_below_it():
    measured = {"superheat": "10 degF", "subcooling": "10 degF"}
    too_cool = {"too_cool_to_judge_superheat", "too_cool_to_judge_subcooling"}
    assert gates(ambient="50 degF", **measured) == too_cool
    assert gates(ambient="50 degF") == set()
    assert gates(ambient="60 degF", **measured) == set()
    assert "too_cold_for_a_building_unit" in gates(ambient="35 degF")


def test_superheat_settles_later_than_the_pressures():
    young = {"ambient": "80 degF", "running_for": "6 min"}
    assert gates(**young) == set()
    assert gates(**young, superheat="10 degF") == {"superheat_not_settled"}
    assert gates(ambient="80 degF", running_for="16 min", superheat="10 degF") == set()


def test_a_blower_that_stands_still_is_named_and_nothing_else_is_blamed():
    diagnosis = diagnose(Reading({**CHARGED, "low_side": "60 psi", "superheat": "0 K", "indoor_blower": "stopped"}))
    assert {gate.gate for gate in diagnosis.gates} == {"indoor_blower_not_running"}
    assert (diagnosis.verdict, diagnosis.first.fault) == ("fault", "low_evaporator_airflow")


# -- everyday cases -------------------------------------------------------------------------------------------------


def unit(refrigerant, metering, **moved):
    """A unit at 85 degF outside, 80 degF and 68 degF wet bulb inside, moved by so many kelvin; label 10 degF."""
    what = refrigerants.get(refrigerant)
    suction, condensing = 280.65 + moved.get("suction", 0.0), 317.59 + moved.get("condensing", 0.0)
    low, high = (float(what.saturation_pressure(at, "dew")) for at in (suction, condensing))
    bubble = float(what.saturation_temperature(high, "bubble"))
    right = 8.0 if metering == "expansion_valve" else 19 / 1.8
    return diagnose(
        Reading(
            refrigerant=refrigerant,
            system="split_ac",
            metering=metering,
            ambient="85 degF",
            return_air="80 degF",
            return_wet_bulb="68 degF",
            barometer="1013.25 hPa",
            low_side=f"{low - AIR} Pa",
            high_side=f"{high - AIR} Pa",
            suction_line=f"{suction + right + moved.get('superheat', 0.0)} K",
            liquid_line=f"{bubble - 10 / 1.8 - moved.get('subcooling', 0.0)} K",
            target_subcooling="10 degF",
        )
    )


@pytest.mark.parametrize("refrigerant", REFRIGERANTS)
@pytest.mark.parametrize(
    ("metering", "moved", "fault"),
    [
        ("orifice_tube", {}, "normal"),
        ("expansion_valve", {}, "normal"),
        # Pressures still inside their wide bands: superheat and subcooling alone tell.
        ("orifice_tube", {"suction": -3, "condensing": -3, "superheat": 8, "subcooling": -4.5}, "low_charge"),
        ("capillary", {"suction": 3, "condensing": 5, "superheat": -8, "subcooling": 6}, "overcharge"),
        ("expansion_valve", {"condensing": 4, "subcooling": 6}, "overcharge"),
        ("expansion_valve", {"condensing": -3, "subcooling": -5.5}, "low_charge"),
        ("expansion_valve", {"suction": 8, "superheat": -8}, "metering_stuck_open"),
        ("orifice_tube", {"suction": -8, "superheat": 10, "subcooling": 5}, "restricted"),
        ("orifice_tube", {"suction": -8, "condensing": -4, "superheat": -8}, "low_evaporator_airflow"),
    ],
)
def test_an_everyday_case_is_told(refrigerant, metering, moved, fault):
    first = unit(refrigerant, metering, **moved).first
    wanted = ("high_side_restriction", "metering_restricted") if fault == "restricted" else (fault,)
    assert first.fault in wanted, (first.fault, first.probability)
