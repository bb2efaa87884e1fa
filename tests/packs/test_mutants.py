"""Coverage and mutants on a pack of one rule: what its examples and cases exercise, and what they would notice."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from twogauge.cli.app import app
from twogauge.packs import mutants
from twogauge.packs.coverage import cover, under_test
from twogauge.packs.mutants import KINDS, mutate
from twogauge.packs.selftest import check_examples
from twogauge.packs.trial import check_cases, run

HEAD = """\
pack: shop
builds_on: {automotive: 2}
checks:
  squeal:
    title: It squeals
    ask: Does it squeal?
    answers: {not_at_all: no, at_times: now and then, always: all the time}
    how: Listen.
    effort: glance
    source: common practice
rules:
  squeals_when_hot:
    topic: noises
    title: It squeals when hot
    applies_to: {system: [car_ac]}
    when:
      squeal: {any_of: [at_times, always]}
      superheat: {above: 20 K, soft: 2 K}
    says:
      thirsty: strongly for
      smothered: against
    otherwise:
      thirsty: slightly against
    because: It does.
    source: common practice
    examples:
"""
POOR = """\
      holds:
        - {squeal: always, superheat: 60 K}
      does_not_hold:
        - {squeal: not_at_all, superheat: 0 K}
"""
GOOD = """\
      holds:
        - {squeal: always, superheat: 25 K, thermometer_accuracy: 0.1 K}
        - {squeal: at_times, superheat: 22 K, thermometer_accuracy: 0.1 K}
      does_not_hold:
        - {squeal: not_at_all, superheat: 25 K}
        - {squeal: always, superheat: 18 K, thermometer_accuracy: 0.1 K}
      cannot_say:
        - {system: bus_ac, squeal: always, superheat: 30 K}
"""
FOR = """\
- id: squeals
  reading: {squeal: always, superheat: 30 K}
  expect: {speaks_for: thirsty, speaks_against: smothered}
  note: Dry gas squeals.
"""
AGAINST = """\
- id: quiet
  reading: {squeal: not_at_all, superheat: 30 K}
  expect: {speaks_against: thirsty}
  note: Nothing to hear.
"""
GATE = """\
gates:
  just_started:
    title: Just started
    when: {running_for: {below: 3 min, soft: 1 min}}
    silences: everything
    because: Just started.
    instead: Wait.
    source: common practice
    examples:
      holds: [{running_for: %s}]
      does_not_hold: [{running_for: %s}]
"""


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def tried(tmp_path):
    def of(examples, cases=""):
        (tmp_path / "rules.yaml").write_text(HEAD + examples, "utf-8")
        if cases:
            (tmp_path / "cases").mkdir(exist_ok=True)
            (tmp_path / "cases" / "one.yaml").write_text(cases, "utf-8")
        trial = run([tmp_path])
        assert trial.holds
        return trial

    return of


def untested(trial, kind=None):
    return {mutant.what for mutant in mutate(trial).survivors if kind in {None, mutant.kind}}


def gaps(trial):
    return {(item.of, item.what, item.held, item.failed) for item in cover(trial).gaps}


# -- mutants --------------------------------------------------------------------------------------------------------


def test_good_examples_and_cases_leave_nothing_untested(tried):
    found = mutate(tried(GOOD, FOR + AGAINST))
    assert found.survivors == ()
    assert found.share == 1.0
    # up, down; at_times dropped, always dropped (not_at_all added: all answers); 2 conditions; 1 field; 3 weights twice
    assert {kind: found.of_kind(kind) for kind in KINDS} == {
        "threshold": (2, 2),
        "answer": (2, 2),
        "condition": (2, 2),
        "applies_to": (1, 1),
        "weight": (6, 6),
    }
    assert found.by_rule() == {"squeals_when_hot": (13, 13)}


def test_examples_far_from_the_threshold_would_not_notice_it_moved(tried):
    what = "superheat above 20 K moved {} by 4.00 K"
    assert untested(tried(POOR, FOR + AGAINST), "threshold") == {what.format("up"), what.format("down")}


def test_an_answer_nobody_gives_is_untested(tried):
    assert untested(tried(POOR, FOR + AGAINST), "answer") == {"squeal: no longer for at_times"}


def test_a_condition_that_no_example_fails_by_itself_is_untested(tried):
    assert untested(tried(POOR), "condition") == {
        "the condition on squeal left out",
        "the condition on superheat left out",
    }
    assert untested(tried(POOR, AGAINST), "condition") == {"the condition on superheat left out"}


def test_a_rule_tried_on_its_own_system_only_could_be_for_all(tried):
    assert untested(tried(POOR), "applies_to") == {"applies_to system left out"}


def test_a_weight_is_tested_by_cases_alone(tried):
    every = {f"says thirsty (+10 dB) {how}" for how in ("left out", "turned round")}
    every |= {f"says smothered (-6 dB) {how}" for how in ("left out", "turned round")}
    other = {f"otherwise thirsty (-3 dB) {how}" for how in ("left out", "turned round")}
    assert untested(tried(GOOD), "weight") == every | other
    assert untested(tried(GOOD, FOR), "weight") == other
    assert untested(tried(GOOD, AGAINST), "weight") == every


def test_a_weight_that_another_of_its_topic_outdoes_is_untested(tried):
    louder = """\
  squeals_loudly:
    topic: noises
    title: It squeals loudly
    when: {squeal: {is: always}}
    says: {thirsty: decisively for}
    because: It does.
    source: common practice
    examples:
      holds:
        - {squeal: always}
      does_not_hold:
        - {squeal: at_times}
