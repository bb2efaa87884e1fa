"""Densities of liquid and heats of evaporation against correlations of handbooks, as the `chemicals` library carries them.

Perry's Handbook, 8th ed., tables 2-32 (DIPPR equation 105) and 2-150 (DIPPR equation 106), and the VDI Heat Atlas, 2nd
ed., part D3.1 (PPDS equations), were fitted by their authors without the equations of state behind the series. For the
fluids that they name this is evidence about the physics; R-134a is in neither. The tolerances were set after looking at
the deviations; the largest stand beside them.
"""

from __future__ import annotations

import chemicals
import numpy as np
import pytest
from chemicals import phase_change, volume
from chemicals.dippr import EQ105, EQ106, EQ116

from twogauge import refrigerants
from twogauge.refrigerants.properties import properties_of

CAS = {
    "R12": "75-71-8",
    "R22": "75-45-6",
    "R290": "74-98-6",
    "R600a": "75-28-5",
    "R717": "7664-41-7",
    "R32": "75-10-5",
    "R600": "106-97-8",
    "R1270": "115-07-1",
    "R152a": "75-37-6",
}
IN_VDI = [name for name in CAS if name != "R152a"]
IN_PERRY = [name for name in CAS if name not in {"R12", "R22"}]


def points(name):
    refrigerant = refrigerants.get(name)
    properties = properties_of(refrigerant)
    low = max(230.0, properties.ends("liquid density")[0])
    return properties, np.linspace(low, 0.9 * refrigerant.critical_temperature, 15)


@pytest.mark.parametrize("name", IN_VDI)
def test_liquid_density_against_the_heat_atlas(name):
    properties, at = points(name)
    row = volume.rho_data_VDI_PPDS_2.loc[CAS[name]]
    theirs = [EQ116(t, row.Tc, row.rhoc, row.A, row.B, row.C, row.D) for t in at]
    # 0.45 % for R-1270, 0.22 % for R-290, below 0.15 % for the others.
    assert properties.liquid_density(at) == pytest.approx(theirs, rel=5e-3)


@pytest.mark.parametrize("name", IN_VDI)
def test_heat_of_evaporation_against_the_heat_atlas(name):
    properties, at = points(name)
    row = phase_change.phase_change_data_VDI_PPDS_4.loc[CAS[name]]
    theirs = [phase_change.PPDS12(t, row.Tc, row.A, row.B, row.C, row.D, row.E) * 1000 / row.MW for t in at]
    # 0.12 % at most.
    assert properties.latent_heat(at) == pytest.approx(theirs, rel=2e-3)


@pytest.mark.parametrize("name", IN_PERRY)
def test_liquid_density_against_perrys_handbook(name):
    properties, at = points(name)
    row = volume.rho_data_Perry_8E_105_l.loc[CAS[name]]
    theirs = [EQ105(t, row.C1, row.C2, row.C3, row.C4) * chemicals.MW(CAS[name]) / 1000 for t in at]
    # 0.51 % for R-290, 0.47 % for R-600a.
    assert properties.liquid_density(at) == pytest.approx(theirs, rel=6e-3)


@pytest.mark.parametrize("name", IN_PERRY)
def test_heat_of_evaporation_against_perrys_handbook(name):
    properties, at = points(name)
    row = phase_change.phase_change_data_Perrys2_150.loc[CAS[name]]
    theirs = [EQ106(t, row.Tc, row.C1, row.C2, row.C3, row.C4) * 1000 / chemicals.MW(CAS[name]) for t in at]
    # 1.8 % for R-152a, 1.4 % for R-600a and R-1270. Its R-32 lies up to 8.4 % above, where the Heat Atlas agrees within
    # 0.06 %: of the two handbooks one is wrong there, and the series is not held to it.
    assert properties.latent_heat(at) == pytest.approx(theirs, rel=9e-2 if name == "R32" else 2e-2)
