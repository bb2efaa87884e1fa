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
    assert "1 of 16 steps are done" in " ".join(printed.split())
    assert "--label 2.5lb --retrofit-from R12" in " ".join(printed.split())
    run("add", sheet, "strike", "3", "not yet", command="job")
    assert "[x]" not in run("retrofit", "--job", sheet, "--refrigerant", "R134a")


def test_a_broken_entry_of_the_sheet_hides_no_tick(tmp_path, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_BY", "bay 2")
    sheet = tmp_path / "job.yaml"
    run("new", sheet, "--machine", "bus 31", "--refrigerant", "R12", command="job")
    run("add", sheet, "step", "retrofit", "allowed", command="job")
    sheet.write_text(sheet.read_text() + "  - did: [cut off\n")
    result = CliRunner().invoke(app, ["plan", "retrofit", "--job", str(sheet), "--refrigerant", "R134a"])
    assert result.exit_code == 0
    assert "1 of 16 steps are done" in " ".join(result.stdout.split())
    assert "job.yaml:" in result.stderr


def test_a_step_that_does_not_apply_is_ticked_as_such(tmp_path, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_BY", "bay 2")
    sheet = tmp_path / "job.yaml"
    ask = ("retrofit", "--job", sheet, "--refrigerant", "R134a")
    run("new", sheet, "--machine", "bus 31", "--refrigerant", "R12", command="job")
    tick = ("add", sheet, "step", "retrofit")
    assert "why" in run(*tick, "switch", "--not-applicable", " ", command="job", status=2)
    refused = run("add", sheet, "part", "belt", "--not-applicable", "x", command="job", status=2)
    assert "belongs to a step" in " ".join(refused.split())
    run(*tick, "allowed", command="job")
    run(*tick, "switch", "--not-applicable", "it has one", command="job")
    printed = run(*ask)
    assert "1 of 16 steps are done" in " ".join(printed.split())
    assert ", 1 does not apply." in " ".join(printed.split())
    (line,) = [line for line in printed.splitlines() if line.startswith("[-]")]
    assert line.endswith("switch")
    assert "Not applicable: it has one" in printed
    steps = {step["step"]: step for step in json.loads(run(*ask, "--json"))["steps"]}
    assert (steps["switch"]["done"], steps["switch"]["not_applicable"]) == (False, "it has one")
    assert steps["allowed"]["not_applicable"] is None
    assert "not applicable: step switch of the plan retrofit: it has one" in " ".join(
        run("show", sheet, command="job").split()
    )
    for reader in ("customer", "log"):
        report = run("report", sheet, "--for", reader, command="job")
        assert "## Steps that do not apply" in report
        assert "it has one" in report
    run(*tick, "switch", command="job")  # it was done after all
    assert "[x] 7. switch" in run(*ask)
    assert "do not apply" not in run("report", sheet, command="job")


def test_what_counts_by_default_is_named_and_the_others_stand_below():
    printed = " ".join(run("recharge", "--system", "car_ac", "--ambient", "5C", "--altitude", "5000ft").split())
    assert (
        "By default on a dial: The pump pulls 29 inHg of vacuum at sea level: 24.0 inHg here, too little to boil"
        in (printed)
    )
    assert "Others: The pump runs 45 minutes" in printed
    assert "So go by a vacuum gauge, or warm the machine first" in printed
    warm = " ".join(run("recharge", "--system", "car_ac", "--ambient", "30C").split())
    assert "So go by a vacuum gauge" not in warm
    assert "29 inHg of vacuum at sea level (US Army" in warm
    assert "27 inHg of vacuum at sea level, too little to boil water at 86 degF" in warm
    assert "-0.98 bar" in run("recharge", "--units", "metric")
    criteria = {
        c["criterion"]: c
        for step in json.loads(run("recharge", "--system", "car_ac", "--json"))["steps"]
        for c in step["criteria"]
    }
    assert criteria["pump_90_min"]["default"]
    assert criteria["pump_90_min"]["why"]
    assert not criteria["pump_45_min"]["default"]


@pytest.mark.parametrize("name", ["leak_repair", "retrofit", "no_cooling", "recharge"])
def test_no_source_is_cut_off(name):
    printed = run(name)
    assert printed.count("(") == printed.count(")")


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
