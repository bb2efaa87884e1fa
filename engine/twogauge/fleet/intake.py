"""A batch of rows to the core's columns, refused where a single reading would be refused, and for the same reason.

Whole columns are turned to SI at once. What is plainly a measurement goes on; a row that holds anything else (text in a
column of numbers, a word nobody knows, a pressure no machine can show) is made into a `Reading`, which either says
what is wrong with it or tells what it means. So there is one judge of readings, and it is asked only where it has
something to say.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from twogauge import refrigerants, slips
from twogauge.columns import NO_WORD, Columns, Floats, Words
from twogauge.diagnosis import columns_of
from twogauge.errors import InputError, shown
from twogauge.fields import BAROMETER_UNCERTAINTY, DEFAULT_SYSTEM, FIELDS, INSTRUMENTS, UNKNOWN, Field
from twogauge.fleet.column_map import ColumnMap, Source
from twogauge.fleet.scale import Flags, Scale, scale_of
from twogauge.instruments import Gauge, is_plain, parse_gauge
from twogauge.packs.compile import Program
from twogauge.profiles import ranges_at, with_profile
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension, standard_atmosphere
from twogauge.reading import Reading

_PLAIN_NUMBER: Final = re.compile(r"[-+]?\d{1,15}(?:\.\d{1,30})?")
# One number or the two ends of a swing, without a unit, in any notation: that of the column belongs behind it.
_WITHOUT_UNIT: Final = re.compile(
    r"N(?:\s+to\s+N)?".replace("N", r"[-+\u2212\u2013]?[\d.,'\u2019]+(?:[eE][-+]?\d{1,3})?"), re.IGNORECASE
)
_NOTHING: Final = frozenset({"", "~", "null", UNKNOWN})
_BAROMETER: Final = (50_000.0, 110_000.0)  # [Pa] as the door of a reading takes it
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
        # A column of profiles needs none here; a constant one is looked at right away, so that a slip shows early.
        self._constants = self._constants_at(None)
        self._profile = str(column_map.constants.get("profile") or "")
        self._gauges = {name: gauge for name in INSTRUMENTS if (gauge := self._described(name)) is not None}
        self._plain_up_to: dict[tuple[str, str], float] = {}

    def take(self, batch: pa.RecordBatch) -> Taken:
        """Take one batch in.

        Raises:
            InputError: a column whose type cannot hold what the map says it does.
        """
        rows = _Rows(batch.num_rows)
        barometer, uncertainty = self._barometer(batch, rows)
        fill = _Fill(rows, barometer, self._constants if not self._depends_on_air() else None)
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
        words = {n: w for n, w in filled.words.items() if n != "system" or "system" in given or self._names_profile}
        return replace(filled, words=words)

    @property
    def _names_profile(self) -> bool:
        return bool(self.map.constants.get("profile"))

    def _described(self, name: str) -> Gauge | None:
        """Return a gauge that is described by its class; what it may be off depends on what it shows."""
        text = self.map.constants.get(name)
        if name == "thermometer" or not isinstance(text, str) or is_plain(text):
            return None
        return parse_gauge(text, field=name)

    def _barometer(self, batch: pa.RecordBatch, rows: _Rows) -> tuple[Floats, Floats]:
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
            odd = told & ~((pressures >= _BAROMETER[0]) & (pressures <= _BAROMETER[1]))
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

    def _fill_by_air(self, fill: _Fill, barometer: Floats) -> None:
        airs = np.unique(barometer)
        if airs.size > _MOST_AIRS:
            fill.rows.ask(np.ones(fill.rows.n, dtype=bool))
            airs = airs[:1]
        for air in airs:
            fill.put_constants(self._constants_at(float(air)), barometer == air)

    # -- numbers -------------------------------------------------------------------------------------------------

    def _numbers_of(self, name: str, batch: pa.RecordBatch, rows: _Rows, barometer: Floats) -> tuple[Floats, Flags]:
        numbers = rows.numbers_in(batch, self.map.fields[name].columns[0], FIELDS[name])
        value, sure = self._scales[name].to_si(numbers, barometer)
        rows.ask(~sure)
        return value, ~np.isnan(value) & sure

    def _take_numbers(self, name: str, batch: pa.RecordBatch, fill: _Fill) -> None:
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

    def _take_words(self, name: str, source: Source, batch: pa.RecordBatch, fill: _Fill) -> None:
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
        if text.strip().casefold() in _NOTHING:
            return ""
        if name == "refrigerant":
            try:
                return refrigerants.get(text).id
            except InputError:
                return None
        word = "_".join(text.strip().casefold().replace("-", "_").split())
        word = {"true": "yes", "false": "no", "y": "yes", "n": "no"}.get(word, word)
        return word if word in allowed else None

    # -- profiles, instruments, kind of machine -------------------------------------------------------------------

    def _take_profiles(self, batch: pa.RecordBatch, fill: _Fill) -> None:
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
            if name.strip().casefold() in _NOTHING:
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

    def _take_gauges(self, fill: _Fill) -> None:
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

    def _take_system(self, fill: _Fill) -> None:
        fill.put_words_where_silent(
            np.ones(fill.rows.n, dtype=bool),
            {"system": Words(np.zeros(1, dtype=np.int16), (DEFAULT_SYSTEM,))},
            {"system": DEFAULT_SYSTEM},
        )

    # -- rows that are not plainly measurements -------------------------------------------------------------------

    def _doubt(self, fill: _Fill) -> None:
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

    def _up_to(self, refrigerant: str, name: str, fill: _Fill) -> float:
        key = refrigerant, name
        if key not in self._plain_up_to:
            self._plain_up_to[key] = slips.Machine(refrigerant, float(fill.barometer[0])).plain_up_to(name)
        return self._plain_up_to[key]

    def _judge_the_rest(self, batch: pa.RecordBatch, columns: Columns, rows: _Rows) -> Taken:
        """Ask `Reading` about each row that was marked."""
        asked = np.flatnonzero(rows.asked)
        if not asked.size:
            return Taken(columns, {})
        troubles: dict[int, str] = {}
        sound: list[tuple[int, Reading]] = []
        for row, given in zip(asked.tolist(), self._given(batch, asked), strict=True):
            try:
                reading = Reading(given, units=self.map.units)
                reading.validate_checks(self._program.answers)
                sound.append((row, with_profile(reading, self._program)))
            except InputError as error:
                troubles[row] = "; ".join(dict.fromkeys(str(error).splitlines()))
        return Taken(_with_readings(columns, asked, sound), troubles)

    def _given(self, batch: pa.RecordBatch, rows: npt.NDArray[np.intp]) -> Iterator[dict[str, object]]:
        """Return each of these rows as what a person would have typed, on top of the constants."""
        part = batch.take(pa.array(rows))
        texts: dict[str, list[object]] = {}
        for name, source in self.map.fields.items():
            columns = [part.column(column).to_pylist() for column in source.columns]
            scale = self._scales.get(name)
            written = [[_written(value, source, scale) for value in column] for column in columns]
            texts[name] = written[0] if len(written) == 1 else [_pair(*ends) for ends in zip(*written, strict=True)]
        for i in range(rows.size):
            told = {name: values[i] for name, values in texts.items() if not _says_nothing(values[i])}
            yield {**self.map.constants, **told}


def _says_nothing(value: object) -> bool:
    return value is None or (isinstance(value, str) and value.strip().casefold() in _NOTHING)


def _pair(first: object, second: object) -> object:
    ends = [end for end in (first, second) if not _says_nothing(end)]
    return ends if len(ends) == 2 else ends[0] if ends else None


def _written(value: Any, source: Source, scale: Scale | None) -> object:
    """Return a value of a table as it would stand in a reading."""
    if value is None:
        return None
    if scale is None:
        text = str(value).lower() if isinstance(value, bool) else str(value)
        return source.words.get(text, text)
    if isinstance(value, str):
        text = source.words.get(value, value).strip()
        return f"{text} {source.unit}".strip() if _WITHOUT_UNIT.fullmatch(text) else text
    if isinstance(value, bool):
        return str(value).lower()
    seconds = getattr(value, "total_seconds", None)
    number = float(seconds() if seconds is not None else value)
    if np.isnan(number):
        return None
    unit = "s" if seconds is not None else source.unit
    return f"{number!r} {unit}".strip()


def _with_readings(columns: Columns, asked: npt.NDArray[np.intp], sound: list[tuple[int, Reading]]) -> Columns:
    """Return the columns with these rows emptied, and filled with what the readings say."""
    told = columns_of([reading for _, reading in sound]) if sound else None
    rows = np.array([row for row, _ in sound], dtype=np.intp)
    numbers = {name: values.copy() for name, values in columns.numbers.items()}
    words = {name: Words(w.codes.copy(), w.values) for name, w in columns.words.items()}
    barometer, uncertainty = columns.barometer.copy(), columns.barometer_uncertainty.copy()
    for values in numbers.values():
        values[asked] = np.nan
    for each in words.values():
        each.codes[asked] = NO_WORD
    barometer[asked], uncertainty[asked] = STANDARD_ATMOSPHERE, BAROMETER_UNCERTAINTY["assumed"]
    if told is not None:
        for name, values in told.numbers.items():
            numbers.setdefault(name, np.full(columns.n, np.nan))[rows] = values
        for name, w in told.words.items():
            mine = words.get(name, Words(np.full(columns.n, NO_WORD, dtype=np.int16), ()))
            known = (*mine.values, *(v for v in w.values if v not in mine.values))
            table = np.array([known.index(v) for v in w.values] + [NO_WORD], dtype=np.int16)
            mine.codes[rows] = table[w.codes]
            words[name] = Words(mine.codes, known)
        barometer[rows], uncertainty[rows] = told.barometer, told.barometer_uncertainty
    return Columns(columns.n, numbers, words, barometer, uncertainty)


class _Rows:
    """The rows of a batch: which of them a reading must be asked about, and their cells as numbers or texts."""

    def __init__(self, n: int) -> None:
        self.n = n
        self.asked = np.zeros(n, dtype=bool)

    def ask(self, rows: Flags) -> None:
        self.asked |= rows

    def numbers_in(self, batch: pa.RecordBatch, column: str, field: Field) -> Floats:
        """Return a column as numbers [1], NaN where nothing is told; rows with other text are marked."""
        cells = batch.column(column)
        kind = cells.type
        if pa.types.is_dictionary(kind):
            cells = cells.dictionary_decode()
            kind = cells.type
        if pa.types.is_null(kind):
            return np.full(self.n, np.nan)
        if _is_text(kind):
            return self._numbers_in_texts(cells)
        if pa.types.is_duration(kind) and field.dimension is Dimension.DURATION:
            cells = pc.divide(cells.cast(pa.duration("us")).cast(pa.int64()).cast(pa.float64()), 1e6)
        elif not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
            raise InputError(f"column {shown(column)} holds {kind}, and numbers belong to {field.name}")
        values = cells.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
        self.ask(np.isinf(values))
        return np.where(np.isinf(values), np.nan, values) if np.isinf(values).any() else values

    def _numbers_in_texts(self, cells: pa.Array) -> Floats:
        codes, values = _encoded(cells)
        table = np.full(len(values) + 1, np.nan)
        other = np.zeros(len(values) + 1, dtype=bool)
        for i, text in enumerate(values):
            plain = text.strip()
            if _PLAIN_NUMBER.fullmatch(plain):
                table[i] = float(plain)
            else:
                other[i] = plain.casefold() not in _NOTHING
        self.ask(other[codes])
        return table[codes]

    def texts_in(self, batch: pa.RecordBatch, column: str) -> tuple[npt.NDArray[np.intp], list[str]]:
        """Return a column as texts: an index for each row, -1 where nothing is told, and the texts."""
        cells = batch.column(column)
        kind = cells.type
        if pa.types.is_null(kind):
            return np.full(self.n, NO_WORD, dtype=np.intp), []
        inner = kind.value_type if pa.types.is_dictionary(kind) else kind
        if not (_is_text(inner) or pa.types.is_integer(inner) or pa.types.is_boolean(inner)):
            raise InputError(f"column {shown(column)} holds {kind}, and words belong there")
        return _encoded(cells)


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def _encoded(cells: pa.Array) -> tuple[npt.NDArray[np.intp], list[str]]:
    encoded = cells if pa.types.is_dictionary(cells.type) else _as_text(cells).dictionary_encode()
    codes = encoded.indices.cast(pa.int64()).fill_null(NO_WORD).to_numpy(zero_copy_only=False).astype(np.intp)
    values = _as_text(encoded.dictionary).to_pylist()
    if None in values:  # a dictionary may hold a null of its own
        table = np.array([NO_WORD if v is None else i for i, v in enumerate(values)] + [NO_WORD], dtype=np.intp)
        codes = table[codes]
    return codes, [value or "" for value in values]


def _as_text(cells: pa.Array) -> pa.Array:
    return cells if pa.types.is_string(cells.type) else cells.cast(pa.string())


class _Fill:
    """The columns of a batch while they are being filled: constants first, then what the rows tell."""

    def __init__(self, rows: _Rows, barometer: Floats, constants: Columns | None) -> None:
        self.rows = rows
        self.barometer = barometer
        self.constants = constants
        self.numbers: dict[str, Floats] = {}
        self.words: dict[str, Words] = {}
        if constants is not None:
            self.put_constants(constants, None)

    def put_constants(self, constants: Columns, where: Flags | None) -> None:
        n = self.rows.n
        for name, values in constants.numbers.items():
            if where is None:
                self.numbers[name] = np.full(n, values[0])
            else:
                self.numbers.setdefault(name, np.full(n, np.nan))[where] = values[0]
        for name, w in constants.words.items():
            if name not in self.words:
                self.words[name] = Words(np.full(n, NO_WORD if where is not None else 0, dtype=np.int16), w.values)
            if where is not None:
                self.words[name].codes[where] = 0

    def put_numbers(self, name: str, values: Floats) -> None:
        before = self.numbers.get(name)
        self.numbers[name] = values if before is None else np.where(np.isnan(values), before, values)
        if before is None:
            return
        told = ~np.isnan(values)  # a single value in the row puts a swing of the constants aside
        for end in (".from", ".to"):
            if f"{name}{end}" in self.numbers:
                self.numbers[f"{name}{end}"] = np.where(told, np.nan, self.numbers[f"{name}{end}"])

    def put_words(self, name: str, codes: npt.NDArray[np.intp], meant: list[str | None]) -> None:
        """Take the words of a column; `meant` holds "" for not told and None where a reading has to be asked."""
        before = self.words.get(name)
        values = tuple(dict.fromkeys(word for word in (*(before.values if before else ()), *meant) if word))
        table = np.array([values.index(word) if word else NO_WORD for word in meant] + [NO_WORD], dtype=np.int16)
        strange = np.array([word is None for word in meant] + [False])
        self.rows.ask(strange[codes])
        told = table[codes]
        if before is not None:
            told = np.where(told == NO_WORD, before.codes, told)  # its values come first, so that its codes hold
        self.words[name] = Words(told, values)

    def put_words_where_silent(self, where: Flags, words: Mapping[str, Words], told: Mapping[str, object]) -> None:
        for name, w in words.items():
            if name not in told:
                continue
            word = w.values[0]
            mine = self.words.get(name) or Words(np.full(self.rows.n, NO_WORD, dtype=np.int16), ())
            values = mine.values if word in mine.values else (*mine.values, word)
            silent = where & (mine.codes == NO_WORD)
            self.words[name] = Words(np.where(silent, np.int16(values.index(word)), mine.codes), values)

    def put_spec_where_silent(self, field: str, where: Flags, ends: tuple[Floats, Floats], own: set[str]) -> None:
        if field in own:
            return
        for end, values in zip((".from", ".to"), ends, strict=True):
            name = f"spec.{field}{end}"
            column = self.numbers.get(name)
            column = np.full(self.rows.n, np.nan) if column is None else column.copy()
            column[where] = values
            self.numbers[name] = column
