"""The ledger as a picture: every counted reason a piece, and their sum where the diagnosis has it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from pictures import drawn_as, has, of, of_file, where
from twogauge.draw.evidence import REASONS, evidence_picture
from twogauge.errors import InputError

BUS = of_file("bus_17_warm_vents.yaml")


def span(picture, gid):
    piece = drawn_as(picture, gid)
    return sorted((piece.get_x(), piece.get_x() + piece.get_width()))


@pytest.mark.parametrize("name", ["bus_17_warm_vents.yaml", "bus_22_hot_yard.yaml", "words_only.yaml"])
def test_the_pieces_are_the_reasons_and_add_up(name):
    found = of_file(name)
    picture = evidence_picture(found)
    for ranked in found.ranking[:2]:
        counted = [r for r in ranked.reasons if r.counted]
        pieces = [span(picture, f"{ranked.fault} {r.rule}") for r in counted]
        for reason, (low, high) in zip(counted, pieces, strict=True):
            assert high - low == pytest.approx(abs(reason.weight))
            assert (low >= -1e-9) == (reason.weight > 0)
        [[total, _]] = where(picture, f"total {ranked.fault}")
        low, high = span(picture, f"prior {ranked.fault}")
        prior = low if ranked.prior < 0 else high
        assert total == pytest.approx(sum(r.weight for r in counted) + prior, abs=0.3)  # tiny ones are no reason
        assert total == pytest.approx(ranked.weight + ranked.prior)
        # Laid end to end: no two of one side overlap.
        ends = sorted([*pieces, [low, high]])
        assert all(one[1] <= other[0] + 1e-6 for one, other in pairwise(ends))


def test_the_first_is_told_reason_by_reason_and_the_rest_is_counted():
    picture = evidence_picture(BUS)
    counted = [r for r in BUS.first.reasons if r.counted]
    assert len(counted) <= REASONS
    for reason in counted:
        assert span(picture, f"only {reason.rule}") == pytest.approx(sorted((0.0, reason.weight)))
        assert reason.title in picture.description
    assert not has(picture, f"only {BUS.ranking[3].reasons[0].rule} ")


def test_what_says_nothing_is_not_drawn():
    with pytest.raises(InputError, match="no evidence to draw"):
        evidence_picture(of_file("cold_morning.yaml"))


def test_next_to_nothing_read_still_makes_a_picture():
    picture = evidence_picture(of(low_side="normal"))
    assert "Likeliest" in picture.description
