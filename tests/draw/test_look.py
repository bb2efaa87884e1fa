"""The palette, computed: contrast on its ground, steps of lightness in grey and to each kind of colour vision."""

from __future__ import annotations

from itertools import combinations

import pytest

from twogauge.draw.look import DARK, LIGHT, contrast, luminance, mixed

# Machado, Oliveira and Fernandes 2009, severity 1 (from memory), on linear RGB.
SEEN_BY = {
    "protanope": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranope": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritanope": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
THEMES = pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)


def linear(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]


def seen(colour, by):
    """Return the luminance of a colour to a kind of colour vision."""
    rgb = [min(max(sum(a * b for a, b in zip(row, linear(colour), strict=True)), 0.0), 1.0) for row in SEEN_BY[by]]
    return 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2]


def test_contrast_is_that_of_the_guideline():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # a figure often quoted, from memory
    assert luminance("#ffffff") == pytest.approx(1.0)
    for rows in SEEN_BY.values():  # white stays white
        assert [sum(row) for row in rows] == pytest.approx([1.0, 1.0, 1.0], abs=1e-4)


@THEMES
def test_text_and_lines_stand_out_from_the_ground(theme):
    assert contrast(theme.ink, theme.ground) >= 7.0
    assert contrast(theme.muted, theme.ground) >= 4.5
    for mark in theme.series:
        assert contrast(mark.colour, theme.ground) >= 3.0  # WCAG 2.2, 1.4.11


@THEMES
def test_words_in_the_colour_of_a_gauge_can_be_read(theme):
    # Names beside points are bold, and on a ground of their own.
    assert contrast(theme.low.colour, theme.ground) >= 4.5
    assert contrast(theme.high.colour, theme.ground) >= 4.5


@THEMES
def test_series_stay_apart_in_grey_and_to_every_colour_vision(theme):
    for one, other in combinations(theme.series, 2):
        assert contrast(one.colour, other.colour) >= 1.35, (one, other)
        for by in SEEN_BY:
            dark, light = sorted((seen(one.colour, by), seen(other.colour, by)))
            assert (light + 0.05) / (dark + 0.05) >= 1.12, (by, one.colour, other.colour)


@THEMES
def test_colour_is_never_the_only_sign(theme):
    for sign in ("marker", "dashes", "hatch"):
        assert len({getattr(mark, sign) for mark in theme.series}) == len(theme.series)


def test_a_tint_lies_between_colour_and_ground():
    assert mixed("#000000", "#ffffff", 0.0) == "#ffffff"
    assert mixed("#000000", "#ffffff", 1.0) == "#000000"
    assert mixed("#ff0000", "#0000ff", 0.5) == "#800080"
