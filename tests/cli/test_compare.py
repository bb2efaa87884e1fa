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
    ("bus_17_warm_vents.yaml", "STILL_WARM", "It did not work"),
    ("bus_17_warm_vents.yaml", "cold_morning.yaml", "The second reading is the older one"),
    ("bus_17_warm_vents.yaml", "words_only.yaml", ""),
    ("van_03_after_repair.yaml", "VAN_AGAIN", "Nothing wrong showed before"),
]


LATER = {
    "STILL_WARM": ("bus_17_warm_vents.yaml", ("low_side: 6 psi", "low_side: 7 psi")),
    "VAN_AGAIN": ("van_03_after_repair.yaml", ("ambient: 29 ", "ambient: 30 ")),
}


@pytest.fixture(autouse=True)
def later(tmp_path, monkeypatch):
    """Some machines were read a second time, with nearly the same figures."""
    for name, (file, (old, new)) in LATER.items():
        text = (READINGS / file).read_text("utf-8")
        assert old in text
        (tmp_path / name).write_text(text.replace(old, new), encoding="utf-8")
    monkeypatch.chdir(tmp_path)


def reading(name):
    return Path(name) if name in LATER else READINGS / name


def run(*arguments, status=0, given=None):
    result = CliRunner().invoke(app, ["compare", *map(str, arguments)], input=given)
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.mark.parametrize(("before", "after", "first"), PAIRS)
@pytest.mark.parametrize("more", [(), ("--verbose",), ("--units", "si")])
def test_it_fits_the_page_and_begins_with_the_verdict(before, after, first, more):
    printed = run(reading(before), reading(after), *more)
    assert printed.startswith(first)
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed.split()


@pytest.mark.parametrize(("before", "after", "first"), PAIRS)
def test_json_holds_the_same(before, after, first):
    found = json.loads(run(reading(before), reading(after), "--json"))
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
    printed = run(reading(PAIRS[2][0]), reading(PAIRS[2][1]))
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


def test_one_file_is_no_comparison(tmp_path):
    one = READINGS / PAIRS[0][0]
    assert "the same file" in run(one, one, status=2)
    (tmp_path / "link.yaml").symlink_to(one)
    assert "the same file" in run(one, tmp_path / "link.yaml", status=2)


@pytest.mark.parametrize("extra", ["", "# copied\n"])
def test_a_copy_is_told_to_be_one_before_anything_else(tmp_path, extra):
    one, copy = READINGS / PAIRS[0][0], tmp_path / "copy.yaml"
    copy.write_text(extra + one.read_text("utf-8"), encoding="utf-8")
    printed = " ".join(run(one, copy).split())
    assert printed.startswith("Both readings hold the very same figures")
    assert "As they stand: it did not work" in printed
    found = json.loads(run(one, copy, "--json"))
    assert [each["doubt"] for each in found["doubts"]] == ["same_figures"]
    assert found["fair"] is False


def test_an_after_that_is_older_is_told_before_anything_else():
    before, after = READINGS / PAIRS[1][1], READINGS / PAIRS[1][0]
    printed = " ".join(run(before, after).split())
    assert printed.startswith("The second reading is the older one")
    assert "the other way round" in printed
    assert [each["doubt"] for each in json.loads(run(before, after, "--json"))["doubts"]] == ["after_is_older"]
    assert json.loads(run(after, before, "--json"))["doubts"] == []


@pytest.mark.parametrize("which", [0, 1])
def test_one_of_them_may_come_from_a_pipe(which):
    files = [READINGS / PAIRS[0][0], READINGS / PAIRS[0][1]]
    piped = files[which].read_text("utf-8")
    files[which] = "-"
    assert run(*files, given=piped).startswith("It worked")
    assert "only one of the two" in run("-", "-", status=2, given=piped)
    assert "<stdin>:1:" in run(*files, status=2, given="just text\n")
