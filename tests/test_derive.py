"""Derived quantities on readings worked by hand, their uncertainty, and what counts as normal for each."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge import refrigerants
from twogauge.columns import Words, from_arrays
from twogauge.diagnosis import columns_of, program_for
from twogauge.levels import JUDGED_BY, LEVELS, judge
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.work import Absent, Derived, Judged, Work

PSI = 6894.757293168
AIR = 101_325.0
R134A = refrigerants.get("R134a")


def band(level, normal, *, edge="2 K", baseline="3 K", applies_to=None):
    entry = {"level": level, "normal": normal, "edge": edge, "baseline": baseline, "source": "from memory"}
    return entry | ({"applies_to": applies_to} if applies_to else {})


def bands_of(**entries):
    """The bands of a pack that has these."""
    pack = {
        "pack": "of_bands",
        "faults": {"normal": mine.fault_entry("common", nothing_wrong="yes")},
        "bands": entries,
    }
    return mine.compiled(pack).bands


BANDS = bands_of(
    low_any=band("low_side_level", ["-10 degC", "10 degC"]),
    high_any=band("high_side_level", ["10 K", "30 K"], edge="4 K", baseline="5 K"),
    superheat_any=band("superheat_level", ["2 K", "14 K"]),
    vent_any=band("vent_level", ["2 degC", "12 degC"]),
)


def work(bands=(), **fields):
    return Work(columns_of([Reading(fields)]), QUANTITIES, bands)


def value(name, **fields):
    found = work(**fields).number(name)
    assert isinstance(found, Derived), found
    return float(found.value[0])


def uncertainty(name, **fields):
    return float(work(**fields).number(name).u[0])


def why_absent(name, **fields):
    found = work(**fields).get(name)
    assert isinstance(found, Absent), found
    return found


# -- values -------------------------------------------------------------------------------------------------------

# A running car: 35 psi is 342641.5 Pa and 210 psi is 1549224.0 Pa absolute at sea level.
CAR = {"refrigerant": "R134a", "low_side": "35 psi", "high_side": "210 psi", "ambient": "90 degF"}
LOW, HIGH, AMBIENT = 342_641.505, 1_549_224.032, 305.37222


def test_saturation_temperatures_are_the_curves_at_the_absolute_pressure():
    assert value("suction_saturation", **CAR) == pytest.approx(float(R134A.saturation_temperature(LOW)), abs=1e-4)
    assert value("condensing_saturation", **CAR) == pytest.approx(float(R134A.saturation_temperature(HIGH)), abs=1e-4)
    # As every pressure-temperature card has it: 35 psi is about 40 degF, 210 psi about 134 degF.
    assert value("suction_saturation", **CAR) == pytest.approx(277.6, abs=0.4)
    assert value("condensing_saturation", **CAR) == pytest.approx(329.8, abs=0.5)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("low_side", LOW),
        ("high_side", HIGH),
        ("ambient", AMBIENT),
        ("condensing_over_ambient", float(R134A.saturation_temperature(HIGH)) - AMBIENT),
        ("suction_below_ambient", AMBIENT - float(R134A.saturation_temperature(LOW))),
        ("pressure_ratio", HIGH / LOW),
        ("pressure_difference", 175 * PSI),
        ("low_side_above_air", 35 * PSI),
    ],
)
def test_two_gauges_and_a_thermometer_give(name, expected):
    assert value(name, **CAR) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "expected", "fields"),
    [
        # 35 psi saturates at t; the suction line is at 50 degF = 283.15 K.
        ("superheat", 283.15 - float(R134A.saturation_temperature(LOW)), {"suction_line": "50 degF"}),
        ("subcooling", float(R134A.saturation_temperature(HIGH)) - 318.15, {"liquid_line": "45 degC"}),
        ("liquid_over_ambient", 318.15 - AMBIENT, {"liquid_line": "45 degC"}),
        ("discharge_superheat", 358.15 - float(R134A.saturation_temperature(HIGH)), {"discharge_line": "85 degC"}),
        ("vent_below_ambient", AMBIENT - 281.15, {"vent_air": "8 degC"}),
        ("vent_over_suction", 281.15 - float(R134A.saturation_temperature(LOW)), {"vent_air": "8 degC"}),
        ("evaporator_air_drop", 17.0, {"return_air": "25 degC", "vent_air": "8 degC"}),
        ("suction_below_return_air", 298.15 - float(R134A.saturation_temperature(LOW)), {"return_air": "25 degC"}),
        ("condenser_air_rise", 318.15 - AMBIENT, {"condenser_air_out": "45 degC"}),
        ("cycle_time", 50.0, {"seconds_on": "20 s", "seconds_off": "0.5 min"}),
    ],
)
def test_one_more_measurement_gives(name, expected, fields):
    assert value(name, **CAR, **fields) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("name", ["superheat", "subcooling", "condenser_air_rise", "evaporator_air_drop"])
def test_what_an_instrument_tells_comes_before_what_can_be_computed(name):
    others = {
        "suction_line": "50 degF",
        "liquid_line": "45 degC",
        "condenser_air_out": "45 degC",
        "return_air": "25 C",
    }
    assert value(name, **CAR, vent_air="8 degC", **others, **{name: "9.5 K"}) == 9.5
    assert value(name, **CAR, vent_air="8 degC", **others) != 9.5


def test_a_blend_has_superheat_from_the_dew_and_subcooling_from_the_bubble_curve():
    fields = {"refrigerant": "R407C", "low_side": "4 bar", "high_side": "18 bar"}
    fields |= {"suction_line": "10 degC", "liquid_line": "35 degC", "ambient": "30 degC"}
    blend = refrigerants.get("R407C")
    dew, bubble = (
        float(blend.saturation_temperature(p, phase)) for p, phase in ((501_325.0, "dew"), (1_901_325.0, "bubble"))
    )
    assert value("superheat", **fields) == pytest.approx(283.15 - dew, abs=1e-6)
    assert value("subcooling", **fields) == pytest.approx(bubble - 308.15, abs=1e-6)
    # The other curve would be several kelvin off: R-407C glides.
    assert dew - float(blend.saturation_temperature(501_325.0, "bubble")) > 4.0
    assert value("condensing_saturation", **fields) == pytest.approx(
        float(blend.saturation_temperature(1_901_325.0, "dew")), abs=1e-6
    )


def test_with_fresh_air_the_evaporator_breathes_the_ambient():
    assert value("evaporator_air_drop", ambient="32 degC", vent_air="8 degC", air_intake="outside") == pytest.approx(
        24
    )
    fields = {"ambient": "32 degC", "vent_air": "8 degC"}
    assert why_absent("evaporator_air_drop", **fields, air_intake="recirculated").needs == ("return_air",)
    assert why_absent("evaporator_air_drop", **fields).needs == ("return_air",)
    measured = {"return_air": "28 degC", "air_intake": "outside"}
    assert value("evaporator_air_drop", **fields, **measured) == pytest.approx(20.0)


def test_static_pressure_is_judged_with_the_compressor_stopped_only():
    # R-134a at 25 degC holds 665.4 kPa absolute; with the air at 22 degC that is 3 K over ambient.
    pressure = f"{float(R134A.saturation_pressure(298.15)) - AIR} Pa"
    for side in ("low_side", "high_side"):
        fields = {"refrigerant": "R134a", side: pressure, "ambient": "22 degC"}
        assert value("static_over_ambient", **fields, compressor="off") == pytest.approx(3.0, abs=1e-3)
        assert why_absent("static_over_ambient", **fields, compressor="running").needs == ("compressor",)
        assert why_absent("static_over_ambient", **fields).needs == ("compressor",)


def test_a_swing_is_its_width_and_stands_at_its_middle():
    fields = {"refrigerant": "R134a", "low_side": "22 to 45 psi"}
    assert value("low_side_swing", **fields) == pytest.approx(23 * PSI)
    assert value("low_side", **fields) == pytest.approx(33.5 * PSI + AIR)
    assert value("high_side_swing", high_side="150 to 250 psi") == pytest.approx(100 * PSI)
    assert why_absent("low_side_swing", low_side="30 psi").needs == ("low_side",)


@pytest.mark.parametrize("side", ["low_side", "high_side"])
def test_both_sides_told_equal_are_a_ratio_of_one(side):
    assert value("pressure_ratio", **{side: "equal"}) == 1.0
    assert isinstance(work(**{side: "low"}).get("pressure_ratio"), Absent)


def test_a_vacuum_in_words_lies_below_the_air():
    assert -AIR < value("low_side_above_air", low_side="vacuum") < -20e3
    assert value("low_side_above_air", low_side="10 inHg vac") == pytest.approx(-33_863.9, abs=0.1)


def test_a_ratio_over_a_dead_vacuum_is_large_and_finite():
    assert 1e3 < value("pressure_ratio", low_side="29.92 inHg vac", high_side="100 psi") < 1e5


# -- what is missing says why ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "left_out", "needs"),
    [
        ("suction_saturation", "low_side", ("low_side",)),
        ("suction_saturation", "refrigerant", ("refrigerant",)),
        ("condensing_over_ambient", "ambient", ("ambient",)),
        ("condensing_over_ambient", "high_side", ("high_side",)),
        ("pressure_ratio", "high_side", ("high_side",)),
        ("superheat", "nothing", ("suction_line",)),
        ("subcooling", "nothing", ("liquid_line",)),
        ("vent_below_ambient", "nothing", ("vent_air",)),
        ("condenser_air_rise", "nothing", ("condenser_air_out",)),
        ("cycle_time", "nothing", ("seconds_on",)),
        ("metering", "nothing", ("metering",)),
    ],
)
def test_what_cannot_be_computed_names_what_would_help(name, left_out, needs):
    found = why_absent(name, **{k: v for k, v in CAR.items() if k != left_out})
    assert found.needs == needs
    assert needs[0] in found.reason or needs[0].replace("_", " ") in found.reason


def test_a_word_is_no_number_and_says_so():
    assert (
        why_absent("suction_saturation", refrigerant="R134a", low_side="low").reason == "low_side was told in words"
    )


@pytest.mark.parametrize(
    ("refrigerant", "side", "pressure", "words"),
    [
        ("R744", "high_side", "95 bar", "above the critical point"),
        ("R744", "high_side", "71 bar", "too close to the critical point"),
        ("R123", "low_side", "29.9 inHg vac", "below the range"),
    ],
)
def test_a_pressure_without_saturation_says_why(refrigerant, side, pressure, words):
    name = "condensing_saturation" if side == "high_side" else "suction_saturation"
    found = why_absent(name, refrigerant=refrigerant, **{side: pressure})
    assert words in found.reason
    assert refrigerants.get(refrigerant).title in found.reason


# -- uncertainty --------------------------------------------------------------------------------------------------


def test_a_gauges_permitted_error_and_the_guessed_air_make_the_uncertainty_of_a_pressure():
    # Class 1.6 of 10 bar is 16 kPa, rectangular: 9.2376 kPa; sea level assumed: 2 kPa.
    assert uncertainty("low_side", low_side="35 psi") == pytest.approx(math.hypot(16e3 / math.sqrt(3), 2e3))
    # Class 1.6 of 35 bar; a barometer was read: 0.2 kPa.
    high = {"high_side": "210 psi", "barometer": "1000 hPa"}
    assert uncertainty("high_side", **high) == pytest.approx(math.hypot(56e3 / math.sqrt(3), 200.0))
    exact = {"low_side": "35 psi", "altitude": "0 m", "low_gauge_accuracy": "0 psi"}
    assert uncertainty("low_side", **exact) == pytest.approx(1e3)
    assert uncertainty("ambient", ambient="90 degF") == pytest.approx(1.5 / math.sqrt(3))
    assert uncertainty("ambient", ambient="90 degF", thermometer_accuracy="3.6 degF") == pytest.approx(
        2 / math.sqrt(3)
    )


@pytest.mark.parametrize(
    "name", ["suction_saturation", "superheat", "subcooling", "condensing_over_ambient", "pressure_ratio"]
)
def test_uncertainty_is_what_many_readings_with_such_instruments_scatter_by(name):
    """First order against 40000 draws of a seeded generator; the low gauge errs for both uses of its pressure."""
    fields = CAR | {"suction_line": "50 degF", "liquid_line": "45 degC", "barometer": "101.325 kPa"}
    random = np.random.default_rng(20)
    n = 40_000

    def off(limit):
        return random.uniform(-limit, limit, n)

    air = random.normal(0.0, 200.0, n)
    low, high = LOW + off(16e3) + air, HIGH + off(56e3) + air
    ambient, suction, liquid = AMBIENT + off(1.5), 283.15 + off(1.5), 318.15 + off(1.5)
    drawn = {
        "suction_saturation": R134A.saturation_temperature(low),
        "superheat": suction - R134A.saturation_temperature(low),
        "subcooling": R134A.saturation_temperature(high) - liquid,
        "condensing_over_ambient": R134A.saturation_temperature(high) - ambient,
        "pressure_ratio": high / low,
    }[name]
    assert uncertainty(name, **fields) == pytest.approx(float(drawn.std()), rel=0.03)


@given(mine.told())
def test_uncertainty_is_never_negative_and_stands_wherever_a_value_does(told):
    found = Work(columns_of([told.reading()]), QUANTITIES, program_for().bands)
    for name in QUANTITIES:
        what = found.get(name)
        if isinstance(what, Derived) and not math.isnan(what.value[0]):
            assert 0.0 <= what.u[0] < math.inf, name


# -- levels: against what is normal ------------------------------------------------------------------------------


def level(name, bands=BANDS, **fields):
    """The level, its uncertainty, what it was judged by, and the band."""
    found = judge(work(bands, **fields), name)
    assert isinstance(found, Judged), found
    by = JUDGED_BY[found.by[0]] if found.by[0] >= 0 else ""
    return float(found.level.value[0]), float(found.level.u[0]), by, (float(found.low[0]), float(found.high[0]))


def at(kelvin):
    """A low side of R-134a that saturates there."""
    return f"{float(R134A.saturation_pressure(kelvin)) - AIR:.9f} Pa"


@pytest.mark.parametrize(("celsius", "expected"), [(0.0, 0.0), (10.0, 1.0), (-10.0, -1.0), (20.0, 2.0)])
def test_against_the_usual_the_ends_of_the_band_are_one_and_minus_one(celsius, expected):
    got, _, by, ends = level("low_side_level", refrigerant="R134a", low_side=at(celsius + 273.15))
    assert (got, by) == (pytest.approx(expected, abs=1e-6), "usual")
    assert ends == pytest.approx((263.15, 283.15))


def test_the_blur_of_a_band_and_the_instrument_add_in_its_half_widths():
    fields = {"refrigerant": "R134a", "low_side": at(273.15)}
    own = uncertainty("suction_saturation", **fields)
    # `edge` is 2 K, half of it a standard deviation; the half-width of the band is 10 K.
    assert level("low_side_level", **fields)[1] == pytest.approx(math.hypot(own, 1.0) / 10.0, rel=1e-9)


@pytest.mark.parametrize(("word", "side"), [("low", -1), ("normal", 0), ("high", 1), ("vacuum", -1)])
def test_a_word_is_a_level_without_refrigerant_and_air(word, side):
    got, u, by, ends = level("low_side_level", low_side=word)
    assert by == "told"
    assert math.isnan(ends[0])
    assert np.sign(got) == side
    # Inside its third of the scale (low, normal, high meet at 1.25) with 98 in 100.
    assert abs(got) - 1.25 >= 2.05 * u if side else 1.25 - abs(got) >= 2.05 * u


def test_a_vacuum_is_lower_than_low():
    assert level("low_side_level", low_side="vacuum")[0] < level("low_side_level", low_side="low")[0]


def test_equal_says_nothing_about_how_high():
    assert isinstance(judge(work(BANDS, high_side="equal"), "high_side_level"), Absent)


def test_the_makers_range_takes_the_place_of_the_usual_and_needs_no_refrigerant():
    fields = {"high_side": "210 psi", "spec": {"high_side": ["150 psi", "200 psi"]}}
    got, u, by, ends = level("high_side_level", **fields)
    assert by == "spec"
    assert got == pytest.approx((210 - 175) / 25)
    assert ends == pytest.approx((150 * PSI + AIR, 200 * PSI + AIR))
    assert u == pytest.approx(uncertainty("high_side", high_side="210 psi") / (25 * PSI))
    assert level("high_side_level", **CAR, spec=fields["spec"])[0] == pytest.approx(got)


@pytest.mark.parametrize("name", ["superheat", "computed"])
def test_the_makers_superheat_judges_it_told_or_computed(name):
    fields = {"refrigerant": "R134a", "low_side": "35 psi", "spec": {"superheat": ["4 K", "8 K"]}}
    fields |= {"superheat": "9 K"} if name == "superheat" else {"suction_line": "55 degF"}
    computed = 285.928 - float(R134A.saturation_temperature(LOW))
    got, _, by, _ = level("superheat_level", **fields)
    assert by == "spec"
    assert got == pytest.approx(((9.0 if name == "superheat" else computed) - 6.0) / 2.0, abs=1e-3)


def test_a_known_good_reading_of_the_same_machine_narrows_what_is_normal():
    earlier = {"refrigerant": "R134a", "high_side": "180 psi", "ambient": "80 degF"}
    was = value("condensing_over_ambient", **earlier)
    got, u, by, ends = level("high_side_level", **CAR, baseline=earlier)
    assert by == "baseline"
    assert ends == pytest.approx((was - 5.0, was + 5.0))
    assert got == pytest.approx((value("condensing_over_ambient", **CAR) - was) / 5.0)
    assert u == pytest.approx(uncertainty("condensing_over_ambient", **CAR) / 5.0)


def test_the_narrowest_yardstick_wins():
    """A word in the reading over the maker's range over a baseline over the usual."""
    everything = CAR | {"spec": {"high_side": ["150 psi", "200 psi"]}, "baseline": CAR}
    assert level("high_side_level", **everything | {"high_side": "high"})[2] == "told"
    assert level("high_side_level", **everything)[2] == "spec"
    assert level("high_side_level", **CAR, baseline=CAR)[2] == "baseline"
    assert level("high_side_level", **CAR)[2] == "usual"


