"""The page of a job sheet: the sheet travels with the form, and is what the command line reads and writes."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import urlencode

import pytest
from typer.testing import CliRunner

from pages import HOSTILE, Seen, numbers
from twogauge.cli.app import app as command_line
from twogauge.serve.guard import POLICY
from twogauge.service.job import KINDS, read_sheet

PATH = "/tools/job"
OPENED = {
    "did": "opened",
    "by": "bay 2",
    "opened.machine": "bus 31",
    "opened.refrigerant": "R12",
    "opened.charge": "2.5 lb",
}
READING = {"refrigerant": "R12", "low_side": "10 psi", "high_side": "110 psi", "ambient": "90 degF"}


def send(client, told, path=PATH, status=200):
    answer = client.post(path, data=told)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-security-policy"] == POLICY
    return answer.text, Seen(answer.text)


def sheet_in(text: str) -> str:
    return unescape(re.search(r'<textarea id="f-sheet"[^>]*>\n(.*?)</textarea>', text, re.DOTALL)[1])


def entries(text: str):
    return read_sheet("sheet", sheet_in(text).encode()).entries


@pytest.fixture
def begun(client) -> str:
    text, _ = send(client, OPENED)
    return sheet_in(text)


def test_a_sheet_is_begun_and_shown(client):
    text, page = send(client, OPENED)
    (first,) = entries(text)
    assert (first.did, first.by, first.text("machine"), first.text("charge")) == (
        "opened",
        "bay 2",
        "bus 31",
        "2.5 lb",
    )
    assert "bus 31: open, 1 entry" in page.answer
    assert page.inline == []
    assert len(page.ids) == len(set(page.ids))
    assert set(page.points_at) <= set(page.ids)


ADDED = {
    "reading": {"reading.reading": f"http://127.0.0.1:8277/?{urlencode(READING)}"},
    "test": {"test.test": "nitrogen", "test.result": "passed", "test.note": "100 psi, 30 min"},
    "recovered": {"recovered.refrigerant": "R12", "recovered.amount": "1.9 lb", "recovered.cylinder": "recovery 4"},
    "charged": {"charged.refrigerant": "R134a", "charged.amount": "2 lb 1 oz"},
    "part": {"part.part": "O-rings at the condenser"},
    "oil": {"oil.oil": "POE 100", "oil.amount": "3 fl oz"},
    "step": {"step.step": "recharge recover"},
    "note": {"note.note": "the customer wants the old parts"},
    "closed": {},
}


@pytest.mark.parametrize("did", ADDED)
def test_an_entry_is_added(client, begun, did):
    text, _ = send(client, {"sheet": begun, "did": did, "by": "bay 2", **ADDED[did]})
    found = entries(text)
    assert [each.did for each in found] == ["opened", did]
    assert sheet_in(text).startswith(begun)
    for name, value in ADDED[did].items():
        if did not in {"reading", "step"}:
            assert found[1].text(name.partition(".")[2]) == value


def test_a_struck_and_a_reopened_entry(client, begun):
    text, _ = send(client, {"sheet": begun, "did": "part", "by": "x", "part.part": "hose"})
    told = {
        "sheet": sheet_in(text),
        "did": "strike",
        "by": "x",
        "strike.entry": "2",
        "strike.note": "it was the other",
    }
    text, page = send(client, told)
    assert "STRUCK" in page.answer
    text, _ = send(client, {"sheet": sheet_in(text), "did": "closed", "by": "x"})
    refused, page = send(client, {"sheet": sheet_in(text), "did": "part", "by": "x", "part.part": "hose"})
    assert "was finished" in refused
    assert len(entries(refused)) == 4
    text, _ = send(client, {"sheet": sheet_in(text), "did": "reopened", "by": "x", "reopened.note": "it is back"})
    assert entries(text)[-1].did == "reopened"


def test_a_reading_is_kept_with_what_was_made_of_it(client, begun):
    text, page = send(client, {"sheet": begun, "did": "reading", "by": "x", **ADDED["reading"]})
    told = entries(text)[1].told
    assert told["reading"]["low_side"] == "10 psi"
    assert told["diagnosis"]["verdict"]
    assert "gauges read:" in page.answer


def test_a_sheet_that_is_begun_with_a_reading_knows_its_machine(client):
    address = "?" + urlencode({"units": "us", "machine": "Bus 12", "refrigerant": "R134a", "system": "bus_ac"})
    page = client.get("/tools/job", params={"reading.reading": address}).text
    assert 'name="opened.machine"' in page
    assert 'value="Bus 12"' in page
    chosen = re.findall(r'<option value="(\w+)" selected>', page)
    assert chosen == ["R134a", "bus_ac"]


def test_to_send_a_form_twice_adds_an_entry_once(client, begun):
    told = {"sheet": begun, "did": "note", "by": "x", "note.note": "once", "at": "2026-06-22T09:10"}
    first, second = (send(client, told)[0] for _ in range(2))
    assert len(entries(first)) == len(entries(second)) == 2


def test_a_sheet_of_the_command_line_is_shown_alike(client, tmp_path, begun):
    file = tmp_path / "job.yaml"
    told = {"sheet": begun, "did": "recovered", "by": "bay 2", **ADDED["recovered"]}
    file.write_text(sheet_in(send(client, told)[0]) + "\n")
    shown = CliRunner().invoke(command_line, ["job", "show", str(file)])
    assert shown.exit_code == 0
    answer = client.post(PATH, files={"sheet.file": ("../../etc/passwd", file.read_bytes(), "text/yaml")})
    page = Seen(answer.text)
    assert [each for each in numbers(shown.stdout) if each not in numbers(page.answer)] == []
    more = CliRunner().invoke(command_line, ["job", "add", str(file), "closed", "--by", "bay 2"])
    assert more.exit_code == 0


def test_it_is_saved_as_a_file_and_nothing_stays_behind(client, begun):
    answer = client.post(f"{PATH}/file", data={"sheet": begun})
    assert answer.headers["content-disposition"] == 'attachment; filename="bus_31.yaml"'
    assert answer.text == f"{begun}\n"
    assert read_sheet("sheet", answer.content).latest("machine") == "bus 31"
    assert "bus 31" not in client.get(PATH).text
    assert client.post(f"{PATH}/file", data={}).status_code == 422


def test_a_report_is_made_of_it(client, begun):
    told = {"sheet": begun, "did": "recovered", "by": "bay 2", **ADDED["recovered"]}
    sheet = sheet_in(send(client, told)[0])
    for reader in ("customer", "log"):
        text, page = send(client, {"sheet": sheet, "reader": reader}, f"{PATH}/report")
        assert "bus 31" in text
        assert page.inline == []
    send(client, {"sheet": "nothing"}, f"{PATH}/report", 422)


@pytest.mark.parametrize(
    ("told", "control"),
    [
        ({"did": "part", "by": "", "part.part": "hose"}, "by"),
        ({"did": "part", "by": "x"}, "part.part"),
        ({"did": "charged", "by": "x", "charged.refrigerant": "R134a", "charged.amount": "2"}, "charged.amount"),
        ({"did": "charged", "by": "x", "charged.refrigerant": "R134a", "charged.amount": "heavy"}, "charged.amount"),
        ({"did": "reading", "by": "x", "reading.reading": "low_side: heavy"}, "reading.reading"),
        ({"did": "reading", "by": "x", "reading.reading": "?low_side=heavy"}, "reading.reading"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_the_sheet_stays(client, begun, told, control):
    text, _ = send(client, {"sheet": begun, **told})
    assert re.search(rf'<p class="error" id="e-{re.escape(control)}">(.+?)</p>', text, re.DOTALL)
    assert sheet_in(text) == begun
    for name, value in told.items():
        if name not in {"did", "by", "charged.refrigerant"} and value:
            assert unescape(text).count(value)


def test_a_broken_sheet_is_shown_as_far_as_it_can_be_read_and_lost_nothing(client, begun):
    broken = f"{begun}\n  - did: [\n"
    text, page = send(client, {"sheet": broken, "did": ""})
    assert "cannot be read" in page.answer
    assert sheet_in(text).rstrip() == broken.rstrip()
    text, page = send(client, {"sheet": "format: 9\n", "did": ""})
    assert page.answer == "It cannot be read"
    assert "Line 1" in text


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_kept_and_shown_as_text(client, begun, text):
    answer, page = send(client, {"sheet": begun, "did": "note", "by": text, "note.note": text, "certificate": text})
    assert page.inline == []
    assert "<script>" not in answer
    assert sheet_in(answer).startswith(begun)
    told = dict.fromkeys(["sheet", "did", "by", "at", *(f"{did}.note" for did in KINDS)], text)
    answer, page = send(client, told)
    assert page.inline == []
    assert "Traceback" not in answer
    opened, page = send(client, {**OPENED, "opened.machine": text})
    assert page.inline == []
    name = client.post(f"{PATH}/file", data={"sheet": sheet_in(opened)}).headers["content-disposition"]
    assert re.fullmatch(r'attachment; filename="[a-z0-9_]{1,60}\.yaml"', name)


def test_a_file_named_in_a_sheet_or_a_reading_is_not_opened(client, begun):
    told = {"sheet": begun, "did": "reading", "by": "x", "reading.reading": "low_side: 30 psi\nbaseline: passwd"}
    text, _ = send(client, told)
    assert "a file can be named only in a reading that is a file" in unescape(text)


def test_a_plan_shows_what_is_ticked_in_a_sheet_as_the_command_line_does(client, tmp_path, begun):
    told = {"sheet": begun, "did": "step", "by": "bay 2", "step.step": "retrofit read"}
    sheet = sheet_in(send(client, told)[0])
    told = {"sheet": sheet, "did": "step", "by": "bay 2", "step.step": "retrofit braze"}
    sheet = sheet_in(send(client, told | {"step.not_applicable": "nothing is brazed"})[0])
    file = tmp_path / "job.yaml"
    file.write_text(f"{sheet}\n")
    printed = CliRunner().invoke(command_line, ["plan", "retrofit", "--refrigerant", "R134a", "--job", str(file)])
    assert printed.exit_code == 0
    told = {"name": "retrofit", "refrigerant": "R134a", "sheet": sheet}
    text, page = send(client, told, "/tools/plan")
    found = re.findall(
        r'<h3 class="task"><span aria-hidden="true">(.)</span> (\d+)\. ([^<]+?)(?: <span class="level">(.*?)</span>)?<',
        text,
    )
    boxes = {" ": "\u2610", "x": "\u2611", "-": "\u2612"}
    wanted = re.findall(r"(?m)^\[([ x-])\] (\d+)\. (\w+)$", printed.stdout)
    assert len(wanted) > 8
    assert [(boxes[box], count, name) for box, count, name in wanted] == [
        (box, count, name.replace(" ", "_").lower()) for box, count, name, _ in found
    ]
    states = {name: state for _, _, name, state in found}
    assert (states["Read"], states["Braze"], states["Recover"]) == ("done", "does not apply", "")
    assert "nothing is brazed" in page.answer
    (done,) = re.findall(r"(\d+ of \d+ steps are done) in", printed.stdout)
    assert f"{done} in the job sheet" in page.answer
    assert "R-12" in page.answer  # the machine of the sheet
    assert page.inline == []


def test_a_sheet_never_stands_in_an_address_and_a_broken_one_is_told(client, begun):
    answer = client.post("/tools/plan", data={"name": "recharge", "label": "2 lb"})
    assert answer.status_code == 303
    assert "sheet" not in answer.headers["location"]
    text, _ = send(client, {"name": "recharge", "sheet": begun}, "/tools/plan")
    assert begun.splitlines()[0] in text
    assert "bus+31" not in text
    text, page = send(client, {"name": "recharge", "sheet": f"{begun}\n  - did: [\n"}, "/tools/plan")
    assert "Cannot be read in the job sheet" in page.answer
    text, page = send(client, {"name": "recharge", "sheet": "low_side: 30 psi"}, "/tools/plan")
    assert "To be mended first" in text
    assert "Line 1" in unescape(re.search(r'id="e-sheet">(.*?)</p>', text, re.DOTALL)[1])


def test_the_job_sheet_leads_to_each_plan_with_its_ticks(client, begun):
    text, _ = send(client, {"sheet": begun})
    offered = re.findall(r'formaction="/tools/plan#result" name="name" value="(\w+)"', text)
    assert "retrofit" in offered
    for name in offered:
        _, page = send(client, {"sheet": begun, "name": name, "by": "bay 2", "units": "metric"}, "/tools/plan")
        assert "0 of " in page.answer
