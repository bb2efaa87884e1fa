"""What is found wrong while entries are made sense of, gathered rather than raised."""

from __future__ import annotations

from collections.abc import Iterable

from twogauge.errors import did_you_mean, shown
from twogauge.packs.problems import MOST_HINTS, Place, Problem


class Complaints:
    """Gathers problems.

    Args:
        lost: names that stand in what could not be read; they are taken to exist.
    """

    def __init__(self, lost: frozenset[str] = frozenset()) -> None:
        self.found: list[Problem] = []
        self._lost = lost

    def problem(self, place: Place, code: str, message: str) -> None:
        """Note a problem."""
        self.found.append(Problem(place, code, message))

    def unknown(self, place: Place, kind: str, name: str, known: Iterable[str], code: str = "") -> None:
        """Note a name that nobody knows, with those that look like it; the code is unknown-KIND if not given."""
        if name in self._lost:
            return
        # Likely names take time to find, and nobody reads thousands of them.
        near = did_you_mean(name, known) if len(self.found) < MOST_HINTS else ()
        hint = f"; did you mean {' or '.join(repr(n) for n in near)}?" if near else ""
        self.problem(place, code or f"unknown-{kind}", f"{shown(name)} is not a {kind} known here{hint}")
