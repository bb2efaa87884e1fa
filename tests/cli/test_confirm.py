"""`twogauge confirm`: one more line in the book, or a sentence that says why not."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge import __version__
from twogauge.cli.app import app

READING = (
    "refrigerant: R134a\nlow_side: 6 psi\nhigh_side: 118 psi\nambient: 91 degF\nchecks: {sight_glass: bubbles}\n"
)


@pytest.fixture(autouse=True)
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "reading.yaml").write_text(READING, "utf-8")
    return tmp_path


def run(*arguments, **kw):
    return CliRunner().invoke(app, ["confirm", *map(str, arguments)], **kw)


def confirmed(*arguments, **kw):
    result = run(*arguments, **kw)
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    return result.stdout


def refused(*arguments, **kw):
    result = run(*arguments, **kw)
    assert (result.exit_code, result.stdout) == (2, "")
    return result.stderr


def book(path="casebook.jsonl"):
    return [json.loads(line) for line in Path(path).read_text("utf-8").splitlines()]


def test_the_case_is_added_to_the_book_in_this_folder():
    said = confirmed("reading.yaml", "--fault", "low_charge", "--note", "leak at the joint")
    assert said == "low_charge is confirmed in casebook.jsonl; in the ranking it came first.\n"
    (line,) = book()
    assert line["faults"] == ["low_charge"]
    assert line["note"] == "leak at the joint"
    assert line["reading"]["low_side"] == "6 psi"
    assert line["reading"]["checks"] == {"sight_glass": "bubbles"}
    assert abs((date.fromisoformat(line["confirmed"]) - date.today()).days) <= 1  # noqa: DTZ011
    assert line["twogauge"] == __version__
    assert line["packs"]["automotive"] >= 1


def test_a_repair_of_two_faults_names_both_the_main_one_first():
    told = confirmed("reading.yaml", "--fault", "low_charge", "--fault", "condenser_cooling")
    assert "low_charge and condenser_cooling are confirmed" in " ".join(told.split())
    assert book()[0]["faults"] == ["low_charge", "condenser_cooling"]
    assert "either something was wrong" in refused("reading.yaml", "--fault", "low_charge", "--fault", "normal")
    assert len(book()) == 1


def test_a_second_case_is_added_below_and_both_are_evaluated():
    confirmed("reading.yaml", "--fault", "low_charge")
    said = confirmed("reading.yaml", "--fault", "normal")
    assert "came at rank" in said
    assert "after low_charge" in " ".join(said.split())
    assert [line["faults"] for line in book()] == [["low_charge"], ["normal"]]
    found = json.loads(CliRunner().invoke(app, ["evaluate", "casebook.jsonl", "--json"]).stdout)
    assert [case["outcome"] for case in found["cases"]] == ["correct", "false_alarm"]


def test_the_book_may_be_named_by_an_option_or_the_environment(shop):
    confirmed("reading.yaml", "--fault", "low_charge", env={"TWOGAUGE_CASEBOOK": str(shop / "ours.jsonl")})
    assert len(book("ours.jsonl")) == 1
    confirmed("reading.yaml", "--fault", "low_charge", "--book", "mine.jsonl")
    assert len(book("mine.jsonl")) == 1
    assert not (shop / "casebook.jsonl").exists()


def test_bare_numbers_keep_the_units_they_were_meant_in(shop):
    (shop / "bare.yaml").write_text("refrigerant: R134a\nlow_side: 2\nambient: 30\n", "utf-8")
    confirmed("bare.yaml", "--fault", "normal", "--units", "metric")
    assert book()[0]["reading"]["units"] == "metric"


def test_a_reading_may_come_from_standard_input():
    confirmed("-", "--fault", "low_charge", input=READING)
    assert book()[0]["reading"]["high_side"] == "118 psi"


def test_checks_and_faults_of_the_shop_are_known_with_its_rules(shop, root):
    (shop / "drive.yaml").write_text("low_side: high\nhigh_side: low\n", "utf-8")
    rules = root / "examples" / "bus_depot"
    confirmed("drive.yaml", "--fault", "drive_too_slow", "--rules", rules)
    assert "bus_depot" in book()[0]["packs"]
    assert "'drive_too_slow' is not a fault known here" in refused("drive.yaml", "--fault", "drive_too_slow")


def test_a_fault_nobody_knows_is_told_with_the_nearest(shop):
    assert "'low_chrage' is not a fault known here; did you mean 'low_charge'" in refused(
        "reading.yaml", "--fault", "low_chrage"
    )
    assert "`twogauge rules faults` lists them" in refused("reading.yaml", "--fault", "zzz")
    assert not (shop / "casebook.jsonl").exists()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("low_side: 6 bananas\n", "bad.yaml:1:11: low_side: 'bananas' is not a unit"),
        (
            "low_side: low\nchecks: {sight_glas: clear}\n",
            "bad.yaml:2:10: 'sight_glas' is neither a field nor a check",
        ),
        ("- low\n", "bad.yaml:1:1: a reading is lines of 'field: value'"),
    ],
)
def test_a_reading_that_cannot_be_used_is_not_confirmed(shop, text, told):
    (shop / "bad.yaml").write_text(text, "utf-8")
    assert told in refused("bad.yaml", "--fault", "low_charge")
    assert not (shop / "casebook.jsonl").exists()


def test_a_book_has_the_name_by_which_it_is_known_again(shop):
    assert "ends in .jsonl" in refused("reading.yaml", "--fault", "low_charge", "--book", "book.txt")
    assert not (shop / "book.txt").exists()


def test_a_note_with_control_characters_is_refused():
    assert "the note must be plain text" in refused("reading.yaml", "--fault", "low_charge", "--note", "a\x07b")


def test_two_people_at_once_lose_nothing(shop):
    command = [sys.executable, "-m", "twogauge", "confirm", "reading.yaml", "--note"]
    running = [subprocess.Popen([*command, str(i), "--fault", "low_charge"], cwd=shop) for i in range(4)]
    assert [each.wait(timeout=120) for each in running] == [0] * 4
    assert sorted(line["note"] for line in book()) == ["0", "1", "2", "3"]
