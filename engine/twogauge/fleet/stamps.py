"""A column of stamps to microseconds since 1970 in UTC, whatever it is made of."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from twogauge.errors import InputError, shown

Stamps = npt.NDArray[np.int64]  # [us] since 1970-01-01 UTC
NO_STAMP: Final = np.int64(np.iinfo(np.int64).min)
SECOND: Final = 1_000_000  # [us]
DAY: Final = 86_400 * SECOND

_PLAIN: Final = r"^\d{4}-\d\d-\d\d([ T]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?)?$"
_ZONED: Final = r"^(\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?) ?(Z|[+-]\d\d:?\d\d)$"
_NUMBER: Final = r"^-?\d{1,15}(\.\d{1,9})?$"
_EARLIEST: Final = -62_135_596_800 * SECOND  # year 1
_LATEST: Final = 253_402_300_800 * SECOND  # year 10 000


def stamps_of(cells: pa.Array, zone: str, column: str) -> Stamps:
    """Return a column as stamps; NO_STAMP where there is none or it cannot be read.

    Args:
        cells: timestamps, dates, text as ISO 8601 writes it, or numbers since 1970: seconds, or, where they are too
            large for that, milliseconds, microseconds or nanoseconds.
        zone: of stamps that name none, by its name in the tz database. Of an hour that comes twice the first is meant.
        column: its name, for the message.

    Raises:
        InputError: a kind of column that holds no stamps.
    """
    kind = cells.type
    if pa.types.is_dictionary(kind):
        cells = cells.dictionary_decode()
        kind = cells.type
    if pa.types.is_null(kind):
        return np.full(len(cells), NO_STAMP)
    if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        return _stamps(cells.cast(pa.timestamp("us", getattr(kind, "tz", None)), safe=False), zone)
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return _since_1970(cells)
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind):
        return _read(pc.utf8_trim_whitespace(cells.cast(pa.string())), zone)
    raise InputError(f"column {shown(column)} holds {kind}, and stamps belong to time")


def _stamps(times: pa.Array, zone: str) -> Stamps:
    if times.type.tz is None:
        times = pc.assume_timezone(times, zone, ambiguous="earliest", nonexistent="earliest")
    return _filled(times.cast(pa.int64()))


def _filled(numbers: pa.Array) -> Stamps:
    got: Stamps = pc.fill_null(numbers, NO_STAMP).to_numpy(zero_copy_only=False)
    return np.where((got < _EARLIEST) | (got >= _LATEST), NO_STAMP, got)


def _since_1970(cells: pa.Array) -> Stamps:
    whole = pa.types.is_integer(cells.type)
    numbers = np.asarray(cells.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False))
    size = np.abs(numbers)
    factor = np.select([size < 1e11, size < 1e14, size < 1e17], [1e6, 1e3, 1.0], 1e-3)
    with np.errstate(invalid="ignore"):
        stamps = np.where(np.isfinite(numbers), np.rint(numbers * factor), float(NO_STAMP)).astype(np.int64)
    if whole:  # exact also beyond what a float holds
        exact = pc.fill_null(cells.cast(pa.int64(), safe=False), 0).to_numpy(zero_copy_only=False)
        stamps = np.where(np.isfinite(numbers) & (factor == 1.0), exact, stamps)
    return np.where((stamps < _EARLIEST) | (stamps >= _LATEST), NO_STAMP, stamps)


def _read(texts: pa.Array, zone: str) -> Stamps:
    out = np.full(len(texts), NO_STAMP)
    for pattern, tz in ((_PLAIN, None), (_ZONED, "UTC"), (_NUMBER, "")):
        fits = pc.fill_null(pc.match_substring_regex(texts, pattern), False)
        rows = np.flatnonzero(fits.to_numpy(zero_copy_only=False))
        if not rows.size:
            continue
        mine = texts.filter(fits)
        if tz == "":
            out[rows] = _since_1970(mine.cast(pa.float64()))
            continue
        mine = pc.replace_substring(mine, ",", ".")
        if tz is not None:
            mine = pc.replace_substring_regex(mine, r" ?(Z|[+-]\d\d:?\d\d)$", r"\1")
        out[rows] = _stamps(_parsed(mine, pa.timestamp("ns", tz)).cast(pa.timestamp("us", tz), safe=False), zone)
    return out


def _parsed(texts: pa.Array, kind: pa.DataType) -> pa.Array:
    """Return text as stamps, null where it is no date of the calendar, such as the 31st of June."""
    try:
        return texts.cast(kind)
    except pa.ArrowInvalid:
        return pa.array([_one(text, kind) for text in texts.to_pylist()], kind)


def _one(text: str, kind: pa.DataType) -> object:
    try:
        return pa.scalar(text).cast(kind)
    except pa.ArrowInvalid:
        return None
