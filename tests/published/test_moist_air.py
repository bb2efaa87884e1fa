"""Moist air against the ASHRAE Handbook, Fundamentals (SI), chapter on psychrometrics; its figures from memory.

Table 2 (moist air at 101.325 kPa, saturated) and the first worked example of the chapter.
"""

from __future__ import annotations

import pytest

from twogauge.service.moist_air import ZERO, from_humidity, from_wet_bulb

SEA_LEVEL = 101_325.0

# degC, humidity ratio [kg/kg], enthalpy [kJ/kg] of saturated air.
TABLE = [
    (0.0, 0.003790, 9.475),
    (10.0, 0.007663, 29.352),
    (20.0, 0.014761, 57.544),
    (25.0, 0.020173, 76.504),
    (30.0, 0.027333, 100.006),
    (40.0, 0.049141, 166.683),
]


@pytest.mark.parametrize(("degrees", "moisture", "enthalpy"), TABLE)
def test_saturated_air_as_in_the_table(degrees, moisture, enthalpy):
    air = from_humidity(ZERO + degrees, 1.0, SEA_LEVEL)
    # The equations leave out that air and vapour are not quite ideal: half a per cent at 40 degC.
    assert air.moisture == pytest.approx(moisture, rel=0.006)
    assert air.enthalpy / 1000.0 == pytest.approx(enthalpy, rel=0.006)
    assert air.dew_point == pytest.approx(ZERO + degrees, abs=0.02)
    assert air.wet_bulb == pytest.approx(ZERO + degrees, abs=0.02)


def test_the_worked_example_at_40_degrees_and_a_wet_bulb_of_20():
    air = from_wet_bulb(ZERO + 40.0, ZERO + 20.0, SEA_LEVEL)
    # Read off a chart there: W 6.5 g/kg, h 56.7 kJ/kg, dew point 7 degC, relative humidity 14 %.
    assert air.moisture == pytest.approx(0.0065, abs=0.0001)
    assert air.enthalpy / 1000.0 == pytest.approx(56.7, abs=0.3)
    assert air.dew_point == pytest.approx(ZERO + 7.0, abs=0.6)
    assert from_humidity(ZERO + 40.0, 0.14, SEA_LEVEL).moisture == pytest.approx(air.moisture, rel=0.02)
