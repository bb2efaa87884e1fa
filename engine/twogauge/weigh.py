"""From degrees to decibans to probabilities: the weighing of evidence, on columns of shape (n,).

A rule with degree d contributes e * max(0, 2d - 1) + e' * max(0, 1 - 2d) decibans to each fault it names. Within a
topic only the strongest contribution for and the strongest against each fault count. The posterior is the
normalised sum of prior and contributions. Gates take their topics' contributions away as far as they hold.

This module knows no fault, check, quantity or topic by name.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import NO_WORD, Columns, Floats, Words, applies
from twogauge.degree import Layers, all_hold, edge_degree, layers_of
from twogauge.packs.compile import CompiledRule, Condition, Program
from twogauge.quantity_table import QUANTITIES
from twogauge.work import Absent, Derived, Work

CHUNK: Final = 4096  # readings worked on at a time; bounds the memory, whatever the number of readings
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


def weigh_columns(columns: Columns, program: Program) -> Weighed:
    """Weigh n readings; memory beside the result does not grow with n."""
    parts = [weigh_chunk(chunk, program)[0] for chunk in _chunks(columns)]
    if len(parts) == 1:
        return parts[0]
    return Weighed(
        parts[0].hypotheses,
        np.concatenate([p.probability for p in parts]),
        np.concatenate([p.weight for p in parts]),
        np.concatenate([p.verdict for p in parts]),
        np.concatenate([p.leader for p in parts]),
    )


def _chunks(columns: Columns) -> Iterator[Columns]:
    if columns.n <= CHUNK:
        yield columns
        return
    for start in range(0, columns.n, CHUNK):
        yield columns.rows(start, min(start + CHUNK, columns.n))


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


def degrees_of(columns: Columns, program: Program) -> Degrees:
    """Judge every rule and gate on the readings of one chunk."""
    work = Work(columns, QUANTITIES, program.bands)
    plan = _plan_for(work, program)
    degrees = _condition_degrees(work, plan)
    rule_degree = _rule_degrees(columns, degrees, plan.rules, plan.rule_members, plan.always_unknown)
    never = np.zeros((len(plan.gates), 1), dtype=bool)
    gate_degree = _rule_degrees(columns, degrees, plan.gates, plan.gate_members, never)
    prior = np.repeat(plan.prior, columns.n, axis=1)
    for i, hypothesis in enumerate(program.hypotheses):
        if hypothesis.applies_to:
            prior[i] = np.where(_may_apply(columns, hypothesis.applies_to), prior[i], -np.inf)
    return Degrees(work, plan, rule_degree, gate_degree, prior)


def weigh_degrees(degrees: Degrees) -> tuple[Weighed, Ledger]:
    """Weigh what the rules say, as far as they hold."""
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

    score = weight + degrees.prior
    score *= math.log(10.0) / 10.0
    score -= score.max(axis=0)
    np.exp(score, out=score)
    total = np.zeros(n)
    for row in score:  # one after the other, so that n readings are summed exactly like one
        total += row
    probability = score / total
    verdict, leader = _verdict(plan, probability, weight, degrees.gate)
    weighed = Weighed(plan.hypotheses, probability.T, weight.T, verdict, leader)
    return weighed, Ledger(degrees.work, plan, degrees.rule, degrees.gate, contribution, counted)


def _may_apply(columns: Columns, wanted: Mapping[str, frozenset[str]]) -> npt.NDArray[np.bool_]:
    """A fault drops out only where a word is told that excludes it; not told leaves it in."""
    rows = np.ones(columns.n, dtype=bool)
    for name, allowed in wanted.items():
        words = columns.words.get(name)
        if words is not None:
            rows &= words.is_one_of(allowed) | (words.codes == NO_WORD)
    return rows


# -- the plan: what is left to do for readings that have these inputs -----------------------------------------------


@dataclass(frozen=True, slots=True)
class Plan:
    """A program reduced to what can speak, given which quantities exist at all; arrays ready for use."""

    hypotheses: tuple[str, ...]
    prior: Floats  # (hypotheses, 1)
    nothing_wrong: int
    rules: tuple[CompiledRule, ...]  # that can be judged
    gates: tuple[CompiledRule, ...]
    silenced: tuple[tuple[int, ...], ...]  # topic indices of each gate
    numeric: tuple[Condition, ...]
    wordy: tuple[Condition, ...]
    edge_quantity: tuple[str, ...]
    edge_index: npt.NDArray[np.intp]  # (edges,) into edge_quantity
    threshold: Floats  # (edges, 1)
    sign: Floats
    spread: Floats
    edges: Layers  # of each numeric condition
    rule_members: Layers  # conditions of each rule
    gate_members: Layers  # conditions of each gate
    always_unknown: npt.NDArray[np.bool_]  # (rules, 1)
    terms: tuple[tuple[int, int], ...]  # (rule, hypothesis), sorted by topic and hypothesis
    term_rule: npt.NDArray[np.intp]
    term_topic: npt.NDArray[np.intp]
    says: Floats  # (terms, 1)
    otherwise: Floats
    groups: Layers  # terms of each group: one fault in one topic
    group_of_term: npt.NDArray[np.intp]
    by_topic: tuple[tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]], ...]  # groups and hypotheses of each topic


_MAX_PLANS: Final = 512


def _plan_for(work: Work, program: Program) -> Plan:
    known = frozenset(name for name in program.names if not isinstance(_source(work, name), Absent))
    plan = program.plans.get(known)
    if plan is None:
        if len(program.plans) >= _MAX_PLANS:
            program.plans.clear()
        plan = program.plans[known] = _make_plan(program, known)
    assert isinstance(plan, Plan)  # noqa: S101 - for the type checker: nothing else is ever put there
    return plan


def _source(work: Work, name: str) -> Derived | Absent | Words:
    if name in QUANTITIES:
        return work.get(name)
    return work.told(name) or Absent(f"{name} was not answered", (name,))


def _make_plan(program: Program, known: frozenset[str]) -> Plan:
    rules: list[CompiledRule] = []
    for rule in program.rules:
        missing = [c for c in rule.conditions if c.name not in known]
        decidable = len(missing) < len(rule.conditions) and any(rule.otherwise.values())
        if not missing or decidable:
            rules.append(rule)
    gates = [g for g in program.gates if all(c.name in known for c in g.rule.conditions)]
    judged = [*rules, *(g.rule for g in gates)]

    conditions = sorted({c for r in judged for c in r.conditions if c.name in known}, key=_order)
    numeric = tuple(c for c in conditions if c.edges)
    wordy = tuple(c for c in conditions if not c.edges)
    position = {c: i for i, c in enumerate((*numeric, *wordy))}
    edges = [(c.name, e) for c in numeric for e in c.edges]
    quantities = tuple(sorted({name for name, _ in edges}))
    members = [[position[c] for c in r.conditions if c.name in known] for r in judged]
    first_edge = _running(len(c.edges) for c in numeric)

    hypotheses = tuple(h.id for h in program.hypotheses)
    topic_index = {t: i for i, t in enumerate(program.topics)}
    terms = sorted(
        (
            (topic_index[rule.topic], hypotheses.index(fault), i)
            for i, rule in enumerate(rules)
            for fault in {**rule.says, **rule.otherwise}
        ),
    )
    groups: list[tuple[int, int]] = []
    in_group: list[list[int]] = []
    for k, (topic, fault, _) in enumerate(terms):
        if not groups or groups[-1] != (topic, fault):
            groups.append((topic, fault))
            in_group.append([])
        in_group[-1].append(k)
    of_topic: dict[int, list[tuple[int, int]]] = {}
    for g, (topic, fault) in enumerate(groups):  # sorted by topic, as the terms are
        of_topic.setdefault(topic, []).append((g, fault))
    by_topic = [(_indices(g for g, _ in each), _indices(f for _, f in each)) for each in of_topic.values()]

    return Plan(
        hypotheses=hypotheses,
        prior=_column(h.prior for h in program.hypotheses),
        nothing_wrong=next(i for i, h in enumerate(program.hypotheses) if h.nothing_wrong),
        rules=tuple(rules),
        gates=tuple(g.rule for g in gates),
        silenced=tuple(tuple(topic_index[t] for t in sorted(g.silences) if t in topic_index) for g in gates),
        numeric=numeric,
        wordy=wordy,
        edge_quantity=quantities,
        edge_index=_indices(quantities.index(name) for name, _ in edges),
        threshold=_column(e.threshold for _, e in edges),
        sign=_column(e.sign for _, e in edges),
        spread=_column(e.spread for _, e in edges),
        edges=layers_of([range(first, first + len(c.edges)) for first, c in zip(first_edge, numeric, strict=True)]),
        rule_members=layers_of(members[: len(rules)]),
        gate_members=layers_of(members[len(rules) :]),
        always_unknown=np.array([[any(c.name not in known for c in r.conditions)] for r in rules], dtype=bool),
        terms=tuple((rule, fault) for _, fault, rule in terms),
        term_rule=_indices(rule for _, _, rule in terms),
        term_topic=_indices(topic for topic, _, _ in terms),
        says=_column(rules[rule].says.get(hypotheses[fault], 0.0) for _, fault, rule in terms),
        otherwise=_column(rules[rule].otherwise.get(hypotheses[fault], 0.0) for _, fault, rule in terms),
        groups=layers_of(in_group),
        group_of_term=_indices(g for g, ks in enumerate(in_group) for _ in ks),
        by_topic=tuple(by_topic),
    )


def _order(condition: Condition) -> tuple[str, tuple[tuple[float, float, float], ...], tuple[str, ...]]:
    edges = tuple((e.threshold, e.sign, e.spread) for e in condition.edges)
    return condition.name, edges, tuple(sorted(condition.words))


def _indices(values: Iterable[int]) -> npt.NDArray[np.intp]:
    return np.array(list(values), dtype=np.intp)


def _column(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=np.float64).reshape(-1, 1)


def _running(lengths: Iterable[int]) -> list[int]:
    out, total = [], 0
    for length in lengths:
        out.append(total)
        total += length
    return out


# -- the steps ------------------------------------------------------------------------------------------------------


def _condition_degrees(work: Work, plan: Plan) -> Floats:
    """Return shape (conditions, n): numeric ones first, then those told in words."""
    n = work.n
    out = np.empty((len(plan.numeric) + len(plan.wordy), n))
    if plan.numeric:
        found = [work.number(name) for name in plan.edge_quantity]
        value = np.array([f.value if isinstance(f, Derived) else np.full(n, np.nan) for f in found])
        u = np.array([f.u if isinstance(f, Derived) else np.full(n, np.nan) for f in found])
        edges = edge_degree(value[plan.edge_index], u[plan.edge_index], plan.threshold, plan.sign, plan.spread)
        numeric = edges[plan.edges[0][1]]
        for conditions, more in plan.edges[
            1:
        ]:  # inside both edges: P(a) + P(b) - 1, since outside one excludes the other
            numeric[conditions] += edges[more] - 1.0
        np.maximum(numeric, 0.0, out=out[: len(plan.numeric)])
    for i, condition in enumerate(plan.wordy, start=len(plan.numeric)):
        words = _source(work, condition.name)
        if isinstance(words, Words):
            out[i] = np.where(words.codes == NO_WORD, np.nan, words.is_one_of(condition.words))
        else:
            out[i] = np.nan
    return out


def _rule_degrees(
    columns: Columns,
    degrees: Floats,
    rules: tuple[CompiledRule, ...],
    members: Layers,
    unknown: npt.NDArray[np.bool_],
) -> Floats:
    if not rules:
        return np.empty((0, columns.n))
    out = all_hold(degrees, members, always_unknown=unknown)
    seen: dict[tuple[tuple[str, frozenset[str]], ...], npt.NDArray[np.bool_]] = {}
    for i, rule in enumerate(rules):
        if rule.applies_to:
            key = tuple(rule.applies_to.items())
            if key not in seen:
                seen[key] = applies(columns, rule.applies_to)
            if not seen[key].all():
                out[i] = np.where(seen[key], out[i], np.nan)
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
