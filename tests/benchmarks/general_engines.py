"""The same crisp conditions judged by two general-purpose rule engines; run by hand.

`python tests/benchmarks/general_engines.py`. The two are needed for this alone, so they stand in no extra:

    pip install rule-engine cel-python

rule-engine and cel-python judge one reading at a time. They are given every derived quantity and word ready-made, and
the rules as expressions they have parsed beforehand: a rule holds where each value lies on the right side of its
threshold. twogauge starts from pressures and temperatures, derives the quantities, and answers with probabilities.
What all three say of each rule is compared first: a degree above a half must be a rule that holds. The target in
brackets is the project's own; seconds are those of the processor, the least of several runs in turn.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor

import celpy
import celpy.adapter
import numpy as np
import rule_engine

import twogauge
from twogauge.columns import Words
from twogauge.packs.program import CompiledRule, Condition
from twogauge.quantity_table import QUANTITIES
from twogauge.weigh import degrees_of
from twogauge.work import Derived, Work

MANY = 65_536  # readings in a column
FEW = 300  # of them that the engines which take one at a time are given
RUNS = 5
ROUNDS = 25  # of each process, where all cores work


def columns(n: int) -> twogauge.Columns:
    """Return readings of a bus with both pressures, five temperatures and four words."""
    random = np.random.default_rng(1)
    return twogauge.from_arrays(
        {
            "low_side": random.uniform(1.4e5, 5e5, n),
            "high_side": random.uniform(7e5, 25e5, n),
            "ambient": random.uniform(292.0, 315.0, n),
            "return_air": random.uniform(290.0, 305.0, n),
            "vent_air": random.uniform(275.0, 295.0, n),
            "suction_line": random.uniform(275.0, 300.0, n),
            "liquid_line": random.uniform(295.0, 330.0, n),
        },
        {"refrigerant": "R134a", "system": "bus_ac", "compressor": "running", "metering": "expansion_valve"},
    )


def expression(rule: CompiledRule, conjunction: str) -> str:
    """Return the conditions of a rule without their soft edges."""
    return f" {conjunction} ".join(part for each in rule.conditions for part in _parts(each, conjunction))


def _parts(condition: Condition, conjunction: str) -> list[str]:
    if condition.edges:
        return [f"{condition.name} {'>' if e.sign > 0 else '<'} {e.threshold!r}" for e in condition.edges]
    either = " or " if conjunction == "and" else " || "
    return ["(" + either.join(f'{condition.name} == "{word}"' for word in sorted(condition.words)) + ")"]


def derived(some: twogauge.Columns, names: Sequence[str], program: twogauge.Program) -> list[dict[str, float | str]]:
    """Return what the conditions look at, one mapping for each reading."""
    work = Work(some, QUANTITIES, program.bands)
    found = {name: work.get(name) if name in QUANTITIES else some.words[name] for name in names}
    rows: list[dict[str, float | str]] = [{} for _ in range(some.n)]
    for name, each in found.items():
        for i, row in enumerate(rows):
            if isinstance(each, Derived):
                row[name] = float(each.value[i])
            elif isinstance(each, Words):
                row[name] = each.values[each.codes[i]]
    return rows


def by_rule_engine(rules: Sequence[CompiledRule], rows: Sequence[Mapping[str, float | str]]) -> Callable[[], object]:
    """Return what judges every rule on every reading."""
    made = [rule_engine.Rule(expression(rule, "and")) for rule in rules]
    return lambda: [[rule.matches(row) for rule in made] for row in rows]


def by_cel(rules: Sequence[CompiledRule], rows: Sequence[Mapping[str, float | str]]) -> Callable[[], object]:
    """Return what judges every rule on every reading, each converted to the engine's types once."""
    environment = celpy.Environment()
    made = [environment.program(environment.compile(expression(rule, "&&"))) for rule in rules]
    given = [{name: celpy.adapter.json_to_cel(value) for name, value in row.items()} for row in rows]
    return lambda: [[bool(program.evaluate(row)) for program in made] for row in given]


def seconds(work: Callable[[], object]) -> float:
    """Return the processor's seconds of one run."""
    start = time.process_time()
    work()
    return time.process_time() - start


def _weigh_for_long(rounds: int) -> None:
    program, some = twogauge.program_for(), columns(MANY)
    for _ in range(rounds):
        twogauge.weigh_columns(some, program)


def by_all_cores() -> tuple[int, float]:
    """Return how many processes this machine has cores for, and what they answer together, by the clock [1/s]."""
    cores = len(os.sched_getaffinity(0))
    with ProcessPoolExecutor(cores) as pool:
        list(pool.map(_weigh_for_long, [1] * cores))  # so that each has begun
        start = time.perf_counter()
        list(pool.map(_weigh_for_long, [ROUNDS] * cores))
        return cores, cores * ROUNDS * MANY / (time.perf_counter() - start)


def main() -> None:
    """Compare the answers, then the times."""
    program = twogauge.program_for()
    some = columns(MANY)
    few = some.rows(0, FEW)
    degrees = degrees_of(few, program)
    known = {c.name for rule in degrees.plan.rules for c in rule.conditions}
    there = [name for name in sorted(known) if _is_there(few, name, program)]
    # Without gates and for what every reading has: every rule that can be judged whole.
    chosen = [i for i, rule in enumerate(degrees.plan.rules) if {c.name for c in rule.conditions} <= set(there)]
    rules = [degrees.plan.rules[i] for i in chosen]
    rows = derived(few, there, program)
    runs = {"rule-engine": by_rule_engine(rules, rows), "cel-python": by_cel(rules, rows)}
    sharp = degrees.rule[chosen].T
    for name, judge in runs.items():
        said = np.array(judge(), dtype=bool)
        # Between two soft edges that lie close the degree may stay below a half; no one-sided condition may differ.
        one_sided = np.array([all(len(c.edges) < 2 for c in rule.conditions) for rule in rules])
        differ = int((said != (sharp > 0.5))[:, one_sided].sum())
        print(f"{name}: {said.sum()} of {said.size} hold; {differ} differ from a degree above a half")
        assert differ == 0, name
    rates: dict[str, float] = dict.fromkeys(("twogauge", *runs), 0.0)
    twogauge.weigh_columns(some, program)
    for _ in range(RUNS):
        rates["twogauge"] = max(rates["twogauge"], MANY / seconds(lambda: twogauge.weigh_columns(some, program)))
        for name, judge in runs.items():
            rates[name] = max(rates[name], FEW / seconds(judge))
    print(
        f"{len(rules)} rules; twogauge weighs {len(degrees.plan.rules)} and answers {rates['twogauge']:,.0f} a second"
    )
    cores, together = by_all_cores()
    print(f"{cores} processes answer {together:,.0f} a second together, by the clock")
    for name in runs:
        one, all_ = rates["twogauge"] / rates[name], together / rates[name]
        print(f"{name}: {rates[name]:,.0f} readings a second; ratio {one:,.0f}, of all cores {all_:,.0f}  [>= 200]")


def _is_there(some: twogauge.Columns, name: str, program: twogauge.Program) -> bool:
    if name not in QUANTITIES:
        return name in some.words
    found = Work(some, QUANTITIES, program.bands).get(name)
    return isinstance(found, Words) or (isinstance(found, Derived) and not np.isnan(found.value).any())


if __name__ == "__main__":
    main()
