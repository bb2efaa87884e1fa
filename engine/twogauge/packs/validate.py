"""Holds a tree against a model, and puts pydantic's complaints in our words, each with its place."""

from __future__ import annotations

from collections.abc import Sequence
from types import UnionType
from typing import Annotated, Any, Final, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from twogauge.errors import did_you_mean, shown
from twogauge.packs import yamlfile
from twogauge.packs.problems import MOST_HINTS, Place, Problem


def validate(
    model: type[BaseModel],
    node: yamlfile.Mapping,
    problems: list[Problem],
    *,
    key_place: Place | None = None,
) -> BaseModel | None:
    """Return the model filled from the tree, or None and one problem more for each thing that is wrong.

    Args:
        model: what the entry should look like.
        node: the entry.
        problems: taken further.
        key_place: where the entry's own key stands; a missing key of it is told there.
    """
    try:
        return model.model_validate(yamlfile.plain(node))
    except ValidationError as error:
        every = error.errors(include_url=False)
    meant = {
        (*each["loc"][:-1], near)
        for each in every[:MOST_HINTS]
        if each["type"] == "extra_forbidden"
        for near in did_you_mean(str(each["loc"][-1]), _keys_at(model, each["loc"][:-1]), 1)
    }
    for number, each in enumerate(every):
        if each["type"] == "missing" and tuple(each["loc"]) in meant:
            continue  # it is there, misspelled, and that is said
        problems.append(_as_problem(model, node, each, key_place, hints=number < MOST_HINTS))
    return None


def salvage(model: type[BaseModel], node: yamlfile.Mapping) -> BaseModel | None:
    """Return the model filled from what is sound in the tree, so that the rest of it can be looked at as well.

    What is wrong is left out, and what is missing is made up: nothing but names and conditions may be read off it.

    Args:
        model: what the entry should look like.
        node: an entry that `validate` refused.

    Returns:
        None where too little is left of it.
    """
    content: Any = yamlfile.plain(node)
    for _ in range(_TRIES):
        try:
            return model.model_validate(content)
        except ValidationError as error:
            every = error.errors(include_url=False)
        for each in every:
            path = tuple(step for step in each["loc"] if step != "[key]")
            if each["type"] == "missing":
                _make_up(content, path)
            elif path[:1] in {("says",), ("otherwise",)} and len(path) == 2:
                content[path[0]][path[1]] = "for"  # the name is still worth a look
            else:
                _leave_out(content, path)
    return None


_TRIES: Final = 4
_MADE_UP: Final[dict[str, Any]] = {"examples": {"holds": [{}], "does_not_hold": [{}]}, "silences": []}
_TEXT: Final = "common"  # will do for every other key


def _make_up(content: Any, path: tuple[str | int, ...]) -> None:
    if len(path) > 1 or path[0] in {"says", "when"}:
        _leave_out(content, path[:-1])
    else:
        content[path[0]] = _MADE_UP.get(str(path[0]), _TEXT)


def _leave_out(content: Any, path: tuple[str | int, ...]) -> None:
    *above, last = path or ("",)
    here = content
    for step in above:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            return
    if isinstance(here, dict):
        here.pop(last, None)
    elif isinstance(here, list) and isinstance(last, int) and last < len(here):
        del here[last]


def _as_problem(
    model: type[BaseModel], node: yamlfile.Mapping, error: Any, key_place: Place | None, *, hints: bool
) -> Problem:
    path, kind = tuple(error["loc"]), error["type"]
    label = ".".join(str(step) for step in path if step != "[key]")
    if kind == "extra_forbidden":
        known = _keys_at(model, path[:-1])
        near = did_you_mean(str(path[-1]), known) if hints else ()
        hint = f"did you mean {' or '.join(repr(n) for n in near)}?" if near else f"known here: {', '.join(known)}"
        message = f"{shown(path[-1])} is not a key here; {hint}"
        return Problem(yamlfile.locate(node, path, key=True), "unknown-key", message)
    if kind == "too_long" or (kind == "missing" and isinstance(path[-1], int)):
        path = path if kind == "too_long" else path[:-1]
        message = f"{'.'.join(map(str, path))}: two values belong here, such as [15 K, 30 K]"
        return Problem(yamlfile.locate(node, path), "value", message)
    if kind == "missing":
        place = yamlfile.locate(node, path[:-1], key=True) if len(path) > 1 else (key_place or node.place)
        code = {"source": "no-source", "examples": "no-examples"}.get(str(path[-1]), "missing-key")
        return Problem(place, code, f"{path[-1]!r} is missing here; add it{_what(model, path)}")
    place = yamlfile.locate(node, path)
    if kind == "value_error":
        wrong = error["ctx"]["error"]
        return Problem(place, getattr(wrong, "code", "value"), f"{label}: {wrong}" if label else str(wrong))
    if kind == "string_pattern_mismatch":
        return Problem(place, "id", f"{label}: not an id; use small letters and digits, words joined by _")
    return Problem(place, "value", f"{label}: {_plainly(kind, error)}")


def _plainly(kind: str, error: Any) -> str:
    if kind in {"dict_type", "model_type", "model_attributes_type", "mapping_type"}:
        return "lines of 'key: value' belong here"
    if kind in {"tuple_type", "list_type"}:
        return "a list belongs here, such as [one, two]"
    if kind == "string_type":
        return "a text belongs here"
    if kind in {"string_too_short", "too_short"}:
        return "something is missing here; write it out"
    return str(error["msg"]).lower()


def takes_several(model: type[BaseModel], path: Sequence[str]) -> bool:
    """Return whether a list of any length belongs where `path` leads, by the models."""
    here: Any = model
    for step in path:
        if isinstance(here, type) and issubclass(here, BaseModel):
            found = next((f for n, f in here.model_fields.items() if step in {n, f.alias}), None)
            here = None if found is None else _bare(found.annotation)
        else:
            here = _bare(get_args(here)[1]) if get_origin(here) is dict else None
    return get_origin(here) is tuple and get_args(here)[-1:] == (Ellipsis,)


def _bare(annotation: Any) -> Any:
    """Return an annotation without what is said beside it, and without None."""
    if get_origin(annotation) is Annotated:
        return _bare(get_args(annotation)[0])
    if get_origin(annotation) in {Union, UnionType}:
        return _bare(next(part for part in get_args(annotation) if part is not type(None)))
    return annotation


def _keys_at(model: type[BaseModel], path: Sequence[str | int]) -> list[str]:
    """Return the keys allowed where `path` leads; by the models, since the file may not have them."""
    here: Any = model
    names_are_free = False
    for step in path:
        if names_are_free or isinstance(step, int):
            names_are_free = False
            continue
        found = next((f for n, f in getattr(here, "model_fields", {}).items() if step in {n, f.alias}), None)
        here = None if found is None else _inner_model(found.annotation)
        names_are_free = found is not None and get_origin(found.annotation) is dict
    fields = getattr(here, "model_fields", {})
    return [f.alias or n for n, f in fields.items()]


def _what(model: type[BaseModel], path: Sequence[str | int]) -> str:
    """Return what a missing key of the entry holds, as the models describe it."""
    field_info = model.model_fields.get(str(path[0])) if len(path) == 1 else None
    return f": {field_info.description}" if field_info is not None and field_info.description else ""


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _inner_model(part)
        if found is not None:
            return found
    return None
