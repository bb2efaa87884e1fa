"""How fast it is, as ratios measured in one run; run by hand: `python tests/benchmarks/speed.py`.

Not a test: machines differ and are shared. Each figure is the median of several runs in turn with what it is compared
with, so that a machine that slows down slows both. The targets in brackets are the project's own.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
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


def _seconds(work: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    start = clock()
    work()
    return clock() - start


def _in_turn(one: Callable[[], object], other: Callable[[], object], runs: int) -> tuple[float, float]:
    one(), other()
    pairs = [(_seconds(one), _seconds(other)) for _ in range(runs)]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def _process(arguments: list[str], environment: dict[str, str]) -> Callable[[], object]:
    return lambda: subprocess.run(arguments, check=True, capture_output=True, env=environment)


def start_up() -> None:
    """A whole process, as it starts where it is installed: with compiled modules and a cache of one's own."""
    with tempfile.TemporaryDirectory() as folder:
        own = {"PYTHONPYCACHEPREFIX": f"{folder}/compiled", "XDG_CACHE_HOME": f"{folder}/cache"}
        kept = {k: v for k, v in os.environ.items() if k not in {"PYTHONDONTWRITEBYTECODE", "TWOGAUGE_NO_CACHE"}}
        environment = {**kept, **own}
        program = [sys.executable, "-m", "twogauge", *DIAGNOSE]
        bare = _process([sys.executable, "-c", BARE], environment)
        ours, theirs = _in_turn(_process(program, environment), bare, 11)
        print(f"whole process: diagnose {ours * 1e3:.0f} ms, bare imports {theirs * 1e3:.0f} ms")
        print(f"  ratio {ours / theirs:.2f}  [<= 1.6]")
        shop = ["--rules", str(Path(__file__).resolve().parents[2] / "examples" / "bus_depot")]
        ours, theirs = _in_turn(_process([*program, *shop], environment), bare, 11)
        print(f"  with a shop's pack {ours * 1e3:.0f} ms, ratio {ours / theirs:.2f}  [<= 1.6]")
        off = {**environment, "TWOGAUGE_NO_CACHE": "1"}
        ours, theirs = _in_turn(_process([*program, *shop], off), bare, 5)
        print(f"  with a shop's pack and nothing kept of it {ours * 1e3:.0f} ms, ratio {ours / theirs:.2f}")
    looking = statistics.median(_seconds(installed.find) for _ in range(31))
    print(f"  of which looking for installed packs: {looking * 1e3:.1f} ms")


def one_diagnosis() -> None:
    reading = twogauge.Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90F")
    twogauge.diagnose(reading)
    for what, clock in (("on the clock", time.perf_counter), ("of the processor", time.process_time)):
        times = [_seconds(lambda: twogauge.diagnose(reading), clock) for _ in range(600)]
        print(f"one diagnosis in a running process: {statistics.median(times) * 1e3:.2f} ms {what}  [<= 1 ms]")


def readings(n: int, *, complete: bool) -> twogauge.Columns:
    """Return readings of a bus: both pressures and the air, or with it the temperatures a log holds as well."""
    random = np.random.default_rng(1)
    numbers = {
        "low_side": random.uniform(1.4e5, 5e5, n),
        "high_side": random.uniform(7e5, 25e5, n),
        "ambient": random.uniform(292.0, 315.0, n),
    }
    words = {"refrigerant": "R134a", "system": "bus_ac", "compressor": "running"}
    if complete:
        words["metering"] = "expansion_valve"
        for name, low, high in (
            ("return_air", 290.0, 305.0),
            ("vent_air", 275.0, 295.0),
            ("suction_line", 275.0, 300.0),
            ("liquid_line", 295.0, 330.0),
        ):
            numbers[name] = random.uniform(low, high, n)
    return twogauge.from_arrays(numbers, words)


def columns(n: int = 100_000) -> None:
    """Count the readings a second, on the clock and by the processor, and what copying their bytes would take."""
    program = twogauge.program_for()
    copied = _bandwidth()
    for label, complete in (("three numbers", False), ("seven numbers", True)):
        some = readings(n, complete=complete)
        twogauge.weigh_columns(some, program)
        busy = min(
            _seconds(lambda some=some: twogauge.weigh_columns(some, program), time.process_time) for _ in range(9)
        )
        one, two = _in_turn(
            lambda some=some: twogauge.weigh_columns(some, program),
            lambda some=some: twogauge.weigh_columns(some, program, threads=2),
            9,
        )
        print(f"{n} readings of {label}: {n / busy:,.0f} readings a second of one processor  [>= 300,000]")
        print(f"  on the clock {n / one:,.0f} with one thread, {n / two:,.0f} with two: {one / two:.2f} times")
        hypotheses = len(program.hypotheses)
        moved = 8 * len(some.numbers) + 2 * len(some.words) + 2 * 8 * hypotheses + 3
        limit = copied / moved
        print(f"  {moved} bytes in and out of each: copying them alone, {limit / 1e6:.0f} million a second at")
        print(f"  {copied / 1e9:.1f} GB/s, so {limit * busy / n:.0f} times off what the memory allows")
    tracemalloc.start()
    result = twogauge.weigh_columns(some, program)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    kept = result.probability.nbytes + result.weight.nbytes
    print(f"  peak memory {peak / 1e6:.0f} MB, of which the result {kept / 1e6:.0f} MB")


def _bandwidth(size: int = 2**27) -> float:
    """Return how many bytes a second numpy copies, each read and written counted once."""
    source = np.ones(size // 8)
    target = np.empty_like(source)
    return size / min(_seconds(lambda: np.copyto(target, source)) for _ in range(7))


def saturation(n: int = 20_000) -> None:
    from CoolProp.CoolProp import PropsSI

    random = np.random.default_rng(2)
    for name, target in (("R134a", 5), ("R404A", 50)):
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
