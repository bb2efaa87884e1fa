"""The columns of a batch while they are being filled: constants first, then what the rows tell, then profiles."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from twogauge.columns import NO_WORD, Columns, Floats, Words
from twogauge.fleet.cells import Rows
from twogauge.fleet.scale import Flags


class Fill:
    """What a batch holds so far.

    Args:
        rows: of the batch.
        barometer: [Pa] shape (n,).
        constants: columns of one row that hold for all, or None where they differ by row.

    Attributes:
        numbers, words: as the core's columns.
    """

    def __init__(self, rows: Rows, barometer: Floats, constants: Columns | None) -> None:
        self.rows = rows
        self.barometer = barometer
        self.constants = constants
        self.numbers: dict[str, Floats] = {}
        self.words: dict[str, Words] = {}
        if constants is not None:
            self.put_constants(constants, None)

    def put_constants(self, constants: Columns, where: Flags | None) -> None:
        """Let what columns of one row tell hold for these rows; None for all."""
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
        """Take numbers [SI] of the rows, shape (n,), NaN where one tells none."""
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
        """Take words of one row, those named in `told`, for the rows that tell nothing of their own."""
        for name, w in words.items():
            if name not in told:
                continue
            word = w.values[0]
            mine = self.words.get(name) or Words(np.full(self.rows.n, NO_WORD, dtype=np.int16), ())
            values = mine.values if word in mine.values else (*mine.values, word)
            silent = where & (mine.codes == NO_WORD)
            self.words[name] = Words(np.where(silent, np.int16(values.index(word)), mine.codes), values)

    def put_spec_where_silent(self, field: str, where: Flags, ends: tuple[Floats, Floats], own: set[str]) -> None:
        """Take a maker's range [SI] for these rows, unless the constants have one of their own."""
        if field in own:
            return
        for end, values in zip((".from", ".to"), ends, strict=True):
            name = f"spec.{field}{end}"
            column = self.numbers.get(name)
            column = np.full(self.rows.n, np.nan) if column is None else column.copy()
            column[where] = values
            self.numbers[name] = column
