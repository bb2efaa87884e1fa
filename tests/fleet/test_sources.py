"""Rows are the same whatever file they come out of, with their line numbers; files that cannot be read say why."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from fleet_logs import log, packed, written
from twogauge import InputError, program_for
from twogauge.fleet import columnar, text_files
from twogauge.fleet.bytes_in import Input, expand
from twogauge.fleet.sources import open_source
from twogauge.fleet.stretches import Options, rows_of
from twogauge.fleet.text_rows import record_lines
from twogauge.fleet.understanding import understand

KINDS = ("csv", "jsonl", "arrow", "arrows", "parquet")


def read(path, **options):
    source = open_source(Input(str(path)), Options(**options))
    (found,) = understand([source], program_for().answers, options=Options(**options))
    layout = source.layout(found.wanted)
    parts = [rows_of(each, layout, source.input.name) for each in source.stretches(found.wanted)]
    return found, parts


def cells(parts):
    """Every row as texts, with its number."""
    rows = []
    for part in parts:
        columns = {name: _plain(part.batch.column(name)) for name in part.batch.schema.names}
        rows += [
            (int(number), {name: values[i] for name, values in columns.items()})
            for i, number in enumerate(part.numbers)
        ]
    return rows


def _plain(column):
    values = column.to_pylist()
    out = []
    for value in values:
        try:
            out.append(None if value in (None, "") else float(value))
        except ValueError:
            out.append(value)
    return out


def expected(table, first):
    wanted = table.drop_columns("odometer")
    return [(i + first, row) for i, row in enumerate(wanted.to_pylist())]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("how", ["", "gz", "bz2", "xz", "zst", "lz4"])
def test_each_kind_of_file_gives_the_same_rows(kind, how, tmp_path):
    table = log(50)
    path = written(table, tmp_path, kind)
    path = packed(path, how) if how else path
    found, parts = read(path)
    assert cells(parts) == expected(table, 2 if kind == "csv" else 1)
    assert found.source.input.packed == how


@pytest.mark.parametrize("kind", KINDS)
def test_the_kind_is_found_out_by_what_is_inside(kind, tmp_path):
    path = written(log(5), tmp_path, kind).rename(tmp_path / "log")
    if kind == "csv":
        found, parts = read(path)
    else:
        found, parts = read(path.rename(tmp_path / "log.csv"))
    assert found.source.input.format == kind
    assert sum(part.batch.num_rows for part in parts) == 5


@pytest.mark.parametrize("kind", KINDS)
def test_stretches_are_small_whatever_the_file_is(kind, tmp_path, monkeypatch):
    monkeypatch.setattr(columnar, "ROWS", 64)
    monkeypatch.setattr(text_files, "BLOCK", 4000)
    table = log(1000)
    _, parts = read(written(table, tmp_path, kind))
    assert len(parts) > 10
    assert max(part.batch.num_rows for part in parts) < 120
    assert cells(parts) == expected(table, 2 if kind == "csv" else 1)


@pytest.mark.parametrize("block", [40, 41, 57, 100, 1000])
def test_line_numbers_hold_through_blank_lines_and_cells_of_several_lines(block, monkeypatch, tmp_path):
    monkeypatch.setattr(text_files, "BLOCK", block)
    lines = [
        "low,high,note",
        "1,2,a",
        "",
        '3,4,"b',
        'c ""d"""',
        "",
        "5,6,",
        '7,8,"x"',
        "9,9",
        '11,12,"e,\r',
        'f"',
        "13,14,",
    ]
    path = tmp_path / "log.csv"
    path.write_bytes(("\n".join(lines)).encode())
    _, parts = read(path)
    assert [(number, row["low"]) for number, row in cells(parts)] == [
        (2, 1),
        (4, 3),
        (7, 5),
        (8, 7),
        (10, 11),
        (12, 13),
    ]
    assert [each for part in parts for each in part.spoilt] == [(9, "2 cells where the header names 3 columns")]


