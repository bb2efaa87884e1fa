"""A job sheet: what may stand in it, and that nothing which stood in it is lost."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import datetime

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from twogauge.errors import FileProblems, InputError
from twogauge.service.job import moment, read_sheet
from twogauge.service.job_file import add, as_block, begin

OPENED = {
    "did": "opened",
    "at": "2026-06-22T09:10:00-05:00",
    "by": "bay 2",
    "machine": "bus 31",
    "certificate": "609-1",
}


def entry(did, **told):
    return {"did": did, "at": "2026-06-22T10:00:00-05:00", "by": "bay 2", **told}


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "job.yaml"
    begin(path, OPENED)
    return path


def test_what_was_added_is_read_again_by_this_and_by_any_reader_of_yaml(sheet):
    add(sheet, entry("recovered", refrigerant="R12", amount="1.9 lb", cylinder="recovery 4"))
    add(sheet, entry("note", note="yes"))
    found = read_sheet(sheet)
    assert [each.did for each in found.entries] == ["opened", "recovered", "note"]
    assert found.latest("machine") == "bus 31"
    assert found.total("recovered") == {"R12": pytest.approx(1.9 * 0.45359237)}
    assert found.certificates == {"bay 2": "609-1"}
    anybody = yaml.safe_load(sheet.read_text("utf-8"))
    assert anybody["entries"][1]["cylinder"] == "recovery 4"
    assert anybody["entries"][2]["note"] == "yes"


texts = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]) | st.just(" "), min_size=1, max_size=60)


@given(texts, texts)
def test_any_text_comes_back_as_it_went_in(tmp_path_factory, note, part):
    note, part = (" ".join(text.split()) for text in (note, part))
    if not (note and part):
        return
    path = tmp_path_factory.mktemp("job") / "job.yaml"
    begin(path, OPENED)
    found = add(path, entry("part", part=part, note=note)).entries[-1]
    assert (found.text("part"), found.text("note")) == (part, note)
    assert yaml.safe_load(path.read_text("utf-8"))["entries"][-1]["part"] == part


def test_what_stood_there_stays_byte_for_byte(sheet):
    by_hand = (
        sheet.read_text("utf-8")
        + "  # looked at on Monday\n  - did: note\n    at: 2026-06-22\n    by: me\n    note: >\n      folded\n"
    )
    sheet.write_text(by_hand.rstrip("\n"), encoding="utf-8")
    add(sheet, entry("closed"))
    assert sheet.read_text("utf-8").startswith(by_hand)
    assert read_sheet(sheet).closed


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (entry("recoverd", refrigerant="R12", amount="1 lb"), "did you mean 'recovered'"),
        (entry("recovered", refrigerant="R12"), "amount is missing"),
        (entry("recovered", refrigerant="R12", amount="1"), "needs its unit"),
        (entry("recovered", refrigerant="R12", amount="-1 lb"), "outside 0"),
        (entry("recovered", refrigerant="R1l2", amount="1 lb"), "R1l2"),
        (entry("charged", refrigerant="R12", amount="1 lb", celinder="4"), "did you mean 'cylinder'"),
        (entry("test", test="hold", result="ok"), "passed, failed, unclear"),
        (entry("test", test="holds", result="passed"), "did you mean 'hold'"),
        (entry("note", note="a\x1b[31m"), "plain text"),
        (entry("note", note="x" * 2001), "at most 2000"),
        ({**entry("note", note="x"), "at": "yesterday"}, "not a time"),
        ({**entry("note", note="x"), "by": ""}, "by is missing"),
        (entry("strike", entry="2", note="x"), "no earlier entry"),
        (entry("strike", entry="one", note="x"), "not the number"),
        (entry("strike", entry="1", note="x"), "no earlier entry"),
    ],
)
def test_what_cannot_be_is_a_sentence_and_nothing_changes(sheet, wrong, said):
    before = sheet.read_bytes()
    with pytest.raises(InputError) as found:
        add(sheet, wrong)
    assert said in str(found.value)
    assert sheet.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("low_side: 35 psi\n", "no job sheet"),
        ("format: 9\nentries:\n  - did: note\n", "format 1"),
        ("format: 1\nentries: none\n", "a list belongs here"),
        ("format: 1\nentries:\n  - just text\n", "job.yaml:3:"),
        ("format: 1\nentries:\n  - did: note\n    at: 2026-06-22\n    by: me\n    nots: x\n", "job.yaml:"),
    ],
)
def test_a_sheet_that_is_none_is_refused_with_its_place_and_left_alone(tmp_path, content, said):
    path = tmp_path / "job.yaml"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(FileProblems) as found:
        add(path, entry("closed"))
    assert said in str(found.value)
    assert path.read_text("utf-8") == content


def test_a_sheet_in_another_form_is_told_and_left_alone(tmp_path):
    path = tmp_path / "job.yaml"
    content = "entries: [{did: note, at: 2026-06-22, by: me, note: x}]\nformat: 1\n"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match="nothing can be added at its end"):
        add(path, entry("closed"))
    assert path.read_text("utf-8") == content


def test_what_was_struck_no_longer_counts_and_still_stands_there(sheet):
    add(sheet, entry("charged", refrigerant="R134a", amount="2 kg"))
    add(sheet, entry("strike", entry="2", note="pounds"))
    found = add(sheet, entry("charged", refrigerant="R134a", amount="2 lb"))
    assert found.total("charged") == {"R134a": pytest.approx(2 * 0.45359237)}
    assert found.struck == {2: "pounds"}
    assert len(found.entries) == 4


@given(st.lists(st.floats(0.0, 50.0), min_size=1, max_size=8))
def test_totals_are_sums_whatever_the_unit(amounts):
    head = "format: 1\nentries:\n"
    sheets = []
    for unit, factor in (("kg", 1.0), ("g", 1000.0), ("oz", 1.0 / 0.028349523125)):
        blocks = "".join(
            as_block(entry("charged", refrigerant="R134a", amount=f"{kg * factor:.9f} {unit}")) for kg in amounts
        )
        sheets.append(read_sheet("<test>", (head + blocks).encode()).total("charged")["R134a"])
    assert sheets == pytest.approx([sum(amounts)] * 3, abs=1e-6)


def test_a_sheet_that_is_there_is_never_begun_anew(sheet):
    before = sheet.read_bytes()
    with pytest.raises(InputError, match="is there already"):
        begin(sheet, OPENED)
    assert sheet.read_bytes() == before


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_the_sheet_as_it_was(sheet, monkeypatch, step):
    before = sheet.read_bytes()

    def fails(*_):
        raise OSError(28, "No space left on device")

    if step == "fsync":
        monkeypatch.setattr(os, "fsync", fails)
    else:
        monkeypatch.setattr("pathlib.Path.replace", fails)
    with pytest.raises(InputError, match="No space left"):
        add(sheet, entry("closed"))
    assert sheet.read_bytes() == before
    assert [each.name for each in sheet.parent.iterdir()] == ["job.yaml"]


WRITER = """
import sys
from twogauge.service.job_file import add
path, who = sys.argv[1:]
sys.stdin.readline()  # all begin at once
for i in range(15):
    add(path, {"did": "note", "at": "2026-06-22T10:00:00-05:00", "by": who, "note": f"note {i}"})
