"""Weights, topics, gates and verdicts on small packs, with the sums done by hand."""

from __future__ import annotations

import math
import pickle

import pytest

import strategies as mine
from twogauge.columns import from_arrays
from twogauge.diagnosis import columns_of, diagnose, program_for
from twogauge.packs.compile import compile_stack
from twogauge.reading import Reading
from twogauge.weigh import LEADS, LITTLE, TOO_CLOSE, Verdict, weigh_chunk, weigh_columns

YES, NO = {"is": "yes"}, {"is": "no"}


def rule_of(when, says, topic, more=None):
    return mine.rule_entry(when, says, topic, **(more or {}))


def pack_of(rules, *, gates=None, faults=None):
    """`normal` (common), `bent` (very common) and `worn` (rare), three checks that are yes or no, and these rules."""
    named = {
        "normal": mine.fault_entry("common", nothing_wrong="yes"),
        "bent": mine.fault_entry("very common"),
        "worn": mine.fault_entry("rare"),
    }
    pack = {
        "pack": "by_hand",
        "faults": named | (faults or {}),
        "checks": {name: mine.check_entry(("yes", "no")) for name in ("one", "two", "three")},
        "bands": mine.BANDS,
        "rules": {
            name: mine.rule_entry(*rule[:3], **(rule[3] if len(rule) > 3 else {})) for name, rule in rules.items()
        },
    }
    return pack | ({"gates": gates} if gates else {})


def weigh(pack, **given):
    program = mine.compiled(pack)
    weighed = weigh_columns(columns_of([Reading(given)]), program)
    prior = {h.id: h.prior for h in program.hypotheses}
    return (
        dict(zip(weighed.hypotheses, weighed.weight[0].tolist(), strict=True)),
        dict(zip(weighed.hypotheses, weighed.probability[0].tolist(), strict=True)),
        prior,
        Verdict(weighed.verdict[0]),
    )


def posterior(prior, **weight):
    odds = {name: 10 ** ((p + weight.get(name, 0.0)) / 10) for name, p in prior.items()}
    return {name: each / sum(odds.values()) for name, each in odds.items()}


def test_without_evidence_the_answer_is_how_common_each_is():
    _, chance, prior, verdict = weigh(pack_of({"r": ({"one": YES}, {"bent": "for"}, "t")}))
    assert chance == pytest.approx(posterior(prior))
    assert prior["worn"] < prior["normal"]
    assert prior["worn"] < prior["bent"]
    assert verdict is Verdict.NOT_ENOUGH


def test_what_a_rule_says_is_added_in_decibans():
    pack = pack_of(
        {"r": ({"one": YES}, {"bent": "strongly for", "normal": "-7 dB"}, "t", {"otherwise": {"worn": "for"}})}
    )
    weight, chance, prior, verdict = weigh(pack, one="yes")
    assert weight == {"bent": 10.0, "normal": -7.0, "worn": 0.0}
    assert chance == pytest.approx(posterior(prior, bent=10.0, normal=-7.0))
    assert verdict is Verdict.FAULT
    weight, chance, prior, _ = weigh(pack, one="no")
    assert weight == {"bent": 0.0, "normal": 0.0, "worn": 6.0}
    assert chance == pytest.approx(posterior(prior, worn=6.0))


def test_three_plain_reasons_in_three_topics_make_a_factor_of_sixty_four():
    rules = {f"rule_{name}": ({name: YES}, {"bent": "for"}, f"topic_{name}") for name in ("one", "two", "three")}
    before, after = weigh(pack_of(rules))[1], weigh(pack_of(rules), one="yes", two="yes", three="yes")[1]
    odds = (after["bent"] / after["normal"]) / (before["bent"] / before["normal"])
    assert odds == pytest.approx(10**1.8)


@pytest.mark.parametrize("strength", ["slightly for", "decisively for", "decisively against"])
def test_a_coin_flip_says_nothing_however_strong_the_rule(strength):
    when = {"superheat": {"above": "10 K", "soft": "2 K"}}
    pack = pack_of({"r": (when, {"bent": strength}, "t", {"otherwise": {"worn": strength}})})
    weight, *_ = weigh(pack, superheat="10 K")
    assert weight == pytest.approx(dict.fromkeys(weight, 0.0), abs=1e-6)
    assert any(weigh(pack, superheat="25 K")[0].values())


