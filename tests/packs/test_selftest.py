"""The examples in rules and gates are tests: each way in which one can fail is found, with its place."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from small_pack import FOLDER, program
from twogauge.packs.compile import compile_stack
from twogauge.packs.selftest import check_examples, count_examples
from twogauge.packs.stack import stack

HEAD = """\
pack: tried
faults:
  normal: {title: Nothing wrong, how_common: common, nothing_wrong: yes, what_happens: Nothing., source: from memory}
  bad: {title: Something, how_common: common, what_happens: Something., source: from memory}
checks:
  knock:
    {title: A knock, ask: Does it knock?, how: Listen., effort: glance, source: from memory}
"""
RULE = """\
rules:
  hot:
    topic: heat
    title: It is hot
    when:
      ambient: {above: 30 degC, soft: 1 K}
      knock: {is: yes}
    says: {bad: for}
    because: It is hot.
    source: from memory
    examples:
      holds:
        - %s
      does_not_hold:
        - %s
      cannot_say:
        - %s
"""
GOOD = ("{ambient: 50 degC, knock: yes}", "{ambient: 0 degC, knock: yes}", "{ambient: 50 degC}")


@pytest.fixture
def tried(tmp_path):
    def run(holds=GOOD[0], does_not_hold=GOOD[1], cannot_say=GOOD[2], text=None):
        path = tmp_path / "pack.yaml"
        path.write_text(HEAD + (text or RULE % (holds, does_not_hold, cannot_say)), "utf-8")
        return check_examples(compile_stack(stack([tmp_path])))

    return run


def line_of(part):
    return HEAD.count("\n") + 1 + next(i for i, line in enumerate(RULE.splitlines()) if part in line)


def test_examples_that_prove_their_rule_give_nothing(tried):
    assert tried() == []


@pytest.mark.parametrize(
    ("kind", "example", "degree", "conditions"),
    [
        ("holds", "{ambient: 30 degC, knock: yes}", 0.5, {"ambient": 0.5, "knock": 1.0}),
        ("holds", "{ambient: 50 degC, knock: no}", 0.0, {"ambient": 1.0, "knock": 0.0}),
        ("holds", "{ambient: 50 degC}", math.nan, {"ambient": 1.0, "knock": math.nan}),
        ("does_not_hold", "{ambient: 50 degC, knock: yes}", 1.0, {"ambient": 1.0, "knock": 1.0}),
        ("does_not_hold", "{knock: yes}", math.nan, {"ambient": math.nan, "knock": 1.0}),
        ("cannot_say", "{ambient: 50 degC, knock: no}", 0.0, {"ambient": 1.0, "knock": 0.0}),
        ("cannot_say", "{ambient: 0 degC}", 0.0, {"ambient": 0.0, "knock": math.nan}),
    ],
)
def test_an_example_that_fails_is_told_with_its_place_and_each_condition(kind, example, degree, conditions, tried):
    (failure,) = tried(**{kind: example})
    assert (failure.rule, failure.kind) == ("hot", kind)
    assert failure.degree == pytest.approx(degree, abs=1e-6, nan_ok=True)
    assert dict(failure.conditions) == pytest.approx(conditions, abs=1e-6, nan_ok=True)
    assert (failure.place.line, failure.place.column) == (line_of(f"{kind}:") + 1, 11)
    said = str(failure)
    assert said.startswith(f"{failure.place}: hot: ")
    assert all(name in said for name in conditions)
    assert ("none came" in said) == math.isnan(degree)


@pytest.mark.parametrize(
    ("example", "column", "message"),
    [
        ("{ambient: 50 pzi, knock: yes}", 21, "not a unit of temperature"),
        ("{ambiant: 50 degC, knock: yes}", 12, "did you mean 'ambient'?"),
        ("{ambient: 50 degC, knock: ys}", 37, "not an answer to this check"),
    ],
)
def test_an_example_that_is_no_reading_is_a_positioned_problem(example, column, message, tried):
    (failure,) = tried(holds=example)
    assert message in failure.problem
    assert (failure.place.line, failure.place.column) == (line_of("holds:") + 1, column)
    assert "this example is no reading" in str(failure)


def test_a_rule_for_other_systems_says_that_it_does_not_apply(tried):
    (first, second) = tried(text=(RULE % GOOD).replace("    says:", "    applies_to: {system: [bus_ac]}\n    says:"))
    assert {first.kind, second.kind} == {"holds", "does_not_hold"}
    assert dict(first.conditions) == pytest.approx({"ambient": 1.0, "knock": 1.0, "applies_to": 0.0})


def test_a_condition_that_is_clearly_false_decides_even_if_no_example_tells_the_other(tried):
    (failure,) = tried(holds="{knock: yes}", does_not_hold="{knock: no}", cannot_say="{knock: yes}")
    assert failure.kind == "holds"


def test_gates_are_tested_like_rules(tried):
    gate = """\
gates:
  cold:
    title: Cold
    when:
      ambient: {below: 10 degC}
    silences: everything
    because: Cold.
    instead: Wait.
    source: from memory
    examples:
      holds:
        - {ambient: 20 degC}
      does_not_hold:
        - {ambient: 30 degC}
"""
    (failure,) = tried(text=(RULE % GOOD) + gate)
    assert (failure.rule, failure.kind) == ("cold", "holds")
    assert failure.degree == pytest.approx(0.0, abs=1e-6)


def test_a_gate_that_is_shut_silences_no_example(tried):
    """The rule speaks of a topic the gate silences, in a reading in which the gate is shut."""
    gate = """\
gates:
  knocks:
    title: It knocks
    when:
      knock: {is: yes}
    silences: everything
    because: It knocks.
    instead: Wait.
    source: from memory
    examples:
      holds:
        - {knock: yes}
      does_not_hold:
        - {knock: no}
"""
    assert tried(text=(RULE % GOOD) + gate) == []


def test_failures_come_in_the_order_of_the_file(tried):
    failures = tried(holds=GOOD[1], does_not_hold=GOOD[0], cannot_say="{knok: yes}")
    assert [f.kind for f in failures] == ["holds", "does_not_hold", "cannot_say"]


def test_the_examples_of_the_small_rules_hold_and_are_counted():
    assert check_examples(program()) == []
    text = "".join(path.read_text("utf-8") for path in Path(FOLDER).rglob("*.yaml"))
    assert count_examples(program()) == text.count("        - {")


def test_rules_left_out_are_not_tested():
    without = compile_stack(program().stack, without=["high_side_high"])
    assert count_examples(program()) - count_examples(without) == 3


@given(st.floats(20.0, 40.0))
def test_the_degree_beside_other_examples_is_that_of_the_reading_alone(value):
    """The examples run side by side; the diagnosis of one reading must agree."""
    from dataclasses import replace

    from twogauge.diagnosis import diagnose
    from twogauge.packs.selftest import degrees_on
    from twogauge.reading import Reading

    rules = [rule for rule in program().rules if rule.id == "high_side_far_above_air"]
    fields = {"refrigerant": "R134a", "high_side": f"{8 * value:.6f} psi", "ambient": "90 degF"}
    readings = [Reading(fields), Reading(low_side="low"), Reading(paper_test="falls")]
    beside = degrees_on(readings, rules, replace(program(), plans={}))["high_side_far_above_air"][0]
    ranked = {r.fault: r for r in diagnose(readings[0], program=program()).ranking}
    alone = [r.degree for r in ranked["smothered"].reasons if r.rule == "high_side_far_above_air"]
    assert not alone or alone[0] == beside
