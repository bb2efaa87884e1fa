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
from typing import Final

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from twogauge.packs.compile import Program
from twogauge.quantities import Dimension, UnitSet, symbol_for
from twogauge.quantity_table import QUANTITIES
from twogauge.weigh import Ledger, Verdict, Weighed
from twogauge.work import Derived

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


def as_batch(weighed: Weighed, ledger: Ledger, program: Program, troubles: Mapping[int, str]) -> pa.RecordBatch:
    """Return the answers for one chunk.

    Args:
        weighed, ledger: as the core returned them.
        program: the rules that were weighed.
        troubles: number of the row in the chunk -> what is wrong with it.
    """
    n = weighed.verdict.shape[0]
    bad = np.zeros(n, dtype=bool)
    bad[list(troubles)] = True
    rows = np.arange(n)
    probability = weighed.probability
    first = weighed.leader.astype(np.intp)
    rest = probability.copy()
    rest[rows, first] = -1.0
    second = rest.argmax(axis=1)
    columns = [
        _words(weighed.verdict, VERDICTS, bad),
        _words(first, weighed.hypotheses, bad),
        pa.array(probability[rows, first], mask=bad),
        pa.array(weighed.weight[rows, first], mask=bad),
        _words(second, weighed.hypotheses, bad),
        pa.array(probability[rows, second], mask=bad),
        _gates(weighed, ledger, program, bad),
        *(_quantity(ledger, name, n, bad) for name in WATCHED),
        pa.array([troubles.get(i) for i in range(n)], pa.string()) if troubles else pa.nulls(n, pa.string()),
    ]
    return pa.RecordBatch.from_arrays(columns, schema=SCHEMA)


def _words(codes: npt.NDArray[np.integer], values: tuple[str, ...], bad: npt.NDArray[np.bool_]) -> pa.Array:
    indices = pa.array(codes.astype(np.int16), mask=bad)
    return pa.DictionaryArray.from_arrays(indices, pa.array(values, pa.string()))


def _gates(weighed: Weighed, ledger: Ledger, program: Program, bad: npt.NDArray[np.bool_]) -> pa.Array:
    names = tuple(gate.rule.id for gate in program.gates)
    in_plan = [names.index(gate.id) for gate in ledger.plan.gates]
    shut = (weighed.verdict == Verdict.GATED) & ~bad
    codes = np.zeros(shut.size, dtype=np.int16)
    if in_plan and shut.any():
        codes = np.array(in_plan, dtype=np.int16)[np.nan_to_num(ledger.gate_degree).argmax(axis=0)]
    return _words(codes, names or ("",), ~shut)


def _quantity(ledger: Ledger, name: str, n: int, bad: npt.NDArray[np.bool_]) -> pa.Array:
    found = ledger.work.get(name)
    if not isinstance(found, Derived):
        return pa.nulls(n, pa.float64())
    return pa.array(found.value, mask=bad | np.isnan(found.value))
