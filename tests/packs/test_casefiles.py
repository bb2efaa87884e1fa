"""Files of cases: each thing a case may say, and each mistake with its place and what to write instead."""

from __future__ import annotations

from pathlib import Path

import pytest

from small_pack import program
from twogauge.errors import FileProblems, InputError
from twogauge.packs.casefiles import EXPECT, KEYS, read_pack_cases

WHOLE = """\
- id: leak
  title: A leak
  reading: {low_side: low, high_side: low, oily_spots: yes}
  expect:
    first: thirsty
    not_first: [smothered, normal]
    within_three: thirsty
    not_within_three: smothered
    verdict: [fault, too_close]
    at_least: {thirsty: 60 %}
    at_most: {normal: 5 %, smothered: 1 %}
    fires: [low_side_low, oil_at_fittings]
    silent: paper_falls
    speaks_for: [thirsty]
    speaks_against: [normal]
    favours: {thirsty: [normal, smothered]}
    topic: low_side_level
  note: Both sag, and oil has left.
"""
ONE = "- id: a\n  reading: {low_side: low}\n  expect: {first: thirsty}\n  note: So it is.\n"


@pytest.fixture
def read(tmp_path):
    def read_(text, name="one.yaml"):
        path = tmp_path / "cases" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
        return read_pack_cases([("shop", tmp_path)], program())

    return read_


def problems(read, text):
    with pytest.raises(FileProblems) as caught:
        read(text)
    return [(p.place.line, p.place.column, p.message) for p in caught.value.problems]


def test_a_case_may_say_all_of_this(read):
    (case,) = read(WHOLE)
    assert (case.id, case.pack, case.why) == ("leak", "shop", "Both sag, and oil has left.")
    assert {each.key for each in case.expected} == set(EXPECT) - {"topic"}
    by_key = {each.key: each for each in case.expected}
    assert by_key["verdict"].names == ("fault", "too_close")
    assert [(e.names, e.chance) for e in case.expected if e.key == "at_most"] == [
        (("normal",), 0.05),
        (("smothered",), 0.01),
    ]
    assert by_key["favours"].rivals == ("normal", "smothered")
    assert {by_key[key].topic for key in ("speaks_for", "speaks_against", "favours")} == {"low_side_level"}
    assert by_key["first"].topic == ""
    assert (by_key["fires"].place.line, by_key["fires"].place.column) == (12, 5)


def test_every_key_of_the_docstring_is_a_key_and_the_other_way_round():
    from twogauge.packs import casefiles

    listed = {line.split(":")[0].strip(" -") for line in casefiles.__doc__.splitlines() if line.startswith("    ")}
    assert listed == {*KEYS, *EXPECT}


def test_a_case_without_a_name_is_called_by_its_place(read):
    assert read(ONE.replace("id: a", "title: b"))[0].id == "one.yaml:1"


def test_files_are_read_in_order_and_ids_are_those_of_one_pack(read):
    read(ONE.replace("id: a", "id: b"), "two.yml")
    assert [case.id for case in read(ONE, "one.yaml")] == ["a", "b"]
    ((line, column, message),) = problems(lambda text: read(text, "three.yaml"), ONE)
    assert (line, column) == (1, 7)
    assert "already the id of the case at" in message


def test_what_is_no_case_file_is_left_alone(read, tmp_path):
    read(ONE)
    (tmp_path / "cases" / "notes.txt").write_text("nothing to read")
    (tmp_path / "cases" / ".draft.yaml").write_text("- {")
    assert len(read(ONE)) == 1


