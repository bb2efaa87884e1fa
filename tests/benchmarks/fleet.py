"""How early a slow leak and a dirty condenser are seen in simulated weeks of a depot, and how often a sound bus is accused.

.venv/bin/python tests/benchmarks/fleet.py           40 invented buses of each kind, some minutes
.venv/bin/python tests/benchmarks/fleet.py 10        so many

The logs are those of tests/bus_simulation.py: eight weeks, the fault begins on the eleventh day and grows evenly.
"""

from __future__ import annotations

import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from bus_simulation import DIRT, LEAK, SOUND, season, the_map
from twogauge import program_for
from twogauge.fleet.history import History, Summary
from twogauge.fleet.table import Diagnoser
from twogauge.fleet.windows import WindowFinder

RIGHT = {LEAK: "low_charge", DIRT: "condenser_cooling", SOUND: ""}


def summary_of(kind: str, seed: int) -> tuple[Summary, list[float]]:
    """Return what becomes of one invented bus, and how far its fault has come on each day."""
    logs = season(kind, seed=seed)
    program = program_for()
    finder = WindowFinder(the_map(), program)
    diagnoser = Diagnoser(finder.column_map, program)
    history = History()
    batches = (batch for log, _ in logs for batch in log.table().to_batches())
    for windows in finder.windows(batches):
        history.add(windows, diagnoser.answer(windows))
    (summary,) = history.summaries(finder.shares)
    return summary, [share for _, share in logs]


def one(job: tuple[str, int]) -> dict[str, object]:
    """Return what is counted of one bus."""
    kind, seed = job
    summary, shares = summary_of(kind, seed)
    first = min(summary.daily)
    drift = min((call.called for call in summary.drifts.values()), default=None)
    right = [call for call in summary.calls if call.fault == RIGHT[kind]]
    return {
        "kind": kind,
        "drift": None if drift is None else shares[(drift - first).days],
        "named": shares[(right[0].called - first).days] if right else None,
        "wrong": sum(call.fault != RIGHT[kind] for call in summary.calls),
        "usable": summary.shares.usable / summary.shares.logged,
    }


def main(count: int = 40) -> None:
    """Print the table."""
    jobs = [(kind, seed) for kind in (SOUND, LEAK, DIRT) for seed in range(100, 100 + count)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(one, jobs, chunksize=4))
    print("kind                buses  drifting  seen at    named right  at         named wrong  usable")
    for kind in (SOUND, LEAK, DIRT):
        mine = [each for each in found if each["kind"] == kind]
        drift = [float(str(each["drift"])) for each in mine if each["drift"] is not None]
        named = [float(str(each["named"])) for each in mine if each["named"] is not None]
        wrong = sum(bool(each["wrong"]) for each in mine)
        usable = statistics.mean(float(str(each["usable"])) for each in mine)
        print(
            f"{kind:<18} {len(mine):6} {len(drift):9}  {_spread(drift):<9} {len(named):12}  {_spread(named):<9} "
            f"{wrong:12}  {usable:6.0%}"
        )


def _spread(shares: list[float]) -> str:
    if not shares:
        return "-"
    return f"{statistics.median(shares):.0%}..{max(shares):.0%}"


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
