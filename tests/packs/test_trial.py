"""Cases are run: what comes is compared with what was expected, and a failure says why."""

from __future__ import annotations

import pytest

from small_pack import in_place_of_the_built_in, program
from twogauge.packs.casefiles import read_pack_cases
from twogauge.packs.trial import check_cases, run

HEADER = "pack: shop\nbuilds_on: {automotive: 2}\n"


def case(reading, expect, ident="a"):
    return f"- id: {ident}\n  reading: {{{reading}}}\n  expect: {{{expect}}}\n  note: So it is.\n"


@pytest.fixture
def failures(tmp_path):
    def of(reading, expect):
        (tmp_path / "cases").mkdir(exist_ok=True)
        (tmp_path / "cases" / "one.yaml").write_text(case(reading, expect), "utf-8")
        return check_cases(read_pack_cases([("shop", tmp_path)], program()), program())

    return of


LEAK = "low_side: low, high_side: low, oily_spots: yes"  # thirsty, far ahead of normal and the others


@pytest.mark.parametrize(
    ("expect", "broken"),
    [
        ("first: thirsty", "first: smothered"),
        ("first: [smothered, thirsty]", "first: [smothered, hissing]"),
        ("not_first: [smothered, normal]", "not_first: [smothered, thirsty]"),
        ("within_three: [thirsty, hissing]", "within_three: [thirsty, smothered]"),
        ("not_within_three: smothered", "not_within_three: hissing"),
        ("not_within_three: smothered", "not_within_three: normal"),
        ("verdict: fault", "verdict: [normal, too_close]"),
        ("at_least: {thirsty: 60 %}", "at_least: {thirsty: 99.99 %}"),
        ("at_most: {normal: 1 %}", "at_most: {thirsty: 60 %}"),
        ("fires: [low_side_low, oil_at_fittings]", "fires: [low_side_low, high_side_high]"),
        ("silent: [high_side_high, paper_falls]", "silent: [high_side_high, low_side_low]"),
        ("silent: too_cold", "fires: too_cold"),
        ("speaks_for: thirsty", "speaks_for: [thirsty, hissing]"),
        ("speaks_against: [normal, smothered]", "speaks_against: [normal, thirsty]"),
        ("favours: {thirsty: [normal, hissing]}", "favours: {hissing: [normal, thirsty]}"),
        ("speaks_for: thirsty, topic: leak_signs", "speaks_against: normal, topic: leak_signs"),
        ("favours: {hissing: smothered}, topic: low_side_level", "favours: {hissing: smothered}, topic: leak_signs"),
    ],
)
def test_each_expectation_holds_or_fails(failures, expect, broken):
    assert failures(LEAK, expect) == []
    (failure,) = failures(LEAK, broken)
    assert failure.expectation.key in broken
    assert failure.case.id == "a"


def test_a_reading_behind_a_gate_can_be_expected_to_be_gated(failures):
    assert failures("low_side: low, ambient: 0 degC", "verdict: gated, fires: too_cold, silent: low_side_low") != []
    assert failures("ambient: 0 degC", "verdict: gated, fires: too_cold") == []


def test_little_evidence_speaks_for_nothing(failures):
    """high_side_high counts against smothered where it fails; a half-true condition counts less than half a deciban."""
    nearly = "refrigerant: R134a, high_side: 262 psi, ambient: 90 degF"
    (failure,) = failures(nearly, "speaks_for: smothered, topic: leak_signs")
    assert "(+0.0 dB)" in failure.came


@pytest.mark.parametrize(
    ("expect", "said"),
    [
        (
            "first: smothered",
            "smothered was to come first; thirsty does with 100 %, and smothered is number 4 with 0.",
        ),
        ("not_first: thirsty", "thirsty was not to come first; it does with 100 %"),
        ("within_three: smothered", "smothered was to be among the first three; smothered is number 4 with 0."),
        ("verdict: [normal, gated]", "the verdict was to be normal or gated; it is fault"),
        ("at_most: {thirsty: 60 %}", "thirsty was to have at most 60 %; it has 100 %"),
        ("fires: high_side_high", "high_side_high was to hold; its degree is 0.0"),
        ("fires: paper_falls", "its degree is none: an input is missing, or it is for other systems"),
        ("silent: low_side_low", "low_side_low was not to hold; its degree is 0.9"),
        ("speaks_for: smothered", "the evidence was to speak for smothered (-15.3 dB)"),
        ("favours: {hissing: thirsty}", "the evidence was to favour hissing (+0.0 dB) over thirsty (+"),
        ("speaks_for: normal, topic: leak_signs", "the evidence of leak_signs was to speak for normal (+0.0 dB)"),
    ],
)
def test_a_failure_says_what_was_expected_and_what_came(failures, expect, said):
    (failure,) = failures(LEAK, expect)
    assert said in failure.came


