"""How much truly steady time the windows find in simulated logs, and how many windows are false.

.venv/bin/python tests/benchmarks/windows.py          a hundred days of an invented bus, a minute or two
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from bus_simulation import day, score, simulate, the_map
from twogauge import program_for
from twogauge.fleet.windows import find_windows


def main(days: int = 100) -> None:
    """Print the table."""
    program = program_for()
    print("every [s]  noise  steady found  cycling found  windows  false (not within 2 K for half of the time)")
    for every, noise in ((1.0, 1.0), (2.0, 1.0), (5.0, 1.0), (5.0, 3.0), (10.0, 1.0)):
        total: dict[str, float] = {}
        for seed in range(days):
            log = simulate(day(seed), seed=1000 + seed, every=every, noise=noise, wander=3.0)
            for name, value in score(log, find_windows(log.table(), the_map(), program)[0]).items():
                total[name] = total.get(name, 0.0) + value
        print(
            f"{every:9.0f} {noise:6.0f} {total['steady found'] / total['steady time']:12.1%} "
            f"{total['cycling found'] / total['cycling time']:13.1%} {total['windows']:9.0f} {total['false']:6.0f}"
        )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
