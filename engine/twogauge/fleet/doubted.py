"""Rows that are not plainly measurements, as a person would have typed them, and back from their readings to columns."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from twogauge.columns import NO_WORD, Columns, Words
from twogauge.diagnosis import columns_of
from twogauge.fields import BAROMETER_UNCERTAINTY
from twogauge.fleet.column_map import ColumnMap, Source
from twogauge.fleet.scale import Scale
from twogauge.intake import is_nothing
from twogauge.quantities import STANDARD_ATMOSPHERE
from twogauge.reading import Reading

# One number or the two ends of a swing, without a unit, in any notation: that of the column belongs behind it.
_WITHOUT_UNIT: Final = re.compile(
    r"N(?:\s+to\s+N)?".replace("N", r"[-+\u2212\u2013]?[\d.,'\u2019]+(?:[eE][-+]?\d{1,3})?"), re.IGNORECASE
)


def typed(
    batch: pa.RecordBatch, rows: npt.NDArray[np.intp], column_map: ColumnMap, scales: Mapping[str, Scale]
) -> Iterator[dict[str, object]]:
    """Return each of these rows as what a person would have typed, on top of the constants.

    Args:
        batch: the table.
        rows: numbers of the rows.
        column_map: what its columns mean.
        scales: of the fields that hold numbers.
    """
    part = batch.take(pa.array(rows))
    texts: dict[str, list[object]] = {}
    for name, source in column_map.fields.items():
        columns = [part.column(column).to_pylist() for column in source.columns]
        scale = scales.get(name)
        written = [[_written(value, source, scale) for value in column] for column in columns]
        texts[name] = written[0] if len(written) == 1 else [_pair(*ends) for ends in zip(*written, strict=True)]
    for i in range(rows.size):
        told = {name: values[i] for name, values in texts.items() if not is_nothing(values[i])}
        yield {**column_map.constants, **told}


def _pair(first: object, second: object) -> object:
    ends = [end for end in (first, second) if not is_nothing(end)]
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


def with_readings(columns: Columns, asked: npt.NDArray[np.intp], sound: list[tuple[int, Reading]]) -> Columns:
    """Return the columns with some rows emptied, and filled with what the readings say.

    Args:
        columns: of the batch.
        asked: numbers of the rows to empty.
        sound: number of a row and its reading.
    """
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