def test_of_two_bands_that_apply_the_more_particular_counts():
    both = bands_of(
        zz_any=band("superheat_level", ["0 K", "20 K"]),
        aa_valve=band("superheat_level", ["4 K", "8 K"], applies_to={"metering": "expansion_valve"}),
    )
    assert level("superheat_level", both, superheat="8 K", metering="expansion_valve")[0] == pytest.approx(1.0)
    assert level("superheat_level", both, superheat="8 K", metering="orifice_tube")[0] == pytest.approx(-0.2)
    assert level("superheat_level", both, superheat="8 K")[0] == pytest.approx(-0.2)


def test_without_any_yardstick_there_is_no_level():
    only_valve = bands_of(valve=band("superheat_level", ["4 K", "8 K"], applies_to={"metering": "expansion_valve"}))
    found = judge(work(only_valve, superheat="8 K"), "superheat_level")
    assert isinstance(found, Absent)
    assert found.needs == ("spec",)
    assert judge(work(BANDS, refrigerant="R134a", high_side="200 psi"), "high_side_level").needs == ("ambient",)


def test_rules_may_ask_what_a_level_was_measured_against():
    found = work(BANDS, **CAR).get("high_side_level_by")
    assert isinstance(found, Words)
    assert found.is_one_of(["usual"])[0]
    assert work(BANDS, high_side="low").get("high_side_level_by").is_one_of(["told"])[0]


