"""Hold tests as pictures: the readings, the curves that could be, what criteria ask for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pictures import READINGS, drawn_as, has, nothing_lies_on_anything, where
from twogauge.draw.hold import hold_picture, nitrogen_picture
from twogauge.draw.look import PAGE, PHONE
from twogauge.output.style import percent
from twogauge.quantities import UnitSet
from twogauge.service import nitrogen
from twogauge.service.hold import Told, judge
from twogauge.service.holdlog import read_log

HOLDS = READINGS.parent / "holds"
MICRON = 0.1333223684
AIR = 101325.0


def log_of(rows, name="log.csv"):
    text = "\n".join(f"{t} min, {p} micron" for t, p in rows)
    return read_log(name, text.encode())


LEAK = log_of([(t, 400 + 60 * t) for t in range(0, 31, 2)])
TIGHT = log_of([(t, 400 + (t % 3)) for t in range(0, 31, 2)])
COARSE = read_log(str(HOLDS / "dial_only.txt"))


def judged(log):
    return judge(log, Told(barometer=AIR, coldest=293.15))


def test_readings_stand_where_they_were_read():
    points = where(hold_picture(judged(LEAK), UnitSet.US), "readings")
    assert points[:, 0] == pytest.approx(np.arange(0, 31, 2))
    assert points[:, 1] == pytest.approx(400 + 60 * np.arange(0, 31, 2), rel=1e-4)
    in_pascal = where(hold_picture(judged(LEAK), UnitSet.SI), "readings")
    assert in_pascal[:, 1] == pytest.approx(points[:, 1] * MICRON, rel=1e-6)
    in_mbar = where(hold_picture(judged(LEAK), UnitSet.METRIC), "readings")
    assert in_mbar[:, 1] == pytest.approx(points[:, 1] * MICRON / 100, rel=1e-6)


@pytest.mark.parametrize("log", [LEAK, TIGHT, COARSE], ids=["leak", "tight", "coarse"])
def test_the_likeliest_curve_runs_through_the_readings(log):
    found = judged(log)
    picture = hold_picture(found, UnitSet.SI)
    first, _ = found.weighed.ranked()[0]
    curve, points = where(picture, f"curve {first}"), where(picture, "readings")
    off = np.interp(points[:, 0], curve[:, 0], curve[:, 1]) - points[:, 1]
    noise = math.hypot(found.gauge.step, float(found.p.max()) * 0.05)
    assert np.abs(off).max() < 2 * noise
    drawn = [cause for cause, _ in found.weighed.ranked() if has(picture, f"curve {cause}")]
    assert drawn == [cause for cause, _ in found.weighed.ranked()[: len(drawn)]]
    assert all(probability >= 0.02 for _, probability in found.weighed.ranked()[1 : len(drawn)])


def test_many_rows_have_one_area_and_the_curve_stands_out_from_them():
    noise = np.random.default_rng(4).normal(0.0, 8.0, 500)
    log = log_of(
        [(f"{t:.3f}", f"{400 + 30 * t + off:.0f}") for t, off in zip(np.linspace(0, 60, 500), noise, strict=True)]
    )
    picture = hold_picture(judged(log), UnitSet.US)
    assert len(where(picture, "readings")) == 500
    assert not picture.figure.axes[0].collections  # of bars
    corners = drawn_as(picture, "within").get_xy()
    assert corners[:, 1].min() < 400
    assert drawn_as(picture, "curve leak").get_zorder() > drawn_as(picture, "readings").get_zorder()
    assert "what step and noise of the gauge leave open" in picture.description
    assert not has(hold_picture(judged(LEAK), UnitSet.US), "within")


def test_where_no_curve_fits_no_odds_are_told():
    found = judged(log_of([(t, f"{150 * math.exp(t / 8):.0f}") for t in range(0, 41, 2)]))
    assert found.why == "no curve fits"
    picture = hold_picture(found, UnitSet.US)
    assert " %" not in picture.description
    assert "as near as it comes" in picture.description


def test_the_answer_is_the_title_and_what_could_be_is_named_with_its_probability():
    found = judged(LEAK)
    picture = hold_picture(found, UnitSet.US, about="bus 17", size=PHONE)
    assert picture.title.startswith("It leaks")
    assert f"leak: {percent(found.weighed.probabilities['leak'])}" in picture.description
    coarse = hold_picture(judged(COARSE), UnitSet.US)
    assert coarse.title.startswith("Cannot say")
    assert "told apart" in coarse.description


def test_water_at_the_coldest_part_is_a_line_where_it_is_near():
    picture = hold_picture(judged(COARSE), UnitSet.SI)
    assert where(picture, "water")[:, 1] == pytest.approx([judged(COARSE).start.water_at_coldest] * 2)
    assert not has(hold_picture(judged(TIGHT), UnitSet.SI), "water")


def test_pressures_that_spread_far_are_drawn_over_their_logarithm():
    found = judge(read_log(str(HOLDS / "van_03_stood_open.yaml")), Told(barometer=AIR, coldest=293.15))
    picture = hold_picture(found, UnitSet.METRIC)
    assert picture.figure.axes[0].get_yscale() == "log"
    assert picture.as_bytes("svg")


def test_a_test_under_nitrogen_shows_what_should_be_left():
    log = read_log(str(HOLDS / "bus_22_nitrogen.csv"), vacuum=False)
    found = nitrogen.judge(log, nitrogen.Told(barometer=AIR))
    picture = nitrogen_picture(log, found, UnitSet.US)
    [[x, y]] = where(picture, "should")
    assert y == pytest.approx(found.should / 6894.757293168)
    assert x == pytest.approx(found.lasted / 60)
    points = where(picture, "readings")
    assert points[0, 1] == pytest.approx(found.first / 6894.757293168)
    assert points[-1, 1] == pytest.approx(found.last / 6894.757293168)
    assert "is missing" in picture.description
    assert picture.title.endswith("it drops")


@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
def test_words_lie_nowhere_on_others(size):
    for found in (judged(LEAK), judged(COARSE)):
        nothing_lies_on_anything(hold_picture(found, UnitSet.US, about="bus 17, bay 2", size=size))
    log = read_log(str(HOLDS / "bus_22_nitrogen.csv"), vacuum=False)
    under_pressure = nitrogen.judge(log, nitrogen.Told(barometer=AIR))
    nothing_lies_on_anything(nitrogen_picture(log, under_pressure, UnitSet.METRIC, size=size))


def test_every_verdict_of_a_test_under_nitrogen_has_its_words():
    from typing import get_args

    from twogauge.draw.hold import _VERDICTS

    assert set(_VERDICTS) == set(get_args(nitrogen.Verdict))
