"""From a stack to a program: thresholds in SI, words to weights and answers, levels to edges, nothing by order."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from twogauge.errors import FileProblems, UnknownNameError
from twogauge.packs.compile import LEVEL_EDGE, compile_stack
from twogauge.packs.stack import stack
from twogauge.packs.words import HOW_COMMON

GROUND = Path(__file__).parent / "bad" / "ground"
RULE = """\
pack: shop
checks:
  {check}: {{title: x, ask: x, how: x, effort: glance, answers: {{a: x, b: x, c: x}}, source: from memory}}
rules:
  tried:
    topic: tried
    title: x
    when: {{{when}}}
    says: {{leak: for, dirt: 7 dB, sound: decisively against}}
    otherwise: {{leak: slightly against}}
    because: {because}
    source: from memory
    applies_to: {applies_to}
    examples: {{holds: [{{high_side: low}}], does_not_hold: [{{high_side: high}}]}}
"""


@pytest.fixture
def tried(tmp_path):
    """Compile a pack with one rule and return (the rule, the program)."""

    def run(when="glass: {is: clear}", because="x", applies_to="{refrigerant: [R12]}", check="three"):
        text = RULE.format(when=when, because=because, applies_to=applies_to, check=check)
        (tmp_path / "pack.yaml").write_text(text, "utf-8")
        program = compile_stack(stack([GROUND, tmp_path]))
        return next(rule for rule in program.rules if rule.id == "tried"), program

    return run


@pytest.mark.parametrize(
    ("when", "thresholds", "signs"),
    [
        ("condensing_over_ambient: {above: 18 degF}", [10.0], [1.0]),
        ("condensing_over_ambient: {below: 10 K}", [10.0], [-1.0]),
        ("ambient: {above: 50 degF}", [283.15], [1.0]),
        ("ambient: {between: [0 degC, 50 degF]}", [273.15, 283.15], [1.0, -1.0]),
        ("ambient: {above: 0 degC, below: 10 degC}", [273.15, 283.15], [1.0, -1.0]),
        ("running_for: {above: 2 min}", [120.0], [1.0]),
        ("humidity: {above: 60 %}", [0.6], [1.0]),
        ("pressure_ratio: {below: 1.5}", [1.5], [-1.0]),
        ("low_side_above_air: {below: -1 bar}", [-1e5], [-1.0]),
        ("high_side: {above: 0 bar}", [101325.0], [1.0]),  # a gauge at sea level
        ("high_side: {above: 10 bara}", [10e5], [1.0]),
        ("high_side_level: {above: 2}", [2.0], [1.0]),
    ],
)
def test_thresholds_become_si_and_pressures_absolute(tried, when, thresholds, signs):
    (condition,) = tried(when)[0].conditions
    assert [e.threshold for e in condition.edges] == pytest.approx(thresholds)
    assert [e.sign for e in condition.edges] == signs


def test_soft_is_where_it_is_as_good_as_sure(tried):
    (condition,) = tried("ambient: {above: 10 degC, soft: 9 degF}")[0].conditions
    (edge,) = condition.edges
    sure = 0.5 * (1.0 + math.erf(5.0 / edge.spread / math.sqrt(2.0)))
    assert sure == pytest.approx(0.98)
    (hard,) = tried("ambient: {above: 10 degC}")[0].conditions
    assert hard.edges[0].spread == 0.0


def test_weights_words_and_priors_become_decibans(tried):
    rule, program = tried()
    assert dict(rule.says) == {"leak": 6.0, "dirt": 7.0, "sound": -20.0}
    assert dict(rule.otherwise) == {"leak": -3.0}
    priors = {h.id: h.prior for h in program.hypotheses}
    assert priors == {
        "sound": HOW_COMMON["very common"],
        "dirt": HOW_COMMON["common"],
        "leak": HOW_COMMON["common"],
    }
    assert [h.id for h in program.hypotheses if h.nothing_wrong] == ["sound"]


@pytest.mark.parametrize(
    ("test", "answers"),
    [("is: a", {"a"}), ("is_not: a", {"b", "c"}), ("any_of: [a, c]", {"a", "c"}), ("any_of: b", {"b"})],
)
def test_conditions_on_words_become_the_answers_for_which_they_hold(tried, test, answers):
    (condition,) = tried(f"three: {{{test}}}")[0].conditions
    assert condition.words == answers
    assert condition.edges == ()


@pytest.mark.parametrize(
    ("test", "inside", "outside"),
    [
        ("is: low", [-3.0], [0.0, 3.0]),
        ("is: normal", [-1.0, 0.0, 1.0], [-2.0, 2.0]),
        ("is: high", [3.0], [0.0, -3.0]),
        ("is_not: low", [0.0, 3.0], [-3.0]),
        ("is_not: high", [0.0, -3.0], [3.0]),
    ],
)
def test_a_level_in_words_becomes_edges_around_what_is_normal(tried, test, inside, outside):
    (condition,) = tried(f"high_side_level: {{{test}}}")[0].conditions

    def holds(level):
        return all(e.sign * (level - e.threshold) > 0 for e in condition.edges)

    assert condition.edges
    assert all(abs(e.threshold) == LEVEL_EDGE for e in condition.edges)
    assert all(map(holds, inside))
    assert not any(map(holds, outside))


def test_applies_to_becomes_fields_and_catalogued_refrigerants(tried):
    rule, _ = tried(applies_to="{refrigerant: [r-134A, R12], system: bus_ac}")
    assert rule.applies_to == {"refrigerant": {"R134a", "R12"}, "system": {"bus_ac"}}


def test_a_reason_may_name_quantities_and_checks_in_braces_and_nothing_else(tried):
    assert tried(because="At {ambient} air, {glass} and {high_side_level}")[0].id == "tried"
    for reason in ("{", "}", "{{ambient}}", "{ambient }", "{ambient.real}", "{ambient:f}", "{__class__}", "{%s}"):
        with pytest.raises(FileProblems):
            tried(because=f"'{reason}'")


def test_rules_hypotheses_and_gates_are_sorted_so_that_no_order_matters(tried):
    _, program = tried()
    for group in (program.rules, program.hypotheses):
        assert [each.id for each in group] == sorted(each.id for each in group)
    assert list(program.topics) == sorted(program.topics)


def test_without_leaves_a_rule_out_and_refuses_one_that_is_not_there():
    found = stack([GROUND])
    assert [r.id for r in compile_stack(found, without=["high_far"]).rules] == ["glass_bubbles"]
    with pytest.raises(UnknownNameError, match="did you mean 'high_far'"):
        compile_stack(found, without=["high_for"])


def test_silencing_everything_spares_what_is_excepted(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\nadjust:\n  cold: {note: x, silences: everything, except: glass}\n", "utf-8"
    )
    (gate,) = compile_stack(stack([GROUND, tmp_path])).gates
    assert gate.silences == {"high"}


BAND = """\
  {name}: {{level: high_side_level, normal: [{low} K, 50 K], edge: 4 K, baseline: 4 K, source: x{to}}}
"""


def test_of_several_bands_the_later_pack_and_then_the_narrower_one_wins(tmp_path):
    text = "pack: shop\nbands:\n"
    text += BAND.format(name="a_narrow", low=12, to=", applies_to: {system: bus_ac, metering: capillary}")
    text += BAND.format(name="z_wide", low=11, to="")
    text += BAND.format(name="m_middle", low=13, to=", applies_to: {system: bus_ac}")
    (tmp_path / "pack.yaml").write_text(text, "utf-8")
    bands = compile_stack(stack([GROUND, tmp_path])).bands
    assert [band.name for band in bands] == ["high_usual", "z_wide", "m_middle", "a_narrow"]
    assert [band.low for band in bands] == [10.0, 11.0, 13.0, 12.0]


def test_a_program_without_faults_is_refused_where_it_can_be_shown(tmp_path):
    (tmp_path / "pack.yaml").write_text("pack: shop\n", "utf-8")
    with pytest.raises(FileProblems, match="exactly one entry under faults must say 'nothing_wrong: yes'"):
        compile_stack(stack([tmp_path]))
