"""Strangers' text on a picture: harmless, and within its lines."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pictures import HOSTILE
from twogauge.draw.words import LONGEST, clean, width_of, wrap


def test_what_would_act_or_cannot_be_drawn_is_replaced():
    told = clean(HOSTILE)
    assert "\x1b" not in told
    assert "\x00" not in told
    assert "\u202e" not in told
    assert "\U0001f68c" not in told  # the font has no bus
    assert "<script>" in told  # plain text here; the writers of files escape it
    assert "$" in told
    assert len(told) == LONGEST or len(HOSTILE) < LONGEST
    assert clean("one\ntwo\t three") == "one two three"
    assert clean("x" * 10, 5) == "xxxx\u2026"
    assert clean("\u00b5m \u00b0C \u00e9\u00df \u0416\u03a9") == "\u00b5m \u00b0C \u00e9\u00df \u0416\u03a9"


@given(st.text(max_size=200), st.floats(0.3, 7.0), st.integers(1, 6))
def test_lines_fit_and_nothing_but_what_does_not_fit_is_lost(text, width, most):
    lines = wrap(text, width, 9.0, lines=most)
    assert len(lines) <= most
    for line in lines:
        assert width_of(line, 9.0) <= width or len(line) <= 2
    kept = "".join("".join(lines).split())
    wanted = "".join(clean(text).split())
    if kept.endswith("\u2026") and not wanted.endswith("\u2026"):
        assert wanted.startswith(kept[:-1])
    else:
        assert kept == wanted or len(lines) == most


def test_bold_and_large_text_is_wider():
    assert width_of("superheat", 9.0) < width_of("superheat", 9.0, "bold") < width_of("superheat", 18.0)
    # Ten letters of 9 points are an inch or less.
    assert 0.3 < width_of("superheat ", 9.0) < 1.25
