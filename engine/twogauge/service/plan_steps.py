"""The steps of a plan as data: their order, and what is wrong with them. Values are filled in elsewhere (plan.py).

A name in braces is replaced by text from a fixed list (PLAN_VALUES of packs/words.py); nothing is formatted.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from twogauge.errors import did_you_mean, shown
from twogauge.packs.words import PLAN_VALUES

NAMED: Final = re.compile(r"\{([^{}]*)\}")
TEXTS: Final = ("do", "why", "passes", "command", "record")


def in_order(steps: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """Return the steps in the order in which they are done.

    Args:
        steps: of a plan; one with `after` stands behind the step it names, later ones of these behind earlier ones.
    """
    found = [name for name, step in steps.items() if step.after is None or step.after not in steps]
    waiting = [name for name in steps if name not in found]
    while waiting:
        placed = [name for name in waiting if steps[name].after in found]
        if not placed:  # they follow each other in a circle, which the check tells
            return [(name, steps[name]) for name in (*found, *waiting)]
        for name in placed:
            place = found.index(steps[name].after) + 1
            while place < len(found) and _follows(found[place], steps[name].after, steps):
                place += 1
            found.insert(place, name)
            waiting.remove(name)
    return [(name, steps[name]) for name in found]


def _follows(name: str, step: str, steps: Mapping[str, Any]) -> bool:
    """Tell whether a step was placed behind another by `after`, at whatever remove."""
    while steps[name].after in steps:
        name = steps[name].after
        if name == step:
            return True
    return False


def check_plan(entry: Any) -> Iterator[tuple[tuple[str, ...], str, str]]:
    """Yield what is wrong with a plan: the path, the code and a sentence.

    Args:
        entry: of the section `plans`, validated in its form.
    """
    for name, step in entry.steps.items():
        for key in TEXTS:
            text = getattr(step, key)
            if text is not None:
                for message in _wrong_names(text):
                    yield ("steps", name, key), "plan", message
        if step.after is not None and step.after not in entry.steps:
            near = did_you_mean(step.after, entry.steps, 1)
            hint = f"; did you mean {near[0]!r}?" if near else ""
            yield ("steps", name, "after"), "plan", f"{shown(step.after)} is no step of this plan{hint}"
        elif _in_a_circle(name, entry.steps):
            yield ("steps", name, "after"), "plan", f"{name!r} follows itself; leave out 'after' in one of the steps"


def _wrong_names(text: str) -> Iterator[str]:
    for match in NAMED.finditer(text):
        if match[1] not in PLAN_VALUES:
            near = did_you_mean(match[1], PLAN_VALUES, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(PLAN_VALUES)}"
            yield f"{shown(match[1])} is not a value that a plan knows; {hint}"
    if re.search("[{}]", NAMED.sub("", text)):
        yield "braces hold the name of one value, such as {refrigerant}, and nothing else"


def _in_a_circle(name: str, steps: Mapping[str, Any]) -> bool:
    seen = {name}
    step = steps[name].after
    while step in steps:
        if step in seen:
            return bool(step == name)
        seen.add(step)
        step = steps[step].after
    return False
