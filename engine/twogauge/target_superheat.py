"""Target superheat of fixed-orifice comfort cooling: a published maker's table, and interpolation between its cells.

A fixed orifice passes what the pressures push through it, so the right superheat moves with the air at both coils.
The table gives it over the air entering the condenser (dry bulb) and the air entering the evaporator (wet bulb).
Where the table has a dash, superheat says nothing about the charge: there is no target, and none is made up. Outside
the table there is none either; nothing is extrapolated.

The cells stand in data/target_superheat.json with their source. This module judges nothing.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

TABLE: Final = Path(__file__).resolve().parent / "data" / "target_superheat.json"
PER_DEGF: Final = 5.0 / 9.0  # [K]
ROUNDED: Final = 0.5 * PER_DEGF / 3.0**0.5  # [K] standard uncertainty of a cell printed in whole degF
_SLACK: Final = 1e-9  # [degF] rounding must not push an edge of the table off it


@dataclass(frozen=True, slots=True)
class Table:
    """The published table.

    Attributes:
        dry_bulb: [degF] shape (rows,), air entering the condenser, rising.
        wet_bulb: [degF] shape (columns,), air entering the evaporator, rising.
        target: [degF] shape (rows, columns); NaN where the table has a dash.
        least: [degF] a smaller target is no valid test.
        applies_to: field -> words the table was made for.
        source: the document it was taken from.
    """

    dry_bulb: Floats
    wet_bulb: Floats
    target: Floats
    least: float
    applies_to: Mapping[str, frozenset[str]]
    source: str


@dataclass(frozen=True, slots=True)
class Target:
    """What the table says for n conditions.

    Attributes:
        value: [K] shape (n,); NaN where there is no target.
        per_dry_bulb, per_wet_bulb: [1] shape (n,), how fast it moves with each temperature.
        on_table: shape (n,), whether both temperatures lie on the table, target or dash.
    """

    value: Floats
    per_dry_bulb: Floats
    per_wet_bulb: Floats
    on_table: npt.NDArray[np.bool_]


@functools.cache
def table() -> Table:
    """Return the table, read once."""
    content = json.loads(TABLE.read_bytes())
    return Table(
        np.array(content["dry_bulb_entering_condenser"], dtype=np.float64),
        np.array(content["wet_bulb_entering_evaporator"], dtype=np.float64),
        np.array([[np.nan if cell is None else cell for cell in row] for row in content["target"]]),
        float(content["least"]),
        {name: frozenset(words) for name, words in content["applies_to"].items()},
        content["source"],
    )


def look_up(dry_bulb: Floats, wet_bulb: Floats) -> Target:
    """Return the target superheat, bilinear between the cells.

    Only cells that carry weight count: on a line of the table its neighbours may be dashes.

    Args:
        dry_bulb: [K] shape (n,), air entering the condenser.
        wet_bulb: [K] shape (n,), wet bulb of the air entering the evaporator.

    Returns:
        the target [K] and its slopes, shape (n,); NaN on a dash, below the least valid target, off the table, or
        where a temperature is missing.

    Source: Lennox 14ACX manual, p. 26, for the cells; California RA3.2 (2008), RA3-14, for the least valid target.
    """
    known = table()
    row, down, on_rows = _place(_degf(dry_bulb), known.dry_bulb)
    column, right, on_columns = _place(_degf(wet_bulb), known.wet_bulb)
    corners = [[known.target[row + i, column + j] for j in (0, 1)] for i in (0, 1)]
    # A dash without weight must not spoil the cells beside it.
    weights = [[(down if i else 1.0 - down) * (right if j else 1.0 - right) for j in (0, 1)] for i in (0, 1)]
    value = np.zeros_like(down)
    for i in (0, 1):
        for j in (0, 1):
            value += np.where(weights[i][j] == 0.0, 0.0, weights[i][j] * corners[i][j])
    on_table = on_rows & on_columns
    value = np.where(on_table & (value >= known.least), value, np.nan)
    row_step = known.dry_bulb[row + 1] - known.dry_bulb[row]
    column_step = known.wet_bulb[column + 1] - known.wet_bulb[column]
    per_row = _slope(corners[0][0], corners[1][0], corners[0][1], corners[1][1], right) / row_step
    per_column = _slope(corners[0][0], corners[0][1], corners[1][0], corners[1][1], down) / column_step
    # A cell walled in by dashes has no slope of its own: the table's usual one.
    usual_row = np.nanmean(np.diff(known.target, axis=0) / np.diff(known.dry_bulb)[:, np.newaxis])
    usual_column = np.nanmean(np.diff(known.target, axis=1) / np.diff(known.wet_bulb))
    per_row = np.where(np.isnan(per_row), usual_row, per_row)
    per_column = np.where(np.isnan(per_column), usual_column, per_column)
    return Target(value * PER_DEGF, per_row, per_column, on_table)


def _degf(kelvin: Floats) -> Floats:
    return kelvin / PER_DEGF - 459.67


def _place(at: Floats, line: Floats) -> tuple[npt.NDArray[np.intp], Floats, npt.NDArray[np.bool_]]:
    """Return the cell each value lies in, how far into it (0 to 1), and whether it lies on the line at all."""
    on = (at >= line[0] - _SLACK) & (at <= line[-1] + _SLACK)
    inside = np.clip(np.where(on, at, line[0]), line[0], line[-1])
    cell = np.clip(np.searchsorted(line, inside, side="right") - 1, 0, len(line) - 2)
    part = (inside - line[cell]) / (line[cell + 1] - line[cell])
    # A thermometer's 75 degF is 75 degF, whatever the way through kelvin did to its last digit.
    return cell, np.where(np.abs(part - np.round(part)) < _SLACK, np.round(part), part), on


def _slope(a: Floats, b: Floats, c: Floats, d: Floats, part: Floats) -> Floats:
    """Rise from a to b at part 0 and from c to d at part 1; where one is a dash the other counts."""
    first, second = b - a, d - c
    first, second = np.where(np.isnan(first), second, first), np.where(np.isnan(second), first, second)
    return np.asarray(first + (second - first) * part, dtype=np.float64)
