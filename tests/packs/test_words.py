"""The words of rule authors: each has its number, every number has a nearest word, and nothing else is a weight."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.packs.words import EFFORT, HEAVIEST, HOW_COMMON, STRENGTH, weight, weight_in_words


@pytest.mark.parametrize(
    ("text", "decibans"),
    [
        ("slightly for", 3.0),
        ("for", 6.0),
        ("strongly for", 10.0),
        ("decisively for", 20.0),
        ("slightly against", -3.0),
        ("against", -6.0),
        ("  strongly \n against ", -10.0),
        ("nothing", 0.0),
        ("7 dB", 7.0),
        ("-2.5 dB", -2.5),
        ("+4dB", 4.0),
        ("20 dB", 20.0),
    ],
)
def test_a_weight_is_told_in_words_or_decibans(text, decibans):
    assert weight(text) == decibans


@pytest.mark.parametrize(
    "text", ["", "7", "7 db", "plainly for", "FOR", "for against", "very for", "nan dB", "1e1 dB"]
)
def test_what_is_no_weight_is_told_what_to_write(text):
    with pytest.raises(
        ValueError, match="is not a weight; write slightly, strongly or decisively 'for' or 'against'"
    ):
        weight(text)


@pytest.mark.parametrize("text", ["21 dB", "-20.1 dB", "999 dB"])
def test_a_weight_out_of_proportion_is_refused(text):
    with pytest.raises(ValueError, match="out of proportion; no single rule may say more than 20 dB"):
        weight(text)


@given(st.text(max_size=20) | st.from_regex(r"(slightly|strongly|)\s*(for|against|[0-9]{1,4} ?dB)"))
def test_any_text_is_a_weight_within_bounds_or_refused(text):
    with contextlib.suppress(ValueError):
        assert abs(weight(text)) <= HEAVIEST


@pytest.mark.parametrize("text", ["slightly for", "for", "strongly for", "decisively against", "against"])
def test_words_come_back_as_they_were_written(text):
    assert weight_in_words(weight(text)) == text


@given(st.floats(0.5, 20.0))
def test_the_nearest_word_is_nearest(size):
    assert weight_in_words(-size) == weight_in_words(size).replace("for", "against")
    chosen = weight(weight_in_words(size))
    assert abs(chosen - size) == min(abs(each - size) for each in STRENGTH.values())


def test_more_common_weighs_more_and_three_plain_reasons_outweigh_what_is_merely_rare():
    priors = list(HOW_COMMON.values())
    assert priors == sorted(priors, reverse=True)
    assert 3 * STRENGTH[""] > -HOW_COMMON["very rare"]
    assert list(EFFORT.values()) == sorted(EFFORT.values())
