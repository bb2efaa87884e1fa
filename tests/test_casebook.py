"""The case book: nothing in it is ever lost or rewritten, and what it teaches follows from its counts."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge import Reading
from twogauge.casebook import (
    PRIOR_CASES,
    PROPOSED,
    RuleRecord,
    append,
    as_pack,
    entry,
    propose,
    rule_records,
    write_proposal,
)
from twogauge.cases import Case, read_cases
from twogauge.diagnosis import program_for
from twogauge.errors import InputError
from twogauge.packs.compile import compile_stack
from twogauge.packs.problems import Place
from twogauge.packs.selftest import check_examples, count_examples
from twogauge.packs.stack import stack_on_built_in
from twogauge.packs.words import HOW_COMMON
from twogauge.reading import read_file
from twogauge.weigh import CHUNK

PROGRAM = program_for()


def confirmed(fault, count=1, **reading):
    return [
        Case("", Reading(reading or {"low_side": "low"}), (fault,), "", Place("book.jsonl"), from_book=True)
    ] * count


# -- adding a line --------------------------------------------------------------------------------------------------


def line_of(reading, fault="low_charge", **more):
    return entry(reading, [fault], PROGRAM, confirmed="2026-06-12", **more)


def test_what_is_added_is_read_back_as_it_was_given(tmp_path):
    (tmp_path / "good.yaml").write_text("units: metric\nlow_side: 2\nrefrigerant: R134a\nambient: 30\n", "utf-8")
    (tmp_path / "now.yaml").write_text(
        'units: metric\nlow_side: "0,5 bar"\nhigh_side: 9 to 11 bar\nrefrigerant: R134a\nambient: 32\n'
        "machine: bus 17\nspec: {low_side: [1.5 bar, 2.5 bar]}\nchecks: {oil_traces: yes}\nbaseline: good.yaml\n",
        "utf-8",
    )
    reading = read_file(tmp_path / "now.yaml")[0]
    book = tmp_path / "elsewhere" / "book.jsonl"
    book.parent.mkdir()
    append(book, line_of(reading, note="  leak at\n the  joint ", version="9.9"))
    (found,) = read_cases([book], PROGRAM)
    assert found.faults == ("low_charge",)
    assert found.reading.parts == reading.parts
    assert found.reading.given["low_side"] == "0,5 bar"
    assert found.reading.baseline.parts == reading.baseline.parts, "the book needs no other file"
    content = json.loads(book.read_text("utf-8"))
    assert content["note"] == "leak at the joint"
    assert content["packs"] == {header.pack: header.edition for header in PROGRAM.stack.packs}
    assert (content["confirmed"], content["twogauge"]) == ("2026-06-12", "9.9")


@given(mine.told())
def test_any_reading_survives_the_book(told):
    reading = told.reading()
    (found,) = read_lines(line_of(reading))
    assert found.reading.parts.numbers == reading.parts.numbers
    assert found.reading.parts.words == reading.parts.words


def read_lines(text):
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "book.jsonl")
        path.write_text(text, "utf-8")
        return read_cases([path], PROGRAM)


def test_lines_are_only_added(tmp_path):
    book = tmp_path / "book.jsonl"
    for _ in range(3):
        before = book.read_bytes() if book.exists() else b""
        append(book, line_of(Reading(low_side="low")))
        after = book.read_bytes()
        assert after.startswith(before)
        assert after.count(b"\n") == before.count(b"\n") + 1
        assert after.endswith(b"\n")


def test_a_line_that_was_cut_off_spoils_no_other(tmp_path):
    book = tmp_path / "book.jsonl"
    book.write_bytes(b'{"reading": {"low_si')
    append(book, line_of(Reading(low_side="low")))
    torn, whole, rest = book.read_bytes().split(b"\n")
    assert torn == b'{"reading": {"low_si'
    assert json.loads(whole)["faults"] == ["low_charge"]
    assert rest == b""


WRITER = """
import sys
from twogauge import casebook, locks
book, who, kind = sys.argv[1:]
if kind == "without":
    locks.fcntl = None
sys.stdin.readline()  # all begin at once
for i in range(40):
    casebook.append(book, f'{{"who": "{who}", "i": {i}, "pad": "{"x" * (7919 * (i % 5))}"}}\\n')
