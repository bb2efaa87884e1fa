"""The recipe for Dask: two worker processes, one of them killed on the way, and the same bytes as without a cluster."""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from types import ModuleType

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

pytest.importorskip("distributed")

RECIPE = Path(__file__).parents[2] / "examples" / "fleet" / "with_dask.py"
MAP = """\
units: si
columns:
  machine: bus
  low_side: {column: low, unit: bar}
  high_side: {column: high, unit: bar}
  ambient: air
constants: {refrigerant: R134a, system: bus_ac}
"""
GROUPS, ROWS = 24, 3000


@pytest.fixture(scope="module")
def recipe() -> Iterator[ModuleType]:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(RECIPE.parent)  # the workers inherit it
        yield importlib.import_module("with_dask")


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    folder = tmp_path_factory.mktemp("logs")
    (folder / "map.yaml").write_text(MAP)
    rng = np.random.default_rng(1)
    names = []
    for number in range(2):
        n = GROUPS // 2 * ROWS
        table = pa.table(
            {
                "bus": pa.array([f"bus {number}"] * n),
                "low": np.round(rng.normal(2.2, 0.6, n), 2),
                "high": np.round(rng.normal(14.0, 3.0, n), 1),
                "air": np.round(rng.normal(30.0, 4.0, n), 1),
            }
        )
        names.append(str(folder / f"bus_{number}.parquet"))
        pq.write_table(table, names[-1], row_group_size=ROWS)
    return folder, names


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def locally(
    recipe: ModuleType, logs: tuple[Path, list[str]], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, bytes]:
    """What the same pieces give without any cluster."""
    folder, names = logs
    out = tmp_path_factory.mktemp("locally")
    assert (
        recipe.run_local(recipe.pieces_of(names, str(out)), recipe.diagnoser_for(str(folder / "map.yaml")))
        == GROUPS * ROWS
    )
    found = contents(out)
    assert len(found) == GROUPS
    return found


def test_a_worker_that_is_killed_on_the_way_changes_no_byte(
    recipe: ModuleType, logs: tuple[Path, list[str]], locally: dict[str, bytes], tmp_path: Path
) -> None:
    from distributed import Client, LocalCluster

    folder, names = logs
    pieces = recipe.pieces_of(names, str(tmp_path))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what a cluster says about dead workers and sockets is its own business
        with (
            LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True) as cluster,
            Client(cluster) as client,
        ):
            before = client.run(os.getpid)
            assert len(set(before.values()) - {os.getpid()}) == 2
            killed = killing_one_worker(client, tmp_path)
            rows = recipe.run_on(client, pieces, str(folder / "map.yaml"))
            victim = killed.result(timeout=300)
            after = client.run(os.getpid, on_error="ignore")  # one may just be coming back
    assert rows == GROUPS * ROWS
    assert victim in before.values()
    assert victim not in after.values()
    left = {path.name for path in tmp_path.iterdir()} - set(locally)
    assert all(
        name.endswith(".tmp") for name in left
    )  # what a dying worker was about to write has no name of a table yet
    assert {name: content for name, content in contents(tmp_path).items() if name not in left} == locally


def killing_one_worker(client: object, out: Path) -> Future[int]:
    """Kill a worker as soon as some answers are there, but not all; return a future of its process id."""
    workers = client.run(os.getpid)

    def kill() -> int:
        end = time.monotonic() + 300
        while time.monotonic() < end:
            if 2 <= len(list(out.glob("*.parquet"))) < GROUPS - 4:
                victim = next(iter(workers.values()))
                os.kill(victim, signal.SIGKILL)
                return victim
            time.sleep(0.005)
        raise AssertionError("never in the middle of the run")

    return ThreadPoolExecutor(1).submit(kill)


def test_the_example_runs_as_a_script(
    logs: tuple[Path, list[str]], locally: dict[str, bytes], tmp_path: Path
) -> None:
    folder, names = logs
    command = [sys.executable, str(RECIPE), "--map", str(folder / "map.yaml"), "--out", str(tmp_path / "out"), *names]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=180)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(f"{GROUPS * ROWS} rows, {GROUPS} files")
    assert contents(tmp_path / "out") == locally