def test_a_stray_quotation_mark_swallows_no_file(tmp_path, monkeypatch):
    monkeypatch.setattr(text_files, "BLOCK", 4000)
    monkeypatch.setattr(text_files, "LONGEST_LINE", 1000)
    rows = [f'{i},2,5/8" pipe' if i == 30 else f"{i},2,x" for i in range(2000)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["low,high,note", *rows]))
    _, parts = read(path)
    assert [row["low"] for _, row in cells(parts)] == list(range(2000))


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters_are_found_out(delimiter, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(f"low{delimiter}high\n30{delimiter}200\n")
    assert cells(read(path)[1]) == [(2, {"low": 30.0, "high": 200.0})]


def test_decimal_commas_are_found_out_or_told(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("machine;low [bar];high [bar]\n1,5;2,345;14,5\n1,5;2;15,125\n")
    found, parts = read(path)
    assert "decimal commas" in found.source.about
    assert parts[0].batch.to_pylist()[0] == {"low [bar]": "2.345", "high [bar]": "14.5", "machine": "1,5"}
    _, parts = read(path, decimal="point")
    assert parts[0].batch.to_pylist()[0]["low [bar]"] == "2,345"


@pytest.mark.parametrize(
    ("encoding", "told"),
    [("utf-8", ""), ("utf-8-sig", ""), ("utf-16", ""), ("cp1252", ""), ("cp1252", "latin-1"), ("cp437", "cp437")],
)
def test_encodings(encoding, told, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes("machine,low\nBüs 4,30\nBüs 5,31\n".encode(encoding))
    _, parts = read(path, encoding=told)
    assert [row["machine"] for _, row in cells(parts)] == ["Büs 4", "Büs 5"]
    assert [number for number, _ in cells(parts)] == [2, 3]


def test_a_byte_that_is_no_text_spoils_a_character_and_not_the_file(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes("machine,low\nBüs,30\n".encode() * 1 + b"Bus \xff,31\n" * 2)
    _, parts = read(path, encoding="utf-8")
    assert [row["machine"] for _, row in cells(parts)] == ["Büs", "Bus \ufffd", "Bus \ufffd"]


def test_a_row_of_units_below_the_header(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("machine,low,high,ambient\n,bar,bar,degC\nbus 4,2.1,14,30\n")
    found, parts = read(path)
    assert {name: source.unit for name, source in found.map.fields.items()} == {
        "low_side": "bar", "high_side": "bar", "ambient": "degC",
    }  # fmt: skip
    assert [number for number, _ in cells(parts)] == [3]
    _, parts = read(path, units_row=False)
    assert [number for number, _ in cells(parts)] == [2, 3]


@pytest.mark.parametrize("second", ["bus 4,2.1,14,30", "bus 4,low,high,", "bus 4,,,", "psi,bar,14,degC"])
def test_a_first_row_is_not_taken_for_units(second, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(f"machine,low,high,ambient\n{second}\nbus 4,2.1,14,30\n")
    assert [number for number, _ in cells(read(path)[1])] == [2, 3]


def test_a_unit_of_the_header_comes_before_the_row_below(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("low [psi],high\nbar,bar\n30,14\n")
    found, _ = read(path)
    assert [source.unit for source in found.map.fields.values()] == ["psi", "bar"]


def test_lines_of_json_that_do_not_agree(tmp_path):
    lines = [
        '{"low": 30, "machine": 4}',
        '{"machine": "bus 5", "low": "31 psi"}',
        "",
        "{broken",
        "[1]",
        '{"low": {"a": 1}}',
        '{"low": null, "extra": "2026-01-01"}',
        '{"low": 32.5, "machine": "2026-06-01 10:00:00"}',
        "{" * 2000,
    ]
    path = tmp_path / "log.jsonl"
    path.write_text("\n".join(lines))
    _, parts = read(path)
    got = [(number, row["low"], row["machine"]) for number, row in cells(parts)]
    assert got == [(1, 30.0, 4.0), (2, "31 psi", "bus 5"), (7, None, None), (8, 32.5, "2026-06-01 10:00:00")]
    spoilt = dict(each for part in parts for each in part.spoilt)
    assert set(spoilt) == {4, 5, 6, 9}
    assert "holds a group of values" in spoilt[6]
    assert "{...}" in spoilt[5]


def test_texts_of_json_are_handed_on_as_they_are(tmp_path):
    path = tmp_path / "log.jsonl"
    times = ["2026-06-01T10:00:00Z", "2026-06-01 10:00:01"]
    path.write_text("".join(json.dumps({"low": 30, "time": time}) + "\n" for time in times))
    assert [row["time"] for _, row in cells(read(path)[1])] == times


@pytest.mark.parametrize("quotes", [True, False])
def test_record_lines(quotes):
    data = b'a\n\n"b\nc"\r\n\r\nd'
    assert record_lines(data, quotes=quotes).tolist() == ([0, 2, 5] if quotes else [0, 2, 3, 5])
    assert record_lines(b"", quotes=quotes).tolist() == []


def test_only_the_wanted_columns_of_parquet_are_read(tmp_path):
    found, parts = read(written(log(10), tmp_path, "parquet"))
    assert "odometer" not in parts[0].batch.schema.names
    assert set(found.wanted.columns) == set(parts[0].batch.schema.names)


def test_a_large_row_group_comes_in_slices(tmp_path):
    n = 300_000
    table = pa.table({"low": np.full(n, 30.0), "note": ["x" * 50] * n})
    pa.parquet.write_table(table, tmp_path / "log.parquet", row_group_size=n)
    _, parts = read(tmp_path / "log.parquet")
    assert max(part.batch.num_rows for part in parts) == columnar.ROWS
    assert np.concatenate([part.numbers for part in parts]).tolist() == list(range(1, n + 1))


# -- what cannot be read --------------------------------------------------------------------------------------------


def refusal(path, **options):
    with pytest.raises(InputError) as error:
        read(path, **options)
    assert len(str(error.value)) < 400
    return str(error.value)


def test_missing_and_empty_files_and_folders(tmp_path):
    assert "there is no such file" in refusal(tmp_path / "no.csv")
    assert "this is a folder" in refusal(tmp_path)
    (tmp_path / "empty.csv").touch()
    assert "is empty" in refusal(tmp_path / "empty.csv")
    (tmp_path / "blank.csv").write_text("\n\n  \n")
    assert "there is no header" in refusal(tmp_path / "blank.csv")
    (tmp_path / "numbers.csv").write_text("30,200\n31,201\n")
    assert "names of the columns" in refusal(tmp_path / "numbers.csv")


@pytest.mark.parametrize("kind", ["parquet", "arrow", "arrows"])
def test_a_file_that_is_cut_short(kind, tmp_path):
    path = written(log(20_000), tmp_path, kind)
    path.write_bytes(path.read_bytes()[:-3000])
    assert "cut short or damaged" in refusal(path)
    path.write_bytes(b"no such thing at all, but long enough to be one" * 10)
    assert refusal(path)


@pytest.mark.parametrize("how", ["gz", "bz2", "xz", "zst", "lz4"])
def test_a_packed_file_that_is_cut_short(how, tmp_path, monkeypatch):
    monkeypatch.setattr(text_files, "HEAD", 1000)
    path = packed(written(log(30_000), tmp_path, "csv"), how)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert "cut short or damaged" in refusal(path)


def test_a_line_without_end_is_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"low,high\n1,2\n" + b"x" * (6 << 20))
    assert "longer than 1 MiB" in refusal(path)


def test_a_cell_may_be_long_below_the_header(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("low_side [bar],note\n2.1," + "x" * 900_000 + "\n2.2,short\n")
    _, parts = read(path)
    assert [row["low_side [bar]"] for _, row in cells(parts)] == [2.1, 2.2]


def test_lines_that_end_in_carriage_returns_alone_are_told(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"low_side [bar],note\r2.1,x\r2.2,y\r")
    with pytest.raises(InputError, match=r"a\.csv:1: its lines end in carriage returns alone"):
        read(path)


def test_a_column_that_is_there_twice(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("low,low\n1,2\n")
    assert "two columns say low_side" in refusal(path)


def test_patterns(tmp_path):
    for name in ("b.csv", "a.csv", "c.txt"):
        (tmp_path / name).write_text("low\n1\n")
    assert [Path(name).name for name in expand([str(tmp_path / "*.csv"), str(tmp_path / "c.txt")])] == [
        "a.csv",
        "b.csv",
        "c.txt",
    ]
    with pytest.raises(InputError, match="no file fits"):
        expand([str(tmp_path / "*.gz")])
    with pytest.raises(InputError, match="named twice"):
        expand([str(tmp_path / "*.csv"), str(tmp_path / "a.csv")])
    odd = tmp_path / "log[1].csv"
    odd.write_text("low\n1\n")
    assert expand([str(odd)]) == (str(odd),)
