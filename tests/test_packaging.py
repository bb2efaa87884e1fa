"""The wheel, the sdist and the editable install: complete, and the same program three times.

Everything is built and installed from what is already here; nothing is fetched. Each kind gets an environment of its
own that finds the dependencies, but not twogauge, in the environment that runs the tests. Workers of a parallel run
build for themselves: that costs each about three seconds, less than waiting for one another.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from dataclasses import dataclass
from importlib import metadata
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

KINDS = ("wheel", "sdist", "editable")
QUESTION = ("diagnose", "--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F", "--json")


def _run(*command: str | Path, cwd: Path) -> str:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PIP_", "PYTHON", "COV_"))}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=kept | {"PIP_NO_INDEX": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, f"{' '.join(map(str, command))}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def _environment(folder: Path) -> Path:
    """Make an environment that finds the dependencies, but not twogauge, here; return the folder of its commands."""
    venv.create(folder, with_pip=False, symlinks=os.name != "nt")
    places = {"base": str(folder), "platbase": str(folder)}
    # Last in the alphabet: the path of the editable install comes before it, as this one may hold a twogauge too.
    dependencies = Path(sysconfig.get_path("purelib", "venv", places), "zz_dependencies.pth")
    dependencies.write_text(f"{sysconfig.get_path('purelib')}\n{sysconfig.get_path('platlib')}\n", "utf-8")
    return Path(sysconfig.get_path("scripts", "venv", places))


def _install(scripts: Path, *what: str | Path) -> None:
    options = ("--no-deps", "--no-build-isolation", "--ignore-installed", "--quiet")
    _run(scripts / "python", "-m", "pip", "install", *options, *what, cwd=scripts)


@dataclass(frozen=True)
class Built:
    """The two files that a release consists of."""

    wheel: Path
    sdist: Path


@pytest.fixture(scope="module")
def built(root, tmp_path_factory) -> Built:
    """The sdist, and the wheel that is built from it."""
    folder = tmp_path_factory.mktemp("dist")
    _run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, root, cwd=folder)
    [wheel], [sdist] = folder.glob("*.whl"), folder.glob("*.tar.gz")
    return Built(wheel, sdist)


@pytest.fixture(scope="module")
def wheel_files(built) -> dict[str, bytes]:
    with zipfile.ZipFile(built.wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def sdist_files(built) -> dict[str, bytes]:
    """The sdist's files, named as they are below its one top folder."""
    with tarfile.open(built.sdist) as archive:
        return {
            member.name.partition("/")[2]: archive.extractfile(member).read() for member in archive if member.isfile()
        }


@pytest.fixture(scope="module")
def installed(built, root, tmp_path_factory) -> dict[str, Path]:
    """The `twogauge` command of each kind of installation."""
    commands = {}
    for kind, what in zip(KINDS, ([built.wheel], [built.sdist], ["-e", root]), strict=True):
        scripts = _environment(tmp_path_factory.mktemp(kind))
        _install(scripts, *what)
        commands[kind] = scripts / "twogauge"
    return commands


def _below(root: Path, files: tuple[Path, ...], folder: str) -> dict[str, bytes]:
    return {
        path.relative_to(root / folder).as_posix(): path.read_bytes()
        for path in files
        if path.is_relative_to(root / folder)
    }


def test_the_wheel_holds_every_rule_file(wheel_files, project_files, root):
    rules = {
        name: data for name, data in _below(root, project_files, "rules").items() if not name.startswith("book/")
    }
    assert rules
    assert not any(name.startswith("twogauge/rules/book/") for name in wheel_files), (
        "made from the rules, to be read here"
    )
    assert {name: wheel_files.get(f"twogauge/rules/{name}") for name in rules} == rules


def test_the_wheel_holds_every_file_of_the_package(wheel_files, project_files, root):
    package = _below(root, project_files, "engine/twogauge")
    assert "py.typed" in package
    assert any(name.startswith("refrigerants/data/") for name in package)
    assert {name: wheel_files.get(f"twogauge/{name}") for name in package} == package


def test_the_wheel_holds_nothing_else(wheel_files, root):
    [metadata_folder] = {name.partition("/")[0] for name in wheel_files} - {"twogauge"}
    assert metadata_folder.endswith(".dist-info")
    package = {name.removeprefix("twogauge/") for name in wheel_files if name.startswith("twogauge/")}
    places = (root / "engine" / "twogauge", root)
    assert [name for name in package if not any((place / name).is_file() for place in places)] == []
    assert [name for name in package if re.match(r"tests|examples", name) or "__pycache__" in name] == []
    assert any(name.endswith("/licenses/LICENSE") for name in wheel_files)


def test_the_sdist_holds_every_file_of_the_project(sdist_files, project_files, root):
    ours = {path.relative_to(root).as_posix() for path in project_files}
    assert sorted(ours - set(sdist_files)) == []


def test_each_kind_runs_its_own_copy(installed, root, tmp_path):
    homes = {}
    for kind, command in installed.items():
        script = "import twogauge; print(twogauge.__file__)"
        homes[kind] = Path(_run(command.parent / "python", "-c", script, cwd=tmp_path).strip())
    assert homes["editable"] == root / "engine" / "twogauge" / "__init__.py"
    for kind in ("wheel", "sdist"):
        assert homes[kind].is_relative_to(installed[kind].parent.parent)
    copies = [path for path in installed["editable"].parent.parent.rglob("twogauge") if path.is_dir()]
    assert copies == [], "an editable install holds copies that will not follow the tree"


