"""What a terminal gets: emphasis only where it can be shown, lines that fit, nothing outside the encoding."""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.output.style import Style, style_for

ESCAPE = re.compile(r"\x1b\[[0-9;]*m")


class Stream(io.StringIO):
    def __init__(self, *, terminal, encoding="utf-8"):
        super().__init__()
        self._terminal, self._encoding = terminal, encoding

    @property
    def encoding(self):
        return self._encoding

    def isatty(self):
        return self._terminal


@pytest.mark.parametrize(
    ("terminal", "color", "environment", "emphasis"),
    [
        (True, True, {}, True),
        (False, True, {}, False),
        (True, False, {}, False),
        (True, True, {"TERM": "dumb"}, False),
        (True, True, {"NO_COLOR": "1"}, False),
        (True, True, {"NO_COLOR": ""}, True),
        (False, True, {"FORCE_COLOR": "1"}, True),
        (False, True, {"FORCE_COLOR": "0"}, False),
        (True, True, {"FORCE_COLOR": "1", "TERM": "dumb"}, True),
        (True, True, {"FORCE_COLOR": "1", "NO_COLOR": "1"}, False),
        (False, False, {"FORCE_COLOR": "1"}, False),
    ],
)
def test_emphasis_is_used_where_it_is_wanted_and_can_be_shown(terminal, color, environment, emphasis):
    assert style_for(Stream(terminal=terminal), color=color, environment=environment).emphasis is emphasis


@pytest.mark.parametrize(("columns", "width"), [("20", 40), ("66", 66), ("80", 80), ("300", 100)])
def test_a_terminal_is_filled_up_to_100_columns(columns, width, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    assert style_for(Stream(terminal=True)).width == width
    assert style_for(Stream(terminal=False)).width == 80


def test_only_bold_dim_and_one_accent_are_used():
    style = Style(emphasis=True)
    used = {ESCAPE.match(mark("x"))[0] for mark in (style.bold, style.dim, style.accent)}
    assert used == {"\x1b[1m", "\x1b[2m", "\x1b[1;31m"}
    assert style.bold("") == ""
    assert Style().bold("x") == Style().dim("x") == Style().accent("x") == "x"


@given(st.text(max_size=300), st.integers(40, 100), st.sampled_from(["utf-8", "ascii", "latin-1", "cp1252"]))
def test_wrapped_text_fits_is_encodable_and_holds_no_control_character(text, width, encoding):
    for line in Style(width, encoding=encoding).wrap(text, "  - ", "    "):
        assert len(line) <= width
        assert line.isprintable()
        line.encode(encoding)


@given(st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1), st.integers(40, 100))
def test_plain_words_pass_unchanged(word, width):
    assert " ".join(Style(width).wrap(word * 3)).replace(" ", "") == word * 3


@given(st.lists(st.sampled_from(["a", "word", "95 degF", "66 %", "12.5 psi", "and"]), max_size=60))
def test_a_number_stays_with_its_unit(words):
    text = " ".join(words)
    lines = Style(40).wrap(text)
    assert " ".join(lines) == text
    assert not any(re.match(r"(?:degF|%|psi)", line) for line in lines)


def test_an_ascii_output_gets_plain_twins():
    style = Style(encoding="ascii")
    assert style.clean("35 \u00b1 2 \u2013 it\u2019s \u4e2d") == "35 +/- 2 - it's ?"
    assert Style(encoding="UTF-8").clean("35 \u00b1 2") == "35 \u00b1 2"


def test_a_terminal_sequence_in_strangers_text_is_made_harmless():
    assert Style().clean("bus\x1b[31m 17\nmore") == "bus?[31m 17 more"


@given(st.floats(-1, 2), st.integers(1, 40), st.sampled_from(["utf-8", "ascii"]))
def test_a_bar_has_its_length_and_grows_with_its_share(share, cells, encoding):
    style = Style(encoding=encoding)
    bar = style.bar(share, cells)
    assert len(bar) == cells
    bar.encode(encoding)

    def ink(text):
        return sum(0 if c in " ." else 1 for c in text)

    assert ink(style.bar(0.0, cells)) == 0
    assert ink(style.bar(1.0, cells)) == cells
    assert ink(bar) <= ink(style.bar(min(share + 0.3, 1.0), cells))


def test_the_first_sentence_of_a_caution_is_bold_over_line_ends():
    text = "Never open it while the machine is running and somebody stands near. Wait until it is still."
    plain = Style(40).wrap(text, "  ! ", "    ")
    led = Style(40, emphasis=True).wrap_led(text, "  ! ", "    ")
    assert [ESCAPE.sub("", line) for line in led] == plain
    bold = " ".join(part for line in led for part in re.findall(r"\x1b\[1m(.*?)\x1b\[0m", line))
    assert bold == "Never open it while the machine is running and somebody stands near."
