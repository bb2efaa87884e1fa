"""A log of an invented bus, out of first-order lags that share nothing with the program but the pressure of R-134a.

One bus of a county depot: it starts, idles, drives in traffic and on the highway, its clutch cycles on cool mornings.
Saturation is an Antoine equation through three points of R-134a (from memory: 292.8 kPa at 0 degC, 770.2 kPa at 30 degC,
1681.8 kPa at 60 degC), not the curves that ship.

    .venv/bin/python tests/bus_simulation.py examples/fleet/weeks.csv.gz          makes the example anew
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from twogauge.fleet.column_map import ColumnMap, Source
from twogauge.fleet.window_rules import WindowRules
from twogauge.quantities import UnitSet

POINTS = ((273.15, 292.8e3), (303.15, 770.2e3), (333.15, 1681.8e3))


def _antoine() -> tuple[float, float, float]:
    # ln p = A - B / (T + C): three equations, C by bisection.
    (t1, p1), (t2, p2), (t3, p3) = POINTS
    wanted = np.log(p2 / p1) / np.log(p3 / p2)
    low, high = -80.0, 80.0
    for _ in range(200):
        c = (low + high) / 2
        got = (1 / (t1 + c) - 1 / (t2 + c)) / (1 / (t2 + c) - 1 / (t3 + c))
        low, high = (c, high) if got > wanted else (low, c)
    b = np.log(p2 / p1) / (1 / (t1 + c) - 1 / (t2 + c))
    return float(np.log(p1) + b / (t1 + c)), float(b), float(c)


A, B, C = _antoine()


def pressure(kelvin):
    """Return the pressure of saturated R-134a [Pa]."""
    return np.exp(A - B / (np.asarray(kelvin) + C))


@dataclass(frozen=True)
class Machine:
    """How a machine stands; all in K.

    Attributes:
        over_ambient: condensing over ambient when steady.
        evaporating: saturation on the low side [degC].
        superheat, subcooling: when steady.
        vent_over: the vents over the evaporating temperature.
    """

    over_ambient: float = 22.0
    evaporating: float = 2.0
    superheat: float = 7.0
    subcooling: float = 7.0
    vent_over: float = 7.0


@dataclass
class Log:
    """What a simulated log holds; one entry per row.

    Attributes:
        time: [s] since it began.
        columns: by name.
        steady: truly running steadily: everything within 0.5 K of where it ends up, five minutes after a start.
        cycling: truly cycling, in the same sense.
        calm: within 2 K of where it ends up, or cycling.
    """

    time: np.ndarray
    columns: dict[str, np.ndarray]
    steady: np.ndarray
    cycling: np.ndarray
    calm: np.ndarray
    start: dt.datetime = field(default_factory=lambda: dt.datetime(2026, 6, 1, 6, 0, tzinfo=dt.UTC))

    def table(self, machine: str = "bus 12") -> pa.Table:
        stamps = np.array(self.start.replace(tzinfo=None), dtype="datetime64[us]") + np.rint(self.time * 1e6).astype(
            "timedelta64[us]"
        )
        return pa.table(
            {
                "bus": pa.array([machine] * self.time.size),
                "stamp": pa.array(stamps).cast(pa.timestamp("us", "UTC")),
                **{name: pa.array(values) for name, values in self.columns.items()},
            }
        )


# What a day consists of: (what, how long [s], from, to)
STOP, HIGHWAY, TRAFFIC, CYCLING = "stop", "highway", "traffic", "cycling"


def simulate(
    plan,
    *,
    seed: int,
    machine: Machine | None = None,
    ambient: float = 30.0,
    every: float = 5.0,
    noise: float = 1.0,
    wander: float = 0.0,
) -> Log:
    """Follow a plan.

    Args:
        plan: pairs of what is done and for how long [s].
        seed: of the noise.
        machine: how it stands.
        ambient: [degC]
        every: between two rows [s].
        noise: of the gauges and thermometers; 1 is 0.4 % of the low side, 0.3 % of the high side and 0.1 K.
        wander: of the ambient over the day [K].
    """
    rng = np.random.default_rng(seed)
    m = machine or Machine()
    air = ambient + 273.15
    states = np.array([air, air, air, air])  # evaporating, condensing, vents, suction line [K]
    since_start, on, off_for, steady_for, cycling_for = 0.0, False, 0.0, 0.0, 0.0
    rows, truth = [], []
    second, next_row = 0.0, 0.0
    for what, length in plan:
        shift, next_shift, clutch = 0.0, 0.0, False
        cycling_for = 0.0
        for step in range(int(length)):
            second += 1.0
            if what == TRAFFIC and step >= next_shift:
                shift, next_shift = rng.normal(0.0, 4.0), step + rng.uniform(15, 60)
            if what == STOP:
                on = False
            elif what == CYCLING:
                # A switch at the evaporator opens and closes the clutch.
                clutch = True if not step else (states[0] > 274.0 if clutch else states[0] > 281.0)
                on = clutch
            else:
                on = True
            off_for = 0.0 if on else off_for + 1.0
            since_start = 0.0 if off_for > 120.0 else since_start + 1.0
            drift = wander * np.sin(second / 9000.0)
            outside = air + drift
            pull_down = 8.0 * np.exp(-since_start / 90.0)
            if on:
                evaporating = m.evaporating + 273.15 + 0.3 * drift - 0.5 * shift + pull_down
                if what == CYCLING:
                    evaporating -= 8.0
                target = np.array(
                    [
                        evaporating,
                        outside + m.over_ambient + shift + pull_down,
                        evaporating + m.vent_over,
                        evaporating + m.superheat,
                    ]
                )
                lag = np.array([20.0, 35.0, 45.0, 40.0])
            else:
                target = np.array([outside, outside + 1.0, outside, outside])
                lag = np.array([60.0, 80.0, 200.0, 300.0])
            if what == CYCLING:  # air and pipes feel the mean of the cycle
                target[2:] = np.array([279.0 + m.vent_over, 279.0 + m.superheat])
                lag[2:] = 200.0
            states = states + (target - states) / lag
            near = np.abs(target - states).max() < 0.5
            steady_for = steady_for + 1.0 if on and near and what == HIGHWAY else 0.0
            cycling_for = cycling_for + 1.0 if what == CYCLING else 0.0
            if second >= next_row:
                next_row += every
                rows.append([second, *states, outside, float(on), m.subcooling])
                settled = since_start > 300.0
                gap = np.abs(target - states).max()
                truth.append(
                    (
                        steady_for > 0.0 and settled,
                        cycling_for > 120.0 and settled,
                        (on and gap < 2.0) or what == CYCLING,
                    )
                )
    data = np.array(rows)
    n = data.shape[0]

    def noisy(size: float) -> np.ndarray:
        return rng.normal(0.0, size * noise, n) if noise else np.zeros(n)

    low, high = pressure(data[:, 1]) * (1.0 + noisy(0.004)), pressure(data[:, 2]) * (1.0 + noisy(0.003))
    gauge = 101_325.0
    columns = {
        "low": (low - gauge) / 1e5,
        "high": (high - gauge) / 1e5,
        "vent": data[:, 3] - 273.15 + noisy(0.1),
        "suction": data[:, 4] - 273.15 + noisy(0.1),
        "liquid": data[:, 2] - data[:, 7] - 273.15 + noisy(0.1),
        "air": data[:, 5] - 273.15 + noisy(0.1),
        "clutch": data[:, 6].astype(np.int64),
    }
    flags = np.array(truth)
    return Log(data[:, 0], columns, flags[:, 0], flags[:, 1], flags[:, 2])


def the_map(rules: WindowRules | None = None, *, clutch: bool = True) -> ColumnMap:
    """Return the map of these logs."""
    fields = {
        "low_side": Source(("low",), "bar"),
        "high_side": Source(("high",), "bar"),
        "vent_air": Source(("vent",), "degC"),
        "suction_line": Source(("suction",), "degC"),
        "liquid_line": Source(("liquid",), "degC"),
        "ambient": Source(("air",), "degC"),
    }
    if clutch:
        fields["compressor"] = Source(("clutch",), words={"1": "running", "0": "off"})
    constants = {
        "refrigerant": "R134a",
        "system": "bus_ac",
        "metering": "expansion_valve",
        "thermometer": "0.5 K",
        "low_gauge": "class 0.6, 0 to 10 bar",
        "high_gauge": "class 0.6, 0 to 35 bar",
    }
    return ColumnMap(fields, constants, UnitSet.SI, "bus", "stamp", rules or WindowRules())


_HOW_LONG = {STOP: (40, 1200), HIGHWAY: (300, 2400), TRAFFIC: (300, 2400), CYCLING: (300, 1800)}


def day(seed: int) -> list[tuple[str, float]]:
    """Return six hours or so of a plan."""
    rng = np.random.default_rng(seed)
    plan = [(STOP, 200.0)]
    while sum(length for _, length in plan) < 6 * 3600:
        what = str(rng.choice([STOP, HIGHWAY, TRAFFIC, CYCLING], p=[0.25, 0.3, 0.3, 0.15]))
        plan.append((what, float(rng.integers(*_HOW_LONG[what]))))
    return plan


def spans(log: Log, windows: pa.Table) -> list[tuple[float, float]]:
    """Return when each window begins and ends, in seconds of the log."""
    return [
        ((row["start"] - log.start).total_seconds(), (row["end"] - log.start).total_seconds())
        for row in windows.select(["start", "end"]).to_pylist()
    ]


def score(log: Log, windows: pa.Table) -> dict[str, float]:
    """Return the share of truly steady and truly cycling time that was found, and how many windows are false."""
    inside = {kind: np.zeros(log.time.size, dtype=bool) for kind in ("steady", "cycling")}
    false = false_of_cycling = 0
    for kind in inside:
        for start, end in spans(log, windows.filter(pc.equal(windows["kind"], kind))):
            mine = (log.time >= start) & (log.time <= end)
            inside[kind] |= mine
            if kind == "steady":
                false += log.calm[mine].mean() < 0.5
            else:
                false_of_cycling += log.cycling[mine].mean() < 0.5
    return {
        "steady time": float(log.steady.sum()),
        "steady found": float((log.steady & inside["steady"]).sum()),
        "cycling time": float(log.cycling.sum()),
        "cycling found": float((log.cycling & inside["cycling"]).sum()),
        "windows": float(windows.num_rows),
        "false": float(false + false_of_cycling),
    }


# -- weeks of a depot ------------------------------------------------------------------------------------------------

SOUND, LEAK, DIRT = "sound", "slow leak", "dirty condenser"


def worn(kind: str, share: float, one: Machine) -> Machine:
    """Return a machine some way on: how far is invented, in which direction is what the trade says.

    Args:
        kind: what becomes of it.
        share: 0 as new, 1 as bad as it gets here.
        one: as it was when new.
    """
    if kind == LEAK:
        return Machine(
            one.over_ambient - 11.0 * share,
            one.evaporating - 14.0 * share,
            one.superheat + 22.0 * share,
            one.subcooling - 6.5 * share,
            one.vent_over + 10.0 * share,
        )
    if kind == DIRT:
        return Machine(
            one.over_ambient + 26.0 * share,
            one.evaporating + 3.0 * share,
            one.superheat,
            one.subcooling + 1.0 * share,
            one.vent_over + 1.0 * share,
        )
    return one


def season(kind: str, *, seed: int, days: int = 56, begins: int = 10, every: float = 10.0) -> list[tuple[Log, float]]:
    """Return a log for each day of some weeks, and how far the fault has come on it.

    Args:
        kind: what becomes of the bus.
        seed: of the bus, its weather and its noise.
        days: how many.
        begins: the day on which the fault begins; it grows evenly until the last.
        every: seconds between two rows.
    """
    rng = np.random.default_rng(seed)
    new = Machine(rng.uniform(18, 26), rng.uniform(0, 4), rng.uniform(5, 9), rng.uniform(5, 9), rng.uniform(5, 9))
    logs, air = [], 28.0
    for number in range(days):
        air += 0.5 * (28.0 - air) + rng.normal(0.0, 3.0)
        share = max(0.0, (number - begins + 1) / (days - begins)) if kind != SOUND else 0.0
        today = worn(kind, share, new)
        # No two days are alike: load, speed, humidity and sun move what a sound bus shows.
        today = Machine(
            today.over_ambient + rng.normal(0.0, 1.5),
            today.evaporating + rng.normal(0.0, 1.0),
            max(today.superheat + rng.normal(0.0, 0.8), 0.5),
            max(today.subcooling + rng.normal(0.0, 0.6), 0.0),
            today.vent_over + rng.normal(0.0, 0.8),
        )
        plan = [(STOP, 130), (HIGHWAY, 1000), (TRAFFIC, 400), (STOP, 60), (HIGHWAY, 500)]
        log = simulate(
            plan,
            seed=seed * 1000 + number,
            machine=today,
            ambient=float(np.clip(air, 18.0, 38.0)),
            every=every,
        )
        log.start += dt.timedelta(days=number, hours=float(rng.uniform(0, 6)))
        logs.append((log, share))
    return logs


def depot_weeks() -> pa.Table:
    """Return six weeks of three buses as the depot's example logs them: short, and as fine as its gauges show."""
    tables = []
    for kind, bus, seed in ((SOUND, "bus 9", 1), (LEAK, "bus 14", 2), (DIRT, "bus 27", 3)):
        for log, _ in season(kind, seed=seed, days=42, begins=10, every=15.0):
            log.start += dt.timedelta(hours=8)
            table = log.table(bus)
            keep = (log.time > 240.0) & (log.time < 1250.0)
            tables.append(table.filter(pa.array(keep)))
    frame = pa.concat_tables(tables)
    rounded = {name: pc.round(frame[name], 2 if name in ("low", "high") else 1) for name in frame.schema.names[2:8]}
    stamps = pc.strftime(pc.floor_temporal(frame["stamp"], unit="second").cast(pa.timestamp("s", "America/Chicago")),
                         format="%Y-%m-%d %H:%M:%S")  # fmt: skip
    return pa.table({"bus": frame["bus"], "read_at": stamps, **rounded, "clutch": frame["clutch"]})


if __name__ == "__main__":
    import sys

    import pyarrow.csv as pa_csv

    with pa.CompressedOutputStream(sys.argv[1], "gzip") as out:
        pa_csv.write_csv(depot_weeks(), out, pa_csv.WriteOptions(quoting_style="none"))
