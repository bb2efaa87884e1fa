"""`twogauge compare`: the verdict first, a page wide, sentences for what cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

READINGS = Path(__file__).resolve().parents[2] / "examples" / "readings"
PAIRS = [
    ("bus_17_warm_vents.yaml", "bus_17_after_repair.yaml", "It worked"),
    ("bus_31_before_retrofit.yaml", "bus_31_after_retrofit.yaml", "It worked"),
    ("bus_17_warm_vents.yaml", "bus_17_warm_vents.yaml", "It did not work"),
    ("bus_17_warm_vents.yaml", "cold_morning.yaml", "Cannot say"),
    ("bus_17_warm_vents.yaml", "words_only.yaml", ""),
    ("van_03_after_repair.yaml", "van_03_after_repair.yaml", "Nothing wrong showed before"),
]


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["compare", *map(str, arguments)])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.mark.parametrize(("before", "after", "first"), PAIRS)
@pytest.mark.parametrize("more", [(), ("--verbose",), ("--units", "si")])
def test_it_fits_the_page_and_begins_with_the_verdict(before, after, first, more):
    printed = run(READINGS / before, READINGS / after, *more)
    assert printed.startswith(first)
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed.split()


@pytest.mark.parametrize(("before", "after", "first"), PAIRS)
def test_json_holds_the_same(before, after, first):
    found = json.loads(run(READINGS / before, READINGS / after, "--json"))
    assert found["schema"] == "twogauge.compare/1"
    assert (found["outcome"] == "worked") == (first == "It worked")
    assert isinstance(found["fair"], bool)


def test_a_retrofit_marks_pressures_and_carries_the_vents_over():
    printed = " ".join(run(READINGS / PAIRS[1][0], READINGS / PAIRS[1][1]).split())
    assert "low side*" in printed
    assert "condensing over ambient*" not in printed
    assert "In the air of the first day the vents would now be at" in printed
    assert "Refrigerant: R12 before, R134a after" in printed


def test_the_care_of_reading_a_running_machine_is_told_and_no_more():
    printed = run(READINGS / PAIRS[2][0], READINGS / PAIRS[2][1])
    assert printed.count("Take care") == 1
    assert "clear of belts and fans" in " ".join(printed.split())
    assert "acid gas" not in printed
    assert "What to do now" in printed
    assert "What to do now" not in run(READINGS / PAIRS[0][0], READINGS / PAIRS[0][1])


def test_a_file_that_is_not_there_or_holds_no_reading(tmp_path):
    there = READINGS / PAIRS[0][0]
    assert "no such file" in run(there, tmp_path / "none.yaml", status=2)
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text("refrigerant: R134a\nlow_side: 35 psi\nsight_glass: bubles\n", encoding="utf-8")
    said = run(there, wrong, status=2)
    assert "wrong.yaml:3:" in said
    assert "did you mean 'bubbles'" in said
