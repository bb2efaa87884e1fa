"""Logs of readings for the tests, as tables and as files of every kind."""

from __future__ import annotations

import bz2
import gzip
import json
import lzma
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from pyarrow import csv as pa_csv

CONSTANTS = {"refrigerant": "R134a", "system": "bus_ac"}
SET = [part for name, value in CONSTANTS.items() for part in ("--set", f"{name}={value}")]


def log(n: int, seed: int = 7, *, bad: float = 0.0) -> pa.Table:
    """n rows of three buses; a share of them with a pressure that no machine can show."""
    rng = np.random.default_rng(seed)
    low = rng.normal(2.2, 0.6, n).clip(0.2, 6.0).round(2)
    low[rng.random(n) < bad] = 900.5
    return pa.table(
        {
            "machine": pa.array(["bus 4", "bus 17", "bus 22"]).take(pa.array(rng.integers(0, 3, n))),
            "time": pa.array([f"2026-06-01T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}" for i in range(n)]),
            "low_side [bar]": low,
            "high_side [bar]": rng.normal(14.0, 3.0, n).clip(4.0, 24.0).round(2),
            "ambient [degC]": rng.normal(29.0, 4.0, n).clip(12.0, 43.0).round(1),
            "compressor": pa.array(["running", "cycling", None]).take(pa.array(rng.integers(0, 3, n))),
            "odometer": rng.integers(10_000, 90_000, n),
        }
    )


def as_csv(table: pa.Table, path: Path, delimiter: str = ",") -> Path:
    pa_csv.write_csv(table, path, pa_csv.WriteOptions(delimiter=delimiter))
    return path


def as_json(table: pa.Table, path: Path) -> Path:
    path.write_text("".join(json.dumps(row) + "\n" for row in table.to_pylist()), "utf-8")
    return path


def as_arrow(table: pa.Table, path: Path) -> Path:
    with (pa.ipc.new_stream if path.suffix == ".arrows" else pa.ipc.new_file)(str(path), table.schema) as writer:
        writer.write_table(table)
    return path


def as_parquet(table: pa.Table, path: Path) -> Path:
    pq.write_table(table, path)
    return path


def packed(path: Path, how: str) -> Path:
    data, target = path.read_bytes(), path.with_name(f"{path.name}.{how}")
    if how in {"gz", "bz2", "xz"}:
        target.write_bytes({"gz": gzip.compress, "bz2": bz2.compress, "xz": lzma.compress}[how](data))
    else:
        with pa.CompressedOutputStream(str(target), {"zst": "zstd"}.get(how, how)) as file:
            file.write(data)
    return target


WRITERS = {"csv": as_csv, "jsonl": as_json, "arrow": as_arrow, "arrows": as_arrow, "parquet": as_parquet}


def written(table: pa.Table, folder: Path, kind: str) -> Path:
    return WRITERS[kind](table, folder / f"log.{kind}")
