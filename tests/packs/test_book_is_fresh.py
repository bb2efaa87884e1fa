"""The book in rules/book is what the built-in rules say, and the page for developers says how to make it anew."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.output.book import MARKDOWN, written
from twogauge.packs import schema, snapshot, stack
from twogauge.packs.book import book
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import built_in

ROOT = Path(__file__).resolve().parents[2]
BOOK = ROOT / "rules" / "book"
ANEW = "twogauge rules book --built-in --format markdown --out rules/book"


def test_the_book_of_the_built_in_rules_is_fresh():
    kept = {path.name: path.read_text("utf-8") for path in BOOK.iterdir()}
    stale = sorted(
        name
        for name, text in written(book(compile_stack(built_in())), MARKDOWN).items()
        if kept.pop(name, "") != text
    )
    assert (stale, sorted(kept)) == ([], []), "run: python -m twogauge.packs.snapshot"


def test_the_book_is_made_with_the_snapshot(tmp_path, monkeypatch):
    real = stack.built_in()
    for module in (stack, snapshot):
        monkeypatch.setattr(module, "rules_folder", lambda: tmp_path)
    monkeypatch.setattr(stack, "built_in", lambda: real)
    monkeypatch.setattr(snapshot, "SNAPSHOT", tmp_path / "data" / "built_in.json")
    monkeypatch.setattr(schema, "SCHEMA", tmp_path / "schema.json")
    snapshot.main()
    assert not (tmp_path / "book").exists(), "an installed package has no book"
    (tmp_path / "book").mkdir()
    snapshot.main()
    assert {p.name: p.read_bytes() for p in (tmp_path / "book").iterdir()} == {
        p.name: p.read_bytes() for p in BOOK.iterdir()
    }


def test_the_command_that_makes_it_is_the_one_the_page_gives(tmp_path):
    assert f".venv/bin/{ANEW}" in " ".join((ROOT / "DEVELOPERS.md").read_text("utf-8").split())
    words = [*ANEW.split()[1:-1], str(tmp_path / "book"), "--rules", str(ROOT / "examples" / "bus_depot")]
    assert CliRunner().invoke(app, words).exit_code == 0
    assert {path.name for path in (tmp_path / "book").iterdir()} == {path.name for path in BOOK.iterdir()}
