"""Every code shows what it means: its bad example has the problem, its good one has not, and neither is a riddle."""

from __future__ import annotations

import re

import pytest

from packs_of_codes import GROUND, written
from twogauge.packs.check import check_packs
from twogauge.packs.codes import CODES


@pytest.mark.parametrize("name", CODES)
def test_the_bad_example_has_the_problem_and_the_good_one_has_not(name, tmp_path):
    code = CODES[name]
    bad = check_packs(written(code.bad, tmp_path / "bad"), on=[GROUND]).problems
    assert name in {problem.code for problem in bad}
    assert {problem.severity for problem in bad if problem.code == name} == {code.severity}
    good = check_packs(written(code.good, tmp_path / "good"), on=[GROUND]).problems
    assert name not in {problem.code for problem in good}
    assert [str(problem) for problem in good if problem.severity == "error"] == []


def test_names_and_meanings_read_alike():
    for name, code in CODES.items():
        assert name == code.name
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name)
        assert code.meaning[0].isupper(), name
        assert code.meaning.endswith("."), name
        assert len(code.meaning) <= 250, name
        assert code.bad != code.good
        too_much = {"too-long", "too-deep"}
        lines = code.good.splitlines() + ([] if name in too_much else code.bad.splitlines())
        assert [line for line in lines if len(line) > 76] == [], name
        assert code.bad.endswith("\n"), name
        assert code.good.endswith("\n"), name


def test_commands_of_examples_only_write_into_the_pack():
    for code in CODES.values():
        for example in (code.bad, code.good):
            if example.startswith("$ "):
                assert re.search(r"(?:>|-s \S+|mkfifo) more\.yaml$", example.strip()), code.name
