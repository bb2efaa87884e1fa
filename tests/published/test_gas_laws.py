"""Partial pressures, the ideal gas and a gas that is warmed, against worked examples and by hand.

OpenStax, Chemistry 2e, section 9.3: the mixture of three gases (Dalton) and methane by the ideal-gas law; from memory.
The molar mass of dry air, 28.965 g/mol, is that of the US Standard Atmosphere 1976. The compensation of a test under
nitrogen is worked by hand: p / T stays, in absolute units, where neither volume nor amount changes.
"""

from __future__ import annotations

import pytest

from twogauge import refrigerants
from twogauge.service import standing
from twogauge.service.holdlog import read_log
from twogauge.service.nitrogen import Told, judge

ATMOSPHERE = 101_325.0
GAS_CONSTANT = 8.314462618  # [J/(mol K)] exact
AIR = 28.965e-3  # [kg/mol]
R134A = refrigerants.get("R134a")

# 10.0 L at 35 degC: [mol] and the partial pressure as printed [atm]
MIXTURE = {"hydrogen": (2.50e-3, 6.32e-3), "helium": (1.00e-3, 2.53e-3), "neon": (3.00e-4, 7.58e-4)}
MIXTURE_IN_ALL = 9.61e-3  # [atm]


@pytest.mark.parametrize("gas", MIXTURE)
def test_the_constants_of_these_tests_give_the_printed_partial_pressures(gas):
    amount, printed = MIXTURE[gas]
    assert amount * GAS_CONSTANT * 308.15 / 0.010 / ATMOSPHERE == pytest.approx(printed, rel=1e-3)
    assert sum(each for _, each in MIXTURE.values()) == pytest.approx(MIXTURE_IN_ALL, rel=1e-3)


def at_rest(air, kelvin, volume):
    """Judge a system that holds liquid and so much air [Pa], with instruments that are nearly perfect."""
    pressure = R134A.pressure_at(kelvin) + air
    return standing.judge(
        R134A, pressure, kelvin, volume=volume, gauge_limit=50.0, thermometer_limit=0.01, air_error=10
    )


@pytest.mark.parametrize("air", [15e3, 60e3, ATMOSPHERE, 250e3])
def test_air_adds_its_own_pressure_to_that_of_the_liquid(air):
    found = at_rest(air, 308.15, 2.5e-3)
    assert found.verdict == "above"
    assert found.air_low < air < found.air_high
    assert found.off == pytest.approx(air, abs=1.0)


def test_the_air_weighs_what_the_ideal_gas_law_says():
    # 655 g of methane at 25 degC and 745 torr fill 1.02e3 L as printed: the law with these constants
    methane = 0.655 / 16.043e-3 * GAS_CONSTANT * 298.15 / (745.0 / 760.0 * ATMOSPHERE) * 1e3
    assert methane == pytest.approx(1.02e3, rel=5e-3)
    # and air of 1 atm in 2.5 L at 35 degC by the same law
    by_hand = ATMOSPHERE * 2.5e-3 * AIR / (GAS_CONSTANT * 308.15)
    assert by_hand == pytest.approx(2.864e-3, rel=1e-3)
    assert at_rest(ATMOSPHERE, 308.15, 2.5e-3).air_mass == pytest.approx(by_hand, rel=2e-3)


@pytest.mark.parametrize(
    ("first", "then", "shown", "should"),
    [
        # (150 + 14.696) psi at 529.67 degR, x 539.67 / 529.67 = 167.805 psia
        ("70 degF", "80 degF", "150 psi", 153.109),
        # the same gas cooled by 20 degF: x 509.67 / 529.67 = 158.477 psia
        ("70 degF", "50 degF", "150 psi", 143.781),
        # (300 + 14.696) psi at 300 K, x 293 / 300 = 307.353 psia
        ("300 K", "293 K", "300 psi", 292.657),
    ],
)
def test_nitrogen_that_is_warmed_or_cooled_shows_what_the_hand_calculation_says(first, then, shown, should):
    log = read_log("<log>", f"0 h, {shown}, {first}\n12 h, {should:.3f} psi, {then}".encode(), vacuum=False)
    found = judge(log, Told(ATMOSPHERE, step=700.0))
    assert found.should / 6894.757 == pytest.approx(should, abs=0.02)
    assert found.verdict == "holds"
