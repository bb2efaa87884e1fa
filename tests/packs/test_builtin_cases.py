"""The cases of the packs that ship hold, exercise every rule, and would notice nearly every rule that is broken."""

from __future__ import annotations

import pytest

from twogauge.packs.coverage import KINDS, cover
from twogauge.packs.mutants import mutate
from twogauge.packs.trial import run

# Thresholds below which no reading lies: such a condition only asks whether the quantity is known at all.
ONLY_WHETHER_KNOWN = "above -60 K"


@pytest.fixture(scope="module")
def trial():
    return run()


def test_every_case_comes_out_as_expected(trial):
    assert [f"{f.expectation.place}: {f.case.id}: {f.came}" for f in trial.failures] == []
    assert {case.pack for case in trial.cases} == {"common", "automotive", "stationary"}


def test_no_two_cases_have_the_same_name(trial):
    names = [case.id for case in trial.cases]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("kind", KINDS)
def test_everything_is_exercised_on_both_sides(trial, kind):
    gaps = [
        f"{gap.place}: {gap.of}: {gap.what}"
        for gap in cover(trial).gaps
        if gap.kind == kind and not gap.what.endswith(ONLY_WHETHER_KNOWN)
    ]
    assert gaps == []


def test_nearly_every_broken_rule_is_noticed(trial):
    """What is left is told by `twogauge rules test --mutants`; most of it another rule of the topic outdoes."""
    found = mutate(trial)
    assert len(found.mutants) > 2000
    assert found.share >= 0.9, f"{found.caught} of {len(found.mutants)}"
    for kind in ("threshold", "answer", "condition", "applies_to", "weight"):
        caught, of = found.of_kind(kind)
        assert caught >= 0.8 * of, kind
