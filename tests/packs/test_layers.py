"""Built-in, installed, named: who counts over whom, what an installed pack may not do, and what is told of it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from twogauge.cli.app import app
from twogauge.errors import FileProblems
from twogauge.packs import installed
from twogauge.packs.layers import program_in_force, survey

PACK = """\
pack: {name}
title: Rules of a friend
edition: 2
builds_on: {{automotive: 1{more}}}
adjust:
  high_side_high:
    note: By {name}.
    says: {{smothered: {weight}}}
"""
READ = ["--low", "normal", "--high", "high"]


@pytest.fixture(autouse=True)
def small():
    with in_place_of_the_built_in():
        yield


@pytest.fixture
def site(tmp_path, monkeypatch):
    """Install packs as pip would leave them: a package, and beside it what declares the entry point."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))

    def install(name, text, *, says=None, files=("pack.yaml",), code="raise SystemExit('imported')\n"):
        package = folder / name
        package.mkdir()
        (package / "__init__.py").write_text(code)
        for file in files:
            (package / file).parent.mkdir(exist_ok=True)
            (package / file).write_text(text, "utf-8")
        about = folder / f"{name}-1.5.dist-info"
        about.mkdir()
        (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name.replace('_', '-')}\nVersion: 1.5\n")
        (about / "entry_points.txt").write_text(f"[twogauge.packs]\n{name} = {says or name}\n")
        return package

    return install


def pack(name, weight="for", more=""):
    return PACK.format(name=name, weight=weight, more=more)


def shop(tmp_path, text):
    folder = tmp_path / "shop"
    folder.mkdir(exist_ok=True)
    (folder / "pack.yaml").write_text(text, "utf-8")
    return str(folder)


def weight(program):
    return program.stack.rules["high_side_high"].entry.says["smothered"]


def refusals(program):
    return [n for n in program.stack.notices if "is not used" in n]


