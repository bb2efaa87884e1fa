"""The gauges on the saturation curve: everything at its place, and what cannot be drawn is said."""

from __future__ import annotations

import numpy as np
import pytest

from pictures import (
    READINGS,
    drawn_as,
    has,
    nothing_lies_on_anything,
    of,
    of_file,
    split_unit,
    svg_words,
    where,
    words_of,
)
from twogauge import refrigerants
from twogauge.draw.look import PAGE, PHONE
from twogauge.draw.saturation import saturation_picture
from twogauge.errors import InputError

PSI = 6894.757293168
AIR = 101325.0


def test_points_curve_and_air_stand_where_the_numbers_say():
    picture = saturation_picture(of(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF"))
    what = refrigerants.get("R134a")
    [[x, y]] = where(picture, "low_side")
    assert y == pytest.approx(35.0)
    assert x == pytest.approx(1.8 * what.temperature_at(35 * PSI + AIR) - 459.67)
    [[x, y]] = where(picture, "high_side")
    assert y == pytest.approx(210.0)
    assert x == pytest.approx(1.8 * what.temperature_at(210 * PSI + AIR) - 459.67)
    curve = where(picture, "dew")
    kelvin = (curve[:, 0] + 459.67) / 1.8
    assert curve[:, 1] == pytest.approx((what.saturation_pressure(kelvin) - AIR) / PSI, rel=1e-6)
    assert where(picture, "ambient")[:, 0] == pytest.approx([90.0, 90.0])
    assert not has(picture, "bubble")  # one line for a pure fluid


def test_the_bar_is_the_uncertainty_nineteen_times_in_twenty():
    found = of(
        refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF", low_gauge_accuracy="5 psi"
    )
    picture = saturation_picture(found)
    [low] = [each for each in found.derived if each.name == "low_side"]
    bars = [c for c in picture.figure.axes[0].collections if len(c.get_segments()) == 1]
    tall = [np.ptp(bar.get_segments()[0][:, 1]) for bar in bars]
    assert any(length == pytest.approx(4 * low.u / PSI, rel=1e-6) for length in tall)
    assert 4 * low.u / PSI > 5.0  # told as the limit of error


def test_what_is_normal_is_an_area_from_the_dial_to_the_curve():
    found = of_file("bus_17_warm_vents.yaml")
    picture = saturation_picture(found)
    air = found.reading.parts.barometer
    for side in ("low_side", "high_side"):
        [shown] = [each for each in found.derived if each.name == side]
        corners = drawn_as(picture, f"normal {side}").get_xy()
        assert corners[:, 1].min() == pytest.approx((shown.normal[0] - air) / PSI)
        assert corners[:, 1].max() == pytest.approx((shown.normal[1] - air) / PSI)
    assert "normal low side here" in words_of(picture)


def test_a_makers_range_is_called_that():
    told = saturation_picture(of_file("with_spec.yaml"))
    assert "the maker's range for this day" in words_of(told)


def test_a_blend_with_glide_has_both_lines_and_says_which_is_for_what():
    picture = saturation_picture(split_unit())
    bubble, dew = where(picture, "bubble"), where(picture, "dew")
    assert (bubble[:, 1] > dew[:, 1]).all()
    assert "dew point: superheat is counted from it" in picture.description
    [[x, y]] = where(picture, "low_side")
    assert y == pytest.approx(4.2)
    on_dew = np.interp(x, dew[:, 0], dew[:, 1])
    assert y == pytest.approx(on_dew, rel=1e-3)


def test_a_vacuum_is_below_zero():
    picture = saturation_picture(
        of(refrigerant="R134a", low_side="12 inHg vac", high_side="150 psi", ambient="80 degF")
    )
    [[_, y]] = where(picture, "low_side")
    assert y == pytest.approx(-12 * 3386.389 / PSI, rel=1e-4)
    assert picture.figure.axes[0].get_ylim()[0] < y
    assert "Below zero is a vacuum" in picture.description


@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
@pytest.mark.parametrize(
    ("low", "altitude"),
    [
        ("20 inHg vac", "5000 ft"),
        ("-0.5 bar", "0 ft"),
        ("29 inHg vac", "0 ft"),
        ("0 psi", "0 ft"),
        ("1 inHg vac", "0 ft"),
    ],
)
def test_the_name_of_a_gauge_in_a_vacuum_lies_on_no_number_of_the_axis(low, altitude, size):
    found = of(refrigerant="R134a", low_side=low, high_side="90 psi", ambient="70 degF", altitude=altitude)
    nothing_lies_on_anything(saturation_picture(found, size=size))


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"altitude": "5000 ft"}, "air of 12.23 psi, from the altitude"),
        ({"barometer": "29.4 inHg"}, "air of 14.44 psi, as the barometer shows it"),
        ({}, "air of 14.7 psi, sea level assumed"),
        ({"altitude": "1524 m", "units": "metric"}, "air of 0.8431 bar, from the altitude"),
    ],
)
def test_the_air_that_the_gauges_count_from_stands_on_the_picture(told, said):
    fields = {"refrigerant": "R134a", "low_side": "35 psi", "high_side": "210 psi", "ambient": "90 degF"}
    assert said in words_of(saturation_picture(of(**fields, **told)))


def test_two_gauges_that_show_the_same_can_both_be_seen():
    picture = saturation_picture(
        of(refrigerant="R134a", low_side="75 psi", high_side="75 psi", ambient="80 degF", compressor="off")
    )
    low, high = (drawn_as(picture, side).get_markersize() for side in ("low_side", "high_side"))
    assert high < 0.7 * low
    apart = saturation_picture(of(refrigerant="R134a", low_side="75 psi", high_side="120 psi", ambient="80 degF"))
    low, high = (drawn_as(apart, side).get_markersize() for side in ("low_side", "high_side"))
    assert high == low


