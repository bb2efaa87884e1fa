"""`--plot`: which picture into which file, whole or not at all; what is said where it cannot be."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pictures import pages_of, parsed
from twogauge.cli import plotting
from twogauge.cli.app import app

READINGS = Path(__file__).resolve().parents[2] / "examples" / "readings"
BUS = str(READINGS / "bus_17_warm_vents.yaml")
GAUGES = ("--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F")


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments, status=0):
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result


def test_pictures_of_all_kinds_and_forms(folder):
    plain = run("diagnose", BUS).stdout
    drawn = run("diagnose", BUS, "--plot", "a.svg", "--plot", "cycle=b.PDF", "--plot", "evidence=c.png")
    assert drawn.stdout == plain  # the answer itself stays as it is
    assert parsed((folder / "a.svg").read_bytes()).find("{*}title").text == "What the gauges mean: R-134a"
    assert pages_of((folder / "b.PDF").read_bytes()) == 1
    assert sorted(path.name for path in folder.iterdir()) == [
        "a.svg",
        "b.PDF",
        "c.png",
    ]  # nothing left behind


def test_json_stays_json(folder):
    printed = run("diagnose", BUS, "--json", "--plot", "a.svg").stdout
    assert json.loads(printed)["ranking"]
    assert (folder / "a.svg").exists()


@pytest.mark.parametrize(
    ("plot", "said"),
    [
        (["a.gif"], "ends in .svg, .png or .pdf"),
        (["a"], "ends in .svg, .png or .pdf"),
        (["cicle=a.svg"], "did you mean 'cycle'?"),
        (["zzz=a.svg"], "known here: saturation, cycle, evidence"),
        (["a.svg", "evidence=a.svg"], "two pictures cannot go into one file"),
        (["no_such_folder/a.svg"], "no_such_folder/a.svg cannot be written"),
    ],
)
def test_what_cannot_be_drawn_into_is_said(folder, plot, said):
    options = [part for item in plot for part in ("--plot", item)]
    assert said in run("diagnose", *GAUGES, *options, status=2).stderr
    assert list(folder.iterdir()) == []


def test_the_answer_is_printed_even_where_a_picture_lacks_a_measurement(folder):
    result = run("diagnose", *GAUGES, "--plot", "cycle=a.svg", status=2)
    assert "How likely" in result.stdout
    assert "a.svg was not drawn: a cycle cannot be drawn without the temperature of the suction line" in result.stderr
    assert list(folder.iterdir()) == []


def test_it_does_not_go_with_a_conversation():
    assert "--ask" in run("diagnose", *GAUGES, "--ask", "--plot", "a.svg", status=2).stderr


def test_without_the_library_it_is_said_how_to_install_it(folder, monkeypatch):
    monkeypatch.setattr(plotting, "find_spec", lambda _: None)
    said = run("diagnose", *GAUGES, "--plot", "a.svg", status=2)
    assert "pip install 'twogauge[plots]'" in said.stderr
    assert said.stdout == ""  # told before anything else is done
    assert list(folder.iterdir()) == []


def test_without_a_picture_the_library_is_not_touched(folder):
    program = (
        "import sys\n"
        "class Block:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.partition('.')[0] in ('matplotlib', 'PIL', 'fontTools'):\n"
        "            raise ImportError(name)\n"
        "sys.meta_path.insert(0, Block())\n"
        "from twogauge.cli.app import main\n"
        "sys.argv = ['twogauge', *sys.argv[1:]]\n"
        "main()\n"
    )
    for arguments in (
        ("diagnose", *GAUGES),
        ("table", "R134a"),
        ("table", "R134a", "--format", "html"),
        ("diagnose", BUS, "--json"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", program, *arguments], cwd=folder, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr


def test_a_card_for_the_wall_is_written_as_pdf_and_html(folder):
    day = {"SOURCE_DATE_EPOCH": "1780000000"}
    for form in ("pdf", "html"):
        arguments = ["table", "R134a", "R407C", "--altitude", "900ft", "--format", form, "--paper", "letter"]
        result = CliRunner().invoke(app, [*arguments, "--out", f"card.{form}"], env=day)
        assert result.exit_code == 0, result.output
        assert result.stdout == ""
        again = CliRunner().invoke(app, [*arguments, "--out", f"again.{form}"], env=day)
        assert again.exit_code == 0
        assert (folder / f"card.{form}").read_bytes() == (folder / f"again.{form}").read_bytes()
    assert pages_of((folder / "card.pdf").read_bytes()) >= 1
    assert "Made 2026-05-28" in (folder / "card.html").read_text("utf-8")
    printed = CliRunner().invoke(app, ["table", "R134a", "--format", "html"], env=day).stdout
    assert printed.startswith("<!DOCTYPE html>")
    assert "size: A4" in printed


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["R134a", "--format", "pdf"], "--out card.pdf"),
        (["R134a", "--paper", "a4"], "--paper is for cards"),
        (["--all", "--format", "pdf", "--out", "set"], "carries a date"),
        (["R134a", "--format", "pdf", "--out", "no_such_folder/card.pdf"], "cannot be written"),
        (["R134a", "--format", "pdf", "--paper", "a0", "--out", "a.pdf"], "a0"),
    ],
)
def test_a_card_that_cannot_be_is_refused(folder, arguments, said):
    assert said in run("table", *arguments, status=2).stderr
    assert list(folder.iterdir()) == []


def test_a_card_as_html_needs_no_library_and_a_pdf_says_so(monkeypatch):
    monkeypatch.setattr(plotting, "find_spec", lambda _: None)
    assert "<table" in run("table", "R134a", "--format", "html").stdout
    assert "twogauge[plots]" in run("table", "R134a", "--format", "pdf", "--out", "a.pdf", status=2).stderr


HOLDS = READINGS.parent / "holds"


@pytest.mark.parametrize(
    ("arguments", "title"),
    [
        (["hold", HOLDS / "bus_17_after_the_joint.csv"], "It leaks"),
        (["hold", HOLDS / "van_03_stood_open.yaml", "--json"], "There is water in it"),
        (["hold", HOLDS / "bus_22_nitrogen.csv", "--nitrogen"], "A test under dry nitrogen: it drops"),
        (["compare", BUS, READINGS / "bus_17_after_repair.yaml"], "It worked"),
        (["compare", BUS, READINGS / "bus_17_after_repair.yaml", "--json"], "It worked"),
    ],
)
def test_a_hold_test_and_a_comparison_are_drawn_too(folder, arguments, title):
    plain = run(*arguments).stdout
    assert run(*arguments, "--plot", "a.svg").stdout == plain
    root = parsed((folder / "a.svg").read_bytes())
    assert root.find("{*}title").text.startswith(title)
    assert str(READINGS.parent) not in (folder / "a.svg").read_text("utf-8")  # no path of this machine
    assert "ends in .svg" in run(*arguments, "--plot", "a.txt", status=2).stderr
