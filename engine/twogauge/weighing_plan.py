"""A program reduced to what can speak for readings that have certain inputs; arrays ready for the weighing.

Made once for each set of quantities that exist at all, and kept with the program.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.columns import Floats, Words
from twogauge.degree import Layers, layers_of
from twogauge.packs.program import CompiledRule, Condition, Program, scope_of
from twogauge.quantity_table import QUANTITIES
from twogauge.sweep import Sweep, sweep_of
from twogauge.work import Absent, Derived, Rows, Work


@dataclass(frozen=True)
class Plan:
    """A program reduced to what can speak, given which quantities exist at all; arrays ready for use."""

    hypotheses: tuple[str, ...]
    prior: Floats  # (hypotheses, 1)
    nothing_wrong: int
    rules: tuple[CompiledRule, ...]  # that can be judged
    gates: tuple[CompiledRule, ...]
    rule_scope: npt.NDArray[np.intp]  # of each rule, which of the scopes that hold for any row
    gate_scope: npt.NDArray[np.intp]
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

    @cached_property
    def sweep(self) -> Sweep:
        """What the rules say, laid out for many readings."""
        said = zip(self.term_topic, self.terms, self.says[:, 0], self.otherwise[:, 0], strict=True)
        terms = ((int(topic), fault, rule, float(s), float(o)) for topic, (rule, fault), s, o in said)
        return sweep_of(terms, len(self.rules), len(self.hypotheses))


_MAX_PLANS: Final = 512


def plan_for(work: Work, program: Program) -> tuple[Plan, tuple[Rows, ...]]:
    """Return what can speak on these readings, and the rows that each of its scopes holds for.

    Quantities that only rules for other machines look at are not computed.
    """
    rows: list[Rows] = []
    living: list[int] = []
    names: set[str] = set()
    for i, (wanted, looked_at) in enumerate(program.asked):
        mask = work.applies(wanted)
        if mask is None or mask.any():
            rows.append(mask)
            living.append(i)
            names |= looked_at
    known = frozenset(name for name in names if _is_there(work, name))
    key = (known, tuple(living))
    plan = program.plans.get(key)
    if plan is None:
        if len(program.plans) >= _MAX_PLANS:
            program.plans.clear()
        plan = program.plans[key] = _make_plan(program, known, living)
    assert isinstance(plan, Plan)  # noqa: S101 - for the type checker: nothing else is ever put there
    return plan, tuple(rows)


def _is_there(work: Work, name: str) -> bool:
    if name in QUANTITIES:
        return not isinstance(work.get(name), Absent)
    return work.told(name) is not None


def source_of(work: Work, name: str) -> Derived | Absent | Words:
    """Return what a condition of that name looks at: a quantity, or the answers to a check."""
    if name in QUANTITIES:
        return work.get(name)
    return work.told(name) or Absent(f"{name} was not answered", (name,))


def _make_plan(program: Program, known: frozenset[str], living: Sequence[int]) -> Plan:
    scope = {scope_of(program.asked[i][0]): place for place, i in enumerate(living)}
    rules: list[CompiledRule] = []
    for rule in program.rules:
        if scope_of(rule.applies_to) not in scope:
            continue
        missing = [c for c in rule.conditions if c.name not in known]
        decidable = len(missing) < len(rule.conditions) and any(rule.otherwise.values())
        if not missing or decidable:
            rules.append(rule)
    gates = [
        g
        for g in program.gates
        if scope_of(g.rule.applies_to) in scope and all(c.name in known for c in g.rule.conditions)
    ]
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
        rule_scope=_indices(scope[scope_of(rule.applies_to)] for rule in rules),
        gate_scope=_indices(scope[scope_of(g.rule.applies_to)] for g in gates),
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
