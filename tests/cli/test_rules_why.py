"""`twogauge rules why`: each condition with its threshold, value and degree, what kept a rule quiet, what counted."""

from __future__ import annotations

import json
import math

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in, program
from twogauge.cli.app import app
from twogauge.diagnosis import diagnose
from twogauge.packs.why import why
from twogauge.reading import Reading

HOT = {"refrigerant": "R134a", "low_side": "30 psi", "high_side": "300 psi", "ambient": "80 degF"}

SHOP = """\
pack: our_shop
builds_on: {automotive: 2}
topic: high_side_level
rules:
  bus_high:
    title: The high side is high on a bus
    when:
      high_side_level: {is: high}
      oily_spots: {is_not: yes}
    says: {smothered: decisively for}
    because: Ours are big.
    applies_to: {system: bus_ac, metering: capillary}
    source: from memory
    examples:
      holds: [{system: bus_ac, metering: capillary, high_side: high, oily_spots: no}]
      does_not_hold: [{system: bus_ac, metering: capillary, high_side: low, oily_spots: no}]
  a_rule_against:
    title: Oil speaks against a smothered condenser
    when:
      oily_spots: {is: yes}
    says: {smothered: strongly against}
    because: It leaks.
    source: from memory
    examples:
      holds: [{oily_spots: yes}]
      does_not_hold: [{oily_spots: no}]
disable:
  high_side_low:
    note: We never see it.
gates:
  wet:
    title: It is wet
    when:
      humidity: {above: 80 %}
    silences: leak_signs
    because: Rain washes oil away.
    instead: Wait.
    source: from memory
    examples: {holds: [{humidity: 95 %}], does_not_hold: [{humidity: 20 %}]}
"""


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def shop(tmp_path):
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "pack.yaml").write_text(SHOP, "utf-8")
    return str(folder)


def run(rule, reading, *args):
    return CliRunner().invoke(app, ["rules", "why", rule, "-", *args], input=json.dumps(reading))


def printed(rule, reading, *args):
    result = run(rule, reading, *args)
    assert result.exit_code == 0, result.stderr
    # A path alone on its line is never broken.
    assert all(len(line) <= 80 for line in result.stdout.splitlines() if " " in line.strip())
    return " ".join(result.stdout.split())


def told(rule, reading, *args):
    result = run(rule, reading, "--json", *args)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_a_condition_stands_with_its_threshold_value_and_degree_in_the_readers_units():
    text = printed("high_side_far_above_air", HOT)
    found = told("high_side_far_above_air", HOT)["conditions"][0]
    assert "condensing_over_ambient above 68 degF (as written: above 38 K and soft 6 K)" in text
    assert f"It is {found['value'] * 9 / 5:.0f} \u00b1 {2 * found['u'] * 9 / 5:.0f} degF." in text.replace(".0 ", " ")
    metric = printed("high_side_far_above_air", HOT, "--units", "metric")
    assert "above 38.0 K" in metric
    assert f"{found['value']:.0f} \u00b1" in metric


@pytest.mark.parametrize(
    ("high", "state", "said"),
    [
        ("400 psi", "holds", "It holds"),
        ("150 psi", "does_not_hold", "It does not hold"),
    ],
)
def test_whether_it_holds_is_said_with_its_degree(high, state, said):
    found = told("high_side_far_above_air", {**HOT, "high_side": high})
    assert found["state"] == state
    assert (found["degree"] > 0.5) == (state == "holds")
    assert f"{said}, with a degree of {found['degree']:.2f}" in printed(
        "high_side_far_above_air", {**HOT, "high_side": high}
    )


def test_a_degree_close_to_a_half_is_no_answer():
    given = Reading({**HOT, "high_side": "257 psi"})
    found = why("high_side_far_above_air", given, program())
    assert found.degree == pytest.approx(0.5, abs=0.05)
    assert found.state == "could_be_either"


def test_a_missing_input_is_named_with_what_would_help():
    given = {name: value for name, value in HOT.items() if name != "ambient"}
    text = printed("high_side_far_above_air", given)
    assert "It cannot be judged, so it says nothing. What would help: ambient." in text
    assert "Not known:" in text
    found = told("high_side_far_above_air", given)
    assert (found["state"], found["degree"]) == ("cannot_be_judged", None)
    assert found["conditions"][0]["needs"] == ["ambient"]


def test_a_check_nobody_looked_at_is_named():
    text = printed("paper_falls", HOT)
    assert "Not known: it was not looked at; tell paper_test." in text
    assert "It is falls." in printed("paper_falls", {**HOT, "paper_test": "falls"})


def test_a_level_stands_with_the_number_and_the_range_it_comes_from():
    text = printed("high_side_high", {**HOT, "high_side": "400 psi"})
    assert "high_side_level is high" in text
    assert "It is high: condensing_over_ambient is" in text
    assert "23.4 degF to 70.2 degF is usual on machines of this kind" in text.replace(
        "23 degF to 70", "23.4 degF to 70.2"
    )
    assert "It is high." in printed("high_side_high", {"high_side": "high"})
    spec = {**HOT, "spec": {"high_side": ["150 psi", "200 psi"]}}
    assert "high_side is 300 \u00b1" in printed("high_side_high", spec)
    assert "is of the maker for this day" in printed("high_side_high", spec)


def test_what_counted_and_what_a_stronger_rule_took_over_is_told_for_each_fault():
    given = {**HOT, "high_side": "400 psi"}
    says = {each["fault"]: each for each in told("high_side_far_above_air", given)["says"]}
    weak = says["smothered"]
    assert weak["weight_db"] > 0
    assert not weak["counted"]
    assert weak["stronger"]["rule"] == "high_side_high"
    assert weak["stronger"]["weight_db"] > weak["weight_db"]
    strong = {each["fault"]: each for each in told("high_side_high", given)["says"]}
    assert strong["smothered"]["counted"]
    assert (strong["smothered"]["says_db"], strong["smothered"]["otherwise_db"]) == (10.0, -6.0)
    text = printed("high_side_far_above_air", given)
    assert "did not count: high_side_high says +10.0 dB about the same" in text


