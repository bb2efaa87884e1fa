"""A batch of rows to the core's columns, refused where a single reading would be refused, and for the same reason.

Whole columns are turned to SI at once. What is plainly a measurement goes on; a row that holds anything else (text in a
column of numbers, a word nobody knows, a pressure no machine can show) is made into a `Reading`, which either says
what is wrong with it or tells what it means. So there is one judge of readings, and it is asked only where it has
something to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pyarrow as pa

from twogauge import refrigerants, slips
from twogauge.columns import Columns, Floats, Words
from twogauge.diagnosis import columns_of
from twogauge.errors import InputError
from twogauge.fields import BAROMETER_UNCERTAINTY, DEFAULT_SYSTEM, FIELDS, INSTRUMENTS
from twogauge.fleet.cells import Rows
from twogauge.fleet.column_map import ColumnMap, Source
from twogauge.fleet.doubted import typed, with_readings
from twogauge.fleet.fill import Fill
from twogauge.fleet.scale import Flags, scale_of
from twogauge.instruments import Gauge, is_plain, parse_gauge
from twogauge.intake import BAROMETER, is_nothing, word_of
from twogauge.packs.compile import Program
from twogauge.profiles import ranges_at, with_profile
from twogauge.quantities import STANDARD_ATMOSPHERE, standard_atmosphere
from twogauge.reading import Reading

_MOST_AIRS: Final = 256  # different barometers in a batch; with more, what depends on them is worked out row by row


@dataclass(frozen=True, slots=True)
class Taken:
    """A batch as the core sees it.

    Attributes:
        columns: every row; one that is in trouble holds nothing.
        troubles: number of the row in the batch -> what is wrong with it.
    """

    columns: Columns
    troubles: Mapping[int, str]


class Intake:
    """Takes batches in; made once for a table, and picklable.

    Args:
        column_map: what the columns mean.
        program: the rules in force; knows checks and profiles.

    Raises:
        ReadingError: constants that cannot be used.
    """

    def __init__(self, column_map: ColumnMap, program: Program) -> None:
        self.map = column_map
        self._program = program
        self._scales = {
            name: scale_of(FIELDS[name], source.unit, column_map.units)
            for name, source in column_map.fields.items()
            if name in FIELDS and FIELDS[name].dimension is not None
        }
        self._profile = str(column_map.constants.get("profile") or "")
        # A column of profiles needs none here; a constant one is looked at right away, so that a slip shows early.
        self._constants = self._constants_at(None)
        self._gauges = {name: gauge for name in INSTRUMENTS if (gauge := self._described(name)) is not None}
        self._plain_up_to: dict[tuple[str, str], float] = {}

    def take(self, batch: pa.RecordBatch) -> Taken:
        """Take one batch in.

        Raises:
            InputError: a column whose type cannot hold what the map says it does.
        """
        rows = Rows(batch.num_rows)
        barometer, uncertainty = self._barometer(batch, rows)
        fill = Fill(rows, barometer, self._constants if not self._depends_on_air() else None)
        if fill.constants is None:
            self._fill_by_air(fill, barometer)
        for name in self._scales:
            if name not in ("barometer", "altitude"):
                self._take_numbers(name, batch, fill)
        for name, source in self.map.fields.items():
            if name not in self._scales and name != "profile":
                self._take_words(name, source, batch, fill)
        self._take_profiles(batch, fill)
        self._take_gauges(fill)
        self._take_system(fill)
        self._doubt(fill)
        columns = Columns(rows.n, fill.numbers, fill.words, barometer, uncertainty)
        return self._judge_the_rest(batch, columns, rows)

    # -- what does not stand in the rows -------------------------------------------------------------------------

    def _constants_at(self, barometer: float | None) -> Columns:
        given = dict(self.map.constants)
        if barometer is not None:
            given.pop("altitude", None)
            given["barometer"] = f"{barometer!r} Pa"
        reading = Reading(given, units=self.map.units)
        reading.validate_checks(self._program.answers)
        filled = columns_of([with_profile(reading, self._program)])
        # The kind of machine that is taken where nothing is said must not outdo what a profile says.
        words = {n: w for n, w in filled.words.items() if n != "system" or "system" in given or self._profile}
        return replace(filled, words=words)

    def _described(self, name: str) -> Gauge | None:
        """Return a gauge that is described by its class; what it may be off depends on what it shows."""
        text = self.map.constants.get(name)
        if name == "thermometer" or not isinstance(text, str) or is_plain(text):
            return None
        return parse_gauge(text, field=name)

    def _barometer(self, batch: pa.RecordBatch, rows: Rows) -> tuple[Floats, Floats]:
        """Return what the air presses with [Pa], and its uncertainty [Pa], shape (n,) each."""
        own = self._constants
        value = np.full(rows.n, own.barometer[0])
        uncertainty = np.full(rows.n, own.barometer_uncertainty[0])
        fields = self.map.fields
        if "altitude" in fields and "barometer" not in self.map.constants:
            heights, told = self._numbers_of("altitude", batch, rows, np.zeros(rows.n))
            for height in np.unique(heights[told]):
                value[heights == height] = standard_atmosphere(float(height))
            uncertainty[told] = BAROMETER_UNCERTAINTY["altitude"]
        if "barometer" in fields:
            pressures, told = self._numbers_of("barometer", batch, rows, np.full(rows.n, STANDARD_ATMOSPHERE))
            odd = told & ~((pressures >= BAROMETER[0]) & (pressures <= BAROMETER[1]))
            rows.ask(odd)
            told &= ~odd
            value[told] = pressures[told]
            uncertainty[told] = BAROMETER_UNCERTAINTY["barometer"]
        return value, uncertainty

    def _depends_on_air(self) -> bool:
        """Tell whether a constant means another absolute pressure in another row."""
        if "barometer" not in self.map.fields and "altitude" not in self.map.fields:
            return False
        pressures = ("low_side", "high_side", "spec", "profile", "baseline")
        return any(name in self.map.constants for name in pressures)

    def _fill_by_air(self, fill: Fill, barometer: Floats) -> None:
        airs = np.unique(barometer)
        if airs.size > _MOST_AIRS:
            fill.rows.ask(np.ones(fill.rows.n, dtype=bool))
            airs = airs[:1]
        for air in airs:
            fill.put_constants(self._constants_at(float(air)), barometer == air)

    # -- numbers -------------------------------------------------------------------------------------------------

    def _numbers_of(self, name: str, batch: pa.RecordBatch, rows: Rows, barometer: Floats) -> tuple[Floats, Flags]:
        numbers = rows.numbers_in(batch, self.map.fields[name].columns[0], FIELDS[name])
        value, sure = self._scales[name].to_si(numbers, barometer)
        rows.ask(~sure)
        return value, ~np.isnan(value) & sure

    def _take_numbers(self, name: str, batch: pa.RecordBatch, fill: Fill) -> None:
        source, scale, rows = self.map.fields[name], self._scales[name], fill.rows
        ends = []
        for column in source.columns:
            value, sure = scale.to_si(rows.numbers_in(batch, column, FIELDS[name]), fill.barometer)
            rows.ask(~sure)
            ends.append(value)
        if len(ends) == 1:
            fill.put_numbers(name, ends[0])
            return
        low, high = np.fmin(*ends), np.fmax(*ends)
        both = ~np.isnan(ends[0]) & ~np.isnan(ends[1])
        fill.put_numbers(name, np.where(both, (low + high) / 2.0, low))
        fill.put_numbers(f"{name}.from", np.where(both, low, np.nan))
        fill.put_numbers(f"{name}.to", np.where(both, high, np.nan))

    # -- words ---------------------------------------------------------------------------------------------------

    def _take_words(self, name: str, source: Source, batch: pa.RecordBatch, fill: Fill) -> None:
        codes, values = fill.rows.texts_in(batch, source.columns[0])
        known = FIELDS.get(name)
        if known is not None and name != "refrigerant" and not known.choices:
            return  # free text
        allowed = self._program.answers.get(name, ()) if known is None else known.choices
        meant = [self._word(name, source.words.get(text, text), allowed) for text in values]
        fill.put_words(name, codes, meant)

    @staticmethod
    def _word(name: str, text: str, allowed: tuple[str, ...]) -> str | None:
        """Return the word that is meant, "" for not told, None where a reading has to be asked."""
        if is_nothing(text):
            return ""
        if name == "refrigerant":
            try:
                return refrigerants.get(text).id
            except InputError:
                return None
        word = word_of(text)
        return word if word in allowed else None

    # -- profiles, instruments, kind of machine -------------------------------------------------------------------

    def _take_profiles(self, batch: pa.RecordBatch, fill: Fill) -> None:
        """Fill in what the profiles named in a column, or in the constants, know of each row's conditions."""
        rows = fill.rows
        if "profile" in self.map.fields:
            codes, names = rows.texts_in(batch, self.map.fields["profile"].columns[0])
        elif self._profile:
            codes, names = np.zeros(rows.n, dtype=np.intp), [self._profile]
        else:
            return
        profiles = self._program.stack.profiles
        empty = np.full(rows.n, np.nan)
        for code, name in enumerate(names):
            mine = codes == code
            if is_nothing(name):
                continue
            if name not in profiles:
                rows.ask(mine)
                continue
            profile = profiles[name].entry
            fill.put_words_where_silent(mine, columns_of([Reading(dict(profile.is_))]).words, profile.is_)
            for air in np.unique(fill.barometer[mine]):
                here = mine & (fill.barometer == air)
                ambient, humidity = (fill.numbers.get(n, empty)[here] for n in ("ambient", "humidity"))
                for field, ends in ranges_at(profile, ambient, humidity, float(air)).items():
                    fill.put_spec_where_silent(field, here, ends, set(self._own_spec()))

    def _own_spec(self) -> Mapping[str, object]:
        spec = self.map.constants.get("spec")
        return spec if isinstance(spec, Mapping) else {}

    def _take_gauges(self, fill: Fill) -> None:
        for name, gauge in self._gauges.items():
            side = name.replace("gauge", "side")
            middle = fill.numbers.get(side)
            if middle is None:
                continue
            ends = [fill.numbers.get(f"{side}{end}", middle) for end in (".from", ".to")]
            errors = [gauge.permitted_errors(np.where(np.isnan(end), middle, end) - fill.barometer) for end in ends]
            widest = np.fmax(*errors)
            anywhere = np.nan if gauge.of_reading else gauge.permitted_error()
            fill.numbers[name] = np.where(np.isnan(widest), anywhere, widest)

    def _take_system(self, fill: Fill) -> None:
        fill.put_words_where_silent(
            np.ones(fill.rows.n, dtype=bool),
            {"system": Words(np.zeros(1, dtype=np.int16), (DEFAULT_SYSTEM,))},
            {"system": DEFAULT_SYSTEM},
        )

    # -- rows that are not plainly measurements -------------------------------------------------------------------

    def _doubt(self, fill: Fill) -> None:
        """Mark the rows with a number that only a slip of the unit may explain."""
        numbers, rows = fill.numbers, fill.rows
        for name in slips.OF_AIR:
            if name in numbers:
                rows.ask(~np.isnan(numbers[name]) & ~slips.plain_air(numbers[name]))
        words = fill.words.get("refrigerant")
        if words is not None:
            for name in ("low_side", "high_side"):
                if name in numbers:
                    limit = np.array([self._up_to(each, name, fill) for each in words.values] + [np.inf])
                    rows.ask(numbers[name] > limit[words.codes])
        if "return_wet_bulb" in numbers and "return_air" in numbers:
            rows.ask(numbers["return_wet_bulb"] > numbers["return_air"])
        for name in (*INSTRUMENTS, *(f"{each}_accuracy" for each in INSTRUMENTS)):
            if name in numbers:
                rows.ask(numbers[name] < 0.0)

    def _up_to(self, refrigerant: str, name: str, fill: Fill) -> float:
        key = refrigerant, name
        if key not in self._plain_up_to:
            self._plain_up_to[key] = slips.Machine(refrigerant, float(fill.barometer[0])).plain_up_to(name)
        return self._plain_up_to[key]

    def _judge_the_rest(self, batch: pa.RecordBatch, columns: Columns, rows: Rows) -> Taken:
        """Ask `Reading` about each row that was marked."""
        asked = np.flatnonzero(rows.asked)
        if not asked.size:
            return Taken(columns, {})
        troubles: dict[int, str] = {}
        sound: list[tuple[int, Reading]] = []
        for row, given in zip(asked.tolist(), typed(batch, asked, self.map, self._scales), strict=True):
            try:
                reading = Reading(given, units=self.map.units)
                reading.validate_checks(self._program.answers)
                sound.append((row, with_profile(reading, self._program)))
            except InputError as error:
                troubles[row] = "; ".join(dict.fromkeys(str(error).splitlines()))
        return Taken(with_readings(columns, asked, sound), troubles)
