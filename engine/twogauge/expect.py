"""What is normal today: the bands of pressures, temperatures and their differences for the conditions of a reading.

The same bands that a diagnosis measures levels against (levels.py), with where each comes from: the range of the
maker or a profile (`spec`), a known-good reading of the same machine (`baseline`), or the usual range of the rule packs.
Nothing needs to have been measured but the conditions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from twogauge import refrigerants
from twogauge.columns import Columns
from twogauge.diagnosis import GateShut, columns_of, gates_shut
from twogauge.levels import LEVELS, band_in_force, why_no_band, yardstick
from twogauge.packs.compile import Program
from twogauge.profiles import with_profile
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.work import Work

# Port -> the level that is judged by it.
PORTS: Final = {"low_side": "low_side_level", "high_side": "high_side_level"}


@dataclass(frozen=True, slots=True)
class Expected:
    """What is normal for one quantity.

    Attributes:
        name: field or derived quantity.
        about: one line about it.
        dimension: of the ends; pressures are absolute [Pa].
        low, high: [SI] the ends of normal.
        by: usual, baseline, spec or target.
        source: where the numbers come from, or the name of the profile.
        swing: [SI] where the two ends of a needle lie that swings by design, or None.
    """

    name: str
    about: str
    dimension: Dimension
    low: float
    high: float
    by: str
    source: str
    swing: tuple[tuple[float, float], tuple[float, float]] | None = None


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is normal for a reading's conditions, and what could not be told.

    Attributes:
        reading: with its profile filled in.
        expected: what is known.
        unknown: name -> why there is no band.
        gates: what the conditions alone say against judging anything by it, such as cold air.
    """

    reading: Reading
    expected: tuple[Expected, ...]
    unknown: tuple[tuple[str, str], ...]
    gates: tuple[GateShut, ...] = ()


def expect(reading: Reading, program: Program) -> Expectation:
    """Return what is normal for the conditions of a reading.

    Raises:
        ReadingError: the reading names a profile that no pack has.
    """
    reading = with_profile(reading, program)
    columns = columns_of([reading])
    work = Work(columns, QUANTITIES, program.bands)
    expected: list[Expected] = []
    unknown: list[tuple[str, str]] = []
    everything = [_port(work, columns, reading, port, level) for port, level in PORTS.items()]
    everything += [_quantity(work, columns, level, *of) for level, of in LEVELS.items()]
    for found in everything:
        if isinstance(found, Expected):
            expected.append(found)
        else:
            unknown.append(found)
    return Expectation(reading, tuple(expected), tuple(unknown), gates_shut(reading, program))


def _spec(columns: Columns, field: str) -> tuple[float, float] | None:
    low, high = (columns.numbers.get(f"spec.{field}.{end}") for end in ("from", "to"))
    return None if low is None or high is None else (float(low[0]), float(high[0]))


def _source(reading_profile: object) -> str:
    return f"profile {reading_profile}" if reading_profile else "the maker's range given with the reading"


def _in_own_terms(work: Work, columns: Columns, level: str, quantity: str) -> Expected | str:
    """Return the band of a level's quantity: around a baseline, or the usual one."""
    info = QUANTITIES[quantity]
    found = band_in_force(work, level)
    if found is None:
        return why_no_band(work, level).reason
    band, low, high = found
    earlier = columns.numbers.get(f"baseline.{quantity}")
    if earlier is not None and not math.isnan(earlier[0]):
        value = float(earlier[0])
        source = "a known-good reading of the same machine"
        return Expected(
            quantity, info.about, info.dimension, value - band.baseline, value + band.baseline, "baseline", source
        )
    by = yardstick(work, band)
    return Expected(quantity, info.about, info.dimension, low, high, by, band.source, band.swing)


def _quantity(work: Work, columns: Columns, level: str, quantity: str, field: str) -> Expected | tuple[str, str]:
    spec = _spec(columns, field)
    info = QUANTITIES[quantity]
    if spec is not None and field == quantity:
        return Expected(quantity, info.about, info.dimension, *spec, "spec", "the maker's range")
    found = _in_own_terms(work, columns, level, quantity)
    return found if isinstance(found, Expected) else (quantity, found)


def _port(work: Work, columns: Columns, reading: Reading, port: str, level: str) -> Expected | tuple[str, str]:
    """Return what a gauge should show, as pressures."""
    info = QUANTITIES[port]
    spec = _spec(columns, port)
    if spec is not None:
        return Expected(port, info.about, info.dimension, *spec, "spec", _source(reading.given.get("profile")))
    quantity = LEVELS[level][0]
    found = _in_own_terms(work, columns, level, quantity)
    if isinstance(found, str):
        return port, found
    name = reading.parts.words.get("refrigerant")
    if name is None:
        return port, "the refrigerant was not given"
    offset = 0.0
    if QUANTITIES[quantity].dimension is Dimension.TEMPERATURE_DIFFERENCE:
        ambient = reading.parts.numbers.get("ambient")
        if ambient is None:
            return port, "the ambient temperature was not given"
        offset = ambient
    what = refrigerants.get(name)

    def pressures(ends: tuple[float, float]) -> tuple[float, float]:
        low, high = what.saturation_pressure(np.array(ends) + offset, "dew")
        return float(low), float(high)

    low, high = pressures((found.low, found.high))
    if math.isnan(low) or math.isnan(high):
        return port, f"{what.title} has no saturation pressure there"
    swing = None if found.swing is None else (pressures(found.swing[0]), pressures(found.swing[1]))
    return Expected(port, info.about, info.dimension, low, high, found.by, found.source, swing)