"""


@pytest.mark.parametrize("locks", ["with", "without"])
def test_several_processes_at_once_lose_nothing(tmp_path, locks):
    """Without locks it is the single write at the end of the file that keeps lines whole.

    A neighbour's line may then be seen half written, and be closed as if it had been cut off: that leaves an empty
    line, which readers pass over.
    """
    book = tmp_path / "book.jsonl"
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, book, str(who), locks], stdin=subprocess.PIPE, text=True)
        for who in range(4)
    ]
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.close()
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0, 0, 0]
    lines = [json.loads(line) for line in book.read_text("utf-8").splitlines() if line or locks == "with"]
    assert len(lines) == 160
    for who in "0123":
        assert [line["i"] for line in lines if line["who"] == who] == list(range(40)), "each in its own order"


def test_a_line_that_comes_in_between_is_not_written_over(tmp_path, monkeypatch):
    book = tmp_path / "book.jsonl"
    append(book, '{"i": 0}\n')
    real = os.read

    def read_while_another_writes(handle, count):
        found = real(handle, count)
        with book.open("a") as other:
            other.write('{"i": 1}\n')
        return found

    monkeypatch.setattr(os, "read", read_while_another_writes)
    append(book, '{"i": 2}\n')
    assert book.read_text("utf-8").splitlines() == ['{"i": 0}', '{"i": 1}', '{"i": 2}']


def test_a_book_that_somebody_else_holds_is_waited_for_and_then_refused(tmp_path, monkeypatch):
    fcntl = pytest.importorskip("fcntl")
    book = tmp_path / "book.jsonl"
    monkeypatch.setattr("twogauge.locks._PATIENCE", 0.05)
    with book.open("w") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        with pytest.raises(InputError, match="is held by another program; try again"):
            append(book, "{}\n")
    append(book, "{}\n")
    assert book.read_text("utf-8") == "{}\n"


def test_where_the_system_has_no_locks_the_line_is_added_all_the_same(tmp_path, monkeypatch):
    monkeypatch.setattr("twogauge.locks.fcntl", None)
    append(tmp_path / "book.jsonl", "{}\n")
    assert (tmp_path / "book.jsonl").read_text("utf-8") == "{}\n"


@pytest.mark.parametrize("name", [".", "no/such/folder/book.jsonl", "a\0b"])
def test_a_book_that_cannot_be_written_is_a_sentence(tmp_path, name):
    with pytest.raises(InputError, match="cannot be written"):
        append(f"{tmp_path}/{name}", "{}\n")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of this kind are known to POSIX only")
def test_a_pipe_is_no_book(tmp_path):
    os.mkfifo(tmp_path / "book.jsonl")
    with pytest.raises(InputError, match="is not a regular file"):
        append(tmp_path / "book.jsonl", "{}\n")


@pytest.mark.parametrize("note", ["x" * 2001, "a\x1b[31mred", "\ud800"])
def test_a_note_that_is_no_plain_text_is_refused(note):
    with pytest.raises(InputError, match="the note must be plain text"):
        line_of(Reading(low_side="low"), note=note)


# -- how the rules fared --------------------------------------------------------------------------------------------

RULES = {
    "pack": "known",
    "faults": {
        "blocked": mine.fault_entry("common"),
        "leak": mine.fault_entry("common"),
        "normal": mine.fault_entry("common", nothing_wrong="yes"),
    },
    "checks": {"sight": mine.check_entry(("yes", "no")), "feel": mine.check_entry(("yes", "no"))},
    "rules": {
        "seen": mine.rule_entry({"sight": {"is": "yes"}}, {"leak": "for"}, "one", otherwise={"leak": "against"}),
        "felt": mine.rule_entry({"feel": {"is": "yes"}}, {"leak": "against", "blocked": "for"}, "two"),
        "whisper": mine.rule_entry({"feel": {"is": "yes"}}, {"leak": "0.9 dB"}, "three"),
        "mutter": mine.rule_entry({"feel": {"is": "yes"}}, {"leak": "-0.9 dB", "blocked": "-0.9 dB"}, "five"),
        "never": mine.rule_entry({"superheat": {"above": "90 K"}}, {"leak": "for"}, "four"),
    },
    "gates": {"stopped": mine.gate_entry({"compressor": {"is": "off"}}, "everything")},
}


def told(fault, **checks):
    compressor = checks.pop("compressor", "running")
    return Case("", Reading(compressor=compressor, checks=checks), tuple(fault.split()), "", Place("x"))


def test_a_record_says_how_often_a_rule_led_to_what_was_confirmed():
    cases = [
        told("leak", sight="yes", feel="yes"),
        told("leak", sight="no"),
        told("blocked", sight="yes", feel="yes"),
        told("blocked", sight="no"),
        told("normal", sight="yes"),
        told("blocked leak", sight="yes"),
        told("leak", sight="yes", compressor="off"),
    ]
    records = {r.rule: r for r in rule_records(cases, mine.compiled(RULES))}
    assert records["seen"] == RuleRecord("seen", judged=7, held=5, right=2, against=1, aside=2)
    assert records["felt"] == RuleRecord("felt", judged=2, held=2, right=1, against=1, aside=0)
    assert records["whisper"] == RuleRecord("whisper", judged=2, held=2)
    assert records["mutter"] == RuleRecord("mutter", judged=2, held=2)
    assert "never" not in records, "a rule that could never be judged has no record"
    assert records["seen"].wrong == 3


def test_a_record_does_not_depend_on_how_many_cases_are_held_at_a_time(monkeypatch):
    cases = [told("leak", sight="yes"), told("blocked", feel="yes"), told("normal", sight="no")] * 3
    whole = rule_records(cases, mine.compiled(RULES))
    monkeypatch.setattr("twogauge.casebook._CHUNK", 2)
    assert rule_records(cases, mine.compiled(RULES)) == whole
    assert len(cases) < CHUNK


# -- priors ---------------------------------------------------------------------------------------------------------


def shares(program=PROGRAM):
    weights = {h.id: 10 ** (h.prior / 10) for h in program.hypotheses if not h.nothing_wrong}
    return {name: weight / sum(weights.values()) for name, weight in weights.items()}


def test_the_priors_in_force_are_worth_as_many_cases_as_the_page_says():
    cases = confirmed("condenser_cooling", 7) + confirmed("low_charge", 3) + confirmed("normal", 5)
    found = propose(cases, PROGRAM)
    assert (found.repairs, found.sound) == (10, 5)
    before = shares()
    for prior in found.priors:
        count = {"condenser_cooling": 7, "low_charge": 3}.get(prior.fault, 0)
        assert prior.count == count
        assert prior.share_before == pytest.approx(before[prior.fault])
        assert prior.share_after == pytest.approx((PRIOR_CASES * before[prior.fault] + count) / (PRIOR_CASES + 10))
        in_force = next(h.prior for h in PROGRAM.hypotheses if h.id == prior.fault)
        assert prior.decibans == pytest.approx(in_force + 10 * np.log10(prior.share_after / prior.share_before))


def test_a_count_at_odds_with_the_prior_changes_the_word_and_another_does_not():
    found = {
        p.fault: p for p in propose(confirmed("condenser_cooling", 7) + confirmed("low_charge", 9), PROGRAM).priors
    }
    assert (found["condenser_cooling"].before, found["condenser_cooling"].after) == ("common", "very common")
    assert not found["low_charge"].changed, "9 of 16 is many, but it is very common already"
    assert not found["moisture"].changed, "none of 16 is no news of a rare fault"
    many = {p.fault: p for p in propose(confirmed("low_charge", 200), PROGRAM).priors}
    assert HOW_COMMON[many["overcharge"].after] < HOW_COMMON[many["overcharge"].before]


def test_the_chance_that_decides_is_that_of_the_binomial():
    from twogauge.casebook import _chance_so_far_off

    exact = sum(math.comb(16, k) * 0.1**k * 0.9 ** (16 - k) for k in range(7, 17))
    assert _chance_so_far_off(7, 16, 0.1) == pytest.approx(exact)
    assert _chance_so_far_off(0, 16, 0.1) == pytest.approx(0.9**16)
    assert _chance_so_far_off(0, 0, 0.1) == pytest.approx(1.0)


FAULTS = tuple(h.id for h in PROGRAM.hypotheses)


@given(st.dictionaries(st.sampled_from(FAULTS), st.integers(1, 40)))
def test_shares_stay_shares_and_move_towards_the_counts(found_here):
    cases = [case for fault, count in found_here.items() for case in confirmed(fault, count)]
    found = propose(cases, PROGRAM)
    assert math.fsum(p.share_before for p in found.priors) == pytest.approx(1.0)
    assert math.fsum(p.share_after for p in found.priors) == pytest.approx(1.0)
    assert found.repairs + found.sound == len(cases)
    for p in found.priors:
        counted = p.count / found.repairs if found.repairs else p.share_before
        low, high = sorted((p.share_before, counted))
        assert low - 1e-12 <= p.share_after <= high + 1e-12
        assert p.after in HOW_COMMON
        assert p.after != "usual", "no single fault is met more often than all is well"
        assert (HOW_COMMON[p.after] - HOW_COMMON[p.before]) * (p.share_after - p.share_before) >= 0.0
    if not found.repairs:
        assert not found.changes


def test_the_prior_of_nothing_wrong_is_left_alone():
    found = propose(confirmed("normal", 500), PROGRAM)
    assert found.changes == ()
    assert "normal" not in {p.fault for p in found.priors}


def test_the_pack_loads_proves_its_rules_and_says_its_counts(tmp_path):
    proposal = propose(confirmed("condenser_cooling", 12), PROGRAM)
    path = write_proposal(tmp_path / "our_priors", proposal)
    program = compile_stack(stack_on_built_in([path.parent]))
    assert check_examples(program) == []
    assert count_examples(program) > 100
    assert {r.id for r in program.rules} == {r.id for r in PROGRAM.rules}, "no rule was changed"
    before, after = ({h.id: h.prior for h in p.hypotheses} for p in (PROGRAM, program))
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {p.fault for p in proposal.changes}
    assert after["condenser_cooling"] > before["condenser_cooling"]
    (note,) = (note for _, note in program.stack.faults["condenser_cooling"].notes)
    assert "Confirmed 12 times in 12 repairs" in note
    assert all(
        re.search(rf"^#   {p.fault}, {p.count}, ", path.read_text("utf-8"), re.MULTILINE) for p in proposal.priors
    )
    assert all(len(line) <= 118 for line in path.read_text("utf-8").splitlines())


def test_a_proposal_in_force_is_not_counted_again(tmp_path):
    path = write_proposal(tmp_path / "our_priors", propose(confirmed("condenser_cooling", 12), PROGRAM))
    program = compile_stack(stack_on_built_in([path.parent]))
    with pytest.raises(InputError, match="'our_priors' was itself proposed from a case book"):
        propose(confirmed("condenser_cooling", 12), program)


def test_nothing_to_say_writes_nothing(tmp_path):
    assert write_proposal(tmp_path / "our_priors", propose(confirmed("low_charge"), PROGRAM)) is None
    assert not (tmp_path / "our_priors").exists()


@pytest.mark.parametrize("name", ["Our Priors", "common", "a" * 81, "__"])
def test_a_folder_whose_name_is_no_pack_is_refused(tmp_path, name):
    proposal = propose(confirmed("condenser_cooling", 12), PROGRAM)
    with pytest.raises(InputError, match="cannot be the name of a new pack"):
        write_proposal(tmp_path / name, proposal)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_overwritten(tmp_path):
    proposal = propose(confirmed("condenser_cooling", 12), PROGRAM)
    (tmp_path / "ours").mkdir()
    (tmp_path / "ours" / "rules.yaml").write_text("pack: ours\n", "utf-8")
    with pytest.raises(InputError, match="is not empty, and nothing is overwritten"):
        write_proposal(tmp_path / "ours", proposal)
    (tmp_path / "file").write_text("", "utf-8")
    with pytest.raises(InputError, match="cannot be made"):
        write_proposal(tmp_path / "file", proposal)
    assert [p.name for p in (tmp_path / "ours").iterdir()] == ["rules.yaml"]


def test_a_proposed_pack_is_known_by_its_title():
    assert f"title: {PROPOSED}\n" in as_pack(propose(confirmed("condenser_cooling", 12), PROGRAM), "ours")
