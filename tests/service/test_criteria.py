"""The criteria of the packs in numbers, and which of them count."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from twogauge.errors import InputError, UnknownNameError
from twogauge.packs.in_force import rules_folder
from twogauge.packs.stack import built_in, stack
from twogauge.service.criteria import criteria_for

INHG = 3386.388640341


@pytest.fixture(scope="module")
def packs():
    return built_in()


def ids(found):
    return [each.id for each in found]


def shop(folder: Path, text: str):
    (folder / "pack.yaml").write_text(f"pack: shop\n{text}", "utf-8")
    return stack([rules_folder() / "common", folder])


def test_the_two_schools_of_the_dial_stand_side_by_side_the_strict_one_last(packs):
    found = criteria_for(packs, "vacuum_hold", gauge="dial")
    assert [round(each.rises / INHG, 6) for each in found] == [2.0, 1.0]
    assert {each.within for each in found} == {300.0}
    assert "TM 5-3805-296-23-4" in found[0].source


def test_published_pump_times_run_from_a_quarter_to_one_and_a_half_hours(packs):
    minutes = [each.within / 60.0 for each in criteria_for(packs, "pump_time")]
    assert (min(minutes), max(minutes)) == (15.0, 90.0)


def test_a_vacuum_on_a_dial_is_counted_from_the_air_of_sea_level(packs):
    (deepest,) = criteria_for(packs, "vacuum_depth", name="vacuum_29_inhg")
    assert deepest.reaches == pytest.approx(101_325.0 - 29.0 * INHG)
    (microns,) = criteria_for(packs, "vacuum_depth", gauge="vacuum_gauge")
    assert microns.reaches == pytest.approx(66.66, abs=0.01)
    assert math.isnan(microns.rises)


def test_the_machine_decides_which_count(packs):
    assert "hold_500_microns_20_min" in ids(criteria_for(packs, "vacuum_hold", system="split_ac"))
    assert "hold_500_microns_20_min" not in ids(criteria_for(packs, "vacuum_hold", system="car_ac"))


def test_where_a_shop_has_its_own_no_other_counts(tmp_path):
    ours = shop(
        tmp_path,
        "criteria:\n  ten_minutes:\n    title: Ours\n    test: vacuum_hold\n    rises: 0.5 inHg\n    within: 10 min\n"
        "    ours: yes\n    source: common practice\n",
    )
    assert ids(criteria_for(ours, "vacuum_hold", gauge="dial")) == ["ten_minutes"]
    assert len(criteria_for(ours, "pump_time")) == 4


def test_a_shop_adjusts_one_and_takes_another_out(tmp_path):
    ours = shop(
        tmp_path,
        "adjust:\n  hold_1_inhg_in_5_min:\n    note: We wait longer.\n    within: 15 min\n"
        "disable:\n  hold_2_inhg_in_5_min:\n    note: Too lenient for us.\n",
    )
    (left,) = criteria_for(ours, "vacuum_hold", gauge="dial")
    assert (left.id, left.within) == ("hold_1_inhg_in_5_min", 900.0)


def test_a_name_that_is_none_and_a_name_for_something_else(packs):
    with pytest.raises(UnknownNameError, match="did you mean 'pump_15_min'"):
        criteria_for(packs, "pump_time", name="pump_15_mins")
    with pytest.raises(InputError, match="for pump time, not for this test"):
        criteria_for(packs, "vacuum_hold", name="pump_15_min")
