"""The cases of the packs that ship: they hold."""

from __future__ import annotations

import pytest

from twogauge.packs.trial import run


@pytest.fixture(scope="module")
def trial():
    return run()


def test_every_case_comes_out_as_expected(trial):
    assert [f"{f.expectation.place}: {f.case.id}: {f.came}" for f in trial.failures] == []
    assert len(trial.cases) >= 100


def test_no_two_cases_have_the_same_name(trial):
    names = [case.id for case in trial.cases]
    assert sorted(names) == sorted(set(names))
