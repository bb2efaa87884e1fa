"""Heat of superheated vapour against CoolProp's own flash, and what must hold for it on any refrigerant."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.refrigerants import build
from twogauge.refrigerants.fit_superheated import fit_superheated, superheated_drift
from twogauge.refrigerants.properties import properties_of
from twogauge.refrigerants.superheated import superheated_of

ALL = refrigerants.names()
PURE = [name for name in ALL if name in build.models()]
names = st.sampled_from(ALL)


def shipped(name):
    return build.read(build.DATA / "superheated" / build.file_name(name))


@pytest.mark.parametrize("name", PURE)
def test_the_series_is_coolprops_own_flash_at_random_points(name):
    refrigerant = refrigerants.get(name)
    found = superheated_of(refrigerant)
    state = CoolProp.AbstractState("HEOS", build.models()[name])
    random = np.random.default_rng(31)
    for dew in random.uniform(found.dew_from, found.dew_to, 8):
        superheat = random.uniform(1.0, found.most)
        state.update(CoolProp.QT_INPUTS, 1.0, dew)
        saturated, pressure = state.hmass(), state.p()
        state.update(CoolProp.PT_INPUTS, pressure, dew + superheat)
        # The builder aims at half a part in a thousand.
        assert found.heat_above_dew(dew, superheat) == pytest.approx(state.hmass() - saturated, rel=1e-3)


@pytest.mark.parametrize("name", ["R407C", "R448A", "R513A", "R454B", "R22"])
def test_along_an_isobar_the_heat_is_that_of_coolprop_for_blends_too(name):
    refrigerant = refrigerants.get(name)
    found = superheated_of(refrigerant)
    composition = refrigerant.composition or {build.models()[name]: 1.0}
    moles = np.array([share / CoolProp.PropsSI("molar_mass", part) for part, share in composition.items()])
    state = CoolProp.AbstractState("HEOS", "&".join(composition))
    state.set_mole_fractions(list(moles / moles.sum()))
    state.specify_phase(CoolProp.iphase_gas)
    for celsius in (-10.0, 40.0):
        dew = celsius + 273.15
        pressure = refrigerant.pressure_at(dew)
        enthalpies = []
        for superheat in (5.0, 45.0):
            state.update(CoolProp.PT_INPUTS, pressure, dew + superheat)
            enthalpies.append(state.hmass())
        ours = found.heat_above_dew(dew, 45.0) - found.heat_above_dew(dew, 5.0)
        # The pressure of the mixture model and that of the curve may differ a little where a model of its own ships.
        assert ours == pytest.approx(enthalpies[1] - enthalpies[0], rel=5e-3)


@pytest.mark.parametrize("name", ["R134a", "R744", "R455A", "R717"])
def test_the_heat_joins_the_dome_without_a_step(name):
    # At no superheat the heat capacity of the vapour; just above the dew line that is the slope of the isobar.
    refrigerant = refrigerants.get(name)
    found = superheated_of(refrigerant)
    dew = np.linspace(found.dew_from, found.dew_to, 20)
    assert (found.heat_above_dew(dew, 0.0) == 0.0).all()
    slope = found.heat_above_dew(dew, 0.01) / 0.01
    assert slope == pytest.approx(found.mean_heat_capacity(dew, 0.0), rel=1e-3)
    # More superheat is more heat, less than a tenth of the heat of evaporation for each 10 K below 60 degC.
    heat = found.heat_above_dew(dew[:, None], np.linspace(0.0, found.most, 30))
    assert (np.diff(heat, axis=1) > 0).all()
    cold = dew < min(333.15, 0.85 * refrigerant.critical_temperature)
    assert (found.heat_above_dew(dew, 10.0) < 0.15 * properties_of(refrigerant).latent_heat(dew))[cold].all()


def test_every_refrigerant_has_a_file_and_says_how_good_it_is():
    assert {path.name for path in (build.DATA / "superheated").iterdir()} == {build.file_name(n) for n in ALL}
    for name in ALL:
        found, document = superheated_of(refrigerants.get(name)), shipped(name)
        assert found.deviation <= 5e-4, name
        assert found.most > 25.0, name
        assert document["id"] == name
        assert document["made by"]["CoolProp version"] == CoolProp.get_global_param_string("version")


@given(names, st.floats(150, 500), st.floats(-50, 150))
def test_outside_the_series_the_answer_is_nan(name, dew, superheat):
    found = superheated_of(refrigerants.get(name))
    inside = found.dew_from <= dew <= found.dew_to and 0.0 <= superheat <= found.most
    assert np.isnan(found.heat_above_dew(dew, superheat)) == (not inside)


@pytest.mark.parametrize("name", ["R134a", "R1234ze(E)", "R407F"])
def test_what_ships_is_what_a_fresh_build_makes(name):
    refrigerant = refrigerants.get(name)
    source = (
        build.Fluid(build.models()[name])
        if name in build.models()
        else build.Blend(refrigerant.composition, (refrigerant.critical_temperature, refrigerant.critical_pressure))
    )
    fresh = build.superheated_heats(source, refrigerant.dew, properties_of(refrigerant))
    assert superheated_drift(name, shipped(name), fresh) == []


def test_a_series_that_has_moved_or_gone_is_reported():
    document = shipped("R134a")
    moved = copy.deepcopy(document)
    moved["Chebyshev coefficients of mean heat capacity / J/(kg K)"][0][0] *= 1.001
    (line,) = superheated_drift("R134a", moved, document)
    assert "superheated vapour" in line
    assert "missing" in superheated_drift("R134a", None, document)[0]


def test_heat_without_a_shape_is_refused():
    random = np.random.default_rng(5)
    with pytest.raises(ValueError, match="cannot be fitted"):
        fit_superheated(
            lambda _, s: 900.0 * s * random.uniform(0.9, 1.1, s.shape),
            lowest=220.0,
            critical_temperature=370.0,
            hottest=450.0,
        )
