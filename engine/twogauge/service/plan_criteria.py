"""Which criterion counts at a step where published ones disagree: the shop's own, else the strictest for the gauge at hand.

The strictest is the default because nobody is sent on who would fail another; a shop that wants less says so in its pack.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from twogauge.service.criteria import Criterion, criteria_for

if TYPE_CHECKING:
    from twogauge.packs.in_force import Stack

GAUGES: Final = ("any", "dial", "vacuum_gauge")


@dataclass(frozen=True, slots=True)
class Choice:
    """What counts by default for one test with one kind of gauge.

    Attributes:
        criterion: that counts.
        why: it and not another; "" where there is no other.
        others: published beside it, the strictest first.
    """

    criterion: Criterion
    why: str
    others: tuple[Criterion, ...]


def choices(stack: Stack, test: str, system: str | None) -> tuple[Choice, ...]:
    """Return what counts by default for a test, once for each kind of gauge that some criterion is meant for.

    Args:
        stack: the packs in force.
        test: one of CRITERION_TESTS (packs/words.py).
        system: the kind of machine, or None.
    """
    fitting = criteria_for(stack, test, system=system)
    groups = [[each for each in fitting if each.gauge == gauge] for gauge in GAUGES]
    return tuple(_choice(group) for group in groups if group)


def _choice(group: list[Criterion]) -> Choice:
    *others, chosen = group
    if chosen.ours:
        why = "set by the shop, so no published one counts"
    elif not others:
        why = ""
    elif all(_covers(chosen, other) for other in others):
        why = "the strictest that was published: what passes it passes the others"
    else:
        why = "the strictest limit that was published"
    return Choice(chosen, why, tuple(reversed(others)))


def _covers(strict: Criterion, other: Criterion) -> bool:
    """Tell whether whatever passes the one passes the other: no higher a limit, for no shorter a time."""
    pairs = [
        (strict.reaches, other.reaches),
        (strict.rises, other.rises),
        (strict.stays_below, other.stays_below),
        (other.within, strict.within),
    ]
    return all((math.isnan(a) and math.isnan(b)) or a <= b for a, b in pairs)
