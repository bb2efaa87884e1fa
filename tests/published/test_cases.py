"""Every published case of data/cases.yaml, words and numbers alike, against the built-in packs.

A hit is any cause the source publishes. The aims (first in 85 %, within three in 95 %, misdiagnosis at most 8 %, no
false alarm) are this project's own; where the rules stand below one, the bar is what was reached and says so. A case
that is missed stays here as a known miss with its reason: it is not deleted, and no rule is written for it. A known
miss that starts to hit fails the test too, so that this list stays true.

`twogauge evaluate tests/published/data/cases.yaml` prints the table.
"""

from __future__ import annotations

import pytest
import yaml

from published.cases import FILE, published_cases, published_evaluation
from twogauge.evaluate import CORRECT, FALSE_ALARM, MISDIAGNOSIS, OF_FAULTY, OF_NORMAL, counts

RAW = yaml.safe_load(FILE.read_text("utf-8"))

# Case -> why its published cause does not come within the first three.
MISSED_THREE = {
    "tm307-air-moisture": (
        "Both gauges normal is the picture of health, and the one complaint (air only slightly cool, the clutch "
        "never let go) fits a dozen causes; the manual names air because its table has no other row for it."
    ),
    "het-drier-outlet-blocked": (
        "Only 'high side low' and 'little cooling' are told: too little refrigerant and a compressor that does not "
        "pump are far more often behind that than a drier blocked at its outlet."
    ),
}
# Case -> why its published cause is among three but not first.
MISSED_FIRST = {
    "tm375-both-high": (
        "Both sides high: the manual names overcharge alone. A condenser without air shows the same, as often, so "
        "the two are too close to call; subcooling or water on the condenser would tell them apart."
    ),
    "het-evaporator-blocked": (
        "Only 'low side low' and 'little cooling' are told: too little refrigerant is more often behind that than an "
        "evaporator blocked inside."
    ),
}


def leaders_of(judged):
    return ", ".join(f"{name} {chance:.2f}" for name, chance in judged.leaders)


@pytest.mark.parametrize("row", range(len(RAW)), ids=[raw["id"] for raw in RAW])
def test_a_published_cause_leads(row):
    judged = published_evaluation().judged[row]
    rank, leaders = judged.rank, leaders_of(judged)
    if judged.case.id in MISSED_THREE:
        assert rank > 3, f"a known miss is within three now; take it out of MISSED_THREE: {leaders}"
    elif judged.case.id in MISSED_FIRST:
        assert 1 < rank <= 3, f"rank {rank}; the lists of known misses are no longer true: {leaders}"
    else:
        assert rank == 1, f"published {judged.case.faults}, but {leaders}"


def test_the_known_misses_are_published_cases():
    assert {*MISSED_THREE, *MISSED_FIRST} <= {case.id for case in published_cases()}
    assert not set(MISSED_THREE) & set(MISSED_FIRST)


def test_every_case_of_the_file_is_asked():
    assert [case.id for case in published_cases()] == [raw["id"] for raw in RAW]


def test_the_shares_stand_where_they_were_reached():
    found = published_evaluation()
    assert found.within(1) / len(RAW) >= 0.85
    assert found.within(3) / len(RAW) >= 0.94  # the aim is 95 %: 37 of 39, and MISSED_THREE says why not 38
    assert counts(found.faulty, OF_FAULTY)[MISDIAGNOSIS] / len(found.faulty) <= 0.08


def test_a_normal_case_is_called_normal():
    found = counts(published_evaluation().normal, OF_NORMAL)
    assert found[FALSE_ALARM] == 0
    assert found[CORRECT] == len(published_evaluation().normal)


def test_a_fault_is_not_called_normal():
    for judged in published_evaluation().faulty:
        if judged.case.id not in MISSED_THREE:
            assert judged.verdict != "normal", judged.case.id


def test_what_is_answered_was_observed():
    """Answers to checks stand beside the observations they were translated from."""
    for raw in RAW:
        assert not raw.get("checks") or raw["observations"], raw["id"]
