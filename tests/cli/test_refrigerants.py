"""`twogauge refrigerants`: the list fits a terminal, and one refrigerant is told with grade, cautions and sources."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge import refrigerants
from twogauge.cli.app import app


def run(*args):
    return CliRunner().invoke(app, ["refrigerants", *args])


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_list_names_every_refrigerant_with_class_and_grade_in_80_columns(units):
    result = run("--units", units)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    rows = {line.split()[0]: line.split()[1:] for line in lines[1:] if line.startswith("R-")}
    for one in refrigerants.summaries():
        assert rows[one.title][0] == one.safety_class
        assert rows[one.title][1] == one.kind
        assert rows[one.title][3] == one.grade


def test_every_grade_in_the_list_is_explained_below_it():
    below = run().stdout.split("\n\n")[1]
    for one in refrigerants.summaries():
        assert f"  {one.grade} " in below


def test_the_list_as_json():
    told = json.loads(run("--json").stdout)
    assert [one["id"] for one in told] == list(refrigerants.names())
    assert {"safety class", "kind", "glide at 101325 Pa / K", "grade"} <= set(told[0])


@pytest.mark.parametrize("name", refrigerants.names())
@pytest.mark.parametrize("units", ["us", "metric"])
def test_one_is_told_completely_in_80_columns(name, units):
    result = run(name, "--units", units)
    assert result.exit_code == 0
    assert max(map(len, result.stdout.splitlines())) <= 80
    flat = " ".join(result.stdout.split())
    one = refrigerants.get(name)
    for words in (one.title, one.kind, one.safety_class, one.grade_reason, *one.cautions, *one.lubricants):
        assert " ".join(words.split()) in flat
    for source in one.sources.values():
        assert " ".join(source.split()) in flat
    assert "largest error" in flat
    assert "critical point" in flat


def test_a_blend_tells_its_composition_and_both_curves():
    flat = " ".join(run("R407C").stdout.split())
    assert "23 % R32, 25 % R125, 52 % R134a" in flat
    assert "bubble curve" in flat
    assert "dew curve" in flat


def test_one_as_json_has_facts_curves_and_sources():
    told = json.loads(run("R134a", "--json").stdout)
    assert told["id"] == "R134a"
    assert told["curves"]["pure"]["temperature to / K"] < told["critical temperature / K"]
    assert told["sources"]
    assert told["cautions"]


def test_a_name_nobody_knows_is_refused_with_the_nearest():
    result = run("R134aa")
    assert result.exit_code == 2
    assert "did you mean 'R134a'" in result.stderr
