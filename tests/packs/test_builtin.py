"""The packs that ship: complete, sourced, proven by their own examples, and unknown to the engine by name."""

from __future__ import annotations

import ast
import re
from collections import defaultdict

import pytest

from twogauge import refrigerants
from twogauge.packs.compile import REFERENCE, compile_stack
from twogauge.packs.selftest import check_examples, count_examples
from twogauge.packs.stack import built_in, rules_folder, stack
from twogauge.packs.words import WORKS

REQUIRED_FAULTS = {
    "air_in_system",
    "compressor_not_driven",
    "condenser_cooling",
    "cycling_control",
    "displacement_control",
    "excess_heat_load",
    "gauge_error",
    "high_side_restriction",
    "low_charge",
    "low_evaporator_airflow",
    "metering_restricted",
    "metering_stuck_open",
    "moisture",
    "normal",
    "oil_excess",
    "overcharge",
    "suction_restriction",
    "weak_compressor",
    "wrong_refrigerant",
}

# Rules that say nothing about `normal`, and why that is on purpose.
_EACH_SIDE = "each side has spoken about normal in its own topic; together they only tell faults apart"
_HISTORY = "a healthy machine may have this history"
_VALVE = "adds to a rule of the same topic, which speaks about normal"
SILENT_ABOUT_NORMAL = {
    "compressor_does_pump": "only clears one fault; the levels speak about normal",
    "both_sides_high": _EACH_SIDE,
    "both_sides_low": _EACH_SIDE,
    "low_side_high_high_side_low": _EACH_SIDE,
    "low_side_high_high_side_normal": _EACH_SIDE,
    "low_side_low_high_side_high": _EACH_SIDE,
    "low_side_low_high_side_normal": _EACH_SIDE,
    "low_side_normal_high_side_high": _EACH_SIDE,
    "low_side_normal_high_side_low": _EACH_SIDE,
    "expansion_valve_holds_against_a_high_side": _EACH_SIDE,
    "orifice_carries_the_high_side_over": _EACH_SIDE,
    "quiet_compressor_that_does_not_pump": _EACH_SIDE,
    "variable_compressor_at_rest": _EACH_SIDE,
    "low_side_high_past_an_expansion_valve": _VALVE,
    "low_side_low_at_an_expansion_valve": _VALVE,
    "levels_out_quickly": "a sound machine levels out quickly or slowly, by its metering device",
    "levels_out_quickly_past_a_valve": "some valves bleed on purpose",
    "charged_by_pressure": _HISTORY,
    "never_touched": _HISTORY,
    "oily_joints": "oil of a leak mended long ago stays where it is",
    "doors_open": "says how it was read, not how the machine is",
    "clutch_never_lets_go": "on a hot day a sound machine never lets go either",
    "liquid_line_cool": "a sound machine in cool air has a cool liquid line",
}
# Answers that no rule listens to: what is usual there, or tells nothing.
NEUTRAL_ANSWERS = {
    ("compressor_heat", "usual"),
    ("discharge_line_feel", "hot"),
    ("high_side_needle", "steady"),
    ("high_side_needle", "swinging"),
    ("liquid_line_feel", "warm"),
    ("low_side_needle", "steady"),
    ("low_side_needle", "swinging"),
    ("suction_line_feel", "cool"),
}
# Checks that no rule looks at, and why they are there all the same.
CHECKS_WITHOUT_A_RULE: dict[str, str] = {}

# Where the engine may name a refrigerant: an example of what to type, or why a curve is built as it is.
MAY_NAME_REFRIGERANTS = {
    "__init__.py": "the example at the top",
    "fields.py": "examples of what to write",
    "intake.py": "examples of what to write",
    "reading.py": "examples of what to write",
    "cli/batch.py": "the example in the help",
    "cli/charge.py": "the example in the help",
    "cli/cylinder.py": "the example in the help",
    "cli/diagnose.py": "the example in the help",
    "cli/expect.py": "the example in the help",
    "cli/job.py": "the examples in the help",
    "cli/oil.py": "the example in the help",
    "cli/hold.py": "the example in the help",
    "cli/plan.py": "the example in the help",
    "cli/saturation.py": "the example in the help",
    "cli/standing.py": "the example in the help",
    "cli/table.py": "the example in the help",
    "fleet/column_map.py": "examples of what to write",
    "packs/codes/entries.py": "examples of right and wrong rules",
    "refrigerants/build.py": "which blends CoolProp has a model of its own for",
    "refrigerants/catalogue.py": "examples of how a name may be written",
    "serve/state.py": "an example of an address",
    "serve/desk/tools.py": "the example of each page",
    "serve/pages/table.py": "an example of what to write",
}


@pytest.fixture(scope="module")
def packs():
    return built_in()


@pytest.fixture(scope="module")
def program(packs):
    return compile_stack(packs)


