"""Cooling of moist air: heat and water balance, and back again."""

from __future__ import annotations

import math
import subprocess
import sys

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.errors import InputError
from twogauge.service.moist_air import ZERO, cooled, from_humidity, from_wet_bulb, leaving_temperature

temperatures = st.floats(ZERO + 15.0, ZERO + 50.0)
humidities = st.floats(0.05, 1.0)
pressures = st.floats(65_000.0, 105_000.0)


def test_dry_air_gives_heat_only_and_humid_air_gives_water_too():
    dry = cooled(from_humidity(ZERO + 30.0, 0.05, 101_325.0), ZERO + 10.0)
    assert dry.water == 0.0
    assert dry.latent == 0.0
    # 20 K of air at about 1.006 kJ/(kg K)
    assert dry.sensible == pytest.approx(20.2e3, rel=0.01)
    humid = cooled(from_humidity(ZERO + 30.0, 0.8, 101_325.0), ZERO + 10.0)
    assert humid.water == pytest.approx(0.0141, abs=0.0005)
    # some 2.5 MJ for each kg of water
    assert humid.latent / humid.water == pytest.approx(2.5e6, rel=0.03)


@given(temperatures, humidities, pressures, st.floats(1.0, 25.0))
def test_what_was_taken_out_gives_the_temperature_back(temperature, humidity, pressure, by):
    entering = from_humidity(temperature, humidity, pressure)
    leaving = temperature - by
    assert leaving_temperature(entering, cooled(entering, leaving).total) == pytest.approx(leaving, abs=1e-3)


@given(temperatures, humidities, pressures, st.floats(1.0, 20.0))
def test_the_same_cold_goes_less_far_in_more_humid_air(temperature, humidity, pressure, by):
    taken = cooled(from_humidity(temperature, humidity, pressure), temperature - by).total
    drier, wetter = (
        leaving_temperature(from_humidity(temperature, h, pressure), taken)
        for h in (0.5 * humidity, 0.5 + 0.5 * humidity)
    )
    assert drier <= wetter + 1e-6


@given(temperatures, humidities, pressures)
def test_the_wet_bulb_leads_back_to_the_same_air(temperature, humidity, pressure):
    air = from_humidity(temperature, humidity, pressure)
    assert from_wet_bulb(temperature, min(air.wet_bulb, temperature), pressure).moisture == pytest.approx(
        air.moisture, rel=0.01, abs=2e-5
    )


def test_more_than_any_machine_takes_is_not_known_and_nothing_taken_changes_nothing():
    air = from_humidity(ZERO + 30.0, 0.5, 101_325.0)
    assert math.isnan(leaving_temperature(air, 500e3))
    assert leaving_temperature(air, 0.0) == air.temperature


def test_another_unit_system_of_the_library_changes_nothing():
    air = from_humidity(ZERO + 30.0, 0.5, 101_325.0)
    psychrolib.SetUnitSystem(psychrolib.IP)
    assert from_humidity(ZERO + 30.0, 0.5, 101_325.0) == air


def test_a_diagnosis_does_without_the_library():
    code = (
        "import sys\nimport twogauge\nfrom twogauge.cli import compare, diagnose\n"
        "twogauge.diagnose(twogauge.Reading(low_side='low', high_side='low'))\nsys.exit('psychrolib' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("humidity", [-0.1, 1.2])
def test_a_humidity_that_no_air_has_is_refused(humidity):
    with pytest.raises(InputError, match="does not exist"):
        from_humidity(ZERO + 30.0, humidity, 101_325.0)


def test_a_wet_bulb_above_the_dry_bulb_is_refused():
    with pytest.raises(InputError, match="swapped"):
        from_wet_bulb(ZERO + 20.0, ZERO + 25.0, 101_325.0)
