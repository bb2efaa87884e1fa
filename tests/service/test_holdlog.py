"""Hold logs out of every form: what is read, what is left out with a word, and what is wrong with its place."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.errors import FileProblems
from twogauge.service import holdlog
from twogauge.service.holdlog import read_log, read_time

MICRON = 0.133322387415
INHG = 3386.388640341


def log(text, name="<log>", **how):
    return read_log(name, text.encode(), **how)


def rows(text, **how):
    return [(row.time, row.pressure.value) for row in log(text, **how).rows]


def wrong(text, name="<log>", **how):
    with pytest.raises(FileProblems) as caught:
        log(text, name, **how)
    return str(caught.value)


THE_SAME = [
    "time [min], pressure [micron]\n0, 500\n5, 520\n10, 540\n",
    "Elapsed (s);Vacuum (micron)\n0;500\n300;520\n600;540\n",
    "time/min\tp/micron\n0\t500\n5\t520\n10\t540\n",
    "0 min, 500 micron\n5, 520\n10, 540\n",
    "0 min 500 micron\n5 520\n10 540\n",
    "0 min 500 microns\n\n# at last\n0.0833333333333333333 h 520\n0.16666666666666666 540\n",
    "14:05, 500 micron\n14:10, 520\n14:15, 540\n",
    "14:05:00 500 micron\n14:10:00 520\n14:15:00 540\n",
    "2026-06-12 14:05:00,500 micron\n2026-06-12T14:10:00,520 micron\n2026-06-12 14:15,540 micron\n",
    "readings:\n- [0 min, 500 micron]\n- {time: 5 min, pressure: 520 micron}\n- 10 min 540 micron\n",
    '[["0 min", "500 micron"], ["5 min", "520 micron"], ["10 min", "540 micron"]]',
    "pressure [mTorr], time [min]\n500, 0\n520, 5\n540, 10\n",
]


@pytest.mark.parametrize("text", THE_SAME)
def test_each_form_says_the_same(text):
    expected = [(0.0, 500 * MICRON), (300.0, 520 * MICRON), (600.0, 540 * MICRON)]
    assert rows(text) == [pytest.approx(pair, rel=1e-6) for pair in expected]


@pytest.mark.parametrize(
    ("text", "pressure", "reference"),
    [
        ("29.5 inHg vac", -29.5 * INHG, "gauge"),
        ("-29,5 inHg", -29.5 * INHG, "gauge"),
        ("3 mbar", 300.0, "absolute"),
        ("200 Pa", 200.0, "absolute"),
        ("-0.97 bar", -97e3, "gauge"),
        ("1.5 torr", 199.98355, "absolute"),
        ("0.4 psia", 2757.9029, "absolute"),
    ],
)
def test_a_pressure_of_a_vacuum_counts_as_its_unit_and_sign_say(text, pressure, reference):
    (row,) = log(f"0 min; {text}\n").rows
    assert row.pressure.value == pytest.approx(pressure, rel=1e-6)
    assert row.pressure.reference == reference


def test_under_pressure_all_count_from_the_air():
    (first, second) = log("0 h, 150 psi, 20 degC\n24 h, 10 bar, 18 degC\n", vacuum=False).rows
    assert {first.pressure.reference, second.pressure.reference} == {"gauge"}
    assert (first.temperature, second.temperature) == (pytest.approx(293.15), pytest.approx(291.15))


def test_a_decimal_comma_is_no_separator_between_values_with_units():
    assert rows("0 min 2,4 mbar\n5 min 2,5 mbar\n") == [(0.0, 240.0), (300.0, 250.0)]


def test_what_is_missing_or_beyond_is_left_out_with_a_word():
    found = log("time [min], pressure [micron]\n0, OL\n1, >20000\n2, 500\n3,\n4, -\n5, 520\n5, 520\n5, 530\n")
    assert [round(row.pressure.value / MICRON) for row in found.rows] == [500, 520, 530]
    assert (
        found.notes
        == (
            "lines 5, 6 without a pressure left out",
            "lines 2, 3 where the gauge was beyond its range left out",
            "line 8 that repeat the one above left out".replace("repeat", "repeat"),
            "line 9 stand at the same time as the one above; both count",
        )
        or len(found.notes) == 4
    )


def test_a_gap_and_mixed_units_are_remarked():
    found = log("0 min, 500 micron\n1, 510\n2, 520\n3, 530\n4, 0.7 mbar\n30 min, 80 Pa\n")
    assert any("micron absolute and mbar absolute and Pa absolute" in note for note in found.notes)
    assert any("no readings for 26 min between lines 5 and 6" in note for note in found.notes)


def test_a_unit_of_a_row_does_not_replace_that_of_the_heading():
    assert [p for _, p in rows("time [min], pressure [Pa]\n0, 60\n90 s, 0.62 mbar\n2, 64\n")] == [60.0, 62.0, 64.0]


def test_below_two_units_a_bare_number_is_refused():
    said = wrong("0 min, 60 Pa\n1, 61\n2, 0.62 mbar\n3, 64\n")
    assert "<log>:4:4: pressure: '64' has no unit, and the rows above it stand in more than one" in said


def test_a_clock_goes_past_midnight_once():
    found = log("23:50, 500 micron\n23:58, 510\n00:06, 520\n")
    assert [row.time for row in found.rows] == [0.0, 480.0, 960.0]
    assert found.notes == ("the clock passes midnight",)
    assert read_time("00:02", found) == 720.0
    assert read_time("10 min", found) == 600.0


def test_settings_stand_beside_the_readings():
    found = log("coldest: 72F\nvolume: 2.5 L\nreadings:\n- [0 min, 500 micron]\n")
    assert {key: text for key, (text, _) in found.settings.items()} == {"coldest": "72F", "volume": "2.5 L"}
    assert str(found.settings["volume"][1]) == "<log>:2:9"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0, 500 micron\n", "<log>:1:1: time: '0' has no unit, and none stands above it"),
        ("0 min, 500\n", "<log>:1:8: pressure: '500' has no unit"),
        ("0 min, 500 micron\n5 min, 4x0 micron\n", "<log>:2:8: pressure:"),
        ("5 min, 500 micron\n3 min, 520 micron\n", "<log>:2:1: time: '3 min' is earlier than the row above"),
        ("0 min, 29 inHg\n", "could be above or below the air"),
        ("0 min, 500 micron\n14:05, 510\n", "is of a clock, but above times are counted"),
        ("25:10, 500 micron\n", "is no time of a clock"),
        ("time [min], temperature [C]\n0, 20\n", "<log>:1:1: no heading says pressure"),
        ("time [min], pressure [micron], vacuum [torr]\n0,1,2\n", "is a second pressure"),
        ("0 min\n5 min\n", "no pressure stands in this row"),
        ("0 min, 0.5 bar\n5 min, -0.5 bar\n", "but line 1 does not"),
        ("", "nothing stands here"),
        ("# only words\n", "no row holds a time and a pressure"),
        ("readings: none\n", "a list belongs here"),
        ("coldst: 72F\nreadings:\n- [0 min, 500 micron]\n", "did you mean 'coldest'"),
        ("0 min, 500 degF\n", "is a temperature, but a pressure difference belongs here"),
    ],
)
def test_a_mistake_is_told_with_its_place(text, said):
    assert said in wrong(text)


def test_all_mistakes_are_told_in_one_go():
    assert len(wrong("0 min, 5 microm\n1 min, 6 microm\n2 min, x\n").splitlines()) == 3


def test_bytes_that_are_no_text_and_a_file_that_is_not_there():
    with pytest.raises(FileProblems, match="<log>:2:1: byte 0xff is not UTF-8"):
        read_log("<log>", b"0 min, 5 micron\n\xff")
    with pytest.raises(FileProblems, match="there is no such file"):
        read_log("/nowhere/at/all.csv")


def test_a_log_is_bounded(monkeypatch):
    monkeypatch.setattr(holdlog, "MAX_ROWS", 50)
    text = "\n".join(f"{i} s, 5 micron" for i in range(55))
    assert "leave out every second one" in wrong(text)


@pytest.mark.parametrize("text", ["a " * 1001, "," * 2001, "0 min, 500 micron\n1 min, 5" + "0" * 2000])
def test_so_is_a_line(text):
    assert "has more than 2000 characters; write one reading a line" in wrong(text)


@given(st.text(alphabet="0123456789.,:;- \n\tminchrousPabHgv[]{}#", max_size=120))
def test_any_text_is_read_or_refused_with_a_sentence(text):
    try:
        found = log(text)
    except FileProblems:
        return
    assert all(a.time <= b.time for a, b in pairwise(found.rows))
    assert all(math.isfinite(row.pressure.value) for row in found.rows)
