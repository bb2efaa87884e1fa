"""`twogauge fleet`: what is printed, what is written, and what is refused with which words."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pyarrow.csv as pc_csv
import pyarrow.parquet as pq
import pytest
from pyarrow import feather
from typer.testing import CliRunner

from bus_simulation import DIRT, LEAK, SOUND, season
from twogauge.cli.app import app

MAP = """\
units: si
columns:
  machine: bus
  time: stamp
  low_side: {column: low, unit: bar}
  high_side: {column: high, unit: bar}
  suction_line: suction
  liquid_line: liquid
  ambient: air
  compressor: {column: clutch, words: {"1": running, "0": off}}
constants: {refrigerant: R134a, system: bus_ac, metering: expansion_valve}
windows: {zone: America/Chicago}
"""


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three buses over four weeks, each in a file of another kind, and a map."""
    folder = tmp_path_factory.mktemp("depot")
    for kind, bus, seed in ((SOUND, "bus 12", 1), (LEAK, "bus 17", 2), (DIRT, "bus 22", 3)):
        import pyarrow as pa

        table = pa.concat_tables([log.table(bus) for log, _ in season(kind, seed=seed, days=28, begins=7)])
        if kind == SOUND:
            pc_csv.write_csv(table, folder / "bus_12.csv")
        elif kind == LEAK:
            pq.write_table(table, folder / "bus_17.parquet")
        else:
            feather.write_feather(table, folder / "bus_22.arrow")
    (folder / "map.yaml").write_text(MAP)
    return folder


def run(*arguments, **kw):
    return CliRunner().invoke(app, ["fleet", *map(str, arguments)], **kw)


def logs(depot: Path) -> list[Path]:
    return [depot / name for name in ("bus_12.csv", "bus_17.parquet", "bus_22.arrow")]


def test_faults_come_first_and_every_line_fits(depot):
    result = run(*logs(depot), "--map", depot / "map.yaml", "--units", "si")
    assert result.exit_code == 0, result.stderr
    text = result.stdout
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "\x1b" not in text
    assert text.startswith("3 machines, 2026-06-01 to 2026-06-28 (America/Chicago)")
    assert text.index("bus 17: Too little refrigerant since 2026-06-") < text.index("bus 22:") < text.index("bus 12:")
    assert "bus 12: nothing wrong" in text
    assert "superheat higher by more than 4 K since 2026-06-" in " ".join(text.split())
    assert "h logged was usable" in text
    assert "counts, not probabilities" in text


