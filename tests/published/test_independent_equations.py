"""The shipped curves against equations that other people fitted, as general-purpose libraries carry them.

Two kinds of second opinion:

- vapour-pressure correlations of handbooks (the `chemicals` library): fitted by their authors to measurements, mostly
  before the reference equations behind the curves. This is evidence about the physics.
- the equations of state that `teqp` ships. Where it carries the same equation as CoolProp, agreement says only that
  two programs solve it alike. Where it carries an older one (R1234yf, R1233zd(E), R1234yf with R32 or R134a)
  the difference is what a decade of new measurements was worth, and an honest measure of what the curve is good for.

The two Antoine tables share many of their constants: for those fluids they are one opinion, not two.
The tolerances were set after looking at the deviations. They can show that a curve has moved or is broken; they
cannot show that the physics is right to better than their width. 1 % of pressure is about 0.3 K.
"""

from __future__ import annotations

import numpy as np
import pytest
from chemicals import vapor_pressure
from chemicals.dippr import EQ101

from twogauge import refrigerants

CAS = {
    "R11": "75-69-4",
    "R114": "76-14-2",
    "R12": "75-71-8",
    "R123": "306-83-2",
    "R124": "2837-89-0",
    "R1270": "115-07-1",
    "R134a": "811-97-2",
    "R152a": "75-37-6",
    "R22": "75-45-6",
    "R290": "74-98-6",
    "R32": "75-10-5",
    "R600": "106-97-8",
    "R600a": "75-28-5",
    "R717": "7664-41-7",
    "R744": "124-38-9",
}


def wagner_25(row):
    return vapor_pressure.Wagner, (row["Tc"], row["Pc"], row["A"], row["B"], row["C"], row["D"])


def wagner_36(row):
    return vapor_pressure.Wagner_original, (row["Tc"], row["Pc"], row["A"], row["B"], row["C"], row["D"])


def dippr(row):
    return EQ101, tuple(row[f"C{i}"] for i in range(1, 6))


def extended_antoine(row):
    return vapor_pressure.TRC_Antoine_extended, tuple(row[key] for key in ("Tc", "to", "A", "B", "C", "n", "E", "F"))


def antoine_decimal(row):
    return vapor_pressure.Antoine, (row["A"], row["B"], row["C"], 10.0)


def antoine_natural(row):
    return vapor_pressure.Antoine, (row["A"], row["B"], row["C"], float(np.e))


# table of the library, how to read a row of it, tolerance [K], why this wide
CORRELATIONS = {
    "VDI Heat Atlas, Wagner 2.5-5": ("Psat_data_VDI_PPDS_3", wagner_25, 0.15),  # four constants, 0.5 % of pressure
    "Poling, Wagner 2.5-5": ("Psat_data_WagnerPoling", wagner_25, 0.1),  # light, well-measured fluids only
    "McGarry 1983, Wagner 3-6": ("Psat_data_WagnerMcGarry", wagner_36, 0.15),  # four constants, data before 1983
    "Perry 8th ed., DIPPR 101": ("Psat_data_Perrys2_8", dippr, 0.2),  # one fit from triple to critical point
    "Poling, extended Antoine": ("Psat_data_AntoineExtended", extended_antoine, 0.2),  # seven constants of mixed age
    "Poling, Antoine": (
        "Psat_data_AntoinePoling",
        antoine_decimal,
        0.4,
    ),  # three constants cannot follow more closely
    "Landolt-Boernstein, Antoine": ("Psat_data_Landolt_Antoine", antoine_natural, 0.4),  # as above
}

# Correlations that lie further away than their kind allows, how far [K], and what is known about it.
KNOWN_MISSES = {
    ("R12", "Landolt-Boernstein, Antoine"): (0.6, "drifts off above 40 degC, alone among five correlations"),
    ("R1270", "Perry 8th ed., DIPPR 101"): (0.6, "alone among five correlations, two of them within 0.12 K"),
    ("R124", "Landolt-Boernstein, Antoine"): (
        1.0,
        "crosses the curve at a wrong slope; two others agree within 0.14 K",
    ),
    ("R123", "Poling, Antoine"): (
        1.5,
        "at -40 degC, 68 K below its boiling point; the VDI table agrees within 0.04 K",
    ),
}


