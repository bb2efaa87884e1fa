"""Logs in, windows worth a diagnosis out: batches of rows of any machines, in any order, to a table with one reading each.

The table has the columns

    machine, start, end, kind (steady or cycling), samples
    compressor, seconds_on, seconds_off, running_for
    the numbers of the map, means in SI; a side has two columns, `.from` and `.to`, and the second only where it swings
    the words of the map

and its header says what each of them is, so that `diagnose_table` takes it as it stands; the constants of the map belong
with it (`WindowFinder.column_map`). Windows of one machine come in the order in which they ended.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from twogauge.columns import Floats
from twogauge.errors import InputError, shown
from twogauge.fields import FIELDS
from twogauge.fleet.column_map import ColumnMap, Source
from twogauge.fleet.intake import Intake, Taken
from twogauge.fleet.log_rows import NOT_TOLD, Codes, LogRows, Order, joined
from twogauge.fleet.stamps import NO_STAMP, stamps_of
from twogauge.fleet.steady import Finder, Layout, Shares, Window
from twogauge.fleet.window_rules import CLUTCH
from twogauge.packs.compile import Program
from twogauge.quantities import Dimension, UnitSet, standard_atmosphere, symbol_for, to_unit

MOST_MACHINES: Final = 100_000
_MOST_WORDS: Final = 100_000  # different ones in a column
_HELD: Final = 400_000  # rows that wait to be worked on together; a few hundred bytes each at most
_AT_ONCE: Final = 65_536  # rows of a batch that are turned to SI together
_OWN: Final = ("compressor", "seconds_on", "seconds_off", "running_for")
_AIR: Final = ("barometer", "altitude")
_HEIGHTS: Final = np.arange(-500.0, 11_001.0)  # [m]
_PRESSURES: Final = np.array([standard_atmosphere(float(height)) for height in _HEIGHTS])  # [Pa] falling
STAMP: Final = pa.timestamp("us", "UTC")


class _Machine:
    """One machine while its log is being read."""

    def __init__(self, column_map: ColumnMap, layout: Layout) -> None:
        self.order = Order(column_map.windows.late)
        self.finder = Finder(column_map.windows, layout)
        self.waiting: list[LogRows] = []

    def work(self, *, last: bool) -> list[Window]:
        final = self.order.add(joined(self.waiting)) if self.waiting else []
        self.waiting = []
        if last:
            final += self.order.finish()
        windows = [window for rows in final for window in self.finder.add(rows)]
        shares = self.finder.shares
        shares.too_late, shares.twice = self.order.too_late, self.order.twice
        shares.set_back = self.order.set_back
        return windows


class WindowFinder:
    """Finds windows in the batches of a log.

    Args:
        column_map: what the columns mean; `windows` says what is steady enough.
        program: the rules in force, which know the checks.

    Attributes:
        schema: of the table of windows.
        column_map: what the columns of that table mean.

    Raises:
        InputError: there is no column of time, or nothing tells whether the compressor runs.
        ReadingError: constants of the map that cannot be used.
    """

    def __init__(self, column_map: ColumnMap, program: Program) -> None:
        _check(column_map)
        self._map = column_map
        self._program = program
        self._intakes = {id(column_map): (column_map, Intake(column_map, program))}
        sources = column_map.fields
        numbers = tuple(
            name
            for name in sources
            if name in FIELDS and FIELDS[name].dimension and name not in (*_OWN, *_not_kept(column_map))
        )
        self._texts = tuple(name for name in sources if name == "profile")
        words = tuple(
            name
            for name in sources
            if name not in FIELDS or FIELDS[name].choices or name in ("refrigerant", *self._texts)
        )
        running = np.array([1, 0, 1, -1], dtype=np.int8)  # of running, off, cycling, not told
        self._layout = Layout(numbers, words, words.index("compressor") if "compressor" in words else -1, running)
        self._vocabulary: dict[str, dict[str, int]] = {name: {} for name in words}
        if "compressor" in words:
            self._vocabulary["compressor"] = {"running": 0, "off": 1, "cycling": 2}
        self._machines: dict[str, _Machine] = {}
        self._held = 0
        self._columns = tuple(_column(name) for name in numbers)
        self.schema = _schema(self._columns, tuple(name for name in words if name != "compressor"))
        self.column_map = self._of_windows()

    @property
    def shares(self) -> dict[str, Shares]:
        """Where the time of each machine went, as far as it was read."""
        return {name: machine.finder.shares for name, machine in self._machines.items()}

    def add(self, batch: pa.RecordBatch, *, machine: str = "", column_map: ColumnMap | None = None) -> pa.RecordBatch:
        """Take rows; return the windows that are certain by now.

        Args:
            batch: rows with the columns of the map.
            machine: whose they are, where the map names no column for that.
            column_map: of a file that writes the same fields in other columns or units.

        Raises:
            InputError: a column is missing or holds something else than the map says, or far too many machines.
        """
        known, intake = self._intake(column_map or self._map)
        known.check_columns(batch.schema.names)
        for start in range(0, batch.num_rows, _AT_ONCE):
            self._take(batch.slice(start, _AT_ONCE), machine, known, intake)
        return self._work(last=False) if self._held >= _HELD else self._table([])

    def add_spoilt(self, count: int, *, machine: str = "") -> None:
        """Count lines that are no rows at all; they belong to no machine that is known, but to a file."""
        if count:
            shares = self._machine(machine).finder.shares
            shares.rows += count
            shares.bad += count

    def _intake(self, column_map: ColumnMap) -> tuple[ColumnMap, Intake]:
        found = self._intakes.get(id(column_map))
        if found is None:
            found = self._intakes[id(column_map)] = column_map, Intake(column_map, self._program)
        return found

    def finish(self) -> pa.RecordBatch:
        """Return the windows that were not certain before; nothing comes after it."""
        return self._work(last=True)

    def windows(self, batches: Iterable[pa.RecordBatch], *, machine: str = "") -> Iterator[pa.RecordBatch]:
        """Return the windows of batches, those of the end as well."""
        for batch in batches:
            found = self.add(batch, machine=machine)
            if found.num_rows:
                yield found
        yield self.finish()

    # -- rows in -------------------------------------------------------------------------------------------------

    def _take(self, batch: pa.RecordBatch, machine: str, known: ColumnMap, intake: Intake) -> None:
        taken = intake.take(batch)
        time = stamps_of(batch.column(known.time), self._map.windows.zone, known.time)
        rows = LogRows(time, np.zeros(time.size, dtype=bool), self._numbers(taken), self._words(taken, batch, known))
        bad = np.zeros(time.size, dtype=bool)
        bad[list(taken.troubles)] = True
        codes, names = _machines_in(batch, known, machine)
        order = np.argsort(codes, kind="stable")
        ends = np.searchsorted(codes[order], np.arange(len(names) + 1))
        for i, name in enumerate(names):
            mine = order[ends[i] : ends[i + 1]]
            if not mine.size:
                continue
            each = self._machine(name)
            shares = each.finder.shares
            no_time = time[mine] == NO_STAMP
            shares.rows += int(mine.size)
            shares.no_time += int(no_time.sum())
            shares.bad += int((bad[mine] & ~no_time).sum())
            good = mine[~no_time & ~bad[mine]]
            if good.size:
                each.waiting.append(rows.take(good))
                self._held += int(good.size)

    def _machine(self, name: str) -> _Machine:
        found = self._machines.get(name)
        if found is None:
            if len(self._machines) >= MOST_MACHINES:
                raise InputError(
                    f"more than {MOST_MACHINES} machines: does column {shown(self._map.machine)} really name them?"
                )
            found = self._machines[name] = _Machine(self._map, self._layout)
        return found

    def _numbers(self, taken: Taken) -> Floats:
        out = np.full((taken.columns.n, len(self._layout.fields)), np.nan)
        for i, name in enumerate(self._layout.fields):
            if name in _AIR:
                air = taken.columns.barometer
                out[:, i] = air if name == "barometer" else np.interp(-air, -_PRESSURES, _HEIGHTS)
            elif name in taken.columns.numbers:
                out[:, i] = taken.columns.numbers[name]
        return out

    def _words(self, taken: Taken, batch: pa.RecordBatch, column_map: ColumnMap) -> Codes:
        out = np.full((taken.columns.n, len(self._layout.words)), NOT_TOLD, dtype=np.int32)
        for i, name in enumerate(self._layout.words):
            if name in self._texts:
                cells = batch.column(column_map.fields[name].columns[0]).cast(pa.string()).dictionary_encode()
                codes = cells.indices.cast(pa.int64()).fill_null(NOT_TOLD).to_numpy(zero_copy_only=False)
                values = [value or "" for value in cells.dictionary.to_pylist()]
            elif name in taken.columns.words:
                codes, values = taken.columns.words[name].codes, list(taken.columns.words[name].values)
            else:
                continue
            known = self._vocabulary[name]
            table = np.array([known.setdefault(value, len(known)) for value in values] + [NOT_TOLD], dtype=np.int32)
            if len(known) > _MOST_WORDS:
                raise InputError(f"column {shown(self._map.fields[name].columns[0])} holds too many different words")
            out[:, i] = table[codes]
        return out

    # -- windows out ---------------------------------------------------------------------------------------------

    def _work(self, *, last: bool) -> pa.RecordBatch:
        found = [
            (name, window)
            for name, machine in self._machines.items()
            if machine.waiting or last
            for window in machine.work(last=last)
        ]
        self._held = 0
        return self._table(found)

    def _table(self, found: list[tuple[str, Window]]) -> pa.RecordBatch:
        windows = [window for _, window in found]
        arrays: list[pa.Array] = [
            pa.array([name for name, _ in found], pa.string()),
            pa.array([w.start for w in windows], pa.int64()).cast(STAMP),
            pa.array([w.end for w in windows], pa.int64()).cast(STAMP),
            pa.array(["cycling" if w.cycling else "steady" for w in windows], pa.string()),
            pa.array([w.samples for w in windows], pa.int32()),
            pa.array(["cycling" if w.cycling else "running" for w in windows], pa.string()),
            *(
                pa.array([getattr(w, name) for w in windows], pa.float64(), from_pandas=True)
                for name in ("seconds_on", "seconds_off", "running_for")
            ),
        ]
        for i, (name, unit) in enumerate(self._columns):
            for end in ("low", "high") if name in CLUTCH else ("low",):
                values = np.array([getattr(w, end)[i] for w in windows], dtype=np.float64)
                arrays.append(pa.array(_in_unit(values, name, unit), from_pandas=True))
        for i, name in enumerate(self._layout.words):
            if name != "compressor":
                told = [*self._vocabulary[name], None]
                arrays.append(pa.array([told[w.words[i]] for w in windows], pa.string()))
        return pa.RecordBatch.from_arrays(arrays, schema=self.schema)

    def _of_windows(self) -> ColumnMap:
        fields = {
            "compressor": Source(("compressor",)),
            **{name: Source((f"{name} [s]",), "s") for name in _OWN[1:]},
        }
        for name, unit in self._columns:
            ends = (".from", ".to") if name in CLUTCH else ("",)
            fields[name] = Source(tuple(f"{name}{end} [{unit}]" for end in ends), unit)
        fields |= {name: Source((name,)) for name in self._layout.words if name != "compressor"}
        constants = {name: value for name, value in self._map.constants.items() if name not in _OWN}
        return ColumnMap(fields, constants, self._map.units, "machine", "start", self._map.windows)


def _machines_in(
    batch: pa.RecordBatch, column_map: ColumnMap, machine: str
) -> tuple[npt.NDArray[np.int64], list[str]]:
    """Return the machine of each row, as an index into the names."""
    if not column_map.machine:
        return np.zeros(batch.num_rows, dtype=np.int64), [machine]
    encoded = batch.column(column_map.machine).cast(pa.string()).fill_null(machine).dictionary_encode()
    return encoded.indices.cast(pa.int64()).to_numpy(zero_copy_only=False), encoded.dictionary.to_pylist()


def _check(column_map: ColumnMap) -> None:
    if not column_map.time:
        raise InputError(
            "windows need to know when each row was read: call that column 'time', or name it under columns in a map "
            "(--map), as 'time: NAME'"
        )
    sides = [name for name in CLUTCH if name in column_map.fields]
    if "compressor" not in column_map.fields and len(sides) < len(CLUTCH):
        raise InputError(
            "nothing tells when the compressor runs: map a column to compressor, or one to each of low_side and high_side"
        )
    if not sides:
        raise InputError("windows need low_side or high_side: name a column for at least one of them in the map")
    for name, source in column_map.fields.items():
        if len(source.columns) > 1:
            raise InputError(
                f"{name} comes from two columns, which are the ends of a swing; windows find swings themselves and need "
                "one column with every value"
            )


def _not_kept(column_map: ColumnMap) -> tuple[str, ...]:
    """Return what of the air need not be carried on, since something else decides."""
    if "barometer" in column_map.fields:
        return ("altitude",)
    return _AIR if "barometer" in column_map.constants else ()


def _unit(name: str) -> str:
    dimension = FIELDS[name].dimension or Dimension.NUMBER
    fixed = {
        Dimension.PRESSURE: "Pa absolute",
        Dimension.TEMPERATURE: "K",
        Dimension.TEMPERATURE_DIFFERENCE: "K",
        Dimension.PRESSURE_DIFFERENCE: "Pa",
        Dimension.FRACTION: "%",
    }
    return fixed.get(dimension, symbol_for(dimension, UnitSet.SI))


def _column(name: str) -> tuple[str, str]:
    return name, _unit(name)


def _in_unit(values: Floats, name: str, unit: str) -> Floats:
    dimension = FIELDS[name].dimension or Dimension.NUMBER
    if dimension is Dimension.PRESSURE:
        return values
    return np.array([np.nan if np.isnan(v) else to_unit(v, dimension, unit) for v in values.tolist()])


def _schema(columns: tuple[tuple[str, str], ...], words: tuple[str, ...]) -> pa.Schema:
    fields = [
        pa.field("machine", pa.string()),
        pa.field("start", STAMP),
        pa.field("end", STAMP),
        pa.field("kind", pa.string()),
        pa.field("samples", pa.int32()),
        pa.field("compressor", pa.string()),
        *(pa.field(f"{name} [s]", pa.float64()) for name in _OWN[1:]),
    ]
    for name, unit in columns:
        fields += [
            pa.field(f"{name}{end} [{unit}]", pa.float64()) for end in ((".from", ".to") if name in CLUTCH else ("",))
        ]
    return pa.schema([*fields, *(pa.field(name, pa.string()) for name in words)])


def find_windows(
    table: pa.Table | pa.RecordBatch, column_map: ColumnMap, program: Program
) -> tuple[pa.Table, dict[str, Shares], ColumnMap]:
    """Return the windows of a log, where the time of each machine went, and what the columns of the windows mean.

    Args:
        table: rows with the columns of the map.
        column_map: what they mean.
        program: the rules in force.

    Raises:
        InputError, FileProblems, ReadingError: as `WindowFinder`.
    """
    finder = WindowFinder(column_map, program)
    batches = [table] if isinstance(table, pa.RecordBatch) else table.to_batches()
    found = pa.Table.from_batches(list(finder.windows(batches)), schema=finder.schema)
    return found.sort_by([("machine", "ascending"), ("start", "ascending")]), finder.shares, finder.column_map
