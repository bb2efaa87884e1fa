"""Whether the cost grows with the readings and with the rules, and no faster; run by hand.

`python tests/benchmarks/linear.py`. Ten times the readings should take 9 to 11 times as long, ten times the rules ten
times at most. The packs are those of many_rules.py; seconds are those of the processor, the least of several runs in
turn, so that a shared machine disturbs little.
"""

from __future__ import annotations

import gc
import itertools
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from many_rules import write_pack
from speed import readings

import twogauge
from twogauge.packs.check import check_packs
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import stack_on_built_in

RUNS = 5


def least(work: Mapping[int, Callable[[], object]]) -> dict[int, float]:
    """Return the least seconds of each piece of work, each run in turn with the others."""
    found = dict.fromkeys(work, float("inf"))
    for each in work.values():
        each()  # imports, curves and plans are made by whatever comes first
    for _ in range(RUNS):
        for size, each in work.items():
            gc.collect()
            start = time.process_time()
            each()
            found[size] = min(found[size], time.process_time() - start)
    return found


def tell(what: str, found: Mapping[int, float], target: str) -> None:
    """Print how the seconds grow from each size to the next."""
    sizes = sorted(found)
    for size, more in itertools.pairwise(sizes):
        told = f"{size:,} to {more:,} {what}: {found[size]:.3f} to {found[more]:.3f} s"
        print(f"{told}, {found[more] / found[size]:.1f} times  [{target}]")


def of_rows() -> None:
    """Weigh ten thousand readings, ten times and a hundred times as many."""
    program = twogauge.program_for()
    tables = {n: readings(n, complete=True) for n in (10_000, 100_000, 1_000_000)}
    work = {n: (lambda table=table: twogauge.weigh_columns(table, program)) for n, table in tables.items()}
    tell("readings", least(work), "9 to 11")


def of_rules() -> None:
    """Check packs of a hundred to ten thousand rules, read them, and weigh readings with them."""
    table = readings(2_000, complete=True)
    reading = twogauge.Reading(
        refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90F", system="bus_ac"
    )
    sizes = (1_000, 10_000)
    with tempfile.TemporaryDirectory() as top:
        folders = {rules: Path(top, str(rules)) for rules in sizes}
        for rules, folder in folders.items():
            folder.mkdir()
            write_pack(folder, rules)
        tell("rules checked", least({r: (lambda f=f: check_packs([f])) for r, f in folders.items()}), "<= 10")
        programs = {rules: compile_stack(stack_on_built_in([folder])) for rules, folder in folders.items()}
    weighed = {r: (lambda p=p: twogauge.weigh_columns(table, p)) for r, p in programs.items()}
    tell("rules weighed on a column", least(weighed), "<= 10")
    single = {r: (lambda p=p: [twogauge.diagnose(reading, program=p) for _ in range(5)]) for r, p in programs.items()}
    tell("rules in five diagnoses", least(single), "<= 10")


if __name__ == "__main__":
    of_rows()
    of_rules()
