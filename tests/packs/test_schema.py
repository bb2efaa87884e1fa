"""The schema for editors: it is the one the models make, takes what the loader takes, and refuses what is misspelled."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from spoilt_packs import GROUND, mutated
from twogauge.cli.app import app
from twogauge.packs.check import check_packs
from twogauge.packs.model import KINDS
from twogauge.packs.pack_files import CHANGES
from twogauge.packs.schema import SCHEMA, text
from twogauge.packs.stack import built_in
from twogauge.quantity_table import QUANTITIES

SHIPPED = json.loads(SCHEMA.read_text("utf-8"))
VALID = Draft202012Validator(SHIPPED)


class Reader12(yaml.SafeLoader):
    """What an editor's reader of YAML 1.2 makes of a file: only true, false, null and numbers are no text."""


Reader12.yaml_implicit_resolvers = {}
for kind, pattern, first in (
    ("bool", r"(?:true|True|TRUE|false|False|FALSE)$", "tTfF"),
    ("null", r"(?:~|null|Null|NULL|)$", "~nN"),
    ("int", r"[-+]?[0-9]+$", "-+0123456789"),
    ("float", r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?$", "-+.0123456789"),
):
    Reader12.add_implicit_resolver(f"tag:yaml.org,2002:{kind}", re.compile(pattern), [*first])
READERS = {"text": yaml.BaseLoader, "1.1": yaml.SafeLoader, "1.2": Reader12}


def keyed_by_text(node):
    """To a schema every key is text, whatever a reader of YAML took it for."""
    if isinstance(node, dict):
        return {str(key).lower() if isinstance(key, bool) else str(key): keyed_by_text(v) for key, v in node.items()}
    return [keyed_by_text(item) for item in node] if isinstance(node, list) else node


def errors(content, reader=Reader12):
    return list(VALID.iter_errors(keyed_by_text(yaml.load(content, reader))))  # noqa: S506 - all of them are safe


def complaints(content, reader=Reader12):
    return [error.message for error in errors(content, reader)]


def shipped_files(root):
    folders = [root / "rules", root / "examples" / "bus_depot", root / "tests" / "packs" / "bad" / "ground"]
    found = [path for folder in folders for path in sorted(folder.rglob("*.yaml")) if "cases" not in path.parts]
    assert len(found) > 40
    return found


def test_it_is_the_schema_the_models_make_and_a_sound_one():
    assert SCHEMA.read_text("utf-8") == text(), "run `python -m twogauge.packs.schema`"
    Draft202012Validator.check_schema(SHIPPED)


@pytest.mark.parametrize("reader", READERS)
def test_every_file_that_ships_is_valid_whichever_reader_an_editor_has(root, reader):
    for path in shipped_files(root):
        assert complaints(path.read_text("utf-8"), READERS[reader]) == [], path


def test_files_that_only_look_doubtful_are_valid(root):
    for folder in sorted((root / "tests" / "packs" / "bad").iterdir()):
        if folder.name in {"ground", "yaml"}:
            continue
        if not any(p.severity == "error" for p in check_packs([folder], on=[GROUND]).problems):
            for path in folder.glob("*.yaml"):
                assert complaints(path.read_text("utf-8")) == [], path


@given(spoilt=mutated())
def test_it_accepts_what_the_loader_accepts(spoilt, tmp_path_factory):
    folder = tmp_path_factory.mktemp("spoilt")
    (folder / "pack.yaml").write_text(spoilt, "utf-8", errors="replace")
    on = [] if "faults:" in spoilt else [GROUND]
    problems = check_packs([folder], on=on).problems
    if any(problem.severity == "error" and problem.code != "nothing-wrong" for problem in problems):
        return
    content = (folder / "pack.yaml").read_text("utf-8")
    assert complaints(content, yaml.BaseLoader) == []
    if "null" not in content and "~" not in content:
        assert complaints(content) == []


@pytest.mark.parametrize(
    ("sound", "wrong", "told"),
    [
        ("rules:", "ruels:", "ruels"),
        ("    when: {condensing_over", "    whne: {condensing_over", "whne"),
        ("soft: 6 K", "sofft: 6 K", "sofft"),
        ("dirt: strongly for", "dirt: strong for", "strong for"),
        ("how_common: very common", "how_common: often", "often"),
        ("edition: 3", "edition: third", "third"),
        ("edition: 3", "edition: 0", "0"),
        ("effort: glance", "effort: little", "little"),
        ("normal: [10 K, 30 K]", "normal: [10 K]", "10 K"),
        ("level: high_side_level", "level: hihg_side_level", "hihg_side_level"),
        ("silences: high", "silences: {high: yes}", "silences"),
        ("    title: Bubbles go by\n", "", "title"),
        ("  leak: {title", "  Leak!: {title", "Leak!"),
        ("examples: {holds: [{glass: bubbles}], does_not_hold", "examples: {does_not_hold", "holds"),
        ("{glass: {is: bubbles}}", "{glass: {}}", "{}"),
        ("{glass: {is: bubbles}}", "{glass: {is: bubbles, above: 3 K}}", "bubbles"),
        ("source: common practice", "source: {}", "{}"),
        ("    topic: glass\n", "    topic: glass\n    applies_to: {system: boat}\n", "boat"),
        ("    topic: glass\n", "    topic: glass\n    applies_to: {sytsem: bus_ac}\n", "sytsem"),
    ],
)
def test_what_is_misspelled_is_underlined(sound, wrong, told):
    content = (GROUND / "pack.yaml").read_text("utf-8")
    assert content.count(sound) >= 1
    found = errors(content.replace(sound, wrong, 1))
    assert found
    assert told in json.dumps([[error.message, list(error.absolute_path)] for error in found])


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        ("adjust: {high_far: {note: x, when: {condensing_over_ambient: {above: 42 K}}, says: {leak: nothing}}}", ""),
        ("adjust: {high_far: {says: {leak: for}}}", "'note' is a required property"),
        ("adjust: {high_far: {note: x, say: {leak: for}}}", "say"),
        ("adjust: {high_far: {note: x, when: {ambient: {abov: 3 K}}}}", "abov"),
        ("adjust: {high_usual: {note: x, normal: [10 K, 20 K], edge: 2 K}}", ""),
        ("adjust: {leak: {note: x, how_common: rare, applies_to: {system: [bus_ac, car_ac]}}}", ""),
        ("adjust: {leak: {note: x, source: {numbers: our log}}}", ""),
        ("adjust: {high_far: {note: x, examples: {holds: [{high_side: high}]}}}", ""),
        ("extend: {leak: {note: x, cautions: [gloves]}}", ""),
        ("disable: {high_far: {note: x}}", ""),
        ("disable: {high_far: {}}", "'note' is a required property"),
        ("disable: {high_far: {note: x, title: y}}", "title"),
    ],
)
def test_changes_name_what_differs_and_why(change, wrong):
    found = " ".join(complaints(f"pack: shop\n{change}\n"))
    assert (wrong in found) if wrong else (found == "")


