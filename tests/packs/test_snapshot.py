"""The snapshot of the built-in packs is fresh, and a diagnosis from it is the diagnosis from the files."""

from __future__ import annotations

import dataclasses

import pytest

from twogauge.diagnosis import diagnose
from twogauge.packs import snapshot, stack
from twogauge.packs.compile import compile_stack
from twogauge.packs.in_force import rules_folder
from twogauge.reading import Reading


def test_the_snapshot_is_what_the_rules_give_now():
    made = snapshot.freeze(stack.built_in(), rules_folder())
    assert snapshot.SNAPSHOT.read_text(encoding="utf-8") == made, "run: python -m twogauge.packs.snapshot"


def test_both_ways_compile_to_the_same_program():
    short, long = compile_stack(snapshot.built_in()), compile_stack(stack.built_in())
    for field in dataclasses.fields(short):
        if field.compare and field.name != "stack":
            assert plain(getattr(short, field.name)) == plain(getattr(long, field.name)), field.name


def plain(value):
    """Return the same as tuples and texts: a band without ends holds NaN, which is equal to nothing."""
    if dataclasses.is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return "NaN" if isinstance(value, float) and value != value else value  # noqa: PLR0124


def test_both_ways_give_the_same_diagnosis():
    reading = Reading(
        refrigerant="R134a", low_side="10 psi", high_side="110 psi", ambient="90F", sight_glass="bubbles"
    )
    short = diagnose(reading, program=compile_stack(snapshot.built_in()))
    long = diagnose(reading, program=compile_stack(stack.built_in()))
    assert short == long


@pytest.mark.parametrize("change", ["edit", "add", "remove", "rename"])
def test_a_changed_file_makes_the_snapshot_stale(tmp_path, change):
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "one.yaml").write_text("pack: one\n")
    (tmp_path / "a" / "two.yaml").write_text("topic: two\n")
    before = snapshot.checksum(tmp_path)
    if change == "edit":
        (tmp_path / "a" / "one.yaml").write_text("pack: uno\n")
    elif change == "add":
        (tmp_path / "a" / "three.yaml").write_text("")
    elif change == "remove":
        (tmp_path / "a" / "two.yaml").unlink()
    else:
        (tmp_path / "a" / "two.yaml").rename(tmp_path / "a" / "deux.yaml")
    assert snapshot.checksum(tmp_path) != before
    assert snapshot.load(tmp_path) is None


def test_a_broken_snapshot_is_passed_over(tmp_path, monkeypatch):
    broken = tmp_path / "built_in.json"
    broken.write_text("{not json")
    monkeypatch.setattr(snapshot, "SNAPSHOT", broken)
    assert snapshot.load(rules_folder()) is None
    assert snapshot.built_in() is stack.built_in()


def test_a_case_of_a_pack_is_no_part_of_its_rules(tmp_path):
    (tmp_path / "a" / "cases").mkdir(parents=True)
    (tmp_path / "a" / "one.yaml").write_text("pack: one\n")
    before = snapshot.checksum(tmp_path)
    (tmp_path / "a" / "cases" / "some.yaml").write_text("- id: a\n")
    assert snapshot.checksum(tmp_path) == before
