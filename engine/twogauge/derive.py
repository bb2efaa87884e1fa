"""From what was measured to what can be judged: one short function of columns for each derived quantity.

A quantity that cannot be computed says why. Everything is SI and absolute, shape (n,), and comes with its standard
uncertainty. Nothing here knows what is normal: see levels.py. The table of all quantities is quantity_table.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge import refrigerants, target_superheat
from twogauge.columns import Floats, Words, applies
from twogauge.quantities import ZERO_CELSIUS
from twogauge.refrigerants import Place
from twogauge.work import Absent, Derived, Work


def saturation(work: Work, side: str, phase: Literal["bubble", "dew"]) -> Derived | Absent:
    """Return the saturation temperature at a service port [K]; u = dT/dp times that of the pressure."""
    told = work.told("refrigerant")
    if phase == "bubble" and told is not None and all(refrigerants.get(name).kind == "pure" for name in told.values):
        phase = "dew"  # the two are one curve
    return work.once((side, phase), lambda: _saturation(work, side, phase))


def _saturation(work: Work, side: str, phase: Literal["bubble", "dew"]) -> Derived | Absent:
    pressure = work.measured(side)
    if isinstance(pressure, Absent):
        return pressure
    rows = work.refrigerant_rows()
    if not rows:
        return Absent("the refrigerant was not given", ("refrigerant",))
    value, u = np.full(work.n, np.nan), np.full(work.n, np.nan)
    for name, mask in rows:
        what = refrigerants.get(name)
        p = pressure.value if mask is None else pressure.value[mask]
        at = what.saturation_temperature(p, phase)
        du = what.saturation_slope(p, phase) * (pressure.u if mask is None else pressure.u[mask])
        if mask is None:
            value, u = at, du
        else:
            value[mask], u[mask] = at, du
    if work.n == 1 and math.isnan(value[0]):
        return Absent(_no_saturation(rows[0][0], float(pressure.value[0]), side, phase))
    return Derived(value, u)


def _no_saturation(name: str, pressure: float, side: str, phase: Literal["bubble", "dew"]) -> str:
    what = refrigerants.get(name)
    place = int(what.where(np.array([pressure]), phase)[0])
    critical = f"{what.critical_temperature - ZERO_CELSIUS:.1f} degC"
    if place == Place.SUPERCRITICAL:
        return (
            f"the {side.replace('_', ' ')} is above the critical point of {what.title} ({critical}): there is no "
            f"saturation temperature, and the pressure is set by the maker's control, not by the air"
        )
    if place == Place.ABOVE:
        return f"the {side.replace('_', ' ')} is too close to the critical point of {what.title} ({critical})"
    return f"the {side.replace('_', ' ')} is below the range of the {what.title} curve (a vacuum)"


def difference(one: Derived | Absent, other: Derived | Absent) -> Derived | Absent:
    """Return one minus the other [SI]; absent where either is."""
    if isinstance(one, Absent):
        return one
    if isinstance(other, Absent):
        return other
    return Derived(one.value - other.value, np.hypot(one.u, other.u))


def _told_or(work: Work, field: str, computed: Callable[[], Derived | Absent]) -> Derived | Absent:
    """Return the number given for `field` where there is one, else what can be computed."""
    given = work.measured(field)
    if isinstance(given, Derived) and not np.isnan(given.value).any():
        return given
    return _first_known(given, computed())


def _first_known(first: Derived | Absent, second: Derived | Absent) -> Derived | Absent:
    """Return the first where it has a value, else the second, row by row."""
    if isinstance(first, Absent):
        return second
    if isinstance(second, Absent):
        return first
    known = ~np.isnan(first.value)
    return Derived(np.where(known, first.value, second.value), np.where(known, first.u, second.u))


def superheat(work: Work) -> Derived | Absent:
    """Suction line minus dew temperature at the low side [K]."""
    return _told_or(
        work, "superheat", lambda: difference(work.measured("suction_line"), work.number("suction_saturation"))
    )


def subcooling(work: Work) -> Derived | Absent:
    """Bubble temperature at the high side minus liquid line [K]."""
    return _told_or(
        work,
        "subcooling",
        lambda: difference(saturation(work, "high_side", "bubble"), work.measured("liquid_line")),
    )


def evaporator_air_drop(work: Work) -> Derived | Absent:
    """Air entering the evaporator minus air leaving it [K]; outside air enters where that intake is chosen."""

    def computed() -> Derived | Absent:
        entering = work.measured("return_air")
        intake = work.told("air_intake")
        if intake is not None and bool((outside := intake.is_one_of(["outside"])).any()):
            fresh = work.measured("ambient")
            if isinstance(fresh, Derived):
                fresh = Derived(np.where(outside, fresh.value, np.nan), fresh.u)
            entering = _first_known(entering, fresh)
        return difference(entering, work.measured("vent_air"))

    return _told_or(work, "evaporator_air_drop", computed)


def condenser_air_rise(work: Work) -> Derived | Absent:
    """Air leaving the condenser minus air entering it [K]."""
    return _told_or(
        work,
        "condenser_air_rise",
        lambda: difference(work.measured("condenser_air_out"), work.measured("ambient")),
    )


def pressure_ratio(work: Work) -> Derived | Absent:
    """High-side over low-side absolute pressure [1]; 1 where either side is told to be equal to the other."""
    low, high = work.measured("low_side"), work.measured("high_side")
    value, u = np.full(work.n, np.nan), np.zeros(work.n)
    if isinstance(low, Derived) and isinstance(high, Derived):
        floor = np.maximum(low.value, 100.0)  # a dead vacuum would make the ratio infinite
        value = high.value / floor
        u = value * np.hypot(low.u / floor, high.u / np.maximum(high.value, 100.0))
    equal = _told_equal(work)
    value, u = np.where(equal, 1.0, value), np.where(equal, 0.05, u)
    return _or_absent(work, value, u, _first_absent(low, high))


def _told_equal(work: Work) -> npt.NDArray[np.bool_]:
    equal = np.zeros(work.n, dtype=bool)
    for side in ("low_side", "high_side"):
        words = work.told(side)
        if words is not None:
            equal |= words.is_one_of(["equal"])
    return equal


def low_side_above_air(work: Work) -> Derived | Absent:
    """Low-side pressure minus the air around it [Pa]; a told vacuum counts as a third of the way down."""
    low = work.measured("low_side")
    air = work.columns.barometer
    value, u = np.full(work.n, np.nan), np.zeros(work.n)
    if isinstance(low, Derived):
        value, u = low.value - air, low.u
    words = work.told("low_side")
    if words is not None:
        vacuum = words.is_one_of(["vacuum"])
        value, u = np.where(vacuum, -air / 3.0, value), np.where(vacuum, air / 10.0, u)
    return _or_absent(work, value, u, _first_absent(low))


def above_air(work: Work, side: str) -> Derived | Absent:
    """Return the pressure of a port minus the air around it [Pa]."""
    pressure = work.measured(side)
    if isinstance(pressure, Absent):
        return pressure
    return Derived(pressure.value - work.columns.barometer, pressure.u)


SETTLED: Final = 70e3  # [Pa] two gauges this close have settled; more apart they have not, or a port is shut


def static_over_ambient(work: Work) -> Derived | Absent:
    """With the compressor off and both sides settled: saturation temperature minus ambient [K].

    At rest a blend with liquid left may stand anywhere between its dew and bubble points: zero there, counted from the
    bubble point above it and from the dew point below it.
    """
    states = work.told("compressor")
    if states is None or not states.is_one_of(["off"]).any():
        return Absent("the compressor is not stopped and settled", ("compressor",))
    ambient = work.measured("ambient")
    if isinstance(ambient, Absent):
        return ambient
    over = [_of_either_side(work, phase) for phase in ("bubble", "dew")]
    bubble, dew = over
    if isinstance(bubble, Absent):
        return bubble
    if isinstance(dew, Absent):
        return dew
    above, below = bubble.value - ambient.value, dew.value - ambient.value
    value = np.where(above > 0.0, above, np.where(below < 0.0, below, np.where(np.isnan(below), np.nan, 0.0)))
    rows = states.is_one_of(["off"]) & ~_apart(work)
    found = np.where(rows, value, np.nan)
    if work.n == 1 and math.isnan(found[0]) and _apart(work)[0]:
        return Absent("the two sides have not settled at one pressure: wait, or a port is shut")
    return Derived(found, np.hypot(np.where(above > 0.0, bubble.u, dew.u), ambient.u))


def _of_either_side(work: Work, phase: Literal["bubble", "dew"]) -> Derived | Absent:
    """Return the saturation temperature at the high side, or at the low side where that was not read [K]."""
    high = work.measured("high_side")
    found = saturation(work, "low_side" if isinstance(high, Absent) else "high_side", phase)
    if isinstance(high, Derived) and isinstance(found, Derived) and bool((unread := np.isnan(high.value)).any()):
        low = saturation(work, "low_side", phase)
        if isinstance(low, Derived):
            return Derived(np.where(unread, low.value, found.value), np.where(unread, low.u, found.u))
    return found


def _apart(work: Work) -> npt.NDArray[np.bool_]:
    low, high = (work.columns.numbers.get(side) for side in ("low_side", "high_side"))
    if low is None or high is None:
        return np.zeros(work.n, dtype=bool)
    return np.abs(high - low) > SETTLED


# -- targets: what the label or a published table asks of this machine today --------------------------------------

TARGET_BY: Final = ("told", "table", "no_test", "off_the_table")


def told_target(work: Work, field: str) -> Derived | Absent:
    """Return a target the reading gives [K]; it is printed, so only its rounding is uncertain."""
    given = work.measured(field)
    if isinstance(given, Absent):
        return given
    return Derived(given.value, np.full(work.n, target_superheat.ROUNDED))


def superheat_target(work: Work) -> tuple[Derived | Absent, Words | Absent]:
    """Return the target superheat [K], told or from the table, and where it comes from (TARGET_BY).

    Told or not, a target below the least valid one is no target: superheat then says nothing about the charge.
    """
    told = told_target(work, "target_superheat")
    known = target_superheat.table()
    rows = applies(work.columns, known.applies_to)
    why = Absent("the table is for fixed orifices of stationary systems", ("system", "metering"))
    if isinstance(told, Absent) and not rows.any():
        return why, why
    value, u = np.full(work.n, np.nan), np.full(work.n, np.nan)
    by = np.full(work.n, -1, dtype=np.int16)
    outdoor, indoor = work.measured("ambient"), work.measured("return_wet_bulb")
    if isinstance(outdoor, Absent) or isinstance(indoor, Absent):
        why = _first_absent(outdoor, indoor)
    else:
        found = target_superheat.look_up(outdoor.value, indoor.value)
        rows &= ~(np.isnan(outdoor.value) | np.isnan(indoor.value))
        has_target = ~np.isnan(found.value)
        np.copyto(by, np.where(has_target, 1, np.where(found.on_table, 2, 3)), where=rows, casting="unsafe")
        np.copyto(value, found.value, where=rows)
        slopes = np.hypot(found.per_dry_bulb * outdoor.u, found.per_wet_bulb * indoor.u)
        np.copyto(u, np.hypot(slopes, target_superheat.ROUNDED), where=rows)
        why = Absent("superheat is no test of the charge in this weather: the table gives no target")
    if isinstance(told, Derived):
        least = known.least * target_superheat.PER_DEGF
        valid = told.value >= least
        rows = ~np.isnan(told.value)
        np.copyto(value, np.where(valid, told.value, np.nan), where=rows)
        np.copyto(u, told.u, where=rows)
        np.copyto(by, np.where(valid, 0, 2), where=rows, casting="unsafe")
    number = why if work.n and bool(np.isnan(value).all()) else Derived(value, u)
    return number, (why if bool((by < 0).all()) else Words(by, TARGET_BY))


def swing(work: Work, side: str) -> Derived | Absent:
    """Distance between the two ends of a swinging needle [Pa]."""
    low, high = work.columns.numbers.get(f"{side}.from"), work.columns.numbers.get(f"{side}.to")
    if low is None or high is None:
        return Absent(f"{side} was not given as a swing", (side,))
    return Derived(high - low, np.full(work.n, 5e3))


def cycle_time(work: Work) -> Derived | Absent:
    """Seconds from one engagement of the clutch to the next [s]."""
    on, off = work.measured("seconds_on"), work.measured("seconds_off")
    if isinstance(on, Absent):
        return on
    if isinstance(off, Absent):
        return off
    return Derived(on.value + off.value, np.full(work.n, 2.0))


def _first_absent(*found: Derived | Absent) -> Absent:
    for each in found:
        if isinstance(each, Absent):
            return each
    return Absent("no value was given")


def _or_absent(work: Work, value: Floats, u: Floats, why: Absent) -> Derived | Absent:
    return why if work.n and bool(np.isnan(value).all()) else Derived(value, u)
