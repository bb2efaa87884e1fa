"""What the leader leaves over: a second fault that explains the rest, or one reading that, if wrong, explains it all.

Both are read off the same weighing. The leader's remainder is what the topics could be explained by better:
    remainder(f) = sum over topics of max(0, best weight in the topic - weight of f in it)  [decibans].
A second fault g is worth a word if, each sight being put down to whichever of the two explains it better, the pair
gains more than a second fault costs:
    gain = sum over topics of max(w_f, w_g) - w_f;  cost = prior of nothing wrong - prior of g.
A reading is suspected if, without it, the rest fits one hypothesis far better.

Computed on demand, not within a diagnosis. Knows no fault, check or field by name, but for the two service ports.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from twogauge.columns import NO_WORD, Columns, Floats, Words
from twogauge.diagnosis import columns_of
from twogauge.fields import DEFAULT_ACCURACY, FIELDS, INSTRUMENTS
from twogauge.packs.compile import Program
from twogauge.reading import Reading
from twogauge.weigh import Ledger, Verdict, topic_weights, weigh_chunk

STRONG: Final = 6.0  # [decibans] a remainder worth looking for a cause of its own
SETTLED: Final = 5.0  # [decibans] a remainder that is none
_GAIN: Final = 6.0  # [decibans] a second fault must explain at least this much
_AT_MOST: Final = 3
# What a machine is, in contrast to what was read off it: left out, nothing would be a misreading.
_DESCRIPTIONS: Final = frozenset({"refrigerant", *(f.name for f in FIELDS.values() if f.choices)} - {"doors"})


@dataclass(frozen=True, slots=True)
class SecondFault:
    """A fault beside the leader.

    Attributes:
        fault: id.
        gain: [decibans] what the pair explains better than the leader alone.
        odds: [decibans] for the pair against the leader alone, the second one's rarity counted.
    """

    fault: str
    gain: float
    odds: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading that, if it is wrong, explains everything.

    Attributes:
        names: the field or check, or both ports where they may be swapped.
        swapped: whether the two values were tried in each other's place.
        fault: id of what leads without it.
        probability: of that.
        remainder: [decibans] what is left over without it.
    """

    names: tuple[str, ...]
    swapped: bool
    fault: str
    probability: float
    remainder: float


@dataclass(frozen=True, slots=True)
class Second:
    """What the leader leaves over, and what may be behind it.

    Attributes:
        remainder: [decibans] of the leader.
        faults: second faults, best first; empty where nothing strong is left over.
        suspects: readings to look at again, best first.
    """

    remainder: float
    faults: tuple[SecondFault, ...]
    suspects: tuple[Suspect, ...]


def second(reading: Reading, program: Program) -> Second:
    """Look for what explains the leader's remainder.

    Raises:
        ReadingError: a check or an answer that no pack knows.
    """
    reading.validate_checks(program.answers)
    columns = columns_of([reading])
    weighed, ledger = weigh_chunk(columns, program)
    topics = topic_weights(ledger)[:, :, 0]
    possible = weighed.probability[0] > 0.0
    leader = int(weighed.leader[0])
    left = _remainder(topics, possible, leader)
    gated = bool((np.fmax(ledger.gate_degree[:, 0], 0.0) > 0.5).any())
    if gated or left < STRONG:  # two ports in each other's place are a gate of their own
        return Second(left, (), _suspects(columns, program, left, swap_only=True) if _turned_round(columns) else ())
    return Second(left, _second_faults(program, topics, possible, leader), _suspects(columns, program, left))


def _remainder(topics: Floats, possible: np.ndarray, leader: int) -> float:
    """Return what is left over of `topics`, shape (topics, hypotheses)."""
    if not topics.size:
        return 0.0
    best = np.where(possible, topics, -np.inf).max(axis=1)
    return float(np.maximum(best - topics[:, leader], 0.0).sum())