def test_no_folder_is_no_case(tmp_path):
    assert read_pack_cases([("shop", tmp_path)], program()) == []


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "message"),
    [
        ("expect:", "expects:", 4, 3, "did you mean 'expect'?"),
        ("    first:", "    frist:", 5, 5, "did you mean 'first'"),
        ("first: thirsty", "first: thristy", 5, 12, "'thristy' is not a fault known here; did you mean 'thirsty'?"),
        ("[smothered, normal]", "[smothered, nrmal]", 6, 28, "did you mean 'normal'?"),
        ("first: thirsty", "first: []", 5, 12, "name at least one"),
        ("first: thirsty", "first: {a: b}", 5, 12, "ids of faults belong here"),
        ("[fault, too_close]", "[fault, too_clos]", 9, 22, "did you mean 'too_close'?"),
        ("[fault, too_close]", "fine", 9, 14, "it is one of fault, gated, normal, not_enough, too_close"),
        (
            "{thirsty: 60 %}",
            "{thirsty: 60}",
            10,
            25,
            "a probability between 0 % and 100 % belongs here, such as 60 %",
        ),
        ("{thirsty: 60 %}", "{thirsty: 120 %}", 10, 25, "a probability between"),
        ("{thirsty: 60 %}", "{thristy: 60 %}", 10, 16, "did you mean 'thirsty'?"),
        ("{thirsty: 60 %}", "60 %", 10, 15, "lines of 'fault: ...' belong here, such as {ID: 60 %}"),
        ("oil_at_fittings]", "oil_at_fitings]", 12, 27, "is not a rule known here; did you mean 'oil_at_fittings'?"),
        ("silent: paper_falls", "silent: [[a]]", 13, 14, "a rule belongs here"),
        ("[normal, smothered]}", "[normal, thirsty]}", 16, 24, "thirsty cannot beat itself"),
        ("topic: low_side_level", "topic: low_side_levl", 17, 12, "did you mean 'low_side_level' or"),
        ("low_side: low,", "low_sid: low,", 3, 13, "did you mean 'low_side'?"),
        ("oily_spots: yes", "oily_spots: ye", 3, 56, "did you mean 'yes'?"),
        ("{low_side: low, high_side: low, oily_spots: yes}", "low", 3, 12, "lines of 'field: value' belong here"),
        ("note: Both", "nota: Both", 18, 3, "did you mean 'note'"),
    ],
)
def test_a_mistake_is_told_with_its_place_and_what_to_write(read, old, new, line, column, message):  # noqa: PLR0917
    assert old in WHOLE
    found = problems(read, WHOLE.replace(old, new, 1))
    assert [text for *at, text in found if at == [line, column] and message in text], found


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("id: a\n", "a file of cases is a list"),
        ("- a\n", "a case is lines of 'key: value'"),
        ("[]\n", "there is no case in this file"),
        ("- id: a\n  expect: {first: thirsty}\n  note: n\n", "'reading' is missing here"),
        ("- id: a\n  reading: {low_side: low}\n  note: n\n", "'expect' is missing here"),
        ("- id: a\n  reading: {low_side: low}\n  expect: {first: thirsty}\n", "say where this case was told"),
        ("- id: a\n  reading: {low_side: low}\n  expect: {}\n  note: n\n", "add what must come out"),
        (
            "- id: a\n  reading: {low_side: low}\n  expect: {first: thirsty, topic: leak_signs}\n  note: n\n",
            "topic: belongs beside speaks_for, speaks_against, favours",
        ),
    ],
)
def test_what_is_missing_is_asked_for(read, text, message):
    assert any(message in told for _, _, told in problems(read, text))


def test_everything_wrong_in_all_files_is_told_at_once(read):
    with pytest.raises(FileProblems):
        read(ONE.replace("thirsty", "thristy"))
    with pytest.raises(FileProblems) as caught:
        read(ONE.replace("low_side", "low_sid").replace("id: a", "id: b"), "two.yaml")
    assert [Path(p.place.path).name for p in caught.value.problems] == ["one.yaml", "two.yaml"]


def test_a_link_that_leads_out_of_the_pack_is_refused(read, tmp_path, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "secret.yaml"
    elsewhere.write_text(ONE)
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "link.yaml").symlink_to(elsewhere)
    with pytest.raises(InputError, match="a link that leads out of the pack"):
        read(ONE)


def test_too_many_files_are_refused(read, monkeypatch):
    from twogauge.packs import casefiles

    monkeypatch.setattr(casefiles, "_MAX_FILES", 1)
    read(ONE)
    with pytest.raises(InputError, match="put several cases into one file"):
        read(ONE.replace("id: a", "id: b"), "two.yaml")