"""
    found = mutate(tried(GOOD + louder, FOR + AGAINST))
    assert {m.what for m in found.survivors if m.rule == "squeals_when_hot"} == {
        "says thirsty (+10 dB) left out",
        "says thirsty (+10 dB) turned round",
    }
    assert {m.outdone_by for m in found.survivors} == {""}  # it may hold where the louder one does not


def test_a_weight_that_can_never_count_is_told_with_what_outdoes_it(tried, tmp_path):
    wider = """\
  squeals:
    topic: noises
    title: It squeals
    when: {squeal: {any_of: [at_times, always]}}
    says: {thirsty: %s, smothered: slightly against}
    because: It does.
    source: common practice
    examples:
      holds: [{squeal: always}, {squeal: at_times}]
      does_not_hold: [{squeal: not_at_all}]
"""
    louder = {m.what: m.outdone_by for m in mutate(tried(GOOD + wider % "decisively for", FOR + AGAINST)).survivors}
    assert louder["says thirsty (+10 dB) left out"] == "squeals"
    assert louder["says thirsty (+10 dB) turned round"] == ""
    assert "says smothered (-6 dB) left out" not in {w for w, by in louder.items() if by}
    assert (
        "never counts: says thirsty (+10 dB) left out: squeals of the same topic"
        in printed(tmp_path, "--mutants").stdout
    )
    softer = {m.what: m.outdone_by for m in mutate(tried(GOOD + wider % "slightly for", FOR + AGAINST)).survivors}
    assert set(softer.values()) == {""}


def test_a_level_is_widened_by_its_neighbour(tried):
    rule = """\
  low_and_squeals:
    topic: noises
    title: Low
    when: {low_side_level: {is: low}}
    says: {thirsty: for}
    because: It does.
    source: common practice
    examples:
      holds: [{low_side: low}]
      does_not_hold: [{low_side: %s}]
"""
    assert "low_side_level: also for normal" in untested(tried(GOOD + rule % "high"))
    found = mutate(tried(GOOD + rule % "high")).mutants
    assert [m.what for m in found if m.rule == "low_and_squeals" and m.kind == "answer"] == [
        "low_side_level: also for normal"  # low and high without what lies between is no condition
    ]
    assert "low_side_level: also for normal" not in untested(tried(GOOD + rule % "normal"))


def test_a_gate_is_broken_too(tried):
    moved = "running_for below 3 min moved {} by 120.00 s"
    survived = {what for what in untested(tried(GOOD + GATE % ("10 s", "4.5 min"))) if "running_for" in what}
    assert survived == {moved.format("down")}
    assert not {what for what in untested(tried(GOOD + GATE % ("1.5 min", "4.5 min"))) if "running_for" in what}


def test_a_case_that_expects_a_gate_to_be_shut_notices_it_broken(tried):
    cases = """\
- id: a_minute
  reading: {running_for: 1.5 min}
  expect: {verdict: gated, fires: just_started}
  note: Nothing has settled.
- id: five
  reading: {running_for: 4.5 min}
  expect: {silent: just_started}
  note: It has.
"""
    assert len({w for w in untested(tried(GOOD + GATE % ("10 s", "30 min"))) if "running_for" in w}) == 2
    assert not {w for w in untested(tried(GOOD + GATE % ("10 s", "30 min"), cases)) if "running_for" in w}


def test_an_interval_is_moved_at_both_ends_and_never_turned_inside_out(tried):
    rule = """\
  between_two:
    topic: noises
    title: Between
    when: {superheat: {between: [4 K, 6 K], soft: %s}}
    says: {thirsty: for}
    because: It does.
    source: common practice
    examples:
      holds: [{superheat: 5 K, thermometer_accuracy: 0.1 K}]
      does_not_hold: [{superheat: 30 K}]
