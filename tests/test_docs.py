"""DEVELOPERS.md and README.md stay true: every module is on the map, and every command and path they name exists."""

from __future__ import annotations

import ast
import os
import re
import shlex
import tomllib
from importlib.util import find_spec
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.packs.words import HEAVIEST, STRENGTH

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
README = (ROOT / "README.md").read_text("utf-8")
PACKAGE = ROOT / "engine" / "twogauge"


def the_map():
    """Return the files named on the map below engine/twogauge, as paths below it."""
    lines = DEVELOPERS.partition("    engine/twogauge/\n")[2].partition("    rules/ ")[0].splitlines()
    found, folder = set(), ""
    for line in lines:
        if match := re.fullmatch(r" {6}([\w/]+)/(?: .*)?", line):
            folder = match[1] + "/"
            continue
        found |= {folder + name for name in re.findall(r"(?<!\S)\w+\.py\b", line)}
    return found


def blocks(text):
    return [block.strip() for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL)]


def commands(text):
    """Return the command lines of the blocks and of the prose of a document."""
    prose = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    lines = [line for block in blocks(text) for line in block.splitlines()]
    lines += [" ".join(code.split()) for code in re.findall(r"`([^`]+)`", prose)]
    return [line for line in lines if re.match(r"(?:[A-Z_]+=\w+ )?(?:\.venv/bin/|\.ci/(?:run|pin)$|twogauge )", line)]


def test_every_module_is_on_the_map_and_every_name_on_it_is_a_module():
    modules = {path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py")}
    assert the_map() == modules


def test_the_two_commands_come_first_and_the_first_is_the_readmes():
    first, second = blocks(DEVELOPERS)[0].splitlines()
    assert DEVELOPERS.index("```sh") < 400
    assert second == ".ci/run"
    (test_command,) = re.findall(r"<!-- test command -->\n```sh\n(.*?)\n```", README)
    assert test_command.endswith(f"&& {first}")


@pytest.mark.parametrize("command", sorted({*commands(DEVELOPERS)}))
def test_a_command_of_the_developers_page_exists(command):
    words = [word for word in shlex.split(command) if not re.fullmatch(r"[A-Z_]+=\w+", word)]
    program, arguments = words[0], words[1:]
    if program.startswith(".ci/"):
        assert os.access(ROOT / program, os.X_OK)
    elif program in {".venv/bin/twogauge", "twogauge"}:
        options = [*(word for word in arguments[:2] if word.isalpha()), "--help"]
        assert CliRunner().invoke(app, options).exit_code == 0
    elif arguments[:1] == ["-m"]:
        assert find_spec(arguments[1]) is not None
        assert "__main__" in Path(find_spec(arguments[1]).origin).read_text("utf-8")
    else:
        assert program in {".venv/bin/pytest", ".venv/bin/python"}
        assert all((ROOT / word).exists() for word in arguments if "/" in word)


def test_the_page_names_commands_of_each_kind():
    found = " ".join(commands(DEVELOPERS))
    for part in (
        ".ci/run",
        ".ci/pin",
        "pytest",
        "packs.snapshot",
        "refrigerants.build",
        "twogauge rules",
        "benchmarks",
    ):
        assert part in found


@pytest.mark.parametrize(
    "path",
    sorted(
        set(re.findall(r"(?<![\w/.-])((?:engine|rules|tests|examples|\.ci)/[\w/.*-]*[\w*])", DEVELOPERS + README))
    ),
)
def test_a_path_in_the_documents_exists(path):
    assert list(ROOT.glob(path)), path


def test_names_in_capitals_stand_where_the_page_says():
    text = re.sub(r"\s+", " ", DEVELOPERS)
    named = re.findall(r"`([A-Z]+(?:_[A-Z]+)*)`(?=[^.]*? (?:of|in) `?([\w/]+\.py))", text)
    assert {name for name, _ in named} >= {"CHECKS_WITHOUT_A_RULE", "QUANTITIES", "FIELDS", "MISSED_FIRST"}
    for name, path in named:
        (file,) = [path for path in (ROOT / path, PACKAGE / path) if path.exists()]
        targets = {
            target.id
            for node in ast.parse(file.read_text("utf-8")).body
            for target in (node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)])
            if isinstance(target, ast.Name)
        }
        assert name in targets, f"{name} is not in {path}"


def test_the_words_for_weights_have_the_numbers_the_page_gives():
    text = " ".join(DEVELOPERS.split())
    told = ", ".join(f"{size:g}" for size in STRENGTH.values())
    assert f"are {' and '.join(told.rsplit(', ', 1))} dB" in text
    assert f"{HEAVIEST:g} dB is the most one rule may say" in text
    factors = [round(10 ** (size / 10)) for size in STRENGTH.values()]
    assert f"a factor of {', '.join(map(str, factors[:-1]))} and {factors[-1]}" in text


@pytest.mark.parametrize("name", ["first command", "test command"])
def test_what_the_marked_commands_of_the_readme_need_is_there(name):
    (command,) = re.findall(rf"<!-- {name} -->\n```sh\n(.*?)\n```", README)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    for part in command.split("&&"):
        words = shlex.split(part)
        for word in words:
            if "/" in word and not word.startswith(".venv"):
                assert (ROOT / word).is_file(), word
            if extras := re.fullmatch(r"\.\[(.+)\]", word):
                assert set(extras[1].split(",")) <= set(project["optional-dependencies"])
            if word == ".venv/bin/twogauge":
                assert "twogauge" in project["scripts"]


def test_the_version_is_the_same_in_both_places_the_page_names():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert f'__version__ = "{project["version"]}"' in (PACKAGE / "__init__.py").read_text("utf-8")
