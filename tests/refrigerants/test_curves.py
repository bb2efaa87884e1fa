"""What must hold for every saturation curve, whatever pressure or temperature is asked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from twogauge import refrigerants
from twogauge.errors import InputError, RangeError
from twogauge.refrigerants import Place
from twogauge.refrigerants.curves import BLOCK, powers_from_chebyshev

ALL = refrigerants.names()
PHASES = ("bubble", "dew")
names = st.sampled_from(ALL)
phases = st.sampled_from(PHASES)
# Anywhere on a curve, as a fraction of its length in ln p.
fractions = st.floats(0, 1)
anything = st.floats(allow_nan=True, allow_infinity=True)


def pressure_on(refrigerant, phase, fraction):
    low, high = refrigerant.pressure_min(phase), refrigerant.pressure_max(phase)
    return np.clip(np.exp(np.log(low) + np.asarray(fraction) * (np.log(high) - np.log(low))), low, high)


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("phase", PHASES)
def test_temperature_rises_with_pressure_all_along_the_curve(name, phase):
    refrigerant = refrigerants.get(name)
    pressures = pressure_on(refrigerant, phase, np.linspace(0, 1, 5001))
    assert (np.diff(refrigerant.saturation_temperature(pressures, phase)) > 0).all()
    assert (refrigerant.saturation_slope(pressures, phase) > 0).all()


@given(names, phases, fractions)
def test_pressure_of_temperature_undoes_temperature_of_pressure(name, phase, fraction):
    refrigerant = refrigerants.get(name)
    pressure = pressure_on(refrigerant, phase, fraction)
    temperature = refrigerant.saturation_temperature(pressure, phase)
    assert refrigerant.saturation_pressure(temperature, phase) == pytest.approx(pressure, rel=1e-9)


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("phase", PHASES)
def test_both_ends_belong_to_the_curve_in_both_directions(name, phase):
    refrigerant = refrigerants.get(name)
    pressures = [refrigerant.pressure_min(phase), refrigerant.pressure_max(phase)]
    temperatures = [refrigerant.temperature_min(phase), refrigerant.temperature_max(phase)]
    assert refrigerant.saturation_temperature(pressures, phase).tolist() == temperatures
    assert refrigerant.saturation_pressure(temperatures, phase) == pytest.approx(pressures, rel=1e-9)
    assert (refrigerant.where(pressures, phase) == Place.INSIDE).all()


@given(names, fractions)
def test_a_blend_is_a_boiling_liquid_before_it_is_a_dry_vapour(name, fraction):
    refrigerant = refrigerants.get(name)
    low = max(refrigerant.pressure_min(phase) for phase in PHASES)
    high = min(refrigerant.pressure_max(phase) for phase in PHASES)
    pressure = low * (high / low) ** fraction * (1 - 1e-12)
    pressure = min(max(pressure, low), high)
    bubble = refrigerant.temperature_at(pressure, "bubble")
    dew = refrigerant.temperature_at(pressure, "dew")
    # An azeotrope's lines touch; there the two fits may cross by their own deviation, 1 mK each.
    assert bubble <= dew + (0.002 if refrigerant.kind != "pure" else 0.0)


@pytest.mark.parametrize("name", [name for name in ALL if refrigerants.get(name).kind == "pure"])
def test_a_pure_fluid_has_one_curve_and_no_glide(name):
    refrigerant = refrigerants.get(name)
    assert refrigerant.bubble is refrigerant.dew
    assert refrigerant.glide == 0


@given(names, phases, anything)
def test_outside_the_curve_the_answer_is_nan_and_where_says_why(name, phase, pressure):
    refrigerant = refrigerants.get(name)
    temperature = refrigerant.saturation_temperature(pressure, phase)
    slope = refrigerant.saturation_slope(pressure, phase)
    place = Place(int(refrigerant.where(pressure, phase)))
    if np.isnan(pressure):
        assert place is Place.MISSING
    elif pressure < refrigerant.pressure_min(phase):
        assert place is Place.BELOW
    elif pressure >= refrigerant.critical_pressure:
        assert place is Place.SUPERCRITICAL
    elif pressure > refrigerant.pressure_max(phase):
        assert place is Place.ABOVE
    else:
        assert place is Place.INSIDE
    assert np.isnan(temperature) == np.isnan(slope) == (place is not Place.INSIDE)


@pytest.mark.parametrize("name", ALL)
def test_a_curve_ends_below_the_critical_point(name):
    refrigerant = refrigerants.get(name)
    for phase in PHASES:
        assert refrigerant.temperature_max(phase) < refrigerant.critical_temperature
        assert refrigerant.pressure_max(phase) < refrigerant.critical_pressure
        just_above = np.nextafter(refrigerant.pressure_max(phase), np.inf)
        assert refrigerant.where(just_above, phase) == Place.ABOVE


@given(
    names,
    phases,
    hnp.arrays(np.float64, hnp.array_shapes(max_dims=3, max_side=6), elements=st.floats(1e2, 1e7) | anything),
)
def test_a_column_gives_what_its_values_give_one_by_one(name, phase, pressures):
    refrigerant = refrigerants.get(name)
    temperatures = refrigerant.saturation_temperature(pressures, phase)
    assert temperatures.shape == pressures.shape
    for function, column in (
        (refrigerant.saturation_temperature, pressures),
        (refrigerant.saturation_slope, pressures),
        (refrigerant.saturation_pressure, temperatures),
    ):
        singly = [float(function(value, phase)) for value in column.ravel()]
        # Bit for bit: two ways to the same reading must never rank faults differently.
        np.testing.assert_array_equal(function(column, phase).ravel(), singly)


def test_a_long_column_gives_what_its_values_give_one_by_one_across_blocks():
    refrigerant = refrigerants.get("R404A")
    pressures = pressure_on(refrigerant, "dew", np.random.default_rng(4).uniform(-0.05, 1.05, 2 * BLOCK + 3))
    column = refrigerant.saturation_temperature(pressures)
    assert column.tolist() == [float(refrigerant.saturation_temperature(value)) for value in pressures]
    strided = np.repeat(pressures, 3)[::3]
    assert refrigerant.saturation_temperature(strided).tolist() == column.tolist()


def test_shapes_are_kept_down_to_none_and_nothing():
    refrigerant = refrigerants.get("R134a")
    assert refrigerant.saturation_temperature(3e5).shape == ()
    assert refrigerant.saturation_temperature([]).shape == (0,)
    assert refrigerant.saturation_temperature(np.full((2, 0, 3), 3e5)).shape == (2, 0, 3)
    assert refrigerant.saturation_pressure(np.full((2, 3), 280.0)).shape == (2, 3)


def test_what_is_handed_in_is_left_as_it_was():
    pressures = np.array([1e5, np.nan, 5e5, 1e9])
    before = pressures.copy()
    refrigerant = refrigerants.get("R134a")
    refrigerant.saturation_temperature(pressures)
    refrigerant.saturation_slope(pressures)
    refrigerant.saturation_pressure(pressures)
    np.testing.assert_array_equal(pressures, before)


@given(names, phases, st.floats(0.001, 0.999))
def test_the_slope_is_the_slope_of_the_curve(name, phase, fraction):
    refrigerant = refrigerants.get(name)
    pressure = float(pressure_on(refrigerant, phase, fraction))
    step = 1e-4 * pressure
    ends = np.clip(
        [pressure - step, pressure + step], refrigerant.pressure_min(phase), refrigerant.pressure_max(phase)
    )
    rise = np.diff(refrigerant.saturation_temperature(ends, phase))[0] / np.diff(ends)[0]
    assert refrigerant.saturation_slope(pressure, phase) == pytest.approx(rise, rel=1e-3)


@pytest.mark.parametrize(
    ("pressure", "words"),
    [
        (0.0, ["R-134a", "kPa", "vacuum"]),
        (-5e4, ["R-134a", "kPa", "vacuum"]),
        (3.9e6, ["R-134a", "close to critical"]),
        (4.2e6, ["critical pressure", "4059"]),
        (float("nan"), ["give a number"]),
    ],
)
def test_one_pressure_outside_is_refused_with_the_range_and_what_to_do(pressure, words):
    with pytest.raises(RangeError) as caught:
        refrigerants.get("R134a").temperature_at(pressure)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("temperature", "words"), [(100.0, ["-65 degC", "unit"]), (380.0, ["101.1 degC", "critical"])]
)
def test_one_temperature_outside_is_refused_with_the_range_and_what_to_do(temperature, words):
    with pytest.raises(RangeError) as caught:
        refrigerants.get("R134a").pressure_at(temperature)
    for word in words:
        assert word in str(caught.value)


def test_a_missing_temperature_is_refused():
    with pytest.raises(RangeError, match="give a number"):
        refrigerants.get("R134a").pressure_at(float("nan"))


def test_a_phase_nobody_knows_is_refused():
    with pytest.raises(InputError, match="'bubble' or 'dew'"):
        refrigerants.get("R134a").saturation_temperature(3e5, "liquid")


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=12), st.floats(-1, 1))
def test_powers_say_the_same_as_the_chebyshev_series_they_are_made_from(series, x):
    powers = powers_from_chebyshev(series)
    assert np.polynomial.polynomial.polyval(x, powers) == pytest.approx(
        np.polynomial.chebyshev.chebval(x, series), abs=1e-8
    )