def _second_faults(program: Program, topics: Floats, possible: np.ndarray, leader: int) -> tuple[SecondFault, ...]:
    hypotheses = program.hypotheses
    if hypotheses[leader].nothing_wrong:
        return ()
    faults = program.stack.faults
    first = hypotheses[leader].id
    sound = next(h.prior for h in hypotheses if h.nothing_wrong)
    found = []
    for i, other in enumerate(hypotheses):
        excluded = other.id in faults[first].entry.excludes or first in faults[other.id].entry.excludes
        if i == leader or other.nothing_wrong or not possible[i] or excluded:
            continue
        gain = float(np.maximum(topics[:, i] - topics[:, leader], 0.0).sum())
        odds = gain - (sound - other.prior)
        if gain >= _GAIN and odds > 0.0:
            found.append(SecondFault(other.id, gain, odds))
    return tuple(sorted(found, key=lambda s: (-s.odds, s.fault))[:_AT_MOST])


def _suspects(columns: Columns, program: Program, left: float, *, swap_only: bool = False) -> tuple[Suspect, ...]:
    """Weigh the reading without each of its values, and with the two ports swapped, all in one column."""
    trials = [trial for trial in _trials(columns) if len(trial[0]) == 2 or not swap_only]
    if not trials:
        return ()
    weighed, ledger = weigh_chunk(_side_by_side(columns, trials), program)
    found = []
    for row, (names, _, _) in enumerate(trials):
        swapped = len(names) == 2
        if weighed.verdict[row] in (Verdict.GATED, Verdict.NOT_ENOUGH, Verdict.TOO_CLOSE):
            continue
        leader = int(weighed.leader[row])
        rest = _remainder(_topics_of(ledger, row), weighed.probability[row] > 0.0, leader)
        if rest <= SETTLED and (swapped or left - rest >= STRONG - 2.0):
            probability = float(weighed.probability[row, leader])
            found.append(Suspect(names, swapped, program.hypotheses[leader].id, probability, rest))
    return tuple(sorted(found, key=lambda s: (s.remainder, -s.probability, s.names))[:_AT_MOST])


def _topics_of(ledger: Ledger, row: int) -> Floats:
    part = replace(ledger, contribution=ledger.contribution[:, row : row + 1])
    return topic_weights(part)[:, :, 0]


def _turned_round(columns: Columns) -> bool:
    """Whether the low side reads above the high side, so that the two may be in each other's place."""
    low, high = (columns.numbers.get(port) for port in ("low_side", "high_side"))
    return low is not None and high is not None and bool(low[0] > high[0])


_Trial = tuple[tuple[str, ...], Mapping[str, float], Mapping[str, None]]


def _trials(columns: Columns) -> list[_Trial]:
    """Return (names, numbers to put, words to drop); NaN drops a number."""
    names = {n.partition(".")[0] for n in columns.numbers if not n.startswith(("spec.", "baseline."))}
    names = {n for n in names if FIELDS[n].dimension is not None and n not in (*DEFAULT_ACCURACY, *INSTRUMENTS)}
    names |= set(columns.words) - _DESCRIPTIONS
    trials: list[_Trial] = []
    for name in sorted(names):
        gone = {n: float("nan") for n in columns.numbers if n == name or n.startswith(f"{name}.")}
        trials.append(((name,), gone, {name: None} if name in columns.words else {}))
    if _turned_round(columns):
        low, high = (columns.numbers[port] for port in ("low_side", "high_side"))
        trials.append((("low_side", "high_side"), {"low_side": float(high[0]), "high_side": float(low[0])}, {}))
    return trials


def _side_by_side(columns: Columns, trials: list[_Trial]) -> Columns:
    n = len(trials)
    numbers = {name: np.repeat(values, n) for name, values in columns.numbers.items()}
    codes = {name: np.repeat(w.codes, n) for name, w in columns.words.items()}
    for row, (_, put, drop) in enumerate(trials):
        for name, value in put.items():
            numbers[name][row] = value
        for name in drop:
            codes[name][row] = NO_WORD
    words = {name: Words(codes[name], w.values) for name, w in columns.words.items()}
    return Columns(n, numbers, words, np.repeat(columns.barometer, n), np.repeat(columns.barometer_uncertainty, n))
