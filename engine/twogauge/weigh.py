"""From degrees to decibans to probabilities: the weighing of evidence, on columns of shape (n,).

A rule with degree d contributes e * max(0, 2d - 1) + e' * max(0, 1 - 2d) decibans to each fault it names. Within a
topic only the strongest contribution for and the strongest against each fault count. The posterior is the
normalised sum of prior and contributions. Gates take their topics' contributions away as far as they hold.

This module knows no fault, check, quantity or topic by name.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import NO_WORD, Columns, Floats, Words
from twogauge.degree import Layers, all_hold, edge_degree
from twogauge.packs.program import Program
from twogauge.quantity_table import QUANTITIES
from twogauge.sweep import LEAST
from twogauge.weighing_plan import Plan, plan_for, source_of
from twogauge.work import Derived, Rows, Work

CHUNK: Final = 8192  # readings worked on at a time; bounds the memory, whatever the number of readings
BLOCK: Final = 1024  # of them judged at a time at most, so that what is worked on stays in the cache
ROOM: Final = 6_000_000  # [byte] and no more than have room in this, however many rules there are
TOO_CLOSE: Final = 3.0  # [decibans] faults this close cannot be told apart
LITTLE: Final = 6.0  # [decibans] if all evidence together separates no two faults by more, it says nothing clear
LEADS: Final = 0.2  # a leader less probable than this leads nothing
SOUND_FROM: Final = 0.5  # nothing is called normal that is more likely not


class Verdict(IntEnum):
    """What the answer amounts to."""

    FAULT = 0
    NORMAL = 1
    TOO_CLOSE = 2
    NOT_ENOUGH = 3
    GATED = 4

    @property
    def word(self) -> str:
        """The name used in output."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Weighed:
    """The answer for n readings.

    Attributes:
        hypotheses: ids, in the order of the second axis.
        probability: shape (n, hypotheses); each row sums to 1; 0 for a fault that does not apply.
        weight: [decibans] shape (n, hypotheses), all evidence together, without the prior.
        verdict: shape (n,), a Verdict.
        leader: shape (n,), index of the most probable hypothesis.
    """

    hypotheses: tuple[str, ...]
    probability: Floats
    weight: Floats
    verdict: npt.NDArray[np.int8]
    leader: npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Ledger:
    """How one chunk was weighed, rule by rule; what diagnosis.py explains a single reading from.

    Attributes:
        work: the derivation, with every quantity a rule looked at.
        plan: which rules were active.
        degree: shape (active rules, n); NaN where a rule could not be judged or does not apply.
        gate_degree: shape (gates, n).
        contribution: [decibans] shape (terms, n), after gates, before topics are settled.
        counted: shape (terms, 1) for a single reading, else (0, n): whether the term was the strongest of its topic
            for its fault.
    """

    work: Work
    plan: Plan
    degree: Floats
    gate_degree: Floats
    contribution: Floats
    counted: npt.NDArray[np.bool_]


def weigh_columns(columns: Columns, program: Program, *, threads: int = 1) -> Weighed:
    """Weigh n readings; memory beside the result does not grow with n, and the answer does not depend on `threads`.

    Args:
        columns: the readings.
        program: the rules.
        threads: how many work at a time; numpy lets go of the interpreter while it computes.
    """
    n = columns.n
    out = _room_for(n, program)
    starts = range(0, n, CHUNK)
    if threads <= 1 or len(starts) <= 1:
        for start in starts:
            _weigh_into(out, columns, program, start)
        return out
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - one reading needs no threads

    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(lambda start: _weigh_into(out, columns, program, start), starts):
            pass
    return out


@dataclass(frozen=True, slots=True)
class Swept:
    """The answer for a chunk, with what many readings are told beside it; a ledger is not among that.

    Attributes:
        weighed: the answer.
        work: the derivation.
        gate_degree: shape (gates of the plan, n).
        gates: ids of these gates.
    """

    weighed: Weighed
    work: Work
    gate_degree: Floats
    gates: tuple[str, ...]


def sweep_chunk(columns: Columns, program: Program) -> Swept:
    """Weigh the readings of one chunk without a ledger; to the bit what `weigh_chunk` finds."""
    out = _room_for(columns.n, program)
    inputs = inputs_of(columns, program)
    gate_degree = np.empty((len(inputs.plan.gates), columns.n))
    for rows, gate in _sweep_into(out, inputs, 0):
        gate_degree[:, rows] = gate
    return Swept(out, inputs.work, gate_degree, tuple(gate.id for gate in inputs.plan.gates))


