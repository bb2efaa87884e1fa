"""Cautions beside a work: those of the packs in force, and of the refrigerant what they do not say already."""

from __future__ import annotations

import pytest

from twogauge import refrigerants
from twogauge.diagnosis import program_for
from twogauge.packs.words import WORKS
from twogauge.service.cautions import cautions_beside

R134A, R12, R290 = (refrigerants.get(name) for name in ("R134a", "R12", "R290"))


@pytest.fixture(scope="module")
def stack():
    return program_for().stack


def ids(found):
    return [each.caution for each in found]


@pytest.mark.parametrize("work", WORKS)
def test_every_work_has_cautions_each_once(stack, work):
    found = ids(cautions_beside((work, work), stack))
    assert found
    assert len(found) == len(set(found))


def test_what_does_not_concern_the_refrigerant_stays_away(stack):
    assert "phosgene_from_chlorine" in ids(cautions_beside(("charge",), stack, R12))
    assert "phosgene_from_chlorine" not in ids(cautions_beside(("charge",), stack, R134A))
    assert "flammable_refrigerant" in ids(cautions_beside(("charge",), stack, R290))
    assert "flammable_refrigerant" not in ids(cautions_beside(("charge",), stack, R134A))


def test_the_refrigerants_own_are_added_where_nothing_else_says_them(stack):
    without, with_own = (ids(cautions_beside(("charge",), stack, R12, own=own)) for own in (False, True))
    assert set(without) < set(with_own)
    added = set(with_own) - set(without)
    assert "refrigerant.never_mix" in added
    assert "refrigerant.frostbite" not in added  # goggles and gloves say it


def test_a_pack_of_a_shop_may_put_its_own_beside_a_work(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: our_shop\nbuilds_on: {common: 1}\ncautions:\n  bay_three:\n    short: Bay three only.\n"
        "    text: Charge in bay three only.\n    beside: [charge]\n    source: our own experience\n",
        "utf-8",
    )
    found = cautions_beside(("charge",), program_for((str(tmp_path),)).stack, R134A)
    assert "Bay three only." in [each.short for each in found]