@pytest.mark.parametrize(
    "arguments", [("--version",), ("saturation", "R134a", "35psi"), QUESTION], ids=lambda value: value[0]
)
def test_each_kind_gives_the_same_answer(installed, arguments, tmp_path):
    answers = {kind: _run(command, *arguments, cwd=tmp_path) for kind, command in installed.items()}
    assert answers["wheel"].strip()
    assert answers["sdist"] == answers["wheel"]
    assert answers["editable"] == answers["wheel"]


def test_the_version_printed_is_the_one_released(installed, built, root, tmp_path):
    version = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    assert version in _run(installed["wheel"], "--version", cwd=tmp_path).split()
    assert f"-{version}-" in built.wheel.name


def test_the_diagnosis_as_json_is_json(installed, tmp_path):
    assert json.loads(_run(installed["wheel"], *QUESTION, cwd=tmp_path))


FRIEND = {
    "pyproject.toml": """\
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"

[project]
name = "depot-rules"
version = "1.5"

[project.entry-points."twogauge.packs"]
depot_rules = "depot_rules"

[tool.hatch.build]
dev-mode-dirs = ["."]
""",
    "depot_rules/__init__.py": "raise SystemExit('a pack is data and is not imported')\n",
    "depot_rules/pack.yaml": """\
pack: depot_rules
title: Rules of the depot
builds_on: {common: 1, automotive: 1}
checks:
  roof_hatch: {title: Roof hatch, ask: Is it open?, how: Look up., effort: glance, source: common practice}
topic: roof_hatch
rules:
  hatch_is_open:
    title: The roof hatch is open
    when: {roof_hatch: {is: yes}}
    says: {normal: strongly for}
    because: The cold air leaves through the roof.
    source: {weights: from memory}
    examples: {holds: [{roof_hatch: yes}], does_not_hold: [{roof_hatch: no}]}
""",
}


@pytest.fixture(scope="module", params=["wheel", "editable"])
def with_a_pack(built, request, tmp_path_factory) -> Path:
    """The `twogauge` of an environment into which a pack was installed as well, as a wheel or editable."""
    project = tmp_path_factory.mktemp("depot")
    for name, text in FRIEND.items():
        (project / name).parent.mkdir(exist_ok=True)
        (project / name).write_text(text, "utf-8")
    scripts = _environment(tmp_path_factory.mktemp("with_a_pack"))
    _install(scripts, built.wheel)
    _install(scripts, *(["-e"] if request.param == "editable" else []), project)
    return scripts / "twogauge"


def test_the_rules_of_an_installed_pack_are_in_force(with_a_pack, tmp_path):
    listed = json.loads(_run(with_a_pack, "rules", "packs", "--json", cwd=tmp_path))["packs"]
    found = {each["pack"]: each for each in listed}["depot_rules"]
    assert (found["layer"], found["distribution"], found["in_force"]) == ("installed", "depot-rules 1.5", True)
    assert found["counts"] == {"checks": 1, "rules": 1}
    told = _run(with_a_pack, *QUESTION[:-1], "--check", "roof_hatch=yes", "--json", cwd=tmp_path)
    reasons = [r["rule"] for each in json.loads(told)["ranking"] for r in each["reasons"]]
    assert "hatch_is_open" in reasons


@pytest.fixture(scope="module")
def pins(root) -> dict[str, str]:
    lines = (root / ".ci" / "constraints.txt").read_text("utf-8").splitlines()
    stripped = [line.partition("#")[0].strip() for line in lines]
    return {canonicalize_name(name): version for name, version in (line.split("==") for line in stripped if line)}


@pytest.fixture(scope="module")
def requirements(root) -> list[Requirement]:
    """All that pyproject.toml asks for: to build, to run, to test and to develop."""
    settings = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    extras = settings["project"]["optional-dependencies"].values()
    asked = [*settings["build-system"]["requires"], *settings["project"]["dependencies"], *chain(*extras)]
    return [Requirement(text) for text in asked]


def test_every_requirement_has_a_pin_that_meets_it(requirements, pins):
    unmet = {
        str(requirement): pins.get(canonicalize_name(requirement.name))
        for requirement in requirements
        if not requirement.specifier.contains(pins.get(canonicalize_name(requirement.name), "0"))
    }
    assert unmet == {}


def test_what_the_requirements_require_is_pinned_too(requirements, pins):
    seen: set[str] = set()
    waiting = [(requirement.name, requirement.extras) for requirement in requirements]
    while waiting:
        name, extras = waiting.pop()
        if (name := canonicalize_name(name)) in seen:
            continue
        seen.add(name)
        try:
            needed = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue  # of the developer's tools or another system: not installed here, but pinned all the same
        for requirement in map(Requirement, needed):
            here = requirement.marker is None or any(
                requirement.marker.evaluate({"extra": extra}) for extra in ("", *extras)
            )
            if here:
                waiting.append((requirement.name, requirement.extras))
    assert "annotated-types" in seen, "the walk reached nothing"
    assert sorted(seen - set(pins)) == []


def _readme_block(root: Path, name: str) -> list[str]:
    return _run(root / ".ci" / "run", "--print", name, cwd=root).split()


def test_the_commands_of_the_readme_are_those_that_ci_runs(root):
    readme = (root / "README.md").read_text("utf-8")
    for name, ends_with in (("first command", "twogauge diagnose"), ("test command", "pytest -n 2 -q")):
        words = _readme_block(root, name)
        assert " ".join(words) in " ".join(readme.split())
        assert words[:3] == ["python3", "-m", "venv"]
        assert "-c .ci/constraints.txt" in " ".join(words)
        assert ends_with in " ".join(words)
