"""What the gauge of a log is, what it may be off, and when the valve was shut: read out of the log itself.

Who tells nothing about the gauge gets what is usual for its kind (vacuum.py) and the step that the readings show.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge.errors import FileProblems, InputError
from twogauge.packs.problems import Place, Problem
from twogauge.quantities import PA_PER_INHG, Dimension, to_unit
from twogauge.service import vacuum
from twogauge.service.criteria import GaugeKind
from twogauge.service.holdlog import HoldLog

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GaugeTold:
    """What was told about the gauge; NaN for the usual.

    Attributes:
        step: what it is read to [Pa].
        error: what it may be off [Pa].
        error_share: the same as a share of the reading [1].
    """

    step: float = math.nan
    error: float = math.nan
    error_share: float = math.nan


@dataclass(frozen=True, slots=True)
class GaugeSeen:
    """The gauge as the log shows it.

    Attributes:
        kind: dial or vacuum_gauge.
        step: what it is read to [Pa].
        step_told: somebody said so; else the readings show it.
        noise: how well one reading repeats, at the last reading [Pa].
        error: what it may be off, at the first reading [Pa].
        unit: that it is read in.
    """

    kind: GaugeKind
    step: float
    step_told: bool
    noise: float
    error: float
    unit: str


def gauge_of(log: HoldLog, p: Floats, told: GaugeTold) -> GaugeSeen:
    """Return the gauge of a log.

    Args:
        log: as it was read.
        p: its pressures, absolute [Pa], shape (n,).
        told: what was told about it.
    """
    pressures = [row.pressure for row in log.rows if row.pressure is not None]
    dials = sum(each.reference == "gauge" for each in pressures)
    kind: GaugeKind = "dial" if dials > len(pressures) / 2 else "vacuum_gauge"
    unit = pressures[-1].symbol
    if not math.isnan(told.step):
        return GaugeSeen(kind, told.step, True, math.nan, math.nan, unit)
    of_kind = [each for each in pressures if (each.reference == "gauge") == (kind == "dial")]
    # each unit by itself: what is read in two is a multiple of nothing in common
    units = {each.symbol for each in of_kind}
    step = max(smallest_step(np.array([each.value for each in of_kind if each.symbol == one]), one) for one in units)
    if kind == "dial" and step >= 0.4 * PA_PER_INHG:
        step = vacuum.DIAL_STEP  # whole inches by chance are no coarser dial
    elif kind == "vacuum_gauge":
        usual = max(0.02 * float(np.median(np.abs(p))), 0.5 * vacuum.VACUUM_FLOOR)
        step = min(step, usual)  # round numbers by chance are no coarse gauge
    return GaugeSeen(kind, step, False, math.nan, math.nan, unit)


def smallest_step(values: Floats, unit: str) -> float:
    """Return the coarsest usual step of which all readings are multiples [Pa].

    Args:
        values: as read [Pa].
        unit: they were read in.
    """
    one = 1.0 / to_unit(1.0, Dimension.PRESSURE_DIFFERENCE, unit)
    numbers = np.abs(values) / one
    for exponent in range(3, -5, -1):
        for digit in (5.0, 2.0, 1.0):
            step = digit * 10.0**exponent
            off = float(np.abs(numbers / step - np.round(numbers / step)).max(initial=0.0))
            if off < 1e-6 * max(1.0, 1.0 / step):
                return step * one
    return 1e-4 * one


def reading_errors(gauge: GaugeSeen, p: Floats) -> tuple[Floats, Floats]:
    """Return the step and the noise of each reading [Pa], shape of `p`.

    Args:
        gauge: that it was read with.
        p: absolute pressures [Pa], shape (n,).
    """
    step = np.full(p.shape, gauge.step)
    if gauge.kind == "dial":
        return step, np.full(p.shape, 0.3 * max(gauge.step, 0.1 * PA_PER_INHG))
    noise = np.hypot(vacuum.VACUUM_NOISE * np.abs(p), vacuum.VACUUM_FLOOR)
    return step, np.maximum(noise, 0.3 * step)


def permitted_error(told: GaugeTold, gauge: GaugeSeen, pressure: float) -> float:
    """Return what the gauge may be off [Pa] at a pressure [Pa]."""
    if not math.isnan(told.error):
        return told.error
    if not math.isnan(told.error_share):
        return told.error_share * abs(pressure)
    return vacuum.DIAL_ERROR if gauge.kind == "dial" else vacuum.VACUUM_ERROR * abs(pressure) + vacuum.VACUUM_FLOOR


def beyond_the_air(p: Floats, barometer: float, gauge: GaugeSeen, places: Sequence[Place]) -> list[str]:
    """Return a sentence if a dial shows more vacuum than there can be.

    Args:
        p: absolute pressures [Pa], shape (n,); below zero where it does.
        barometer: pressure of the air [Pa].
        gauge: that it was read with.
        places: of the readings in the file.

    Raises:
        FileProblems: it shows so much more that the height of the place, the unit or the gauge must be wrong.
    """
    more = -float(p.min()) / PA_PER_INHG
    if gauge.kind != "dial" or more <= 0.05:
        return []
    shown = (
        f"the dial shows {more:.1f} inHg more vacuum than the air of this place can give "
        f"({barometer / PA_PER_INHG:.1f} inHg)"
    )
    if more > _MOST_BEYOND:
        message = f"{shown}; check the number, the unit, the height of the place (--altitude) and the gauge's zero"
        raise FileProblems([Problem(places[int(np.argmin(p))], "beyond-the-air", message)])
    return [f"{shown}: it is off by at least that; what it rose by still counts"]


_MOST_BEYOND: Final = 1.0  # [inHg] a gauge off by half an inch on a day of high pressure; common practice


def bottomed(p: Floats, gauge: GaugeSeen) -> bool:
    """Tell whether the gauge stood at the lower end of its scale all the time.

    Args:
        p: absolute pressures [Pa], shape (n,).
        gauge: that it was read with.
    """
    return gauge.kind == "vacuum_gauge" and bool((p <= max(gauge.step, 1e-9)).all())


def shut_at(t: Floats, p: Floats, noise: Floats, step: Floats, told: float) -> tuple[int, bool, str]:
    """Return the index of the first reading behind the shut valve, whether it was found here, and a note.

    Args:
        t: times [s], shape (n,).
        p: absolute pressures [Pa], shape (n,).
        noise, step: of the gauge [Pa], shape (n,).
        told: when the valve was shut [s]; NaN if not told.

    Raises:
        InputError: the pump runs in the log and nothing shows when the valve was shut, or the log ends before.
    """
    if not math.isnan(told):
        later = np.flatnonzero(t >= told - 1e-6)
        if not later.size:
            raise InputError(f"the log ends {float(t[-1]) / 60:.0f} min after its start, before the valve was shut")
        return int(later[0]), False, ""
    error = np.hypot(noise, step)
    lowest = int(p.size - 1 - np.argmin(p[::-1]))
    fell = float(p[0] - p[lowest])  # from its first reading: a slip of the pen later on is no pump
    if lowest == 0 or fell <= 5.0 * float(error[lowest]) + 3.0 * float(error[0]):
        return 0, False, ""
    rose = float(p[lowest:].max() - p[lowest])
    if rose <= 5.0 * float(error[lowest]):
        raise InputError(
            "the log begins while the pump runs (the pressure falls), and nothing in it shows when the valve was shut; "
            "say so with --valved-off, such as --valved-off '12 min'"
        )
    note = (
        "the pump ran at the beginning of this log; the valve is taken to be shut where the pressure was lowest, "
        f"{float(t[lowest]) / 60:.1f} min after its start (--valved-off says otherwise)"
    )
    return lowest, True, note
