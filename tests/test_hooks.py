"""The hooks for a repository of rules, and the recipe beside them, tried in a scratch git repository.

`pre-commit` itself fetches and installs from the network, so it is not run here: the hooks are read the way it reads
them, and their commands are started the way it starts them, in the top folder of the repository.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).resolve().parents[1]
RECIPE = (ROOT / "examples" / "bus_depot" / "README.md").read_text("utf-8")
HOOKS = {hook["id"]: hook for hook in yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text("utf-8"))}


def block(name):
    (text,) = re.findall(rf"<!-- file: {re.escape(name)} -->\n```\w+\n(.*?)```", RECIPE, re.DOTALL)
    return text


@pytest.fixture
def repository(tmp_path):
    """A git repository with a pack in our_shop, and the files of the recipe."""
    commands = tmp_path / "bin"
    commands.mkdir()
    program = commands / "twogauge"
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m twogauge "$@"\n')
    program.chmod(0o755)
    top = tmp_path / "rules"
    top.mkdir()
    for name in (".pre-commit-config.yaml", "check_rules.sh"):
        (top / name).write_text(block(name), "utf-8")

    def run(*words):
        path = f"{commands}:/usr/local/bin:/usr/bin:/bin"
        return subprocess.run(
            words, cwd=top, env={**_environment(), "PATH": path}, capture_output=True, text=True, check=False
        )

    assert run("git", "init", "-q").returncode == 0
    made = run(
        *shlex.split("twogauge rules new our_shop --rule hose_is_warm --when superheat --above 15K"),
        "--says",
        "low_charge=for",
    )
    assert made.returncode == 0, made.stderr
    made = run("twogauge", "rules", "book", "--out", "book", "--rules", "our_shop")
    assert made.returncode == 0, made.stderr
    assert run("git", "add", "-A").returncode == 0
    return top, run


def _environment():
    return {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}


def hooked(run):
    """Run the hooks as the configuration asks for them; return the exit status of each."""
    config = yaml.safe_load(block(".pre-commit-config.yaml"))
    listed = run("git", "ls-files").stdout.splitlines()
    done = {}
    for each in config["repos"][0]["hooks"]:
        hook = {**HOOKS[each["id"]], **each}
        assert any(re.search(hook["files"], name) for name in listed), "pre-commit would skip it"
        assert hook["pass_filenames"] is False
        done[each["id"]] = run(*shlex.split(hook["entry"]), *hook["args"]).returncode
    return done


BREAKS = {
    "a misspelled key": ("because:", "becuase:", {"twogauge-rules-check": 1, "twogauge-rules-test": 2}),
    "an example that proves nothing": (
        "superheat: 20 K",
        "superheat: 5 K",
        {"twogauge-rules-check": 0, "twogauge-rules-test": 1},
    ),
}


def test_a_sound_repository_passes_the_hooks_and_the_recipe(repository):
    _, run = repository
    assert hooked(run) == {"twogauge-rules-check": 0, "twogauge-rules-test": 0}
    done = run("sh", "check_rules.sh")
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("kind", BREAKS)
def test_a_mistake_is_kept_out_by_the_hook_that_is_for_it(repository, kind):
    top, run = repository
    old, new, expected = BREAKS[kind]
    file = top / "our_shop" / "hose_is_warm.yaml"
    assert old in file.read_text("utf-8")
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")
    assert hooked(run) == expected
    assert run("sh", "check_rules.sh").returncode != 0


def test_a_rule_that_changed_makes_the_book_stale(repository):
    top, run = repository
    file = top / "our_shop" / "hose_is_warm.yaml"
    file.write_text(file.read_text("utf-8").replace("title: Hose is warm", "title: The hose is warm"), "utf-8")
    done = run("sh", "check_rules.sh")
    assert done.returncode == 1
    assert re.search(r"Stale: .*\brules\.md", done.stdout)


def test_without_arguments_the_top_of_the_repository_is_the_pack(repository):
    top, run = repository
    for path in (top / "our_shop").iterdir():
        path.rename(top / path.name)
    for hook in HOOKS.values():
        done = run(*shlex.split(hook["entry"]), *hook["args"])
        assert done.returncode == 0, done.stdout + done.stderr


def test_the_hooks_have_what_pre_commit_asks_of_them():
    for hook in HOOKS.values():
        assert {"id", "name", "entry", "language"} <= set(hook)
        assert hook["language"] == "python"
        re.compile(hook["files"])
    commands = [line for line in block("check_rules.sh").splitlines() if line.startswith("twogauge")]
    for hook in HOOKS.values():
        assert any(line.startswith(hook["entry"]) for line in commands)


@pytest.mark.parametrize("command", re.findall(r"(?m)^twogauge .*examples/bus_depot.*$", RECIPE))
def test_the_commands_of_the_page_run(command, monkeypatch):
    monkeypatch.chdir(ROOT)
    done = subprocess.run([sys.executable, "-m", *shlex.split(command)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
