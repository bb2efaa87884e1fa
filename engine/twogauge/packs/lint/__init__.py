"""What loads and is still likely a mistake: found by looking at the rules alone, without any reading.

Each module holds the findings of one theme; a finding is a function from the packs to problems. To add one, write it
there, name it in FINDINGS, and describe its code (packs/codes/).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

from twogauge.packs.lint import conditions, evidence, prose, together
from twogauge.packs.lint.subject import Subject
from twogauge.packs.problems import Problem

__all__ = ["FINDINGS", "Subject", "lint"]

FINDINGS: Final[tuple[Callable[[Subject], Iterator[Problem]], ...]] = (
    conditions.beyond_reach,
    conditions.soft_edges,
    together.applies_to_against_conditions,
    together.arithmetic,
    together.levels,
    together.elsewhere,
    evidence.hidden,
    evidence.silenced,
    evidence.weights,
    evidence.sources,
    evidence.unused,
    prose.contradictions,
)


def lint(subject: Subject) -> Iterator[Problem]:
    """Yield every finding, in no particular order."""
    for finding in FINDINGS:
        yield from finding(subject)
