"""A container that cools while it is drawn from, against a balance of energies straight from CoolProp."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.service.draw import draw

NAMES = st.sampled_from(["R134a", "R12", "R22", "R1234yf", "R290", "R410A"])


def by_internal_energy(name, held, drawn, *, start, volume, shell):
    """Solve d(m u) + C dT = -h_vapour dm for a closed volume, in small steps, from internal energies."""
    state = CoolProp.AbstractState("HEOS", name)

    def energy(temperature, mass):
        state.update(CoolProp.QT_INPUTS, 0.0, temperature)
        density, of_liquid = state.rhomass(), state.umass()
        state.update(CoolProp.QT_INPUTS, 1.0, temperature)
        vapour = (volume - mass / density) / (1 / state.rhomass() - 1 / density)
        return (mass - vapour) * of_liquid + vapour * state.umass() + shell * temperature

    temperature, mass, step = start, held, drawn / 60
    for _ in range(60):
        state.update(CoolProp.QT_INPUTS, 1.0, temperature)
        wanted = energy(temperature, mass) - state.hmass() * step
        mass -= step
        low, high = temperature - 10, temperature + 0.1
        for _ in range(50):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if energy(middle, mass) < wanted else (low, middle)
        temperature = 0.5 * (low + high)
    return temperature


@pytest.mark.parametrize(
    ("name", "held", "drawn", "shell"),
    [("R134a", 0.34, 0.1, 0.0), ("R134a", 5.0, 1.0, 3 * 480.0), ("R12", 2.0, 0.5, 0.0), ("R22", 5.0, 1.5, 2400.0)],
)
def test_it_cools_as_the_balance_of_internal_energies_says(name, held, drawn, shell):
    volume = held / CoolProp.PropsSI("D", "T", 294.15, "Q", 0, name) / 0.8
    theirs = by_internal_energy(name, held, drawn, start=294.15, volume=volume, shell=shell)
    ours, pressure = draw(refrigerants.get(name), held, 294.15, shell=shell).after(drawn)
    fall = 294.15 - theirs
    assert fall > 3
    # The vapour that is in it from the start carries a little heat that ours leaves out.
    assert 294.15 - ours == pytest.approx(fall, rel=0.03)
    assert pressure == pytest.approx(float(refrigerants.get(name).saturation_pressure(ours)), rel=1e-3)


@given(NAMES, st.floats(0.2, 20), st.floats(275, 315), st.floats(0, 5000))
def test_it_only_cools_and_the_pressure_falls_with_it(name, held, start, shell):
    found = draw(refrigerants.get(name), held, start, shell=shell)
    known = np.isfinite(found.temperature)
    assert found.temperature[0] == start
    assert (np.diff(found.temperature[known]) < 0).all()
    assert (np.diff(found.pressure[np.isfinite(found.pressure)]) < 0).all()


@given(NAMES, st.floats(0.2, 20), st.floats(0.02, 0.5), st.floats(1.5, 10))
def test_twice_of_everything_cools_as_far(name, held, share, factor):
    small = draw(refrigerants.get(name), held, 295.0).after(share * held)
    large = draw(refrigerants.get(name), factor * held, 295.0).after(share * factor * held)
    assert large == pytest.approx(small, rel=1e-6, nan_ok=True)


@given(NAMES, st.floats(0.02, 0.4), st.floats(100, 5000))
def test_a_shell_that_cools_with_it_keeps_it_warmer(name, share, shell):
    bare, heavy = (draw(refrigerants.get(name), 3.0, 295.0, shell=c).after(3.0 * share)[0] for c in (0.0, shell))
    assert not heavy <= bare


@given(NAMES, st.floats(1.05e5, 9e5), st.floats(1e3, 1e5))
def test_less_comes_out_against_more_pressure(name, back, more):
    found = draw(refrigerants.get(name), 3.0, 300.0)
    assert found.until(back + more) <= found.until(back)
    if 0 < found.until(back) < found.drawn[-1]:
        pressure = found.after(found.until(back))[1]
        assert np.isnan(pressure) or pressure == pytest.approx(back, rel=5e-3)


@pytest.mark.parametrize("name", ["R404A", "R407C", "R134a"])
def test_liquid_drawn_cools_it_far_less_than_vapour_drawn(name):
    vapour, liquid = (draw(refrigerants.get(name), 5.0, 295.0, phase=p).after(1.5)[0] for p in ("vapour", "liquid"))
    assert 295.0 - liquid < 0.2 * (295.0 - vapour)


def test_a_container_that_is_colder_than_what_it_feeds_gives_nothing():
    assert draw(refrigerants.get("R134a"), 1.0, 270.0).until(5e5) == 0.0


def test_beyond_what_can_be_followed_nothing_is_said():
    found = draw(refrigerants.get("R134a"), 1.0, 295.0)
    assert np.isnan(found.after(2.0)).all()