def test_without_installed_packs_the_built_in_rules_are_in_force_and_no_metadata_is_read():
    program = (
        "import sys\nfrom twogauge.packs.layers import program_in_force\nprogram_in_force()\n"
        "print('importlib.metadata' in sys.modules, 'pydantic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_an_installed_pack_is_in_force_without_being_imported(site):
    built_in = weight(program_in_force())
    package = site("friend", pack("friend", "slightly for"))
    program = program_in_force()
    assert weight(program) == 3.0 != built_in
    assert "friend" not in sys.modules
    assert refusals(program) == []
    (found,) = installed.find()
    assert (found.name, found.distribution, found.folder) == ("friend", "friend 1.5", package)


@pytest.mark.parametrize("says", ["friend.rules", "friend.rules.more"])
def test_the_entry_point_may_name_a_folder_or_a_module_inside_a_package(site, says):
    package = site("friend", pack("friend", "slightly for"), says=says, files=("rules/pack.yaml",))
    (package / "rules" / "more.py").write_text("raise SystemExit('imported')\n")
    assert weight(program_in_force()) == 3.0


def test_what_a_person_names_counts_over_what_is_installed(site, tmp_path):
    site("friend", pack("friend", "slightly for"))
    program = program_in_force([shop(tmp_path, pack("our_shop", "decisively for"))])
    assert weight(program) == 20.0
    assert program.stack.rules["high_side_high"].notes == (("friend", "By friend."), ("our_shop", "By our_shop."))
    assert [h.pack for h in program.stack.packs][-2:] == ["friend", "our_shop"]


def test_installed_packs_lie_in_the_order_in_which_they_build_on_each_other(site):
    site("alpha", pack("alpha", "slightly for", ", zulu: 1"))
    site("zulu", pack("zulu", "strongly for"))
    program = program_in_force()
    assert refusals(program) == []
    assert [h.pack for h in program.stack.packs][-2:] == ["zulu", "alpha"]
    assert weight(program) == 3.0


BROKEN = {
    "no YAML": ("a: [", "rules"),
    "an unknown key": ("pack: x\nruels: {}\n", "did you mean 'rules'?"),
    "an unknown fault": (pack("x").replace("smothered", "smohtered"), "did you mean 'smothered'?"),
    "a newer format": ("pack: x\nformat: 99\n", "was written for format 99"),
    "a built-in name": ("pack: automotive\n", "'automotive' is already in the stack"),
    "an unknown pack below it": ("pack: x\nbuilds_on: {nobody: 1}\n", "'nobody', which is not below it"),
    "no file": (None, "holds no .yaml file"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_an_installed_pack_that_is_broken_is_left_out_with_a_sentence(site, kind):
    text, said = BROKEN[kind]
    site("good", pack("good", "slightly for"))
    package = site("broken", text or "", files=() if text is None else ("pack.yaml",))
    program = program_in_force()
    assert weight(program) == 3.0
    (notice,) = refusals(program)
    assert "(broken 1.5) is not used: " in notice
    if kind != "no YAML":
        assert said in notice
    result = CliRunner().invoke(app, ["diagnose", *READ])
    assert result.exit_code == 0
    assert "is not used" in result.stdout
    listed, _ = survey()
    (refused,) = [each for each in listed if each.refused]
    assert (refused.layer, refused.folder, refused.distribution) == ("installed", str(package), "broken 1.5")


@pytest.mark.parametrize(
    ("says", "said"),
    [
        ("nobody_is_here", "there is no package 'nobody_is_here'"),
        ("broken.nowhere", "which has no folder of its own"),
        ("broken:pack", "it must name a package"),
        ("..broken", "it must name a package"),
        ("json.decoder", None),
        ("this", "which has no folder of its own"),
    ],
)
def test_an_entry_point_that_leads_nowhere_is_told(site, says, said):
    site("broken", pack("x"), says=says)
    (notice,) = refusals(program_in_force())
    assert (said or "holds no .yaml file") in notice


def test_packs_that_build_on_each_other_in_a_circle_are_both_left_out(site):
    site("one", pack("one", more=", two: 1"))
    site("two", pack("two", more=", one: 1"))
    site("three", pack("three", "slightly for"))
    program = program_in_force()
    assert weight(program) == 3.0
    assert len(refusals(program)) == 2
    assert all("build on each other in a circle: 'one', 'two'" in notice for notice in refusals(program))


def test_two_that_change_the_same_are_told_and_the_first_by_name_is_used(site):
    site("one", pack("one", "slightly for"))
    site("two", pack("two", "strongly for"))
    program = program_in_force()
    assert weight(program) == 3.0
    (notice,) = refusals(program)
    assert "'two'" in notice
    assert "let one of the two build on the other" in notice


def test_a_broken_pack_that_a_person_names_is_an_error_whatever_is_installed(site, tmp_path):
    site("friend", pack("friend"))
    site("broken", "a: [")
    folder = shop(tmp_path, pack("our_shop").replace("smothered", "smohtered"))
    with pytest.raises(FileProblems, match="smohtered"):
        program_in_force([folder])


def test_a_named_pack_does_not_push_an_installed_one_out(site, tmp_path):
    """Where the two contradict each other it is the named one that is told: its author is there."""
    site("friend", pack("friend"))
    with pytest.raises(FileProblems, match="already in the stack"):
        program_in_force([shop(tmp_path, pack("friend"))])


def run(*args):
    return CliRunner().invoke(app, ["rules", "packs", *args])


def test_every_pack_is_listed_with_what_it_is_and_holds(site, tmp_path):
    package = site("friend", pack("friend"))
    result = run("--rules", shop(tmp_path, pack("our_shop", more=", friend: 2")))
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    assert "common: built in, edition" in text
    assert f"friend: installed by friend 1.5, edition 2, format 1 Rules of a friend 1 adjustment {package}" in text
    assert "our_shop: named by --rules or TWOGAUGE_RULES" in text
    assert "Not used" not in text
    assert "Mind" not in text


def test_what_is_refused_is_listed_with_every_reason(site, tmp_path):
    site("broken", "pack: x\nruels: {}\nchekcs: {}\n")
    named = shop(tmp_path, "pack: our_shop\nfuults: {}\n")
    result = run("--json", "--rules", named, "--rules", str(tmp_path / "missing"))
    assert result.exit_code == 1
    listed = {each["pack"]: each for each in json.loads(result.stdout)["packs"]}
    assert [each["in_force"] for each in listed.values()] == [True, True, False, False, False]
    assert [len(listed[name]["refused"]) for name in ("broken", "shop", "missing")] == [2, 1, 1]
    assert "did you mean 'faults'?" in listed["shop"]["refused"][0]
    text = run("--rules", named).stdout
    assert "Not used:" in text
    assert "did you mean 'checks'?" in " ".join(text.split())
    assert all(len(line) <= 80 for line in text.splitlines() if " " in line.strip())


def test_what_the_packs_should_know_is_told(site, tmp_path):
    site("friend", pack("friend"))
    one = shop(tmp_path, pack("our_shop"))
    other = tmp_path / "bus_9"
    other.mkdir()
    (other / "pack.yaml").write_text(pack("bus_9"))
    result = run("--rules", one, "--rules", str(other))
    assert result.exit_code == 0
    assert "is also changed by pack 'our_shop'" in " ".join(result.stdout.split())