"""
    found = mutate(tried(GOOD + rule % "0.5 K"))
    moved = [m.what for m in found.mutants if m.rule == "between_two" and m.kind == "threshold"]
    assert sorted(moved) == [
        f"superheat {end} moved {way} by 1.00 K" for end in ("above 4 K", "below 6 K") for way in ("down", "up")
    ]
    wide = mutate(tried(GOOD + rule % "1 K"))
    moved = [m.what for m in wide.mutants if m.rule == "between_two" and m.kind == "threshold"]
    assert len(moved) == 2  # the other two would leave nothing between the ends


def test_only_rules_of_the_packs_under_test_are_broken(tried):
    assert {mutant.rule for mutant in mutate(tried(GOOD)).mutants} == {"squeals_when_hot"}
    adjusted = GOOD + "adjust:\n  paper_falls:\n    note: Our paper is thin.\n    says: {smothered: for}\n"
    assert {mutant.rule for mutant in mutate(tried(adjusted)).mutants} == {"squeals_when_hot", "paper_falls"}
    assert {mutant.rule for mutant in mutate(run()).mutants} >= {"paper_falls", "too_cold"}


def test_many_cases_are_worked_off_in_parts_with_the_same_result(tried, monkeypatch):
    trial = tried(POOR, FOR + AGAINST)
    before = mutate(trial)
    monkeypatch.setattr(mutants, "CHUNK", 1)
    assert mutate(trial) == before


def noticed_the_long_way(trial, rule):
    """Whether an example or a case fails when the rule is really put in the place of the sound one."""
    rules = tuple(rule if each.id == rule.id else each for each in trial.program.rules)
    gates = tuple(replace(g, rule=rule) if g.rule.id == rule.id else g for g in trial.program.gates)
    program = replace(trial.program, rules=rules, gates=gates, plans={})
    failed = {failure.rule for failure in check_examples(program)}
    return rule.id in failed or bool(check_cases(trial.sound_cases, program))


def weighed_otherwise(rule):
    for group in ("says", "otherwise"):
        weights = getattr(rule, group)
        for fault, weight in weights.items():
            for how, factor in (("left out", 0.0), ("turned round", -1.0)):
                changed = replace(rule, **{group: {**weights, fault: factor * weight}})
                yield f"{group} {fault} ({weight:+g} dB) {how}", changed


def every_mutant(trial):
    for rule, loaded in under_test(trial):
        yield from ((each.rule.id, each.what, each.rule) for each in mutants._broken(rule, loaded, trial.program))
        yield from ((rule.id, what, changed) for what, changed in weighed_otherwise(rule))


def compare(trial):
    found = {(mutant.rule, mutant.what): mutant.caught for mutant in mutate(trial).mutants}
    every = list(every_mutant(trial))
    assert len(every) == len(found)
    long_way = {(rule, what): noticed_the_long_way(trial, changed) for rule, what, changed in every}
    assert found == long_way
    assert set(long_way.values()) == {True, False}


@pytest.mark.parametrize(
    ("examples", "cases"), [(POOR, FOR), (GOOD, AGAINST), (GOOD + GATE % ("10 s", "30 min"), FOR)]
)
def test_what_is_noticed_side_by_side_is_what_is_noticed_one_by_one(tried, examples, cases):
    compare(tried(examples, cases))


# -- coverage -------------------------------------------------------------------------------------------------------


def test_good_examples_exercise_every_side(tried):
    assert {gap for gap in gaps(tried(GOOD)) if gap[0] == "squeals_when_hot"} == set()


def test_a_side_of_a_threshold_that_decides_nowhere_is_a_gap(tried):
    found = gaps(tried(POOR))
    assert ("squeals_when_hot", "superheat above 20 K", True, False) in found
    assert ("squeals_when_hot", "the condition on squeal", True, False) in found


def test_an_answer_that_is_never_given_is_a_gap(tried):
    assert ("squeals_when_hot", "squeal is at_times", False, None) in gaps(tried(POOR))
    assert not {gap for gap in gaps(tried(POOR)) if gap[1] == "squeal is always"}


def test_a_case_exercises_what_the_examples_do_not(tried):
    assert not {gap for gap in gaps(tried(POOR, AGAINST)) if gap[1] == "the condition on squeal"}


def test_examples_of_other_rules_and_other_systems_do_not_count(tried):
    other = """\
  squeals_at_all:
    topic: noises
    title: It squeals at times
    when: {squeal: {is: at_times}}
    says: {thirsty: for}
    because: It does.
    source: common practice
    examples:
      holds: [{squeal: at_times, superheat: 60 K}]
      does_not_hold: [{squeal: always}]
