"""What gauges may be off, against EN 837-1 and worked values.

Sources: EN 837-1:1996, Table 11 (classes 0.1, 0.25, 0.6, 1, 1.6, 2.5 and 4: per cent of span, anywhere on the scale);
ASME B40.100 grades A (2-1-2 % of span) and B (3-2-3 %), from memory. The temperatures follow from the slopes of the
R-134a saturation line, 33.4 kPa/K at 50 degC and 10.8 kPa/K at 0 degC.
"""

from __future__ import annotations

import numpy as np
import pytest

from twogauge import refrigerants
from twogauge.errors import QuantityError
from twogauge.instruments import CLASSES, parse_gauge

PSI = 6894.757293168


def test_the_classes_are_those_of_the_standard():
    assert sorted(map(float, CLASSES)) == [0.1, 0.25, 0.6, 1.0, 1.6, 2.5, 4.0]
    with pytest.raises(QuantityError, match="not a class of EN 837-1"):
        parse_gauge("class 2, 0 to 10 bar")


@pytest.mark.parametrize("name", CLASSES)
@pytest.mark.parametrize("at", [0.0, 0.3, 5.0, 10.0])
def test_a_class_is_per_cent_of_the_span_anywhere_on_the_scale(name, at):
    # 1e-12: one multiplication
    assert parse_gauge(f"class {name}, 0 to 10 bar").permitted_error(at * 1e5) == pytest.approx(
        float(name) / 100 * 10e5, rel=1e-12
    )


def test_class_1_6_to_10_bar_may_be_0_16_bar_off():
    assert parse_gauge("class 1.6, 0 to 10 bar").permitted_error(3e5) == pytest.approx(0.16e5, rel=1e-12)


def test_a_500_psi_gauge_at_1_6_per_cent_is_8_psi_and_1_7_kelvin_at_50_degc():
    error = parse_gauge("digital 1.6 %, 0-500 psi").permitted_error(177 * PSI)
    assert error == pytest.approx(8 * PSI, rel=1e-12)
    r134a = refrigerants.get("R134a")
    slope = float(r134a.saturation_slope(r134a.saturation_pressure(np.array([323.15]), "dew"), "dew")[0])
    # 0.05 K: the value is printed to 0.1 K
    assert error * slope == pytest.approx(1.7, abs=0.05)


def test_a_120_psi_gauge_at_1_6_per_cent_is_1_9_psi_and_1_2_kelvin_at_0_degc():
    error = parse_gauge("class 1.6, 120 psi").permitted_error(28 * PSI)
    assert error == pytest.approx(1.92 * PSI, rel=1e-12)
    r134a = refrigerants.get("R134a")
    slope = float(r134a.saturation_slope(r134a.saturation_pressure(np.array([273.15]), "dew"), "dew")[0])
    # 0.05 K: the value is printed to 0.1 K
    assert error * slope == pytest.approx(1.2, abs=0.05)


@pytest.mark.parametrize(
    ("grade", "at", "per_cent"),
    [
        ("A", 50, 2),
        ("A", 250, 1),
        ("A", 450, 2),
        ("B", 50, 3),
        ("B", 250, 2),
        ("B", 450, 3),
        ("B", 124, 3),
        ("B", 126, 2),
    ],
)
def test_grades_a_and_b_are_tighter_in_the_middle_half(grade, at, per_cent):
    error = parse_gauge(f"grade {grade}, 0 to 500 psi").permitted_error(at * PSI)
    assert error == pytest.approx(per_cent / 100 * 500 * PSI, rel=1e-12)