def test_what_counted_is_what_the_diagnosis_counted():
    given = Reading({**HOT, "high_side": "400 psi", "oily_spots": "yes", "paper_test": "falls"})
    ledger = {
        (r.rule, each.fault): (r.weight, r.counted)
        for each in diagnose(given, program=program()).ranking
        for r in each.reasons
    }
    mine = {
        (rule.id, say.fault): (say.weight, say.counted)
        for rule in program().rules
        for say in why(rule.id, given, program()).says
        if abs(say.weight) >= 0.05
    }
    assert mine == ledger


def test_a_rule_of_other_systems_says_what_kept_it_away(shop):
    other = {**HOT, "high_side": "400 psi", "system": "car_ac", "metering": "capillary", "oily_spots": "no"}
    text = printed("bus_high", other, "--rules", shop)
    assert "It does not apply to this system" in text
    assert "no system bus_ac; this one is car_ac" in text
    unsaid = {name: value for name, value in other.items() if name != "metering"}
    assert "the reading does not say" in printed("bus_high", unsaid, "--rules", shop)
    fits = {**other, "system": "bus_ac"}
    assert "yes system bus_ac; this one is bus_ac" in printed("bus_high", fits, "--rules", shop)
    assert told("bus_high", fits, "--rules", shop)["state"] == "holds"


def test_each_condition_has_its_own_degree_and_the_least_counts(shop):
    given = {**HOT, "high_side": "400 psi", "system": "bus_ac", "metering": "capillary", "oily_spots": "yes"}
    found = told("bus_high", given, "--rules", shop)
    degrees = {each["name"]: each["degree"] for each in found["conditions"]}
    assert degrees["oily_spots"] == 0.0
    assert degrees["high_side_level"] > 0.9
    assert (found["degree"], found["state"]) == (0.0, "does_not_hold")
    assert "oily_spots is not yes" in printed("bus_high", given, "--rules", shop)


def test_a_gate_that_keeps_it_quiet_is_named():
    cold = {**HOT, "ambient": "0 degC", "high_side": "300 psi"}
    found = told("high_side_high", cold)
    assert [(each["gate"], each["share"]) for each in found["silenced_by"]] == [
        ("too_cold", pytest.approx(1, abs=1e-3))
    ]
    assert all(abs(each["weight_db"]) < 0.05 for each in found["says"])
    text = printed("high_side_high", cold)
    assert "too_cold: Too cold to judge (degree 1.00); it takes away 100% of what this rule says" in text


def test_a_gate_that_keeps_other_topics_quiet_is_not_named(shop):
    wet = {**HOT, "humidity": "95 %", "oily_spots": "yes"}
    assert [g["gate"] for g in told("oil_at_fittings", wet, "--rules", shop)["silenced_by"]] == ["wet"]
    assert told("high_side_high", wet, "--rules", shop)["silenced_by"] == []


def test_what_took_the_place_of_a_weight_is_on_its_side(shop):
    """A rule of the same topic that counts on the other side is not what took its place."""
    given = {**HOT, "high_side": "400 psi", "oily_spots": "yes"}
    says = {each["fault"]: each for each in told("high_side_far_above_air", given, "--rules", shop)["says"]}
    against = {each["fault"]: each for each in told("a_rule_against", given, "--rules", shop)["says"]}
    assert against["smothered"]["counted"]
    assert against["smothered"]["weight_db"] < 0
    assert not says["smothered"]["counted"]
    assert says["smothered"]["stronger"]["rule"] == "high_side_high"


def test_a_gate_can_be_asked_for_too():
    text = printed("too_cold", {"ambient": "0 degC"})
    assert "ambient below 50 degF (as written: below 10 degC)" in text
    assert "100% of what is said under: condenser_air, high_side_level" in text
    assert told("too_cold", {"ambient": "25 degC"})["state"] == "does_not_hold"


def test_a_disabled_rule_says_who_took_it_out_and_where(shop):
    text = printed("high_side_low", HOT, "--rules", shop)
    assert "It is disabled by our_shop, so it says nothing: We never see it." in text
    found = told("high_side_low", HOT, "--rules", shop)
    assert (found["state"], found["disabled"]["by"], found["disabled"]["line"]) == ("disabled", "our_shop", 28)
    assert set(found) == set(told("high_side_high", HOT))


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("high_side_hihg", "did you mean 'high_side_high'"),
        ("smothered", "smothered is a fault; `twogauge rules list --fault smothered` tells"),
    ],
)
def test_what_is_no_rule_is_a_sentence(rule, said):
    result = run(rule, HOT)
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_reading_that_cannot_be_used_is_told_with_its_place():
    result = run("high_side_high", {**HOT, "paper_tset": "falls"})
    assert result.exit_code == 2
    assert result.stderr.startswith("<stdin>:1:")
    assert "did you mean 'paper_test'" in result.stderr


def test_a_file_is_read_too(tmp_path):
    file = tmp_path / "hot.yaml"
    file.write_text("\n".join(f"{name}: {value}" for name, value in HOT.items()))
    result = CliRunner().invoke(app, ["rules", "why", "high_side_high", str(file), "--json"])
    assert json.loads(result.stdout) == told("high_side_high", HOT)


def test_no_number_is_missing_without_a_null():
    text = json.dumps(told("high_side_far_above_air", {}))
    assert "NaN" not in text
    assert math.isnan(why("high_side_far_above_air", Reading({}), program()).degree)