def correlation(name, kind):
    """Temperatures [K] at 5 K steps within -40..65 degC and the stated range, and the pressures there [Pa]."""
    vapor_pressure.load_vapor_pressure_dfs()
    table, read, _ = CORRELATIONS[kind]
    rows = getattr(vapor_pressure, table)
    if CAS[name] not in rows.index:
        return None
    row = rows.loc[CAS[name]]
    equation, constants = read(row)
    refrigerant = refrigerants.get(name)
    low = max(row.get("Tmin", row.get("Tm", 0.0)), refrigerant.temperature_min())
    high = min(row.get("Tmax", row.get("Tc", np.inf)), refrigerant.temperature_max() - 0.5)
    temperatures = np.arange(233.15, 338.16, 5.0)
    temperatures = temperatures[(temperatures >= low) & (temperatures <= high)]
    return temperatures, np.array([equation(t, *constants) for t in temperatures])


CASES = [
    (name, kind) for name in CAS for kind in CORRELATIONS if (found := correlation(name, kind)) and len(found[0])
]


@pytest.mark.parametrize(("name", "kind"), CASES, ids=["-".join(case) for case in CASES])
def test_a_handbook_correlation_agrees(name, kind):
    temperatures, pressures = correlation(name, kind)
    inside = pressures >= refrigerants.get(name).pressure_min()  # R114 starts at 0 degC, within rounding of a point
    off = np.abs(refrigerants.get(name).saturation_temperature(pressures[inside]) - temperatures[inside])
    allowed = CORRELATIONS[kind][2]
    if (name, kind) in KNOWN_MISSES:
        allowed, reason = KNOWN_MISSES[name, kind]
        assert off.max() > CORRELATIONS[kind][2], f"no longer a miss; take it off the list: {reason}"
    assert off.size > 0
    assert off.max() <= allowed, f"{off.max():.3f} K at {temperatures[inside][off.argmax()] - 273.15:.0f} degC"