def test_what_was_told_in_words_or_not_at_all_is_not_drawn_but_said():
    picture = saturation_picture(of(refrigerant="R134a", low_side="vacuum", high_side="150 psi"))
    assert not has(picture, "low_side")
    assert not has(picture, "ambient")
    assert "The low side is not drawn: it was told as 'vacuum'" in picture.description
    assert "temperature of the air is not known" in picture.description


def test_above_the_critical_point_there_is_a_level_and_no_point():
    picture = saturation_picture(of_file("r744_bus.yaml"))
    line = where(picture, "high_side")
    assert len(set(line[:, 1])) == 1
    assert "above the critical point" in picture.description
    air, right = where(picture, "ambient")[0, 0], picture.figure.axes[0].get_xlim()[1]
    assert (
        where(picture, "dew")[-1, 0] < air < right
    )  # the air is in view, though it is warmer than the curve reaches


def carbon_dioxide(**fields):
    return of(
        refrigerant="R744", system="bus_ac", units="metric", low_side="38 bar", barometer="1.01325 bar", **fields
    )


def test_the_critical_point_ends_the_curve_and_above_it_no_temperature_is_told():
    what = refrigerants.get("R744")
    picture = saturation_picture(carbon_dioxide(high_side="102 bar", ambient="34 degC"))
    [[x, y]] = where(picture, "critical point")
    assert x == pytest.approx(what.critical_temperature - 273.15)
    assert y == pytest.approx((what.critical_pressure - AIR) / 1e5)
    rest = where(picture, "rest dew")
    assert rest[0] == pytest.approx(where(picture, "dew")[-1])
    assert rest[-1] == pytest.approx([x, y])
    _, top = picture.figure.axes[0].get_ylim()
    shaded = drawn_as(picture, "above critical")
    assert shaded.get_y() == pytest.approx(y)
    assert shaded.get_y() + shaded.get_height() == pytest.approx(top)
    assert "a pressure alone tells no temperature" in words_of(picture)
    assert "outlet temperature of the gas cooler" in picture.description


def test_the_curve_is_not_followed_to_its_end_where_nothing_lies_near_that():
    picture = saturation_picture(of(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF"))
    assert not has(picture, "critical point")
    assert not has(picture, "above critical")


def test_above_the_critical_point_the_makers_range_is_a_band_of_pressures_all_the_way_across():
    told = {"high_side": ["90 bar", "110 bar"], "low_side": ["35 bar", "42 bar"]}
    picture = saturation_picture(carbon_dioxide(high_side="102 bar", ambient="34 degC", spec=told))
    corners = drawn_as(picture, "normal high_side").get_xy()
    assert corners[:, 1].min() == pytest.approx(90.0)
    assert corners[:, 1].max() == pytest.approx(110.0)
    left, right = picture.figure.axes[0].get_xlim()
    for level in (90.0, 110.0):
        at = corners[np.isclose(corners[:, 1], level), 0]
        assert (at.min(), at.max()) == pytest.approx((left, right))
    assert "normal high side here: 90 to 110 bar (the maker's range for this day)" in words_of(picture)
    assert not has(picture, "normal low_side")  # the gate holds for what saturation would have to tell


def test_what_is_usual_beyond_the_critical_point_is_not_drawn_but_said():
    picture = saturation_picture(carbon_dioxide(high_side="66 bar", ambient="26 degC"))
    assert not has(picture, "normal high_side")
    assert has(picture, "critical point")
    assert "lies beyond the critical point" in picture.description


def test_a_band_that_goes_on_beyond_the_critical_point_follows_the_curve_up_to_it():
    found = of(refrigerant="R507A", low_side="12 psi", high_side="380 psi", ambient="110 degF")
    [high] = [each for each in found.derived if each.name == "high_side"]
    assert np.isnan(high.normal[1])
    picture = saturation_picture(found)
    corners = drawn_as(picture, "normal high_side").get_xy()
    [[_, critical]] = where(picture, "critical point")
    assert corners[:, 1].max() == pytest.approx(critical)
    curve = where(picture, "dew")
    on = corners[corners[:, 0] > corners[:, 0].min()]
    on = on[on[:, 1] < curve[-1, 1]]
    assert len(on) > 20
    assert on[:, 1] == pytest.approx(np.interp(on[:, 0], curve[:, 0], curve[:, 1]), rel=1e-3)


def test_a_swing_is_drawn_with_both_ends():
    found = of_file("swing.yaml")
    picture = saturation_picture(found)
    ends = found.reading.parts.swings["low_side"]
    swing = where(picture, "swing low_side")
    assert np.ptp(swing[:, 1]) == pytest.approx((ends[1] - ends[0]) / PSI, rel=1e-6)


def test_a_gate_is_told_and_nothing_is_called_normal():
    picture = saturation_picture(of_file("cold_morning.yaml"))
    assert not has(picture, "normal low_side")
    assert "cold" in picture.description


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"low_side": "35 psi", "high_side": "210 psi"}, "the refrigerant is missing"),
        ({"refrigerant": "R134a", "low_side": "low", "high_side": "high"}, "a gauge as a number is missing"),
        ({"low_side": "low"}, "the refrigerant and the pressure of a gauge as a number is missing"),
    ],
)
def test_what_is_missing_for_it_is_said(fields, said):
    with pytest.raises(InputError, match=said):
        saturation_picture(of(**fields))


def test_the_picture_among_the_examples_says_what_is_drawn_today():
    kept = (READINGS.parent / "pictures" / "bus_17_gauges.svg").read_text("utf-8")
    assert svg_words(kept) == svg_words(saturation_picture(of_file("bus_17_warm_vents.yaml")).as_svg())
    assert len(kept) < 60_000
