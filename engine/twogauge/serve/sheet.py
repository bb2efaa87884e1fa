"""A reading as a file: opened through the same bounded loader as on the command line, and written to be opened again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import yaml

from twogauge.errors import FileProblems
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.packs import yamlfile
from twogauge.packs.problems import Problem
from twogauge.quantities import UnitSet
from twogauge.serve.received import decoded
from twogauge.serve.state import CHECK, GOOD, NAMED, SPEC, State

NAME: Final = "reading.yaml"  # in messages; what a browser calls the file is not used


def opened(content: bytes, units: UnitSet) -> State:
    """Return what a file holds as if it had been typed; what cannot be used is told beside its field, as always.

    Args:
        content: of a reading in YAML or JSON.
        units: where the file does not say.

    Raises:
        FileProblems: this is no reading, with line and column.
    """
    node = yamlfile.load(NAME, decoded(NAME, content))
    given = yamlfile.plain(node)
    if not isinstance(given, Mapping):
        message = "a reading is lines of 'field: value', such as 'low_side: 35 psi'"
        raise FileProblems([Problem(node.place, "reading", message)])
    pairs = [("units", str(given.get("units", units.value)))]
    for name, value in given.items():
        pairs += _pairs(str(name), value)
    return State.read(pairs, units)


def saved(state: State) -> str:
    """Return the file that leads back to what was typed."""
    document: dict[str, Any] = {"units": state.units.value, **state.given()}
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True, width=100)


def _pairs(name: str, value: object) -> list[tuple[str, str]]:
    """Return one entry of a file as pairs of an address."""
    if name == "units" or _is_empty(value):
        return []
    if name == NAMED:
        return _good(value)
    if name == "checks" and isinstance(value, Mapping):
        return [(f"{CHECK}{check}", _text(answer)) for check, answer in value.items() if not _is_empty(answer)]
    if name == "spec" and isinstance(value, Mapping):
        return [pair for field, ends in value.items() for pair in _ends(str(field), ends)]
    if name in FIELDS:
        return [(name, " to ".join(map(_text, value)) if isinstance(value, list) else _text(value))]
    if isinstance(value, Mapping | list):
        return [(name, "in the file")]
    return [(f"{CHECK}{name}", _text(value))]


def _good(value: object) -> list[tuple[str, str]]:
    """Return the known-good reading that is written out in a file, or the name of another file that holds it."""
    if not isinstance(value, Mapping):
        return [(NAMED, _text(value))]
    pairs = [("units", str(value["units"]))] if value.get("units") else []
    for name, inner in value.items():
        pairs += [(NAMED, "in the file")] if name == NAMED else _pairs(str(name), inner)
    return [(f"{GOOD}{name}", text) for name, text in pairs]


def _ends(field: str, ends: object) -> list[tuple[str, str]]:
    if field not in SPEC_FIELDS or not isinstance(ends, list) or len(ends) != 2:
        return [(f"{SPEC}{field}", _text(ends))]
    return [(f"{SPEC}{field}.{end}", _text(value)) for end, value in zip(("from", "to"), ends, strict=True)]


def _is_empty(value: object) -> bool:
    """Tell whether nothing is written; that something is unknown is an answer, so that it is not asked again."""
    return value is None or (isinstance(value, str) and value.strip() in {"", "~", "null"})


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