def test_json_table_and_windows_say_the_same(depot, tmp_path):
    result = run(
        *logs(depot), "--map", depot / "map.yaml", "--json", "--table", tmp_path / "t.parquet",
        "--windows", tmp_path / "w.csv",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    document = json.loads(result.stdout)
    assert document["schema"] == "twogauge.fleet/1"
    by_name = {machine["machine"]: machine for machine in document["machines"]}
    assert {name: each["state"] for name, each in by_name.items()} == {
        "bus 12": "sound", "bus 17": "fault", "bus 22": "drift",
    }  # fmt: skip
    assert by_name["bus 17"]["calls"][-1]["title"] == "Too little refrigerant"
    hours = by_name["bus 12"]["hours"]
    assert hours["logged"] == pytest.approx(sum(hours.values()) - hours["logged"] - hours["gap"])
    table = {row["machine"]: row for row in pq.read_table(tmp_path / "t.parquet").to_pylist()}
    for name, each in by_name.items():
        row = table[name]
        assert row["state"] == each["state"]
        assert row["windows"] == each["windows"]
        assert row["superheat_per_week"] == each["trends"]["superheat"]["per_week"]
    windows = pc_csv.read_csv(tmp_path / "w.csv").to_pylist()
    assert len(windows) == sum(each["windows"] for each in by_name.values())
    assert {row["verdict"] for row in windows if row["machine"] == "bus 12"} == {"normal"}
    assert not list(tmp_path.glob(".*"))  # nothing half done is left


def test_a_picture_of_each_machine(depot, tmp_path):
    pytest.importorskip("matplotlib")
    result = run(*logs(depot), "--map", depot / "map.yaml", "--plot", tmp_path / "weeks")
    assert result.exit_code == 0, result.stderr
    assert "3 pictures in" in result.stderr
    svg = (tmp_path / "weeks" / "bus_17.svg").read_text("utf-8")
    assert "condensing over ambient" in svg
    assert "first fault: Too little refrigerant" in svg
    assert "first fault" not in (tmp_path / "weeks" / "bus_12.svg").read_text("utf-8")


def test_without_a_column_for_the_machine_each_file_is_one(depot, tmp_path):
    (tmp_path / "map.yaml").write_text(MAP.replace("  machine: bus\n", ""))
    result = run(*logs(depot), "--map", tmp_path / "map.yaml", "--json")
    assert {machine["machine"] for machine in json.loads(result.stdout)["machines"]} == {"bus_12", "bus_17", "bus_22"}


def test_a_header_may_be_map_enough(tmp_path):
    (log, _), *_ = season(SOUND, seed=5, days=1)
    table = log.table().rename_columns(
        ["machine", "time", "low [bar]", "high [bar]", "vent [degC]", "suction-line [degC]", "liquid-line [degC]",
         "ambient [degC]", "clutch"]
    )  # fmt: skip
    pq.write_table(table, tmp_path / "log.parquet")
    result = run(tmp_path / "log.parquet")
    assert result.exit_code == 0, result.stderr
    assert "bus 12:" in result.stdout


def test_what_a_machine_is_called_cannot_act_on_a_terminal_or_a_folder(tmp_path):
    pytest.importorskip("matplotlib")
    import pyarrow as pa

    days = [log.table("../../x\x1b[31m") for log, _ in season(SOUND, seed=5, days=2)]
    pq.write_table(pa.concat_tables(days), tmp_path / "log.parquet")
    (tmp_path / "map.yaml").write_text(MAP)
    result = run(tmp_path / "log.parquet", "--map", tmp_path / "map.yaml", "--plot", tmp_path / "p")
    assert result.exit_code == 0, result.stderr
    assert "\x1b" not in result.stdout
    assert [path.name for path in (tmp_path / "p").iterdir()] == ["______x__31m.svg"]


def test_files_may_write_the_same_in_other_units_and_spoilt_lines_are_counted(tmp_path):
    (log, _), *_ = season(SOUND, seed=5, days=1)
    names = ["machine", "time", "low [bar]", "high [bar]", "vent [degC]", "suction-line [degC]", "liquid-line [degC]",
             "ambient [degC]", "clutch"]  # fmt: skip
    table = log.table().rename_columns(names).drop_columns(["clutch", "vent [degC]"])
    pc_csv.write_csv(table, tmp_path / "a.csv")
    frame = log.table("bus 13").rename_columns(names).drop_columns(["clutch", "vent [degC]"]).to_pandas()
    for side in ("low", "high"):
        frame[f"{side} [bar]"] *= 100.0
    frame.rename(columns={f"{s} [bar]": f"{s} [kPa]" for s in ("low", "high")}).to_csv(
        tmp_path / "b.csv", index=False
    )
    with (tmp_path / "b.csv").open("a") as file:
        file.write("this,is,no,row,of,it,at,all,whatever\n")
    result = run(tmp_path / "a.csv", tmp_path / "b.csv", "--json")
    assert result.exit_code == 0, result.stderr
    by_name = {machine["machine"]: machine for machine in json.loads(result.stdout)["machines"]}
    one, two = by_name["bus 12"], by_name["bus 13"]
    assert one["windows"] == two["windows"] > 0
    assert one["daily"] == two["daily"]
    assert by_name["b"]["rows"]["bad"] == 1  # a line that is no row is nobody's but the file's


def refused(*arguments) -> str:
    result = run(*arguments)
    assert result.exit_code == 2, result.stdout
    assert "Traceback" not in result.stderr
    return result.stderr


def test_what_cannot_be_used_is_told(depot, tmp_path):
    good = depot / "bus_12.csv"
    assert "bus_99.csv" in refused(depot / "bus_99.csv", "--map", depot / "map.yaml")
    assert "named twice" in refused(good, good, "--map", depot / "map.yaml")
    (tmp_path / "short.csv").write_text("bus,stamp\n1,2\n")
    said = refused(good, tmp_path / "short.csv", "--map", depot / "map.yaml")
    assert "map.yaml:5:22" in said
    assert "short.csv has no column 'low'" in said
    assert "told by the end of the name" in refused(
        good, "--map", depot / "map.yaml", "--windows", tmp_path / "w.xls"
    )
    assert "there is no folder" in refused(good, "--map", depot / "map.yaml", "--table", tmp_path / "no" / "t.csv")


@pytest.mark.parametrize("suffix", ["parquet", "csv.gz", "jsonl", "arrow"])
def test_tables_are_written_as_their_names_say(depot, tmp_path, suffix):
    path = tmp_path / f"w.{suffix}"
    result = run(*logs(depot), "--map", depot / "map.yaml", "--windows", path, "--table", tmp_path / f"t.{suffix}")
    assert result.exit_code == 0, result.stderr
    rows = {
        "parquet": lambda p: pq.read_table(p).num_rows,
        "csv.gz": lambda p: len(gzip.decompress(p.read_bytes()).splitlines()) - 1,
        "jsonl": lambda p: len([json.loads(line) for line in p.read_text("utf-8").splitlines()]),
        "arrow": lambda p: feather.read_table(p).num_rows,
    }[suffix]
    assert rows(tmp_path / f"t.{suffix}") == 3
    assert rows(path) > 100


def test_what_is_written_takes_no_place_of_what_is_read(depot, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes((depot / "bus_12.csv").read_bytes())
    before = log.read_bytes()
    for option, path, words in (
        ("--windows", log, "would write over"),
        ("--table", tmp_path, "is a folder"),
        ("--table", "/dev/null", "not a file that can be replaced"),
        ("--table", tmp_path / "no" / "t.csv", "there is no folder"),
        ("--windows", tmp_path / "t.xlsx", "told by the end of the name"),
    ):
        result = run(log, "--map", depot / "map.yaml", option, path)
        assert result.exit_code == 2, option
        assert f"{option} " in result.stderr
        assert words in result.stderr
    same = tmp_path / "t.csv"
    assert "same file" in run(log, "--map", depot / "map.yaml", "--table", same, "--windows", same).stderr
    assert log.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["log.csv"]


def test_a_log_without_any_window_gives_an_empty_table_of_them(depot, tmp_path):
    lines = (depot / "bus_12.csv").read_text("utf-8").splitlines(keepends=True)
    (tmp_path / "log.csv").write_text("".join(lines[:4]))
    result = run(tmp_path / "log.csv", "--map", depot / "map.yaml", "--windows", tmp_path / "w.parquet")
    assert result.exit_code == 0, result.stderr
    table = pq.read_table(tmp_path / "w.parquet")
    assert table.num_rows == 0
    assert {"machine", "verdict", "superheat"} <= set(table.schema.names)


def test_how_far_it_is_is_told_by_the_bytes_of_all_logs_and_not_into_a_pipe(depot, monkeypatch):
    told = []
    monkeypatch.setattr("twogauge.fleet.progress.Progress.update", lambda _, rows, done: told.append((rows, done)))
    result = run(*logs(depot), "--map", depot / "map.yaml")
    assert result.stderr == ""
    behind = [done for _, done in told]
    assert behind == sorted(behind)
    assert behind[-1] == sum(path.stat().st_size for path in logs(depot))
    rows = sum(len(path.read_text().splitlines()) - 1 for path in logs(depot)[:1])
    assert sum(rows for rows, _ in told) > rows


def test_a_log_whose_times_cannot_be_read_says_so(tmp_path):
    header = "machine,time,low_side [bar],high_side [bar],ambient [degC]\n"
    (tmp_path / "log.csv").write_text(header + "bus 9,yesterday,2.1,13.5,26\n" * 3)
    text = " ".join(run(tmp_path / "log.csv").stdout.split())
    assert "Nothing of its log could be used. Of 3 rows: 3 without a time that can be read." in text
