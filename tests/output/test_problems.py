"""How problems are shown: a line that editors can jump to, the source with a mark, commands that cannot be forged."""

from __future__ import annotations

import json
import os

import pytest

from twogauge.output.problems import annotation, document, text_lines
from twogauge.output.style import Style
from twogauge.packs.problems import Place, Problem


@pytest.fixture
def told(tmp_path):
    """Write a line of a file and return how a problem in it is shown."""

    def show(line, column, style=None, message="Wrong; mend it"):
        path = tmp_path / "pack.yaml"
        path.write_text(f"pack: shop\n{line}\n", "utf-8")
        return text_lines([Problem(Place(str(path), 2, column), "value", message)], style or Style())

    return show


def test_place_code_and_message_stand_on_one_line_and_the_source_below_with_a_mark(told):
    first, source, mark = told("    when: {x: 1}", 11)
    assert first.endswith("pack.yaml:2:11: value: Wrong; mend it")
    assert source == "    when: {x: 1}"
    assert source[mark.index("^")] == "{"


def test_the_mark_counts_wide_characters_twice_and_a_tab_once(told):
    _, source, mark = told("title: \u6c34\u6c34 x", 11)
    assert source == "    title: \u6c34\u6c34 x"
    assert mark.index("^") == source.index("x") + 2
    _, source, mark = told("title:\tx", 8)
    assert source[mark.index("^")] == "x"


def test_a_long_line_is_cut_around_the_mark(told):
    line = "title: " + "a" * 200 + "!" + "b" * 200
    _, source, mark = told(line, 208)
    assert len(source) <= 80
    assert source[mark.index("^")] == "!"


def test_a_warning_says_so(tmp_path):
    warning = Problem(Place(str(tmp_path / "x.yaml")), "hidden", "Never counts", "warning")
    assert text_lines([warning], Style())[0].endswith("x.yaml:1:1: hidden: Never counts (warning)")


@pytest.mark.parametrize("evil", ["\x1b[2J", "\u202e", "\x07", "\u2066", "\x9b31m", "\x00"])
def test_nothing_a_terminal_would_act_on_is_shown(told, tmp_path, evil):
    shown = "\n".join(told(f"title: {evil}gnihtemos", 8, message=f"this {evil} is wrong"))
    assert evil not in shown
    path = tmp_path / f"a{evil.replace(chr(0), chr(1))}b.yaml"
    place = Place(str(path), 1, 1)
    for text in (
        "\n".join(text_lines([Problem(place, "value", "x")], Style())),
        annotation(Problem(place, "value", "x")),
    ):
        assert evil not in text
        assert text.isprintable()


def test_what_the_output_cannot_hold_becomes_a_question_mark(told):
    first, source, _ = told("title: gr\u00fcn \u6c34", 8, Style(encoding="ascii"), message="gr\u00fcn")
    assert first.isascii()
    assert source == "    title: gr?n ?"


def test_a_line_that_is_not_there_is_not_shown(tmp_path):
    for place in (Place(str(tmp_path / "none.yaml"), 3, 3), Place("faults"), Place(str(tmp_path), 1, 1)):
        assert len(text_lines([Problem(place, "value", "x")], Style())) == 1


def test_a_path_below_the_current_folder_is_short(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    problem = Problem(Place(str(tmp_path / "shop" / "a.yaml"), 3, 4), "value", "x")
    short = os.path.join("shop", "a.yaml")  # noqa: PTH118 - as it is printed
    assert text_lines([problem], Style())[0] == f"{short}:3:4: value: x"
    assert f"file={short},line=3" in annotation(problem)
    assert document([problem], ["shop"])["problems"][0]["file"] == short


def test_an_annotation_cannot_be_ended_or_begun_by_what_is_in_it():
    message = "100 %: a\nb\r::error::c"
    problem = Problem(Place("a,b:c.yaml", 2, 3), "value", message, "warning")
    assert annotation(problem) == (
        "::warning file=a%2Cb%3Ac.yaml,line=2,col=3,title=value::100 %25: a%0Ab%0D::error::c"
    )


def test_the_document_holds_all_of_it():
    problems = [
        Problem(Place("a.yaml", 2, 3), "value", "x \u202e"),
        Problem(Place("b.yaml", 4, 5), "hidden", "y", "warning"),
    ]
    found = document(problems, ["shop"])
    assert (found["version"], found["packs"], found["errors"], found["warnings"]) == (1, ["shop"], 1, 1)
    assert found["problems"][1] == {
        "file": "b.yaml",
        "line": 4,
        "column": 5,
        "code": "hidden",
        "severity": "warning",
        "message": "y",
    }
    assert json.loads(json.dumps(found)) == found