def _room_for(n: int, program: Program) -> Weighed:
    hypotheses = tuple(h.id for h in program.hypotheses)
    return Weighed(
        hypotheses,
        np.empty((len(hypotheses), n)).T,  # a hypothesis is one stretch of memory
        np.empty((len(hypotheses), n)).T,
        np.empty(n, dtype=np.int8),
        np.empty(n, dtype=np.int16),
    )


def _weigh_into(out: Weighed, columns: Columns, program: Program, start: int) -> None:
    """Weigh one chunk and write the answers where they belong."""
    inputs = inputs_of(columns.rows(start, min(start + CHUNK, columns.n)), program)
    for _ in _sweep_into(out, inputs, start):
        pass


def _sweep_into(out: Weighed, inputs: Inputs, start: int) -> Iterator[tuple[slice, Floats]]:
    """Weigh a chunk block by block, write the answers from row `start` on, and give out each block's gates."""
    plan, n = inputs.plan, inputs.work.n
    columns = 2 * len(plan.rules) + len(plan.edge_index) + 2 * plan.sweep.groups + 1
    size = max(LEAST, min(BLOCK, ROOM // (8 * columns)))
    for first in range(0, n, size):
        degrees = judge(inputs.part(slice(first, min(first + size, n))))
        openness = _openness(plan, degrees.gate, degrees.prior.shape[1])
        weight = plan.sweep.weights(degrees.rule, openness)
        probability, verdict, leader = _settled(plan, weight, degrees)
        rows = slice(start + first, start + first + len(leader))
        out.weight[rows] = weight.T
        out.probability[rows] = probability.T
        out.verdict[rows] = verdict
        out.leader[rows] = leader
        yield rows, degrees.gate


@dataclass(frozen=True, slots=True)
class Degrees:
    """What one chunk is weighed from: how far each rule and gate holds, and what was to be expected beforehand.

    Attributes:
        work: the derivation, with every quantity a rule looked at.
        plan: which rules were active, and what they say.
        rule: shape (active rules, n); NaN where a rule could not be judged or does not apply.
        gate: shape (gates, n).
        prior: [decibans] shape (hypotheses, n); minus infinity for a fault that does not apply.
    """

    work: Work
    plan: Plan
    rule: Floats
    gate: Floats
    prior: Floats


def weigh_chunk(columns: Columns, program: Program) -> tuple[Weighed, Ledger]:
    """Weigh the readings of one chunk and keep the ledger."""
    return weigh_degrees(degrees_of(columns, program))


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the conditions look at in one chunk.

    Attributes:
        work: the derivation; for a part of a chunk still that of the whole.
        plan: which rules can speak.
        scopes: the rows that each scope of the plan holds for.
        value, u: shape (edge quantities, n) [SI], NaN where missing.
        told: shape (conditions told in words, n), 1 or 0, NaN where not told.
        prior: [decibans] shape (hypotheses, n); minus infinity for a fault that does not apply.
    """

    work: Work
    plan: Plan
    scopes: tuple[Rows, ...]
    value: Floats
    u: Floats
    told: Floats
    prior: Floats

    def part(self, rows: slice) -> Inputs:
        """Return some of the readings."""
        scopes = tuple(None if each is None else each[rows] for each in self.scopes)
        return Inputs(
            self.work,
            self.plan,
            scopes,
            self.value[:, rows],
            self.u[:, rows],
            self.told[:, rows],
            self.prior[:, rows],
        )


def inputs_of(columns: Columns, program: Program) -> Inputs:
    """Compute what the conditions look at in the readings of one chunk."""
    work = Work(columns, QUANTITIES, program.bands)
    plan, scopes = plan_for(work, program)
    n = columns.n
    value, u = np.empty((len(plan.edge_quantity), n)), np.empty((len(plan.edge_quantity), n))
    for i, name in enumerate(plan.edge_quantity):
        found = work.number(name)
        value[i], u[i] = (found.value, found.u) if isinstance(found, Derived) else (np.nan, np.nan)
    told = np.empty((len(plan.wordy), n))
    for i, condition in enumerate(plan.wordy):
        words = source_of(work, condition.name)
        told[i] = words.truth(condition.words) if isinstance(words, Words) else np.nan
    prior = np.empty((len(plan.hypotheses), n))
    prior[:] = plan.prior
    for i, hypothesis in enumerate(program.hypotheses):
        if hypothesis.applies_to:
            prior[i, ~_may_apply(columns, hypothesis.applies_to)] = -np.inf
    return Inputs(work, plan, scopes, value, u, told, prior)


def degrees_of(columns: Columns, program: Program) -> Degrees:
    """Judge every rule and gate on the readings of one chunk."""
    return judge(inputs_of(columns, program))


def judge(inputs: Inputs) -> Degrees:
    """Judge every rule and gate that can be judged."""
    plan = inputs.plan
    degrees = _condition_degrees(inputs)
    rule_degree = _all_hold(degrees, plan.rule_members, plan.always_unknown, plan.rule_scope, inputs.scopes)
    never = np.zeros((len(plan.gates), 1), dtype=bool)
    gate_degree = _all_hold(degrees, plan.gate_members, never, plan.gate_scope, inputs.scopes)
    return Degrees(inputs.work, plan, rule_degree, gate_degree, inputs.prior)


def weigh_degrees(degrees: Degrees) -> tuple[Weighed, Ledger]:
    """Weigh what the rules say, as far as they hold, and keep the ledger."""
    plan, n = degrees.plan, degrees.prior.shape[1]
    doubled = 2.0 * degrees.rule
    doubled -= 1.0
    holds, fails = np.fmax(doubled, 0.0), np.fmax(-doubled, 0.0)
    open_ = _openness(plan, degrees.gate, n)
    contribution = np.zeros((len(plan.terms), n))
    if plan.terms:
        contribution = plan.says * holds[plan.term_rule] + plan.otherwise * fails[plan.term_rule]
        if open_ is not None:
            contribution *= open_[plan.term_topic]
    weight, counted = _settle_topics(plan, contribution, n)
    probability, verdict, leader = _settled(plan, weight, degrees)
    weighed = Weighed(plan.hypotheses, probability.T, weight.T, verdict, leader)
    return weighed, Ledger(degrees.work, plan, degrees.rule, degrees.gate, contribution, counted)


def _settled(
    plan: Plan, weight: Floats, degrees: Degrees
) -> tuple[Floats, npt.NDArray[np.int8], npt.NDArray[np.int16]]:
    """Return probabilities, shape (hypotheses, n), verdict and leader, from what all evidence says together."""
    score = weight + degrees.prior
    score *= math.log(10.0) / 10.0
    score -= score.max(axis=0)
    np.exp(score, out=score)
    total = np.zeros(weight.shape[1])
    for row in score:  # one after the other, so that n readings are summed exactly like one
        total += row
    score /= total
    return score, *_verdict(plan, score, weight, degrees.gate)


def _may_apply(columns: Columns, wanted: Mapping[str, frozenset[str]]) -> npt.NDArray[np.bool_]:
    """A fault drops out only where a word is told that excludes it; not told leaves it in."""
    rows = np.ones(columns.n, dtype=bool)
    for name, allowed in wanted.items():
        words = columns.words.get(name)
        if words is not None:
            rows &= words.is_one_of(allowed) | (words.codes == NO_WORD)
    return rows


# -- the steps ------------------------------------------------------------------------------------------------------


def _condition_degrees(inputs: Inputs) -> Floats:
    """Return shape (conditions, n): numeric ones first, then those told in words."""
    plan = inputs.plan
    out = np.empty((len(plan.numeric) + len(plan.wordy), inputs.told.shape[1]))
    if plan.numeric:
        value, u = inputs.value[plan.edge_index], inputs.u[plan.edge_index]
        edges = edge_degree(value, u, plan.threshold, plan.sign, plan.spread)
        numeric = edges[plan.edges[0][1]]
        # Inside both edges: P(a) + P(b) - 1, since outside one excludes the other.
        for conditions, more in plan.edges[1:]:
            numeric[conditions] += edges[more] - 1.0
        np.maximum(numeric, 0.0, out=out[: len(plan.numeric)])
    out[len(plan.numeric) :] = inputs.told
    return out


def _all_hold(
    degrees: Floats,
    members: Layers,
    unknown: npt.NDArray[np.bool_],
    scope: npt.NDArray[np.intp],
    scopes: tuple[Rows, ...],
) -> Floats:
    """Return the degree of rules, shape (rules, n); NaN also where they do not apply."""
    if not scope.size:
        return np.empty((0, degrees.shape[1]))
    out = all_hold(degrees, members, always_unknown=unknown)
    for place, rows in enumerate(scopes):
        if rows is not None:
            rules = np.flatnonzero(scope == place)
            out[rules] = np.where(rows, out[rules], np.nan)
    return out


def _openness(plan: Plan, gate_degree: Floats, n: int) -> Floats | None:
    """Return shape (topics, n): how much of a topic's evidence the gates let through; None if all of it."""
    shut = np.fmax(2.0 * gate_degree - 1.0, 0.0)
    if not shut.any():
        return None
    topics = 1 + max((t for gate in plan.silenced for t in gate), default=-1)
    out = np.ones((max(topics, 1 + int(plan.term_topic.max(initial=-1))), n))
    for row, silenced in zip(shut, plan.silenced, strict=True):
        for topic in silenced:
            np.minimum(out[topic], 1.0 - row, out=out[topic])
    return out


def _settle_topics(plan: Plan, contribution: Floats, n: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Within a topic only the strongest for and the strongest against each fault count."""
    weight = np.zeros((len(plan.hypotheses), n))
    if not plan.terms:
        return weight, np.zeros((0, n), dtype=bool)
    best_for, best_against = _strongest(plan, contribution)
    settled = best_for + best_against
    for chosen, hypotheses in plan.by_topic:
        weight[hypotheses] += settled[chosen]
    if n != 1:
        return weight, np.zeros((0, n), dtype=bool)
    strongest = (contribution == best_for[plan.group_of_term]) | (contribution == best_against[plan.group_of_term])
    # Of two equally strong ones the first counts, so that what counted adds up to the weight.
    candidates = np.flatnonzero(strongest[:, 0] & (contribution[:, 0] != 0.0))
    side = 2 * plan.group_of_term[candidates] + (contribution[candidates, 0] > 0.0)
    counted = np.zeros((len(plan.terms), 1), dtype=bool)
    counted[candidates[np.unique(side, return_index=True)[1]]] = True
    return weight, counted


_MANY_LAYERS: Final = 64  # rules on one fault in one topic, from which a pass over all terms is quicker than layers


def _strongest(plan: Plan, contribution: Floats) -> tuple[Floats, Floats]:
    """Return the strongest contribution for and against, of each group, shape (groups, n)."""
    if len(plan.groups) > _MANY_LAYERS:  # the terms of a group stand side by side
        starts = plan.groups[0][1]
        return (
            np.maximum.reduceat(np.maximum(contribution, 0.0), starts, axis=0),
            np.minimum.reduceat(np.minimum(contribution, 0.0), starts, axis=0),
        )
    first = contribution[plan.groups[0][1]]
    best_for, best_against = np.maximum(first, 0.0), np.minimum(first, 0.0)
    for groups, terms in plan.groups[1:]:
        more = contribution[terms]
        best_for[groups] = np.maximum(best_for[groups], more)
        best_against[groups] = np.minimum(best_against[groups], more)
    return best_for, best_against


def topic_weights(ledger: Ledger) -> Floats:
    """Return what each topic says of each hypothesis [decibans], shape (topics that speak, hypotheses, n).

    Summed over topics it is `Weighed.weight`.
    """
    plan, n = ledger.plan, ledger.contribution.shape[1]
    out = np.zeros((len(plan.by_topic), len(plan.hypotheses), n))
    if plan.terms:
        best_for, best_against = _strongest(plan, ledger.contribution)
        for topic, (chosen, hypotheses) in enumerate(plan.by_topic):
            out[topic, hypotheses] = best_for[chosen] + best_against[chosen]
    return out


def _verdict(
    plan: Plan, probability: Floats, weight: Floats, gate_degree: Floats
) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.int16]]:
    leader = probability.argmax(axis=0)
    columns = np.arange(probability.shape[1])
    first = probability[leader, columns]
    others = probability.copy()
    others[leader, columns] = 0.0
    second = others.max(axis=0)
    applies_here = probability > 0.0  # what is said of a fault that cannot be in this system separates nothing
    separation = np.where(applies_here, weight, -np.inf).max(axis=0) - np.where(applies_here, weight, np.inf).min(
        axis=0
    )
    clear = (separation >= LITTLE) & (first >= np.where(leader == plan.nothing_wrong, SOUND_FROM, LEADS))
    close = first < second * 10.0 ** (TOO_CLOSE / 10.0)
    gated = (np.fmax(gate_degree, 0.0) > 0.5).any(axis=0) if gate_degree.shape[0] else np.zeros(len(columns), bool)
    verdict = np.where(leader == plan.nothing_wrong, Verdict.NORMAL, Verdict.FAULT)
    verdict = np.where(close, Verdict.TOO_CLOSE, verdict)
    verdict = np.where(clear, verdict, Verdict.NOT_ENOUGH)
    # Behind a gate nothing can be called normal: what was measured does not mean what it usually does.
    unsaid = (verdict == Verdict.NOT_ENOUGH) | (verdict == Verdict.NORMAL)
    verdict = np.where(gated & unsaid, Verdict.GATED, verdict)
    return verdict.astype(np.int8), leader.astype(np.int16)
