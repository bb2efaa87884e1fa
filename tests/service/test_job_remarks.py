"""What is worth a second look in a job sheet: marked, never refused, and nothing else is marked."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.errors import InputError
from twogauge.service.job import read_sheet
from twogauge.service.job_file import add, as_block, begin
from twogauge.service.job_remarks import remarks

NOW = datetime.fromisoformat("2026-06-23T12:00:00+00:00")


def entry(did, at="2026-06-22T10:00:00+00:00", **told):
    return {"did": did, "at": at, "by": "bay 2", **told}


def opened(**told):
    return entry("opened", **{"refrigerant": "R134a", "charge": "2 lb", "system": "bus_ac", **told})


def sheet_of(*entries):
    text = "format: 1\nentries:\n" + "".join(map(as_block, entries))
    return read_sheet("job.yaml", text.encode())


def marked(*entries):
    return [(each.entry, each.about) for each in remarks(sheet_of(*entries), NOW)]


def weighed(did, amount, refrigerant="R134a", **told):
    return entry(did, refrigerant=refrigerant, amount=amount, **told)


def test_a_job_as_it_should_be_is_not_marked():
    told = [weighed("recovered", "1.9 lb"), weighed("charged", "1 lb"), weighed("charged", "1 lb"), entry("closed")]
    assert marked(opened(), *told) == []


@pytest.mark.parametrize(
    ("told", "about"),
    [
        ([weighed("recovered", "2.5 lb")], [(2, "amount")]),
        ([weighed("recovered", "1 lb"), weighed("recovered", "1.5 lb")], [(3, "amount")]),
        ([weighed("charged", "2.2 lb")], [(2, "amount")]),
        ([weighed("charged", "2 kg")], [(2, "amount")]),
        ([weighed("charged", "2.05 lb")], []),
        ([weighed("charged", "1 lb"), weighed("charged", "1.2 lb")], [(3, "amount")]),
        ([weighed("charged", "2 lb"), weighed("recovered", "2 lb"), weighed("charged", "2 lb")], []),
        ([weighed("charged", "5 lb"), weighed("recovered", "5 lb")], [(2, "amount")]),
        ([weighed("charged", "1 lb")], []),
        ([weighed("charged", "1 lb"), entry("closed")], [(3, "amount")]),
        ([weighed("recovered", "1 lb", "R12")], [(2, "refrigerant")]),
        ([weighed("charged", "1 lb"), weighed("charged", "1 lb", "R12")], [(3, "refrigerant"), (3, "refrigerant")]),
        ([weighed("charged", "4 kg"), entry("strike", entry="2", note="lb")], []),
    ],
)
def test_amounts_are_held_against_the_label(told, about):
    assert marked(opened(), *told) == about


def test_a_retrofit_is_held_against_what_it_asks_for():
    begin_ = opened(refrigerant="R12")
    out = weighed("recovered", "1.5 lb", "R12")
    assert marked(begin_, out, weighed("charged", "1.7 lb"), entry("closed")) == []
    assert marked(begin_, out, weighed("charged", "2 lb")) == [(3, "amount")]
    refused = remarks(sheet_of(begin_, out, weighed("charged", "1 lb", "R290")), NOW)
    assert [each.about for each in refused] == ["refrigerant"]
    assert "must not replace" in refused[0].sentence


def test_without_a_label_nothing_is_compared():
    assert marked(entry("opened", machine="bus"), weighed("charged", "9 lb"), weighed("recovered", "20 lb")) == []


def test_times_that_run_backwards_or_ahead_are_marked():
    later, before, ahead = "2026-06-22T11:00:00+00:00", "2026-06-22T09:00:00+00:00", "2026-06-24T09:00:00+00:00"
    assert marked(opened(), entry("note", later, note="x"), entry("note", before, note="y")) == [(3, "earlier")]
    assert marked(opened(), entry("note", ahead, note="x"), entry("note", later, note="y")) == [(2, "future")]
    # the same moment in another zone is not before
    assert marked(opened(), entry("note", "2026-06-22T05:00:00-05:00", note="x")) == []


def test_a_time_that_had_not_come_when_it_was_written_stays_marked():
    told = entry("note", "2026-06-22T18:00:00+00:00", note="x", written="2026-06-22T10:00:00+00:00")
    assert marked(opened(), told) == [(2, "future")]
    assert marked(opened(), {**told, "written": "2026-06-22T18:05:00+00:00"}) == []


@given(st.permutations(range(5)))
def test_an_entry_is_marked_if_and_only_if_one_before_it_is_later(order):
    told = [entry("note", f"2026-06-22T1{i}:00:00+00:00", note="x") for i in order]
    wanted = [(n + 2, "earlier") for n, i in enumerate(order) if any(j > i for j in order[:n])]
    assert marked(entry("opened", "2026-06-21T10:00:00+00:00"), *told) == wanted


@pytest.fixture
def finished(tmp_path):
    path = tmp_path / "job.yaml"
    begin(path, opened())
    add(path, entry("closed", "2026-06-22T12:00:00+00:00"))
    return path


def test_a_note_does_not_open_a_finished_job(finished):
    found = add(finished, entry("note", "2026-06-22T13:00:00+00:00", note="paid"))
    assert found.closed
    assert found.closing.at.hour == 12
    assert [(each.entry, each.about) for each in remarks(found, NOW)] == [(3, "after_closed")]
    assert "stays finished" in remarks(found, NOW)[0].sentence


@pytest.mark.parametrize("wrong", [weighed("charged", "1 lb"), entry("part", part="valve"), entry("closed")])
def test_work_on_a_finished_job_needs_it_opened_again(finished, wrong):
    before = finished.read_bytes()
    with pytest.raises(InputError, match="reopened"):
        add(finished, wrong)
    assert finished.read_bytes() == before
    assert not add(finished, entry("reopened", "2026-06-22T14:00:00+00:00", note="came back warm")).closed
    assert len(add(finished, {**wrong, "at": "2026-06-22T15:00:00+00:00"}).entries) == 4
    assert [each for each in remarks(read_sheet(finished), NOW) if each.about != "amount"] == []


def test_an_open_job_cannot_be_opened_and_a_struck_end_is_none(finished):
    assert not add(finished, entry("strike", entry="2", note="not yet")).closed
    with pytest.raises(InputError, match="is open"):
        add(finished, entry("reopened", note="x"))


def test_work_behind_the_end_in_an_older_sheet_is_marked():
    at = "2026-06-22T13:00:00+00:00"
    assert marked(opened(), entry("closed"), entry("part", at, part="valve")) == [(3, "after_closed")]
