"""Machines a shop knows: what a profile fills in, what it makes of the conditions, and where it keeps silent."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.diagnosis import diagnose
from twogauge.errors import FileProblems
from twogauge.expect import expect
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import stack_on_built_in
from twogauge.profiles import with_profile
from twogauge.quantities import PA_PER_PSI, STANDARD_ATMOSPHERE
from twogauge.reading import Reading, ReadingError

PACK = """\
pack: shop
profiles:
  van:
    title: The van
    is: {refrigerant: R-134a, system: car_ac, metering: orifice_tube}
    normal:
      - {ambient: 70 degF, high_side: [120 psi, 140 psi]}
      - {ambient: 90 degF, high_side: [180 psi, 220 psi], low_side: [25 psi, 35 psi]}
    source: our own log
  shed:
    title: The cold shed
    is: {refrigerant: R-134a, system: cooler}
    normal:
      - {ambient: 80 degF, humidity: 40 %, vent_air: [38 degF, 42 degF]}
      - {ambient: 80 degF, humidity: 80 %, vent_air: [42 degF, 50 degF]}
    source: our own log
"""


def made(folder, text=PACK):
    (folder / "pack.yaml").write_text(text, "utf-8")
    return compile_stack(stack_on_built_in([folder]))


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    return made(tmp_path_factory.mktemp("shop"))


def psi(reading, field):
    return tuple(round((end - STANDARD_ATMOSPHERE) / PA_PER_PSI, 6) for end in reading.parts.spec[field])


def test_it_fills_in_what_the_machine_is_and_what_is_normal_today(program):
    reading = with_profile(Reading(profile="van", ambient="80 degF", high_side="160 psi"), program)
    assert reading.parts.words["refrigerant"] == "R134a"
    assert reading.parts.words["metering"] == "orifice_tube"
    assert psi(reading, "high_side") == (150, 180)
    assert psi(reading, "low_side") == (25, 35)  # told at one temperature only


def test_what_the_reading_says_itself_wins(program):
    told = Reading(profile="van", ambient="80 degF", metering="capillary", spec={"high_side": ["1 psi", "2 psi"]})
    reading = with_profile(told, program)
    assert reading.parts.words["metering"] == "capillary"
    assert psi(reading, "high_side") == (1, 2)


@pytest.mark.parametrize(
    ("ambient", "known"), [("66 degF", True), ("60 degF", False), ("95 degF", True), ("99 degF", False)]
)
def test_beyond_its_rows_it_says_so_and_extrapolates_nothing(program, ambient, known):
    reading = with_profile(Reading(profile="van", ambient=ambient), program)
    assert ("high_side" in reading.parts.spec) is known
    assert any("the profile knows" in note for note in reading.parts.notes) is not known
    if known:
        assert psi(reading, "high_side") in {(120, 140), (180, 220)}


def test_a_profile_and_a_baseline_go_together_also_where_the_baseline_is_a_file(program, tmp_path):
    (tmp_path / "good.yaml").write_text("high_side: 170 psi\nambient: 80 degF\n")
    told = {"profile": "van", "ambient": "90 degF", "baseline": "good.yaml"}
    reading = with_profile(Reading(told, folder=tmp_path), program)
    assert reading.parts.words["metering"] == "orifice_tube"
    assert reading.baseline.parts.words["refrigerant"] == "R134a"  # which only the profile tells


def test_without_the_ambient_it_says_what_is_missing(program):
    reading = with_profile(Reading(profile="van", high_side="150 psi"), program)
    assert not reading.parts.spec
    assert any("need the ambient temperature" in note for note in reading.parts.notes)


@pytest.mark.parametrize(
    ("told", "wanted"),
    [
        ({"humidity": "40 %"}, (38, 42)),
        ({"humidity": "60 %"}, (40, 46)),
        ({"humidity": "95 %"}, (42, 50)),
        ({}, (38, 50)),
    ],
)
def test_humidity_moves_it_and_unknown_humidity_widens_it(program, told, wanted):
    reading = with_profile(Reading(profile="shed", ambient="80 degF", **told), program)
    low, high = reading.parts.spec["vent_air"]
    assert (low * 1.8 - 459.67, high * 1.8 - 459.67) == pytest.approx(wanted)


def test_a_gauge_pressure_of_the_profile_counts_from_the_air_of_the_day(program):
    high = with_profile(Reading(profile="van", ambient="90 degF", altitude="5000 ft"), program)
    low = with_profile(Reading(profile="van", ambient="90 degF"), program)
    drop = low.parts.spec["high_side"][0] - high.parts.spec["high_side"][0]
    assert drop == pytest.approx(low.parts.barometer - high.parts.barometer)


def test_an_unknown_profile_is_a_sentence(program):
    with pytest.raises(ReadingError, match="profile: 'vann' is in no pack in force; did you mean 'van'"):
        diagnose(Reading(profile="vann", high_side="150 psi"), program=program)


def test_it_sharpens_the_diagnosis(program):
    told = {"ambient": "80 degF", "low_side": "29 psi", "high_side": "225 psi"}
    usual = diagnose(Reading(told, refrigerant="R134a", metering="orifice_tube"), program=program)
    ours = diagnose(Reading(told, profile="van"), program=program)
    assert usual.verdict == "normal"
    assert ours.verdict != "normal"
    assert {s.name: s.judged_by for s in ours.derived}["high_side"] == "spec"


def test_a_reading_without_a_profile_is_left_alone(program):
    reading = Reading(high_side="150 psi")
    assert with_profile(reading, program) is reading


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("metering: orifice_tube", "metering: orifice_tubes", "did you mean 'orifice_tube'?"),
        ("metering: orifice_tube", "low_side: 3 psi", "'low_side' does not describe a machine"),
        ("high_side: [120 psi, 140 psi]", "high_sid: [120 psi, 140 psi]", "did you mean 'high_side'?"),
        ("high_side: [120 psi, 140 psi]", "high_side: [150 psi, 140 psi]", "the first end must be the lower one"),
        (", high_side: [120 psi, 140 psi]", "", "a row needs at least one range"),
        ("ambient: 70 degF", "ambient: 70 psi", "is a pressure, but a temperature belongs here"),
        ("title: The van", "titel: The van", "'titel' is not a key here; did you mean 'title'?"),
    ],
)
def test_mistakes_are_told_with_their_place(tmp_path, old, new, message):
    assert old in PACK
    with pytest.raises(FileProblems) as caught:
        made(tmp_path, PACK.replace(old, new, 1))
    assert message in str(caught.value)
    assert all(str(p.place).startswith(f"{tmp_path}/pack.yaml:") for p in caught.value.problems)


# -- what is normal today ------------------------------------------------------------------------------------------


def by_name(reading, program):
    found = expect(reading, program)
    return {each.name: each for each in found.expected}, dict(found.unknown)


def test_expectation_and_diagnosis_use_the_same_bands(program):
    told = {"refrigerant": "R134a", "ambient": "95 degF", "humidity": "60 %"}
    expected, _ = by_name(Reading(told), program)
    measured = diagnose(Reading(told, low_side="30 psi", high_side="210 psi", vent_air="50 degF"), program=program)
    for shown in measured.derived:
        if shown.normal is not None:
            each = expected[shown.name]
            assert (each.low, each.high) == pytest.approx(shown.normal)
            assert each.by == shown.judged_by


def test_the_narrowest_yardstick_is_told_with_its_source(program):
    usual, _ = by_name(Reading(refrigerant="R134a", ambient="90 degF"), program)
    profile, _ = by_name(Reading(profile="van", ambient="90 degF"), program)
    earlier = {"refrigerant": "R134a", "ambient": "80 degF", "high_side": "170 psi"}
    baseline, _ = by_name(Reading(refrigerant="R134a", ambient="90 degF", baseline=earlier), program)
    assert [usual["high_side"].by, profile["high_side"].by, baseline["high_side"].by] == ["usual", "spec", "baseline"]
    assert profile["high_side"].source == "profile van"
    assert usual["high_side"].source
    width = {k: v["high_side"].high - v["high_side"].low for k, v in (("u", usual), ("b", baseline))}
    assert width["b"] < width["u"]


def test_what_cannot_be_told_has_a_reason(program):
    _, unknown = by_name(Reading(refrigerant="R134a"), program)
    assert "ambient" in unknown["high_side"]
    _, unknown = by_name(Reading(ambient="90 degF"), program)
    assert "refrigerant" in unknown["low_side"]


def test_a_needle_that_swings_by_design_has_two_ends(program):
    told = {"refrigerant": "R134a", "ambient": "90 degF", "metering": "orifice_tube"}
    assert by_name(Reading(told), program)[0]["low_side"].swing is None
    swing = by_name(Reading(told, compressor_control="clutch_cycling"), program)[0]["low_side"].swing
    (a, b), (c, d) = swing
    assert a < b < c < d


@given(st.floats(15, 45), st.floats(0, 100), st.sampled_from(["car_ac", "bus_ac", "packaged_ac", "cooler"]))
def test_bands_are_bands_in_any_weather(program, ambient, humidity, system):
    reading = Reading(refrigerant="R134a", ambient=f"{ambient} degC", humidity=f"{humidity} %", system=system)
    for each in expect(reading, program).expected:
        assert each.low < each.high, each.name
        assert each.source


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("charge: 0 kg", "cannot be right"),
        ("charge: 4.6", "needs its unit"),
        ("charge: 4 psi", "a weight belongs here"),
        ("drive: steam", "'belt' or 'electric'"),
        ("low_port: boot", "'accumulator', 'suction_line' or 'compressor'"),
    ],
)
def test_what_a_profile_says_of_the_charge_is_checked(tmp_path, line, said):
    with pytest.raises(FileProblems) as found:
        made(
            tmp_path,
            PACK.replace("    normal:\n      - {ambient: 70", f"    {line}\n    normal:\n      - {{ambient: 70"),
        )
    assert said in str(found.value)
    assert "pack.yaml:6:" in str(found.value)
