"""Rules of the house that hold for every file: what must not be in it, who may import what, what lies where."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

# Spelled in pieces, so that this file does not contain what it looks for.
_MACHINE_PATH = re.compile(r"(?<![\w.~-])/(?:{})/".format("work|root|home|Users"))
_REGISTRY_HOST = re.compile(
    "|".join(
        re.escape(".".join(parts))
        for parts in (
            ("pypi", "org"),
            ("pythonhosted", "org"),
            ("npmjs", "org"),
            ("npmjs", "com"),
            ("deb", "debian", "org"),
            ("conda", "anaconda", "org"),
            ("proxy", "golang", "org"),
        )
    )
)
_LEFT_FOR_LATER = re.compile(r"\b(?:TODO|FIXME|XXX|HACK)\b")

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "engine", "rules", "tests", "examples"}
COOLPROP_MAY_BE_IMPORTED_BY = {"engine/twogauge/refrigerants/build.py"}


def _hits(files: tuple[Path, ...], root: Path, pattern: re.Pattern[str]) -> list[str]:
    return [
        f"{path.relative_to(root).as_posix()}:{number}: {line.strip()[:100]}"
        for path in files
        for number, line in enumerate(path.read_bytes().decode("utf-8", "replace").splitlines(), start=1)
        if pattern.search(line)
    ]


@pytest.fixture(scope="session")
def engine_modules(project_files, root) -> dict[str, ast.Module]:
    """Every Python file of the engine, parsed, by its path from the top."""
    modules = {
        path.relative_to(root).as_posix(): ast.parse(path.read_text("utf-8"))
        for path in project_files
        if path.suffix == ".py" and path.is_relative_to(root / "engine")
    }
    assert "engine/twogauge/__init__.py" in modules
    return modules


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (_MACHINE_PATH, "open('/{}/me/file')".format("home")),
        (_MACHINE_PATH, "cd /{}/main".format("work")),
        (_REGISTRY_HOST, "--index-url https://{}.org/simple".format("pypi")),
        (_LEFT_FOR_LATER, "# {}: later".format("TO" + "DO")),
    ],
)
def test_the_patterns_find_what_they_are_for(pattern, text):
    assert pattern.search(text)


@pytest.mark.parametrize("text", ["examples/work/reading.yaml", "https://example.org/a", "../home/x", "~/work/x"])
def test_the_path_pattern_leaves_other_paths_alone(text):
    assert not _MACHINE_PATH.search(text)


def test_no_file_names_a_folder_of_somebodys_machine(project_files, root):
    assert _hits(project_files, root, _MACHINE_PATH) == []


def test_no_file_names_a_package_registry(project_files, root):
    assert _hits(project_files, root, _REGISTRY_HOST) == []


def test_nothing_in_the_engine_is_left_for_later(project_files, root):
    engine = tuple(path for path in project_files if path.is_relative_to(root / "engine"))
    assert _hits(engine, root, _LEFT_FOR_LATER) == []


def _is_empty(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return all(
        isinstance(line, ast.Pass) or (isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant))
        for line in body
    )


def _stubs(tree: ast.Module) -> list[str]:
    protocols = {
        child
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef) and any(ast.unparse(base).startswith("Protocol") for base in node.bases)
        for child in node.body
    }
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and node.exc is not None and "NotImplemented" in ast.unparse(node.exc):
            found.append(f"{node.lineno}: {ast.unparse(node)}")
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node not in protocols and _is_empty(node):
            # A typer callback declares options; its parameters are its substance.
            marks = {ast.unparse(mark).partition("(")[0].rpartition(".")[2] for mark in node.decorator_list}
            if not marks & {"overload", "abstractmethod", "callback"}:
                found.append(f"{node.lineno}: {node.name} does nothing")
    return found


def test_no_function_of_the_engine_is_a_stub(engine_modules):
    assert {name: found for name, tree in engine_modules.items() if (found := _stubs(tree))} == {}


def test_a_stub_would_be_found():
    stubs = "def f():\n    'Say so.'\n\ndef g():\n    raise NotImplementedError\n"
    assert sorted(_stubs(ast.parse(stubs))) == ["1: f does nothing", "5: raise NotImplementedError"]
    declaration = "class P(Protocol):\n    def h(self): ...\n"
    assert _stubs(ast.parse(declaration)) == []


def _imports(tree: ast.Module) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module") and node.args:
            names.add(str(getattr(node.args[0], "value", "")))
    return {name.partition(".")[0] for name in names}


def test_one_module_alone_imports_coolprop(engine_modules):
    assert {
        name for name, tree in engine_modules.items() if "CoolProp" in _imports(tree)
    } == COOLPROP_MAY_BE_IMPORTED_BY


def test_one_room_alone_imports_the_plotting_library(engine_modules):
    importing = {name for name, tree in engine_modules.items() if "matplotlib" in _imports(tree)}
    assert importing
    assert {name for name in importing if not name.startswith("engine/twogauge/draw/")} == set()
    # Global figures are shared by all threads of a server.
    text = "\n".join(ast.unparse(engine_modules[name]) for name in importing)
    assert "pyplot" not in text


@pytest.mark.parametrize(
    "arguments",
    [
        ["--version"],
        ["saturation", "R134a", "35psi"],
        ["diagnose", "--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F"],
    ],
    ids=lambda value: value[0],
)
def test_a_command_waits_neither_for_coolprop_nor_for_pydantic(arguments, tmp_path):
    program = (
        "import sys\n"
        "from twogauge.cli.app import main\n"
        f"sys.argv = ['twogauge', *{arguments!r}]\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "print([name for name in ('CoolProp', 'pydantic', 'matplotlib') if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "[]"
    assert len(done.stdout.splitlines()) > 1, "the program printed nothing"


def test_nothing_lies_at_the_top_but_what_belongs_there(project_files, root):
    top = {path.relative_to(root).parts[0] for path in project_files}
    strangers = {name for name in top - TOP_LEVEL if not name.startswith(".")} - {"PKG-INFO"}
    assert strangers == set()
    assert top >= TOP_LEVEL, f"missing: {sorted(TOP_LEVEL - top)}"


def test_every_public_module_says_what_it_is_for(engine_modules):
    public = {
        name: tree
        for name, tree in engine_modules.items()
        if not Path(name).stem.startswith("_") or Path(name).stem in {"__init__", "__main__"}
    }
    assert [name for name, tree in public.items() if not (ast.get_docstring(tree) or "").strip()] == []
