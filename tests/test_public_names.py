"""The public door: exactly the documented names, each found when asked for, and nothing heavy before that."""

from __future__ import annotations

import ast
import importlib
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import twogauge
from twogauge.packs.problems import Place, Problem

DOCUMENTED = (
    "Columns",
    "Diagnosis",
    "FileProblems",
    "InputError",
    "Outlook",
    "QuantityError",
    "RangeError",
    "Reading",
    "TwogaugeError",
    "Weighed",
    "diagnose",
    "diagnose_table",
    "from_arrays",
    "look_ahead",
    "program_for",
    "read_file",
    "weigh_columns",
)
# What the documents show of the package; more names need a place there and a line here.


def test_the_public_names_are_these():
    assert tuple(twogauge.__all__) == DOCUMENTED


@pytest.mark.parametrize("name", DOCUMENTED)
def test_each_public_name_can_be_had_and_explains_itself(name):
    found = getattr(twogauge, name)
    assert (inspect.getdoc(found) or "").strip()
    assert found.__name__ == name
    assert found.__module__.startswith("twogauge.")


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="module 'twogauge' has no attribute 'diagnoze'"):
        _ = twogauge.diagnoze


def test_type_checkers_see_the_same_names():
    """The imports that only a type checker follows, against what is imported when a name is used."""
    tree = ast.parse(Path(twogauge.__file__).read_text("utf-8"))
    (guarded,) = (node for node in tree.body if isinstance(node, ast.If))
    seen = {alias.name: node.module for node in guarded.body for alias in node.names}
    assert tuple(sorted(seen)) == tuple(sorted(DOCUMENTED))
    for name, module in seen.items():
        assert getattr(importlib.import_module(module), name) is getattr(twogauge, name)


def test_a_submodule_is_never_hidden_by_a_name():
    modules = {path.stem for path in Path(twogauge.__file__).parent.iterdir()}
    assert not modules & set(DOCUMENTED)


def python(program):
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_importing_the_package_imports_nothing_else_of_weight():
    heavy = {"numpy", "CoolProp", "pydantic", "yaml", "typer", "dataclasses"}
    assert not heavy & set(python("import sys, twogauge; print(*sys.modules)"))


def test_a_diagnosis_never_imports_the_property_library():
    program = (
        "import sys, twogauge\n"
        "twogauge.diagnose(twogauge.Reading(refrigerant='R134a', low_side='35 psi'))\n"
        "print('numpy' in sys.modules, 'CoolProp' in sys.modules)"
    )
    assert python(program) == ["True", "False"]


def test_the_example_of_the_package_runs():
    """The lines shown at the top of the package, as they stand."""
    lines = (twogauge.__doc__ or "").splitlines()
    program = "\n".join(line.removeprefix("    ") for line in lines if line.startswith("    "))
    names: dict[str, object] = {}
    exec(program, names)  # noqa: S102 - our own documentation
    assert names["diagnosis"].verdict in {"fault", "normal", "too_close", "not_enough", "gated"}


def test_every_error_is_an_error_of_the_package():
    problem = Problem(Place("a.yaml", 2, 3), "code", "this is wrong")
    for error in (
        twogauge.QuantityError("x"),
        twogauge.FileProblems([problem]),
        twogauge.RangeError("x"),
        twogauge.InputError("x"),
    ):
        assert isinstance(error, twogauge.TwogaugeError)
    assert issubclass(twogauge.FileProblems, twogauge.InputError)
    assert not issubclass(twogauge.RangeError, twogauge.InputError)