@pytest.fixture(scope="module")
def engine(root):
    folder = root / "engine" / "twogauge"
    return {path.relative_to(folder).as_posix(): path.read_text("utf-8") for path in sorted(folder.rglob("*.py"))}


def told(fault):
    """Return all that a fault tells somebody to do."""
    return " ".join(step.text for step in fault.repair)


# -- complete -------------------------------------------------------------------------------------------------------


def test_the_packs_load_and_know_what_they_must(packs, program):
    assert [header.pack for header in packs.packs] == ["common", "automotive", "stationary"]
    assert set(packs.faults) >= REQUIRED_FAULTS
    assert len(packs.rules) >= 60
    assert packs.notices == ()
    assert [h.id for h in program.hypotheses if h.nothing_wrong] == ["normal"]


def test_the_common_pack_needs_no_other():
    alone = compile_stack(stack([rules_folder() / "common"]))
    assert {rule.id for rule in alone.rules} == {r.id for r in built_in().rules.values() if r.pack == "common"}


def test_every_rule_file_holds_one_topic(packs):
    topics = defaultdict(set)
    for rule in packs.rules.values():
        topics[rule.place().path].add(rule.entry.topic)
    assert {path: found for path, found in topics.items() if len(found) > 1} == {}


def test_every_example_holds(program):
    assert [str(failure) for failure in check_examples(program)] == []
    assert count_examples(program) >= 2 * (len(program.rules) + len(program.gates))


# -- sourced --------------------------------------------------------------------------------------------------------


def test_every_rule_names_the_source_of_its_weights_and_of_its_numbers(packs):
    numeric = ("above", "below", "between")
    for name, rule in packs.rules.items():
        source = rule.entry.source
        assert source.weights, f"{rule.place()}: {name}: source.weights is missing"
        has_numbers = any(getattr(test, key) for test in rule.entry.when.values() for key in numeric)
        assert source.numbers or not has_numbers, f"{rule.place()}: {name}: source.numbers is missing"


@pytest.mark.parametrize("kind", ["faults", "checks", "cautions", "gates", "bands", "criteria", "plans"])
def test_every_other_entry_names_its_source(packs, kind):
    for name, loaded in getattr(packs, kind).items():
        source = loaded.entry.source
        assert source.numbers or source.facts, f"{loaded.place()}: {name}"


# -- nothing left hanging -------------------------------------------------------------------------------------------


def test_every_fault_has_evidence_for_it_and_against_it(packs):
    speaks = defaultdict(set)
    for rule in packs.rules.values():
        for side in (rule.entry.says, rule.entry.otherwise):
            for fault, weight in side.items():
                speaks[fault].add(weight > 0)
    assert {fault for fault in packs.faults if speaks[fault] < {True, False}} == set()


def test_every_check_is_used_by_a_rule_or_says_why_not(packs):
    used = {name for rule in packs.rules.values() for name in rule.entry.when}
    assert set(packs.checks) - used == set(CHECKS_WITHOUT_A_RULE)


def test_every_answer_moves_something_or_is_known_to_be_neutral(packs):
    heard = set()
    for rule in packs.rules.values():
        for name, test in rule.entry.when.items():
            if name in packs.checks:
                every = packs.checks[name].entry.answers
                mine = {test.is_} if test.is_ else set(test.any_of or ())
                heard |= {(name, answer) for answer in (every if rule.entry.otherwise or test.is_not else mine)}
    silent = {(name, answer) for name, check in packs.checks.items() for answer in check.entry.answers} - heard
    assert silent == NEUTRAL_ANSWERS


def test_every_rule_speaks_about_normal_or_is_silent_on_purpose(packs):
    silent = {
        name for name, rule in packs.rules.items() if "normal" not in {**rule.entry.says, **rule.entry.otherwise}
    }
    assert silent == set(SILENT_ABOUT_NORMAL)


def test_every_caution_is_shown_somewhere(packs):
    named = {c for kind in (packs.faults, packs.checks) for each in kind.values() for c in each.entry.cautions}
    named |= {c for plan in packs.plans.values() for step in plan.entry.steps.values() for c in step.cautions}
    beside = {name for name, loaded in packs.cautions.items() if loaded.entry.beside}
    assert set(packs.cautions) - named - beside == set()


def test_every_work_has_its_cautions(packs):
    beside = {work for loaded in packs.cautions.values() for work in loaded.entry.beside}
    assert beside == set(WORKS)


# -- said well ------------------------------------------------------------------------------------------------------


def test_a_reason_reads_as_a_sentence(packs):
    for name, loaded in {**packs.rules, **packs.gates}.items():
        because = loaded.entry.because
        assert because.endswith("."), name
        assert because[0].isupper() or because[0] == "{", name
        assert REFERENCE.search(loaded.entry.title) is None, name
        assert not loaded.entry.title.endswith("."), name


