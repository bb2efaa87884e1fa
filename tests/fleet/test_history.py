"""What became of a machine: days vote, runs of days call, drifts and trends are told; sound machines are not accused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pytest
from scipy import stats

from bus_simulation import DIRT, LEAK, SOUND, season, the_map
from twogauge import program_for
from twogauge.fleet.answer import SCHEMA
from twogauge.fleet.history import DOWN, UP, History, Summary
from twogauge.fleet.steady import Shares
from twogauge.fleet.table import Diagnoser
from twogauge.fleet.trend import theil_sen
from twogauge.fleet.windows import STAMP, WindowFinder

PROGRAM = program_for()
MONDAY = dt.date(2026, 6, 1)


def rows_of(days: Sequence[Sequence[str]], **indicators: Sequence[float]) -> list[dict[str, object]]:
    """Return windows of days: each names a fault, or is normal, too_close, gated or bad."""
    rows = []
    for number, words in enumerate(days):
        for i, word in enumerate(words):
            start = dt.datetime(2026, 6, 1, 8 + i, tzinfo=dt.UTC) + dt.timedelta(days=number)
            verdict = word if word in ("normal", "too_close", "gated") else None if word == "bad" else "fault"
            rows.append(
                {
                    "machine": "bus 1",
                    "start": start,
                    "kind": "steady",
                    "verdict": verdict,
                    "first": "normal" if word == "normal" else word if verdict == "fault" else None,
                    **{name: values[number] for name, values in indicators.items()},
                }
            )
    return rows


def fold(rows: Sequence[dict[str, object]], *, parts: int = 1, zone: str = "UTC") -> Summary:
    history = History(zone)
    for k in range(parts):
        mine = rows[k::parts]
        windows = pa.RecordBatch.from_arrays(
            [
                pa.array([row["machine"] for row in mine], pa.string()),
                pa.array([row["start"] for row in mine], STAMP),
                pa.array([row["kind"] for row in mine], pa.string()),
            ],
            ["machine", "start", "kind"],
        )
        answers = pa.RecordBatch.from_pylist([{n: row.get(n) for n in SCHEMA.names} for row in mine], schema=SCHEMA)
        history.add(windows, answers)
    (summary,) = history.summaries({"bus 1": Shares()})
    return summary


SICK, WELL, HAZY = ["low_charge"] * 4, ["normal"] * 4, ["too_close"] * 4


def test_a_fault_is_called_on_the_third_day_in_a_row_and_holds_since_the_first() -> None:
    summary = fold(rows_of([WELL, WELL, SICK, SICK, SICK, SICK]))
    (call,) = summary.calls
    assert call.fault == "low_charge"
    assert (call.since - MONDAY).days == 2
    assert (call.called - MONDAY).days == 4
    assert summary.present == call
    assert (summary.named, summary.of, summary.days_named, summary.days) == (16, 24, 4, 6)


@pytest.mark.parametrize(
    "days",
    [
        [WELL, SICK, SICK, WELL, SICK, SICK, WELL],
        [WELL, SICK, SICK, HAZY, SICK, SICK],
        [[*SICK[:2], *WELL[:2]]] * 9,  # half of a day is not most of it
        [["low_charge", "too_close", "too_close"]] * 9,
        [["low_charge"]] * 9,  # one window is too few to name a day
        [SICK, ["overcharge"] * 4, SICK, ["overcharge"] * 4, SICK, SICK],
    ],
)
def test_outliers_and_halves_call_nothing(days: list[list[str]]) -> None:
    assert fold(rows_of(days)).calls == ()


def test_days_without_windows_neither_help_nor_harm() -> None:
    days = [WELL, SICK, [], SICK, ["gated"], ["bad", "bad"], SICK]
    summary = fold(rows_of(days))
    assert (summary.calls[0].since - MONDAY).days == 1
    assert (summary.calls[0].called - MONDAY).days == 6
    assert summary.windows == 4 * 4 + 3


def test_a_repair_ends_a_fault_and_one_good_day_does_not() -> None:
    summary = fold(rows_of([SICK, SICK, SICK, WELL, SICK, WELL, WELL, WELL, WELL]))
    (call,) = summary.calls
    assert (call.until - MONDAY).days == 4
    assert summary.present is None
    assert summary.sound
    assert summary.first == call


def test_another_fault_takes_over() -> None:
    other = ["overcharge"] * 4
    calls = fold(rows_of([SICK, SICK, SICK, other, other, other])).calls
    assert [call.fault for call in calls] == ["low_charge", "overcharge"]
    assert (calls[0].until - MONDAY).days == 2
    assert (calls[1].since - MONDAY).days == 3


def test_neither_order_nor_cuts_of_the_windows_matter() -> None:
    rng = np.random.default_rng(4)
    words = np.array(["low_charge", "normal", "too_close", "gated", "bad"])
    rows = rows_of([list(rng.choice(words, 5, p=[0.6, 0.1, 0.1, 0.1, 0.1])) for _ in range(30)], superheat=range(30))
    whole = fold(rows)
    assert whole.calls
    mixed = [rows[i] for i in rng.permutation(len(rows))]
    for parts in (2, 17):
        got = fold(mixed, parts=parts)
        assert (got.calls, got.named, got.of, got.drifts, got.windows) == (
            whole.calls, whole.named, whole.of, whole.drifts, whole.windows,
        )  # fmt: skip
        assert got.trends["superheat"].slope == pytest.approx(whole.trends["superheat"].slope)


def test_days_are_those_of_the_zone() -> None:
    rows = rows_of([SICK])
    for row in rows:
        row["start"] = dt.datetime(2026, 6, 2, 3, tzinfo=dt.UTC)  # ten in the evening in Chicago
    assert list(fold(rows).daily) == [dt.date(2026, 6, 2)]
    assert list(fold(rows, zone="America/Chicago").daily) == [dt.date(2026, 6, 1)]


def test_a_machine_drifts_when_it_leaves_its_own_first_days() -> None:
    level = [20.0] * 10 + [26.0] * 2 + [20.0] + [26.0] * 5
    summary = fold(rows_of([WELL] * 18, condensing_over_ambient=level, superheat=[8.0] * 18))
    drift = summary.drifts["condensing_over_ambient"]
    assert drift.fault == UP
    assert (drift.since - MONDAY).days == 13
    assert (drift.called - MONDAY).days == 15
    assert "superheat" not in summary.drifts
    back = fold(rows_of([WELL] * 20, condensing_over_ambient=[20.0] * 10 + [14.0] * 4 + [20.0] * 6))
    assert back.drifts == {}
    low = fold(rows_of([WELL] * 16, subcooling=[8.0] * 10 + [3.0] * 6))
    assert low.drifts["subcooling"].fault == DOWN


def test_cycling_windows_do_not_enter_the_trends() -> None:
    rows = rows_of([WELL] * 20, superheat=[8.0] * 20)
    for row in rows[::2]:
        row["kind"], row["superheat"] = "cycling", 50.0
    assert fold(rows).trends["superheat"].slope == 0.0


def test_a_machine_without_any_window_is_told_as_well() -> None:
    history = History()
    (summary,) = history.summaries({"bus 9": Shares(rows=4)})
    assert summary.machine == "bus 9"
    assert summary.windows == 0
    assert not summary.sound


# -- slopes ---------------------------------------------------------------------------------------------------------


def test_the_slope_is_that_of_another_implementation() -> None:
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(0, 8, 40))
    y = 1.7 * x + rng.normal(0, 1.0, 40)
    y[::9] += 30.0
    got = theil_sen(x, y)
    other = stats.theilslopes(y, x)
    assert got.slope == pytest.approx(other.slope, rel=1e-12)
    # Ours is wider, or the same, by how much a point resembles the one before it.
    assert got.low <= other.low_slope + 1e-9
    assert got.high >= other.high_slope - 1e-9
    assert got.high - got.low < 2.0 * (other.high_slope - other.low_slope)


@pytest.mark.parametrize(("alike", "least"), [(0.0, 0.92), (0.6, 0.86)])
def test_the_interval_holds_the_truth_about_as_often_as_it_says(alike: float, least: float) -> None:
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(300):
        noise = np.zeros(56)
        for i in range(1, 56):
            noise[i] = alike * noise[i - 1] + rng.normal()
        found = theil_sen(np.arange(56) / 7, 0.5 * np.arange(56) / 7 + noise)
        inside += found.low <= 0.5 <= found.high
    assert inside / 300 > least


def test_too_few_points_have_no_slope() -> None:
    assert theil_sen(np.arange(4.0), np.arange(4.0)) is None
    assert theil_sen(np.zeros(9), np.arange(9.0)) is None
    assert not theil_sen(np.arange(9.0), np.array([1.0, -1.0] * 4 + [1.0])).clear


# -- a simulated depot -----------------------------------------------------------------------------------------------


def summary_of(kind: str, seed: int) -> tuple[Summary, list[float], dt.date]:
    logs = season(kind, seed=seed)
    finder = WindowFinder(the_map(), PROGRAM)
    diagnoser = Diagnoser(finder.column_map, PROGRAM)
    history = History()
    batches = (batch for log, _ in logs for batch in log.table().to_batches())
    for windows in finder.windows(batches):
        history.add(windows, diagnoser.answer(windows))
    (summary,) = history.summaries(finder.shares)
    return summary, [share for _, share in logs], logs[0][0].start.date()


def test_a_slow_leak_is_seen_drifting_early_and_named_later() -> None:
    summary, shares, first = summary_of(LEAK, 3)
    assert summary.present.fault == "low_charge"
    assert summary.drifts["superheat"].fault == UP
    assert shares[(summary.drifts["superheat"].called - first).days] < 0.4
    assert summary.trends["condensing_over_ambient"].high < 0.0
    assert summary.trends["superheat"].low > 0.0
    assert 0.4 < summary.shares.usable / summary.shares.logged < 0.75


def test_a_condenser_that_gets_dirty_is_seen_drifting_early() -> None:
    summary, shares, first = summary_of(DIRT, 1)
    drift = summary.drifts["condensing_over_ambient"]
    assert drift.fault == UP
    assert shares[(drift.called - first).days] < 0.45
    assert not summary.sound or summary.drifts
    assert all(call.fault == "condenser_cooling" for call in summary.calls)


def test_a_sound_bus_is_not_accused() -> None:
    summary, _, _ = summary_of(SOUND, 2)
    assert summary.calls == ()
    assert summary.drifts == {}
    assert summary.sound
