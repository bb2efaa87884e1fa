"""What must always hold of the weighing: one test for each line of section 5 of the design, and a few beside them."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import strategies as mine
from twogauge.columns import from_arrays
from twogauge.degree import CLEARLY_FALSE, FADES_BY
from twogauge.diagnosis import columns_of, diagnose, program_for
from twogauge.fields import FIELDS
from twogauge.packs.compile import compile_stack
from twogauge.packs.selftest import by_condition
from twogauge.quantities import UnitSet, symbol_for
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.weigh import CHUNK, Verdict, weigh_chunk, weigh_columns
from twogauge.work import Absent, Derived, Work

BUILT_IN = program_for()
SMALL = mine.told(checks=mine.SMALL_CHECKS)


def weigh(program, readings):
    return weigh_columns(columns_of(readings), program)


def order_of(weighed, row=0):
    """Hypotheses, most probable first; those that cannot be told apart by 1e-9 in the order of their names."""
    chance = dict(zip(weighed.hypotheses, weighed.probability[row].tolist(), strict=True))
    ranked = sorted(chance, key=lambda name: -chance[name])
    groups: list[list[str]] = []
    for name in ranked:
        if groups and chance[groups[-1][0]] - chance[name] <= 1e-9:
            groups[-1].append(name)
        else:
            groups.append([name])
    return [name for group in groups for name in sorted(group)]


def same_answer(one, other, tolerance=0.0):
    assert one.hypotheses == other.hypotheses
    assert np.abs(one.probability - other.probability).max() <= tolerance
    assert np.abs(one.weight - other.weight).max() <= 100 * tolerance
    if tolerance == 0.0:
        assert one.verdict.tolist() == other.verdict.tolist()
        assert one.leader.tolist() == other.leader.tolist()


# -- the same reading in other units gives the same ranking and probabilities -------------------------------------


@given(mine.told(), st.data())
def test_other_units_change_nothing(told, data):
    comma = data.draw(st.booleans())
    written = [
        told.reading(UnitSet.US),
        told.reading(UnitSet.SI),
        told.reading(UnitSet.METRIC),
        Reading(told.given(mine.in_any_unit(data.draw), comma=comma)),
        Reading(told.given(lambda d: "" if d in _BARE else symbol_for(d, UnitSet.SI)), units=UnitSet.SI),
    ]
    first, *others = (weigh(BUILT_IN, [reading]) for reading in written)
    for other in others:
        same_answer(first, other, 1e-9)
        assert order_of(first) == order_of(other)


_BARE = {FIELDS[name].dimension for name in ("low_side", "ambient", "superheat", "altitude", "engine_speed")}


@given(mine.told(), st.data())
def test_a_whole_diagnosis_reads_the_same_in_other_units(told, data):
    one = diagnose(told.reading(UnitSet.US))
    other = diagnose(Reading(told.given(mine.in_any_unit(data.draw)), units=UnitSet.METRIC))
    ours = {r.fault: r.probability for r in one.ranking}
    theirs = {r.fault: r.probability for r in other.ranking}
    assert theirs == pytest.approx(ours, abs=1e-9)
    assert [gate.gate for gate in one.gates] == [gate.gate for gate in other.gates]
    assert [name for name, _ in one.missing] == [name for name, _ in other.missing]


# -- probabilities sum to 1; no NaN or infinity leaves ------------------------------------------------------------


def whole(weighed):
    assert np.isfinite(weighed.probability).all()
    assert np.isfinite(weighed.weight).all()
    assert (weighed.probability >= 0.0).all()
    assert weighed.probability.sum(axis=1) == pytest.approx(np.ones(len(weighed.probability)), abs=1e-12)
    assert {int(v) for v in weighed.verdict} <= {int(v) for v in Verdict}
    assert (weighed.leader == weighed.probability.argmax(axis=1)).all()


@given(mine.columns_told())
def test_probabilities_sum_to_one(several):
    whole(weigh(BUILT_IN, [told.reading() for told in several]))


@given(mine.packs(), mine.told(checks=mine.SMALL_CHECKS))
def test_probabilities_sum_to_one_with_any_pack(pack, told):
    whole(weigh(mine.compiled(pack), [told.reading()]))


# from_arrays refuses what is beyond 1e15; the test of that is in test_columns.py.
_NUMBERS = sorted(name for name, f in FIELDS.items() if f.dimension and name not in {"barometer", "altitude"})
_COLUMN = st.lists(st.floats(-1e15, 1e15) | st.just(math.nan) | st.floats(0.0, 1e7), min_size=3, max_size=3)


@given(
    st.dictionaries(st.sampled_from(_NUMBERS), _COLUMN, max_size=8),
    st.sampled_from(mine.REFRIGERANTS),
    st.lists(st.floats(1e-3, 1e9), min_size=3, max_size=3),
)
def test_numbers_that_cannot_be_true_still_give_an_answer(numbers, refrigerant, air):
    whole(weigh_columns(from_arrays(numbers, {"refrigerant": refrigerant}, barometer=air), BUILT_IN))


def test_nothing_told_at_all_is_not_enough_to_say():
    weighed = weigh(BUILT_IN, [Reading()])
    whole(weighed)
    assert weighed.verdict[0] == Verdict.NOT_ENOUGH
    assert not weighed.weight.any()


# -- rule order, file order and dict order change nothing ---------------------------------------------------------


@given(mine.packs(), SMALL, st.randoms(use_true_random=False))
def test_the_order_of_keys_entries_and_files_changes_nothing(pack, told, random):
    plain = mine.compiled(pack)
    mixed = compile_stack(mine.stacked(mine.in_files(random, mine.shuffled(random, pack))))
    reading = told.reading()
    turned = Reading(mine.shuffled(random, reading.given), units=reading.units)
    same_answer(weigh(plain, [reading]), weigh(mixed, [turned]))


@given(mine.packs(), SMALL, st.data())
def test_the_names_of_rules_change_nothing(pack, told, data):
    """Rules are worked off in the order of their ids, so another name is another place in line."""
    names = data.draw(st.permutations(list(pack["rules"])))
    renamed = pack | {"rules": dict(zip(names, pack["rules"].values(), strict=True))}
    reading = told.reading()
    same_answer(weigh(mine.compiled(pack), [reading]), weigh(mine.compiled(renamed), [reading]))


# -- a column of n readings gives exactly what n single readings give ---------------------------------------------


def as_singles(program, readings):
    return [weigh(program, [reading]) for reading in readings]


def bit_by_bit(together, alone, rows):
    for row, k in enumerate(rows):
        assert together.probability[row].tolist() == alone[k].probability[0].tolist()
        assert together.weight[row].tolist() == alone[k].weight[0].tolist()
        assert together.verdict[row] == alone[k].verdict[0]
        assert together.leader[row] == alone[k].leader[0]


@given(mine.columns_told())
def test_a_column_gives_bit_by_bit_what_its_readings_give_alone(several):
    readings = [told.reading() for told in several]
    bit_by_bit(weigh(BUILT_IN, readings), as_singles(BUILT_IN, readings), range(len(readings)))


@given(mine.packs(), st.lists(SMALL, min_size=2, max_size=6))
def test_a_column_gives_bit_by_bit_what_its_readings_give_alone_with_any_pack(pack, several):
    program = mine.compiled(pack)
    readings = [told.reading() for told in several]
    bit_by_bit(weigh(program, readings), as_singles(program, readings), range(len(readings)))


@given(mine.packs(), st.lists(SMALL, min_size=1, max_size=6))
def test_many_readings_are_weighed_bit_by_bit_as_with_a_ledger(pack, several):
    program = mine.compiled(pack)
    columns = columns_of([told.reading() for told in several])
    same_answer(weigh_columns(columns, program), weigh_chunk(columns, program)[0])


@given(mine.columns_told())
def test_many_readings_are_weighed_bit_by_bit_as_with_a_ledger_by_the_built_in_rules(several):
    columns = columns_of([told.reading() for told in several])
    same_answer(weigh_columns(columns, BUILT_IN), weigh_chunk(columns, BUILT_IN)[0])


@given(mine.packs(), st.lists(SMALL, min_size=1, max_size=4))
def test_a_program_that_was_sent_to_another_process_gives_the_same_answers(pack, several):
    program = mine.compiled(pack)
    columns = columns_of([told.reading() for told in several])
    before = weigh_columns(columns, program)
    sent = pickle.loads(pickle.dumps(program))  # noqa: S301 - our own
    same_answer(weigh_columns(columns, sent), before)


@settings(max_examples=2)
@given(st.lists(mine.told(), min_size=20, max_size=30), st.integers(1, 50))
def test_a_column_longer_than_a_chunk_too(several, more):
    readings = [told.reading() for told in several]
    rows = [k % len(readings) for k in range(CHUNK + more)]
    together = weigh(BUILT_IN, [readings[k] for k in rows])
    assert together.probability.shape == (CHUNK + more, len(BUILT_IN.hypotheses))
    bit_by_bit(together, as_singles(BUILT_IN, readings), rows)
    same_answer(weigh_columns(columns_of([readings[k] for k in rows]), BUILT_IN, threads=2), together)


# -- a pack that adds an unrelated fault does not reorder the others ----------------------------------------------


@given(mine.packs(), SMALL, st.sampled_from(("very common", "rare")), st.data())
def test_an_unrelated_fault_takes_its_share_of_all_others_alike(pack, told, how_common, data):
    rule = {"when": {"listen": {"is": "loud"}}, "says": {"unheard_of": "strongly for"}, "topic": "noises"}
    extra = {
        "pack": "extra",
        "faults": {"unheard_of": mine.fault_entry(how_common)},
        "rules": {"loud": mine.rule_entry(**rule)} if data.draw(st.booleans()) else {},
    }
    before = mine.chances(mine.compiled(pack), told.reading())
    after = mine.chances(mine.compiled(pack, {k: v for k, v in extra.items() if v}), told.reading())
    left = 1.0 - after.pop("unheard_of")
    assert after == pytest.approx({name: left * chance for name, chance in before.items()}, abs=1e-12)
    for one in before:
        for other in before:
            if before[one] > before[other] * (1 + 1e-9):
                assert after[one] > after[other]


# -- removing an input never raises; it may only widen the answer -------------------------------------------------
#
# "Widen" does not mean that the leader loses probability: what is removed may have spoken against it. It means that
# no evidence comes from what is not there. So, whatever is removed:
#  - a rule none of whose quantities changed says what it said before;
#  - a rule that looks at something now missing is silent, or decided by another condition that is false, and says no more
#    than that one does: all of it where it is clearly false, less and less where it is less clear.


def seen(work, name):
    """The value a rule looks at: a number, a word, or None where there is none."""
    found = work.get(name) if name in QUANTITIES else work.told(name)
    if isinstance(found, Derived):
        return None if math.isnan(found.value[0]) else (float(found.value[0]), float(found.u[0]))
    if found is None or isinstance(found, Absent) or found.codes[0] < 0:
        return None
    return found.values[found.codes[0]]


def no_evidence_from_nothing(program, told, name):
    before, after = (columns_of([t.reading()]) for t in (told, told.without(name)))
    old, new = Work(before, QUANTITIES, program.bands), Work(after, QUANTITIES, program.bands)
    changed = {q for q in program.names if seen(old, q) != seen(new, q)}
    gone = {q for q in program.names if seen(new, q) is None}
    degrees = [mine.rule_degrees(program, columns) for columns in (before, after)]
    for rule in program.rules:
        looked_at = {c.name for c in rule.conditions}
        was, now = (float(d[rule.id][0]) for d in degrees)
        if looked_at & gone:
            alone = by_condition(told.without(name).reading(), rule, program)
            least = np.nanmin([1.0, *(degree for what, degree in alone if what != "applies_to")])
            assert math.isnan(now) or (least < FADES_BY and least - 1e-12 <= now <= 0.5), (rule.id, name)
            assert math.isnan(now) or least > CLEARLY_FALSE or now == pytest.approx(least), (rule.id, name)
        if not looked_at & changed and not set(rule.applies_to) & {name}:
            # A rule without weights for "does not hold" is skipped where its column is missing: NaN or 0 is the same.
            same = now == was or (math.isnan(now) and math.isnan(was)) or not any(rule.otherwise.values())
            assert same, (rule.id, name)


@given(mine.told(), st.data())
def test_removing_an_input_leaves_no_evidence_of_it(told, data):
    assume(told.inputs)
    no_evidence_from_nothing(BUILT_IN, told, data.draw(st.sampled_from(told.inputs)))


@given(mine.packs(), SMALL, st.data())
def test_removing_an_input_leaves_no_evidence_of_it_with_any_pack(pack, told, data):
    assume(told.inputs)
    no_evidence_from_nothing(mine.compiled(pack), told, data.draw(st.sampled_from(told.inputs)))


@given(mine.told(), st.data())
def test_inputs_can_be_taken_away_one_by_one_down_to_nothing(told, data):
    for name in data.draw(st.permutations(told.inputs)):
        told = told.without(name)
        whole(weigh(BUILT_IN, [told.reading()]))
    assert diagnose(told.reading()).verdict == "not_enough"


@given(mine.told(), st.data())
def test_an_answer_taken_away_takes_its_evidence_along_and_no_other(told, data):
    """To leave out an answer is to leave out the rules that look at nothing else."""
    readers = {name: [r for r in BUILT_IN.rules if name in {c.name for c in r.conditions}] for name in told.checks}
    gates = {c.name for gate in BUILT_IN.gates for c in gate.rule.conditions}
    own = [
        name for name, rules in readers.items() if name not in gates and all(len(r.conditions) == 1 for r in rules)
    ]
    assume(own)
    check = data.draw(st.sampled_from(own))
    kept = tuple(r for r in BUILT_IN.rules if r not in readers[check])
    unread = replace(BUILT_IN, rules=kept, plans={})
    without = mine.weights(BUILT_IN, told.without(check).reading())
    assert mine.weights(unread, told.reading()) == pytest.approx(without, abs=1e-12)


# -- beside these -------------------------------------------------------------------------------------------------


def settled(contributions):
    """What counts of one topic for one fault: the strongest for, and the strongest against."""
    return max([0.0, *contributions]) + min([0.0, *contributions])


def by_hand(program, reading):
    """Weigh by the sentences of section 4 of the design, one rule after the other, from the degrees of the rules."""
    columns = columns_of([reading])
    degree = {name: float(d[0]) for name, d in mine.rule_degrees(program, columns).items()}
    ledger = weigh_chunk(columns, program)[1]
    shut: dict[str, float] = {}
    for gate, row in zip(ledger.plan.gates, ledger.gate_degree, strict=True):
        silences = next(g.silences for g in program.gates if g.rule.id == gate.id)
        for topic in silences:
            if not math.isnan(row[0]):
                shut[topic] = max(shut.get(topic, 0.0), 2.0 * float(row[0]) - 1.0)
    score = {}
    for hypothesis in program.hypotheses:
        weight = 0.0
        for topic in program.topics:
            said = []
            for rule in program.rules:
                d = degree[rule.id]
                if rule.topic == topic and not math.isnan(d):
                    holds = rule.says.get(hypothesis.id, 0.0) * max(0.0, 2 * d - 1)
                    fails = rule.otherwise.get(hypothesis.id, 0.0) * max(0.0, 1 - 2 * d)
                    said.append((holds + fails) * (1.0 - shut.get(topic, 0.0)))
            weight += settled(said)
        told = reading.parts.words
        excluded = any(name in told and told[name] not in ok for name, ok in hypothesis.applies_to.items())
        score[hypothesis.id] = None if excluded else hypothesis.prior + weight
    odds = {name: 0.0 if s is None else 10.0 ** (s / 10.0) for name, s in score.items()}
    return {name: each / sum(odds.values()) for name, each in odds.items()}


@given(mine.packs(), SMALL)
def test_the_answer_is_what_the_design_says_worked_by_hand(pack, told):
    program = mine.compiled(pack)
    assert mine.chances(program, told.reading()) == pytest.approx(by_hand(program, told.reading()), abs=1e-12)


@given(mine.told())
def test_the_answer_of_the_built_in_rules_is_what_the_design_says_worked_by_hand(told):
    assert mine.chances(BUILT_IN, told.reading()) == pytest.approx(by_hand(BUILT_IN, told.reading()), abs=1e-12)


@given(mine.packs(), SMALL)
def test_no_rule_says_more_than_its_author_wrote(pack, told):
    program = mine.compiled(pack)
    ledger = weigh_chunk(columns_of([told.reading()]), program)[1]
    for (rule_index, fault), contribution in zip(ledger.plan.terms, ledger.contribution[:, 0], strict=True):
        rule = ledger.plan.rules[rule_index]
        name = program.hypotheses[fault].id
        bounds = sorted((rule.says.get(name, 0.0), rule.otherwise.get(name, 0.0), 0.0))
        assert bounds[0] <= contribution <= bounds[-1]


@given(mine.packs(), SMALL)
def test_within_a_topic_a_weaker_rule_of_the_same_opinion_changes_nothing(pack, told):
    program = mine.compiled(pack)
    weaker = {}
    for name, rule in pack["rules"].items():
        half = {
            side: {fault: f"{w / 2} dB" for fault, w in written.items()}
            for side, written in (
                ("says", next(r.says for r in program.rules if r.id == name)),
                ("otherwise", next(r.otherwise for r in program.rules if r.id == name)),
            )
            if written
        }
        weaker[f"half_{name}"] = rule | half
    more = mine.compiled(pack | {"rules": pack["rules"] | weaker})
    assert mine.chances(more, told.reading()) == pytest.approx(mine.chances(program, told.reading()), abs=1e-12)


@given(mine.packs(), SMALL, st.sampled_from(("decisively for", "decisively against")), st.booleans())
def test_a_rule_whose_inputs_are_missing_changes_nothing(pack, told, weight, beside):
    when = {"discharge_superheat": {"above": "20 K"}}
    if beside:
        when["ambient"] = {"above": "-60 degC"}  # of any reading; so the rule hangs on what is missing
    told = told.without("discharge_line")
    rule = mine.rule_entry(when, {"normal": weight}, "first_topic", otherwise={"normal": weight})
    more = mine.compiled(pack | {"rules": pack["rules"] | {"blind": rule}})
    same_answer(weigh(mine.compiled(pack), [told.reading()]), weigh(more, [told.reading()]))


@given(mine.told())
def test_a_fault_that_cannot_be_in_this_system_has_no_probability(told):
    words = told.reading().parts.words
    chances = mine.chances(BUILT_IN, told.reading())
    for hypothesis in BUILT_IN.hypotheses:
        excluded = any(n in words and words[n] not in ok for n, ok in hypothesis.applies_to.items())
        assert (chances[hypothesis.id] == 0.0) == excluded


@given(mine.told())
def test_a_diagnosis_lists_every_fault_that_applies_once_and_in_order(told):
    found = diagnose(told.reading())
    chances = [ranked.probability for ranked in found.ranking]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) == pytest.approx(1.0, abs=1e-12)
    applying = {name for name, chance in mine.chances(BUILT_IN, told.reading()).items() if chance > 0.0}
    assert sorted(ranked.fault for ranked in found.ranking) == sorted(applying)
    assert found.close[0] == found.first.fault
    for ranked in found.ranking:
        counted = [reason.weight for reason in ranked.reasons if reason.counted]
        # Reasons below 0.05 dB are not told.
        assert sum(counted) == pytest.approx(ranked.weight, abs=0.05 * len(BUILT_IN.topics))