def test_most_pure_refrigerants_have_three_second_opinions():
    opinions = [sum(1 for name, _ in CASES if name == one) for one in CAS]
    assert len(CASES) >= 60
    assert sorted(opinions)[len(opinions) // 2] >= 4


def teqp_pressures(name, phase, temperatures):
    """Saturation pressures [Pa] of the multifluid model that teqp ships, from its own solver.

    Its start is a rough one: the liquid and vapour densities CoolProp has at the same temperature.
    """
    import CoolProp
    import teqp
    from CoolProp.CoolProp import PropsSI

    from twogauge.refrigerants.build import models

    refrigerant = refrigerants.get(name)
    parts = list(refrigerant.composition) or [models()[name]]
    moles = np.array(
        [share / PropsSI("molar_mass", part) for part, share in refrigerant.composition.items()] or [1.0]
    )
    overall = moles / moles.sum()
    model = teqp.build_multifluid_model(parts, teqp.get_datapath())
    state = CoolProp.AbstractState("HEOS", "&".join(parts))
    if len(parts) > 1:
        state.set_mole_fractions(list(overall))
    found = []
    for temperature in temperatures:
        state.update(CoolProp.QT_INPUTS, 0.0 if phase == "bubble" else 1.0, temperature)
        liquid = state.saturated_liquid_keyed_output(CoolProp.iDmolar)
        vapour = state.saturated_vapor_keyed_output(CoolProp.iDmolar)
        if len(parts) == 1:
            _, density = model.pure_VLE_T(temperature, liquid, vapour, 30)
            concentrations = np.array([density])
        else:
            liquids = liquid * np.array(state.mole_fractions_liquid())
            vapours = vapour * np.array(state.mole_fractions_vapor())
            given, other = (liquids, vapours) if phase == "bubble" else (vapours, liquids)
            code, concentrations, _ = model.mix_VLE_Tx(temperature, given, other, overall, 1e-8, 1e-8, 1e-8, 1e-8, 30)
            assert code in (teqp.VLE_return_code.xtol_satisfied, teqp.VLE_return_code.functol_satisfied)
        density = concentrations.sum()
        fractions = concentrations / density
        compressibility = 1 + model.get_Ar01(temperature, density, fractions)
        found.append(density * model.get_R(fractions) * temperature * compressibility)
    return np.array(found)


TEMPERATURES = np.linspace(233.15, 328.15, 11)


# The same equations in another program: what is left is the curve's own fit, at most 1 mK, and rounding.
SAME = [
    "R134a",
    "R12",
    "R22",
    "R32",
    "R290",
    "R600a",
    "R717",
    "R152a",
    "R1234ze(E)",
    "R245fa",
    "R227ea",
    "R11",
    "R123",
]
SAME += ["R124", "R600", "R1270", "R236fa"]


@pytest.mark.parametrize("name", SAME)
def test_another_program_solves_the_same_equation_alike(name):
    found = teqp_pressures(name, "dew", TEMPERATURES)
    off = np.abs(refrigerants.get(name).saturation_temperature(found) - TEMPERATURES)
    assert off.max() <= 0.002


@pytest.mark.parametrize("name", ["R500", "R502"])
@pytest.mark.parametrize("phase", ["bubble", "dew"])
def test_another_program_solves_the_same_blend_alike(name, phase):
    # Independent of both the flash of CoolProp and the solver of the builder.
    found = teqp_pressures(name, phase, TEMPERATURES)
    off = np.abs(refrigerants.get(name).saturation_temperature(found, phase) - TEMPERATURES)
    assert off.max() <= 0.002


# Older published equations or pair constants: how far they are from the curve [K], least and most, over -40..55 degC.
OLDER = {
    # Richter 2011 against Lemmon and Akasaka 2022
    ("R1234yf", "dew"): (-0.06, 0.06),
    # Mondejar 2015 against Akasaka and Lemmon 2022
    ("R1233zd(E)", "dew"): (-0.34, 0.34),
    # Akasaka 2013 for R32/R1234yf, with the older R1234yf, against Bell 2023
    ("R454B", "bubble"): (-0.35, -0.22),
    ("R454B", "dew"): (-0.17, -0.03),
    ("R454A", "bubble"): (-0.28, 0.12),
    ("R454A", "dew"): (0.70, 1.20),
    ("R454C", "bubble"): (0.15, 0.75),
    ("R454C", "dew"): (0.50, 1.26),
    # Bell 2016 for R134a/R1234yf, with the older R1234yf, against Bell 2022
    ("R513A", "bubble"): (0.10, 0.27),
    ("R513A", "dew"): (0.10, 0.27),
}


@pytest.mark.parametrize(("name", "phase"), OLDER, ids=["-".join(case) for case in OLDER])
def test_an_older_published_equation_differs_by_what_is_known(name, phase):
    found = teqp_pressures(name, phase, TEMPERATURES)
    off = refrigerants.get(name).saturation_temperature(found, phase) - TEMPERATURES
    least, most = OLDER[name, phase]
    assert least <= off.min()
    assert off.max() <= most


@pytest.mark.parametrize("name", ["R1233zd(E)", "R454A", "R454C"])
def test_a_reason_that_tells_of_an_older_equation_tells_how_far_it_is(name):
    phase = "dew"
    off = (
        refrigerants.get(name).saturation_temperature(teqp_pressures(name, phase, TEMPERATURES), phase) - TEMPERATURES
    )
    assert f"{np.abs(off).max():.1f} K" in refrigerants.get(name).grade_reason
