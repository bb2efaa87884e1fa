"""How fast it is, as ratios measured in one run; run by hand: `python tests/benchmarks/speed.py`.

Not a test: machines differ and are shared. Each figure is the median of several runs in turn with what it is compared
with, so that a machine that slows down slows both. The targets in brackets are the project's own.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np

import twogauge
from twogauge import refrigerants
from twogauge.packs import installed

BARE = "import typer, pydantic, yaml, numpy"
DIAGNOSE = ["diagnose", "--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F"]


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _in_turn(one: Callable[[], object], other: Callable[[], object], runs: int) -> tuple[float, float]:
    one(), other()
    pairs = [(_seconds(one), _seconds(other)) for _ in range(runs)]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def _process(arguments: list[str]) -> Callable[[], object]:
    return lambda: subprocess.run(arguments, check=True, capture_output=True)


def start_up() -> None:
    program = str(Path(sys.executable).with_name("twogauge"))
    ours, bare = _in_turn(_process([program, *DIAGNOSE]), _process([sys.executable, "-c", BARE]), 11)
    print(f"whole process: diagnose {ours * 1e3:.0f} ms, bare imports {bare * 1e3:.0f} ms")
    print(f"  ratio {ours / bare:.2f}  [<= 2.0]")
    shop = ["--rules", str(Path(__file__).resolve().parents[2] / "examples" / "bus_depot")]
    ours, bare = _in_turn(_process([program, *DIAGNOSE, *shop]), _process([sys.executable, "-c", BARE]), 11)
    print(f"  with a shop's pack, which the snapshot cannot serve: {ours * 1e3:.0f} ms, ratio {ours / bare:.2f}")
    looking = statistics.median(_seconds(installed.find) for _ in range(31))
    print(f"  of which looking for installed packs: {looking * 1e3:.1f} ms")


def one_diagnosis() -> None:
    reading = twogauge.Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90F")
    twogauge.diagnose(reading)
    times = [_seconds(lambda: twogauge.diagnose(reading)) for _ in range(300)]
    print(f"one diagnosis in a running process: {statistics.median(times) * 1e3:.2f} ms  [<= 2 ms]")


def columns(n: int = 100_000) -> None:
    random = np.random.default_rng(1)
    readings = twogauge.from_arrays(
        {
            "low_side": random.uniform(1.4e5, 5e5, n),
            "high_side": random.uniform(7e5, 25e5, n),
            "ambient": random.uniform(292.0, 315.0, n),
        },
        {"refrigerant": "R134a", "system": "bus_ac", "compressor": "running"},
    )
    program = twogauge.program_for()
    twogauge.weigh_columns(readings, program)
    rate = n / statistics.median(_seconds(lambda: twogauge.weigh_columns(readings, program)) for _ in range(7))
    tracemalloc.start()
    result = twogauge.weigh_columns(readings, program)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    kept = result.probability.nbytes + result.weight.nbytes
    print(f"a column of {n} readings: {rate:,.0f} readings a second  [>= 150,000]")
    print(
        f"  peak memory {peak / 1e6:.0f} MB, of which the result {kept / 1e6:.0f} MB (held twice while it is joined)"
    )


def saturation(n: int = 20_000) -> None:
    from CoolProp.CoolProp import PropsSI

    random = np.random.default_rng(2)
    for name, target in (("R134a", 3), ("R404A", 30)):
        what = refrigerants.get(name)
        pressure = np.exp(random.uniform(np.log(1e5), np.log(25e5), n))
        ours, theirs = _in_turn(
            lambda what=what, p=pressure: what.saturation_temperature(p, "dew"),
            lambda name=name, p=pressure: PropsSI("T", "P", p, "Q", 1, name),
            5,
        )
        print(f"saturation of {name}: {ours / n * 1e9:.0f} ns a point, CoolProp's own {theirs / n * 1e9:,.0f} ns")
        print(f"  ratio {theirs / ours:,.0f}  [>= {target}]")


if __name__ == "__main__":
    start_up()
    one_diagnosis()
    columns()
    saturation()
