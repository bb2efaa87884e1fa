"""A table of readings answers exactly as its rows would one by one, whatever the columns are made of."""

from __future__ import annotations

import datetime as dt
import decimal
import pickle
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from strategies import Told, columns_told, number_text
from twogauge import FileProblems, InputError, Reading, diagnose, diagnose_table, program_for, read_file
from twogauge.fields import FIELDS
from twogauge.fleet.answer import SCHEMA, WATCHED
from twogauge.fleet.column_map import ColumnMap, Source, map_from_header, read_map
from twogauge.fleet.table import Diagnoser
from twogauge.quantities import UnitSet, symbol_for, to_unit
from twogauge.reading import ReadingError
from twogauge.weigh import CHUNK

EXAMPLES = sorted((Path(__file__).parents[2] / "examples" / "readings").glob("*.yaml"))


def one_by_one(readings: Sequence[Reading]) -> list[dict[str, object]]:
    """What a table must say about these readings, worked out one at a time."""
    rows = []
    for reading in readings:
        found = diagnose(reading)
        known = {shown.name: shown.value for shown in found.derived}
        rows.append(
            {
                "verdict": found.verdict,
                "first": found.ranking[0].fault,
                "first_probability": found.ranking[0].probability,
                "first_weight": found.ranking[0].weight,
                "second_probability": found.ranking[1].probability,
                "gate": found.gates[0].gate if found.verdict == "gated" else None,
                **{name: known.get(name) for name in WATCHED},
                "trouble": None,
            }
        )
    return rows


def assert_same(table: pa.RecordBatch, readings: Sequence[Reading]) -> None:
    assert table.schema.equals(SCHEMA)
    got = table.to_pylist()
    assert len(got) == len(readings)
    for row, wanted in zip(got, one_by_one(readings), strict=True):
        for name, value in wanted.items():
            if isinstance(value, float):
                assert row[name] == pytest.approx(value, rel=1e-9, abs=1e-9), name
            elif name == "first" and abs(row["first_probability"] - row["second_probability"]) < 1e-9:
                continue  # equally probable: either may come first
            else:
                assert row[name] == value, name


# -- readings as a table --------------------------------------------------------------------------------------------


