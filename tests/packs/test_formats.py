"""Versions of the pack format: an older pack is read as the present one, with places kept and a word about it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from twogauge.errors import FileProblems
from twogauge.packs import formats, yamlfile
from twogauge.packs.compile import compile_stack
from twogauge.packs.model import FORMAT
from twogauge.packs.stack import stack

GROUND = Path(__file__).parent / "bad" / "ground"

OLD = """\
pack: shop
{format}
topic: glass
rules:
  glass_is_clear:
    title: The glass is clear
    when: {{glass: {{is: clear}}}}
    evidence: {{leak: {weight}}}
    because: No bubbles.
    source: from memory
    examples: {{holds: [{{glass: clear}}], does_not_hold: [{{glass: bubbles}}]}}
"""


def renamed(file: yamlfile.Mapping, old: str, new: str) -> yamlfile.Mapping:
    """Rename a key of every rule, as an upgrade would."""

    def mapping(node, change):
        entries = {key: change(key, entry) for key, entry in node.entries.items()}
        return replace(node, entries={entry.key.text: entry for entry in entries.values()})

    def key(name, entry):
        return replace(entry, key=replace(entry.key, text=new)) if name == old else entry

    def rule(_name, entry):
        return replace(entry, value=mapping(entry.value, key))

    def section(name, entry):
        return replace(entry, value=mapping(entry.value, rule)) if name == "rules" else entry

    return mapping(file, section)


@pytest.fixture
def two_steps(monkeypatch):
    """A program of format 3, in which `evidence` was first renamed `weighs` and then `says`."""
    steps = {
        1: formats.Upgrade("'evidence' is called 'weighs'", lambda file: renamed(file, "evidence", "weighs")),
        2: formats.Upgrade("'weighs' is called 'says'", lambda file: renamed(file, "weighs", "says")),
    }
    monkeypatch.setattr(formats, "FORMAT", 3)
    monkeypatch.setattr(formats, "UPGRADES", steps)


def write(folder: Path, text: str) -> Path:
    (folder / "rules.yaml").write_text(text, "utf-8")
    return folder


@pytest.mark.usefixtures("two_steps")
@pytest.mark.parametrize("line", ["format: 1", "edition: 4"])
def test_a_pack_of_the_first_format_is_read_through_every_step_with_one_notice(tmp_path, line):
    found = stack([GROUND, write(tmp_path, OLD.format(format=line, weight="strongly against"))])
    assert dict(found.rules["glass_is_clear"].entry.says) == {"leak": -10.0}
    assert compile_stack(found).rules
    (notice,) = (notice for notice in found.notices if "'shop'" in notice)
    assert notice == (
        "pack 'shop' is of format 1 and was read as format 3: in format 2 'evidence' is called 'weighs'; in format 3 "
        "'weighs' is called 'says'; bring its files up to date when you next change them"
    )
    assert [f.format for f in found.found if f.name == "shop"] == [1]


@pytest.mark.usefixtures("two_steps")
def test_a_pack_of_the_present_format_is_taken_as_it_is(tmp_path):
    text = OLD.format(format="format: 3", weight="for").replace("evidence", "says")
    found = stack([GROUND, write(tmp_path, text)])
    assert not [notice for notice in found.notices if "'shop'" in notice]


@pytest.mark.usefixtures("two_steps")
def test_what_is_wrong_in_an_older_pack_is_told_where_its_author_wrote_it(tmp_path):
    folder = write(tmp_path, OLD.format(format="format: 2", weight="perhaps").replace("evidence", "weighs"))
    with pytest.raises(FileProblems) as caught:
        stack([GROUND, folder])
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.place.column) == (8, 20)
    assert "'perhaps' is not a weight" in problem.message


def test_what_an_old_format_called_a_key_is_none_in_the_present_one(tmp_path):
    with pytest.raises(FileProblems, match="'evidence' is not a key here"):
        stack([GROUND, write(tmp_path, OLD.format(format=f"format: {FORMAT}", weight="for"))])


def test_every_version_before_the_present_one_has_its_upgrade():
    assert sorted(formats.UPGRADES) == list(range(formats.FIRST, FORMAT))
