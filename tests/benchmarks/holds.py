"""How often `twogauge hold` names the cause of simulated logs: a table of causes against answers.

    .venv/bin/python tests/benchmarks/holds.py              1000 logs, of all causes alike; some minutes
    .venv/bin/python tests/benchmarks/holds.py 200          so many
    .venv/bin/python tests/benchmarks/holds.py 200 short    cut off after five minutes
    .venv/bin/python tests/benchmarks/holds.py 200 dial     read off a compound gauge, to half an inch of mercury
    .venv/bin/python tests/benchmarks/holds.py 200 tails    of what gives off slowly: diffusion, pools of oil
    .venv/bin/python tests/benchmarks/holds.py 1000 "" 7    seeds from 7000 on, so that nothing was fitted to them

The logs are those of tests/hold_simulation.py, whose gauge is described there; each goes through the whole way
from the text of a file to the answer. tests/service/test_holdfit.py does the same with fewer.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import hold_simulation as simulation

NOT_SAID = "cannot say"


def answer(seed: int, how: str = "") -> tuple[str, str, float, int]:
    """Return the cause of one log, the answer, its probability and the seed."""
    causes = list(simulation.TAILS) if how == "tails" else simulation.CAUSES
    log = simulation.simulate(seed, causes[seed % len(causes)])
    found = simulation.judged(log, how)
    return log.cause, found.cause or NOT_SAID, found.weighed.ranked()[0][1], seed


def table(found: list[tuple[str, str, float, int]]) -> str:
    counted = Counter((cause, said) for cause, said, _, _ in found)
    columns = [*simulation.CAUSES, NOT_SAID]
    lines = [" " * 20 + "".join(name.replace("_and_", "+")[:12].rjust(13) for name in columns)]
    lines += [
        cause.ljust(20) + "".join(str(counted[cause, said] or ".").rjust(13) for said in columns)
        for cause in dict.fromkeys(cause for cause, *_ in found)
    ]
    right = sum(said in simulation.TAILS.get(cause, (cause,)) for cause, said, _, _ in found)
    silent = sum(said == NOT_SAID for _, said, _, _ in found)
    wrong = [
        f"{seed}: {cause} taken for {said} ({p:.2f})"
        for cause, said, p, seed in found
        if said not in {*simulation.TAILS.get(cause, (cause,)), NOT_SAID}
    ]
    lines.append(f"{right} of {len(found)} named ({right / len(found):.1%}), {silent} cannot say, {len(wrong)} wrong")
    return "\n".join([*lines, *wrong])


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    how = sys.argv[2] if len(sys.argv) > 2 else ""
    first = 1000 * int(sys.argv[3]) if len(sys.argv) > 3 else 0
    with ProcessPoolExecutor() as pool:
        print(table(list(pool.map(answer, range(first, first + count), [how] * count, chunksize=5))))


if __name__ == "__main__":
    main()
