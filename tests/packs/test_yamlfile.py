"""The loader of strangers' files: what it reads, what it refuses and where, and that it never does anything else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given
from hypothesis import strategies as st

from twogauge.errors import FileProblems
from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.packs.yamlfile import Mapping, Scalar, Sequence, load, locate, plain, unknown_keys

BAD = Path(__file__).parent / "bad" / "yaml"

NO_ANCHORS = "anchors and aliases (& and *) are not used here; write the value out, or put the text in quotes"
NO_TAGS = "tags (!) are not used here; remove this one, or put the text in quotes"
NO_TABS = "a tab stands where only spaces may; indent with spaces"
ONE_DOCUMENT = "a file holds one document, and it has ended before this line; move the rest into a file of its own"
TEXT_KEYS = "a key is plain text here; write 'key: value'"
EMPTY = "this file is empty, or holds only comments; write at least one 'key: value'"

# One mistake in each file, and all that is printed about it.
PRINTED = {
    "after_the_end.yaml": [f"3:1: {ONE_DOCUMENT}"],
    "alias.yaml": [f"2:6: {NO_ANCHORS}"],
    "anchor.yaml": [f"1:7: {NO_ANCHORS}"],
    "at_sign.yaml": ["1:8: a value cannot begin with '@'; put it in quotes"],
    "bare_ampersand.yaml": [f"1:8: {NO_ANCHORS}"],
    "colon_in_value.yaml": ["1:12: a colon inside a value: put the value in quotes, or on the next line under >"],
    "comma_first.yaml": ["1:13: a value should stand here, not ','; put it in quotes if it is text"],
    "complex_key.yaml": [f"1:3: {TEXT_KEYS}"],
    "directive.yaml": ["3:1: directives (%) are not used here; remove this line"],
    "duplicate_keys.yaml": [
        "3:1: 'ambient' already stands at line 1, column 1; keep one of the two",
        "6:3: 'vent' already stands at line 5, column 3; keep one of the two",
    ],
    "ends_inside_brackets.yaml": ["2:1: the file ends inside brackets; close every { and ["],
    "indent_between.yaml": ["3:3: this line is not indented like the keys above; align it with them"],
    "json_duplicate.json": ["3:2: 'ambient' already stands at line 2, column 2; keep one of the two"],
    "json_trailing_text.json": [f"1:24: {ONE_DOCUMENT}"],
    "key_among_items.yaml": [
        "2:1: a '- ' is missing here, or the line is not indented like the rest; begin it like the items above"
    ],
    "key_inside_value.yaml": [
        (
            "2:8: a key cannot stand here, the value above goes on to this line; "
            "indent it like the other keys, or put the text in quotes or under >"
        )
    ],
    "list_among_keys.yaml": ["2:1: a list item among keys; indent the list under its key, or remove the '- '"],
    "list_in_line.yaml": ["1:13: a list cannot begin on this line; put '- ' on the next"],
    "merge_key.yaml": ["3:5: merge keys (<<) are not used here; write the keys out"],
    "missing_comma.yaml": [
        (
            "1:27: a ',' is missing before this, or the bracket opened at line 1, column 8 is not closed; "
            "in prose, use quotes"
        )
    ],
    "no_colon.yaml": [
        "2:1: this line has no ': ' after its key; write 'key: value', or indent it if it continues the text above"
    ],
    "no_key.yaml": ["2:1: a key is missing before this colon; write 'key: value'"],
    "only_comments.yaml": [f"1:1: {EMPTY}"],
    "question_mark_in_value.yaml": ["1:8: a value cannot begin with '? '; put it in quotes"],
    "quote_to_document_mark.yaml": [
        "1:8: this quote is not closed before a line that begins with --- or ...; add the closing quote"
    ],
    "several_documents.yaml": [f"2:1: {ONE_DOCUMENT}"],
    "stray_bracket.yaml": ["1:28: this ']' closes nothing; remove it, or put the value in quotes"],
    "tab_after_spaces.yaml": [f"3:3: {NO_TABS}"],
    "tab_among_spaces.yaml": [f"3:1: {NO_TABS}"],
    "tab_indent.yaml": [f"2:1: {NO_TABS}"],
    "tag.yaml": [f"1:8: {NO_TAGS}"],
    "tag_unknown.yaml": [f"1:8: {NO_TAGS}"],
    "text_after_quote.yaml": ["1:21: the value has ended before this; put the whole value in quotes"],
    "text_on_block_line.yaml": [
        "1:12: only a comment may follow > or | on its line; begin the text on the next line, or put it in quotes"
    ],
    "too_deep.yaml": ["21:41: more than 20 levels inside each other; flatten this"],
    "unclosed_brace.yaml": [
        (
            "2:6: a ',' is missing before this, or the bracket opened at line 1, column 8 is not closed; "
            "in prose, use quotes"
        )
    ],
    "unclosed_double_quote.yaml": ["1:8: this quote is never closed; add the closing quote"],
    "unclosed_single_quote.yaml": ["1:8: this quote is never closed; add the closing quote"],
    "unknown_escape.yaml": [
        "1:11: this backslash escape is not known; write \\\\ for a backslash, or use single quotes"
    ],
}
# The pure parser places this otherwise.
PURE_PLACES = {"unknown_escape.yaml": "1:12:"}


@pytest.fixture(params=[yaml.CSafeLoader, yaml.SafeLoader], ids=["c", "pure"])
def either_parser(request, monkeypatch):
    monkeypatch.setattr(yamlfile, "_LOADER", request.param)
    return request.param


def refused(text, name="f.yaml", **options):
    """Return the printed problems without the name."""
    with pytest.raises(FileProblems) as caught:
        load(name, text, **options)
    return [str(problem).removeprefix(f"{name}:") for problem in caught.value.problems]


# What is refused


def test_every_bad_file_has_its_line():
    assert sorted(PRINTED) == sorted(file.name for file in BAD.iterdir())


@pytest.mark.parametrize("file", PRINTED)
def test_each_mistake_is_named_and_placed(file, either_parser):
    expected = list(PRINTED[file])
    if either_parser is yaml.SafeLoader and file in PURE_PLACES:
        expected[0] = PURE_PLACES[file] + expected[0].partition(":")[2].partition(":")[2]
    with pytest.raises(FileProblems) as caught:
        load(BAD / file)
    assert str(caught.value).splitlines() == [f"{BAD / file}:{line}" for line in expected]


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", f"1:1: {EMPTY}"),
        (b"\xef\xbb\xbf", f"1:1: {EMPTY}"),
        (b"---\n...\n", f"1:1: {EMPTY}"),
        ("title: cold".encode("utf-16"), "1:1: this file is UTF-16; save it as UTF-8"),
        ("title: cold".encode("utf-16-be"), "1:1: this file looks like UTF-16; save it as UTF-8"),
        ("title: cold".encode("utf-16-le"), "1:1: this file looks like UTF-16; save it as UTF-8"),
        ("title: cold".encode("utf-32"), "1:1: this file is UTF-32; save it as UTF-8"),
        (
            "a: 1\r\nvent: 8 °C".encode("latin-1"),
            "2:9: byte 0xb0 at offset 14 is not UTF-8; save the file as UTF-8",
        ),
        ("é: °".encode() + b"\xff", "1:5: byte 0xff at offset 6 is not UTF-8; save the file as UTF-8"),
        (b"a: 1\nb: \x00", "2:4: a NUL character (U+0000) stands here; remove it"),
        (b"a: \x1b[31m", "1:4: a character that is not text (U+001B) stands here; remove it"),
        (
            "a: \u202eb",
            "1:4: a character that changes the direction of the text around it (U+202E) stands here; remove it",
        ),
        (
            "a: b\u2028c",
            "1:5: a line separator that many editors do not show as one (U+2028) stands here; remove it",
        ),
        (
            'a: "\\u2066"',
            (
                "1:4: a character that changes the direction of the text around it (U+2066) is escaped in this text; "
                "remove it"
            ),
        ),
        (
            '["\\ufdd0\\ud83e\\udd76"]',
            "1:2: a character that is not text (U+FDD0) is escaped in this text; remove it",
        ),
        ('a: "\\0"', "1:4: a NUL character (U+0000) is escaped in this text; remove it"),
        ("a: " + "x" * 20_001, "1:4: this text has more than 20000 characters; shorten it"),
        ("[" * 21, "1:21: more than 20 levels inside each other; flatten this"),
        ("- x\n" * 200_000, "200000:3: more than 200000 values in one file; split it"),
        ("k" * 1100 + ": 1", "1:1101: a key has at most 1024 characters; shorten it, or put the text in quotes"),
    ],
    ids=lambda value: repr(value)[:40],
)
def test_what_cannot_be_text_or_is_too_much_is_refused(content, line):
    assert refused(content) == [line]


@pytest.mark.usefixtures("either_parser")
def test_depth_is_bounded_also_where_the_parser_reads_ahead():
    for content in ("[" * 100_000, "{a: " * 100_000, "- " * 100_000):
        (line,) = refused(content)
        assert line.startswith("1:")
        assert line.endswith(": more than 20 levels inside each other; flatten this")


def test_several_problems_come_in_one_go_and_in_order():
    text = "a: &x 1\nb: *x\na: !y 2\n<<: 3\nb: 'open\n"
    assert [line.partition(": ")[0] for line in refused(text)] == ["1:4", "2:4", "3:1", "3:4", "4:1", "5:1", "5:4"]


def test_an_alias_bomb_is_refused_at_its_first_anchor():
    text = "a0: &a0 x\n" + "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 60))
    lines = refused(text)
    assert lines[0].startswith("1:5: anchors")
    assert len(lines) <= 110


def test_the_limit_counts_bytes_and_is_inclusive(tmp_path):
    file = tmp_path / "f.yaml"
    file.write_text("a: °", encoding="utf-8")
    assert plain(load(file, max_bytes=5)) == {"a": "°"}
    for content in (None, "a: °", "a: °".encode()):
        with pytest.raises(FileProblems, match="larger than 4 bytes"):
            load(file, content, max_bytes=4)


def test_a_missing_file_is_a_positioned_problem(tmp_path):
    with pytest.raises(FileProblems, match="no such file") as caught:
        load(tmp_path / "gone.yaml")
    assert caught.value.problems[0].place == Place(str(tmp_path / "gone.yaml"), 1, 1)


# What is read


@pytest.mark.usefixtures("either_parser")
def test_scalars_stay_the_text_that_was_written():
    written = ["off", "no", "Yes", "1e3", "012", "0x1F", "2024-01-01", "1:30", "~", "null", "true", ".inf", "<<", "="]
    assert plain(load("f", "".join(f"- {text}\n" for text in written))) == written


def test_only_plain_nothing_is_empty():
    node = load("f", "- \n- ~\n- null\n- ''\n- 'null'\n- |\n  null\n- nil\n")
    assert isinstance(node, Sequence)
    assert [item.is_empty for item in node.items] == [True, True, True, False, False, False, False]


def test_prose_under_a_block_mark_may_hold_anything_and_a_tab():
    text = "because: >\n  Look: {a}, #1 & *two*\n  goes on\nexact: |\n  one\n  \ttwo\n"
    assert plain(load("f", text)) == {"because": "Look: {a}, #1 & *two* goes on\n", "exact": "one\n\ttwo\n"}


@pytest.mark.usefixtures("either_parser")
def test_every_node_knows_its_place():
    root = load("f", "\ufeff# depot\r\nwhen:\r\n  °: {above: '38 K', soft: 6 K}\r\n  list:\r\n  - a\r\n  - - b\r\n")
    assert [str(locate(root, path)) for path in [(), ("when",), ("when", "°"), ("when", "°", "soft")]] == [
        "f:2:1",
        "f:3:3",
        "f:3:6",
        "f:3:28",
    ]
    assert str(locate(root, ("when", "list", 1, 0))) == "f:6:7"
    assert str(locate(root, ("when", "°", "soft"), key=True)) == "f:3:22"


@pytest.mark.usefixtures("either_parser")
def test_json_is_read_with_its_tabs_escapes_and_places():
    text = '{\n\t"vent" :\t"8 \\u00b0C\\t\\/\\ud83e\\udd76", "on": [true, null, -1.5e-3, {}, []]\n}'
    root = load("f.json", text)
    assert plain(root) == {"vent": "8 °C\t/🥶", "on": ["true", "null", "-1.5e-3", {}, []]}
    where = text.splitlines()[1].index('"on"') + 1
    assert locate(root, ("on",), key=True) == Place("f.json", 2, where)


def test_a_backslash_before_a_backslash_is_no_escape_of_a_pair():
    assert plain(load("f.json", '["\\\\ud83e\\\\udd76"]')) == ["\\ud83e\\udd76"]


# What consumers ask


ROOT = load("f", "rules:\n  shivers:\n    when: {high: {above: 38 K, sofft: 6 K}}\n    items: [a, b]\n")


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ((), "f:1:1"),
        (("rules", "shivers", "when", "high", "above"), "f:3:26"),
        (("rules", "shivers", "when", "high", "Threshold", "above"), "f:3:26"),
        (("rules", "shivers", "when", "high", "missing"), "f:3:18"),
        (("rules", "shivers", "when", "high", "[key]"), "f:3:12"),
        (("rules", "shivers", "items", 1), "f:4:16"),
        (("rules", "shivers", "items", 7), "f:4:12"),
        (("rules", "shivers", "items", -1), "f:4:12"),
    ],
)
def test_an_error_location_leads_to_the_deepest_node_there_is(path, place):
    assert str(locate(ROOT, path)) == place


def test_an_unknown_key_is_placed_and_what_was_meant_is_guessed():
    node = load("f", "above: 38 K\nsofft: 6 K\nzzz: 1\n")
    assert isinstance(node, Mapping)
    assert [str(problem) for problem in unknown_keys(node, ["soft", "above"])] == [
        "f:2:1: 'sofft' is not a key here; did you mean 'soft'?",
        "f:3:1: 'zzz' is not a key here; known here: above, soft",
    ]


def test_get_gives_the_value_or_none():
    node = load("f", "above: 38 K")
    assert isinstance(node, Mapping)
    assert node.get("above") == Scalar("f", 1, 8, "38 K", quoted=False)
    assert node.get("below") is None


def test_problems_sort_by_place_and_show_no_control_characters():
    first, second = Problem(Place("a\x1b[1m", 2, 9), "z", "later"), Problem(Place("a\x1b[1m", 10, 1), "a", "last")
    assert sorted([second, first]) == [first, second]
    assert str(first) == "'a\\x1b[1m':2:9: later"


# Whatever comes in

MARKUP = st.text("ab:- \n\t[]{},'\"|>?&*!%@#\\u0dD8<~.\r°", max_size=60)


def only_documented_errors(content):
    try:
        plain(load("f", content, max_bytes=10_000))
    except FileProblems as error:
        lines = content.count(b"\n") + content.count(b"\r") if isinstance(content, bytes) else content.count("\n")
        for problem in error.problems:
            assert problem.place.line >= 1
            assert problem.place.column >= 1
            assert problem.place.line <= lines + 2 + (0 if isinstance(content, bytes) else content.count("\r"))
            assert str(problem).isprintable()


@given(st.binary(max_size=200) | st.text(max_size=100) | MARKUP | MARKUP.map(str.encode))
@example('"\\UFFFFFFFF"')
@example('{"\\ud83d": 1}')
@example("%YAML 1." + "9" * 5000 + "\n---\na: 1")
@example("a: \ud800")
def test_no_content_raises_anything_else(content):
    only_documented_errors(content)


@given(MARKUP)
@example('"\\UFFFFFFFF"')
@example("a\n%YAML 1." + "9" * 5000 + "\n---\na: 1")
def test_nor_does_it_with_the_pure_parser(content):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(yamlfile, "_LOADER", yaml.SafeLoader)
        only_documented_errors(content)


TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]).filter(lambda c: not yamlfile._FORBIDDEN.match(c)),
    max_size=40,
)
DATA = st.recursive(
    TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
).filter(lambda data: not isinstance(data, str))


@given(DATA, st.booleans(), st.sampled_from([None, 2, "\t"]))
def test_data_written_as_json_comes_back(data, ascii_only, indent):
    assert plain(load("f.json", json.dumps(data, ensure_ascii=ascii_only, indent=indent))) == data


@given(DATA, st.booleans(), st.booleans())
def test_data_written_as_yaml_comes_back(data, flow, allow_unicode):
    text = yaml.safe_dump(data, default_flow_style=flow, allow_unicode=allow_unicode, sort_keys=False)
    assert plain(load("f.yaml", text)) == data
