"""What a plan tells to type is taken by the commands as printed, and answers for this machine at this place."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.service.plan_commands import MEASURED, RENAMED, UNDERSTOOD, with_told

READINGS = Path(__file__).resolve().parents[2] / "examples" / "readings"
PLANS = ("leak_repair", "retrofit", "no_cooling", "recharge")
MACHINES = {
    "a car": (
        *("--refrigerant", "R134a", "--label", "2 lb 1 oz", "--ambient", "85F", "--humidity", "60"),
        *(
            "--system",
            "car_ac",
            "--metering",
            "orifice_tube",
            "--liquid-store",
            "accumulator",
            "--altitude",
            "5000 ft",
        ),
    ),
    "a new car": (
        *("--refrigerant", "R1234yf", "--label", "500g", "--ambient", "5", "--units", "si", "--barometer", "84"),
        *("--system", "car_ac", "--metering", "expansion_valve", "--liquid-store", "receiver"),
    ),
    "a split": (
        *(
            "--refrigerant",
            "R410A",
            "--label",
            "1.2kg",
            "--ambient",
            "32C",
            "--units",
            "metric",
            "--system",
            "split_ac",
        ),
        *("--altitude", "800m"),
    ),
    "a small appliance": (
        *("--refrigerant", "R290", "--label", "150g", "--ambient", "5C", "--units", "metric", "--system", "cooler"),
        *("--metering", "capillary"),
    ),
}
RETROFITS = {
    "a car": ("--refrigerant", "R134a", "--retrofit-from", "R12", *MACHINES["a car"][2:]),
    "a split": ("--refrigerant", "R407C", "--retrofit-from", "R22", *MACHINES["a split"][2:]),
}
CASES = [
    pytest.param(plan, asked, id=f"{plan} of {name}")
    for plan in PLANS
    for name, asked in (RETROFITS if plan == "retrofit" else MACHINES).items()
]
OWN = {"job", "json", "verbose", "help", "retrofit-from"}  # a plan's own, or written in its steps

LOGS = {
    "hold": "time [min], pressure [micron]\n" + "".join(f"{m}, 320\n" for m in range(0, 32, 2)),
    "nitrogen": "time [min], pressure [psi], temperature [degF]\n" + "".join(f"{m}, 80.0, 85\n" for m in (0, 20, 60)),
}


def run(words):
    return CliRunner().invoke(app, list(words))


def options_of(words):
    """Return the options that the command of these words takes, without their dashes."""
    found = typer.main.get_command(app)
    context = typer.Context(found)
    for word in words:
        following = found.get_command(context, word) if hasattr(found, "get_command") else None
        if following is None:
            break
        found, context = following, typer.Context(following)
    return {name[2:] for each in found.params for name in each.opts if name.startswith("--")}


@pytest.mark.parametrize("words", UNDERSTOOD, ids=" ".join)
def test_all_that_a_command_takes_goes_with_it_and_nothing_else(words):
    takes, of_plan = options_of(words), options_of(("plan",)) - OWN
    carried = set(UNDERSTOOD[words])
    there = {RENAMED.get((words[0], option), option) for option in carried}
    assert there <= takes
    left = (of_plan & takes) - there
    # What was measured stands in the file of the reading; a tick asks for no unit.
    assert left <= (set(MEASURED) if words == ("diagnose",) else {"units"} if words[-1] == "step" else set())


def steps_of(plan, asked):
    result = run(("plan", plan, *asked, "--json"))
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)["steps"]


def filled(line, asked, folder, units):
    """Put what a person would write where the plan has a word in capitals."""
    for name, text in LOGS.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    told = dict(zip(asked[::2], asked[1::2], strict=True))
    car = READINGS / ("bus_31_before_retrofit.yaml" if told["--refrigerant"] == "R134a" else "bus_17_warm_vents.yaml")
    put = {
        "READING.yaml": car,
        "BEFORE.yaml": READINGS / "bus_31_before_retrofit.yaml",
        "AFTER.yaml": READINGS / "bus_31_after_retrofit.yaml",
        "LOG": folder / ("nitrogen.csv" if "--nitrogen" in line else "hold.csv"),
        "PRESSURE": {"us": "80psi", "si": "300", "metric": "4"}[units],
        "WEIGHT": "12kg",
        "PART": "condenser",
    }
    for word, text in put.items():
        line = re.sub(rf"(?<![\w.]){re.escape(word)}(?![\w.])", lambda _, text=text: str(text), line)
    return shlex.split(line)


@pytest.mark.parametrize(("plan", "asked"), CASES)
def test_every_command_is_taken_with_all_that_was_told(plan, asked, tmp_path):
    told = dict(zip(asked[::2], asked[1::2], strict=True))
    for step in steps_of(plan, asked):
        if not step["command"] or "--ask" in step["command"]:
            continue
        words = filled(step["command"], asked, tmp_path, told.get("--units", "us"))
        result = run(words[1:])
        assert result.exit_code == 0, (words, result.output)
        takes = options_of(words[1:])
        measured = {f"--{each}" for each in MEASURED} if words[1] == "diagnose" else set()
        for option in told.keys() - measured - {"--label"}:
            if option[2:] in takes:
                assert words.count(option) == 1, (words, option)


def test_the_numbers_are_those_of_this_machine(tmp_path):
    asked = MACHINES["a car"]
    steps = {
        step["step"]: filled(step["command"] or "", asked, tmp_path, "us") for step in steps_of("leak_repair", asked)
    }
    rest = run(steps["at_rest"][1:])
    assert "5000 ft" in rest.stdout
    hold = run(steps["hold"][1:])
    assert "5000 ft" in hold.stdout
    charge = json.loads(run([*steps["charge"][1:], "--json"]).stdout)
    bare = json.loads(run(["charge", "R134a", "--label", "2 lb 1 oz", "--ambient", "85F", "--json"]).stdout)
    assert charge["amount"] == bare["amount"]
    assert charge != bare  # the way in is that of an orifice tube


def test_what_is_printed_can_be_copied_into_a_shell():
    asked = MACHINES["a car"]
    printed = run(("plan", "leak_repair", *asked)).stdout
    assert max(map(len, printed.splitlines())) <= 80
    lines = re.findall(r"(?:Type|Keep|step): (twogauge (?:[^\n]*\\\n)*[^\n]*)", printed)
    typed = [shlex.split(line.replace("\\\n", "")) for line in lines]  # as a shell does
    wanted = [shlex.split(step["command"]) for step in steps_of("leak_repair", asked) if step["command"]]
    assert [words for words in typed if words[1] != "job"] == wanted
    assert any("2 lb 1 oz" in words for words in typed)


def test_the_job_sheet_is_quoted_and_the_rules_of_the_shop_go_along(tmp_path, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_BY", "bay 2")
    sheet, shop = tmp_path / "bus 31.yaml", tmp_path / "our rules"
    shop.mkdir()
    (shop / "pack.yaml").write_text(
        "pack: shop\nextend:\n  recharge:\n    note: We tag.\n    steps:\n      tag:\n        after: recover\n"
        "        do: Tag it.\n        why: So that it is known.\n        source: ours\n",
        encoding="utf-8",
    )
    assert run(("job", "new", str(sheet), "--machine", "bus 31", "--refrigerant", "R134a")).exit_code == 0
    printed = run(("plan", "recharge", "--job", str(sheet), "--rules", str(shop))).stdout
    (tick,) = re.findall(r"Tick a step: (twogauge (?:[^\n]*\\\n)*[^\n]*)", printed)
    words = ["tag" if word == "STEP" else word for word in shlex.split(tick.replace("\\\n", ""))]
    assert run(words[1:]).exit_code == 0, words
    assert "[x] 3. tag" in run(("plan", "recharge", "--job", str(sheet), "--rules", str(shop))).stdout


@pytest.mark.parametrize(
    "line",
    [
        "twogauge hold 'LOG",
        "",
        "twogauge",
        "rm -r x",
        "twogauge nosuch",
        "make test",
    ],
)
def test_a_line_that_is_no_command_of_ours_stays_as_it_was_written(line):
    assert with_told(line, {"altitude": ("5000ft",), "units": ("si",)}) == line


def test_what_stands_in_the_step_is_not_told_twice():
    told = {"refrigerant": ("R134a",), "altitude": ("5000ft",)}
    assert with_told("twogauge hold LOG --refrigerant R12", told) == (
        "twogauge hold LOG --refrigerant R12 --altitude 5000ft"
    )
    assert with_told("twogauge hold LOG --altitude=0", told) == "twogauge hold LOG --altitude=0 --refrigerant R134a"
    assert with_told("twogauge hold LOG", {"altitude": ("$(reboot)",)}) == "twogauge hold LOG --altitude '$(reboot)'"
