"""The cells of a batch as numbers or texts, and which rows a reading must be asked about."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from twogauge.columns import NO_WORD, Floats
from twogauge.errors import InputError, shown
from twogauge.fields import Field
from twogauge.fleet.scale import Flags
from twogauge.intake import is_nothing
from twogauge.quantities import Dimension

_PLAIN_NUMBER: Final = re.compile(r"[-+]?\d{1,15}(?:\.\d{1,30})?")
_PLAIN_DIGITS: Final = r"^-?[0-9]{1,15}(?:\.[0-9]{1,30})?$"  # the same without a plus sign, as Arrow reads it


class Rows:
    """The rows of a batch: which of them a reading must be asked about, and their cells as numbers or texts."""

    def __init__(self, n: int) -> None:
        self.n = n
        self.asked = np.zeros(n, dtype=bool)

    def ask(self, rows: Flags) -> None:
        """Mark rows, shape (n,), that are not plainly measurements."""
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
        texts = pc.utf8_trim_whitespace(_as_text(cells))
        plain = pc.fill_null(pc.match_substring_regex(texts, _PLAIN_DIGITS), fill_value=False)
        numbers = pc.if_else(plain, texts, pa.scalar(None, pa.string())).cast(pa.float64())
        values: Floats = numbers.to_numpy(zero_copy_only=False)
        rest = np.flatnonzero(~plain.to_numpy(zero_copy_only=False))
        if rest.size:
            codes, words = _encoded(texts.take(pa.array(rest)))
            read = [float(word) if _PLAIN_NUMBER.fullmatch(word) else np.nan for word in words]
            other = [not _PLAIN_NUMBER.fullmatch(word) and not is_nothing(word) for word in words]
            values = values.copy()
            values[rest] = np.array([*read, np.nan])[codes]
            self.asked[rest] |= np.array([*other, False])[codes]
        return values

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
