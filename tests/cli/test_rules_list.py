"""`twogauge rules list` and `show`: every entry once, found by kind, pack, topic and fault; and what packs changed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in, program
from twogauge.cli.app import app
from twogauge.cli.rules.common import KINDS
from twogauge.packs.model import KINDS as SECTIONS

SHOP = """\
pack: our_shop
builds_on: {automotive: 2}
adjust:
  high_side_far_above_air:
    note: The wash bay is roofed in.
    when:
      condensing_over_ambient: {above: 42 K}
    says:
      smothered: nothing
extend:
  thirsty:
    note: Ours leak at the roof.
    confirm: Look at the hoses on the roof.
disable:
  high_side_low:
    note: We never see it.
"""


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "changes.yaml").write_text(SHOP, "utf-8")
    return str(tmp_path)


def run(*args):
    return CliRunner().invoke(app, ["rules", *args])


def printed(*args):
    result = run(*args)
    assert result.exit_code == 0, result.stderr
    assert "--json" in args or all(
        len(line) <= 80 for line in result.stdout.splitlines() if not re.fullmatch(r" *\S+:\d+", line)
    )
    return result.stdout


def listed(*args):
    return json.loads(printed("list", "--json", *args))


def ids(*args):
    return {each["id"] for each in listed(*args)["entries"]}


def everything():
    stack = program().stack
    return {name for kind in SECTIONS for name in getattr(stack, kind)}


def test_every_section_of_a_pack_has_its_kind():
    assert set(KINDS) == set(SECTIONS)


def test_every_entry_is_listed_with_its_kind_pack_topic_and_place():
    entries = listed()["entries"]
    assert {each["id"] for each in entries} == everything()
    for each in entries:
        line = Path(each["path"]).read_text("utf-8").splitlines()[each["line"] - 1]
        assert line[each["column"] - 1 :].startswith(f"{each['id']}:")
    rule = next(each for each in entries if each["id"] == "high_side_high")
    assert (rule["kind"], rule["pack"], rule["topic"]) == ("rule", "automotive", "high_side_level")


def test_the_text_names_every_entry_on_a_line_that_ends_in_its_place():
    text = printed("list")
    for name in everything():
        assert re.search(rf"(?m)^  {name}(\s+|\n\s+)\S+\.yaml:\d+$", text), name
    assert re.search(rf"(?m)^Rules, {len(program().stack.rules)}$", text)


def test_entries_are_found_by_kind_pack_topic_and_fault(shop):
    assert ids("--kind", "gate") == ids("--kind", "gates") == set(program().stack.gates)
    assert ids("--pack", "automotive") == {
        name
        for kind in ("rules", "gates", "bands", "checks", "faults", "cautions")
        for name, loaded in getattr(program().stack, kind).items()
        if loaded.pack == "automotive"
    }
    assert ids("--pack", "our_shop", "--rules", shop) == {"high_side_far_above_air", "thirsty"}
    topic = {name for name, r in program().stack.rules.items() if r.entry.topic == "high_side_level"}
    assert ids("--topic", "high_side_level") == topic
    speak = {n for n, r in program().stack.rules.items() if "thirsty" in {**r.entry.says, **r.entry.otherwise}}
    assert ids("--fault", "thirsty") == {"thirsty", *speak}
    assert ids("--fault", "thirsty", "--kind", "rule") == speak


def test_what_is_disabled_is_listed_apart_with_its_reason_and_place(shop):
    found = listed("--rules", shop)
    assert "high_side_low" not in {each["id"] for each in found["entries"]}
    (gone,) = found["disabled"]
    assert (gone["id"], gone["by"], gone["note"], gone["line"]) == (
        "high_side_low",
        "our_shop",
        "We never see it.",
        15,
    )
    assert listed("--rules", shop, "--kind", "check")["disabled"] == []
    assert listed("--rules", shop, "--topic", "high_side_level")["disabled"] == [gone]
    assert listed("--rules", shop, "--topic", "low_side_level")["disabled"] == []
    assert listed("--rules", shop, "--fault", "hissing")["disabled"] == []
    text = " ".join(printed("list", "--rules", shop).split())
    assert "rule of automotive, by our_shop: We never see it." in text


@pytest.mark.parametrize(
    ("option", "name", "meant"),
    [
        ("--kind", "ruel", "rule"),
        ("--pack", "comon", "common"),
        ("--topic", "high_side", "high_side_level"),
        ("--fault", "smotherd", "smothered"),
    ],
)
def test_a_filter_that_nothing_has_is_a_sentence(option, name, meant):
    result = run("list", option, name)
    assert result.exit_code == 2
    assert f"did you mean '{meant}'" in result.stderr


def test_a_fault_and_a_kind_that_speaks_of_none_is_a_sentence():
    result = run("list", "--fault", "thirsty", "--kind", "band")
    assert result.exit_code == 2
    assert "leave out --kind" in result.stderr


def test_nothing_of_a_kind_is_said(shop):
    assert "Nothing in force is of that kind." in printed("list", "--kind", "profile", "--rules", shop)


def test_a_change_is_shown_from_what_to_what_with_both_places_and_the_note(shop):
    text = printed("show", "high_side_far_above_air", "--rules", shop)
    changed = text.partition("What was changed")[2].partition("What is in force")[0]
    assert "Adjusted by our_shop: The wash bay is roofed in." in text
    lines = [" ".join(line.split()) for line in changed.splitlines() if line.strip()]
    start = lines.index("when.condensing_over_ambient.above, changed by our_shop")
    assert re.fullmatch(r"- 38 K \S*levels\.yaml:\d+", lines[start + 1])
    assert re.fullmatch(r"\+ 42 K \S*changes\.yaml:7", " ".join(lines[start + 2 : start + 4]).partition(" says")[0])


def test_the_document_of_a_changed_entry_tells_the_same(shop):
    told = json.loads(printed("show", "high_side_far_above_air", "--json", "--rules", shop))
    first = told["changes"][0]
    assert first["key"] == ["when", "condensing_over_ambient", "above"]
    assert (first["before"]["text"], first["after"]["text"], first["by"]) == ("38 K", "42 K", "our_shop")
    assert first["note"] == "The wash bay is roofed in."
    before = Path(first["before"]["path"]).read_text("utf-8").splitlines()[first["before"]["line"] - 1]
    assert before[first["before"]["column"] - 1 :].startswith("38 K")
    assert told["disabled"] is None


def test_what_was_added_to_a_list_is_shown_without_what_was_there(shop):
    text = printed("show", "thirsty", "--rules", shop)
    changed = text.partition("What was changed")[2].partition("What is in force")[0]
    assert "confirm, added to by our_shop" in changed
    assert "+ Look at the hoses on the roof." in changed
    assert " - " not in changed


def test_an_entry_nobody_changed_shows_no_changes():
    assert "What was changed" not in printed("show", "high_side_high")


def test_a_disabled_entry_is_shown_with_its_reason_its_place_and_what_it_says(shop):
    text = printed("show", "high_side_low", "--rules", shop)
    assert "high_side_low is disabled by our_shop: We never see it." in text
    assert re.search(r"changes\.yaml:15", text)
    assert program().stack.rules["high_side_low"].entry.title in text
    told = json.loads(printed("show", "high_side_low", "--json", "--rules", shop))
    assert (told["disabled"]["by"], told["disabled"]["line"]) == ("our_shop", 15)


@pytest.mark.parametrize(
    ("args", "schema"),
    [
        (("list",), "twogauge.list/1"),
        (("show", "thirsty"), "twogauge.entry/1"),
        (("packs",), "twogauge.packs/1"),
    ],
)
def test_every_document_says_what_it_is(args, schema):
    assert json.loads(printed(*args, "--json"))["schema"] == schema
