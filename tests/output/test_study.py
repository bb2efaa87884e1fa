"""What `--study` adds: it fits, it is the same every time, JSON carries what the text shows, and plain answers lack it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

TWO_FAULTS = (
    *("--refrigerant", "R134a", "--low", "45psi", "--high", "350psi", "--ambient", "85F"),
    *(
        "--superheat",
        "high",
        "--subcooling",
        "low",
        "--check",
        "sight_glass=bubbles",
        "--check",
        "condenser_fan=stopped",
    ),
)


def run(*arguments):
    result = CliRunner().invoke(app, ["diagnose", *arguments])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_three_answers_stand_after_the_diagnosis():
    plain, studied = run(*TWO_FAULTS), run(*TWO_FAULTS, "--study")
    assert studied.startswith(plain)
    added = studied.removeprefix(plain)
    for head in ("What would settle most", "How sure, with these instruments", "What the first leaves over"):
        assert f"\n{head}\n" in added
    assert max(map(len, added.splitlines())) <= 80
    assert added == run(*TWO_FAULTS, "--study").removeprefix(plain)


def test_json_carries_it_only_when_asked():
    assert "study" not in json.loads(run(*TWO_FAULTS, "--json"))
    study = json.loads(run(*TWO_FAULTS, "--json", "--study"))["study"]
    assert 1 <= len(study["next"]) <= 3
    assert 0.0 <= study["sure"]["same_leader"] <= 1.0
    assert {"low_charge", "condenser_cooling"} & {fault["fault"] for fault in study["second"]["faults"]}
    added = " ".join(run(*TWO_FAULTS, "--study").split())
    for step in study["next"]:
        assert step["title"] in added
        assert sum(outcome["probability"] for outcome in step["outcomes"]) == pytest.approx(1.0)
    assert all(said in added for said in (*study["sure"]["said"], *study["instruments"]))


def test_an_answered_check_is_not_asked_again():
    study = json.loads(run(*TWO_FAULTS, "--json", "--study"))["study"]
    assert not {"sight_glass", "condenser_fan", "superheat", "low_side"} & {step["name"] for step in study["next"]}


def test_swapped_hoses_and_a_single_bad_gauge_are_named():
    swapped = run("--refrigerant", "R134a", "--low", "210psi", "--high", "33psi", "--ambient", "85F", "--study")
    assert "hoses swapped?" in " ".join(swapped.split())
    bad = ("--low", "32psi", "--high", "90psi", "--vent", "44F", "--superheat", "normal", "--subcooling", "normal")
    said = run("--refrigerant", "R134a", "--ambient", "85F", *bad, "--check", "cooling_over_time=steady", "--study")
    assert "If high side is wrong" in " ".join(said.split())


def test_a_gated_reading_is_studied_without_a_fuss():
    assert "How sure" in run("--refrigerant", "R134a", "--low", "20psi", "--ambient", "20F", "--study")


def test_no_step_stands_without_how_it_is_done_and_its_cautions():
    studied = " ".join(run(*TWO_FAULTS, "--study").split())
    steps = json.loads(run(*TWO_FAULTS, "--json", "--study"))["study"]["next"]
    assert any(step["cautions"] for step in steps)
    for step in steps:
        assert " ".join(step["how"].split()) in studied
        assert all(caution["short"] in studied for caution in step["cautions"])
        assert all(said in studied for said in step["said"])


def test_a_described_gauge_is_no_suspect():
    bad = ("--low", "32psi", "--high", "90psi", "--vent", "44F", "--superheat", "normal", "--subcooling", "normal")
    described = (*bad, "--low-gauge", "class 1.6, 0 to 10 bar", "--thermometer", "probe 0.5 K", "--json", "--study")
    document = json.loads(run("--refrigerant", "R134a", "--ambient", "85F", *described))
    suspects = document["study"]["second"]["suspects"]
    assert suspects
    assert not {"low_gauge", "thermometer"} & {name for suspect in suspects for name in suspect["names"]}
    assert document["reading"]["texts"]["low_gauge"] == "class 1.6, 0 to 10 bar"
