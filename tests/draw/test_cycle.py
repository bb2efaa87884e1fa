"""The pressure-enthalpy diagram: states against CoolProp's own, and what is missing is named, never drawn."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp import CoolProp

from pictures import drawn_as, has, of, of_file, split_unit, svg_words, where
from twogauge import refrigerants
from twogauge.draw.cycle import BTU_PER_POUND, cycle_picture
from twogauge.draw.look import PAGE, PHONE
from twogauge.draw.picture import drawing
from twogauge.errors import InputError
from twogauge.service.cycle import dome, measured_cycle

R134A = {
    "refrigerant": "R134a",
    "low_side": "2.0 bar",
    "high_side": "12.0 bar",
    "ambient": "30 degC",
    "suction_line": "12 degC",
    "liquid_line": "41 degC",
    "discharge_line": "80 degC",
    "barometer": "1.01325 bar",
}


def enthalpy(pressure, temperature):
    """Return the enthalpy of R-134a above saturated liquid at -40 degC [J/kg], straight from CoolProp."""
    zero = CoolProp.PropsSI("H", "T", 233.15, "Q", 0, "R134a")
    return CoolProp.PropsSI("H", "P", pressure, "T", temperature, "R134a") - zero


def test_the_states_are_those_of_coolprop():
    cycle = measured_cycle(of(**R134A))
    low, high = 301325.0, 1301325.0
    assert cycle.low == pytest.approx(low)
    assert cycle.high == pytest.approx(high)
    wanted = {
        "suction": enthalpy(low, 285.15),
        "discharge": enthalpy(high, 353.15),
        "liquid": enthalpy(high, 314.15),
        "evaporator": enthalpy(high, 314.15),
    }
    # Well below the width of a line, which is about a kilojoule.
    assert {each.place: each.enthalpy for each in cycle.states} == pytest.approx(wanted, abs=200)
    quality = CoolProp.PropsSI(
        "Q", "P", low, "H", wanted["liquid"] + CoolProp.PropsSI("H", "T", 233.15, "Q", 0, "R134a"), "R134a"
    )
    assert cycle.gas_behind_metering == pytest.approx(quality, abs=2e-3)
    assert cycle.cooling == pytest.approx(wanted["suction"] - wanted["liquid"], abs=200)
    for state in cycle.states:
        assert 0.0 < state.u < 10_000.0


@pytest.mark.parametrize(
    ("name", "low", "high", "suction", "liquid"),
    [("R744", "35 bar", "66 bar", "8 degC", "22 degC"), ("R32", "8 bar", "44 bar", "5 degC", "60 degC")],
)
def test_liquid_close_to_its_critical_point_is_pressed_as_coolprop_says(name, low, high, suction, liquid):
    told = {"refrigerant": name, "low_side": low, "high_side": high, "suction_line": suction, "liquid_line": liquid}
    state = measured_cycle(of(**told, ambient="20 degC")).state("liquid")
    zero, saturated = (CoolProp.PropsSI("H", "T", at, "Q", 0, name) for at in (233.15, state.temperature))
    pressed = CoolProp.PropsSI("H", "T", state.temperature, "P|liquid", state.pressure, name)
    assert abs(pressed - saturated) > 1500.0
    assert state.enthalpy == pytest.approx(pressed - zero, abs=0.3 * abs(pressed - saturated))


@pytest.mark.parametrize("name", refrigerants.names())
def test_the_dome_of_every_refrigerant_is_one(name):
    around = dome(refrigerants.get(name))
    assert np.isfinite(around.bubble_enthalpy).all()
    assert np.isfinite(around.dew_enthalpy).all()
    assert (np.diff(around.bubble_pressure) > 0).all()
    assert (np.diff(around.dew_pressure) > 0).all()
    # At each pressure the gas holds more than the liquid, and the two come together upward.
    pressures = np.linspace(around.dew_pressure[0] + 1, min(around.dew_pressure[-1], around.bubble_pressure[-1]), 40)
    apart = np.interp(pressures, around.dew_pressure, around.dew_enthalpy) - np.interp(
        pressures, around.bubble_pressure, around.bubble_enthalpy
    )
    assert (apart > 0).all()
    assert apart[-1] < 0.6 * apart[0]


@pytest.mark.parametrize("name", refrigerants.names())
def test_the_dome_closes_over_the_critical_point(name):
    what = refrigerants.get(name)
    around = dome(what)
    heat, pressure = around.top_enthalpy, around.top_pressure
    assert (heat[0], pressure[0]) == (around.bubble_enthalpy[-1], around.bubble_pressure[-1])
    assert (heat[-1], pressure[-1]) == (around.dew_enthalpy[-1], around.dew_pressure[-1])
    assert (np.diff(heat) > 0).all()
    # Of some blends the bubble line goes a little above the critical pressure, of none far.
    assert pressure.max() == pytest.approx(what.critical_pressure, rel=0.01)
    assert np.abs(pressure / what.critical_pressure - 1).min() < 1e-3
    # No gap: where bubble and dew line meet beside their hottest point, the step from the critical point is the widest.
    assert np.diff(heat).max() < 0.3 * (heat[-1] - heat[0])


def test_the_top_of_the_dome_is_coolprops():
    around = dome(refrigerants.get("R134a"))
    zero = CoolProp.PropsSI("H", "T", 233.15, "Q", 0, "R134a")
    middle = len(around.top_enthalpy) // 2
    for k, (heat, pressure) in enumerate(zip(around.top_enthalpy, around.top_pressure, strict=True)):
        if k == middle:
            density = CoolProp.PropsSI("RHOCRIT", "R134a")
            wanted = CoolProp.PropsSI("H", "T", CoolProp.PropsSI("TCRIT", "R134a"), "D", density, "R134a")
        else:
            wanted = CoolProp.PropsSI("H", "P", pressure, "Q", 0 if k < middle else 1, "R134a")
        assert heat == pytest.approx(wanted - zero, abs=30.0)


def test_everything_stands_where_the_numbers_say():
    picture = cycle_picture(of(**R134A, units="metric"))
    cycle = measured_cycle(of(**R134A, units="metric"))
    for state in cycle.states:
        [[x, y]] = where(picture, state.place)
        assert x == pytest.approx(state.enthalpy / 1000)
        assert y == pytest.approx(state.pressure / 1e5)
    assert where(picture, "metering")[:, 0] == pytest.approx([cycle.state("liquid").enthalpy / 1000] * 2)
    assert where(picture, "superheat")[:, 0] == pytest.approx(
        [cycle.suction_dew / 1000, cycle.state("suction").enthalpy / 1000]
    )
    assert where(picture, "subcooling")[:, 0] == pytest.approx(
        [cycle.state("liquid").enthalpy / 1000, cycle.high_bubble / 1000]
    )
    assert has(picture, "compression")
    assert where(picture, "top")[0] == pytest.approx(where(picture, "bubble")[-1])
    assert where(picture, "top")[-1] == pytest.approx(where(picture, "dew")[-1])
    assert "kJ/kg" in picture.description


@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
def test_a_few_kelvin_of_superheat_and_subcooling_can_be_seen_beside_the_points(size):
    picture = cycle_picture(split_unit(), size=size)
    with drawing():
        picture.figure.canvas.draw()
    renderer = picture.figure.canvas.get_renderer()
    for bar, place in (("superheat", "suction"), ("subcooling", "liquid")):
        around = drawn_as(picture, place).get_window_extent(renderer)
        seen = drawn_as(picture, bar).get_window_extent(renderer)
        assert seen.y0 >= around.y1 or seen.y1 <= around.y0, bar
        assert min(abs(seen.y0 - around.y1), abs(around.y0 - seen.y1)) < 0.2 * picture.figure.dpi


def test_between_which_temperatures_and_pressures_it_works_is_said():
    picture = cycle_picture(of(**R134A, units="metric"))
    low, high = (CoolProp.PropsSI("T", "P", p, "Q", 1, "R134a") - 273.15 for p in (301325.0, 1301325.0))
    words = svg_words(picture.as_svg())
    assert f"The dew point is {low:.1f} \u00b0C on the low side and {high:.1f} \u00b0C on the high" in words
    assert f"{1301325 / 301325:.1f} to 1" in words


def test_us_units_are_btu_to_the_pound():
    found = of_file("bus_17_warm_vents.yaml")
    [[x, y]] = where(cycle_picture(found), "suction")
    state = measured_cycle(found).state("suction")
    assert x == pytest.approx(state.enthalpy / BTU_PER_POUND)
    assert y == pytest.approx(state.pressure / 6894.757293168)


def test_superheat_and_subcooling_may_be_told_instead():
    lines = measured_cycle(of(**R134A))
    told = R134A | {
        "suction_line": None,
        "liquid_line": None,
        "superheat": f"{lines.superheat.value} K",
        "subcooling": f"{lines.subcooling.value} K",
    }
    same = measured_cycle(of(**{name: value for name, value in told.items() if value is not None}))
    for one, other in zip(lines.states, same.states, strict=True):
        assert one.enthalpy == pytest.approx(other.enthalpy, abs=1.0)


def test_without_the_discharge_line_the_compression_is_not_drawn_and_that_is_said():
    picture = cycle_picture(split_unit(discharge_line=None))
    assert not has(picture, "compression")
    assert not has(picture, "discharge")
    assert "discharge line is not known" in picture.description
    # Condensing ends where gas begins to condense, which is known without it.
    cycle = measured_cycle(split_unit(discharge_line=None))
    assert where(picture, "condensation")[0, 0] == pytest.approx(cycle.high_dew / 1000)


@pytest.mark.parametrize(
    ("leave", "said"),
    [
        ("suction_line", "suction line near the compressor"),
        ("liquid_line", "liquid line before the metering device"),
        ("low_side", "pressure on the low side"),
        ("high_side", "pressure on the high side"),
        ("refrigerant", "the refrigerant"),
    ],
)
def test_a_missing_measurement_is_named(leave, said):
    with pytest.raises(InputError, match=said) as caught:
        cycle_picture(split_unit(**{leave: None}))
    others = {"suction line near", "liquid line before"} - {said[:17]}
    if leave in {"suction_line", "liquid_line"}:
        assert not any(other in str(caught.value) for other in others - {said[: len(o)] for o in others})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"suction_line": "-4 degC"}, "colder than the dew point"),
        ({"liquid_line": "46 degC"}, "warmer than the bubble point"),
        ({"compressor": "off", "low_side": "9 bar", "high_side": "9 bar"}, "make no cycle"),
    ],
)
def test_a_state_that_no_thermometer_tells_is_not_drawn(change, said):
    with pytest.raises(InputError, match=said):
        cycle_picture(split_unit(**change))


def test_above_the_critical_point_it_is_said_why():
    with pytest.raises(InputError, match="critical point"):
        cycle_picture(of_file("r744_bus.yaml"))


def test_a_discharge_line_colder_than_its_dew_point_is_left_out():
    cycle = measured_cycle(split_unit(discharge_line="40 degC"))
    assert cycle.state("discharge") is None
    assert "no hotter than the dew point" in cycle.left_out[0]
    assert not math.isnan(cycle.cooling)


def test_gas_hotter_than_its_properties_reach_is_not_called_too_cold():
    told = {"low_side": "35 bar", "high_side": "66 bar", "suction_line": "8 degC", "liquid_line": "22 degC"}
    cycle = measured_cycle(of(refrigerant="R744", ambient="20 degC", discharge_line="75 degC", **told))
    assert cycle.state("discharge") is None
    assert "not known" in cycle.left_out[0]
    assert "no hotter" not in cycle.left_out[0]
