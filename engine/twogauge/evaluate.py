"""How often the rules are right on labelled cases, and in which way they are wrong.

All cases go through the core side by side, the way every reading goes. Five outcomes are told apart, after the
published method for evaluating fault-detection protocols (D. P. Yuill and J. E. Braun, HVAC&R Research 19(7), 2013;
from memory):

    correct            what the answer names was published
    false alarm        nothing was wrong, and a fault was named
    misdiagnosis       something was wrong, and another fault was named
    missed detection   something was wrong, and nothing was found wrong
    no response        the answer names nothing: not enough to say, or a gate is shut

What an answer names: `fault` and `normal` name the leader. `too_close` names two, the leader and the next of its
close set, since that is what a person is sent to look at; a third would make a list out of an answer. It is correct
if one of the two was published (so "a fault, or nothing" is no false alarm on a sound machine, nor a missed detection
on a faulty one if that fault is the published one); if neither was, the leader alone says which error it is.

A case is normal if the first cause published for it is that nothing is wrong, and faulty otherwise. Rates are shares
of all normal cases (correct, false alarm, no response) and of all faulty ones (correct, misdiagnosis, missed
detection, no response), so each group sums to 1 and staying silent never betters a rate; with the counts anybody can
divide by the answered cases instead.

First and within three look at the ranking alone, whatever the verdict. Nothing here changes a rule.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from twogauge.cases import Case
from twogauge.diagnosis import columns_of
from twogauge.packs.compile import Program
from twogauge.weigh import TOO_CLOSE, Verdict, Weighed, weigh_columns

CORRECT: Final = "correct"
FALSE_ALARM: Final = "false_alarm"
MISDIAGNOSIS: Final = "misdiagnosis"
MISSED_DETECTION: Final = "missed_detection"
NO_RESPONSE: Final = "no_response"
OF_NORMAL: Final = (CORRECT, FALSE_ALARM, NO_RESPONSE)
OF_FAULTY: Final = (CORRECT, MISDIAGNOSIS, MISSED_DETECTION, NO_RESPONSE)

NAMED_AT_MOST: Final = 2  # of a close set; see the top
LEADERS: Final = 3
BINS: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)  # edges of the calibration table


@dataclass(frozen=True, slots=True)
class Judged:
    """One case with its answer.

    Attributes:
        case: what was asked.
        rank: [1] best place of a published cause in the ranking, from 1.
        verdict: of the answer.
        leaders: (hypothesis, probability [1]) of the first three, most probable first.
        named: what the answer names; empty for no response.
        outcome: one of the five.
        normal: whether nothing was wrong.
    """

    case: Case
    rank: int
    verdict: str
    leaders: tuple[tuple[str, float], ...]
    named: tuple[str, ...]
    outcome: str
    normal: bool

    @property
    def answer(self) -> str:
        """The one hypothesis the answer stands for: a published one if it is named, else the leader; "" for none."""
        right = [name for name in self.named if name in self.case.faults]
        return (*right, *self.named, "")[0]


@dataclass(frozen=True, slots=True)
class Bin:
    """One row of the calibration table.

    Attributes:
        low, high: [1] stated probability of the leader, from `low` on and below `high` (the last bin holds 1).
        count: [1] how many cases.
        stated: [1] mean of their stated probabilities; 0 if there is none.
        right: [1] how many of these leaders were published.
    """

    low: float
    high: float
    count: int
    stated: float
    right: int


@dataclass(frozen=True, slots=True)
class Confused:
    """One cell of the confusion table.

    Attributes:
        published: the first published cause.
        named: what the answer stands for; "" for no response.
        outcome: correct also where `named` is a further published cause.
        count: [1] how many cases.
    """

    published: str
    named: str
    outcome: str
    count: int


@dataclass(frozen=True, slots=True)
class Evaluation:
    """The answers to all cases.

    Attributes:
        judged: in the order of the files.
        packs: (name, edition) of each pack in force.
    """

    judged: tuple[Judged, ...]
    packs: tuple[tuple[str, int], ...]

    @property
    def normal(self) -> tuple[Judged, ...]:
        """The cases with nothing wrong."""
        return tuple(j for j in self.judged if j.normal)

    @property
    def faulty(self) -> tuple[Judged, ...]:
        """The cases with something wrong."""
        return tuple(j for j in self.judged if not j.normal)

    def within(self, rank: int) -> int:
        """Return how many cases have a published cause among the first `rank` [1] of the ranking."""
        return sum(j.rank <= rank for j in self.judged)

    def confusion(self) -> tuple[Confused, ...]:
        """Return the cells that are not empty, by published cause, the most frequent answer first."""
        cells = Counter((j.case.faults[0], j.answer, j.outcome) for j in self.judged)
        order = sorted(cells.items(), key=lambda item: (item[0][0], -item[1], item[0]))
        return tuple(Confused(*cell, count) for cell, count in order)

    def calibration(self) -> tuple[Bin, ...]:
        """Return how often the leader was right, by the probability stated for it; every case is in one bin."""
        rows = []
        for low, high in pairwise(BINS):
            mine = [j for j in self.judged if low <= j.leaders[0][1] < high or high == BINS[-1] == j.leaders[0][1]]
            stated = [j.leaders[0][1] for j in mine]
            right = sum(j.rank == 1 for j in mine)
            rows.append(Bin(low, high, len(mine), sum(stated) / len(mine) if mine else 0.0, right))
        return tuple(rows)


def counts(judged: Sequence[Judged], outcomes: Sequence[str]) -> dict[str, int]:
    """Return how many of the cases [1] had each outcome."""
    found = Counter(j.outcome for j in judged)
    return {outcome: found[outcome] for outcome in outcomes}


def evaluate(cases: Sequence[Case], program: Program) -> Evaluation:
    """Answer every case, all in one go.

    Raises:
        ValueError: no case at all.
    """
    weighed = weigh_columns(columns_of([case.reading for case in cases]), program)
    nothing_wrong = {h.id for h in program.hypotheses if h.nothing_wrong}
    judged = tuple(_judge(case, weighed, row, nothing_wrong) for row, case in enumerate(cases))
    return Evaluation(judged, tuple((header.pack, header.edition) for header in program.stack.packs))


def _judge(case: Case, weighed: Weighed, row: int, nothing_wrong: set[str]) -> Judged:
    probability = weighed.probability[row]
    # Hypotheses are sorted by id, so that equal ones keep the order of the ranking of a diagnosis.
    order = np.argsort(-probability, kind="stable")
    ranking = [weighed.hypotheses[i] for i in order]
    verdict = Verdict(int(weighed.verdict[row]))
    leaders = tuple((weighed.hypotheses[i], float(probability[i])) for i in order[:LEADERS] if probability[i] > 0.0)
    named: tuple[str, ...] = ()
    if verdict in {Verdict.FAULT, Verdict.NORMAL}:
        named = (ranking[0],)
    elif verdict is Verdict.TOO_CLOSE:
        near = leaders[0][1] * 10.0 ** (-TOO_CLOSE / 10.0)
        named = tuple(name for name, chance in leaders if chance > near)[:NAMED_AT_MOST]
    normal = case.faults[0] in nothing_wrong
    rank = 1 + min(ranking.index(fault) for fault in case.faults)
    return Judged(case, rank, verdict.word, leaders, named, _outcome(case, named, normal, nothing_wrong), normal)


def _outcome(case: Case, named: tuple[str, ...], normal: bool, nothing_wrong: set[str]) -> str:
    if not named:
        return NO_RESPONSE
    if set(named) & set(case.faults):
        return CORRECT
    if normal:
        return FALSE_ALARM
    return MISSED_DETECTION if named[0] in nothing_wrong else MISDIAGNOSIS
