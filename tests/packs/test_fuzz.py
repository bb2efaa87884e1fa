"""Whatever a pack holds, checking it ends with problems or without, and never in any other way.

A longer run: `HYPOTHESIS_PROFILE=deep pytest tests/packs/test_fuzz.py`.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from spoilt_packs import GROUND, mutated
from twogauge.errors import FileProblems, InputError
from twogauge.fields import FIELDS
from twogauge.output.problems import annotation, document, text_lines
from twogauge.output.style import Style
from twogauge.packs import yamlfile
from twogauge.packs.check import check_packs
from twogauge.packs.codes import CODES
from twogauge.packs.compile import compile_stack
from twogauge.packs.model import KINDS
from twogauge.packs.pack_files import CHANGES
from twogauge.packs.selftest import check_examples
from twogauge.packs.stack import stack
from twogauge.quantity_table import QUANTITIES

KEYS = sorted({f.alias or n for model in KINDS.values() for n, f in model.model_fields.items()})
NAMES = [
    *QUANTITIES,
    *FIELDS,
    *["glass", "leak", "dirt", "sound", "high_far", "glass_bubbles", "glass_foams", "cold", "gloves"],
]
VALUES = [
    "38 K",
    "5 degC",
    "0 psia",
    "-3",
    "1e9 K",
    "nan",
    "for",
    "strongly against",
    "20 dB",
    "30 dB",
    "high",
    "bubbles",
]
VALUES += ["yes", "bus_ac", "R134a", "{ambient}", "{glass.x}", "from memory", "rare", "glance", "everything", ""]
VALUES += ["more than 3 K"]
TEXT = st.text(st.characters(codec="utf-8"), max_size=30)
WORD = st.sampled_from([*VALUES, *NAMES]) | TEXT
TEST = st.dictionaries(
    st.sampled_from(["above", "below", "between", "soft", "is", "is_not", "any_of"]),
    WORD | st.lists(WORD, max_size=3),
    max_size=3,
)


def trees(words):
    """Trees of any shape over keys and values that mean something somewhere."""
    return st.recursive(
        words,
        lambda inner: (
            st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from([*KEYS, *NAMES]), inner, max_size=5)
        ),
        max_leaves=12,
    )


RULE = st.fixed_dictionaries(
    {
        "title": WORD,
        "when": st.dictionaries(st.sampled_from(NAMES), TEST, min_size=1, max_size=3),
        "says": st.dictionaries(st.sampled_from(["leak", "dirt", "sound", "leek"]), WORD, min_size=1, max_size=3),
        "because": WORD,
        "source": WORD | st.dictionaries(st.sampled_from(["numbers", "weights", "facts"]), WORD, max_size=3),
        "topic": st.sampled_from(["high", "glass", "other"]),
        "examples": st.just({"holds": [{"glass": "bubbles"}], "does_not_hold": [{"glass": "clear"}]}),
    },
    optional={
        "otherwise": st.dictionaries(st.sampled_from(["leak", "dirt"]), WORD, max_size=2),
        "applies_to": st.dictionaries(st.sampled_from(["system", "metering", "refrigerant", "x"]), WORD, max_size=2),
        "check_next": st.lists(WORD, max_size=2),
        "changed": WORD,
        "formerly": WORD,
    },
)
IDS = st.sampled_from(["one", "two", "high_far", "leak", "Not An Id", "glass_bubbles"])
PACK = st.fixed_dictionaries(
    {"pack": st.sampled_from(["shop", "ground", "Shop"])},
    optional={
        "edition": WORD,
        "format": st.sampled_from(["1", "2", "x"]),
        "builds_on": st.dictionaries(st.sampled_from(["ground", "shop", "x"]), WORD, max_size=2),
        "rules": st.dictionaries(IDS, RULE, max_size=3),
        **{kind: st.dictionaries(IDS, trees(WORD), max_size=2) for kind in (*KINDS, *CHANGES) if kind != "rules"},
    },
)


@given(data=st.binary(max_size=300) | TEXT.map(lambda text: text.encode("utf-8", "surrogatepass")))
@example(data=b"\xff\xfe")
@example(data=b"a: [" * 200)
@example(data=b"? ? ? x")
@example(data=b"%TAG ! x\n--- !!python/object:os.system x")
def test_any_bytes_are_a_tree_or_a_problem_with_a_place(data):
    try:
        node = yamlfile.load("any.yaml", data)
    except FileProblems as error:
        problems = error.problems
    else:
        assert json.dumps(yamlfile.plain(node))
        return
    assert problems
    for problem in problems:
        assert problem.code in CODES
        assert problem.place.line >= 1
        assert problem.place.column >= 1


def told(folder):
    """Check a pack, hold what comes against what must hold of every report, and return it."""
    problems = check_packs([folder], on=[GROUND]).problems
    assert list(problems) == sorted(set(problems))
    length = {str(path): len(path.read_bytes().splitlines()) for path in folder.glob("*.yaml")}
    for problem in problems:
        assert problem.code in CODES
        assert problem.severity == CODES[problem.code].severity
        assert 1 <= problem.place.line <= max(length.get(problem.place.path, 10**6), 1) + 1
        assert annotation(problem).isprintable()
    assert all(line.isprintable() for line in text_lines(problems, Style()))
    assert json.dumps(document(problems, []))
    return problems


def used(folder, problems):
    """What has no error loads and its examples run; what has one does not load, unless only an author minds."""
    try:
        program = compile_stack(stack([GROUND, folder]))
    except InputError:
        assert any(problem.severity == "error" for problem in problems)
    else:
        errors = {problem.code for problem in problems if problem.severity == "error"}
        assert errors <= {"never-holds", "always-holds", "never-together", "soft-edge"}
        check_examples(program)


@given(text=mutated())
def test_a_spoilt_pack_is_checked_to_the_end(text, tmp_path_factory):
    folder = tmp_path_factory.mktemp("spoilt")
    (folder / "pack.yaml").write_text(text, "utf-8", errors="replace")
    used(folder, told(folder))


@given(tree=PACK)
def test_a_pack_of_any_values_is_checked_to_the_end(tree, tmp_path_factory):
    folder = tmp_path_factory.mktemp("any")
    (folder / "pack.yaml").write_text(json.dumps(tree), "utf-8")
    used(folder, told(folder))


@pytest.mark.parametrize("name", sorted(path.name for path in (Path(GROUND).parent / "yaml").iterdir()))
def test_files_that_are_no_yaml_are_checked_to_the_end(name, tmp_path):
    (tmp_path / "pack.yaml").write_text("pack: shop\n")
    (tmp_path / "other.yaml").write_bytes((Path(GROUND).parent / "yaml" / name).read_bytes())
    assert {problem.severity for problem in told(tmp_path)} == {"error"}
