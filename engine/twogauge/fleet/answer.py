"""What the core found, as Arrow columns: one row for each row that went in, and always the same columns.

    verdict               word: fault, normal, too_close, not_enough or gated; null for a row in trouble
    first, second         the most probable fault (or that nothing is wrong) and the next, whatever the verdict
    first_probability, second_probability
    first_weight          all evidence for the first, without its prior [deciban]
    gate                  what makes the readings meaningless, where the verdict is gated
    trouble               what is wrong with the row, where it is no reading

and one for each derived quantity that the engine shows (`watched`), in SI; null where it is not known. The unit of a
column of numbers stands in its metadata under `unit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from twogauge.columns import Floats
from twogauge.packs.compile import Program
from twogauge.quantities import Dimension, UnitSet, symbol_for
from twogauge.quantity_table import QUANTITIES
from twogauge.weigh import Swept, Verdict
from twogauge.work import Derived

Flags = npt.NDArray[np.bool_]

_WORD: Final = pa.dictionary(pa.int16(), pa.string())
_DECIBAN: Final = {"unit": "dB"}
WATCHED: Final = tuple(name for name, info in QUANTITIES.items() if info.watched)
VERDICTS: Final = tuple(verdict.word for verdict in Verdict)


def _unit(name: str) -> Mapping[str, str]:
    dimension = QUANTITIES[name].dimension
    if dimension is Dimension.NUMBER:
        return {"unit": "1"}
    si = {Dimension.TEMPERATURE: "K", Dimension.PRESSURE: "Pa", Dimension.FRACTION: "1"}
    return {"unit": si.get(dimension, symbol_for(dimension, UnitSet.SI))}


SCHEMA: Final = pa.schema(
    [
        pa.field("verdict", _WORD),
        pa.field("first", _WORD),
        pa.field("first_probability", pa.float64()),
        pa.field("first_weight", pa.float64(), metadata=_DECIBAN),
        pa.field("second", _WORD),
        pa.field("second_probability", pa.float64()),
        pa.field("gate", _WORD),
        *(pa.field(name, pa.float64(), metadata=_unit(name)) for name in WATCHED),
        pa.field("trouble", pa.string()),
    ]
)


def as_batch(swept: Swept, program: Program, troubles: Mapping[int, str]) -> pa.RecordBatch:
    """Return the answers for one chunk.

    Args:
        swept: as the core returned it.
        program: the rules that were weighed.
        troubles: number of the row in the chunk -> what is wrong with it.
    """
    weighed = swept.weighed
    n = weighed.verdict.shape[0]
    bad = None
    if troubles:
        bad = np.zeros(n, dtype=bool)
        bad[list(troubles)] = True
    rows = np.arange(n)
    probability = weighed.probability.T  # one stretch of memory for each hypothesis
    first = weighed.leader.astype(np.intp)
    second = _second(probability, first)
    columns = [
        _words(weighed.verdict, VERDICTS, bad),
        _words(first, weighed.hypotheses, bad),
        pa.array(probability[first, rows], mask=bad),
        pa.array(weighed.weight.T[first, rows], mask=bad),
        _words(second, weighed.hypotheses, bad),
        pa.array(probability[second, rows], mask=bad),
        _gates(swept, program, bad),
        *(_quantity(swept, name, n, bad) for name in WATCHED),
        pa.array([troubles.get(i) for i in range(n)], pa.string()) if troubles else pa.nulls(n, pa.string()),
    ]
    return pa.RecordBatch.from_arrays(columns, schema=SCHEMA)


def _second(probability: Floats, first: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Return the most probable hypothesis besides the first, shape (n,); of equal ones the first in order.

    Args:
        probability: shape (hypotheses, n).
        first: shape (n,).
    """
    best = np.full(first.shape, -1.0)
    second = np.zeros(first.shape, dtype=np.intp)
    for i, mine in enumerate(probability):
        better = (mine > best) & (first != i)
        np.copyto(best, mine, where=better)
        np.copyto(second, i, where=better)
    return second


def _words(codes: npt.NDArray[np.integer], values: tuple[str, ...], bad: Flags | None) -> pa.Array:
    indices = pa.array(codes.astype(np.int16), mask=bad)
    return pa.DictionaryArray.from_arrays(indices, _dictionary(values))


@cache
def _dictionary(values: tuple[str, ...]) -> pa.Array:
    return pa.array(values, pa.string())


def _gates(swept: Swept, program: Program, bad: Flags | None) -> pa.Array:
    names = tuple(gate.rule.id for gate in program.gates)
    shut = swept.weighed.verdict == Verdict.GATED
    if bad is not None:
        shut &= ~bad
    if not swept.gates or not shut.any():
        empty = pa.nulls(shut.size, pa.int16())
        return pa.DictionaryArray.from_arrays(empty, _dictionary(names or ("",)))
    in_plan = np.array([names.index(name) for name in swept.gates], dtype=np.int16)
    return _words(in_plan[np.nan_to_num(swept.gate_degree).argmax(axis=0)], names, ~shut)


def _quantity(swept: Swept, name: str, n: int, bad: Flags | None) -> pa.Array:
    found = swept.work.get(name)
    if not isinstance(found, Derived):
        return pa.nulls(n, pa.float64())
    missing = np.isnan(found.value)
    return pa.array(found.value, mask=missing if bad is None else missing | bad)
