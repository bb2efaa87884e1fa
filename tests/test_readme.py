"""The README tells the truth: its output is what is printed, its commands run, its rule works when copied."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"(?:<!-- (?P<mark>[^\n]*?) -->\n)?```(?P<language>\w+)\n(?P<text>.*?)```", re.DOTALL)
BLOCKS = [match.groupdict() for match in BLOCK.finditer(README)]
LINES = [
    line
    for block in BLOCKS
    if block["language"] == "sh" and block["mark"] is None
    for line in block["text"].splitlines()
]
# Writes 150 files straight from the property library, half a minute of work; tests/test_tables.py does it in small.
TOO_LONG = {"twogauge table --all --out tables"}


def twogauge(command: str, folder: Path = ROOT) -> subprocess.CompletedProcess[str]:
    ours = f'twogauge() {{ {shlex.quote(sys.executable)} -m twogauge "$@"; }}'
    return subprocess.run(["sh", "-c", f"{ours}\n{command}"], cwd=folder, capture_output=True, text=True, check=False)


def block(mark: str) -> str:
    found = [b["text"] for b in BLOCKS if b["mark"] and b["mark"].startswith(mark)]
    assert len(found) == 1, mark
    return found[0]


def test_the_two_commands_stand_on_the_first_screen():
    first_screen = "\n".join(README.splitlines()[:24])
    assert block("first command").strip() in first_screen
    assert block("test command").strip() in first_screen


def test_the_job_comes_first():
    assert README.splitlines()[0] == "# twogauge"
    assert "gauges" in README.split("\n\n")[1]


def test_the_output_shown_is_what_is_printed():
    marked = [b for b in BLOCKS if b["mark"] and b["mark"].startswith("output: ")]
    assert marked
    for each in marked:
        run = twogauge(each["mark"].removeprefix("output: "))
        shown = each["text"].rstrip("\n").splitlines()
        assert shown[-1] == "..."
        assert len(shown) > 20
        assert run.stdout.splitlines()[: len(shown) - 1] == shown[:-1]


@pytest.mark.parametrize("command", [line for line in LINES if line not in TOO_LONG])
def test_every_command_runs(command, tmp_path):
    for name in ("examples", "tests"):  # some commands write where they are run
        (tmp_path / name).symlink_to(ROOT / name)
    run = twogauge(command, tmp_path)
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip()


def test_the_python_example_runs():
    (text,) = [b["text"] for b in BLOCKS if b["language"] == "python"]
    run = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    assert run.stdout.startswith("fault low_charge 0.")


def test_the_rule_of_five_minutes_works_when_copied(tmp_path):
    (tmp_path / "our_shop").mkdir()
    (tmp_path / "our_shop" / "rules.yaml").write_text(block("file: our_shop/rules.yaml"), encoding="utf-8")
    *before, diagnose = block("runs").strip().splitlines()
    assert [command.split()[2] for command in before] == ["check", "test"]
    for command in before:
        done = twogauge(command, tmp_path)
        assert done.returncode == 0, done.stdout + done.stderr
    with_it = twogauge(diagnose, tmp_path)
    assert with_it.returncode == 0, with_it.stderr
    assert "The wash bay has laid the condenser's fins flat" in with_it.stdout
    without = twogauge("twogauge diagnose --low high --high high", tmp_path)
    assert with_it.stdout.splitlines()[0] != without.stdout.splitlines()[0]
