"""The standard atmosphere against its tables, and what vacuum means for water, against IAPWS.

Sources stand in `data/atmosphere_and_water.yaml`: ICAO Doc 7488 = ISO 2533 = US Standard Atmosphere 1976; IAPWS
R7-97 (IF97), R6-95 (IAPWS-95), R14-08 (ice); US Army TM 5-2420-230-24-1 Table 19-1 (boiling under vacuum).
"""

from __future__ import annotations

import functools
from pathlib import Path

import iapws
import numpy as np
import psychrolib
import pytest
import yaml
from iapws._iapws import _Sublimation_Pressure

from twogauge.quantities import (
    STANDARD_ATMOSPHERE,
    Dimension,
    UnitSet,
    absolute,
    parse,
    show_gauge,
    standard_atmosphere,
    to_unit,
)
from twogauge.service import water

DATA = yaml.safe_load((Path(__file__).parent / "data" / "atmosphere_and_water.yaml").read_text())
AIR, WATER = DATA["atmosphere"], DATA["water"]
VACUUM = WATER["boiling_under_vacuum"]
EARTH = 6_356_766.0  # [m] radius that the 1976 standard uses between the two kinds of height


def geopotential(height):
    return EARTH * height / (EARTH + height)


@pytest.fixture
def si_psychrolib():
    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


@pytest.mark.parametrize("row", AIR["rows"], ids=lambda row: f"{row['height_m']}m")
def test_standard_atmosphere_in_metres(row):
    # 0.06 Pa: half a last printed digit; the table was computed from the same formula, so nothing else is allowed
    assert standard_atmosphere(row["height_m"]) == pytest.approx(row["geopotential_Pa"], abs=0.06)
    assert standard_atmosphere(geopotential(row["height_m"])) == pytest.approx(row["geometric_Pa"], abs=0.06)
    # half a last printed digit of inHg and psi
    at_height = standard_atmosphere(geopotential(row["height_m"]))
    assert to_unit(at_height, Dimension.PRESSURE, "inHg") == pytest.approx(row["inHg_geometric"], abs=5.1e-4)
    assert to_unit(at_height, Dimension.PRESSURE, "psi") == pytest.approx(row["psi_geometric"], abs=5.1e-4)


@pytest.mark.parametrize("row", AIR["rows_feet"], ids=lambda row: f"{row['height_ft']}ft")
def test_standard_atmosphere_in_feet(row):
    height = parse(f"{row['height_ft']} ft", Dimension.LENGTH).value
    # 25 Pa: the table is in geometric height and a height on a map is used as it is; 22 Pa at 12000 ft
    assert standard_atmosphere(height) == pytest.approx(row["geometric_Pa"], abs=25)
    # 0.06 Pa: half a last printed digit, once the kind of height is the same
    assert standard_atmosphere(geopotential(height)) == pytest.approx(row["geometric_Pa"], abs=0.06)


@pytest.mark.parametrize("row", AIR["published_points"], ids=lambda row: f"{row['height_m']}m")
def test_standard_atmosphere_as_the_1976_tables_print_it(row):
    # 0.6 Pa: printed to whole pascal; from memory, see `seen`
    assert standard_atmosphere(geopotential(row["height_m"])) == pytest.approx(row["Pa"], abs=0.6)


@pytest.mark.parametrize("height", [-500, 0, 500, 1500, 3000, 4500, 9000])
def test_standard_atmosphere_against_an_independent_library(height, si_psychrolib):
    # 3e-5: the library writes the same law with constants rounded to six digits (2.25577e-5, 5.2559)
    assert standard_atmosphere(height) == pytest.approx(si_psychrolib.GetStandardAtmPressure(height), rel=3e-5)


@pytest.mark.parametrize(("feet", "excess"), [(1000, 0.06), (5000, 0.02), (7000, -0.17), (10_000, -0.66)])
def test_the_rule_of_an_inch_per_thousand_feet_errs_as_recorded(feet, excess):
    # The manuals' rule of thumb: 1 inHg less vacuum per 1000 ft. 0.011: two figures rounded to 0.01 inHg.
    assert AIR["rule_of_thumb"]["true_drop_minus_rule_inHg"][f"{feet}ft"] == excess
    drop = STANDARD_ATMOSPHERE - standard_atmosphere(geopotential(feet * 0.3048))
    assert to_unit(drop, Dimension.PRESSURE, "inHg") - feet / 1000 == pytest.approx(excess, abs=0.011)


# -- water: the dial, the micron gauge and the vapour pressure have to agree --------------------------------------


@functools.cache
def boiling_pressure(kelvin):
    """Return the pressure at which water boils, or ice sublimates [Pa] (IAPWS R7-97 region 4, R14-08)."""
    if kelvin < 273.16:
        return float(_Sublimation_Pressure(kelvin)) * 1e6
    return float(iapws.iapws97._PSat_T(kelvin)) * 1e6


@pytest.mark.parametrize("row", WATER["rows"], ids=lambda row: f"{row['degC']}C")
def test_vapour_pressure_of_water_in_every_unit_of_a_vacuum_gauge(row):
    kelvin = parse(f"{row['degC']} degC", Dimension.TEMPERATURE).value
    pressure = row["IF97_Pa"]
    if row["degC"] > 0:  # the library begins at the triple point
        # 0.006 Pa: half a last printed digit of the same equation
        assert boiling_pressure(kelvin) == pytest.approx(pressure, abs=0.006)
    # 1 micron and 0.0001 inHg: half a last printed digit, and IF97 against IAPWS-95 (0.7 Pa at most)
    written = parse(f"{row['microns']} microns", Dimension.PRESSURE)
    assert written.reference == "absolute"
    assert absolute(written, STANDARD_ATMOSPHERE) == pytest.approx(pressure, abs=0.8)
    assert parse(f"{row['inHg_abs']} inHg abs", Dimension.PRESSURE).value == pytest.approx(pressure, abs=0.9)


