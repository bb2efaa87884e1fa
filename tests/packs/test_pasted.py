"""A pack that came as one text: checked, its examples run, and nothing of it or of its folder left behind."""

from __future__ import annotations

import tempfile

import pytest

from own_pack import OWN_PACK
from twogauge.diagnosis import program_for
from twogauge.packs.pasted import MOST_TEXT, attempt

PACK = OWN_PACK.replace("topic:", "builds_on: {automotive: 1}\ntopic:")


@pytest.fixture(scope="module")
def program():
    return program_for()


def test_sound_rules_are_counted_and_would_be_in_force(program):
    found = attempt(PACK, program)
    assert (found.name, found.problems, found.rules, found.examples, found.failures) == ("our_shop", (), 1, 2, ())
    assert "hose_is_warm" in {rule.id for rule in found.program.rules}
    assert "hose_is_warm" not in {rule.id for rule in program.rules}


def test_what_is_wrong_is_told_by_line_of_the_text(program):
    found = attempt(
        PACK.replace("superheat: {above", "superheet: {above").replace("low_charge", "low_charg"), program
    )
    assert found.program is None
    told = {(each.place.path, each.place.line) for each in found.problems}
    assert told == {("pack", 7), ("pack", 8)}


def test_an_example_that_proves_nothing_is_told(program):
    found = attempt(PACK.replace("{superheat: 2 K}", "{superheat: 40 K}"), program)
    assert [(each.rule, each.kind, each.place.line) for each in found.failures] == [
        ("hose_is_warm", "does_not_hold", 13)
    ]


def test_known_cases_that_come_out_otherwise_are_told_once_each(program):
    shut = "pack: our_shop\ndisable:\n" + "".join(
        f"  {each}: {{note: try}}\n" for each in ("low_side_low", "low_side_high", "high_side_low", "high_side_high")
    )
    found = attempt(shut, program)
    assert found.problems == ()
    assert found.moved
    assert len({each.case.place for each in found.moved}) == len(found.moved)
    assert attempt("pack: our_shop\nadjust:\n  low_side_low: {note: our gauge is new}\n", program).moved == ()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "pack: ../../elsewhere",
        "rules: {a: 1}",
        "pack: x\nrules:\n  a: {}\n",
        "a: &a [*a]",
        PACK + PACK,
        "pack: x\ncautions:\n  a: {short: x, text: '\udcff', source: y}\n",
        PACK.replace("hose_is_warm", "high_side_low"),
        PACK.replace("our_shop", "automotive"),
    ],
)
def test_no_text_leaves_anything_or_tells_of_a_folder(program, text, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    found = attempt(text, program)
    assert list(tmp_path.iterdir()) == []
    told = " ".join([*map(str, found.problems), found.name])
    assert found.problems
    assert str(tmp_path) not in told
    assert not any(each.folder in told for each in program.stack.found if each.folder)


def test_a_text_beyond_bounds_is_not_read(program):
    with pytest.raises(ValueError, match="characters"):
        attempt(" " * (MOST_TEXT + 1), program)


def test_it_stands_on_the_packs_in_force(tmp_path):
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
    named = program_for((str(tmp_path),))
    more = (
        "pack: more\nadjust:\n  hose_is_warm:\n    note: our hoses are long\n    says: {low_charge: slightly for}\n"
    )
    assert attempt(more, named).problems == ()
    assert attempt(more, program_for()).problems
    twice = " ".join(map(str, attempt(PACK, named).problems))
    assert "our_shop" in twice
    assert str(tmp_path) not in twice


def test_cases_of_a_pack_beneath_that_cannot_be_read_are_nobodys_fault_here(tmp_path):
    (tmp_path / "pack.yaml").write_text(PACK, "utf-8")
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "broken.yaml").write_text("cases: {", "utf-8")
    more = (
        "pack: more\nadjust:\n  hose_is_warm:\n    note: our hoses are long\n    says: {low_charge: slightly for}\n"
    )
    found = attempt(more, program_for((str(tmp_path),)))
    assert found.problems == ()
    assert found.program is not None
