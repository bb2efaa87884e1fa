"""`twogauge saturation`: pressure to temperature and back, in the reader's units."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from twogauge import refrigerants
from twogauge.cli.app import app
from twogauge.quantities import PA_PER_PSI, STANDARD_ATMOSPHERE


def run(*args, env=None):
    return CliRunner().invoke(app, ["saturation", *args], env=env)


def first_number(text):
    return float(re.search(r"-?\d+(\.\d+)?", text.splitlines()[1])[0])


def test_a_pressure_is_answered_with_a_temperature():
    result = run("R134a", "35psi")
    assert result.exit_code == 0
    one = refrigerants.get("R134a")
    expected = float(one.saturation_temperature(35 * PA_PER_PSI + STANDARD_ATMOSPHERE)) * 1.8 - 459.67
    assert first_number(result.stdout) == pytest.approx(expected, abs=0.051)
    assert "degF  saturation temperature" in result.stdout
    assert "sea level assumed" in result.stdout


def test_a_temperature_is_answered_with_a_gauge_pressure():
    result = run("R134a", "40F")
    assert "psi gauge  saturation pressure" in result.stdout
    assert first_number(run("R134a", f"{first_number(result.stdout)}psi").stdout) == pytest.approx(40.0, abs=0.11)


def test_a_bare_number_is_a_gauge_pressure_in_the_unit_set():
    assert run("R134a", "35").stdout == run("R134a", "35psig").stdout
    assert run("R134a", "240", "--units", "si").stdout == run("R134a", "240kPa", "--units", "si").stdout
    metric = run("R134a", "2.4", env={"TWOGAUGE_UNITS": "metric"}).stdout
    assert metric == run("R134a", "2.4bar", "--units", "metric").stdout


@pytest.mark.parametrize("written", ["-12inHg", "-12 inHg", "12 inHg vac", "12inHgvac"])
def test_a_vacuum_can_be_written_with_a_minus_or_in_words(written):
    result = run("R134a", written)
    assert result.exit_code == 0
    assert "R-134a at 12.0 inHg vac" in result.stdout


def test_a_negative_temperature_is_a_value_and_not_an_option():
    result = run("R22", "-40F")
    assert result.exit_code == 0
    assert "R-22 at -40.0 degF" in result.stdout


def test_a_negative_number_is_quoted_as_it_was_written():
    result = run("R134a", "-5bar")
    assert "'-5bar' is below a perfect vacuum" in result.stderr


def test_a_blend_says_which_point_serves_what():
    lines = run("R407C", "5bar", "--units", "metric").stdout.splitlines()
    assert re.fullmatch(r"  +\d+\.\d degC  dew point; for superheat and the suction side", lines[1])
    assert re.fullmatch(r"  +\d+\.\d degC  bubble point; for subcooling and the liquid line", lines[2])
    assert float(lines[1].split()[0]) > float(lines[2].split()[0])


def test_a_grade_that_is_not_the_best_is_told():
    assert "graded" in run("R407C", "40F").stdout
    assert "graded" not in run("R134a", "40F").stdout


def test_json_is_si_and_absolute():
    told = json.loads(run("R407C", "35psi", "--json", "--altitude", "1500m").stdout)
    assert told["barometer / Pa"] == pytest.approx(84556.0, abs=0.1)
    assert told["given"]["absolute pressure / Pa"] == pytest.approx(35 * PA_PER_PSI + 84556.0, abs=0.1)
    one = refrigerants.get("R407C")
    for phase in ("dew", "bubble"):
        expected = float(one.saturation_temperature(told["given"]["absolute pressure / Pa"], phase))
        assert told["saturation"][phase]["temperature / K"] == pytest.approx(expected, abs=1e-3)
    assert told["grade"] == one.grade


@given(st.sampled_from(["R134a", "R22", "R717"]), st.integers(-20, 250), st.integers(0, 10_000))
def test_there_and_back_again(name, psi, feet):
    there = run(name, f"{max(psi, -8)} psi", "--altitude", f"{feet} ft", "--json")
    if there.exit_code:
        assert "has no saturation" in there.stderr
        return
    (said,) = json.loads(there.stdout)["saturation"].values()
    back = json.loads(run(name, f"{said['temperature / K']!r} K", "--altitude", f"{feet} ft", "--json").stdout)
    (again,) = back["saturation"].values()
    assert again["gauge pressure / Pa"] == pytest.approx(max(psi, -8) * PA_PER_PSI, abs=10)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["R134a", "600psi"], "has no saturation at 600.0 psi gauge: that is above the critical point at 574.1 psi"),
        (["R744", "90F"], "above the critical point at 87.8 degF"),
        (["R134a", "-110C"], "degF, where the curve begins"),
        (["R407C", "85C", "--json"], "close to the critical point"),
        (["R134a", "29.9inHgvac", "--altitude", "5000ft"], "below a perfect vacuum"),
        (["R134b", "35"], "did you mean 'R134a'"),
        (["R134a", "30furlong"], "is no unit of pressure or temperature known here"),
        (["R134a", "12inHg"], "could be above or below the air"),
        (["R134a", "5000F"], "is outside"),
        (["R134a", "-500F"], "below absolute zero"),
        (["R134a", "lots"], "is not a number"),
        (["R134a", "nan"], "is not a number that a gauge can show"),
        (["R134a", "5m"], "a temperature belongs here"),
    ],
)
def test_what_cannot_be_answered_is_one_sentence_and_status_2(args, words):
    result = run(*args)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("twogauge: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr
