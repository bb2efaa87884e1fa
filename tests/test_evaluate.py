"""Labelled cases: read with their places, answered all at once, and counted as the method says."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge import Reading
from twogauge.cases import Case, read_cases
from twogauge.diagnosis import diagnose, program_for
from twogauge.errors import FileProblems
from twogauge.evaluate import (
    BINS,
    CORRECT,
    FALSE_ALARM,
    MISDIAGNOSIS,
    MISSED_DETECTION,
    NO_RESPONSE,
    OF_FAULTY,
    OF_NORMAL,
    counts,
    evaluate,
)
from twogauge.packs.problems import Place

# A pack whose every answer is known beforehand: the check is what the answer will be.
SAYS = {
    "leak": {"leak": "strongly for"},
    "blocked": {"blocked": "strongly for"},
    "sound": {"normal": "strongly for"},
    "leak_or_blocked": {"leak": "10 dB", "blocked": "9 dB"},
    "sound_or_leak": {"normal": "10 dB", "leak": "9 dB"},
    "three": {"leak": "10 dB", "blocked": "9.5 dB", "worn": "9 dB"},
    "nothing": {"leak": "slightly for"},
}
PACK = {
    "pack": "known",
    "faults": {
        "blocked": mine.fault_entry("common"),
        "leak": mine.fault_entry("common", formerly=["drip"]),
        "worn": mine.fault_entry("common"),
        "normal": mine.fault_entry("common", nothing_wrong="yes"),
    },
    "checks": {"sight": mine.check_entry(tuple(SAYS)), "look": mine.check_entry(("yes", "no"))},
    "rules": {
        f"shows_{word}": mine.rule_entry({"sight": {"is": word}}, says, "sight") for word, says in SAYS.items()
    },
    "gates": {"stopped": mine.gate_entry({"compressor": {"is": "off"}}, "everything")},
}


@pytest.fixture(scope="module")
def known():
    return mine.compiled(PACK)


def case(faults, **told):
    reading = Reading({"compressor": told.pop("compressor", "running"), "checks": told})
    return Case("", reading, tuple(faults.split()), "", Place("cases.yaml"))


@pytest.mark.parametrize(
    ("faults", "sight", "outcome", "rank"),
    [
        ("leak", "leak", CORRECT, 1),
        ("blocked leak", "leak", CORRECT, 1),
        ("normal", "sound", CORRECT, 1),
        ("normal", "leak", FALSE_ALARM, 3),
        ("blocked", "leak", MISDIAGNOSIS, 2),
        ("leak", "sound", MISSED_DETECTION, 3),
        ("leak", "nothing", NO_RESPONSE, 1),
        ("normal", "nothing", NO_RESPONSE, 3),
        # Too close: the leader and the next count, a third does not.
        ("blocked", "leak_or_blocked", CORRECT, 2),
        ("blocked", "three", CORRECT, 2),
        ("worn", "three", MISDIAGNOSIS, 3),
        ("normal", "leak_or_blocked", FALSE_ALARM, 3),
        ("normal", "sound_or_leak", CORRECT, 1),
        ("leak", "sound_or_leak", CORRECT, 2),
        ("blocked", "sound_or_leak", MISSED_DETECTION, 3),
    ],
)
def test_an_outcome_is_what_its_definition_says(known, faults, sight, outcome, rank):
    (judged,) = evaluate([case(faults, sight=sight)], known).judged
    assert (judged.outcome, judged.rank) == (outcome, rank), judged


def test_behind_a_gate_there_is_no_response(known):
    (judged,) = evaluate([case("leak", sight="leak", compressor="off")], known).judged
    assert (judged.verdict, judged.outcome, judged.answer) == ("gated", NO_RESPONSE, "")


@pytest.mark.parametrize(("faults", "normal"), [("normal leak", True), ("leak normal", False)])
def test_the_first_published_cause_says_whether_a_case_is_normal(known, faults, normal):
    (judged,) = evaluate([case(faults, sight="blocked")], known).judged
    assert (judged.normal, judged.outcome) == (normal, FALSE_ALARM if normal else MISDIAGNOSIS)


def test_the_tables_of_a_handful_of_cases_add_up_by_hand(known):
    told = [
        ("leak", "leak"),
        ("leak", "leak"),
        ("leak", "sound"),
        ("worn blocked", "blocked"),
        ("worn", "leak"),
        ("normal", "sound"),
        ("normal", "leak"),
        ("normal", "nothing"),
    ]
    found = evaluate([case(faults, sight=sight) for faults, sight in told], known)
    assert (found.within(1), found.within(3)) == (4, 7)
    assert counts(found.normal, OF_NORMAL) == {CORRECT: 1, FALSE_ALARM: 1, NO_RESPONSE: 1}
    assert counts(found.faulty, OF_FAULTY) == {CORRECT: 3, MISDIAGNOSIS: 1, MISSED_DETECTION: 1, NO_RESPONSE: 0}
    assert [(c.published, c.named, c.outcome, c.count) for c in found.confusion()] == [
        ("leak", "leak", CORRECT, 2),
        ("leak", "normal", MISSED_DETECTION, 1),
        ("normal", "", NO_RESPONSE, 1),
        ("normal", "leak", FALSE_ALARM, 1),
        ("normal", "normal", CORRECT, 1),
        ("worn", "blocked", CORRECT, 1),
        ("worn", "leak", MISDIAGNOSIS, 1),
    ]
    # One of four with 10 dB: 10 / 13. With 3 dB, 2 / 5.
    strong, weak = 10 / 13, 10**0.3 / (3 + 10**0.3)
    by_bin = {b.low: b for b in found.calibration()}
    assert (by_bin[0.6].count, by_bin[0.6].right) == (7, 4)
    assert by_bin[0.6].stated == pytest.approx(strong)
    assert (by_bin[0.2].count, by_bin[0.2].right) == (1, 0)
    assert by_bin[0.2].stated == pytest.approx(weak)


ANY = st.tuples(
    st.lists(st.sampled_from(("leak", "blocked", "worn", "normal")), min_size=1, max_size=3, unique=True),
    st.sampled_from(tuple(SAYS)),
    st.sampled_from(("running", "off")),
)


@given(st.lists(ANY, min_size=1, max_size=12))
def test_every_case_is_counted_once_in_every_table(told):
    known = mine.compiled(PACK)
    found = evaluate([case(" ".join(f), sight=s, compressor=c) for f, s, c in told], known)
    for group, outcomes in ((found.normal, OF_NORMAL), (found.faulty, OF_FAULTY)):
        if group:
            assert math.fsum(n / len(group) for n in counts(group, outcomes).values()) == pytest.approx(1.0)
    assert len(found.normal) + len(found.faulty) == len(told)
    assert sum(c.count for c in found.confusion()) == len(told)
    bins = found.calibration()
    assert sum(b.count for b in bins) == len(told)
    assert sum(b.right for b in bins) == found.within(1) <= found.within(3) <= found.within(4) == len(told)
    assert all(not b.count or b.low <= b.stated <= b.high for b in bins)


def test_the_bins_cover_every_probability():
    assert (BINS[0], BINS[-1]) == (0.0, 1.0)
    assert list(BINS) == sorted(BINS)


@given(mine.columns_told(most=6))
def test_cases_side_by_side_are_answered_as_each_alone_is_diagnosed(told):
    program = program_for()
    readings = [each.reading() for each in told]
    found = evaluate([Case("", reading, ("normal",), "", Place("x")) for reading in readings], program)
    for reading, judged in zip(readings, found.judged, strict=True):
        alone = diagnose(reading)
        assert judged.verdict == alone.verdict
        assert judged.leaders == tuple((r.fault, r.probability) for r in alone.ranking[:3])
        if alone.verdict == "too_close":
            assert judged.named == alone.close[:2]


def test_no_case_at_all_is_a_mistake_of_the_caller(known):
    with pytest.raises(ValueError, match="no readings"):
        evaluate([], known)


# -- files ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def read(tmp_path, known):
    def from_text(text, name="cases.yaml", program=known):
        (tmp_path / name).write_text(text, "utf-8")
        return read_cases([tmp_path / name], program)

    return from_text


def test_a_manuals_words_become_those_of_a_reading(read):
    (found,) = read(
        "- id: row_2\n"
        "  source: {title: A manual, year: null}\n"
        "  kind: shelter\n"
        "  refrigerant: R22\n"
        "  metering: txv\n"
        "  compressor: cycling\n"
        "  conditions: {ambient: 80 degF, compressor: off, engine_rpm: 1200-1500, note: any}\n"
        "  readings: {low_side: 10-25 psi, high_side: low, superheat: 5 to 10 K, discharge_temperature: high}\n"
        "  observations: [it leaks]\n"
        "  checks: {sight: leak}\n"
        "  faults: [leak, blocked]\n"
    )
    parts = found.reading.parts
    assert parts.words == {
        "system": "packaged_ac",
        "refrigerant": "R22",
        "metering": "expansion_valve",
        "compressor_control": "clutch_cycling",
        "compressor": "off",
        "high_side": "low",
        "discharge_line": "high",
        "sight": "leak",
    }
    assert parts.numbers["low_side"] == pytest.approx(17.5 * 6894.757 + 101325.0)
    assert parts.numbers["superheat"] == pytest.approx(7.5)
    assert not parts.swings
    assert (found.id, found.faults, found.source) == ("row_2", ("leak", "blocked"), "A manual")


def test_words_of_a_reading_are_taken_as_they_are(read):
    (found,) = read(
        "- {faults: normal, kind: bus_ac, metering: Orifice tube, compressor: variable, refrigerant: unknown, "
        "verbatim_numbers_checked: true, readings: {low_side: -5 inHg}}\n"
    )
    words = {"system": "bus_ac", "metering": "orifice_tube", "compressor_control": "variable"}
    assert found.reading.parts.words == words
    assert found.reading.parts.numbers["low_side"] < 101325.0
    assert found.id == "cases.yaml:1"


def test_a_case_may_hold_a_reading(read, tmp_path):
    (tmp_path / "good_day.yaml").write_text("low_side: 30 psi\n", "utf-8")
    (found,) = read(
        "- id: a\n  faults: [drip]\n  reading: {units: metric, low_side: 2, baseline: good_day.yaml}\n  note: kept\n"
    )
    assert found.faults == ("leak",), "the id it had before"
    assert found.reading.parts.numbers["low_side"] == pytest.approx(301325.0)
    assert found.reading.baseline is not None


def test_json_is_taken_too(read):
    text = json.dumps([{"id": "a", "faults": ["leak"], "reading": {"low_side": "low"}}])
    assert [found.id for found in read(text)] == ["a"]


def test_a_book_is_one_case_a_line(read):
    line = json.dumps({"reading": {"low_side": "low"}, "faults": ["leak"], "confirmed": "2026-06-12", "packs": {}})
    found = read(f"{line}\n\n{line}\n", "book.jsonl")
    assert [(c.id, c.place.line, c.from_book) for c in found] == [
        ("book.jsonl:1", 1, True),
        ("book.jsonl:3", 3, True),
    ]


GOOD = "- id: good\n  faults: [leak]\n  reading: {low_side: low}\n"
MISTAKES = {
    "no list": ("faults: [leak]\n", 1, 1, "a file of cases is a list"),
    "nothing in it": ("[]\n", 1, 1, "there is no case in this file"),
    "no case": (f"{GOOD}- leak\n", 4, 3, "a case is lines of 'key: value'"),
    "a key nobody knows": (f"{GOOD}  fautls: [leak]\n", 4, 3, "'fautls' is not a key here; did you mean 'faults'"),
    "no faults": ("- reading: {low_side: low}\n", 1, 3, "'faults' is missing here"),
    "an empty list of faults": ("- {faults: [], reading: {low_side: low}}\n", 1, 12, "name at least one"),
    "an unknown fault": (
        "- {faults: [normal, laek], reading: {low_side: low}}\n",
        1,
        21,
        "'laek' is not a fault known here; did you mean 'leak'?",
    ),
    "a fault like no other": ("- {faults: q, reading: {low_side: low}}\n", 1, 12, "`twogauge rules faults` lists"),
    "a fault that is no name": ("- {faults: [[leak]], reading: {low_side: low}}\n", 1, 13, "ids of faults belong"),
    "no reading": ("- faults: [leak]\n", 1, 3, "what was read is missing here"),
    "two readings": (
        f"{GOOD}  readings: {{low_side: low}}\n",
        4,
        3,
        "'reading' says what was read; move 'readings' into it",
    ),
    "a reading that is text": ("- {faults: leak, reading: low}\n", 1, 27, "lines of 'field: value' belong here"),
    "a bad value in a reading": (
        "- faults: leak\n  reading:\n    low_side: 35 bananas\n",
        3,
        15,
        "low_side: 'bananas' is not a unit",
    ),
    "an unknown field of a reading": (
        "- faults: leak\n  reading:\n    hihg_side: low\n",
        3,
        5,
        "did you mean 'high_side'?",
    ),
    "an unknown answer in a reading": (
        "- faults: leak\n  reading:\n    checks: {sight: laek}\n",
        3,
        21,
        "sight: 'laek' is not an answer to this check; did you mean 'leak'?",
    ),
    "a bad value in readings": (
        "- faults: leak\n  readings: {low_side: loww}\n",
        2,
        24,
        "low_side: 'loww' is not a word for this; did you mean 'low'?",
    ),
    "an unknown field in readings": (
        "- faults: leak\n  readings: {low_sied: low}\n",
        2,
        14,
        "'low_sied' is not known in readings; did you mean 'low_side'",
    ),
    "an unknown field in conditions": (
        "- faults: leak\n  readings: {low_side: low}\n  conditions: {ambeint: 80 degF}\n",
        3,
        16,
        "'ambeint' is not known in conditions; did you mean 'ambient'",
    ),
    "readings that are text": ("- {faults: leak, readings: low}\n", 1, 28, "readings: lines of 'field: value'"),
    "the same told twice": (
        "- faults: leak\n  readings: {discharge_line: high, discharge_temperature: low}\n",
        2,
        36,
        "discharge_line is told twice in this case",
    ),
    "a kind nobody knows": (
        "- faults: leak\n  kind: vehicel\n  readings: {low_side: low}\n",
        2,
        9,
        "kind: 'vehicel' is not a word for this; did you mean 'vehicle'?",
    ),
    "a refrigerant nobody knows": (
        "- faults: leak\n  refrigerant: R1234x\n  readings: {low_side: low}\n",
        2,
        16,
        "refrigerant: ",
    ),
    "an unknown check": (
        "- faults: leak\n  readings: {low_side: low}\n  checks: {sihgt: leak}\n",
        3,
        12,
        "'sihgt' is neither a field nor a check known here; did you mean 'sight'?",
    ),
    "an id twice": (f"{GOOD}{GOOD}", 4, 7, "'good' is already the id of the case at"),
    "an id that is a list": ("- {id: [a], faults: leak, readings: {low_side: low}}\n", 1, 8, "id: one name belongs"),
    "no YAML": ("- {faults: [leak\n", 2, 1, ""),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_told_with_its_place(read, name):
    text, line, column, words = MISTAKES[name]
    with pytest.raises(FileProblems) as caught:
        read(text)
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.place.column) == (line, column), str(problem)
    assert words in problem.message


def test_all_mistakes_of_all_files_are_told_in_one_go(tmp_path, known):
    for name in ("a.yaml", "b.yaml"):
        (tmp_path / name).write_text("- {faults: laek, readings: {low_side: loww}}\n", "utf-8")
    with pytest.raises(FileProblems) as caught:
        read_cases([tmp_path / "a.yaml", tmp_path / "b.yaml", tmp_path / "c.yaml"], known)
    assert len(caught.value.problems) == 5


def test_a_mistake_in_a_book_is_told_on_its_own_line(read):
    good = json.dumps({"reading": {"low_side": "low"}, "faults": ["leak"]})
    bad = json.dumps({"reading": {"low_side": "loww"}, "faults": ["laek"]})
    with pytest.raises(FileProblems) as caught:
        read(f"{good}\n{bad}\n\n{good[:20]}\n", "book.jsonl")
    assert [p.place.line for p in caught.value.problems] == [2, 2, 4]


def test_a_check_of_a_pack_that_is_not_in_force_names_the_pack(read):
    line = {"reading": {"checks": {"brush": "yes"}}, "faults": ["leak"], "packs": {"known": 1, "our_shop": 1}}
    with pytest.raises(FileProblems, match="pack 'our_shop' was in force then; add it with --rules"):
        read(json.dumps(line) + "\n", "book.jsonl")


@given(st.binary(max_size=200))
def test_whatever_a_file_holds_is_read_or_refused(data):
    known = mine.compiled(PACK)
    try:
        found = read_cases(["-"], known, text=data)
    except FileProblems as error:
        told = str(error)
        found = []
    else:
        told = ""
    assert found or told.startswith("<stdin>:")
