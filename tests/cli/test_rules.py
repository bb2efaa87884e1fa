"""`twogauge rules`: what is in force, where each value stands, and whether the examples hold."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

from small_pack import FOLDER, in_place_of_the_built_in, program
from twogauge.cli.app import app

SHOP = """\
pack: our_shop
builds_on: {automotive: 2}
adjust:
  high_side_far_above_air:
    note: The wash bay is roofed in.
    when:
      condensing_over_ambient: {above: 42 K}
"""


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def shop(tmp_path):
    def write(text=SHOP):
        (tmp_path / "changes.yaml").write_text(text, "utf-8")
        return str(tmp_path)

    return write


def run(*args, **kw):
    return CliRunner().invoke(app, ["rules", *args], **kw)


def printed(*args, **kw):
    result = run(*args, **kw)
    assert result.exit_code == 0, result.stderr
    # A path alone on its line is never broken, so that an editor can jump to it.
    assert all(len(line) <= 80 for line in result.stdout.splitlines() if not re.fullmatch(r" *\S+:\d+", line))
    return result.stdout


def test_checks_are_listed_with_question_way_effort_and_answers():
    listed = printed("checks")
    flat = " ".join(listed.split())
    for name, check in program().stack.checks.items():
        assert re.search(rf"(?m)^{name}$", listed)
        for words in (check.entry.ask, *(step.text for step in check.entry.how), *check.entry.answers):
            assert words in flat


def test_faults_are_listed_with_title_and_how_common():
    flat = " ".join(printed("faults").split())
    for name, fault in program().stack.faults.items():
        assert f"{name} {fault.entry.title} ({fault.entry.how_common}" in flat
        assert fault.entry.what_happens in flat


def place_of(shown, name):
    return re.search(rf"(?m)^  {re.escape(name)}\s+(\S+):(\d+)$", shown).groups()


def test_a_rule_is_shown_with_the_place_of_each_value():
    shown = printed("show", "high_side_high")
    for name, value in (
        ("title", "The high side is high"),
        ("says.smothered", "strongly for"),
        ("topic", "high_side_level"),
    ):
        path, number = place_of(shown, name)
        assert path.endswith("levels.yaml")
        line = (FOLDER / "automotive" / "levels.yaml").read_text("utf-8").splitlines()[int(number) - 1]
        assert value in line
        assert value in shown


def test_what_a_shop_changed_is_shown_with_its_own_place_and_note(shop):
    shown = printed("show", "high_side_far_above_air", "--rules", shop())
    assert "Adjusted by our_shop: The wash bay is roofed in." in shown
    assert re.search(r"when\.condensing_over_ambient\.above\s+\S*changes\.yaml:7\n\s+42 K", shown)
    assert re.search(r"when\.condensing_over_ambient\.soft\s+\S*levels\.yaml:\d+\n\s+6 K", shown)


@pytest.mark.parametrize("name", ["too_cold", "thirsty", "paper_test", "low_side_any", "wear_goggles"])
def test_other_entries_can_be_shown_too(name):
    assert printed("show", name).startswith(f"{name}, ")


def test_a_disabled_rule_says_who_disabled_it_and_why(shop):
    folder = shop("pack: our_shop\ndisable:\n  high_side_low:\n    note: We never see it.\n")
    assert "high_side_low is disabled by our_shop: We never see it." in printed(
        "show", "high_side_low", "--rules", folder
    )


def test_an_unknown_rule_is_a_sentence_with_a_suggestion():
    result = run("show", "high_side_hihg")
    assert result.exit_code == 2
    assert "did you mean 'high_side_high'" in result.stderr


def test_rules_whose_examples_hold_pass():
    assert "All 16 examples of 6 rules and 1 gates hold." in printed("test")


def test_an_adjustment_that_breaks_an_example_is_found(shop):
    folder = shop(SHOP.replace("42 K", "90 K"))
    result = run("test", folder)
    assert result.exit_code == 1
    first, last, cases = result.stdout.splitlines()
    assert cases == "There are no cases."
    assert re.match(r"\S*levels\.yaml:\d+:\d+: high_side_far_above_air: an example under 'holds' needs", first)
    assert last == "1 of 16 examples of 6 rules and 1 gates fail."


def test_folders_of_the_environment_are_tested_too(shop):
    assert run("test", env={"TWOGAUGE_RULES": shop(SHOP.replace("42 K", "90 K"))}).exit_code == 1


def test_a_pack_that_does_not_load_is_told_with_its_places(shop):
    result = run("test", shop(SHOP.replace("adjust:", "adjst:")))
    assert result.exit_code == 2
    assert re.match(r"\S*changes\.yaml:3:1: 'adjst' is not a key here; did you mean 'adjust'", result.stderr)


def test_finding_no_example_is_a_failure(monkeypatch):
    from twogauge.packs import selftest

    monkeypatch.setattr(selftest, "count_examples", lambda _program: 0)
    result = run("test")
    assert result.exit_code == 1
    assert "No example and no case was found" in result.stdout
