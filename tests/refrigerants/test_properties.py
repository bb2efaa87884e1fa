"""Densities and heats of saturation against CoolProp, and what must hold for them on any refrigerant."""

from __future__ import annotations

import copy
import subprocess
import sys

import numpy as np
import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.refrigerants import build
from twogauge.refrigerants.fit_properties import Sample, States, fit_properties, properties_drift
from twogauge.refrigerants.properties import SERIES, properties_from, properties_of

ALL = refrigerants.names()
BLENDS = [name for name in ALL if name not in build.models()]
names = st.sampled_from(ALL)


def state_of(name):
    if name in build.models():
        return CoolProp.AbstractState("HEOS", build.models()[name])
    composition = refrigerants.get(name).composition
    moles = np.array([share / CoolProp.PropsSI("molar_mass", part) for part, share in composition.items()])
    state = CoolProp.AbstractState("HEOS", "&".join(composition))
    state.set_mole_fractions(list(moles / moles.sum()))
    return state


@pytest.mark.parametrize("name", ALL)
def test_the_series_are_coolprop_at_random_points(name):
    refrigerant = refrigerants.get(name)
    found = properties_of(refrigerant)
    low, _ = found.ends("liquid density")
    # Near critical CoolProp's mixture flash returns states of no equilibrium; the solver is tested there instead.
    high = (0.93 if name in BLENDS else 0.9899) * refrigerant.critical_temperature
    state = state_of(name)
    compared, enthalpies = 0, []
    # Other points than the builder's, but the same in every run: a failure must mean a change.
    for temperature in np.random.default_rng(11).uniform(low + 0.01, high, 10):
        try:
            state.update(CoolProp.QT_INPUTS, 0.0, temperature)
            liquid, liquid_enthalpy = state.rhomass(), state.hmass()
            state.update(CoolProp.QT_INPUTS, 1.0, temperature)
        except ValueError:
            assert name in BLENDS, "CoolProp always solves a pure fluid"
            continue  # an island without a solution
        # A promise of one part in ten thousand; the builder aims at two in a million.
        assert found.liquid_density(temperature) == pytest.approx(liquid, rel=1e-4)
        assert found.vapour_density(temperature) == pytest.approx(state.rhomass(), rel=1e-4)
        assert found.latent_heat(temperature) == pytest.approx(state.hmass() - liquid_enthalpy, rel=1e-4)
        enthalpies.append((found.liquid_enthalpy(temperature), liquid_enthalpy))
        compared += 1
    assert compared >= 5
    ours, theirs = np.array(enthalpies).T
    assert ours - ours[0] == pytest.approx(theirs - theirs[0], abs=20)  # [J/kg], of some hundred thousand


@pytest.mark.parametrize("name", BLENDS)
def test_a_blend_is_the_solved_equilibrium_up_to_the_end(name):
    refrigerant = refrigerants.get(name)
    blend = build.Blend(refrigerant.composition, (refrigerant.critical_temperature, refrigerant.critical_pressure))
    found = properties_of(refrigerant)
    temperatures = np.linspace(0.72, 0.9895, 12) * refrigerant.critical_temperature
    liquid, vapour = (blend.states(temperatures, phase) for phase in ("bubble", "dew"))
    assert found.liquid_density(temperatures) == pytest.approx(liquid.density, rel=1e-4)
    assert found.vapour_density(temperatures) == pytest.approx(vapour.density, rel=1e-4)
    assert found.latent_heat(temperatures) == pytest.approx(vapour.enthalpy - liquid.enthalpy, rel=1e-4)


@pytest.mark.parametrize("name", ALL)
def test_every_refrigerant_has_every_series_and_says_how_good_it_is(name):
    found = properties_of(refrigerants.get(name))
    assert found.missing == {}
    assert set(found.deviation) == set(SERIES)
    assert found.deviation["vapour density"] < 1e-4
    assert found.deviation["liquid density"] < 0.1
    assert found.deviation["latent heat"] < 20
    document = build.read(build.DATA / "properties" / build.file_name(name))
    assert document["made by"]["CoolProp version"] == CoolProp.get_global_param_string("version")


def test_no_file_lies_about_that_nobody_asked_for():
    assert {path.name for path in (build.DATA / "properties").iterdir()} == {build.file_name(n) for n in ALL}


@pytest.mark.parametrize("name", ALL)
def test_what_warming_does_to_a_saturated_fluid(name):
    found = properties_of(refrigerants.get(name))
    at = np.linspace(*found.ends("liquid density"), 3001)[1:-1]
    assert (np.diff(found.liquid_density(at)) < 0).all()
    assert (np.diff(found.vapour_density(at)) > 0).all()
    assert (found.vapour_density(at) < found.liquid_density(at)).all()
    assert (np.diff(found.latent_heat(at)) < 0).all()
    assert (found.latent_heat(at) > 0).all()
    assert (np.diff(found.liquid_enthalpy(at)) > 0).all()


