"""A JSON Schema (2020-12) of a file of a pack, for editors that complete and underline while somebody writes.

Generated from the models (`python -m twogauge.packs.schema`) and committed; a test fails while it is stale. It accepts
whatever the loader accepts, so it knows less: units, dimensions and unknown names are left to `twogauge rules check`.
The quantities, checks and faults that ship are named for the editor to complete. To the loader every value is text; to
an editor's YAML reader `7` is a number and `on` may be a truth value, and both are allowed here. A value left empty is
none (the loader takes a bare `null` or `~` for a word, which nobody means).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from twogauge.fields import FIELDS, NESTED
from twogauge.levels import LEVELS
from twogauge.packs.in_force import Stack
from twogauge.packs.model import FORMAT, ID, KINDS, SCALAR, Header
from twogauge.packs.stack import built_in
from twogauge.packs.words import CRITERION_TESTS, EFFORT, HOW_COMMON, WORKS
from twogauge.quantity_table import QUANTITIES

SCHEMA: Final = Path(__file__).resolve().parent / "data" / "pack.schema.json"
_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
_ABOUT: Final = {
    "cautions": "warnings that stand beside advice",
    "faults": "causes that can be repaired",
    "checks": "what can be looked at, felt or tried",
    "bands": "what is normal",
    "profiles": "machines of the shop",
    "criteria": "what a vacuum or a pressure test must show",
    "plans": "whole jobs as steps in order",
    "gates": "situations in which readings mean nothing",
    "rules": "conditions that weigh for and against faults",
}
_NESTED: Final = {
    "spec": "what the maker gives for that day: field: [low, high]",
    "baseline": "a known-good reading of the same machine, with fields as here",
    "checks": "check: answer",
    "units": "what a bare number is in: us, si or metric",
}
_MAY_BE_TEXT: Final = ("Source", "Advice")

Schema = dict[str, Any]


def _required(*names: str) -> list[Schema]:
    return [{"required": [name]} for name in names]


_ADVICE: Final[Schema] = {"anyOf": [SCALAR, {"type": "array", "items": {"$ref": "#/$defs/Advice"}}]}
# What validators of the models demand beyond the types of the fields.
_DEMANDS: Final[dict[str, Schema]] = {
    "Source": {"minProperties": 1},
    "Examples": {"required": ["holds", "does_not_hold"]},
    "Shift": {"oneOf": _required("above", "below")},
    "BandEntry": {"oneOf": _required("normal", "normal_at")},
    "Test": {
        "anyOf": _required("above", "below", "between", "is", "is_not", "any_of"),
        "dependentSchemas": {
            "between": {"not": {"anyOf": _required("above", "below", "is", "is_not", "any_of")}},
            "is": {"not": {"anyOf": _required("above", "below", "is_not", "any_of", "soft")}},
            "is_not": {"not": {"anyOf": _required("above", "below", "any_of", "soft")}},
            "any_of": {"not": {"anyOf": _required("above", "below", "soft")}},
        },
    },
}
_OF_FIELDS: Final[dict[tuple[str, str], Schema]] = {
    ("Caution", "beside"): {"anyOf": [{"enum": list(WORKS)}, {"type": "array", "items": {"enum": list(WORKS)}}]},
    ("Fault", "confirm"): _ADVICE,
    ("Fault", "repair"): _ADVICE,
    ("Fault", "how_common"): {"enum": list(HOW_COMMON)},
    ("Check", "how"): _ADVICE,
    ("Check", "effort"): {"enum": list(EFFORT)},
    ("Check", "answers"): {"minProperties": 2, "not": {"required": ["unknown"]}},
    ("Criterion", "test"): {"enum": list(CRITERION_TESTS)},
    ("PlanStep", "criteria"): {
        "anyOf": [{"enum": list(CRITERION_TESTS)}, {"type": "array", "items": {"enum": list(CRITERION_TESTS)}}]
    },
    ("BandEntry", "level"): {"enum": list(LEVELS)},
    ("BandEntry", "normal_at"): {"minItems": 2},
    ("Examples", "holds"): {"minItems": 1},
    ("Examples", "does_not_hold"): {"minItems": 1},
    ("Shift", "field"): {"enum": [f.name for f in FIELDS.values() if f.dimension is not None]},
}


def pack_schema() -> Schema:
    """Return the schema of one file of a pack."""
    models: list[type[BaseModel]] = [Header, *KINDS.values()]
    _, made = models_json_schema([(model, "validation") for model in models], by_alias=True)
    definitions: dict[str, Schema] = {name: _tidy(made["$defs"][name]) for name in sorted(made["$defs"])}
    definitions["Weight"] = definitions["Rule"]["properties"]["says"]["additionalProperties"]
    for name, definition in definitions.items():
        if "properties" in definition:
            _add_demands(name, definition)
    stack = built_in()
    definitions |= {"Conditions": _conditions(stack), "Weights": _weights(stack)}
    header = definitions.pop("Header")["properties"]
    header["format"] = {**header["format"], "maximum": FORMAT}
    definitions["Rule"]["required"] = [name for name in definitions["Rule"]["required"] if name != "topic"]
    for name in _MAY_BE_TEXT:
        definitions[name] = {
            "description": definitions[name].pop("description"),
            "anyOf": [SCALAR, definitions[name]],
        }
    sections = {kind: _by_id({"$ref": f"#/$defs/{model.__name__}"}, _ABOUT[kind]) for kind, model in KINDS.items()}
    change = _change(definitions)
    return {
        "$schema": _DIALECT,
        "$comment": "Generated by `python -m twogauge.packs.schema`; do not edit.",
        "title": "A file of a twogauge rule pack",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            **header,
            "topic": {**definitions["Rule"]["properties"]["topic"], "description": "topic of the rules of this file"},
            "applies_to": {
                **definitions["Rule"]["properties"]["applies_to"],
                "description": "what the rules of this file apply to: field of a reading: words",
            },
            **sections,
            "adjust": _by_id(change, "changes to entries of other packs: the values named here replace those there"),
            "extend": _by_id(change, "additions to lists of entries of other packs"),
            "disable": _by_id({"$ref": "#/$defs/Disable"}, "rules, gates, bands, criteria and plans to take out"),
        },
        "$defs": {
            **definitions,
            "AppliesTo": _applies_to(),
            "Reading": _reading(),
            "Disable": {
                "type": "object",
                "additionalProperties": False,
                "required": ["note"],
                "properties": {"note": {**SCALAR, "minLength": 1, "description": "why it is taken out"}},
            },
        },
    }


def text() -> str:
    """Return the schema as it is shipped."""
    return json.dumps(pack_schema(), indent=1, ensure_ascii=True) + "\n"


def main() -> None:
    """Write the schema beside this module."""
    from twogauge.files import write_atomically  # noqa: PLC0415

    write_atomically(SCHEMA, text())


def _by_id(entry: Schema, about: str) -> Schema:
    return {
        "type": "object",
        "description": about,
        "propertyNames": {"pattern": ID, "maxLength": 80},
        "additionalProperties": entry,
    }


def _tidy(node: Any) -> Any:
    """Drop titles, defaults and null, which say nothing to a writer, and let text be what a YAML reader makes of it."""
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("enum") == ["yes", "no"]:
        node = {key: value for key, value in node.items() if key != "type"} | {"enum": _as_read(("yes", "no"))}
    out = {
        k: _tidy(v)
        for k, v in node.items()
        if k == "properties" or k not in {"title", "default"} or isinstance(v, dict)
    }
    options = [each for each in out.get("anyOf", ()) if each != {"type": "null"}]
    if "anyOf" in out and len(options) < len(out["anyOf"]):
        del out["anyOf"]
        out = {**(options[0] if len(options) == 1 else {"anyOf": options}), **out}
    return out


def _add_demands(name: str, definition: Schema) -> None:
    properties = definition["properties"]
    for (model, field), more in _OF_FIELDS.items():
        if model == name:
            about = properties[field].get("description")
            kept = {} if "enum" in str(more) or "anyOf" in more else properties[field]
            properties[field] = {**kept, **more, **({"description": about} if about else {})}
    for field, shared in (("when", "Conditions"), ("says", "Weights"), ("otherwise", "Weights")):
        if field in properties:
            kept = {
                key: properties[field][key] for key in ("description", "minProperties") if key in properties[field]
            }
            properties[field] = {"$ref": f"#/$defs/{shared}", **kept}
    if "applies_to" in properties:
        about = properties["applies_to"]["description"]
        properties["applies_to"] = {"$ref": "#/$defs/AppliesTo", "description": about}
    if name == "Examples":
        for field in properties.values():
            field["items"] = {"$ref": "#/$defs/Reading"}
    definition.update(_DEMANDS.get(name, {}))


def _applies_to() -> Schema:
    fields = {f.name: {"enum": _as_read(f.choices)} for f in FIELDS.values() if f.choices} | {"refrigerant": SCALAR}
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {
            name: {
                "anyOf": [word, {"type": "array", "minItems": 1, "items": word}],
                "description": FIELDS[name].about,
            }
            for name, word in fields.items()
        },
    }


def _as_read(words: tuple[str, ...]) -> list[str | bool]:
    """Return words, and the truth values that readers of YAML 1.1 take some of them for."""
    truths = [truth for truth, word in ((True, "yes"), (False, "no"), (True, "on"), (False, "off")) if word in words]
    return [*words, *truths]


def _conditions(stack: Stack) -> Schema:
    """Return what `when` may hold: any quantity or check; those that are known here are named, to be completed."""
    known = {name: info.about for name, info in QUANTITIES.items()}
    known |= {name: check.entry.ask for name, check in stack.checks.items()}
    test = {"$ref": "#/$defs/Test"}
    return {
        "type": "object",
        "properties": {name: {**test, "description": about} for name, about in known.items()},
        "additionalProperties": test,
    }


def _weights(stack: Stack) -> Schema:
    weight = {"$ref": "#/$defs/Weight"}
    known = {name: {**weight, "description": fault.entry.title} for name, fault in stack.faults.items()}
    return {"type": "object", "properties": known, "additionalProperties": weight}


def _reading() -> Schema:
    """Return the fields a reading may have; what else stands there is a check."""
    fields: Schema = {f.name: {"description": f.about} for f in FIELDS.values()}
    return {"type": "object", "properties": fields | {name: {"description": _NESTED[name]} for name in NESTED}}


def _change(definitions: dict[str, Schema]) -> Schema:
    """Return what a change of an entry may say: any value of any kind of entry, and a note."""
    options: dict[str, list[Schema]] = {}
    for model in KINDS.values():
        for name, value in definitions[model.__name__]["properties"].items():
            part = _part(value, definitions)
            if part not in options.setdefault(name, []):
                options[name].append(part)
    several = {"description": "as in an entry of the kind that is changed"}
    properties = {
        name: found[0] if len(found) == 1 else {**several, "anyOf": found} for name, found in sorted(options.items())
    }
    definitions["Change"] = {
        "type": "object",
        "description": "the values that differ, and a note that says why",
        "additionalProperties": False,
        "required": ["note"],
        "properties": properties,
    }
    return {"$ref": "#/$defs/Change"}


_WHOLE_ONLY: Final = ("required", "minProperties", "minItems", "anyOf", "oneOf", "dependentSchemas", "not")


def _part(node: Schema, definitions: dict[str, Schema]) -> Schema:
    """Return the schema of a part of what a schema describes: nothing in it is required, lists apart."""
    if "$ref" in node:
        name = node["$ref"].rpartition("/")[2]
        rest = {key: value for key, value in node.items() if key not in _WHOLE_ONLY}
        if name not in definitions or name == "Weight":  # the same in parts and in the whole
            return rest
        if f"{name}Part" not in definitions:
            definitions[f"{name}Part"] = {}
            definitions[f"{name}Part"] = _part(definitions[name], definitions)
        return {**rest, "$ref": f"#/$defs/{name}Part"}
    if node.get("type") == "object":
        out = {key: value for key, value in node.items() if key not in _WHOLE_ONLY}
        for named in ("properties", "patternProperties"):
            if named in out:
                out[named] = {name: _part(value, definitions) for name, value in out[named].items()}
        if isinstance(out.get("additionalProperties"), dict):
            out["additionalProperties"] = _part(out["additionalProperties"], definitions)
        return out
    if "anyOf" in node:
        return {**node, "anyOf": [_part(each, definitions) for each in node["anyOf"]]}
    return {key: value for key, value in node.items() if key != "minItems"}


if __name__ == "__main__":
    main()
