"""`twogauge job`: from the first entry to the two reports."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
BUS_31 = EXAMPLES / "jobs" / "bus_31.yaml"


def run(*arguments, status=0, given=None):
    result = CliRunner().invoke(app, ["job", *map(str, arguments)], input=given)
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.fixture
def sheet(tmp_path, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_BY", "bay 2")
    path = tmp_path / "job.yaml"
    run("new", path, "--machine", "bus 31", "--refrigerant", "R12", "--charge", "2.5lb")
    return path


def test_a_job_from_its_first_entry_to_its_last(sheet):
    run("add", sheet, "reading", EXAMPLES / "readings" / "bus_31_before_retrofit.yaml")
    run("add", sheet, "recovered", "R12", "1.9lb", "--cylinder", "recovery 4")
    run("add", sheet, "part", "O-rings")
    run("add", sheet, "oil", "POE 100", "4 fl oz")
    run("add", sheet, "test", "nitrogen", "passed", "--note", "80 psi, 40 min")
    run("add", sheet, "charged", "R134a", "2 lb 1 oz")
    run("add", sheet, "reading", EXAMPLES / "readings" / "bus_31_after_retrofit.yaml")
    run("add", sheet, "closed")
    printed = run("show", sheet)
    assert printed.startswith("bus 31: finished, 9 entries")
    assert "most likely too little refrigerant" in " ".join(printed.split())
    customer = run("report", sheet)
    assert "# Work on bus 31" in customer
    assert "It worked" in customer
    log = run("report", sheet, "--for", "log")
    assert "the number of the certificate of bay 2" in log
    found = json.loads(run("show", sheet, "--json"))
    assert found["schema"] == "twogauge.job/1"
    assert found["recovered_kg"] == {"R12": pytest.approx(0.861826, abs=1e-6)}
    assert found["closed"] is True


def test_the_shipped_sheet_prints_whole():
    printed = run("show", BUS_31)
    assert max(map(len, printed.splitlines())) <= 80
    assert "STRUCK" in printed
    log = run("report", BUS_31, "--for", "log")
    assert "609-0017" in log
    assert "4 lb 10.1 oz" in log.partition("## Struck out")[2]
    assert "4 lb 10.1 oz" not in log.partition("## Struck out")[0]
    assert "## Missing" not in log


def test_the_log_says_what_is_missing(sheet):
    run("add", sheet, "charged", "R134a", "2lb")
    log = run("report", sheet, "--for", "log")
    missing = log.partition("## Missing")[2]
    assert "certificate of bay 2" in missing
    assert "a test for leaks" in missing
    assert "R-12 on the label" in missing
    run("add", sheet, "test", "hold", "failed", "--certificate", "609-1")
    missing = run("report", sheet, "--for", "log").partition("## Missing")[2]
    assert "certificate" not in missing.partition("Who must keep")[0]
    assert "a test for leaks that was passed" in missing


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.links = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in {"src", "href"} or name.startswith("on")]


@pytest.mark.parametrize("reader", ["customer", "log"])
def test_html_runs_nothing_loads_nothing_and_shows_what_was_typed(sheet, reader):
    nasty = "<script>alert(1)</script> & <img src=x onerror=y> `x` [a](b)"
    run("add", sheet, "part", nasty)
    run("add", sheet, "charged", "R134a", "2lb", "--cylinder", nasty)
    page = run("report", sheet, "--for", reader, "--format", "html")
    tags = Tags()
    tags.feed(page)
    assert "script" not in tags.tags
    assert "img" not in tags.tags
    assert tags.links == []
    assert "&lt;script&gt;alert(1)" in page
    assert "url(" not in page
    plain = run("report", sheet, "--for", reader)
    assert "<script>" not in plain
    assert "[a](b)" not in plain


def test_a_report_goes_into_a_file_but_not_over_the_sheet(sheet, tmp_path):
    before = sheet.read_bytes()
    run("report", sheet, "--format", "html", "--out", tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert "the job sheet itself" in run("report", sheet, "--out", sheet, status=2)
    assert sheet.read_bytes() == before


def test_a_test_keeps_what_another_command_printed(sheet, tmp_path):
    standing = CliRunner().invoke(app, ["standing", "R134a", "78.7psi", "--coldest", "75F", "--json"]).stdout
    run("add", sheet, "test", "standing", "passed", "--showed", "-", given=standing)
    (showed,) = [each["told"].get("showed") for each in json.loads(run("show", sheet, "--json"))["entries"][1:]]
    assert showed["schema"] == "twogauge.standing/1"
    assert showed["verdict"] == "at"
    other = tmp_path / "other.json"
    for content in ("{}", "[1]", '{"schema": "other/1"}', "[" * 5000, "\x00"):
        other.write_text(content, encoding="utf-8")
        assert "not what a twogauge command prints" in run(
            "add", sheet, "test", "hold", "passed", "--showed", other, status=2
        )


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("recovered", "R12"), "recovered REFRIGERANT AMOUNT"),
        (("recoverd", "R12", "1lb"), "did you mean 'recovered'"),
        (("closed", "now"), "job.yaml closed; nothing was added"),
        (("reading", "nosuch.yaml"), "no such file"),
        (("note", "a", "--note", "b"), "without --note"),
        (("note", "a", "--by", " "), "who did it"),
        (("note", "a", "--at", "noon"), "not a time"),
        (("closed", "--cylinder", "4"), "'cylinder' is not a key"),
    ],
)
def test_a_wrong_entry_is_a_sentence(sheet, arguments, said):
    before = sheet.read_bytes()
    assert said in run("add", sheet, *arguments, status=2)
    assert sheet.read_bytes() == before


def test_without_a_name_nothing_is_written(tmp_path):
    assert "who did it" in run("new", tmp_path / "a.yaml", "--machine", "x", status=2)
    assert not (tmp_path / "a.yaml").exists()
    assert "no such sheet" in run("add", tmp_path / "a.yaml", "closed", "--by", "x", status=2)
    assert "no such file" in run("show", tmp_path / "a.yaml", status=2)


def test_a_broken_last_entry_blocks_neither_show_nor_report(sheet):
    run("add", sheet, "recovered", "R12", "1.9lb")
    whole = sheet.read_text("utf-8")
    sheet.write_text(
        whole + '  - did: note\n    at: 2026-06-22T10:00\n    by: bay 2\n    note: "the comp', encoding="utf-8"
    )
    line = whole.count("\n") + 4
    result = CliRunner().invoke(app, ["job", "show", str(sheet)])
    assert result.exit_code == 0
    assert f"job.yaml:{line}:" in result.stderr
    printed = " ".join(result.stdout.split())
    assert "1 lb 14.4 oz of R-12 recovered" in printed
    assert printed.startswith("bus 31: open, 3 entries, 1 of them cannot be read")
    assert "CANNOT BE READ" in printed
    assert "the comp" in printed
    assert "job mend" in printed
    assert max(map(len, result.stdout.splitlines())) <= 80
    found = json.loads(run("show", sheet, "--json"))
    assert found["unreadable"][0]["entry"] == 3
    assert found["entries"][2]["at"] is None
    for form in (("report", sheet), ("report", sheet, "--for", "log")):
        assert "What of the sheet could not be read" in run(*form)
    assert "job mend" in run("add", sheet, "closed", status=2)
    assert "kept as a comment" in " ".join(run("mend", sheet).split())
    run("add", sheet, "closed")
    assert run("show", sheet).startswith("bus 31: finished, 4 entries")
    assert "nothing to mend" in run("mend", sheet, status=2)


def test_what_looks_odd_is_kept_and_said(sheet):
    said = " ".join(run("add", sheet, "recovered", "R12", "25lb").split())
    assert "kept, but worth a second look: 1000 % of the label (2.5lb) came out" in said
    said = " ".join(run("add", sheet, "note", "x", "--at", "2020-01-01T10:00").split())
    assert "lies before that of entry 2, written down" in said
    said = " ".join(run("add", sheet, "note", "x", "--at", "2999-01-01").split())
    assert "had not come yet" in said
    assert "second look" not in run("add", sheet, "note", "x")
    found = json.loads(run("show", sheet, "--json"))
    assert [(each["entry"], each["about"]) for each in found["remarks"]] == [
        (2, "amount"),
        (3, "earlier"),
        (4, "future"),
    ]
    assert "written" in found["entries"][2]["told"]
    assert "written" not in found["entries"][4]["told"]
    printed = run("show", sheet)
    assert "Worth a second look" in printed
    assert "  3!" in printed
    assert "## Worth a second look" in run("report", sheet, "--for", "log")


def test_a_finished_job_takes_notes_and_is_opened_with_a_reason(sheet):
    run("add", sheet, "closed")
    run("add", sheet, "note", "paid")
    assert run("show", sheet).startswith("bus 31: finished, 3 entries")
    assert "Finished on" in run("report", sheet)
    said = " ".join(run("add", sheet, "part", "valve", status=2).split())
    assert "was finished on" in said
    assert "reopened WHY" in said
    run("add", sheet, "reopened", "came back warm")
    run("add", sheet, "part", "valve")
    assert run("show", sheet).startswith("bus 31: open, 5 entries")
    assert "not finished yet" in run("report", sheet)


def test_the_log_names_the_law_of_more_places_and_marks_it(sheet):
    log = " ".join(run("report", sheet, "--for", "log").split())
    assert "2024/573" in log
    assert "Great Britain" in log
    assert "from memory" in log
