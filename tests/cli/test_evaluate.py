"""`twogauge evaluate`: what is printed, what is JSON, and what is refused with which words."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app


def run(*arguments, **kw):
    return CliRunner().invoke(app, ["evaluate", *map(str, arguments)], **kw)


def printed(*arguments, **kw):
    result = run(*arguments, **kw)
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    assert all(len(line) <= 80 for line in result.stdout.splitlines()), max(result.stdout.splitlines(), key=len)
    assert "\x1b" not in result.stdout
    return result.stdout


@pytest.fixture(scope="module")
def cases(root):
    return root / "tests" / "published" / "data" / "cases.yaml"


@pytest.fixture(scope="module")
def depot(root):
    return root / "examples" / "cases" / "depot.yaml"


@pytest.fixture(scope="module")
def book(root):
    return root / "examples" / "cases" / "casebook.jsonl"


@pytest.fixture
def two(tmp_path):
    path = tmp_path / "two.yaml"
    path.write_text(
        "- {id: one, faults: [low_charge], reading: {low_side: low, high_side: low}}\n"
        "- {id: two, faults: [normal], reading: {low_side: high, high_side: low}}\n",
        "utf-8",
    )
    return path


def test_each_case_has_a_line_and_a_miss_says_what_was_published(two):
    text = printed(two)
    assert re.search(r"(?m)^   1  fault       one +low_charge 0\.\d\d$", text)
    assert re.search(r"(?m)^ *\d+  (fault|too_close) +two +weak_compressor 0\.\d\d$", text)
    assert "false alarm: published normal; here weak_compressor" in " ".join(text.split())


def test_the_table_gives_the_rates(two):
    text = printed(two)
    assert re.search(r"(?m)^2 cases\n  a published cause comes first +1 +50\.0%$", text)
    assert re.search(r"(?m)^1 with nothing wrong\n(?:.*\n)*?  false alarm .* 1 +100\.0%$", text)
    assert re.search(r"(?m)^1 with something wrong\n  correct +1 +100\.0%$", text)
    assert re.search(r"(?m)^  low_charge +low_charge +1$", text)
    rows = re.findall(r"(?m)^ +\d+% to +\d+% +(\d+)(?: +[\d.]+% +([\d.]+)%)?$", text)
    assert len(rows) == 6
    assert sum(int(count) * float(right or 0) for count, right in rows) == 100.0, "one of the two leaders is right"
    assert re.search(r"(?m)^  normal +weak_compressor +1  false alarm$", text)


def test_brief_leaves_out_the_cases_only(two):
    assert printed(two).endswith(printed(two, "--brief"))
    assert printed(two, "--brief").startswith("2 cases\n")


def test_the_document_says_what_the_tables_say(cases):
    found = json.loads(run(cases, "--json").stdout)
    assert found["schema"] == "twogauge.evaluation/1"
    assert list(found) == [
        "schema",
        "cases",
        "first",
        "within_three",
        "normal",
        "faulty",
        "confusion",
        "calibration",
        "rules",
        "proposal",
        "packs",
    ]
    every = found["cases"]
    assert found["first"]["count"] == sum(case["rank"] == 1 for case in every)
    assert found["first"]["rate"] == found["first"]["count"] / len(every)
    assert found["within_three"]["count"] == sum(case["rank"] <= 3 for case in every)
    for name in ("normal", "faulty"):
        mine = [case for case in every if case["normal"] == (name == "normal")]
        outcomes = {key: value for key, value in found[name].items() if key != "of"}
        assert found[name]["of"] == len(mine) > 0
        assert sum(value["rate"] for value in outcomes.values()) == pytest.approx(1.0)
        for outcome, value in outcomes.items():
            assert value["count"] == sum(case["outcome"] == outcome for case in mine)
    assert sum(cell["count"] for cell in found["confusion"]) == len(every)
    assert sum(row["count"] for row in found["calibration"]) == len(every)
    assert found["rules"] is None
    assert found["proposal"] is None
    lines = cases.read_text("utf-8").splitlines()
    assert all(lines[case["line"] - 1] == f"- id: {case['id']}" for case in every)
    text = printed(cases)
    assert f"{found['first']['count']:5}  {found['first']['rate']:6.1%}" in text


def test_no_case_of_one_kind_is_no_rate(tmp_path):
    path = tmp_path / "one.yaml"
    path.write_text("- {faults: [low_charge], readings: {low_side: low}}\n", "utf-8")
    found = json.loads(run(path, "--json").stdout)
    assert found["normal"]["correct"] == {"count": 0, "rate": None}
    assert "with nothing wrong" not in printed(path)


def test_a_rule_left_out_is_left_out(two):
    with_all, without = (json.loads(run(two, "--json", *more).stdout) for more in ([], ["--without", "low_side_low"]))
    assert with_all["cases"][0]["leaders"][0]["probability"] > without["cases"][0]["leaders"][0]["probability"]
    refused = run(two, "--without", "low_side_lwo")
    assert refused.exit_code == 2
    assert "did you mean" in refused.stderr


def test_packs_of_the_shop_are_in_force(two, root):
    found = json.loads(run(two, "--json", "--rules", root / "examples" / "bus_depot").stdout)
    assert "bus_depot" in {pack["pack"] for pack in found["packs"]}


def test_the_examples_are_cases_and_a_book(depot, book):
    assert re.search(r"(?m)^\d cases$", printed(depot))
    text = printed(book)
    assert "How the rules fared" in text
    assert "casebook.jsonl:1" in text


def test_rules_are_told_of_for_a_book_or_when_asked(two, book):
    assert "How the rules fared" not in printed(two)
    assert re.search(r"(?m)^  low_side_low +1 +1 +0 +0$", printed(two, "--learn"))
    records = json.loads(run(book, "--json").stdout)["rules"]
    assert any(record["right"] for record in records)
    assert list(records[0]) == ["rule", "judged", "held", "right", "against", "aside"]


def test_a_proposal_is_written_told_and_passes_its_test(book, tmp_path):
    folder = tmp_path / "our_priors"
    text = (
        printed(book, "--brief", "--propose", folder)
        if len(str(folder)) < 50
        else run(book, "--brief", "--propose", folder).stdout
    )
    assert "Priors from" in text
    assert re.search(r"(?m)^  condenser_cooling .*common -> very common$", text)
    tested = CliRunner().invoke(app, ["rules", "test", str(folder)])
    assert tested.exit_code == 0, tested.stdout
    again = run(book, "--propose", folder)
    assert again.exit_code == 2
    assert "nothing is overwritten" in again.stderr
    found = json.loads(run(book, "--json", "--propose", tmp_path / "more").stdout)["proposal"]
    assert found["written"] == str(tmp_path / "more" / "pack.yaml")
    assert found["repairs"] + found["sound"] == len(book.read_text("utf-8").splitlines())
    assert sum(prior["count"] for prior in found["priors"]) == found["repairs"]


def test_a_book_with_nothing_new_proposes_nothing(tmp_path):
    book = tmp_path / "book.jsonl"
    book.write_text('{"reading": {"low_side": "low"}, "faults": ["low_charge"]}\n', "utf-8")
    text = run(book, "--propose", tmp_path / "priors").stdout
    assert "at odds with no prior; nothing was written" in text
    assert not (tmp_path / "priors").exists()


def test_cases_of_a_file_count_nothing(two, book, tmp_path):
    result = run(two, book, "--propose", tmp_path / "priors")
    assert result.exit_code == 2
    assert "only a case book (.jsonl) tells" in result.stderr
    assert not (tmp_path / "priors").exists()


def test_standard_input_is_a_file_of_cases(two):
    assert printed("-", input=two.read_text("utf-8")) == printed(two)


def test_a_mistake_is_one_line_an_editor_can_jump_to(tmp_path):
    path = tmp_path / "bad.yaml"
    path.write_text("- {faults: [low_chrage], readings: {low_side: low}}\n", "utf-8")
    result = run(path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert (
        result.stderr
        == f"{path}:1:13: 'low_chrage' is not a fault known here; did you mean 'low_charge' or 'overcharge'?\n"
    )


def test_bare_numbers_are_in_the_units_asked_for(tmp_path):
    path = tmp_path / "bare.yaml"
    path.write_text("- {faults: [normal], readings: {low_side: 2, ambient: 30}, refrigerant: R134a}\n", "utf-8")
    sure = [
        json.loads(run(path, "--json", "--units", units).stdout)["cases"][0]["leaders"] for units in ("us", "metric")
    ]
    assert sure[0] != sure[1]


def test_it_goes_through_a_pipe_that_knows_ascii_only(two):
    done = subprocess.run(
        [sys.executable, "-X", "utf8=0", "-m", "twogauge", "evaluate", two],
        capture_output=True,
        check=False,
        env={"PATH": "", "PYTHONIOENCODING": "ascii", "PYTHONPATH": ":".join(sys.path)},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode("ascii").startswith("rank  verdict")


def test_help_tells_the_format():
    text = " ".join(run("--help").stdout.split())
    for word in ("faults", "reading", "readings", "conditions", "checks", "--propose", "--learn", "--brief"):
        assert word in text
