"""The examples do what their table and their comments say, with the built-in rules."""

from __future__ import annotations

import json
import re
import shlex

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app


def told(path):
    result = CliRunner().invoke(app, ["diagnose", str(path), "--json"])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def commands(root):
    return re.findall(r"`(twogauge [^`]+)`", (root / "examples" / "README.md").read_text("utf-8"))


def test_every_command_of_the_examples_runs(root, monkeypatch):
    monkeypatch.chdir(root)
    found = commands(root)
    assert len(found) > 10
    for command in found:
        result = CliRunner().invoke(app, shlex.split(command)[1:])
        assert result.exit_code == 0, f"{command}: {result.stderr}"
        assert result.stdout.strip()


def test_every_example_is_in_the_table(root):
    named = {part for command in commands(root) for part in shlex.split(command)}
    files = {path.relative_to(root).as_posix() for path in (root / "examples" / "readings").iterdir()}
    assert files <= named


@pytest.mark.parametrize(
    ("name", "verdicts"),
    [
        ("bus_17_warm_vents.yaml", {"fault"}),
        ("bus_22_hot_yard.yaml", {"fault"}),
        ("van_03_after_repair.yaml", {"normal"}),
        ("bus_12_last_may.yaml", {"normal"}),
        ("cold_morning.yaml", {"gated"}),
        ("r744_bus.yaml", {"gated"}),
        ("with_spec.yaml", {"fault", "too_close"}),
        ("with_baseline.yaml", {"fault", "too_close"}),
        ("swing.yaml", {"fault"}),
    ],
)
def test_an_example_shows_what_its_comment_says(name, verdicts, root):
    assert told(root / "examples" / "readings" / name)["verdict"] in verdicts


@pytest.mark.parametrize(("name", "key"), [("with_spec.yaml", "spec"), ("with_baseline.yaml", "baseline")])
def test_what_an_example_is_compared_with_is_what_makes_it_stand_out(name, key, root, tmp_path):
    text = (root / "examples" / "readings" / name).read_text("utf-8")
    assert told(root / "examples" / "readings" / name)["verdict"] != "normal"
    cut = re.sub(rf"(?m)^{key}:.*\n(?:  .*\n)*", "", text)
    assert cut != text
    path = tmp_path / name
    path.write_text(cut, "utf-8")
    assert told(path)["verdict"] == "normal"
