"""Line charts: dates and numbers at their place, the first fault ringed, what cannot be drawn refused."""

from __future__ import annotations

import datetime as dt

import matplotlib.dates as mdates
import numpy as np
import pytest

from pictures import has, nothing_lies_on_anything, where
from twogauge.draw.lines import MOST_LINES, Band, Line, lines_picture
from twogauge.draw.look import PAGE, PHONE
from twogauge.errors import InputError

DAYS = [dt.date(2026, 5, 1) + dt.timedelta(days=10 * k) for k in range(6)]


def history(**more):
    lines = [
        Line("bus 12", DAYS, [6.0, 6.5, float("nan"), 6.2, 6.4, 6.1]),
        Line("bus 17", DAYS, [6.0, 7.0, 9.0, 14.0, 18.0, 21.0], first_fault=3, fault="too little refrigerant"),
    ]
    return lines_picture("Superheat", lines, up="superheat / K", source="readings of the depot", **more)


def test_points_stand_at_their_dates_and_the_first_fault_is_ringed():
    picture = history(bands=[Band("normal: 4 to 12 K", 4.0, 12.0)])
    points = where(picture, "points bus 17")
    assert points[:, 0] == pytest.approx(mdates.date2num(DAYS))
    assert points[:, 1] == pytest.approx([6.0, 7.0, 9.0, 14.0, 18.0, 21.0])
    assert where(picture, "first fault bus 17").tolist() == [points[3].tolist()]
    assert not has(picture, "first fault bus 12")
    assert np.isnan(where(picture, "line bus 12")[2, 1])  # a gap, and no line across it
    assert "first fault: too little refrigerant (2026-05-31)" in picture.description
    assert "readings of the depot" in picture.description
    assert b"2026-0" in picture.as_bytes("svg")
    assert has(picture, "band normal: 4 to 12 K")


def test_numbers_go_across_as_well():
    picture = lines_picture("A", [Line("a", [0, 5, 10], [1, 4, 9], joined=False)], up="y / 1", across="time / min")
    assert where(picture, "points a").tolist() == [[0, 1], [5, 4], [10, 9]]
    assert not has(picture, "line a")
    assert b"time / min" in picture.as_bytes("svg")


@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
@pytest.mark.parametrize("days", [1, 10, 200])
def test_dates_lie_nowhere_on_others(size, days):
    at = [dt.date(2026, 5, 1) + dt.timedelta(days=days * k) for k in range(6)]
    nothing_lies_on_anything(lines_picture("A", [Line("bus 17", at, range(6))], up="y / 1", size=size))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([], "nothing to draw"),
        ([Line("a", [0.0], [float("nan")])], "nothing to draw"),
        ([Line("a", [0, 1], [1.0])], "a value for each of its points"),
        ([Line(str(k), [0, 1], [1.0, 2.0]) for k in range(MOST_LINES + 1)], "cannot be told apart"),
        ([Line("a", range(30_000), np.ones(30_000))], "no more than"),
    ],
)
def test_what_cannot_be_drawn_is_refused(lines, said):
    with pytest.raises(InputError, match=said):
        lines_picture("A", lines, up="y")
