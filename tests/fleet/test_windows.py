"""Windows worth a diagnosis: found where a simulated machine is steady or cycles, nowhere else, however the log is cut."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bus_simulation import CYCLING, HIGHWAY, STOP, TRAFFIC, Log, Machine, day, score, simulate, spans, the_map
from twogauge import FileProblems, InputError, diagnose_table, program_for
from twogauge.fleet import windows as module
from twogauge.fleet.column_map import ColumnMap, Source, read_map
from twogauge.fleet.window_rules import WindowRules
from twogauge.fleet.windows import WindowFinder, find_windows
from twogauge.quantities import UnitSet

PROGRAM = program_for()
DAY = (
    (STOP, 300), (HIGHWAY, 1500), (TRAFFIC, 1500), (STOP, 60), (HIGHWAY, 900), (STOP, 900), (CYCLING, 1500),
    (HIGHWAY, 1200), (STOP, 600),
)  # fmt: skip


def found_in(log: Log, rules: WindowRules | None = None) -> pa.Table:
    return find_windows(log.table(), the_map(rules), PROGRAM)[0]


def covered(log: Log, windows: pa.Table) -> np.ndarray:
    """Tell which rows of a log lie in a window."""
    inside = np.zeros(log.time.size, dtype=bool)
    for start, end in spans(log, windows):
        inside |= (log.time >= start) & (log.time <= end)
    return inside


def in_words(windows: pa.Table) -> list[dict[str, object]]:
    return windows.sort_by([("machine", "ascending"), ("start", "ascending")]).to_pylist()


# -- against a simulation -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("every", "noise"), [(1.0, 1.0), (5.0, 1.0), (5.0, 3.0)])
def test_what_is_steady_is_found_and_what_is_not_is_left(every: float, noise: float) -> None:
    total: dict[str, float] = {}
    for seed in (1, 2):
        log = simulate(day(seed), seed=seed, every=every, noise=noise, wander=3.0)
        for name, value in score(log, found_in(log)).items():
            total[name] = total.get(name, 0.0) + value
    assert total["steady time"] * every > 3 * 3600
    assert total["steady found"] > 0.9 * total["steady time"]
    assert total["cycling found"] > 0.75 * total["cycling time"] > 0.0
    assert total["false"] < 0.06 * total["windows"]


def test_without_the_test_of_scatter_the_windows_would_be_wrong() -> None:
    """The same log with limits so wide that nothing is refused: the check above can fail."""
    log = simulate([(HIGHWAY, 400), (TRAFFIC, 2400)], seed=5)
    wide = replace(WindowRules(), steady=dict.fromkeys(WindowRules().steady, 100.0))
    assert found_in(log, wide).num_rows > 2 * found_in(log).num_rows


def test_a_cycling_clutch_becomes_a_swing() -> None:
    log = simulate([(HIGHWAY, 400), (CYCLING, 1800)], seed=4, every=2.0)
    windows = found_in(log).filter(pc.equal(found_in(log)["kind"], "cycling"))
    assert covered(log, windows)[log.cycling].mean() > 0.85
    clutch = log.columns["clutch"][log.cycling]
    inside = log.columns["low"][log.cycling] + 1.01325
    for row in windows.to_pylist():
        assert row["compressor"] == "cycling"
        on, off = row["seconds_on [s]"], row["seconds_off [s]"]
        assert on / (on + off) == pytest.approx(clutch.mean(), abs=0.05)
        low, high = row["low_side.from [Pa absolute]"] / 1e5, row["low_side.to [Pa absolute]"] / 1e5
        assert low == pytest.approx(np.percentile(inside, 4), abs=0.12)
        assert high == pytest.approx(np.percentile(inside, 96), abs=0.12)
        assert row["suction_line [K]"] is None
        assert row["vent_air [K]"] == pytest.approx(286.0, abs=2.5)


def test_irregular_cycles_are_hardly_ever_a_reading() -> None:
    rng = np.random.default_rng(8)
    plan = [(HIGHWAY, 400)]
    for _ in range(40):
        plan += [(HIGHWAY, float(rng.integers(10, 120))), (STOP, float(rng.integers(10, 100)))]
    windows = found_in(simulate(plan, seed=8, every=2.0))
    # 40 cycles of any length: three in a row may look regular by chance, but hardly ever.
    assert windows["kind"].to_pylist().count("cycling") <= 1


def test_a_machine_that_stands_still_gives_no_window() -> None:
    log = simulate([(HIGHWAY, 600), (STOP, 7200)], seed=6)
    windows, shares, _ = find_windows(log.table(), the_map(), PROGRAM)
    assert all(end < 610 for _, end in spans(log, windows))
    assert shares["bus 12"].reasons[0] > 7100e6
    without = find_windows(log.table(), the_map(clutch=False), PROGRAM)[0]
    assert all(end < 640 for _, end in spans(log, without))


def test_where_the_time_went_adds_up() -> None:
    log = simulate(DAY, seed=7)
    windows, shares, _ = find_windows(log.table(), the_map(), PROGRAM)
    (share,) = shares.values()
    assert share.logged == round((log.time[-1] - log.time[0]) * 1e6)
    assert share.usable == sum(round((b - a) * 1e6) for a, b in spans(log, windows))
    assert share.usable > 0.35 * share.logged
    off, missing, starting, unsteady = share.reasons
    assert off > 1400e6
    assert missing == 0
    assert 250e6 < starting < 1000e6
    assert unsteady > 500e6


# -- the table is a table of readings -------------------------------------------------------------------------------


def test_the_windows_say_themselves_what_their_columns_are() -> None:
    log = simulate(DAY, seed=9)
    windows, _, column_map = find_windows(log.table(), the_map(), PROGRAM)
    assert set(windows["kind"].to_pylist()) == {"steady", "cycling"}
    mapped = diagnose_table(windows, column_map=column_map)
    by_header = diagnose_table(windows, constants=column_map.constants)
    assert mapped.equals(by_header)
    assert mapped["trouble"].null_count == mapped.num_rows
    steady = mapped.filter(pc.equal(windows["kind"].combine_chunks(), "steady"))
    assert steady["condensing_over_ambient"].to_numpy() == pytest.approx(22.0, abs=3.5)
    assert steady["superheat"].to_numpy() == pytest.approx(7.0, abs=1.5)
    assert steady["subcooling"].to_numpy() == pytest.approx(7.0, abs=1.0)


# -- however it is cut ----------------------------------------------------------------------------------------------


def fleet(seed: int) -> pa.Table:
    """Three machines row by row in one table, some rows late, doubled, missing, or with the clock set back."""
    rng = np.random.default_rng(seed)
    tables = []
    for i in range(3):
        log = simulate(
            [(STOP, 130), (HIGHWAY, 900), (CYCLING, 900), (STOP, 200), (HIGHWAY, 800)], seed=seed + i, every=4
        )
        table = log.table(f"bus {i}").to_pandas()
        for _ in range(3):
            at = int(rng.integers(0, len(table)))
            table.loc[at : at + int(rng.integers(1, 40)), "low"] = None
        if i == 1:
            at = int(rng.integers(200, len(table) - 200))
            table.loc[at:, "stamp"] -= dt.timedelta(hours=1)
        table["order"] = np.arange(len(table)) + rng.uniform(-4, 4, len(table)) + 0.1 * i
        tables.append(table)
        tables.append(table.sample(20, random_state=seed))
    import pandas as pd

    return pa.Table.from_pandas(pd.concat(tables).sort_values("order").drop(columns="order"), preserve_index=False)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.integers(0, 3), st.lists(st.integers(1, 2000), max_size=12), st.sampled_from([1, 50, 333, 10**9]))
def test_the_windows_are_the_same_however_the_log_is_cut(seed: int, cuts: list[int], held: int) -> None:
    table = fleet(seed)
    whole, shares, _ = find_windows(table, the_map(), PROGRAM)
    assert whole.num_rows > 20
    assert set(whole["kind"].to_pylist()) == {"steady", "cycling"}
    assert shares["bus 1"].set_back >= 1
    assert shares["bus 1"].twice > 0
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_HELD", held)
        finder = WindowFinder(the_map(), PROGRAM)
        ends = [0, *sorted(min(cut, table.num_rows) for cut in cuts), table.num_rows]
        pieces = [table.slice(a, b - a).combine_chunks() for a, b in pairwise(ends)]
        batches = [batch for piece in pieces for batch in piece.to_batches()]
        got = pa.Table.from_batches(list(finder.windows(batches)), schema=finder.schema)
    assert in_words(got) == in_words(whole)  # to the last bit
    assert finder.shares == shares


# -- logs as they are -----------------------------------------------------------------------------------------------


def highway(minutes: float = 20.0, every: float = 5.0, **more: object) -> pa.Table:
    n = int(minutes * 60 / every)
    stamps = [dt.datetime(2026, 6, 1, 8, tzinfo=dt.UTC) + dt.timedelta(seconds=every * i) for i in range(n)]
    columns = {"stamp": stamps, "low": [2.0] * n, "high": [13.0] * n, "air": [30.0] * n, **more}
    return pa.table(columns)


def map_of(rules: WindowRules | None = None, machine: str = "", **more: Source) -> ColumnMap:
    sides = {"low_side": Source(("low",), "bar"), "high_side": Source(("high",), "bar")}
    fields = {**sides, "ambient": Source(("air",), "degC"), **more}
    return ColumnMap(fields, {"refrigerant": "R134a"}, UnitSet.SI, machine, "stamp", rules or WindowRules())


def starts_of(windows: pa.Table) -> list[str]:
    return [row["start"].strftime("%H:%M:%S") for row in windows.to_pylist()]


def test_a_log_that_begins_while_it_runs_counts_after_the_time_to_settle() -> None:
    windows, shares, _ = find_windows(highway(), map_of(), PROGRAM)
    assert starts_of(windows) == ["08:05:00", "08:08:00", "08:11:00", "08:14:00"]
    assert windows["running_for [s]"].null_count == 4  # nobody saw the start
    assert shares[""].usable == 4 * 180e6


def test_a_start_that_is_seen_is_counted_from() -> None:
    n = 240
    clutch = ["off"] * 24 + ["running"] * (n - 24)  # started at 08:02:00
    windows, _, _ = find_windows(highway(on=clutch), map_of(compressor=Source(("on",))), PROGRAM)
    assert starts_of(windows)[0] == "08:07:00"
    assert windows["running_for [s]"][0].as_py() == 480.0


def test_a_gap_ends_what_was_before_it() -> None:
    table = highway(40)
    holes = table.filter(pa.array([not 130 <= i < 160 for i in range(table.num_rows)]))
    windows, shares, _ = find_windows(holes, map_of(), PROGRAM)
    assert shares[""].gap == 155e6
    assert starts_of(windows)[:3] == ["08:05:00", "08:18:20", "08:21:20"]
    longer = replace(WindowRules(), gap=200.0)
    across, shares, _ = find_windows(holes, map_of(longer), PROGRAM)
    assert shares[""].gap == 0
    assert any(row["start"] < holes["stamp"][130].as_py() < row["end"] for row in across.to_pylist())


def test_a_word_that_changes_ends_a_window() -> None:
    doors = ["closed"] * 100 + [None] * 20 + ["open"] * 120
    windows, _, _ = find_windows(highway(doors=doors), map_of(doors=Source(("doors",))), PROGRAM)
    assert starts_of(windows) == ["08:05:00", "08:10:00", "08:13:00", "08:16:00"]
    assert windows["doors"].to_pylist() == ["closed", "open", "open", "open"]


def test_what_is_missing_is_told_as_missing() -> None:
    n = 240
    low = [None if 80 <= i < 150 else 2.0 for i in range(n)]
    vent = [10.0 if i % 3 else None for i in range(n)]
    table = highway(vent=vent).set_column(1, "low", pa.array(low)).set_column(2, "high", pa.array([
        None if 80 <= i < 150 else 13.0 for i in range(n)]))  # fmt: skip
    windows, shares, _ = find_windows(table, map_of(vent_air=Source(("vent",), "degC")), PROGRAM)
    assert shares[""].reasons[1] > 300e6
    assert windows["vent_air [K]"].null_count == windows.num_rows  # two in three are too few
    few = replace(WindowRules(), complete=0.5)
    got = find_windows(table, map_of(few, vent_air=Source(("vent",), "degC")), PROGRAM)[0]
    assert got["vent_air [K]"].to_numpy() == pytest.approx(283.15)


def test_rows_that_are_no_readings_or_have_no_stamp_are_counted_and_left_out() -> None:
    table = highway()
    low = table["low"].to_pylist()
    low[10] = low[100] = 4000.0  # no gauge shows that
    stamps = table["stamp"].to_pylist()
    stamps[20] = None
    spoilt = table.set_column(1, "low", pa.array(low)).set_column(0, "stamp", pa.array(stamps))
    windows, shares, _ = find_windows(spoilt, map_of(), PROGRAM)
    assert (shares[""].bad, shares[""].no_time, shares[""].rows) == (2, 1, 240)
    assert windows.num_rows == 4
    assert windows["low_side.from [Pa absolute]"].to_numpy() == pytest.approx(301_325.0)


def test_late_rows_are_sorted_and_very_late_ones_left_out() -> None:
    table = highway()
    order = list(range(table.num_rows))
    order[50:55] = reversed(order[50:55])
    windows, shares, _ = find_windows(table.take(order), map_of(), PROGRAM)
    assert windows.equals(find_windows(table, map_of(), PROGRAM)[0])
    assert shares[""].too_late == 0
    # Drifting back a little at each row, a row comes too late without one jump.
    slow = [*range(60), 58, 56, 54, 52, 50, *range(60, 240)]
    assert find_windows(table.take(slow), map_of(), PROGRAM)[1][""].too_late == 2
    back = [*range(120), *range(0, 120)]  # noqa: PIE808 - both ends matter here
    assert find_windows(table.take(back), map_of(), PROGRAM)[1][""].set_back == 1


STAMPS = {
    "text": lambda t: t.strftime("%Y-%m-%d %H:%M:%S"),
    "text with a zone": lambda t: t.astimezone(dt.timezone(dt.timedelta(hours=-5))).isoformat(),
    "text with Z": lambda t: t.strftime("%Y-%m-%dT%H:%M:%S.000Z"),
    "seconds": lambda t: int(t.timestamp()),
    "milliseconds": lambda t: t.timestamp() * 1000,
    "nanoseconds": lambda t: int(t.timestamp()) * 10**9,
    "naive": lambda t: t.replace(tzinfo=None),
}


@pytest.mark.parametrize("kind", STAMPS)
def test_stamps_of_every_kind_are_read(kind: str) -> None:
    table = highway()
    stamps = pa.array([STAMPS[kind](t) for t in table["stamp"].to_pylist()])
    assert find_windows(table.set_column(0, "stamp", stamps), map_of(), PROGRAM)[0].equals(
        find_windows(table, map_of(), PROGRAM)[0]
    )


def test_stamps_without_a_zone_are_of_the_zone_of_the_map() -> None:
    table = highway()
    local = pa.array([t.replace(tzinfo=None) for t in table["stamp"].to_pylist()])
    chicago = replace(WindowRules(), zone="America/Chicago")
    windows, _, _ = find_windows(table.set_column(0, "stamp", local), map_of(chicago), PROGRAM)
    assert starts_of(windows)[0] == "13:05:00"  # five hours behind in June


def test_a_stamp_that_is_no_date_is_no_stamp() -> None:
    table = highway()
    texts = [t.strftime("%Y-%m-%d %H:%M:%S") for t in table["stamp"].to_pylist()]
    texts[3], texts[4] = "2026-06-31 08:00:00", "soon"
    shares = find_windows(table.set_column(0, "stamp", pa.array(texts)), map_of(), PROGRAM)[1]
    assert shares[""].no_time == 2


def test_an_altitude_that_changes_is_carried_into_the_windows() -> None:
    n = 240
    table = highway(height=[1500.0] * n)
    windows, _, column_map = find_windows(table, map_of(altitude=Source(("height",), "m")), PROGRAM)
    assert windows["altitude [m]"].to_numpy() == pytest.approx(1500.0, abs=0.01)
    direct = diagnose_table(table.slice(0, 1), column_map=map_of(altitude=Source(("height",), "m")))
    again = diagnose_table(windows, column_map=column_map)
    assert again["condensing_saturation"][0].as_py() == pytest.approx(
        direct["condensing_saturation"][0].as_py(), abs=0.01
    )


def test_one_bad_thermometer_spoils_only_its_own_machine() -> None:
    rng = np.random.default_rng(1)
    noisy = highway(air=rng.normal(30.0, 5.0, 240).tolist(), bus=["a"] * 240)
    fine = highway(bus=["b"] * 240)
    windows, shares, _ = find_windows(pa.concat_tables([noisy, fine]), map_of(machine="bus"), PROGRAM)
    assert set(windows["machine"].to_pylist()) == {"b"}
    assert shares["a"].usable == 0
    assert shares["a"].reasons[3] > 800e6


# -- what cannot be used --------------------------------------------------------------------------------------------


def test_logs_that_cannot_tell_what_windows_need_are_refused() -> None:
    sides = {"low_side": Source(("low",), "bar"), "high_side": Source(("high",), "bar")}
    for fields, time, sentence in (
        (sides, "", "when each row was read"),
        ({"low_side": sides["low_side"]}, "t", "when the compressor runs"),
        ({"compressor": Source(("c",)), "ambient": Source(("a",))}, "t", "low_side or high_side"),
        ({**sides, "low_side": Source(("a", "b"), "bar")}, "t", "ends of a swing"),
    ):
        with pytest.raises(InputError, match=sentence):
            WindowFinder(ColumnMap(fields, {}, UnitSet.SI, "", time), PROGRAM)


def test_far_too_many_machines_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_MACHINES", 50)
    table = highway(bus=[str(i) for i in range(240)])
    with pytest.raises(InputError, match="does column 'bus' really name them"):
        find_windows(table, map_of(machine="bus"), PROGRAM)


WRONG = {
    "windows: {length: 2 d}": ("2:19", "'d' is not a unit of time"),
    "windows: {length: 1 s}": ("2:19", "outside 10 s to 3600 s"),
    "windows: {zone: Mars/Base}": ("2:17", "not a time zone"),
    "windows: {zone: ../../etc/passwd}": ("2:17", "not a time zone"),
    "windows: {steady: {low_side: 3 bar}}": ("2:30", "a percentage belongs here"),
    "windows: {steady: {vent: 1 K}}": ("2:20", "did you mean 'vent_air'"),
    "windows: {steady: {vent_air: 0 K}}": ("2:30", "above zero"),
    "windows: {cycles: 2.5}": ("2:19", "whole number from 2 to 50"),
    "windows: {cycles: 99999999999999999999}": ("2:19", "whole number from 2 to 50"),
    "windows: {setle: 3 min}": ("2:11", "did you mean 'settle'"),
    "windows: [3 min]": ("2:10", "lines such as"),
}


@pytest.mark.parametrize("text", WRONG)
def test_what_is_wrong_under_windows_is_told_with_its_place(text: str, tmp_path: Path) -> None:
    place, sentence = WRONG[text]
    path = tmp_path / "map.yaml"
    path.write_text(f"columns: {{low_side: p}}\n{text}\n")
    with pytest.raises(FileProblems) as caught:
        read_map(path, PROGRAM.answers)
    assert f"map.yaml:{place}:" in str(caught.value)
    assert sentence in str(caught.value)


def test_the_numbers_of_a_map_are_read(tmp_path: Path) -> None:
    path = tmp_path / "map.yaml"
    path.write_text(
        "columns: {low_side: p}\n"
        "windows: {zone: America/Chicago, length: 5 min, settle: 600 s, samples: 20, complete: 90 %, cycles: 4,\n"
        "  running_above: 1.3, steady: {low_side: 6 %, vent_air: 3 degF}}\n"
    )
    rules = read_map(path, PROGRAM.answers).windows
    assert (rules.zone, rules.length, rules.settle, rules.samples) == ("America/Chicago", 300.0, 600.0, 20)
    assert (rules.complete, rules.cycles, rules.running_above) == (0.9, 4, 1.3)
    assert rules.steady["low_side"] == pytest.approx(0.06)
    assert rules.steady["vent_air"] == pytest.approx(3 / 1.8)
    assert rules.steady["high_side"] == WindowRules().steady["high_side"]


def test_a_log_of_a_machine_that_condenses_hotter_says_so() -> None:
    windows, _, column_map = find_windows(
        simulate([(HIGHWAY, 1500)], seed=3, machine=Machine(over_ambient=45.0)).table(), the_map(), PROGRAM
    )
    got = diagnose_table(windows, column_map=column_map)
    assert got["condensing_over_ambient"].to_numpy() == pytest.approx(45.0, abs=1.0)
