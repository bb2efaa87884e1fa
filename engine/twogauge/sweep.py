"""The weighing of many readings: what each rule says of each fault, settled within its topic and summed up.

It finds to the bit what weigh.py finds with a ledger, without keeping one. A rule says one thing as far as it holds
and another as far as it does not, and only one of the two is ever more than nothing. So each weight that is not zero
is a row by itself: a side of a rule, times the weight without its sign. What speaks for a fault within a topic is a
group of rows, what speaks against it another, and the strongest of a group is all that counts of it.

The rows stand in layers: the first of every group, the second of those that have one, and so on, the largest groups
first. A layer is then a block of rows over the beginning of the one before it, and nothing is gathered twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats

CACHE: Final = 2_000_000  # [byte] of weights worked on at a time; about what a core keeps at hand
LEAST: Final = 64  # readings worked on at a time at least, however many rules there are
_MANY_LAYERS: Final = 64  # rows of one group, from which a pass over all rows is quicker than layers

_Group = tuple[int, int, bool]  # topic, hypothesis, and whether it speaks for it
Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Sweep:
    """Weights laid out for the way above.

    Attributes:
        hypotheses: how many there are.
        side: shape (rows,), index into the sides of the rules: as far as each holds, then as far as each does not.
        weight: [decibans] shape (rows, 1), without sign.
        starts: where each layer begins; where each group does if the rows stand by groups instead.
        by_groups: whether they do.
        groups: how many there are; the row behind them is nothing at all.
        topic: shape (groups,), the topic of each.
        spoken: the hypotheses that anything is said of, those with the most topics first.
        speaks_for, speaks_against: for the first topic of each of them, then for the second and so on: the group, or
            the row of nothing.
        topics_of: how many hypotheses each of these steps is about.
    """

    hypotheses: int
    side: npt.NDArray[np.intp]
    weight: Floats
    starts: npt.NDArray[np.intp]
    by_groups: bool
    groups: int
    topic: npt.NDArray[np.intp]
    spoken: npt.NDArray[np.intp]
    speaks_for: npt.NDArray[np.intp]
    speaks_against: npt.NDArray[np.intp]
    topics_of: tuple[int, ...]

    def weights(self, degree: Floats, openness: Floats | None) -> Floats:
        """Return what all evidence together says of each hypothesis [decibans], shape (hypotheses, n).

        Args:
            degree: of each rule, shape (rules, n); NaN where it could not be judged.
            openness: shape (topics, n), how much of a topic's evidence the gates let through; None for all.
        """
        rules, n = degree.shape
        total = np.zeros((self.hypotheses, n))
        if not self.groups:
            return total
        sides = np.empty((2 * rules, n))
        np.multiply(degree, 2.0, out=sides[:rules])
        sides[:rules] -= 1.0
        np.negative(sides[:rules], out=sides[rules:])
        np.fmax(sides, 0.0, out=sides)
        strongest = np.zeros((self.groups + 1, n))
        size = max(LEAST, CACHE // (8 * len(self.side)))
        for start in range(0, n, size):
            self._take_strongest(sides[:, start : start + size], strongest[:-1, start : start + size])
        if openness is not None:  # the strongest stays the strongest, however much of it is let through
            strongest[:-1] *= openness[self.topic]
        settled = strongest[self.speaks_for]
        settled -= strongest[self.speaks_against]
        summed = settled[: self.topics_of[0]]
        start = self.topics_of[0]
        for count in self.topics_of[1:]:
            summed[:count] += settled[start : start + count]
            start += count
        total[self.spoken] = summed
        return total

    def _take_strongest(self, sides: Floats, out: Floats) -> None:
        """Put the strongest row of each group into `out`, shape (groups, n)."""
        rows = sides.take(self.side, axis=0)
        rows *= self.weight
        if self.by_groups:
            np.maximum.reduceat(rows, self.starts, axis=0, out=out)
            return
        ends = [*self.starts[1:].tolist(), len(rows)]
        out[:] = rows[: ends[0]]
        for start, end in zip(self.starts[1:].tolist(), ends[1:], strict=True):
            best = out[: end - start]
            np.maximum(best, rows[start:end], out=best)


def sweep_of(terms: Iterable[tuple[int, int, int, float, float]], rules: int, hypotheses: int) -> Sweep:
    """Lay weights out.

    Args:
        terms: topic, hypothesis and rule, and what the rule says [decibans] as far as it holds and as far as it does
            not.
        rules: how many there are.
        hypotheses: how many there are.
    """
    found: dict[_Group, list[tuple[int, float]]] = {}
    for topic, hypothesis, rule, says, otherwise in terms:
        for weight, side in ((says, rule), (otherwise, rules + rule)):
            if weight:
                found.setdefault((topic, hypothesis, weight > 0.0), []).append((side, abs(weight)))
    # Hypotheses of which the rules of a topic say the same share a group.
    shared = {frozenset(rows): topic for (topic, _, _), rows in found.items()}
    groups = sorted(shared, key=lambda rows: (-len(rows), sorted(rows)))
    place = {rows: i for i, rows in enumerate(groups)}
    members = [sorted(rows) for rows in groups]
    by_groups = bool(members) and len(members[0]) > _MANY_LAYERS
    layers = members if by_groups else _transposed(members)
    rows_in_order = [row for layer in layers for row in layer]

    nothing = len(groups)
    spoken: dict[int, list[tuple[int, int]]] = {}
    for topic, hypothesis in sorted({(topic, hypothesis) for topic, hypothesis, _ in found}):
        both = (found.get((topic, hypothesis, sign)) for sign in (True, False))
        in_favour, against = (nothing if rows is None else place[frozenset(rows)] for rows in both)
        spoken.setdefault(hypothesis, []).append((in_favour, against))
    order = sorted(spoken, key=lambda hypothesis: (-len(spoken[hypothesis]), hypothesis))
    steps = _transposed([spoken[hypothesis] for hypothesis in order])
    pairs = [pair for step in steps for pair in step]
    return Sweep(
        hypotheses,
        _indices(side for side, _ in rows_in_order),
        np.array([weight for _, weight in rows_in_order], dtype=np.float64).reshape(-1, 1),
        _indices([0, *np.cumsum([len(layer) for layer in layers])[:-1].tolist()]),
        by_groups,
        nothing,
        _indices(shared[rows] for rows in groups),
        _indices(order),
        _indices(one for one, _ in pairs),
        _indices(other for _, other in pairs),
        tuple(len(step) for step in steps),
    )


def _transposed(lists: Sequence[Sequence[Item]]) -> list[list[Item]]:
    """Return the first of each list, then the second of those that have one and so on; the longest lists come first."""
    return [[each[k] for each in lists if len(each) > k] for k in range(max(map(len, lists), default=0))]


def _indices(values: Iterable[int]) -> npt.NDArray[np.intp]:
    return np.array(list(values), dtype=np.intp)