def test_every_value_is_described():
    def undescribed(node, path):
        for name, value in node.get("properties", {}).items():
            where = f"{path}.{name}"
            if "description" not in value:
                yield where
            yield from undescribed(value, where)

    found = [*undescribed(SHIPPED, "file")]
    found += [each for name, node in SHIPPED["$defs"].items() for each in undescribed(node, name)]
    for name in ("Source", "Advice"):
        found += [each for part in SHIPPED["$defs"][name]["anyOf"] for each in undescribed(part, name)]
    assert found == []


def test_what_ships_is_named_to_be_completed_and_nothing_else_is_refused():
    stack = built_in()
    named = SHIPPED["$defs"]
    assert set(named["Conditions"]["properties"]) == {*QUANTITIES, *stack.checks}
    assert {name: each["description"] for name, each in named["Weights"]["properties"].items()} == {
        name: fault.entry.title for name, fault in stack.faults.items()
    }
    content = (GROUND / "pack.yaml").read_text("utf-8")
    assert complaints(content) == []
    assert "leak" not in stack.faults
    assert "glass" not in stack.checks


def test_it_knows_every_section_of_a_file():
    assert set(SHIPPED["properties"]) >= {*KINDS, *CHANGES, "pack", "edition", "builds_on", "topic", "applies_to"}


def test_every_file_that_ships_tells_an_editor_where_the_schema_is(root):
    for path in shipped_files(root)[:-1]:
        first = path.read_text("utf-8").splitlines()[0]
        mark = "# yaml-language-server: $schema="
        assert first.startswith(mark), path
        assert (path.parent / first.removeprefix(mark)).resolve() == SCHEMA.resolve(), path


def test_the_command_prints_it():
    result = CliRunner().invoke(app, ["rules", "schema"])
    assert result.exit_code == 0
    assert json.loads(result.stdout) == SHIPPED
    assert Path(SCHEMA).name == "pack.schema.json"
