"""`twogauge plan`: a list to be ticked, ticked in the job sheet, and sentences for what cannot be."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

RETROFIT = ("retrofit", "--refrigerant", "R134a", "--retrofit-from", "R12", "--label", "2.5lb", "--ambient", "85F")


def run(*arguments, command="plan", status=0):
    result = CliRunner().invoke(app, [command, *map(str, arguments)])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.mark.parametrize("units", ["us", "si", "metric"])
@pytest.mark.parametrize(
    "arguments",
    [
        (),
        RETROFIT,
        (*RETROFIT, "--altitude", "5000ft", "--verbose"),
        ("leak-repair",),
        ("no_cooling",),
        ("recharge",),
    ],
)
def test_it_fits_the_page(arguments, units):
    printed = run(*arguments, "--units", units)
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed.split()


def test_every_step_has_its_box_and_its_reason():
    printed = run(*RETROFIT)
    steps = json.loads(run(*RETROFIT, "--json"))["steps"]
    assert printed.count("\n[ ] ") == len(steps)
    assert printed.count("  Why: ") == len(steps)
    assert printed.count("The maker's procedure, local codes and licensed practice") == 1


def test_steps_are_ticked_in_the_sheet(tmp_path, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_BY", "bay 2")
    sheet = tmp_path / "job.yaml"
    run("new", sheet, "--machine", "bus 31", "--refrigerant", "R12", "--charge", "2.5lb", command="job")
    assert "did you mean 'recover'" in run("add", sheet, "step", "retrofit", "recovr", command="job", status=2)
    run("add", sheet, "step", "leak-repair", "recover", command="job")
    run("add", sheet, "step", "retrofit", "allowed", command="job")
    printed = run("retrofit", "--job", sheet, "--refrigerant", "R134a")
    assert [line.split()[-1] for line in printed.splitlines() if line.startswith("[x]")] == ["allowed"]
    assert "1 of 15 steps are done" in " ".join(printed.split())
    assert "--label 2.5lb --retrofit-from R12" in " ".join(printed.split())
    run("add", sheet, "strike", "3", "not yet", command="job")
    assert "[x]" not in run("retrofit", "--job", sheet, "--refrigerant", "R134a")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("retrofitt",), "did you mean 'retrofit'"),
        (("zzz",), "write one of leak_repair"),
        (("retrofit", "--refrigerant", "R290", "--retrofit-from", "R12"), "sham retrofit"),
        (("retrofit", "--refrigerant", "R12", "--retrofit-from", "R12"), "is no retrofit"),
        (("recharge", "--refrigerant", "R13a"), "R13a"),
        (("recharge", "--refrigerant", "R134a", "--label", "0lb"), "cannot be right"),
        (("recharge", "--job", "nosuch.yaml"), "no such file"),
        (("recharge", "--label", "35psi"), "weight"),
    ],
)
def test_what_cannot_be_is_a_sentence(arguments, said):
    assert said in run(*arguments, status=2)


def test_a_day_too_hot_for_the_cylinder_leaves_its_figures_open():
    printed = run("recharge", "--refrigerant", "R744", "--label", "400g", "--ambient", "40C")
    assert "what `twogauge charge` tells" in " ".join(printed.split())
