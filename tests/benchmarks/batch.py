"""What a run over a long log costs, Parquet to Parquet; run by hand: `python tests/benchmarks/batch.py [ROWS]`.

Prints the rate, processor time and peak memory of whole `twogauge batch` processes, and how they grow with ten times
the rows. Processor time says more than the clock where others work on the machine too.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

ROWS = 1_000_000
STEP = 250_000
CONSTANTS = ("refrigerant=R134a", "system=bus_ac", "metering=expansion_valve")


def write_log(path: Path, rows: int, *, row_group: int = STEP) -> None:
    """Write a log of complete readings of forty buses, some in want of refrigerant, some without a fan."""
    rng = np.random.default_rng(5)
    writer = None
    for start in range(0, rows, STEP):
        n = min(STEP, rows - start)
        ambient = rng.normal(29.0, 4.0, n).clip(16.0, 42.0)
        charge, fan = rng.uniform(0.5, 1.05, n), rng.uniform(0.0, 1.0, n) < 0.1
        suction = (2.3 * charge + rng.normal(0.0, 0.2, n)).clip(0.2, 5.0)
        boiling = -26.0 + 26.0 * (suction + 1.0) ** 0.62 - 9.0
        table = pa.table(
            {
                "machine": pa.array([f"bus {i}" for i in range(40)]).take(pa.array(rng.integers(0, 40, n))),
                "time": pa.array(np.arange(start, start + n) * 5 + 1_780_000_000, pa.timestamp("s")),
                "low_side [bar]": suction,
                "high_side [bar]": (4.0 + 0.33 * ambient * charge + 5.0 * fan + rng.normal(0.0, 0.5, n)).clip(
                    4.0, 26.0
                ),
                "ambient [degC]": ambient,
                "vent_air [degC]": 8.0 + 20.0 * (1.05 - charge) + rng.normal(0.0, 1.0, n),
                "suction_line [degC]": boiling + 8.0 + 30.0 * (1.0 - charge).clip(0.0) + rng.normal(0.0, 1.0, n),
                "liquid_line [degC]": ambient + 6.0 + rng.normal(0.0, 1.5, n),
                "return_air [degC]": rng.normal(25.0, 2.0, n),
                "humidity [%]": rng.uniform(25.0, 85.0, n),
                "compressor": pa.array(["running"]).take(pa.array(np.zeros(n, dtype=np.int8))),
            }
        )
        writer = writer or pq.ParquetWriter(path, table.schema)
        writer.write_table(table, row_group_size=row_group)
    if writer is not None:
        writer.close()


def run(log: Path, out: Path, workers: int) -> tuple[float, float, float]:
    """Run the command and return seconds, seconds of processor time, and peak memory [MB]."""
    told = [part for each in CONSTANTS for part in ("--set", each)]
    command = [
        sys.executable,
        "-m",
        "twogauge",
        "batch",
        str(log),
        "--out",
        str(out),
        "--workers",
        str(workers),
        *told,
    ]
    began = time.perf_counter()
    process = subprocess.Popen(command, stderr=subprocess.PIPE)
    said = process.stderr.read() if process.stderr else b""
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        sys.exit(said.decode())
    return time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main() -> None:
    """Print the table."""
    rows = int(float(sys.argv[1])) if len(sys.argv) > 1 else ROWS
    with tempfile.TemporaryDirectory() as folder:
        log, out = Path(folder) / "log.parquet", Path(folder) / "faults.parquet"
        costs = []
        for n, workers in ((rows // 10, 1), (rows // 10, 2), (rows, 1), (rows, 2)):
            write_log(log, n)
            seconds, cpu, memory = run(log, out, workers)
            found = pq.ParquetFile(out).metadata.num_rows
            if found != n:
                sys.exit(f"{found} rows came out of {n}")
            costs.append(cpu)
            print(
                f"{n:>11,} rows, {workers} workers: {seconds:7.1f} s, {n / seconds:>9,.0f} rows/s; processor "
                f"{cpu:7.1f} s, {cpu / n * 1e6:5.2f} us/row; peak {memory:4.0f} MB",
                flush=True,
            )
        start = (10 * costs[0] - costs[2]) / 9
        print(
            f"ten times the rows: {(costs[2] - start) / (costs[0] - start):.1f} times the processor time, start-up apart"
        )


if __name__ == "__main__":
    main()
