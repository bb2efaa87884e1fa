"""Every fact of the service commands says who says so, and how well that is known."""

from __future__ import annotations

from pathlib import Path

import pytest

import twogauge.service.facts as module
from twogauge.service.facts import STANDINGS, facts, source

FILES = sorted(path.stem for path in (Path(module.__file__).parent / "data").glob("*.yaml"))


def entries(node, path=""):
    """Every mapping that states something."""
    if isinstance(node, dict):
        if {"value", "text", "amount"} & set(node):
            yield path, node
        for key, value in node.items():
            yield from entries(value, f"{path}.{key}")
    elif isinstance(node, list):
        for i, value in enumerate(node):
            yield from entries(value, f"{path}[{i}]")


@pytest.mark.parametrize("name", FILES)
def test_every_statement_has_a_standing_and_what_was_read_a_source(name):
    found = list(entries(facts(name)))
    assert found
    for path, entry in found:
        assert entry.get("standing") in STANDINGS, path
        assert entry["standing"] != "read" or entry.get("source"), path


def test_a_source_that_was_not_read_says_so_when_printed():
    assert str(source({"source": "A manual", "standing": "read"})) == "A manual"
    assert str(source({"source": "A manual", "standing": "from memory"})) == "A manual, from memory"
    assert str(source({"standing": "common practice"})) == "common practice"
