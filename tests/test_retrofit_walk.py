"""From an opened circuit to cold vents with the tool alone: the plan of a retrofit is followed as it is printed.

Bus 31 of the depot goes from R-12 to R-134a. Every command is taken from the plan's own words; what a person would fill
in (a file, a weight, what a part is called) stands in capitals there and is filled in here. Each command is a process
of its own.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

READINGS = Path(__file__).resolve().parents[1] / "examples" / "readings"
VACUUM = "time [min], pressure [micron]\n" + "".join(
    f"{minute}, {microns}\n"
    for minute, microns in zip(
        (0, 2, 4, 6, 8, 10, 15, 20, 25, 30), (310, 318, 322, 324, 325, 325, 326, 326, 326, 326), strict=True
    )
)
NITROGEN = "time [min], pressure [psi], temperature [degF]\n" + "".join(
    f"{m}, 80.0, 85.0\n" for m in (0, 10, 20, 40, 60)
)
# What a person fills in, by the step of the plan.
IN_CAPITALS = {
    "READING.yaml": "before.yaml",
    "BEFORE.yaml": "before.yaml",
    "AFTER.yaml": "after.yaml",
    "NAME": "'accumulator, O-rings'",
    "KIND": "'POE 100'",
    "VOLUME": "'4 fl oz'",
}


class Bay:
    """A folder in which commands are typed."""

    def __init__(self, folder):
        self.folder = folder
        self.environment = {**os.environ, "TWOGAUGE_BY": "bay 2"}

    def __call__(self, line, status=0):
        words = shlex.split(line)
        assert words[0] == "twogauge", line
        run = subprocess.run(
            [sys.executable, "-m", "twogauge", *words[1:]],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert run.returncode == status, f"{line}\n{run.stdout}\n{run.stderr}"
        return run.stdout

    def json(self, line):
        return json.loads(self(f"{line} --json"))


@pytest.fixture
def bay(tmp_path):
    (tmp_path / "before.yaml").write_bytes((READINGS / "bus_31_before_retrofit.yaml").read_bytes())
    (tmp_path / "after.yaml").write_bytes((READINGS / "bus_31_after_retrofit.yaml").read_bytes())
    (tmp_path / "vacuum.csv").write_text(VACUUM, encoding="utf-8")
    (tmp_path / "nitrogen.csv").write_text(NITROGEN, encoding="utf-8")
    return Bay(tmp_path)


def filled(line, more):
    """Put what a person would write where the plan has a word in capitals."""
    for word, text in {**IN_CAPITALS, **more}.items():
        line = re.sub(rf"(?<![\w.]){re.escape(word)}(?![\w.])", lambda _, text=text: text, line)
    return line


def test_a_retrofit_from_an_opened_circuit_to_cold_vents(bay):
    bay(
        'twogauge job new job.yaml --machine "bus 31" --refrigerant R12 --charge 2.5lb --system bus_ac --certificate 609-1'
    )
    ask = "twogauge plan retrofit --job job.yaml --refrigerant R134a --ambient 85F --altitude 900ft --metering orifice_tube"
    plan = bay.json(ask)
    assert not any(step["done"] for step in plan["steps"])
    seen = {}
    for step in plan["steps"]:
        more = {"WEIGHT": "1.9lb", "LOG": "nitrogen.csv" if "--nitrogen" in (step["command"] or "") else "vacuum.csv"}
        if step["command"]:
            command = filled(step["command"], more)
            seen[step["step"]] = bay.json(command)
            (bay.folder / f"{step['step']}.json").write_text(json.dumps(seen[step["step"]]), encoding="utf-8")
        if step["record"]:
            if step["step"] == "charge":  # as much as the command told
                amount = seen["charge"]["amount"]
                more["WEIGHT"] = f"{(amount['start_kg'] + amount['stop_kg']) / 2.0:.3f}kg"
            shown = f" --showed {step['step']}.json" if step["record"].startswith("test ") and step["command"] else ""
            bay(f"twogauge job add job.yaml {filled(step['record'], more)}{shown}")
        bay(f"twogauge job add job.yaml step retrofit {step['step']}")
    bay("twogauge job add job.yaml closed")

    # What the commands said on the way is what lets a person go on.
    assert seen["allowed"]["retrofit"]["checklist"]
    assert seen["read"]["verdict"] == "fault"
    assert seen["pressure_test"]["verdict"] == "holds"
    assert seen["hold"]["cause"] == "tight"
    assert seen["prove"]["outcome"] == "worked"
    assert {each["quantity"]: each["counts"] for each in seen["prove"]["changes"]}["vent_air"]

    assert all(step["done"] for step in bay.json(ask)["steps"])
    sheet = bay.json("twogauge job show job.yaml")
    assert sheet["closed"]
    assert sheet["recovered_kg"] == {"R12": pytest.approx(1.9 * 0.45359237, abs=1e-6)}
    low, high = seen["charge"]["amount"]["start_kg"], seen["charge"]["amount"]["stop_kg"]
    assert low < sheet["charged_kg"]["R134a"] < high
    assert {each["test"]: each["result"] for each in sheet["tests"]} == {
        "leak_search": "passed",
        "nitrogen": "passed",
        "hold": "passed",
    }
    log = bay("twogauge job report job.yaml --for log")
    assert "R-12 recovered in all: 1 lb 14.4 oz" in log
    assert "## Missing" not in log
    assert "It worked" in bay("twogauge job report job.yaml")


def test_a_retrofit_that_is_not_allowed_ends_at_its_plan(bay):
    bay('twogauge job new job.yaml --machine "bus 31" --refrigerant R12 --charge 2.5lb --system bus_ac')
    bay("twogauge plan retrofit --job job.yaml --refrigerant R290", status=2)


def test_a_vacuum_that_leaks_does_not_pass_for_a_tight_one(bay):
    (bay.folder / "vacuum.csv").write_text(
        "time [min], pressure [micron]\n" + "".join(f"{m}, {310 + 85 * m}\n" for m in range(0, 32, 2)),
        encoding="utf-8",
    )
    (hold,) = [
        s
        for s in bay.json("twogauge plan recharge --refrigerant R134a --ambient 85F")["steps"]
        if s["step"] == "hold"
    ]
    assert bay.json(filled(hold["command"], {"LOG": "vacuum.csv"}))["cause"] == "leak"
