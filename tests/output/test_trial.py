"""What a trial prints: places an editor can jump to, the reasons of both sides, and a document for programs."""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from twogauge.cli.app import app
from twogauge.output.trial import REASONS_AT_MOST

RULES = "pack: shop\nbuilds_on: {automotive: 2}\ndisable:\n  paper_falls:\n    note: No paper.\n"
GOOD = "- id: leak\n  reading: {low_side: low, oily_spots: yes}\n  expect: {first: thirsty}\n  note: It leaks.\n"


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def tried(tmp_path):
    def run(cases, *args):
        (tmp_path / "rules.yaml").write_text(RULES, "utf-8")
        (tmp_path / "cases").mkdir(exist_ok=True)
        (tmp_path / "cases" / "one.yaml").write_text(cases, "utf-8")
        return CliRunner().invoke(app, ["rules", "test", str(tmp_path), *args])

    return run


def test_cases_that_hold_are_counted(tried):
    result = tried(GOOD)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[-1] == "All 1 cases hold."


def test_a_failure_begins_with_its_place_and_shows_both_ledgers(tried):
    result = tried(GOOD.replace("first: thirsty", "first: smothered"))
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert re.match(r"\S*one\.yaml:3:12: case leak: smothered was to come first; thirsty does with", lines[0])
    assert re.match(r"  smothered, 0 %, -\d+\.\d dB", lines[1])
    assert any(re.match(r"  thirsty, \d+ %, \+\d+\.\d dB", line) for line in lines)
    assert "      -5.7 dB  The low side is low (low_side_low)" in lines
    assert "      +9.6 dB  The low side is low (low_side_low)" in lines
    assert lines[-1] == "1 of 1 cases fail."


def test_a_long_ledger_is_cut_short(tried):
    everything = "low_side: low, high_side: low, oily_spots: yes"
    text = tried(GOOD.replace("low_side: low, oily_spots: yes", everything).replace("thirsty", "hissing")).stdout
    assert "    nothing speaks for or against it" in text
    assert len(re.findall(r"(?m)^ +[-+]\d+\.\d dB  ", text)) <= 2 * REASONS_AT_MOST


def test_only_what_counted_is_shown(tried):
    both = "refrigerant: R134a, high_side: 400 psi, ambient: 90 degF"
    text = tried(GOOD.replace("low_side: low, oily_spots: yes", both)).stdout
    assert "(high_side_high)" in text
    assert "high_side_far_above_air" not in text  # weaker, of the same topic


def test_a_rule_that_does_not_hold_is_told_with_its_conditions(tried):
    text = tried(GOOD.replace("first: thirsty", "silent: low_side_low")).stdout
    assert "low_side_low was not to hold; its degree is 0.9" in text
    assert "  its conditions: low_side_level 0.9" in text


def test_a_mistake_in_a_case_is_told_with_its_place(tried):
    result = tried(GOOD.replace("first:", "frist:"))
    assert result.exit_code == 2
    assert re.match(r"\S*one\.yaml:3:12: 'frist' is not a key here; did you mean 'first'", result.stderr)


def test_the_document_has_the_keys_it_is_described_with(tried):
    from twogauge.output import trial

    told = json.loads(tried(GOOD.replace("first: thirsty", "first: smothered"), "--format", "json").stdout)
    described = re.findall(r"(?m)^    (\w+) {2,}\S", trial.__doc__)
    assert list(told) == described
    assert told["schema"] == trial.SCHEMA
    assert told["holds"] is False
    assert told["tested"] == ["shop"]
    (case,) = told["cases"]["failures"]
    assert (case["case"], case["pack"], case["line"], case["column"], case["expected"]) == (
        "leak",
        "shop",
        3,
        12,
        "first",
    )
    assert [each["fault"] for each in case["faults"]] == ["smothered", "thirsty"]
    assert case["faults"][1]["reasons"][0]["rule"] in {"low_side_low", "oil_at_fittings"}


def test_the_document_of_a_trial_that_holds_says_so_and_exits_with_0(tried):
    result = tried(GOOD, "--format", "json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert told["holds"] is True
    assert told["cases"] == {"count": 1, "failures": [], "moved": []}
    assert told["examples"]["count"] > 0


def test_an_example_that_fails_is_in_the_document(tmp_path):
    rules = RULES + "adjust:\n  high_side_far_above_air:\n    note: Roofed in.\n    when:\n"
    rules += "      condensing_over_ambient: {above: 90 K}\n"
    (tmp_path / "rules.yaml").write_text(rules)
    result = CliRunner().invoke(app, ["rules", "test", str(tmp_path), "--format", "json"])
    assert result.exit_code == 1
    (failure,) = json.loads(result.stdout)["examples"]["failures"]
    assert (failure["rule"], failure["kind"]) == ("high_side_far_above_air", "holds")
    assert failure["degree"] < 0.1
    assert failure["conditions"][0]["name"] == "condensing_over_ambient"
