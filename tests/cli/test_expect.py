"""`twogauge expect`: a table for a person, JSON for a program, and a sentence for everything else."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

DEPOT = "examples/bus_depot"


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["expect", *arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.output


def test_the_table_fits_and_names_its_sources():
    printed = run("R134a", "--ambient", "95F", "--humidity", "60%")
    assert printed.startswith("Normal today: R-134a, car A/C, 95 degF air, 60 % humidity\n")
    assert max(map(len, printed.splitlines())) <= 80
    for name in ("low side", "high side", "vent air", "superheat", "subcooling"):
        assert f"\n  {name} " in printed
    assert "TM 5-3805-291-23-1" in printed


def test_what_forbids_a_judgement_stands_before_the_figures():
    printed = " ".join(run("R134a", "--ambient", "48F").split())
    assert printed.index("It is too cold to judge a vehicle by its pressures. At 48 degF") < printed.index("low side")
    assert "Instead: Read again above 16 degC" in printed
    assert [gate["gate"] for gate in json.loads(run("R134a", "--ambient", "48F", "--json"))["gates"]] == [
        "too_cold_for_a_vehicle"
    ]
    assert "too cold" not in run("R134a", "--ambient", "95F")
    assert "too cold" not in run("R410A", "--system", "split_ac", "--ambient", "48F")


def test_humid_air_moves_the_vents():
    dry, humid = (run("R134a", "--ambient", "30C", "--humidity", h, "--units", "si") for h in ("40%", "90%"))
    assert dry != humid


def expected(*arguments):
    return {e["quantity"]: (e["low"], e["high"]) for e in json.loads(run(*arguments, "--json"))["expected"]}


def test_humid_air_raises_and_dry_air_lowers_both_gauges_of_a_vehicle():
    dry, between, humid = (expected("R134a", "--ambient", "90F", "--humidity", h) for h in ("20%", "50%", "90%"))
    for port in ("low_side", "high_side"):
        assert dry[port][0] < between[port][0] < humid[port][0]
        assert dry[port][1] < between[port][1] < humid[port][1]


def test_an_idling_engine_leaves_the_low_side_higher_and_a_fast_one_draws_it_lower():
    idle, usual, fast = (expected("R134a", "--ambient", "90F", "--engine-speed", n) for n in ("700", "1500", "3000"))
    assert fast["low_side"] < usual["low_side"] < idle["low_side"]
    assert fast["high_side"] == usual["high_side"] < idle["high_side"]


def test_the_air_of_a_building_unit_is_counted_from_the_air_it_is_given():
    unit = ("R410A", "--system", "split_ac", "--ambient", "90F")
    assert "vent_air" not in expected(*unit)
    assert "no vent air: return_air was not given" in " ".join(run(*unit).split())
    cool, warm = (expected(*unit, "--return-air", f"{air}C")["vent_air"] for air in (22, 32))
    assert [high - low for low, high in zip(cool, warm, strict=True)] == pytest.approx([10, 10])


def test_newer_condensers_run_closer_to_the_air():
    old, new = (expected(name, "--system", "split_ac", "--ambient", "90F") for name in ("R22", "R410A"))
    assert new["condensing_over_ambient"][1] < old["condensing_over_ambient"][1]


def test_a_swing_is_shown_as_a_swing():
    printed = run("R134a", "--ambient", "90F", "--metering", "orifice_tube", "--compressor-control", "clutch_cycling")
    assert "swings by design, between" in printed


def test_a_profile_of_the_shop(root):
    printed = run("--profile", "bus_line_4", "--ambient", "85F", "--rules", str(root / DEPOT))
    assert "22 to 31 psi" in printed
    assert "165 to 200 psi" in printed
    assert "maker: profile bus_line_4" in printed


def test_json_is_si_and_complete():
    document = json.loads(run("R134a", "--ambient", "95F", "--json"))
    assert document["schema"] == "twogauge.expectation/1"
    high = next(e for e in document["expected"] if e["quantity"] == "high_side")
    assert high["unit"] == "Pa"
    assert 1e6 < high["low"] < high["high"] < 3e6
    assert high["by"] == "usual"


def test_what_is_not_known_is_said():
    printed = run("R134a")
    assert "no high side: the ambient temperature was not given" in " ".join(printed.split())


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("R134", "--ambient", "95F"), "did you mean"),
        (("R134a", "--ambient", "95psi"), "is a pressure, but a temperature belongs here"),
        (("--profile", "bus_line_9", "--ambient", "85F"), "is in no pack in force"),
    ],
)
def test_mistakes_are_sentences(arguments, message):
    assert message in run(*arguments, status=2)