@given(st.sampled_from(sorted(LEVELS)), mine.told())
def test_every_level_of_any_reading_is_finite_or_not_there(name, told):
    found = judge(Work(columns_of([told.reading()]), QUANTITIES, program_for().bands), name)
    if isinstance(found, Judged):
        assert math.isfinite(found.level.value[0])
        assert math.isfinite(found.level.u[0])
        assert found.by[0] >= 0
    else:
        assert found.reason
        beyond = "critical" in found.reason or "curve" in found.reason  # measured, and no other input would help
        assert bool(found.needs) != beyond


# -- side by side -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "one", "other"),
    [
        (
            "evaporator_air_drop",
            {"ambient": "32 degC", "vent_air": "8 degC", "air_intake": "outside"},
            {"return_air": "25 degC", "vent_air": "8 degC"},
        ),
        (
            "evaporator_air_drop",
            {"ambient": "32 degC", "vent_air": "8 degC", "air_intake": "outside"},
            {"ambient": "32 degC", "vent_air": "8 degC", "air_intake": "recirculated"},
        ),
        (
            "static_over_ambient",
            {"refrigerant": "R134a", "low_side": "80 psi", "ambient": "75 degF", "compressor": "off"},
            {"refrigerant": "R134a", "high_side": "90 psi", "ambient": "75 degF", "compressor": "off"},
        ),
        (
            "superheat_level",
            {
                "refrigerant": "R134a",
                "low_side": "35 psi",
                "suction_line": "55 F",
                "spec": {"superheat": ["4 K", "8 K"]},
            },
            {"superheat": "9 K"},
        ),
        (
            "superheat",
            {"superheat": "9 K"},
            {"refrigerant": "R134a", "low_side": "35 psi", "suction_line": "55 degF"},
        ),
        ("high_side_level", CAR, {"high_side": "high"}),
        ("high_side_level", CAR, {"high_side": "210 psi", "spec": {"high_side": ["150 psi", "200 psi"]}}),
        ("suction_saturation", CAR, {"refrigerant": "R22", "low_side": "60 psi"}),
        ("pressure_ratio", CAR, {"low_side": "equal"}),
        ("low_side_swing", CAR, {"low_side": "22 to 45 psi"}),
    ],
)
def test_what_a_reading_gives_does_not_depend_on_its_neighbour(name, one, other):
    alone = [Work(columns_of([Reading(fields)]), QUANTITIES, BANDS).number(name) for fields in (one, other)]
    together = Work(columns_of([Reading(one), Reading(other)]), QUANTITIES, BANDS).number(name)
    for row, found in enumerate(alone):
        expected = (math.nan, math.nan) if isinstance(found, Absent) else (found.value[0], found.u[0])
        assert together.value[row] == pytest.approx(expected[0], rel=0, abs=0, nan_ok=True)
        if not math.isnan(expected[0]):
            assert together.u[row] == expected[1]


def test_missing_values_in_a_column_leave_holes_and_no_more():
    columns = from_arrays(
        {"low_side": [LOW, math.nan, LOW], "high_side": [HIGH, HIGH, math.nan], "ambient": [AMBIENT] * 3},
        {"refrigerant": ["R134a", "R134a", ""]},
    )
    found = Work(columns, QUANTITIES)
    assert np.isnan(found.number("suction_saturation").value).tolist() == [False, True, True]
    assert np.isnan(found.number("condensing_over_ambient").value).tolist() == [False, False, True]
    assert np.isnan(found.number("pressure_ratio").value).tolist() == [False, True, True]


def test_words_are_asked_for_with_get():
    with pytest.raises(TypeError, match="metering is made of words"):
        work(metering="capillary").number("metering")


def test_each_quantity_is_described_and_typed():
    for name, info in QUANTITIES.items():
        assert info.name == name
        assert len(info.about) > 5
        assert isinstance(info.dimension, Dimension)
        if info.words and not info.is_level:
            assert not info.watched