@pytest.mark.parametrize("row", WATER["rows"], ids=lambda row: f"{row['degC']}C")
def test_three_formulations_of_water_agree(row, si_psychrolib):
    # 2e-4: ASHRAE's Hyland-Wexler equation is up to 0.017 % below IAPWS at 50 degC, and 0.010 % at 0 degC
    assert si_psychrolib.GetSatVapPres(row["degC"]) == pytest.approx(row["IF97_Pa"], rel=2e-4)
    if row["IAPWS95_Pa"] is None:  # that standard begins at the triple point
        return
    scientific = iapws.IAPWS95(T=row["degC"] + 273.15, x=0).P * 1e6
    # 0.006 Pa: half a last printed digit of the same standard
    assert scientific == pytest.approx(row["IAPWS95_Pa"], abs=0.006)
    # 8e-5: the industrial against the scientific standard; the difference reached is 0.0071 %, at 35 degC
    assert scientific == pytest.approx(row["IF97_Pa"], rel=8e-5)


@pytest.mark.parametrize("row", WATER["verification"], ids=lambda row: f"{row['K']}K")
def test_the_library_for_water_gives_its_standards_check_value(row):
    # 1e-6: IF97 Table 35 prints nine digits; the triple point is 611.657 Pa in IAPWS-95 and 611.6548 in IF97
    tolerance = 1e-8 if row["K"] == 300 else 5e-6
    assert boiling_pressure(row["K"]) == pytest.approx(row["Pa"], rel=tolerance)


@pytest.mark.parametrize("row", VACUUM["rows"], ids=lambda row: f"{row['microns']}microns")
def test_boiling_under_vacuum(row):
    pressure = parse(f"{row['microns']} microns", Dimension.PRESSURE).value
    assert pressure == pytest.approx(row["Pa"], abs=0.006)  # half a last printed digit
    # half a last printed digit of the dial
    dial = to_unit(STANDARD_ATMOSPHERE - pressure, Dimension.PRESSURE, "inHg")
    assert dial == pytest.approx(row["inHg_vacuum_at_sea_level"], abs=5.1e-4)
    # 0.1 %: the temperature is printed to 0.01 K, which is 0.06 % of the pressure of warm water, 0.11 % of cold ice
    kelvin = parse(f"{row['degC']} degC", Dimension.TEMPERATURE).value
    assert boiling_pressure(kelvin) == pytest.approx(pressure, rel=1.2e-3)


@pytest.mark.parametrize("row", VACUUM["army_table"], ids=lambda row: f"{row['degF']}F")
def test_boiling_under_vacuum_as_a_service_manual_prints_it(row):
    kelvin = parse(f"{row['degF']} degF", Dimension.TEMPERATURE).value
    pressure = boiling_pressure(kelvin)
    # 0.06 inHg: printed to 0.1 or 0.5 inHg; agreement reached is 0.05
    vacuum = to_unit(STANDARD_ATMOSPHERE - pressure, Dimension.PRESSURE, "inHg")
    assert vacuum == pytest.approx(row["printed_inHg_vacuum"], abs=0.06)
    assert vacuum == pytest.approx(row["computed_inHg_vacuum"], abs=0.006)  # half a last printed digit
    # and the dial says the same in words
    assert show_gauge(pressure, STANDARD_ATMOSPHERE, UnitSet.US, 2) == f"{vacuum:.2f} inHg vac"


# -- the engine's own equations for water and ice ---------------------------------------------------------------------


@pytest.mark.parametrize("row", [row for row in WATER["rows"] if row["degC"] >= 5], ids=lambda row: f"{row['degC']}C")
def test_vapour_pressure_of_water(row):
    # 0.01 %: the equation of 1993 and the two formulations of the table differ by that much
    assert float(water.saturation_pressure(row["degC"] + 273.15)) == pytest.approx(row["IAPWS95_Pa"], rel=1e-4)


@pytest.mark.parametrize("celsius", [-0.5, -5.0, -20.0, -24.48, -40.0, -60.0, -80.0])
def test_vapour_pressure_of_ice(celsius):
    # the same equation (IAPWS R14-08) in an independent library, which answers in MPa
    other = _Sublimation_Pressure(celsius + 273.15) * 1e6
    assert float(water.saturation_pressure(celsius + 273.15)) == pytest.approx(other, rel=1e-9)


@pytest.mark.parametrize("row", VACUUM["rows"], ids=lambda row: f"{row['microns']}um")
def test_temperature_at_which_water_boils_or_ice_evaporates(row):
    found = float(water.saturation_temperature(row["Pa"])) - 273.15
    assert found == pytest.approx(row["degC"], abs=0.011)  # the table is printed to 0.01 K


def test_water_there_and_back_and_nothing_beyond_the_ends():
    kelvin = np.linspace(191.0, 470.0, 400)
    back = water.saturation_temperature(water.saturation_pressure(kelvin))
    assert back == pytest.approx(kelvin, abs=1e-3)
    quick = water.quick_saturation_pressure(kelvin)
    assert quick == pytest.approx(water.saturation_pressure(kelvin), rel=1e-5)
    assert np.isnan(water.saturation_pressure([150.0, 500.0])).all()
    assert np.isnan(water.saturation_temperature([-1.0, 0.0, 1e9])).all()
