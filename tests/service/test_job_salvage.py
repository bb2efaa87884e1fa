"""A job sheet that is broken somewhere: everything else is read, nothing is lost, and it can be mended."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from twogauge.errors import FileProblems, InputError
from twogauge.service.job import UNREADABLE, read_sheet
from twogauge.service.job_file import add, begin
from twogauge.service.job_mend import mend
from twogauge.service.job_salvage import read_what_can_be

AT = "2026-06-22T10:00:00-05:00"


def entry(did, **told):
    return {"did": did, "at": AT, "by": "bay 2", **told}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    path = tmp_path_factory.mktemp("job") / "job.yaml"
    begin(path, {**entry("opened"), "machine": "bus 31", "refrigerant": "R134a", "charge": "2 lb"})
    add(path, entry("recovered", refrigerant="R134a", amount="1.5 lb"))
    add(path, entry("note", note="a: colon, and a # sign"))
    add(path, entry("reading", reading={"low_side": "30 psi", "checks": {"sight_glass": "clear"}}))
    add(path, entry("charged", refrigerant="R134a", amount="2 lb", cylinder="4"))
    return path.read_bytes()


@pytest.fixture
def broken(tmp_path, whole):
    def spoil(old, new):
        assert old in whole
        path = tmp_path / "job.yaml"
        path.write_bytes(whole.replace(old, new))
        return path

    return spoil


SPOILT = [
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amo"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b'    amount: "2 l'),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amount: 2 furlongs\n"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amount: 2 lb\n\tcylinder: 4\n"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amount: 2 lb\n    celinder: 4\n"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"\x00\x00\x00\x00\x00"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amount: \xff\xfe\n"),
    (b'    amount: 2 lb\n    cylinder: "4"\n', b"    amount: [[[\n"),
]


@pytest.mark.parametrize(("old", "new"), SPOILT)
def test_one_broken_entry_hides_no_other(broken, old, new):
    path = broken(old, new)
    before = path.read_bytes()
    found = read_what_can_be(path)
    assert [each.did for each in found.entries] == ["opened", "recovered", "note", "reading", UNREADABLE]
    assert found.total("recovered") == {"R134a": pytest.approx(0.68039, abs=1e-5)}
    assert found.total("charged") == {}
    line = before.split(b"did: charged")[0].count(b"\n") + 1
    assert all(line <= problem.place.line <= line + 6 for problem in found.problems)
    assert str(found.problems[0]).startswith(f"{path}:")
    assert "charged" in found.entries[-1].text("text")
    with pytest.raises(FileProblems, match="job mend"):
        add(path, entry("closed"))
    assert path.read_bytes() == before


@pytest.mark.parametrize(("old", "new"), SPOILT)
def test_mending_loses_nothing_and_lets_the_job_go_on(broken, old, new):
    path = broken(old, new)
    before = path.read_bytes()
    found, copy = mend(path, AT, "bay 2")
    assert Path(copy).read_bytes() == before
    assert [each.did for each in found.entries] == ["opened", "recovered", "note", "reading", "note"]
    assert "entry 5 could not be read" in found.entries[4].text("note")
    assert "# - did: charged" in " ".join(path.read_text("utf-8").split())
    assert add(path, entry("closed")).closed
    assert len(yaml.safe_load(path.read_text("utf-8"))["entries"]) == 6
    with pytest.raises(InputError, match="nothing to mend"):
        mend(path, AT, "bay 2")


def test_a_broken_entry_in_the_middle_keeps_its_number(broken):
    path = broken(b"amount: 1.5 lb", b"amount: 1.5 lb: no")
    found = read_what_can_be(path)
    assert [each.did for each in found.entries] == ["opened", UNREADABLE, "note", "reading", "charged"]
    mend(path, AT, "bay 2")
    add(path, entry("strike", entry="5", note="weighed twice"))
    assert read_sheet(path).struck == {5: "weighed twice"}


@pytest.mark.parametrize(
    "content", [b"", b"low_side: 35 psi\n", b"format: 9\nentries:\n  - did: note\n", b"entries: [1]"]
)
def test_what_is_no_sheet_is_still_refused(tmp_path, content):
    path = tmp_path / "job.yaml"
    path.write_bytes(content)
    for read in (read_what_can_be, lambda each: mend(each, AT, "x")):
        with pytest.raises(FileProblems):
            read(path)
    assert path.read_bytes() == content
    assert [each.name for each in tmp_path.iterdir()] == ["job.yaml"]


def test_a_file_with_more_broken_entries_than_anybody_slips_is_refused(whole):
    broken = b"  - did: nothing that is known\n"
    assert len(read_what_can_be("job.yaml", whole + 500 * broken).problems) == 500
    with pytest.raises(FileProblems) as caught:
        read_what_can_be("job.yaml", whole + 501 * broken)
    assert len(caught.value.problems) == 100


@given(st.integers(0, 3000))
def test_a_sheet_cut_off_anywhere_shows_all_that_stood_before(whole, length):
    cut = whole[:length]
    try:
        found = read_what_can_be("job.yaml", cut)
    except FileProblems:
        assert b"\n  - did: recovered" not in cut
        return
    entire = read_sheet("job.yaml", whole).entries
    sound = [each for each in found.entries if each.did != UNREADABLE]
    begun = cut.count(b"\n  - ")
    assert begun - 1 <= len(sound) <= begun
    assert tuple(sound[: begun - 1]) == entire[: begun - 1]