@pytest.mark.parametrize(
    ("superheat", "bent", "worn"),
    [
        (12.0, 20 * 0.96, 0.0),  # a degree of 0.98 counts for 2 * 0.98 - 1
        (8.0, 0.0, -10 * 0.96),
        (40.0, 20.0, 0.0),
        (-20.0, 0.0, -10.0),
    ],
)
def test_a_rule_counts_as_far_as_it_holds_and_otherwise_as_far_as_it_does_not(superheat, bent, worn):
    when = {"superheat": {"above": "10 K", "soft": "2 K"}}
    pack = pack_of({"r": (when, {"bent": "decisively for"}, "t", {"otherwise": {"worn": "strongly against"}})})
    weight, *_ = weigh(pack, superheat=f"{superheat} K", thermometer_accuracy="0 K")
    assert (weight["bent"], weight["worn"]) == (pytest.approx(bent, abs=1e-4), pytest.approx(worn, abs=1e-4))


def test_within_a_topic_only_the_strongest_for_and_the_strongest_against_count():
    rules = {
        "a": ({"one": YES}, {"bent": "strongly for"}, "same"),
        "b": ({"two": YES}, {"bent": "for"}, "same"),
        "c": ({"three": YES}, {"bent": "slightly against"}, "same"),
        "d": ({"one": YES}, {"bent": "against"}, "same"),
        "e": ({"one": YES}, {"bent": "slightly for"}, "another"),
    }
    told = dict.fromkeys(("one", "two", "three"), "yes")
    assert weigh(pack_of(rules), **told)[0]["bent"] == 10.0 - 6.0 + 3.0
    assert weigh(pack_of(rules), two="yes")[0]["bent"] == 6.0


def test_the_topic_is_settled_for_each_fault_by_itself():
    rules = {
        "a": ({"one": YES}, {"bent": "strongly for", "worn": "slightly for"}, "same"),
        "b": ({"one": YES}, {"bent": "for", "worn": "for"}, "same"),
    }
    weight, *_ = weigh(pack_of(rules), one="yes")
    assert weight == {"normal": 0.0, "bent": 10.0, "worn": 6.0}


def test_of_equally_strong_reasons_of_a_topic_one_is_marked_as_counted():
    rules = {name: ({"one": YES}, {"bent": "for"}, "same") for name in ("a", "b", "c")}
    ledger = weigh_chunk(columns_of([Reading(one="yes")]), mine.compiled(pack_of(rules)))[1]
    assert ledger.counted[:, 0].tolist() == [True, False, False]


def test_a_rule_speaks_only_of_the_systems_it_applies_to():
    pack = pack_of(
        {"r": ({"one": YES}, {"bent": "for"}, "t", {"applies_to": {"metering": ["capillary", "orifice_tube"]}})}
    )
    assert weigh(pack, one="yes", metering="capillary")[0]["bent"] == 6.0
    assert weigh(pack, one="yes", metering="expansion_valve")[0]["bent"] == 0.0
    assert weigh(pack, one="yes")[0]["bent"] == 0.0  # not told is not so


def test_a_fault_stays_in_until_a_word_excludes_it():
    pack = pack_of(
        {"r": ({"one": YES}, {"bent": "for"}, "t")},
        faults={"bent": mine.fault_entry("very common", applies_to={"refrigerant": ["R12", "R134a"]})},
    )
    assert weigh(pack)[1]["bent"] > 0.0
    assert weigh(pack, refrigerant="R134a")[1]["bent"] > 0.0
    chance, prior = weigh(pack, refrigerant="R22", one="yes")[1:3]
    assert chance["bent"] == 0.0
    assert chance == pytest.approx(posterior(prior | {"bent": -math.inf}))


# -- gates --------------------------------------------------------------------------------------------------------


def gated(silences, **more):
    rules = {
        "a": ({"one": YES}, {"bent": "strongly for"}, "pressures"),
        "b": ({"two": YES}, {"worn": "decisively for"}, "leaks"),
    }
    gate = mine.gate_entry({"ambient": {"below": "10 degC", "soft": "2 K"}}, silences, **more)
    return pack_of(rules, gates={"too_cold": gate})


BOTH = {"one": "yes", "two": "yes"}


def test_a_gate_that_surely_holds_silences_its_topics_and_no_others():
    weight, _, _, verdict = weigh(gated(["pressures"]), **BOTH, ambient="-20 degC")
    assert (weight["bent"], weight["worn"]) == (0.0, 20.0)
    assert verdict is Verdict.FAULT  # what still speaks is heard


def test_a_gate_can_silence_everything_but():
    weight, *_ = weigh(gated("everything", **{"except": ["leaks"]}), **BOTH, ambient="-20 degC")
    assert (weight["bent"], weight["worn"]) == (0.0, 20.0)
    weight, _, _, verdict = weigh(gated("everything"), **BOTH, ambient="-20 degC")
    assert not any(weight.values())
    assert verdict is Verdict.GATED