def test_no_reason_mixes_the_readers_units_with_kelvin_alone(packs):
    for name, loaded in packs.rules.items():
        for match in re.finditer(r"\d+ K\b", loaded.entry.because):
            assert "degF)" in loaded.entry.because[match.end() :][:12], name


def test_no_two_rules_show_the_same_sight(packs):
    titles = [rule.entry.title.casefold() for rule in packs.rules.values()]
    assert sorted(titles) == sorted(set(titles))


# -- safe -----------------------------------------------------------------------------------------------------------

_OPENS = re.compile(r"\brecover\b|\bpull .*vacuum\b|\bcharge by weight\b|\bvalve core\b", re.IGNORECASE)


def test_a_repair_that_opens_the_circuit_warns_of_eyes_and_skin_and_of_venting(packs):
    opening = {name for name, fault in packs.faults.items() if _OPENS.search(told(fault.entry))}
    assert opening >= {
        "low_charge",
        "overcharge",
        "air_in_system",
        "weak_compressor",
        "wrong_refrigerant",
        "moisture",
    }
    for name in opening:
        assert {"eyes_and_skin", "recover_never_vent"} <= set(packs.faults[name].entry.cautions), name


def test_every_fault_defers_to_the_maker(packs):
    assert {name for name, fault in packs.faults.items() if "follow_maker" not in fault.entry.cautions} == set()


@pytest.mark.parametrize(
    ("words", "caution"),
    [
        (r"\bnitrogen\b", "no_pressure_test_with_air"),
        (r"\bhigh voltage\b|\binverter", "high_voltage_compressor"),
        (r"\bwater\b[^.]*\bfins\b", "water_and_electricity"),
        (r"\b(?:renew|replace|new|right) (?:the )?oil\b|\boil of the right kind\b", "oil_type"),
        (r"\bcharge\b[^.]*\bby weight\b", "recover_never_vent"),
        (r"\bmixtures?\b", "mixed_refrigerant"),
    ],
)
def test_advice_of_a_kind_carries_the_caution_of_its_kind(packs, words, caution):
    found = [name for name, fault in packs.faults.items() if re.search(words, told(fault.entry), re.IGNORECASE)]
    assert found, "nothing advises this any more; take the row out"
    assert [name for name in found if caution not in packs.faults[name].entry.cautions] == []


# -- physics that was decided ----------------------------------------------------------------------------------------


def weights(packs, rule):
    return {**packs.rules[rule].entry.says}


def test_levelling_out_tells_of_the_compressor_only_past_an_expansion_valve(packs):
    for name, rule in packs.rules.items():
        test = rule.entry.when.get("equalising_after_stop")
        if test is not None and rule.entry.says.get("weak_compressor", 0.0) > 0:
            assert rule.entry.applies_to == {"metering": ("expansion_valve",)}, name


def test_a_variable_compressor_is_not_blamed_for_holding_its_low_side(packs):
    for name, rule in packs.rules.items():
        if "speed_response" in rule.entry.when:
            assert "variable" not in rule.entry.applies_to["compressor_control"], name


def test_water_on_the_condenser_weighs_moderately(packs):
    says = weights(packs, "water_helps")
    assert max(abs(weight) for weight in says.values()) <= 6.0


def test_a_valve_stuck_open_leaves_the_high_side_open(packs):
    for rule in ("high_side_low", "high_side_high", "both_sides_high", "low_side_high_high_side_low"):
        assert abs(weights(packs, rule).get("metering_stuck_open", 0.0)) <= 3.0, rule


# -- unknown to the engine ------------------------------------------------------------------------------------------


def test_the_engine_names_no_entry_of_the_packs(packs, engine):
    kinds = (
        packs.faults,
        packs.checks,
        packs.rules,
        packs.gates,
        packs.bands,
        packs.cautions,
        packs.criteria,
        packs.plans,
    )
    ids = {name for kind in kinds for name in kind}
    # An id of one word may be a word of the language; as a whole text it would still be a name.
    spelled = re.compile(r"\b(?:" + "|".join(sorted(name for name in ids if "_" in name)) + r")\b")
    found = []
    for path, text in engine.items():
        found += [f"{path}: {match}" for match in spelled.findall(text)]
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Constant) and node.value in ids - {
                "normal",
                "retrofit",
                "hoses",
            }:  # words of our own as well
                found.append(f"{path}:{node.lineno}: {node.value}")
    assert found == []


def test_the_engine_names_refrigerants_only_in_examples(engine):
    ids = {re.escape(name) for name in refrigerants.names()}
    spelled = re.compile(r"(?<![\w-])(?:" + "|".join(sorted(ids)) + r")(?![\w-])")
    naming = {path for path, text in engine.items() if spelled.search(text)}
    assert naming == set(MAY_NAME_REFRIGERANTS)
    for path in naming:
        whole = [
            node.value
            for node in ast.walk(ast.parse(engine[path]))
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and spelled.fullmatch(node.value)
        ]
        assert whole == [], path
