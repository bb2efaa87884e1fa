"""One entry laid over another: replacing the leaves that a change names, or adding to the lists that stand there.

Trees in, trees out, each leaf with the place it was written at. Who may change what is stack.py's business.
"""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import BaseModel

from twogauge.packs import yamlfile
from twogauge.packs.problems import Place, Problem
from twogauge.packs.validate import takes_several

Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One value that changes: where it is, what was there, what comes, and where that is written."""

    path: Path
    before: yamlfile.Node | None
    after: yamlfile.Node
    place: Place


def replaced(base: yamlfile.Mapping, change: yamlfile.Mapping) -> tuple[yamlfile.Mapping, list[Step]]:
    """Replace the leaves that `change` names and keep the rest; a `note` at its top is no step."""
    steps = [Step(path, _at(base, path), node, place) for path, node, place in leaves(change) if path != ("note",)]
    return _merged(base, change), steps


def extended(
    base: yamlfile.Mapping, more: yamlfile.Mapping, model: type[BaseModel]
) -> tuple[yamlfile.Mapping, list[Step], list[Problem]]:
    """Add to the lists and to the named texts of an entry; nothing that stands there is touched.

    Args:
        base: the entry.
        more: what to add, in the shape of the entry; a `note` at its top is passed over.
        model: what the entry should look like; it knows which keys hold lists.

    Returns:
        the entry, what was added, and what is wrong with it.
    """
    steps: list[Step] = []
    problems: list[Problem] = []

    def walk(old: yamlfile.Mapping, new: yamlfile.Mapping, path: Path) -> yamlfile.Mapping:
        entries = dict(old.entries)
        for name, entry in new.entries.items():
            here = (*path, name)
            if here == ("note",):
                continue
            there = entries.get(name) or _of_default(model, here, entry)
            if there is None:
                entries[name] = entry
                steps.append(Step(here, None, entry.value, entry.key_place))
            elif takes_several(model, here):
                items = _items(there.value)
                problems.extend(_repeated(here, items, _items(entry.value)))
                start = there.value.place
                joined = yamlfile.Sequence(start.path, start.line, start.column, items + _items(entry.value))
                entries[name] = yamlfile.Entry(there.key, joined)
                steps.append(Step(here, there.value, entry.value, entry.key_place))
            elif isinstance(there.value, yamlfile.Mapping) and isinstance(entry.value, yamlfile.Mapping):
                entries[name] = yamlfile.Entry(there.key, walk(there.value, entry.value, here))
            else:
                message = f"{'.'.join(here)} already stands at {there.key_place} and is no list; use 'adjust' to "
                problems.append(Problem(entry.key_place, "extend", f"{message}change it"))
        return yamlfile.Mapping(old.path, old.line, old.column, entries)

    return walk(base, more, ()), steps, problems


def _of_default(model: type[BaseModel], path: Path, entry: yamlfile.Entry) -> yamlfile.Entry | None:
    """Return what stands there unwritten, such as the answers yes and no of a check; None where nothing does."""
    field = model.model_fields.get(path[0]) if len(path) == 1 else None
    default = field.get_default(call_default_factory=True) if field is not None else None
    if not isinstance(default, dict) or not default:
        return None
    place = entry.key

    def scalar(text: str) -> yamlfile.Scalar:
        return yamlfile.Scalar(place.path, place.line, place.column, text, quoted=True)

    entries = {name: yamlfile.Entry(scalar(name), scalar(text)) for name, text in default.items()}
    return yamlfile.Entry(entry.key, yamlfile.Mapping(place.path, place.line, place.column, entries))


def leaves(node: yamlfile.Mapping, path: Path = ()) -> list[tuple[Path, yamlfile.Node, Place]]:
    """Return path, value and place of the key of everything below that is no mapping."""
    found = []
    for name, entry in node.entries.items():
        if isinstance(entry.value, yamlfile.Mapping):
            found.extend(leaves(entry.value, (*path, name)))
        else:
            found.append(((*path, name), entry.value, entry.key_place))
    return found


def _merged(base: yamlfile.Mapping, change: yamlfile.Mapping) -> yamlfile.Mapping:
    entries = dict(base.entries)
    for name, entry in change.entries.items():
        old = entries.get(name)
        if old is not None and isinstance(old.value, yamlfile.Mapping) and isinstance(entry.value, yamlfile.Mapping):
            entries[name] = yamlfile.Entry(old.key, _merged(old.value, entry.value))
        else:
            entries[name] = entry
    return yamlfile.Mapping(base.path, base.line, base.column, entries)


def _at(node: yamlfile.Node, path: Path) -> yamlfile.Node | None:
    here: yamlfile.Node | None = node
    for step in path:
        here = here.get(step) if isinstance(here, yamlfile.Mapping) else None
    return here


def _items(node: yamlfile.Node) -> tuple[yamlfile.Node, ...]:
    return node.items if isinstance(node, yamlfile.Sequence) else (node,)


def _repeated(path: Path, old: tuple[yamlfile.Node, ...], new: tuple[yamlfile.Node, ...]) -> list[Problem]:
    """Say so where something is added that is there already."""
    known: dict[str, Place] = {}
    problems = []
    for item in (*old, *new):
        if not isinstance(item, yamlfile.Scalar):
            continue
        text = " ".join(item.text.split())
        if text in known and item in new:
            message = f"{'.'.join(path)} already holds this, at {known[text]}; leave it out"
            problems.append(Problem(item.place, "extend", message))
        known.setdefault(text, item.place)
    return problems