@pytest.mark.parametrize("told", [{"ambient": "30 degC"}, {}])
def test_an_open_gate_and_an_unknown_one_silence_nothing(told):
    weight, *_ = weigh(gated("everything"), **BOTH, **told)
    assert (weight["bent"], weight["worn"]) == (10.0, 20.0)


def test_a_gate_takes_weight_as_far_as_it_holds():
    # 1 K below its edge, soft 2 K, a perfect thermometer: Phi(2.0537 / 2) = 0.84775, so 2 * 0.84775 - 1 is taken.
    weight, *_ = weigh(gated("everything"), **BOTH, ambient="9 degC", thermometer_accuracy="0 K")
    assert weight["bent"] == pytest.approx(10.0 * (2.0 - 2.0 * 0.84775), abs=1e-3)
    # at even odds it takes nothing
    weight, *_ = weigh(gated("everything"), **BOTH, ambient="10 degC", thermometer_accuracy="0 K")
    assert weight["bent"] == pytest.approx(10.0, abs=1e-6)


def test_of_two_gates_the_one_that_is_shut_further_decides():
    rules = {"a": ({"one": YES}, {"bent": "strongly for"}, "pressures")}
    cold = mine.gate_entry({"ambient": {"below": "10 degC", "soft": "2 K"}}, "everything")
    stopped = mine.gate_entry({"compressor": {"is": "off"}}, ["pressures"])
    pack = pack_of(rules, gates={"cold": cold, "stopped": stopped})
    assert weigh(pack, one="yes", ambient="9 degC", compressor="off")[0]["bent"] == 0.0
    assert 0.0 < weigh(pack, one="yes", ambient="9 degC", compressor="running")[0]["bent"] < 10.0


def test_behind_a_gate_nothing_is_called_normal():
    rules = {"a": ({"one": YES}, {"normal": "decisively for"}, "leaks"), "b": ({"two": YES}, {"bent": "for"}, "p")}
    gate = mine.gate_entry({"ambient": {"below": "10 degC"}}, ["p"])
    pack = pack_of(rules, gates={"cold": gate})
    assert weigh(pack, one="yes", ambient="30 degC")[3] is Verdict.NORMAL
    assert weigh(pack, one="yes", ambient="-20 degC")[3] is Verdict.GATED


# -- verdicts -----------------------------------------------------------------------------------------------------


def test_faults_within_three_decibels_are_too_close_to_call():
    near = {"r": ({"one": YES}, {"bent": "10 dB", "normal": "-10 dB"}, "t")}
    pack = pack_of(near, faults={"twin": mine.fault_entry("very common")})
    rivals = dict(pack["rules"])
    rivals["s"] = mine.rule_entry({"one": YES}, {"twin": f"{10 - TOO_CLOSE + 0.2} dB"}, "other")
    assert weigh(pack | {"rules": rivals}, one="yes")[3] is Verdict.TOO_CLOSE
    rivals["s"] = mine.rule_entry({"one": YES}, {"twin": f"{10 - TOO_CLOSE - 0.2} dB"}, "other")
    assert weigh(pack | {"rules": rivals}, one="yes")[3] is Verdict.FAULT


def test_evidence_that_separates_nothing_is_not_enough():
    for weight, verdict in ((LITTLE - 0.1, Verdict.NOT_ENOUGH), (LITTLE + 0.1, Verdict.FAULT)):
        rules = {"r": ({"one": YES}, {"bent": f"{weight / 2:.3f} dB", "normal": f"{-weight / 2:.3f} dB"}, "t")}
        assert weigh(pack_of(rules), one="yes")[3] is verdict


@pytest.mark.parametrize(("apart", "verdict"), [(5.0, Verdict.NOT_ENOUGH), (7.0, Verdict.FAULT)])
def test_less_than_one_plain_reason_between_any_two_faults_is_not_enough(apart, verdict):
    """A plain reason is 6 dB: what separates less than that does not carry an answer alone."""
    says = {"bent": f"{apart / 2} dB", "normal": f"{-apart / 2} dB"}
    assert weigh(pack_of({"r": ({"one": YES}, says, "t")}), one="yes")[3] is verdict


def test_evidence_for_what_cannot_be_in_this_system_separates_nothing():
    rules = {"r": ({"one": YES}, {"bent": "strongly for"}, "t")}
    only_r12 = {"bent": mine.fault_entry("very common", applies_to={"refrigerant": "R12"})}
    pack = pack_of(rules, faults=only_r12)
    assert weigh(pack, one="yes", refrigerant="R12")[3] is Verdict.FAULT
    assert weigh(pack, one="yes", refrigerant="R134a")[3] is Verdict.NOT_ENOUGH


