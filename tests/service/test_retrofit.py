"""Changing the refrigerant: the published amounts, what they disagree about, and what is refused by which rule."""

from __future__ import annotations

import math

import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError
from twogauge.service.retrofit import BURNS, RefusedError, density_ratio, pressure_ratio, retrofit

LB = 0.45359237
NAMES = refrigerants.names()


def change(old, new, label=2.5 * LB, system="car_ac"):
    return retrofit(refrigerants.get(old), refrigerants.get(new), label, system)


@pytest.mark.parametrize(
    ("pounds", "share_of_the_second"),
    # 0.9 times the charge less 0.25 lb, worked by hand as a part of the charge.
    [(1.5, 0.7333), (2.5, 0.80), (4.0, 0.8375), (8.0, 0.86875)],
)
def test_both_methods_are_shown_and_the_lower_one_is_where_to_start(pounds, share_of_the_second):
    found = change("R12", "R134a", pounds * LB)
    first, second, by_density = found.methods
    assert (first.low, first.high) == pytest.approx((0.8 * pounds * LB, 0.9 * pounds * LB))
    assert second.low == second.high == pytest.approx(share_of_the_second * pounds * LB, rel=1e-4)
    assert found.start == min(first.low, second.low)
    assert found.stop == first.high
    assert not by_density.counts
    assert found.published


def test_below_two_and_a_half_pounds_the_two_disagree_and_above_they_do_not():
    for pounds in (1.5, 2.0, 2.4):
        first, second, _ = change("R12", "R134a", pounds * LB).methods
        assert second.high < first.low
    for pounds in (2.5, 3.0, 6.0):
        first, second, _ = change("R12", "R134a", pounds * LB).methods
        assert first.low <= second.high * (1 + 1e-9)
        assert second.high < first.high


def test_how_well_each_method_is_sourced_is_told():
    first, second, by_density = change("R12", "R134a").methods
    assert first.source.standing == "from memory"
    assert second.source.standing == "common practice"
    assert "no maker's or standard's page" in second.source.text
    assert by_density.source.standing == "computed"


def test_for_a_tiny_charge_the_constant_does_not_count():
    found = change("R12", "R134a", 0.2 * LB)
    assert found.methods[1].low == 0.0
    assert not found.methods[1].counts
    assert found.start == pytest.approx(0.8 * 0.2 * LB)


def test_the_ratio_of_densities_is_coolprops():
    theirs = CoolProp.PropsSI("D", "T", 318.15, "Q", 0, "R134a") / CoolProp.PropsSI("D", "T", 318.15, "Q", 0, "R12")
    ours = density_ratio(refrigerants.get("R12"), refrigerants.get("R134a"), 318.15)
    assert ours == pytest.approx(theirs, rel=1e-5)
    low, high = (
        x / (2.5 * LB) for x in (change("R12", "R134a").methods[2].low, change("R12", "R134a").methods[2].high)
    )
    assert low < ours < high


def test_a_pair_without_guidance_gets_the_estimate_and_is_told_so():
    found = change("R22", "R407C", system="split_ac")
    (only,) = found.methods
    assert not found.published
    assert found.start < found.stop < only.high
    assert found.stop == pytest.approx(
        density_ratio(refrigerants.get("R22"), refrigerants.get("R407C"), 318.15) * 2.5 * LB
    )
    assert any("No published guidance" in text for text, _ in found.notes)


@pytest.mark.parametrize(
    ("old", "new", "system", "words"),
    [
        ("R12", "R290", "car_ac", "No hydrocarbon is acceptable"),
        ("R134a", "R600a", "bus_ac", "No hydrocarbon is acceptable"),
        ("R12", "R152a", "car_ac", "never as a retrofit"),
        ("R134a", "R1234yf", "off_road_ac", "never as a retrofit"),
        ("R1234yf", "R134a", "car_ac", "must keep it"),
        ("R22", "R290", "split_ac", "burns more easily"),
        ("R410A", "R32", "split_ac", "burns more easily"),
        ("R11", "R123", "packaged_ac", "more poisonous"),
        ("R134a", "R12", "car_ac", "ozone"),
        ("R12", "R22", "car_ac", "ozone"),
        ("R22", "R410A", "split_ac", r"1\.58 times the pressure"),
        ("R134a", "R744", "car_ac", "a pressure far above"),
    ],
)
def test_what_is_prohibited_is_refused_with_the_rule_and_its_source(old, new, system, words):
    with pytest.raises(RefusedError, match=words) as caught:
        change(old, new, system=system)
    assert str(caught.value).endswith("]")


@given(st.sampled_from(NAMES), st.sampled_from(NAMES), st.sampled_from(["car_ac", "split_ac", "cooler"]))
def test_nothing_that_burns_more_or_presses_far_more_gets_through(old, new, system):
    try:
        found = change(old, new, system=system)
    except InputError:
        return
    one, other = refrigerants.get(old), refrigerants.get(new)
    assert BURNS.index(other.safety_class[1:]) <= BURNS.index(one.safety_class[1:])
    assert pressure_ratio(one, other) <= 1.25
    assert "cautions.ozone" not in other.sources
    assert 0 < found.start <= found.stop
    assert math.isfinite(found.stop)


@given(
    st.sampled_from([("R12", "R134a"), ("R22", "R407C"), ("R134a", "R513A")]), st.floats(0.1, 50), st.floats(0.01, 5)
)
def test_a_larger_old_charge_asks_for_more(pair, label, more):
    one, other = change(*pair, label), change(*pair, label + more)
    assert other.start > one.start
    assert other.stop > one.stop


def test_a_stationary_system_is_not_asked_for_what_the_law_asks_of_vehicles():
    here, there = change("R22", "R407C", system="split_ac"), change("R134a", "R513A")
    assert not any("locking adapters" in text for text, _ in here.checklist)
    assert any("locking adapters" in text for text, _ in there.checklist)
    assert any("EPA lists" in text for text, _ in there.notes)


def test_what_is_published_for_vehicles_says_nothing_about_another_machine():
    vehicle, cooler = (change("R12", "R134a", system=system) for system in ("bus_ac", "cooler"))
    assert vehicle.published
    assert not cooler.published
    assert len(cooler.methods) == 1
    here = " ".join(text for text, _ in (*cooler.checklist, *cooler.after))
    for only_there in ("sky blue", "XH-7", "294 kPa", "locking adapters"):
        assert only_there not in here
    for both in ("Recover", "Oil", "Drier", "Label"):
        assert both in here


def test_each_line_of_the_checklist_has_its_standing():
    for text, by in change("R12", "R134a").checklist:
        assert text.endswith(".")
        assert by.standing != "read" or by.text
    named = " ".join(text for text, _ in change("R12", "R134a").checklist)
    for part in ("Recover", "Oil", "Seals", "Hoses", "Drier", "Pressure switch", "Fittings", "Label"):
        assert part in named


def test_one_far_below_in_pressure_is_said_not_to_work():
    assert any("will not work as built" in text for text, _ in change("R410A", "R134a", system="split_ac").notes)


@pytest.mark.parametrize("label", [0.0, -1.0, math.nan])
def test_no_old_charge_is_refused(label):
    with pytest.raises(InputError, match="starts from the old charge"):
        change("R12", "R134a", label)


def test_the_same_refrigerant_is_no_retrofit():
    with pytest.raises(InputError, match="is no retrofit"):
        change("R134a", "R134a")
