"""Diagnose Parquet logs on a Dask cluster: each row group is a task, each answer a file of its own.

    python examples/fleet/with_dask.py --map MAP.yaml --out ANSWERS LOG.parquet...              two workers on this machine
    python examples/fleet/with_dask.py --map MAP.yaml --out ANSWERS --scheduler ADDRESS LOG.parquet...

It needs dask[distributed] beside twogauge[fleet]. Dask decides which worker takes what, and gives the tasks of a worker
that died to another. A task names its file by its log and row group and puts it in place whole, so that one that is done
twice changes nothing: the answers are the same, byte for byte, as those of this script without a cluster (--local).
The workers must see the folders under the same names.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass
from pathlib import Path

import pyarrow.parquet as pq

from twogauge import program_for
from twogauge.fleet.column_map import read_map
from twogauge.fleet.table import Diagnoser


@dataclass(frozen=True)
class Piece:
    """One row group of one log, and the file its answers go to."""

    log: str
    group: int
    out: str


def diagnoser_for(map_file: str) -> Diagnoser:
    """Return what answers rows: the map and the compiled rules."""
    program = program_for()
    return Diagnoser(read_map(map_file, program.answers), program)


def pieces_of(logs: list[str], out: str) -> list[Piece]:
    """Return every row group of the logs, in order."""
    return [
        Piece(log, group, str(Path(out) / f"{number:05}-{Path(log).stem}-{group:05}.parquet"))
        for number, log in enumerate(logs)
        for group in range(pq.ParquetFile(log).metadata.num_row_groups)
    ]


def answer(piece: Piece, diagnoser: Diagnoser) -> int:
    """Answer one piece, put its file in place, and return how many rows it has."""
    columns = list(diagnoser.map.columns)
    with pq.ParquetFile(piece.log) as file:
        table = file.read_row_group(piece.group, columns=columns).combine_chunks()
    part = Path(f"{piece.out}.{os.urandom(8).hex()}.tmp")
    with pq.ParquetWriter(part, diagnoser.schema) as writer:
        for batch in table.to_batches():
            writer.write_batch(diagnoser.answer(batch))
    part.replace(piece.out)
    return table.num_rows


def run_local(pieces: list[Piece], diagnoser: Diagnoser) -> int:
    """Answer all pieces one after the other."""
    return sum(answer(piece, diagnoser) for piece in pieces)


def run_on(client: object, pieces: list[Piece], map_file: str) -> int:
    """Answer all pieces on a cluster.

    Args:
        client: of Dask's distributed scheduler.
        pieces: as `pieces_of` gives them.
        map_file: what the columns mean.
    """
    # A task like the others, and not scattered data: it is made anew if the workers that hold it die.
    diagnoser = client.submit(diagnoser_for, map_file, pure=False, retries=3)
    return sum(client.gather(client.map(answer, pieces, diagnoser=diagnoser, pure=False, retries=3)))


def main() -> None:
    """Read the command line, answer, and say how many rows there were."""
    asked = argparse.ArgumentParser(description="Diagnose Parquet logs on a Dask cluster.")
    asked.add_argument("logs", nargs="+", metavar="LOG.parquet")
    asked.add_argument("--map", required=True)
    asked.add_argument("--out", required=True, help="a folder")
    asked.add_argument("--scheduler", help="address of a Dask scheduler; without it two workers start here")
    asked.add_argument("--local", action="store_true", help="without a cluster")
    given = asked.parse_args()

    diagnoser = diagnoser_for(given.map)  # what is wrong with the map is said before anything is started
    Path(given.out).mkdir(parents=True, exist_ok=True)
    pieces = pieces_of(given.logs, given.out)
    if given.local:
        rows = run_local(pieces, diagnoser)
    else:
        from distributed import Client, LocalCluster

        cluster = given.scheduler or LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
        with Client(cluster) as client:
            rows = run_on(client, pieces, given.map)
    print(f"{rows} rows, {len(pieces)} files in {given.out}")


if __name__ == "__main__":
    main()