def test_many_faults_none_of_which_leads_are_not_enough():
    faults = {f"fault_{i}": mine.fault_entry("common") for i in range(8)}
    says = {f"fault_{i}": "decisively for" for i in range(8)} | {"bent": "decisively against"}
    _, chance, _, verdict = weigh(pack_of({"r": ({"one": YES}, says, "t")}, faults=faults), one="yes")
    assert max(chance.values()) < LEADS
    assert verdict is Verdict.NOT_ENOUGH


def test_normal_can_lead_and_is_then_no_fault():
    rules = {"r": ({"one": YES}, {"normal": "strongly for", "bent": "against"}, "t")}
    assert weigh(pack_of(rules), one="yes")[3] is Verdict.NORMAL


@pytest.mark.parametrize("verdict", list(Verdict))
def test_a_verdict_has_a_word(verdict):
    assert verdict.word == verdict.name.lower()


def test_each_row_of_a_column_has_its_own_answer():
    rules = {
        "hot": ({"superheat": {"above": "10 K"}}, {"bent": "strongly for"}, "t"),
        "cold": ({"superheat": {"below": "10 K"}}, {"worn": "decisively for"}, "t"),
    }
    columns = from_arrays({"superheat": [40.0, -40.0, math.nan]}, {})
    weighed = weigh_columns(columns, mine.compiled(pack_of(rules)))
    names = [weighed.hypotheses[k] for k in weighed.leader]
    assert names[:2] == ["bent", "worn"]
    assert not weighed.weight[2].any()
    assert weighed.verdict[2] == Verdict.NOT_ENOUGH


def test_rules_can_be_left_out_for_one_run():
    pack = pack_of({"r": ({"one": YES}, {"bent": "for"}, "t"), "s": ({"one": NO}, {"worn": "for"}, "t")})
    program = mine.compiled(pack)
    assert {rule.id for rule in program.rules} == {"r", "s"}
    left = compile_stack(program.stack, without=["r"])
    assert [rule.id for rule in left.rules] == ["s"]
    assert not weigh_columns(columns_of([Reading(one="yes")]), left).weight.any()


@pytest.mark.parametrize("many", [3, 200])
def test_of_few_rules_and_of_many_in_a_topic_the_strongest_counts(many):
    sizes = [1 + (7 * i) % 19 for i in range(many)]
    sides = [1 if i % 2 else -1 for i in range(many)]
    rules = {
        f"rule_{i}": ({"one": YES}, {"bent": f"{side * size} dB", "worn": f"{size} dB"}, "t")
        for i, (size, side) in enumerate(zip(sizes, sides, strict=True))
    }
    rules["beside"] = ({"two": YES}, {"bent": "2 dB"}, "u")
    weight, *_ = weigh(pack_of(rules), one="yes", two="yes")
    best = max(size for size, side in zip(sizes, sides, strict=True) if side > 0)
    worst = max(size for size, side in zip(sizes, sides, strict=True) if side < 0)
    assert weight == {"bent": best - worst + 2.0, "worn": float(max(sizes)), "normal": 0.0}


def test_no_readings_at_all_are_no_answers():
    columns = from_arrays({"low_side": [], "ambient": []}, {"refrigerant": "R134a"})
    weighed = weigh_columns(columns, program_for())
    assert weighed.probability.shape == weighed.weight.shape == (0, len(weighed.hypotheses))
    assert weighed.verdict.shape == weighed.leader.shape == (0,)


def test_the_built_in_rules_go_to_another_process_as_they_are():
    sent = pickle.loads(pickle.dumps(program_for()))  # noqa: S301 - our own
    reading = Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF")
    assert diagnose(reading, program=sent) == diagnose(reading)


def test_a_program_is_sent_without_what_it_was_used_for():
    program = compile_stack(program_for().stack)
    before = len(pickle.dumps(program))
    weigh_columns(from_arrays({"ambient": [300.0]}, {}), program)
    assert len(pickle.dumps(program)) == before


def test_a_rule_for_other_machines_leaves_no_trace_and_is_heard_where_one_row_is_such_a_machine():
    rule = ({"one": YES}, {"bent": "6 dB"}, "t", {"applies_to": {"system": ["bus_ac"]}})
    program = mine.compiled(pack_of({"r": rule}))
    rows = [Reading(one="yes", system="car_ac"), Reading(one="yes", system="bus_ac"), Reading(one="yes")]
    bent = [h.id for h in program.hypotheses].index("bent")
    assert weigh_columns(columns_of(rows), program).weight[:, bent].tolist() == [0.0, 6.0, 0.0]
    assert not weigh_columns(columns_of([rows[0], rows[2]]), program).weight.any()
