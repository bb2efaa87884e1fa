"""Standing pressure: saturation tables of makers, Dalton's law, vapour weighed against CoolProp, and what must hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError, RangeError
from twogauge.service.standing import judge
from twogauge.service.vapour import molar_mass, relative_error, vapour_density

R134A = refrigerants.get("R134a")
INSTRUMENTS = {"gauge_limit": 16e3, "thermometer_limit": 1.5, "air_error": 1000.0}
FINE = {"gauge_limit": 500.0, "thermometer_limit": 0.1}
ORDER = ("below", "at", "above")


def at(pressure, celsius=25.0, refrigerant=R134A, **more):
    return judge(refrigerant, pressure, celsius + 273.15, **{**INSTRUMENTS, **more})


# Audi A6 2001, engine off [degC, bar on the gauge]; VW's gauge zero is 1 bar.
@pytest.mark.parametrize(
    ("celsius", "bar"), [(15, 3.9), (20, 4.7), (25, 5.6), (30, 6.7), (35, 7.8), (40, 9.1), (45, 10.5)]
)
def test_a_makers_table_of_standing_pressures_is_saturation(celsius, bar):
    found = at((bar + 1.0) * 1e5, celsius)
    assert found.verdict == "at"
    assert abs(found.off) < 0.12e5  # the last digit of the table, and 1 bar for 1.013


# Dalton: partial pressures add. 25 degC, R-134a, with air; what the reading looks like in kelvin.
@pytest.mark.parametrize(("air", "kelvin"), [(10e3, 0.5), (20e3, 1.0), (50e3, 2.5), (101_325.0, 4.8)])
def test_air_presses_with_its_own_pressure_and_looks_like_warmth(air, kelvin):
    found = at(R134A.pressure_at(298.15) + air, **FINE)
    assert found.verdict == "above"
    assert found.air_low < air < found.air_high
    assert found.fits_at - 298.15 == pytest.approx(kelvin, abs=0.06)


def test_a_little_air_is_invisible_to_a_coarse_gauge():
    found = at(R134A.pressure_at(298.15) + 10e3, gauge_limit=25e3)
    assert found.verdict == "at"
    assert found.least_air > 10e3


def test_the_air_is_weighed_as_an_ideal_gas():
    # a litre of dry air weighs 1.184 g at 25 degC and 1 atm (ideal gas, 28.965 g/mol)
    found = at(R134A.pressure_at(298.15) + 101_325.0, volume=1e-3, **FINE)
    assert found.air_mass == pytest.approx(1.184e-3, rel=2e-3)


@pytest.mark.parametrize("name", ["R134a", "R1234yf", "R12", "R22", "R32", "R290", "R600a", "R152a"])
@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.95])
@pytest.mark.parametrize("kelvin", [273.15, 298.15, 313.15])
def test_vapour_weighs_what_coolprop_says(name, share, kelvin):
    what = refrigerants.get(name)
    pressure = share * what.pressure_at(kelvin)
    other = PropsSI("D", "P", pressure, "T", kelvin, name)
    assert vapour_density(what, pressure, kelvin) == pytest.approx(other, rel=relative_error(what))
    assert molar_mass(what) == pytest.approx(PropsSI("M", name), rel=0.02)


def test_what_is_left_is_between_nothing_and_what_makes_liquid():
    found = at(3e5, volume=2.5e-3, charge=0.7)
    left = found.remaining
    true = 2.5e-3 * PropsSI("D", "P", 3e5, "T", 298.15, "R134a")
    assert left.low < true < left.high < left.for_liquid_low
    assert left.share_low < true / 0.7 < left.share_high
    guessed = at(3e5, charge=0.7).remaining
    assert not guessed.volume_told
    assert guessed.low < left.low
    assert guessed.high > left.high


def test_without_volume_or_charge_nothing_is_weighed():
    assert at(3e5).remaining is None


def test_a_blend_may_stand_anywhere_in_its_glide():
    blend = refrigerants.get("R407C")
    dew, bubble = (blend.pressure_at(298.15, phase) for phase in ("dew", "bubble"))
    assert bubble - dew > 1e5
    for pressure in (dew, 0.5 * (dew + bubble), bubble):
        assert at(pressure, refrigerant=blend).verdict == "at"


def test_others_that_fit_are_named_the_nearest_first():
    found = at(R134A.pressure_at(298.15))
    names = [each.refrigerant for each in found.fitting]
    assert "R134a" not in names
    assert {"R12", "R1234yf"} <= set(names)  # EPA section 609 text: R-12 and R-134a cannot be told apart
    assert "R22" in [each.refrigerant for each in at(refrigerants.get("R22").pressure_at(298.15)).fitting[:3]]


def test_two_gauges_apart_are_not_judged():
    assert at(6.6e5, other_gauge=9e5).verdict == "not level"
    assert at(6.6e5, other_gauge=6.7e5).verdict != "not level"


@pytest.mark.parametrize("what", ["volume", "charge"])
def test_a_volume_or_charge_of_nothing_is_refused(what):
    with pytest.raises(InputError, match=f"a {what} of nothing"):
        at(3e5, **{what: 0.0})


def test_above_its_critical_temperature_nothing_is_liquid():
    with pytest.raises(RangeError, match="no liquid above 31"):
        at(80e5, 35.0, refrigerants.get("R744"))


@given(st.floats(0.2e5, 25e5), st.floats(1.0, 1.5), st.floats(-20.0, 50.0))
def test_more_pressure_never_looks_like_less(pressure, factor, celsius):
    lower, higher = at(pressure, celsius, volume=3e-3), at(pressure * factor, celsius, volume=3e-3)
    assert ORDER.index(lower.verdict) <= ORDER.index(higher.verdict)
    if lower.remaining and higher.remaining:
        assert lower.remaining.low <= higher.remaining.low
    if lower.verdict == higher.verdict == "above":
        assert lower.air_high <= higher.air_high


@given(st.floats(2e5, 20e5), st.floats(-20.0, 45.0), st.floats(0.1, 5.0))
def test_a_warmer_part_never_makes_more_of_a_pressure(pressure, celsius, warmer):
    cold, warm = at(pressure, celsius), at(pressure, celsius + warmer)
    assert ORDER.index(warm.verdict) <= ORDER.index(cold.verdict)


@given(st.floats(1e4, 30e5), st.floats(-40.0, 90.0))
def test_every_number_is_a_number(pressure, celsius):
    found = at(pressure, celsius, volume=1e-3, charge=0.5)
    assert np.isfinite([found.low, found.high, found.off, found.uncertainty, found.least_air]).all()
    assert math.isnan(found.air_low) is (found.verdict != "above")