"""
    on_a_bus = """\
- id: bus
  reading: {system: bus_ac, squeal: at_times, superheat: 60 K}
  expect: {silent: squeals_when_hot}
  note: It is for cars.
"""
    missing = ("squeals_when_hot", "squeal is at_times", False, None)
    assert missing in gaps(tried(POOR + other, on_a_bus))
    assert missing not in gaps(tried(POOR + other, on_a_bus.replace("bus_ac", "car_ac").replace("silent", "fires")))


def test_a_rule_whose_examples_prove_nothing_about_it_is_a_gap(tried):
    assert cover(tried(POOR)).count("rules") == (1, 1)


def test_a_fault_is_exercised_where_a_case_expects_it_and_another_rules_it_out(tried):
    fault = """\
faults:
  rusty:
    title: Rust
    how_common: rare
    what_happens: It rusts.
    source: common practice
"""
    case = "- id: rust\n  reading: {squeal: always}\n  expect: {%s}\n  note: It rusts.\n"
    assert ("rusty", "", False, False) in gaps(tried(GOOD + fault, FOR))
    assert ("rusty", "", False, True) in gaps(tried(GOOD + fault, case % "not_first: rusty"))
    beaten = FOR.replace("speaks_for: thirsty", "favours: {thirsty: rusty}")
    assert ("rusty", "", False, True) in gaps(tried(GOOD + fault, beaten))
    assert ("rusty", "", True, False) in gaps(tried(GOOD + fault, case % "at_least: {rusty: 1 %}"))
    assert not {
        gap
        for gap in gaps(tried(GOOD + fault, case % "at_least: {rusty: 1 %}, at_most: {rusty: 90 %}"))
        if gap[0] == "rusty"
    }


# -- what is printed ------------------------------------------------------------------------------------------------


def printed(tmp_path, *args):
    return CliRunner().invoke(app, ["rules", "test", str(tmp_path), *args])


def test_what_is_untested_is_printed_with_its_place_and_the_share_caught(tried, tmp_path):
    tried(GOOD, FOR)
    result = printed(tmp_path, "--mutants")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "squeals_when_hot: 11 of 13 mutants caught"
    assert re.match(r"\S*rules\.yaml:23:7: untested: otherwise thirsty \(-3 dB\) left out$", lines[1])
    assert "Mutants caught: 11 of 13 (84.6%); threshold 2 of 2," in result.stdout


def test_what_is_not_exercised_is_printed_with_its_place(tried, tmp_path):
    tried(POOR)
    result = printed(tmp_path, "--coverage")
    assert result.exit_code == 0
    assert re.search(
        r"(?m)^\S*rules\.yaml:18:7: squeals_when_hot: superheat above 20 K: never seen not to hold$", result.stdout
    )
    assert re.search(r"(?m)^\S*:17:7: squeals_when_hot: squeal is at_times: never seen$", result.stdout)
    assert "Exercised on both sides: 1 of 1 rules" in result.stdout


def test_no_mutants_are_made_where_something_fails(tried, tmp_path):
    tried(GOOD, FOR)
    (tmp_path / "cases" / "one.yaml").write_text(FOR.replace("speaks_for: thirsty", "speaks_for: smothered"))
    result = printed(tmp_path, "--mutants")
    assert result.exit_code == 1
    assert "No mutants were made" in result.stdout


def test_both_are_in_the_document(tried, tmp_path):
    tried(GOOD, FOR)
    told = json.loads(printed(tmp_path, "--coverage", "--mutants", "--format", "json").stdout)
    assert told["mutants"]["caught"] == 11
    assert told["mutants"]["of"] == 13
    assert told["mutants"]["rules"] == [{"rule": "squeals_when_hot", "caught": 11, "of": 13}]
    assert {(each["line"], each["kind"]) for each in told["mutants"]["untested"]} == {(23, "weight")}
    assert told["mutants"]["kinds"]["weight"] == {"caught": 4, "of": 6}
    assert told["coverage"]["rules"] == {"covered": 1, "of": 1}
    assert told["coverage"]["gaps"] == []
    tried(POOR)
    poor = json.loads(printed(tmp_path, "--coverage", "--format", "json").stdout)["coverage"]
    gap = {
        "kind": "thresholds",
        "of": "squeals_when_hot",
        "what": "superheat above 20 K",
        "held": True,
        "failed": False,
    }
    assert [g for g in poor["gaps"] if gap.items() <= g.items()]
    assert poor["thresholds"] == {"covered": 0, "of": 1}
    plain = json.loads(printed(tmp_path, "--format", "json").stdout)
    assert plain["coverage"] is None
    assert plain["mutants"] is None