def test_a_failure_carries_the_ledgers_of_both_sides(failures):
    (failure,) = failures(LEAK, "first: smothered")
    assert [ranked.fault for ranked in failure.ranked] == ["smothered", "thirsty"]
    smothered, thirsty = failure.ranked
    assert {r.rule for r in smothered.reasons if r.weight < 0} >= {"low_side_low", "high_side_low"}
    assert {r.rule for r in thirsty.reasons if r.weight > 0} >= {"low_side_low", "oil_at_fittings"}


def test_a_rule_that_was_to_hold_is_told_with_its_conditions(failures):
    (failure,) = failures("refrigerant: R134a, high_side: 150 psi", "fires: high_side_far_above_air")
    assert failure.ranked == ()
    assert [name for name, _ in failure.conditions] == ["condensing_over_ambient"]


# -- packs ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path):
    def write(rules, cases=""):
        (tmp_path / "rules.yaml").write_text(HEADER + rules, "utf-8")
        if cases:
            (tmp_path / "cases").mkdir()
            (tmp_path / "cases" / "shop.yaml").write_text(cases, "utf-8")
        return tmp_path

    return write


@pytest.fixture
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def beneath(monkeypatch, tmp_path_factory):
    """The small packs, with a case of their own."""
    import shutil

    import small_pack

    folder = tmp_path_factory.mktemp("small") / "rules"
    shutil.copytree(small_pack.FOLDER, folder)
    (folder / "common" / "cases").mkdir()
    (folder / "common" / "cases" / "leak.yaml").write_text(
        case(LEAK, "first: thirsty, fires: oil_at_fittings", "leak")
    )
    monkeypatch.setattr(small_pack, "FOLDER", folder)
    with in_place_of_the_built_in():
        yield folder


ADJUST = "adjust:\n  %s:\n    note: We know better.\n    says: {%s}\n"


@pytest.mark.usefixtures("beneath")
def test_the_built_in_packs_are_tested_where_none_is_named():
    trial = run()
    assert trial.tested == {"common", "automotive"}
    assert [c.id for c in trial.cases] == ["leak"]
    assert trial.holds


@pytest.mark.usefixtures("beneath")
def test_a_pack_is_tested_with_its_own_cases_and_those_beneath(shop):
    trial = run([shop(ADJUST % ("oil_at_fittings", "thirsty: for"), case(LEAK, "first: thirsty"))])
    assert trial.tested == {"shop"}
    assert [(c.pack, c.id) for c in trial.cases] == [("common", "leak"), ("shop", "a")]
    assert trial.holds
    assert trial.moved == ()


@pytest.mark.usefixtures("beneath")
def test_what_a_shop_moves_beneath_is_told_and_no_failure(shop):
    trial = run([shop("disable:\n  oil_at_fittings:\n    note: We spill oil.\n")])
    assert trial.holds
    assert trial.failures == ()
    (moved,) = trial.moved
    assert moved.case.id == "leak"
    assert "it is disabled by shop" in moved.came
    assert trial.sound_cases == ()


def test_a_case_beneath_that_fails_by_itself_stays_a_failure(beneath, shop):
    path = beneath / "common" / "cases" / "leak.yaml"
    path.write_text(path.read_text().replace("first: thirsty", "first: hissing"))
    trial = run([shop("disable:\n  paper_falls:\n    note: No paper.\n")])
    assert not trial.holds
    assert [f.case.id for f in trial.failures] == ["leak"]
    assert trial.moved == ()


@pytest.mark.usefixtures("small")
def test_a_case_of_the_shops_own_that_fails_is_a_failure(shop):
    trial = run([shop("disable:\n  paper_falls:\n    note: No paper.\n", case(LEAK, "first: smothered"))])
    assert not trial.holds
    assert [f.case.id for f in trial.failures] == ["a"]


@pytest.mark.usefixtures("small")
def test_a_profile_fills_in_a_case_as_it_fills_in_a_reading(shop):
    profile = "profiles:\n  line_9:\n    title: Line 9\n    is: {refrigerant: R134a}\n    source: from memory\n"
    reading = "profile: line_9, high_side: 400 psi, ambient: 90 degF"
    assert run([shop(profile, case(reading, "fires: high_side_far_above_air"))]).holds


FAULT_OF_BUSES = """\
faults:
  rusty:
    title: Rust
    how_common: rare
    what_happens: It rusts.
    applies_to: {system: bus_ac}
    source: common practice
adjust:
  oil_at_fittings:
    note: Rust weeps oil.
    says: {rusty: strongly for}
"""


@pytest.mark.usefixtures("small")
def test_nothing_can_speak_for_a_fault_that_cannot_be_in_this_system(shop):
    bus = case("system: bus_ac, oily_spots: yes", "speaks_for: rusty", "bus")
    car = case("system: car_ac, oily_spots: yes", "speaks_for: rusty", "car")
    (failure,) = run([shop(FAULT_OF_BUSES, bus + car)]).failures
    assert failure.case.id == "car"
    assert failure.came == "rusty cannot be in this system, so nothing can be expected of it"
