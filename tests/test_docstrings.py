"""Docstrings of the physics state units: every number that goes in or comes out has one, in brackets.

The rule, for public functions, methods and data classes of refrigerants/, service/, quantities.py and the derivation:
 1. each has a docstring whose first line is a sentence;
 2. a parameter that is a number is followed by its unit in brackets: under Args, `pressure: absolute pressure [Pa]`,
    or in the text, `for ascending temperatures [K]`; so is a field of a data class, under Attributes;
 3. where a number is returned, the docstring names its unit in brackets outside the Args;
 4. no docstring describes a parameter or field that is not there.
A plain count or ratio is [1]; a number whose dimension the caller chooses is [SI]; text brings its own unit.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import twogauge

PACKAGE = Path(twogauge.__file__).parent
MODULES = (
    "quantities.py",
    "bands.py",
    "work.py",
    "derive.py",
    "levels.py",
    *(f"refrigerants/{p.name}" for p in (PACKAGE / "refrigerants").glob("*.py")),
    *(f"service/{p.name}" for p in (PACKAGE / "service").glob("*.py")),
)
UNITS = {"Pa", "K", "K/Pa", "m", "s", "1", "SI", "kg/kg", "ppm", "g/m3", "kg", "kg/m3", "J/kg", "J/(kg K)"}
UNITS |= {"m3", "J/K", "kg/mol"}  # of charges and cylinders
UNITS |= {"Pa/s", "Pa m3/s", "kg/s"}  # of leaks
_NUMBER = re.compile(r"\b(?:float|Floats|ArrayLike|Derived)\b|NDArray\[np\.float64\]")
_BRACKET = re.compile(r"\[([^\[\]]+)\]")


def units_in(text):
    return {part.strip() for bracket in _BRACKET.findall(text) for part in re.split(r",| or ", bracket)} & UNITS


def section(doc, name):
    """The lines of one section, by the names they describe."""
    lines = doc.expandtabs().splitlines()
    start = next((i for i, line in enumerate(lines) if line.strip() == f"{name}:"), None)
    if start is None:
        return {}
    depth = len(lines[start]) - len(lines[start].lstrip())
    found, names = {}, ()
    for line in lines[start + 1 :]:
        indent = len(line) - len(line.lstrip())
        if line.strip() and indent <= depth:
            break
        head = re.match(r"\s*([\w, *]+):\s", line + " ") if indent == depth + 4 else None
        names = tuple(part.strip(" *") for part in head[1].split(",")) if head else names
        for each in names:
            found[each] = found.get(each, "") + line + "\n"
    return found


def public(body, prefix=""):
    for node in body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
            yield f"{prefix}{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from public(node.body, f"{node.name}.")


def is_number(annotation):
    text = "" if annotation is None else ast.unparse(annotation)
    return _NUMBER.search(text) is not None and "Callable" not in text and not text.startswith("str |")


def unit_after(name, doc):
    """Whether the text says `name [unit]`, with nothing but words between."""
    return any(units_in(match) for match in re.findall(rf"\b{name}\b[\w\s,()-]*(\[[^\[\]]+\])", doc))


def complaints_about_function(node):
    doc = ast.get_docstring(node) or ""
    if not doc:
        return ["has no docstring"]
    found = []
    if not doc.splitlines()[0].rstrip().endswith((".", ":")):
        found.append("begins with no sentence")
    described = section(doc, "Args")
    arguments = {a.arg: a for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)}
    arguments.pop("self", None)
    found += [f"describes {name}, which is no parameter" for name in described if name not in arguments]
    for name, argument in arguments.items():
        if is_number(argument.annotation) and not (units_in(described.get(name, "")) or unit_after(name, doc)):
            found.append(f"gives no unit for {name}")
    outside = doc
    for text in described.values():
        outside = outside.replace(text.strip(), "")
    if is_number(node.returns) and not units_in(outside):
        found.append("gives no unit for what it returns")
    return found


def is_data(node):
    return any("dataclass" in ast.unparse(mark) for mark in node.decorator_list)


def complaints_about_class(node):
    doc = ast.get_docstring(node) or ""
    if not doc:
        return ["has no docstring"]
    if not is_data(node):
        return []
    described = section(doc, "Attributes")
    fields = {f.target.id: f for f in node.body if isinstance(f, ast.AnnAssign) and isinstance(f.target, ast.Name)}
    properties = {f.name for f in node.body if isinstance(f, ast.FunctionDef)}
    found = [f"describes {name}, which is no field" for name in described if name not in {*fields, *properties}]
    for name, each in fields.items():
        all_alike = re.search(r"\b(?:both|all) SI\b", doc)
        if is_number(each.annotation) and not all_alike and not units_in(described.get(name, "")):
            found.append(f"gives no unit for {name}")
    return found


def all_complaints(source):
    tree = ast.parse(source)
    found = {}
    for name, node in public(tree.body):
        about = complaints_about_class(node) if isinstance(node, ast.ClassDef) else complaints_about_function(node)
        if about:
            found[name] = about
    return found


@pytest.mark.parametrize("module", MODULES)
def test_every_number_has_its_unit_in_brackets(module):
    assert all_complaints((PACKAGE / module).read_text("utf-8")) == {}


@pytest.mark.parametrize("module", sorted(str(p.relative_to(PACKAGE)) for p in PACKAGE.rglob("*.py")))
def test_every_module_says_what_it_is_for(module):
    doc = ast.get_docstring(ast.parse((PACKAGE / module).read_text("utf-8")))
    assert doc
    assert len(doc.splitlines()[0]) > 20
    assert doc.splitlines()[0].rstrip().endswith((".", ":"))


# -- the rule itself ----------------------------------------------------------------------------------------------


def test_a_docstring_that_follows_the_rule_passes():
    source = '''
def boil(pressure: float, name: str, *, phase: str = "dew") -> Floats:
    """Return the temperature [K].

    Args:
        pressure: absolute pressure [Pa], such as
            of a gauge.
        name: of the fluid.
    """

@dataclass(frozen=True)
class Point:
    """A point of a curve.

    Attributes:
        low, high: ends [Pa].
    """

    low: float
    high: float
'''
    assert all_complaints(source) == {}


_ARGS = """def f(p: float){returns}:
    \'\'\'Do it.

    Args:
        {args}
    \'\'\'
