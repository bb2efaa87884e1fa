"""Cylinders: the two readings of the 80 % rule, when one becomes full of liquid, and what its pressure tells."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError, UnknownNameError
from twogauge.refrigerants.properties import properties_of
from twogauge.service.cylinder import identify, liquid_full_at, safe_fill, water_density

LIQUIDS = [name for name in refrigerants.names() if name != "R744"]
volumes = st.floats(0.001, 0.5)


def test_the_weight_rule_is_four_fifths_of_the_water():
    fill = safe_fill(None, 0.0216)
    assert fill.by_weight == pytest.approx(0.8 * 0.0216 * water_density())
    assert fill.most == fill.by_weight
    assert math.isnan(fill.by_volume)
    # IAPWS: 999.0 kg/m3 at 60 degF.
    assert water_density() == pytest.approx(CoolProp.PropsSI("D", "T", 288.706, "P", 101325, "Water"), abs=0.1)


@pytest.mark.parametrize("name", ["R134a", "R12", "R22", "R290"])
def test_the_volume_rule_is_the_density_of_coolprop_at_21_degc(name):
    fluid = {"R290": "Propane"}.get(name, name)
    assert safe_fill(refrigerants.get(name), 0.02).by_volume == pytest.approx(
        0.8 * 0.02 * CoolProp.PropsSI("D", "T", 294.15, "Q", 0, fluid), rel=1e-4
    )


@pytest.mark.parametrize("name", LIQUIDS)
def test_what_is_allowed_leaves_room_at_the_hottest_it_may_see(name):
    fill = safe_fill(refrigerants.get(name), 0.0216)
    assert fill.most == min(fill.by_weight, fill.by_volume)
    full = liquid_full_at(refrigerants.get(name), fill.most / fill.volume)
    assert not full <= fill.hottest.value


@pytest.mark.parametrize("name", ["R290", "R600a", "R717"])
def test_the_weight_rule_alone_would_burst_a_cylinder_of_what_is_lighter_than_water(name):
    fill = safe_fill(refrigerants.get(name), 0.0216)
    assert fill.by_weight > fill.by_volume == fill.most
    assert fill.full_by_weight_at < fill.hottest.value


@given(st.sampled_from(LIQUIDS), volumes, st.floats(1.1, 5))
def test_twice_the_cylinder_holds_twice_as_much(name, volume, factor):
    one, other = (safe_fill(refrigerants.get(name), v) for v in (volume, factor * volume))
    assert other.most == pytest.approx(factor * one.most, rel=1e-9)
    assert other.full_by_volume_at == pytest.approx(one.full_by_volume_at, nan_ok=True)


@given(st.sampled_from(LIQUIDS), st.floats(0.2, 0.95), st.floats(0.01, 0.04))
def test_more_in_it_is_full_at_a_lower_temperature(name, share, more):
    refrigerant = refrigerants.get(name)
    cold = float(properties_of(refrigerant).liquid_density(230.0))
    less_full, fuller = (liquid_full_at(refrigerant, x * cold) for x in (share, share + more))
    assert math.isnan(less_full) or fuller < less_full
    if not math.isnan(fuller):
        density = float(properties_of(refrigerant).liquid_density(fuller))
        assert density == pytest.approx((share + more) * cold, rel=1e-6)


@pytest.mark.parametrize("volume", [0.0, -1.0, math.nan])
def test_no_capacity_is_refused(volume):
    with pytest.raises(InputError, match="WC"):
        safe_fill(refrigerants.get("R134a"), volume)


def test_what_can_be_no_liquid_in_a_warm_cylinder_is_refused():
    with pytest.raises(InputError, match="no liquid above 31 degC"):
        safe_fill(refrigerants.get("R744"), 0.02)


# What is in it -----------------------------------------------------------------------------------------------------


def at(pressure, celsius, **other):
    errors = {"gauge_limit": 5e3, "thermometer_limit": 0.5} | other
    return identify(pressure, celsius + 273.15, **errors)


@given(st.sampled_from(LIQUIDS), st.floats(0, 40))
def test_a_clean_cylinder_fits_its_own_label_and_no_air(name, celsius):
    refrigerant = refrigerants.get(name)
    for phase in ("bubble", "dew"):
        pressure = float(refrigerant.saturation_pressure(celsius + 273.15, phase))
        found = at(pressure, celsius, label=name)
        assert found.label.verdict == "fits"
        assert found.label.refrigerant in {each.refrigerant for each in found.those("fits")}


@given(st.sampled_from(["R134a", "R22", "R410A", "R407C"]), st.floats(5, 40), st.floats(60e3, 400e3))
def test_air_in_a_cylinder_is_told_with_its_partial_pressure(name, celsius, air):
    pressure = float(refrigerants.get(name).saturation_pressure(celsius + 273.15, "bubble"))
    found = at(pressure + air, celsius, label=name)
    assert found.label.verdict == "with air"
    assert found.label.off == pytest.approx(air, rel=1e-6)  # Dalton: what the refrigerant does not account for


def test_a_cylinder_without_liquid_is_too_low():
    found = at(300e3, 25, label="R134a")
    assert found.label.verdict == "too low"
    assert "R22" in {each.refrigerant for each in found.those("too low")}


def test_r12_r134a_and_r1234yf_are_not_told_apart_by_a_workshop_gauge():
    found = at(700e3, 26.7, gauge_limit=16e3, thermometer_limit=1.5)
    assert {"R12", "R134a", "R1234yf"} <= {each.refrigerant for each in found.those("fits")}
    assert not found.told_apart
    assert found.apart_by < 20e3


def test_two_that_are_far_apart_elsewhere_are_told_apart_there():
    # R-134a and R-600a cross nowhere; with a poor thermometer both fit, and warmth separates them.
    found = identify(
        400e3, 283.15, gauge_limit=2e3, thermometer_limit=12.0, names=["R134a", "R600a", "R152a"], label=None
    )
    assert len(found.those("fits")) >= 2
    assert found.told_apart
    assert found.apart > 310


@given(st.floats(1e5, 3e6), st.floats(-10, 50), st.floats(1.1, 4))
def test_a_worse_gauge_never_excludes_what_a_better_one_allows(pressure, celsius, factor):
    fine, coarse = (at(pressure, celsius, gauge_limit=e) for e in (5e3, factor * 5e3))
    assert {e.refrigerant for e in fine.those("fits")} <= {e.refrigerant for e in coarse.those("fits")}


@given(st.floats(-30, 60))
def test_above_the_end_of_a_curve_nothing_is_said(celsius):
    found = at(5e5, celsius)
    for each in found.candidates:
        known = not np.isnan(refrigerants.get(each.refrigerant).saturation_pressure(celsius + 273.15, "bubble"))
        assert (each.verdict == "no curve") == (not known)


def test_an_unknown_label_is_refused_with_the_nearest():
    with pytest.raises(UnknownNameError, match="R134a"):
        at(5e5, 20, label="R134b")
