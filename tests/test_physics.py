"""Whole readings whose answer physics or plain service practice decides; what must and must not be said of them."""

from __future__ import annotations

import numpy as np
import pytest

from twogauge import refrigerants
from twogauge.columns import from_readings
from twogauge.diagnosis import diagnose
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.work import Absent, Work

SPLIT = {
    "system": "split_ac",
    "ambient": "95 degF",
    "refrigerant": "R410A",
    "low_side": "120 psi",
    "high_side": "390 psi",
}
CAR = {"refrigerant": "R134a", "ambient": "90 degF", "low_side": "35 psi", "high_side": "210 psi"}


def answer(*parts, **more):
    return diagnose(Reading({k: v for part in parts for k, v in part.items()}, **more))


def test_healthy_ones_are_called_normal():
    assert answer(SPLIT, superheat="11 degF", subcooling="10 degF").verdict == "normal"
    assert answer(CAR, vent_air="48 degF").verdict == "normal"


@pytest.mark.parametrize(
    "line",
    [
        {"superheat": "0 degF", "subcooling": "10 degF"},  # liquid at the compressor
        {"superheat": "12 degF", "subcooling": "40 degF"},
        {"superheat": "12 degF", "subcooling": "-6 degF"},
        {"superheat": "45 degF", "subcooling": "10 degF"},
    ],
)
def test_two_normal_pressures_do_not_outvote_a_line_temperature_far_out(line):
    assert answer(SPLIT, line).verdict != "normal"


@pytest.mark.parametrize(
    "impossible",
    [
        {"suction_line": "15 degF"},  # below what boils in it
        {"discharge_line": "95 degF"},  # below what condenses
        {"liquid_line": "200 degF"},  # above its bubble point
        {"liquid_line": "60 degF"},  # below the air that cools it
        {"vent_air": "20 degF"},  # below the refrigerant that cools it
        {"vent_air": "120 degF"},
    ],
)
def test_values_that_cannot_stand_together_are_not_called_normal(impossible):
    assert answer(CAR, impossible).verdict != "normal"


def test_nothing_is_called_normal_that_is_more_likely_not():
    for low in range(2, 60, 4):
        for high in range(100, 360, 20):
            found = answer(CAR, {"low_side": f"{low} psi", "high_side": f"{high} psi"})
            assert found.verdict != "normal" or found.first.probability >= 0.5


def test_unequal_sides_at_rest_are_no_static_pressure():
    work = Work(
        from_readings(
            [Reading(refrigerant="R134a", low_side="40 psi", high_side="180 psi", ambient="80F", compressor="off")]
        ),
        QUANTITIES,
    )
    found = work.number("static_over_ambient")
    assert isinstance(found, Absent)
    assert "settled" in found.reason


@pytest.mark.parametrize("name", ["R454C", "R455A", "R407C", "R448A", "R134a"])
def test_a_blend_at_rest_may_stand_anywhere_between_dew_and_bubble(name):
    what, ambient = refrigerants.get(name), 300.0
    dew, bubble = (float(what.saturation_pressure(np.array([ambient]), phase)[0]) for phase in ("dew", "bubble"))

    def over(pressure):
        told = {"refrigerant": name, "ambient": f"{ambient} K", "compressor": "off"}
        reading = Reading(told, low_side=f"{pressure} Pa absolute", high_side=f"{pressure} Pa absolute")
        return float(Work(from_readings([reading]), QUANTITIES).number("static_over_ambient").value[0])

    for pressure in (dew, (dew + bubble) / 2.0, bubble):
        assert over(pressure) == pytest.approx(0.0, abs=0.01)
    assert over(0.7 * dew) < -5.0
    assert over(1.3 * bubble) > 4.0


@pytest.mark.parametrize("state", [{}, {"compressor": "off"}])
def test_both_sides_in_deep_vacuum_are_an_empty_system(state):
    found = answer(
        {"refrigerant": "R134a", "ambient": "80F", "low_side": "28 inHg vac", "high_side": "28 inHg vac"}, state
    )
    assert (found.verdict, found.first.fault) == ("fault", "low_charge")


def test_a_low_pressure_refrigerant_may_run_in_vacuum():
    found = answer(
        {
            "refrigerant": "R600a",
            "system": "cooler",
            "ambient": "80F",
            "low_side": "8 inHg vac",
            "high_side": "65 psi",
        }
    )
    assert found.first.fault == "normal"


def test_a_compressor_that_lifts_the_pressure_is_driven():
    found = answer(
        {
            "refrigerant": "R410A",
            "system": "split_ac",
            "ambient": "95F",
            "low_side": "165 psi",
            "high_side": "290 psi",
        }
    )
    assert found.first.fault != "compressor_not_driven"


def test_an_evaporator_that_freezes_full_of_liquid_lacks_air():
    found = answer(SPLIT, low_side="90 psi", high_side="330 psi", superheat="2 degF", evaporator_air_drop="28 degF")
    assert found.first.fault == "low_evaporator_airflow"