"""
_DATA = """@dataclass
class C:
    \'\'\'A thing.

    Attributes:
        {fields}
    \'\'\'

    x: float
"""


@pytest.mark.parametrize(
    ("source", "complaint"),
    [
        ("def f(): pass", "has no docstring"),
        ("def f():\n    'no sentence'", "begins with no sentence"),
        ("def f(p: float):\n    'Do it.'", "gives no unit for p"),
        ("def f(p: float):\n    'Do it with p [bananas].'", "gives no unit for p"),
        (_ARGS.format(args="p: a pressure", returns=""), "gives no unit for p"),
        (_ARGS.format(args="p: it [Pa]", returns=" -> float"), "gives no unit for what it returns"),
        (_ARGS.format(args="p, q: them [Pa]", returns=""), "describes q, which is no parameter"),
        ("def f() -> float:\n    'Return a pressure.'", "gives no unit for what it returns"),
        ("class C:\n    x: float", "has no docstring"),
        ("@dataclass\nclass C:\n    'A thing.'\n    x: float", "gives no unit for x"),
        (_DATA.format(fields="x: a pressure"), "gives no unit for x"),
        (_DATA.format(fields="x, y: them [K]"), "describes y, which is no field"),
    ],
)
def test_a_docstring_that_breaks_the_rule_is_found(source, complaint):
    (found,) = all_complaints(source).values()
    assert any(complaint in each for each in found)