@pytest.mark.parametrize("name", ["R134a", "R12", "R22", "R1234yf", "R290", "R744"])
def test_the_heat_of_evaporation_is_that_of_clapeyron(name):
    # An independent road to the same heat: T (v_vapour - v_liquid) dp/dT, from the curve and the densities.
    refrigerant = refrigerants.get(name)
    found = properties_of(refrigerant)
    at = np.linspace(refrigerant.temperature_min() + 1, 0.95 * refrigerant.critical_temperature, 40)
    slope = 1 / refrigerant.saturation_slope(refrigerant.saturation_pressure(at))
    clapeyron = at * (1 / found.vapour_density(at) - 1 / found.liquid_density(at)) * slope
    assert found.latent_heat(at) == pytest.approx(clapeyron, rel=2e-3)


@pytest.mark.parametrize("name", ["R134a", "R12", "R22", "R600a"])
def test_the_heat_capacity_of_cool_liquid_is_that_of_coolprop(name):
    state = state_of(name)
    for temperature in (240.0, 260.0, 280.0, 300.0):
        state.update(CoolProp.QT_INPUTS, 0.0, temperature)
        ours = properties_of(refrigerants.get(name)).liquid_heat_capacity(temperature)
        assert ours == pytest.approx(state.cpmass(), rel=0.015)  # the two differ by v dp/dT and more near critical


@given(names, st.floats(allow_nan=True, allow_infinity=True))
def test_outside_a_series_the_answer_is_nan(name, temperature):
    found = properties_of(refrigerants.get(name))
    for series in SERIES:
        low, high = found.ends(series)
        assert np.isnan(found.value(series, temperature)) == (not low <= temperature <= high)


@given(names, st.lists(st.floats(200, 400), max_size=5))
def test_shapes_are_kept(name, temperatures):
    found = properties_of(refrigerants.get(name))
    column = found.vapour_density(temperatures)
    assert column.shape == (len(temperatures),)
    np.testing.assert_array_equal(column, [float(found.vapour_density(t)) for t in temperatures])


def points(count, value=lambda t: 1000.0 - t, phase="bubble"):
    at = np.linspace(200, 297, count)
    ones = np.ones(count)
    return Sample(phase, at, States(ones, value(at), ones if phase == "dew" else 0 * ones + at), at % 2 < 1, 0)


def test_too_few_points_and_points_without_a_shape_give_no_value_but_a_reason():
    noise = np.random.default_rng(3).uniform(0.9, 1.1, 600)
    few = fit_properties(points(40), points(600, phase="dew"), 300.0)["series"]
    assert "only 40 points" in few["liquid density"]["missing because"]
    rough = fit_properties(points(600, lambda t: 1000 * noise + 0 * t), points(600, phase="dew"), 300.0)
    assert "no smooth series" in rough["series"]["liquid density"]["missing because"]
    found = properties_from(rough)
    assert np.isnan(found.liquid_density([250.0, 260.0])).all()
    assert np.isnan(found.ends("liquid density")).all()
    assert "no smooth series" in found.missing["liquid density"]


def test_a_series_that_has_moved_or_gone_is_reported():
    document = build.read(build.DATA / "properties" / "R134a.json")
    assert properties_drift("R134a", document, document) == []
    moved = copy.deepcopy(document)
    moved["series"]["vapour density"][SERIES["vapour density"].key][0] += 0.01
    (line,) = properties_drift("R134a", moved, document)
    assert "vapour density" in line
    gone = copy.deepcopy(document)
    gone["series"]["latent heat"] = {"missing because": "of a test"}
    (line,) = properties_drift("R134a", gone, document)
    assert "latent heat" in line
    lower = copy.deepcopy(document)
    lower["top of the dome"]["enthalpy / J/kg"][3] *= 1.001
    (line,) = properties_drift("R134a", lower, document)
    assert "top of the dome" in line
    open_above = {key: value for key, value in document.items() if key != "top of the dome"}
    (line,) = properties_drift("R134a", open_above, document)
    assert "top of the dome" in line
    assert "missing" in properties_drift("R134a", None, document)[0]


def test_a_diagnosis_does_not_read_them():
    program = (
        "import sys\nfrom twogauge.cli.app import main\n"
        "sys.argv = 'twogauge diagnose --refrigerant R134a --low 35psi --high 210psi --ambient 90F'.split()\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('twogauge.refrigerants.properties' in sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False"
