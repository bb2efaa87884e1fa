"""What is told about one kind of problem: how grave it is, what it means, and an example of each side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

ABOUT: Final = (
    "The examples stand on a small pack, ground: faults leak and dirt, check glass (clear or bubbles), rules high_far and "
    "glass_bubbles (once glass_foams), gate cold, band high_usual, caution gloves."
)


@dataclass(frozen=True, slots=True)
class Code:
    """One kind of problem.

    An example is a whole file of a pack; or several, each after a line `# FOLDER/FILE.yaml:`; or lines of one rule;
    or, where none of them can show it, a command that begins with `$` and is run in the folder of a pack. All stand on
    a small pack (ABOUT tells what is in it).

    Attributes:
        name: stable; programs and `twogauge rules explain` know the problem by it.
        meaning: one sentence or two: what is wrong, and why it matters.
        bad: an example that has it.
        good: the same without it.
        severity: an error stops a diagnosis, a warning does not.
    """

    name: str
    meaning: str
    bad: str
    good: str
    severity: Literal["error", "warning"] = "error"