"""


def test_several_writers_at_once_lose_nothing(sheet):
    pytest.importorskip("fcntl")
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, sheet, f"bay {who}"], stdin=subprocess.PIPE, text=True)
        for who in range(4)
    ]
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.close()
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0, 0, 0]
    found = read_sheet(sheet).those("note")
    assert len(found) == 60
    for who in range(4):
        mine = [each.text("note") for each in found if each.by == f"bay {who}"]
        assert mine == [f"note {i}" for i in range(15)], "each in its own order"


def test_a_writer_that_dies_before_the_end_leaves_a_whole_sheet(sheet):
    before = sheet.read_bytes()
    code = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from twogauge.service.job_file import add\n"
        "Path.replace = lambda *_: os._exit(9)\n"
        "add(sys.argv[1], {'did': 'closed', 'at': '2026-06-22', 'by': 'x'})\n"
    )
    assert subprocess.run([sys.executable, "-c", code, sheet], check=False).returncode == 9
    assert sheet.read_bytes() == before
    assert add(sheet, entry("closed")).closed


def test_a_time_without_a_zone_is_of_this_place():
    assert moment("2026-06-22T09:10").tzinfo is not None
    assert moment("2026-06-22T09:10:00-05:00") == datetime.fromisoformat("2026-06-22T14:10:00+00:00")
