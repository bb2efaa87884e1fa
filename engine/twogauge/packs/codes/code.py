"""What is told about one kind of problem: how grave it is, what it means, and an example of each side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Code:
    """One kind of problem.

    An example is a whole file of a pack, lines of one rule, or, where neither can show it, commands that begin
    with `$` and are run in the folder of a pack.

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
