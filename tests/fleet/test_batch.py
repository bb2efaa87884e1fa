"""`twogauge batch`: the same answers as a table, whole or not at all, gone on with after a kill, and what it says."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from pyarrow import csv as pa_csv
from typer.testing import CliRunner

from fleet_logs import CONSTANTS, SET, as_csv, as_parquet, log, packed, written
from twogauge import diagnose_table, locks, program_for
from twogauge.cli.app import app
from twogauge.fleet import job, pieces, text_files
from twogauge.fleet.answer import SCHEMA
from twogauge.fleet.pieces import Parts
from twogauge.fleet.progress import Progress, line

KINDS = ("csv", "jsonl", "arrow", "arrows", "parquet")


def batch(*arguments, code=0, **kw):
    result = CliRunner().invoke(app, ["batch", *map(str, arguments)], **kw)
    assert result.exit_code == code, result.output + repr(result.exception)
    assert code or all(len(each) <= 80 for each in result.stderr.splitlines() if "/" not in each), result.stderr
    return result


def refused(*arguments):
    return " ".join(batch(*arguments, code=2).stderr.split())


def answers(path):
    """Read an output of any kind back, the answers only."""
    suffix = path.suffix
    if suffix == ".parquet":
        table = pq.read_table(path)
    elif suffix == ".csv":
        kinds = {f.name: pa.string() if pa.types.is_dictionary(f.type) else f.type for f in SCHEMA}
        table = pa_csv.read_csv(
            path, convert_options=pa_csv.ConvertOptions(column_types=kinds, strings_can_be_null=True)
        )
    elif suffix == ".jsonl":
        rows = [json.loads(each) for each in path.read_text("utf-8").splitlines()]
        return [{name: row[name] for name in SCHEMA.names} for row in rows]
    else:
        with (pa.ipc.open_stream if suffix == ".arrows" else pa.ipc.open_file)(str(path)) as reader:
            table = reader.read_all()
    return table.select(SCHEMA.names).to_pylist()


def rows_in(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))


# -- the answers ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "out"), [*zip(KINDS, KINDS[2:] + KINDS[:2], strict=True), ("csv", "csv")])
def test_the_answers_are_those_of_the_table_whatever_the_files(kind, out, tmp_path):
    table = log(300, bad=0.02)
    target = tmp_path / f"faults.{out}"
    batch(written(table, tmp_path, kind), "--out", target, *SET)
    want = diagnose_table(table, constants=CONSTANTS).to_pylist()
    got = answers(target)
    assert len(got) == len(want)
    for mine, theirs in zip(got, want, strict=True):
        for name, value in theirs.items():
            assert mine[name] == (pytest.approx(value, rel=1e-12) if isinstance(value, float) else value), name


def test_pieces_and_workers_change_no_byte(tmp_path, monkeypatch):
    files = [as_csv(log(700, seed, bad=0.01), tmp_path / f"{seed}.csv") for seed in (1, 2, 3)]
    batch(*files, "--out", tmp_path / "one.csv", "--workers", 1, *SET)
    monkeypatch.setattr(job, "PIECE", 150)
    monkeypatch.setattr(text_files, "BLOCK", 5000)
    batch(*files, "--out", tmp_path / "many.csv", "--workers", 5, *SET)
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "many.csv").read_bytes()
    assert (tmp_path / "one.csv.bad.csv").read_bytes() == (tmp_path / "many.csv.bad.csv").read_bytes()
    rows = rows_in(tmp_path / "many.csv")
    assert [row["file"] for row in rows] == [str(f) for f in files for _ in range(700)]
    assert [int(row["row"]) for row in rows] == [i + 2 for _ in files for i in range(700)]


def test_machine_time_and_kept_columns_stand_in_front(tmp_path):
    table = log(20).append_column("verdict", pa.array(["ours"] * 20))
    path = as_parquet(table, tmp_path / "log.parquet")
    batch(path, "--out", tmp_path / "out.parquet", "--keep", "odometer", "--keep", "verdict", *SET)
    got = pq.read_table(tmp_path / "out.parquet")
    names = ["file", "row", "machine", "time", "odometer", "input_verdict"]
    assert got.schema.names == [*names, *SCHEMA.names]
    assert got["machine"].to_pylist() == table["machine"].to_pylist()
    assert got["odometer"].equals(table["odometer"])
    assert got["row"].to_pylist() == list(range(1, 21))
    assert got.schema.field("superheat").metadata[b"unit"] == b"K"


def test_files_may_use_other_units_and_kinds_for_the_same_fields(tmp_path):
    one, other, third = tmp_path / "a.csv", tmp_path / "b.csv", tmp_path / "c.parquet"
    one.write_text("machine,low,high,ambient\nbus 1,30,200,90\n")
    other.write_text(
        "fleet;bus;high [bar];low [bar];ambient [degC]\nx;bus 1;13,789515;2,0684272;32,2222222\n".replace(
            "bus;", "machine;", 1
        )
    )
    as_parquet(pa.table({"machine": [1], "low": [30], "high": [200.0], "ambient": ["90"]}), third)
    batch(one, other, third, "--out", tmp_path / "out.jsonl", *SET)
    rows = [json.loads(each) for each in (tmp_path / "out.jsonl").read_text().splitlines()]
    assert [row["machine"] for row in rows] == ["bus 1", "bus 1", "1"]
    assert rows[0]["first_probability"] == pytest.approx(rows[1]["first_probability"], rel=1e-6)
    assert rows[0]["first_probability"] == rows[2]["first_probability"]


def test_a_map_and_constants(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("bus,p1,p2,air,clutch\n4,2.1,14,31,1\n4,2.1,14,31,0\n")
    column_map = tmp_path / "map.yaml"
    column_map.write_text(
        "units: metric\ncolumns:\n  machine: bus\n  low_side: p1\n  high_side: p2\n  ambient: air\n"
        '  compressor: {column: clutch, words: {"1": running, "0": off}}\nconstants: {refrigerant: R12}\n'
    )
    batch(
        path,
        "--map",
        column_map,
        "--out",
        tmp_path / "o.jsonl",
        "--set",
        "refrigerant=R134a",
        "--set",
        "system=bus_ac",
    )
    rows = [json.loads(each) for each in (tmp_path / "o.jsonl").read_text().splitlines()]
    table = pa.table({"low_side [bar]": [2.1] * 2, "high_side [bar]": [14.0] * 2, "ambient [degC]": [31] * 2,
                      "compressor": ["running", "off"]})  # fmt: skip
    for row, want in zip(rows, diagnose_table(table, constants=CONSTANTS).to_pylist(), strict=True):
        assert row["verdict"] == want["verdict"]
        assert row["first_probability"] == pytest.approx(want["first_probability"], rel=1e-12)
    said = refused(path, "--map", column_map, "--units", "us", "--out", tmp_path / "o.jsonl")
    assert "says metric" in said


def test_an_empty_log_gives_an_empty_table(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("low,high\n")
    for name in ("o.parquet", "o.csv", "o.jsonl", "o.arrow"):
        result = batch(path, "--out", tmp_path / name)
        assert "0 rows" in result.stderr
        assert answers(tmp_path / name) == []
    assert "there is no row" in batch(path, "--dry-run").stdout


def test_the_log_of_the_depot(root, tmp_path):
    folder = root / "examples" / "fleet"
    result = batch(folder / "morning.csv", "--map", folder / "map.yaml", "--out", tmp_path / "o.csv", "--json")
    assert json.loads(result.stdout)["bad"] == 2
    assert [row["row"] for row in rows_in(tmp_path / "o.csv.bad.csv")] == ["21", "42"]
    last = {row["machine"]: row for row in rows_in(tmp_path / "o.csv")}
    assert last["bus 9"]["first"] == "normal"
    assert last["bus 22"]["first"] == "low_charge"
    assert {row["gate"] for row in rows_in(tmp_path / "o.csv") if row["verdict"] == "gated"} == {"compressor_stopped"}


# -- bad rows -------------------------------------------------------------------------------------------------------


def spoilt(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(
        "machine,low,high\nbus 1,30,200\nbus 1,30,200,5\nbus 2,900,200\nbus 3,x\x1b[31m,200\nbus 1,31,200\n"
    )
    return path


def test_bad_rows_are_counted_and_listed(tmp_path):
    result = batch(spoilt(tmp_path), "--out", tmp_path / "o.csv", *SET)
    listed = rows_in(tmp_path / "o.csv.bad.csv")
    assert [(row["file"], row["row"]) for row in listed] == [(str(tmp_path / "log.csv"), each) for each in "345"]
    assert listed[0]["reason"] == "4 cells where the header names 3 columns"
    assert "did you mean 900 kPa?" in listed[1]["reason"]
    assert "\x1b" not in listed[2]["reason"] + result.stderr
    assert "5 rows of 1 file: 2 answered, 3 bad" in result.stderr
    rows = rows_in(tmp_path / "o.csv")
    assert [row["row"] for row in rows] == ["2", "4", "5", "6"]
    assert [bool(row["trouble"]) for row in rows] == [False, True, True, False]


def test_a_list_of_bad_rows_does_not_outlive_its_run(tmp_path):
    path = spoilt(tmp_path)
    batch(path, "--out", tmp_path / "o.csv", *SET)
    path.write_text("machine,low,high\nbus 1,30,200\n")
    batch(path, "--out", tmp_path / "o.csv", *SET)
    assert not (tmp_path / "o.csv.bad.csv").exists()
    (tmp_path / "mine.csv").write_text("mine\n")
    batch(path, "--out", tmp_path / "o.csv", "--bad", tmp_path / "mine.csv", *SET)
    assert (tmp_path / "mine.csv").read_text() == "mine\n"


def test_strict_stops_at_the_first_bad_row(tmp_path):
    said = refused(spoilt(tmp_path), "--out", tmp_path / "o.csv", "--strict", *SET)
    assert f"{tmp_path}/log.csv:3: 4 cells where the header names 3 columns" in said
    assert not (tmp_path / "o.csv").exists()
    result = batch(tmp_path / "log.csv", "--out", tmp_path / "o.csv", *SET)
    assert "going on with an earlier run: 5 rows" in result.stderr


def test_a_summary_for_programs(tmp_path):
    document = json.loads(batch(spoilt(tmp_path), "--out", tmp_path / "o.csv", "--json", *SET).stdout)
    assert document["schema"] == "twogauge.batch/1"
    assert (document["rows"], document["answered"], document["bad"]) == (5, 2, 3)
    assert sum(document["verdicts"].values()) == 2
    assert document["first_bad"]["row"] == 3


def test_it_is_told_how_many_rows_name_which_fault(tmp_path):
    path = tmp_path / "log.csv"
    header = "low_side [bar],high_side [bar],ambient [degC],vent_air [degC]\n"
    path.write_text(header + "0.5,7,30,22\n" * 3 + "5.5,5.8,24,25\n" * 2 + "2.1,13.5,26,8\n")
    result = batch(path, "--out", tmp_path / "o.parquet", "--json", *SET)
    rows = answers(tmp_path / "o.parquet")
    named = Counter(row["first"] for row in rows if row["verdict"] == "fault")
    assert len(named) > 1
    document = json.loads(result.stdout)
    assert document["faults"] == named
    assert sum(named.values()) == document["verdicts"]["fault"]
    told = batch(path, "--out", tmp_path / "o.parquet", *SET).stderr
    fault, count = named.most_common(1)[0]
    title = program_for().stack.faults[fault].entry.title
    assert re.search(rf"a fault\n +{count} +{re.escape(title[:40])}", told)


# -- standard input and output ---------------------------------------------------------------------------------------


def twogauge(*arguments, **kw):
    return subprocess.run(
        [sys.executable, "-m", "twogauge", *map(str, arguments)], capture_output=True, check=False, **kw
    )


@pytest.mark.parametrize("kind", KINDS)
def test_standard_input_and_output(kind, tmp_path):
    table = log(200)
    path = written(table, tmp_path, kind)
    batch(path, "--out", tmp_path / "o.csv", *SET)
    run = twogauge("batch", "-", "--out", "-", *SET, input=path.read_bytes())
    assert run.returncode == 0, run.stderr
    want = (tmp_path / "o.csv").read_text().replace(str(path), "<stdin>")
    assert run.stdout.decode() == want
    assert b"200 rows" in run.stderr
    assert b"\r" not in run.stderr


def test_packed_standard_input(tmp_path):
    path = packed(as_csv(log(50), tmp_path / "log.csv"), "gz")
    run = twogauge("batch", "-", "--out", "-", "--out-format", "jsonl", *SET, input=path.read_bytes())
    assert run.returncode == 0, run.stderr
    assert len(run.stdout.splitlines()) == 50


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no such device here")  # noqa: PTH110
def test_a_standard_output_without_room(tmp_path):
    path = as_csv(log(20), tmp_path / "log.csv")
    with open("/dev/full", "wb") as full:  # noqa: PTH123
        command = [sys.executable, "-m", "twogauge", "batch", str(path), "--out", "-", *SET]
        run = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert run.returncode == 2
    assert "standard output cannot be written (No space left on device)" in run.stderr
    assert len(run.stderr.splitlines()) == 1


# -- whole or not at all ---------------------------------------------------------------------------------------------

SMALL = (
    "from twogauge.fleet import job, text_files, columnar; job.PIECE = 250; text_files.BLOCK = 9000; "
    "columnar.ROWS = 250; from twogauge.cli.app import main; main()"
)


def small(*arguments):
    return [sys.executable, "-c", SMALL, "batch", *map(str, arguments)]


@pytest.mark.parametrize(("kind", "out"), [("csv", "o.parquet"), ("parquet", "o.jsonl.gz")])
def test_a_killed_run_is_gone_on_with_and_gives_the_same_bytes(kind, out, tmp_path):
    path = written(log(9000, bad=0.002), tmp_path, kind)
    whole = tmp_path / "whole" / out
    whole.parent.mkdir()
    arguments = [path, *SET, "--keep", "odometer", "--workers", 2]
    subprocess.run(small(*arguments, "--out", whole), check=True, capture_output=True)

    target = tmp_path / out
    parts = tmp_path / f"{out}.parts"
    for at_least in (2, 6) if kind == "csv" else (3,):
        process = subprocess.Popen(small(*arguments, "--out", target), stderr=subprocess.PIPE)
        listed = parts / "pieces.jsonl"
        until = time.monotonic() + 60
        while not listed.exists() or listed.read_bytes().count(b"\n") < at_least:
            assert process.poll() is None, process.stderr.read()
            assert time.monotonic() < until
            time.sleep(0.002)
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        assert process.returncode == -signal.SIGKILL
        assert not target.exists()
        assert not (tmp_path / f"{out}.bad.csv").exists()
    with listed.open("ab") as file:
        file.write(b'{"number": 3, "ro')  # cut off while it was written
    run = subprocess.run(small(*arguments, "--out", target), check=True, capture_output=True, text=True)
    assert "going on with an earlier run" in run.stderr
    assert target.read_bytes() == whole.read_bytes()
    assert (tmp_path / f"{out}.bad.csv").read_bytes() == (whole.parent / f"{out}.bad.csv").read_bytes()
    assert not parts.exists()


def children_of(pid):
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [int(child) for child in listed if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes()]


def begun(tmp_path, target):
    """Start a run with two processes and wait until some pieces are answered."""
    process = subprocess.Popen(
        small(as_csv(log(9000), tmp_path / "log.csv"), *SET, "--workers", 2, "--out", target),
        stderr=subprocess.PIPE,
        text=True,
    )
    listed = target.with_name(f"{target.name}.parts") / "pieces.jsonl"
    until = time.monotonic() + 60
    while not listed.exists() or not listed.read_bytes():
        assert process.poll() is None, process.stderr.read()
        assert time.monotonic() < until
        time.sleep(0.002)
    return process


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="processes are looked for as Linux lists them")
def test_workers_end_with_a_run_that_is_killed(tmp_path):
    process = begun(tmp_path, tmp_path / "o.csv")
    workers = children_of(process.pid)
    assert workers
    process.kill()
    process.communicate()
    until = time.monotonic() + 30
    while any(Path(f"/proc/{worker}").exists() for worker in workers):
        assert time.monotonic() < until
        time.sleep(0.02)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="processes are looked for as Linux lists them")
def test_a_worker_that_is_killed_ends_the_run_with_a_sentence_and_loses_nothing(tmp_path):
    target = tmp_path / "o.csv"
    process = begun(tmp_path, target)
    for worker in children_of(process.pid):
        os.kill(worker, signal.SIGKILL)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 2
    assert "a worker was ended from outside" in said
    assert "Traceback" not in said
    again = small(tmp_path / "log.csv", *SET, "--workers", 2, "--out", target)
    assert "going on with an earlier run" in subprocess.run(again, check=True, capture_output=True, text=True).stderr
    assert len(rows_in(target)) == 9000


def stopped(tmp_path, monkeypatch):
    """Leave a run behind that stopped in its middle."""
    monkeypatch.setattr(job, "PIECE", 100)
    monkeypatch.setattr(text_files, "BLOCK", 4000)
    path = as_csv(log(2000), tmp_path / "log.csv")
    with monkeypatch.context() as patch:
        patch.setattr(job, "_append", stop_after(3))
        assert batch(path, "--out", tmp_path / "o.csv", *SET, code=130)
    assert not (tmp_path / "o.csv").exists()
    return path


def stop_after(count):
    calls = []

    def stop(*_, **__):
        calls.append(1)
        if len(calls) == count:
            raise KeyboardInterrupt

    return stop


def test_an_interrupted_run_says_how_to_go_on(tmp_path, monkeypatch):
    monkeypatch.setattr(job, "_append", stop_after(1))
    path = as_csv(log(100), tmp_path / "log.csv")
    assert "the same command goes on from here" in batch(path, "--out", tmp_path / "o.csv", *SET, code=130).stderr


@pytest.mark.parametrize("what", ["inputs", "map", "rules", "options"])
def test_another_run_starts_anew_and_says_why(what, tmp_path, monkeypatch):
    path = stopped(tmp_path, monkeypatch)
    more = {"map": ["--set", "metering=orifice_tube"], "options": ["--keep", "odometer"],
            "rules": ["--without", "high_side_no_hotter_than_air"], "inputs": []}[what]  # fmt: skip
    if what == "inputs":
        os.utime(path, (1, 1))
    said = " ".join(batch(path, "--out", tmp_path / "o.csv", *SET, *more).stderr.split())
    assert re.search(rf"an earlier run was not finished, but {what} differs? now: starting anew", said)
    assert not (tmp_path / "o.csv.parts").exists()


def test_a_piece_that_did_not_last_is_answered_again(tmp_path, monkeypatch):
    path = stopped(tmp_path, monkeypatch)
    piece = min((tmp_path / "o.csv.parts").glob("*.arrow"))
    piece.write_bytes(piece.read_bytes()[:100])
    batch(path, "--out", tmp_path / "o.csv", *SET)
    batch(path, "--out", tmp_path / "again.csv", *SET)
    assert (tmp_path / "o.csv").read_bytes() == (tmp_path / "again.csv").read_bytes()


def test_a_run_that_finished_nothing_leaves_nothing(tmp_path):
    groups = [{"value": 2.1}, {"value": 2.2}]
    pq.write_table(pa.table({"low_side [bar]": groups, "ambient [degC]": [26.0, 27.0]}), tmp_path / "a.parquet")
    said = refused(tmp_path / "a.parquet", "--out", tmp_path / "o.csv", *SET)
    assert f"{tmp_path}/a.parquet: column 'low_side [bar]' holds struct" in said
    assert [path.name for path in tmp_path.iterdir()] == ["a.parquet"]


def test_standard_input_cannot_be_gone_on_with(tmp_path):
    target = tmp_path / "o.csv"
    with Parts(tmp_path / "o.csv.parts", {"version": "another"}):
        pass
    text = as_csv(log(30), tmp_path / "log.csv").read_bytes()
    run = twogauge("batch", "-", "--out", target, *SET, input=text)
    assert run.returncode == 0, run.stderr
    assert b"standard input cannot be read again" in run.stderr


def test_two_runs_do_not_mix(tmp_path, monkeypatch):
    monkeypatch.setattr(locks, "_PATIENCE", 0.0)
    path = as_csv(log(10), tmp_path / "log.csv")
    with Parts(tmp_path / "o.csv.parts", {}):
        assert "is held by another program" in refused(path, "--out", tmp_path / "o.csv", *SET)


def test_a_folder_of_somebody_else_is_left_alone(tmp_path):
    path = as_csv(log(10), tmp_path / "log.csv")
    theirs = tmp_path / "o.csv.parts" / "notes.txt"
    theirs.parent.mkdir()
    theirs.touch()
    assert "holds 'notes.txt'" in refused(path, "--out", tmp_path / "o.csv", *SET)
    assert theirs.exists()


def test_an_older_output_stays_until_the_new_one_is_whole(tmp_path):
    path = spoilt(tmp_path)
    target = tmp_path / "o.csv"
    target.write_text("old")
    target.chmod(0o640)
    refused(path, "--out", target, "--strict", *SET)
    assert target.read_text() == "old"
    batch(path, "--out", target, *SET)
    assert target.read_text() != "old"
    assert target.stat().st_mode & 0o777 == 0o640


def test_a_full_disk_is_told_and_what_is_finished_is_kept(tmp_path):
    path = as_csv(log(3000), tmp_path / "log.csv")
    limited = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000)); " + SMALL
    arguments = ["batch", path, "--out", tmp_path / "o.csv", *SET]
    run = subprocess.run(
        [sys.executable, "-c", limited, *map(str, arguments)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 2
    assert "cannot be written (File too large)" in run.stderr
    assert "Traceback" not in run.stderr
    assert not (tmp_path / "o.csv").exists()
    again = subprocess.run(small(*arguments[1:]), capture_output=True, text=True, check=True)
    assert "going on with an earlier run" in again.stderr


# -- what is refused -------------------------------------------------------------------------------------------------


def test_an_input_is_not_written_over(tmp_path):
    path = as_csv(log(10), tmp_path / "log.csv")
    before = path.read_bytes()
    (tmp_path / "link.csv").symlink_to(path)
    assert "would write over" in refused(path, "--out", tmp_path / "link.csv", *SET)
    assert "would write over" in refused(path, "--out", tmp_path / "o.csv", "--bad", path, *SET)
    assert path.read_bytes() == before


def test_files_that_do_not_tell_the_same(tmp_path):
    for name in "abc":
        (tmp_path / f"{name}.csv").write_text("low,high,vent\n30,200,50\n" if name != "c" else "low,high\n30,200\n")
    said = refused(*(tmp_path / f"{name}.csv" for name in "abc"), "--out", tmp_path / "o.csv")
    assert f"{tmp_path}/c.csv has no column for vent_air, which {tmp_path}/a.csv has" in said
    column_map = tmp_path / "map.yaml"
    column_map.write_text("columns:\n  low_side: low\n  vent_air: vent\n")
    said = refused(*(tmp_path / f"{name}.csv" for name in "abc"), "--map", column_map, "--out", tmp_path / "o.csv")
    assert f"{column_map}:3:13: {tmp_path}/c.csv has no column 'vent'" in said
    assert not (tmp_path / "o.csv.parts").exists()


REFUSED = {
    "no output": ([], "--out says where"),
    "what kind": (["--out", "o.xlsx"], "the end of the name"),
    "a device": (["--out", "/dev/null", "--out-format", "csv"], "not a file that can be replaced"),
    "packed parquet": (["--out", "o.parquet.gz"], "leave out the last ending"),
    "no folder": (["--out", "no/such/o.csv"], "there is no folder"),
    "no field": (["--out", "o.csv", "--set", "refrigerent=R134a"], "did you mean 'refrigerant'"),
    "no value": (["--out", "o.csv", "--set", "refrigerant"], "such as --set refrigerant=R134a"),
    "wrong value": (["--out", "o.csv", "--set", "system=bus"], "--set system"),
    "no column": (["--out", "o.csv", "--keep", "odo"], "no column 'odo'"),
    "no encoding": (["--out", "o.csv", "--encoding", "utf-9"], "--encoding 'utf-9' is not known"),
    "both to standard output": (["--out", "-", "--json"], "leave one of them out"),
    "no rules": (["--out", "o.csv", "--rules", "no_such"], "no_such"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused(case, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    as_csv(log(5), tmp_path / "log.csv")
    arguments, sentence = REFUSED[case]
    assert sentence in refused("log.csv", *arguments)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["log.csv"]


def test_a_spoilt_input_in_the_middle_leaves_no_output(tmp_path):
    good = as_csv(log(100), tmp_path / "a.csv")
    bad = as_csv(log(100_000), tmp_path / "b.csv")
    bad = packed(bad, "gz")
    bad.write_bytes(bad.read_bytes()[:-5000])
    assert "b.csv.gz cannot be read to its end" in refused(good, bad, "--out", tmp_path / "o.csv", *SET)
    assert not (tmp_path / "o.csv").exists()


def test_without_arrow_it_is_told_how_to_get_it(tmp_path):
    hide = "import sys; sys.modules['pyarrow'] = None; import importlib.util as u; f = u.find_spec; "
    hide += "u.find_spec = lambda n, *a: None if n == 'pyarrow' else f(n, *a); "
    run = subprocess.run(
        [sys.executable, "-c", hide + "from twogauge.cli.app import main; main()", "batch", "x.csv", "--out", "o.csv"],
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )  # fmt: skip
    assert run.returncode == 2
    assert "pip install 'twogauge[fleet]'" in run.stderr
    code = hide + "import twogauge\ntry: twogauge.diagnose_table\nexcept twogauge.InputError as e: print(e)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "pip install 'twogauge[fleet]'" in run.stdout


def test_a_column_that_is_nearly_named_like_a_field_is_told_and_not_passed_over(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("lowside [bar],high_side [bar],ambient [degC],odometer\n2.1,13.5,26,7\n")
    told = " ".join(batch(path, "--out", tmp_path / "o.csv", *SET).stderr.split())
    assert "a.csv: 'lowside [bar]' was not used; did you mean low_side?" in told
    assert "odometer" not in told
    assert "did you mean low_side?" in batch(path, "--dry-run", *SET).stdout
    document = json.loads(batch(path, "--out", tmp_path / "o.csv", "--json", *SET).stdout)
    assert document["not_used"] == [{"file": str(path), "column": "lowside [bar]", "field": "low_side"}]
    column_map = tmp_path / "map.yaml"
    column_map.write_text("columns:\n  high_side: {column: 'high_side [bar]', unit: bar}\n")
    assert "was not used" not in batch(path, "--map", column_map, "--out", tmp_path / "o.csv", *SET).stderr


# -- what is shown ---------------------------------------------------------------------------------------------------


def test_a_dry_run_shows_how_columns_are_understood(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("a.csv", "b.csv"):
        as_csv(log(50), tmp_path / name)
    result = batch("a.csv", "b.csv", "--dry-run", *SET)
    assert re.search(r"high_side \[bar\] +high_side +bar\n", result.stdout)
    assert "not used: odometer" in result.stdout
    assert "refrigerant R134a" in result.stdout
    assert "b.csv: CSV with commas, as above" in result.stdout
    assert result.stdout.count("row ") == 5
    assert "nothing wrong, 9" in result.stdout or "nothing wrong, 8" in result.stdout
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "b.csv"]
    document = json.loads(batch("a.csv", "--dry-run", "--json", *SET).stdout)
    assert document["files"][0]["columns"][2] == {
        "column": "low_side [bar]",
        "field": "low_side",
        "unit": "bar",
        "words": {},
    }
    assert len(document["answers"]) == 5


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_shares_are_counts_and_nothing_is_less_sure_than_it_is(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("low_side [bar],high_side [bar],ambient [degC]\n" + "2.1,13.5,26\n" * 3)
    assert "  3  100 %  nothing wrong\n" in batch(path, "--out", tmp_path / "o.csv", *SET).stderr


def test_progress_is_shown_on_a_terminal_and_nowhere_else():
    ticks = iter(float(i) for i in range(100))
    terminal, pipe = Terminal(), io.StringIO()
    for stream in (terminal, pipe):
        progress = Progress(stream, 1000, lambda: next(ticks))
        progress.update(500, 100, worked=False)
        progress.update(500, 300)
        progress.update(500, 500)
        progress.clear()
    assert pipe.getvalue() == ""
    shown = terminal.getvalue().split("\r")
    assert "50%" in shown[-3]
    assert "1,000 rows" in shown[-3]
    assert shown[-1] == ""


def test_the_time_left_counts_only_this_run():
    assert line(1000, 10.0, 600, 1000, 500).endswith("100 rows/s  0:40 left")
    assert line(1000, 10.0, 0, 0) == "1,000 rows  100 rows/s"


def test_the_digest_of_a_run_depends_on_no_order():
    assert pieces.digest({"a": {1, 2}, "b": frozenset({"x", "y"})}) == pieces.digest({"b": {"y", "x"}, "a": {2, 1}})
    assert pieces.digest({"a": 1}) != pieces.digest({"a": 2})