def as_table(told: Sequence[Told], *, text: bool) -> tuple[pa.Table, ColumnMap]:
    """Write readings as columns of SI units, as numbers or as text; what is told in words makes a column text."""
    columns: dict[str, list[object]] = {}
    fields: dict[str, Source] = {}
    n = len(told)

    def cell(name: str, row: int, value: object) -> None:
        columns.setdefault(name, [None] * n)[row] = value

    for row, each in enumerate(told):
        for name, value in [*each.numbers.items(), *([each.air] if each.air else [])]:
            dimension = FIELDS[name].dimension
            symbol = symbol_for(dimension, UnitSet.SI)
            if isinstance(value, tuple):
                cell(name, row, " to ".join(number_text(end, dimension, symbol) for end in value))
            elif text:
                cell(name, row, number_text(value, dimension, symbol).split(" ")[0])
            else:
                cell(name, row, float(number_text(value, dimension, symbol).split(" ")[0]))
            fields[name] = Source((name,), symbol)
        for name, word in (*each.words.items(), *each.checks.items()):
            cell(name, row, word)
            known = FIELDS.get(name)
            unit = symbol_for(known.dimension, UnitSet.SI) if known and known.dimension else ""
            fields[name] = Source((name,), unit)
    arrays = {}
    for name, values in columns.items():
        mixed = any(isinstance(v, str) for v in values)
        arrays[name] = pa.array([None if v is None else str(v) for v in values] if mixed else values)
    return pa.table(arrays) if arrays else pa.table({"note": pa.nulls(n, pa.string())}), ColumnMap(
        fields, units=UnitSet.SI
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(st.data())
def test_a_table_says_what_its_rows_say_one_by_one(data: st.DataObject) -> None:
    told = [Told(each.numbers, each.words, each.checks, air=each.air) for each in data.draw(columns_told(most=8))]
    table, column_map = as_table(told, text=data.draw(st.booleans()))
    if data.draw(st.booleans()):
        table = pa.table(
            {
                n: c.combine_chunks().dictionary_encode()
                for n, c in zip(table.schema.names, table.columns, strict=True)
            }
        )
    assert_same(diagnose_table(table, column_map=column_map), [each.reading() for each in told])


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_example_as_constants_of_a_table_of_one_row(path: Path) -> None:
    reading, _ = read_file(path)
    if reading.given.get("baseline") is not None and isinstance(reading.given["baseline"], str):
        pytest.skip("a baseline in a file of its own belongs to one machine")
    constants = {name: value for name, value in reading.given.items() if name != "ambient"}
    written = reading.given.get("ambient")
    kelvin = reading.parts.numbers.get("ambient")
    table = pa.table({"ambient": pa.array([None if written is None else kelvin], pa.float64())})
    column_map = ColumnMap({"ambient": Source(("ambient",), "K")}, constants, reading.units)
    assert_same(diagnose_table(table, column_map=column_map), [reading])


def test_the_same_rows_however_they_are_cut() -> None:
    table = many_rows(CHUNK + 700)
    whole = diagnose_table(table)
    pieces = pa.Table.from_batches(table.combine_chunks().to_batches(max_chunksize=997))
    assert diagnose_table(pieces).equals(whole)
    one = diagnose_table(table.slice(CHUNK + 13, 1))
    assert one.equals(whole.slice(CHUNK + 13, 1))


def many_rows(n: int, seed: int = 3) -> pa.Table:
    rng = np.random.default_rng(seed)
    return pa.table(
        {
            "refrigerant": pa.array(["R134a", "R12", "R1234yf"]).take(pa.array(rng.integers(0, 3, n))),
            "low side [psi]": pa.array(rng.normal(32, 9, n), mask=rng.random(n) < 0.05),
            "high-side (psi)": rng.normal(210, 45, n).astype(np.float32),
            "ambient [degC]": rng.integers(15, 40, n).astype(np.int8),
            "vent [degF]": rng.normal(48, 8, n),
            "compressor": pa.array(["running", "off", None]).take(pa.array(rng.integers(0, 3, n))),
        }
    )


# -- kinds of columns -----------------------------------------------------------------------------------------------

PSI = [35.0, 20.0, 48.0]
KINDS = {
    "float64": pa.array(PSI),
    "float32": pa.array(PSI, pa.float32()),
    "float16": pa.array(np.array(PSI, np.float16)),
    "int8": pa.array([35, 20, 48], pa.int8()),
    "uint64": pa.array([35, 20, 48], pa.uint64()),
    "decimal": pa.array([decimal.Decimal(35), decimal.Decimal(20), decimal.Decimal(48)]),
    "text": pa.array(["35", " 20.0", "48"]),
    "large text": pa.array(["35", "20", "48"], pa.large_string()),
    "text view": pa.array(["35", "20", "48"], pa.string_view()),
    "text with units": pa.array(["35 psi", "20 psig", "48psi"]),
    "other units": pa.array(["241.3165052608 kPa", "20 psi", "3.30948350072064 bar"]),
    "dictionary": pa.array(["35", "20", "48"]).dictionary_encode(),
    "dictionary of numbers": pa.array(PSI).dictionary_encode(),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_column_is_read(kind: str) -> None:
    table = pa.table({"low_side [psi]": KINDS[kind], "high_side [psi]": [210, 150, 300]})
    readings = [
        Reading(refrigerant="R134a", low_side=f"{low} psi", high_side=f"{high} psi", ambient="90 degF")
        for low, high in zip(PSI, (210, 150, 300), strict=True)
    ]
    assert_same(diagnose_table(table, constants={"refrigerant": "R134a", "ambient": "90 degF"}), readings)


@pytest.mark.parametrize("written", ["2.4132899999999997371", "2.41329e0", "2,41329", "24.1329E-1", "1.5 to 3.1"])
def test_a_number_without_a_unit_is_in_that_of_its_column_however_it_is_written(written: str) -> None:
    column_map = ColumnMap(
        {"low_side": Source(("p",), "bar")}, {"refrigerant": "R134a", "ambient": "32 degC"}, UnitSet.SI
    )
    reading = Reading(refrigerant="R134a", low_side=f"{written} bar", ambient="32 degC")
    assert_same(diagnose_table(pa.table({"p": [written]}), column_map=column_map), [reading])


@pytest.mark.parametrize(
    "column", [pa.nulls(3), pa.nulls(3, pa.float64()), pa.array([np.nan] * 3), pa.array(["", None, "unknown"])]
)
def test_a_column_that_tells_nothing_is_as_good_as_none(column: pa.Array) -> None:
    table = pa.table({"low_side [psi]": PSI, "vent": column})
    without = table.drop_columns("vent")
    constants = {"refrigerant": "R134a", "ambient": "90 degF"}
    assert diagnose_table(table, constants=constants).equals(diagnose_table(without, constants=constants))


def test_numbers_and_truth_values_stand_for_words_that_the_map_tells() -> None:
    table = pa.table({"clutch": [1, 0, None], "doors_open": [True, False, None], "p": PSI})
    column_map = ColumnMap(
        {
            "low_side": Source(("p",), "psi"),
            "compressor": Source(("clutch",), words={"1": "running", "0": "off"}),
            "doors": Source(("doors_open",), words={"true": "open", "false": "closed"}),
        },
        {"refrigerant": "R134a", "ambient": "90 degF"},
    )
    told = [{"compressor": "running", "doors": "open"}, {"compressor": "off", "doors": "closed"}, {}]
    readings = [
        Reading({"refrigerant": "R134a", "ambient": "90 degF", "low_side": f"{p} psi", **words})
        for p, words in zip(PSI, told, strict=True)
    ]
    assert_same(diagnose_table(table, column_map=column_map), readings)


def test_two_columns_are_the_ends_of_a_swing() -> None:
    table = pa.table({"p.from": [22.0, 22.0, None], "p.to": [45.0, None, 45.0]})
    column_map = ColumnMap(
        {"low_side": Source(("p.from", "p.to"), "psi")}, {"refrigerant": "R134a", "compressor": "cycling"}
    )
    readings = [
        Reading(refrigerant="R134a", compressor="cycling", low_side=value)
        for value in ("22 to 45 psi", "22 psi", "45 psi")
    ]
    assert_same(diagnose_table(table, column_map=column_map), readings)
    header = map_from_header(["low_side.to [psi]", "low_side.from [psi]"], ())
    assert header.fields["low_side"].columns == ("low_side.from [psi]", "low_side.to [psi]")


def test_a_duration_column_counts_seconds() -> None:
    table = pa.table({"low": PSI, "running-for": [dt.timedelta(minutes=m) for m in (1, 10, 20)]})
    readings = [
        Reading(refrigerant="R134a", low_side=f"{p} psi", running_for=f"{m} min")
        for p, m in zip(PSI, (1, 10, 20), strict=True)
    ]
    assert_same(diagnose_table(table, constants={"refrigerant": "R134a"}), readings)


def test_height_and_barometer_may_change_from_row_to_row() -> None:
    table = pa.table({"low": PSI, "altitude [m]": [1500.0, None, 300.0], "barometer [kPa]": [None, None, 98.0]})
    air = [{"altitude": "1500 m"}, {}, {"barometer": "98 kPa", "altitude": "300 m"}]
    spec = {"low_side": ["20 psi", "40 psi"]}
    readings = [
        Reading({"refrigerant": "R134a", "spec": spec, "low_side": f"{p} psi", **a})
        for p, a in zip(PSI, air, strict=True)
    ]
    assert_same(diagnose_table(table, constants={"refrigerant": "R134a", "spec": spec}), readings)


@pytest.mark.parametrize(
    "gauge", ["class 1.6, 0 to 10 bar", "grade B, 0 to 150 psi", "digital 2 % of reading", "3 psi"]
)
def test_a_gauge_that_is_described_errs_as_it_does_for_one_reading(gauge: str) -> None:
    table = pa.table({"low": [*PSI, None]})
    constants = {"refrigerant": "R134a", "low_gauge": gauge, "high_side": "210 psi", "ambient": "90 degF"}
    readings = [Reading({**constants, "low_side": None if p is None else f"{p} psi"}) for p in (*PSI, None)]
    assert_same(diagnose_table(table, constants=constants), readings)


def test_what_the_row_tells_comes_before_the_constants() -> None:
    table = pa.table({"ambient [degF]": [70.0, None], "refrigerant": ["R12", None]})
    constants = {"refrigerant": "R134a", "ambient": "90 degF", "low_side": "35 psi", "high_side": "210 psi"}
    readings = [Reading({**constants, "ambient": "70 degF", "refrigerant": "R12"}), Reading(constants)]
    assert_same(diagnose_table(table, constants=constants), readings)


def test_an_empty_table_has_the_same_columns() -> None:
    empty = pa.table({"low_side": pa.array([], pa.float64())})
    assert diagnose_table(empty).schema.equals(SCHEMA)
    assert diagnose_table(empty).num_rows == 0
    assert diagnose_table(pa.table({"low_side": pa.chunked_array([], pa.float64())})).num_rows == 0


# -- rows that are no readings --------------------------------------------------------------------------------------

BAD = {
    "a pressure of another unit": ({"low_side": 900.0}, "did you mean 900 kPa?"),
    "below a vacuum": ({"low_side": -20.0}, "below a perfect vacuum"),
    "no air": ({"ambient": 300.0}, "no air people work in"),
    "no number": ({"high_side": float("inf")}, "not a number that a gauge can show"),
    "no refrigerant": ({"refrigerant": "R1234z"}, "did you mean"),
    "no answer": ({"compressor": "cyclic"}, "did you mean 'cycling'?"),
    "too high": ({"high_side": 1e7}, "more than any service gauge shows"),
    "wet over dry": ({"return_air": 70.0, "return_wet_bulb": 80.0}, "warmer than return_air"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_row_that_is_no_reading_says_why_and_spoils_no_other(case: str) -> None:
    fields, sentence = BAD[case]
    good = {
        "refrigerant": "R134a",
        "low_side": 35.0,
        "high_side": 210.0,
        "ambient": 90.0,
        "return_air": 80.0,
        "return_wet_bulb": 67.0,
        "compressor": "running",
    }
    table = pa.Table.from_pylist([good, {**good, **fields}, good])
    got = diagnose_table(table).to_pylist()
    assert sentence in got[1]["trouble"]
    assert all(value is None for name, value in got[1].items() if name != "trouble")
    assert got[0] == got[2] == diagnose_table(pa.Table.from_pylist([good])).to_pylist()[0]


@settings(max_examples=80, deadline=None)
@example("barometer", "inHg vac", 0.0)
@example("barometer", "psig", 0.0)
@given(
    st.sampled_from(
        ["low_side", "high_side", "ambient", "vent_air", "humidity", "superheat", "running_for", "barometer"]
    ),
    st.sampled_from(["psi", "psia", "bar", "inHg", "inHg vac", "torr", "micron", "degF", "K", "%", "", "s", "min"]),
    st.one_of(
        st.floats(allow_nan=False, width=32),
        st.floats(-100.0, 400.0).map(lambda x: round(x, 1)),
    ),
)
def test_a_row_is_refused_exactly_where_a_reading_is(name: str, unit: str, number: float) -> None:
    column_map = ColumnMap({name: Source((name,), unit)}, {"refrigerant": "R134a"})
    table = pa.table({name: [number]})
    reading, why = None, ""
    try:
        reading = Reading({"refrigerant": "R134a", name: f"{number!r} {unit}".strip()})
    except ReadingError as error:
        why = "; ".join(str(error).splitlines())
    try:
        got = diagnose_table(table, column_map=column_map)
    except InputError:
        assert reading is None  # a unit of another dimension is refused before any row is looked at
        return
    if reading is None:
        assert got["trouble"][0].as_py() == why
    else:
        assert_same(got, [reading])


# -- profiles -------------------------------------------------------------------------------------------------------


def test_profiles_in_a_column_and_as_a_constant() -> None:
    pack = Path(__file__).parents[2] / "examples" / "bus_depot"
    program = program_for((str(pack),))
    if not program.stack.profiles:
        pytest.fail("the example pack has no profile any more")
    profile = next(iter(program.stack.profiles))
    rows = [
        {"profile": profile, "ambient": 85.0, "low": 30.0, "high": 200.0},
        {"profile": None, "ambient": 85.0, "low": 30.0, "high": 200.0},
        {"profile": profile, "ambient": None, "low": 30.0, "high": 200.0},
        {"profile": profile, "ambient": 10.0, "low": 30.0, "high": 200.0},
        {"profile": "no_such", "ambient": 85.0, "low": 30.0, "high": 200.0},
    ]
    table = diagnose_table(pa.Table.from_pylist(rows), program=program)
    for row, got in zip(rows[:4], table.to_pylist(), strict=False):
        given = {"low_side": "30 psi", "high_side": "200 psi", "profile": row["profile"]}
        given["ambient"] = None if row["ambient"] is None else f"{row['ambient']} degF"
        single = diagnose(Reading(given), program=program)
        assert got["first_probability"] == pytest.approx(single.first.probability, rel=1e-9)
        assert got["first"] == single.first.fault
    assert "is in no pack in force" in table["trouble"][4].as_py()
    fixed = diagnose_table(
        pa.Table.from_pylist(rows[:1]).drop_columns("profile"), constants={"profile": profile}, program=program
    )
    assert fixed.equals(table.slice(0, 1))


# -- threads and processes ------------------------------------------------------------------------------------------


def test_threads_and_processes_give_the_same_bytes() -> None:
    table = many_rows(6000)
    program = program_for()
    diagnoser = Diagnoser(map_from_header(table.schema.names, program.answers), program)
    batches = table.combine_chunks().to_batches(max_chunksize=500)
    alone = [diagnoser.answer(batch) for batch in batches]
    with ThreadPoolExecutor(4) as pool:
        assert all(a.equals(b) for a, b in zip(alone, pool.map(diagnoser.answer, batches), strict=True))
    copy = pickle.loads(pickle.dumps(diagnoser))  # noqa: S301 - our own bytes
    assert copy.answer(batches[0]).equals(alone[0])
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        assert pool.submit(partial(diagnoser.answer, batches[1])).result(timeout=120).equals(alone[1])


# -- maps -----------------------------------------------------------------------------------------------------------


def test_a_map_in_a_file_says_what_the_columns_mean(tmp_path: Path) -> None:
    path = tmp_path / "map.yaml"
    path.write_text(
        "units: si\n"
        "columns:\n"
        "  machine: bus\n"
        "  time: stamp\n"
        "  low_side: {column: p1, unit: bar}\n"
        "  high_side: {column: [p2, p3], unit: bar}\n"
        "  ambient: air\n"
        '  compressor: {column: clutch, words: {"1": running, "0": off}}\n'
        "constants:\n"
        "  refrigerant: R134a\n"
        "  altitude: 300 m\n"
    )
    got = read_map(path, program_for().answers)
    assert (got.machine, got.time, got.units) == ("bus", "stamp", UnitSet.SI)
    assert got.fields["high_side"].columns == ("p2", "p3")
    assert got.fields["compressor"].words == {"1": "running", "0": "off"}
    assert set(got.columns) == {"bus", "stamp", "p1", "p2", "p3", "air", "clutch"}
    table = pa.table(
        {"p1": [2.0], "p2": [14.0], "p3": [15.0], "air": [32.0], "clutch": [1], "bus": ["7"], "stamp": [0]}
    )
    reading = Reading(
        refrigerant="R134a",
        altitude="300 m",
        low_side="2 bar",
        high_side="14 to 15 bar",
        ambient="32 degC",
        compressor="running",
    )
    assert_same(diagnose_table(table, column_map=got), [reading])


WRONG_MAPS = {
    "colums: {}": ("1:1", "did you mean 'columns'?"),
    "columns: {low_sid: p}": ("1:11", "did you mean 'low_side'"),
    "columns: {low_side: {column: p, unit: furlong}}": ("1:39", "'furlong'"),
    "columns: {low_side: {column: p, unit: degF}}": ("1:39", "'degF' is a temperature"),
    "columns: {low_side: {colum: p}}": ("1:21", "the name of a column"),
    "columns: {compressor: {column: c, words: {a: runing}}}": ("1:46", "did you mean 'running'?"),
    "columns: {ambient: [a, b]}": ("1:20", "one column belongs here"),
    "columns: {compressor: {column: c, unit: psi}}": ("1:41", "has no unit"),
    "columns: {low_side: p}\nconstants: {refrigerant: R134b}": ("2:26", "did you mean"),
    "columns: {low_side: p}\nconstants: {ambient: 90 bar}": ("2:22", "pressure"),
    "units: yards\ncolumns: {low_side: p}": ("1:8", "us, si, metric"),
    "columns: {machine: {column: bus, unit: psi}}": ("1:40", "only the name of a column"),
    "[]": ("1:1", "a map has the keys"),
}


@pytest.mark.parametrize("text", WRONG_MAPS)
def test_what_is_wrong_in_a_map_is_told_with_its_place(text: str, tmp_path: Path) -> None:
    place, sentence = WRONG_MAPS[text]
    path = tmp_path / "map.yaml"
    path.write_text(text)
    with pytest.raises(FileProblems) as caught:
        read_map(path, program_for().answers)
    assert sentence in str(caught.value)
    assert f"map.yaml:{place}:" in str(caught.value)


def test_a_column_that_is_missing_is_told_with_the_nearest(tmp_path: Path) -> None:
    path = tmp_path / "map.yaml"
    path.write_text("columns:\n  low_side: {column: p_suctoin, unit: bar}\n")
    column_map = read_map(path, program_for().answers)
    with pytest.raises(FileProblems, match=r"map.yaml:2:22.*did you mean 'p_suction'"):
        diagnose_table(pa.table({"p_suction": [2.0]}), column_map=column_map)


def test_a_wrong_unit_names_its_field_once() -> None:
    with pytest.raises(InputError) as caught:
        map_from_header(["ambient [furlong]"], ())
    assert str(caught.value).startswith("column 'ambient [furlong]': ambient: 'furlong' is not a unit of temperature")


def test_headers_that_say_nothing_or_too_much_are_told() -> None:
    with pytest.raises(InputError, match="no column is named like"):
        diagnose_table(pa.table({"a": [1.0], "b": [2.0]}))
    with pytest.raises(InputError, match="two columns say low_side"):
        diagnose_table(pa.table({"low_side [psi]": [1.0], "low [kPa]": [2.0]}))
    with pytest.raises(InputError, match="furlong"):
        diagnose_table(pa.table({"low_side [furlong]": [1.0]}))


def test_a_column_of_the_wrong_kind_is_told() -> None:
    with pytest.raises(InputError, match="holds timestamp"):
        diagnose_table(pa.table({"low": pa.array([dt.datetime(2026, 6, 1, tzinfo=dt.UTC)])}))
    with pytest.raises(InputError, match="words belong there"):
        diagnose_table(pa.table({"compressor": [[1, 2]]}))


def test_units_of_a_header_may_stand_in_a_row_below_it() -> None:
    got = map_from_header(["low", "ambient", "note"], (), row=["bar", "degC", ""])
    assert {name: source.unit for name, source in got.fields.items()} == {"low_side": "bar", "ambient": "degC"}
    assert to_unit(0.0, FIELDS["ambient"].dimension, "degC") == pytest.approx(-273.15)
