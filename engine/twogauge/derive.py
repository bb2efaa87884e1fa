"""From what was measured to what can be judged: derived quantities with their uncertainty.

QUANTITIES is the table that names, types and describes every quantity a rule may use; each is computed by one short
function of columns. A quantity that cannot be computed says why. Everything is SI and absolute, shape (n,).

Uncertainties are standard uncertainties, first order, the inputs taken as independent (GUM, JCGM 100:2008, 5.1.2;
from memory). The permitted error of an instrument counts as the half-width of a rectangular distribution.

Nothing here knows what is normal: the bands that levels are measured against come from the rule packs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from twogauge import refrigerants, target_superheat
from twogauge.columns import Columns, Floats, Words
from twogauge.fields import DEFAULT_ACCURACY, DEFAULT_CLASS, DIALS, FIELDS, LEVEL_WORDS
from twogauge.quantities import ZERO_CELSIUS, Dimension
from twogauge.refrigerants import Place

_SQRT3: Final = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Derived:
    """A column of values with their standard uncertainties, both SI, shape (n,); NaN where missing."""

    value: Floats
    u: Floats


@dataclass(frozen=True, slots=True)
class Absent:
    """A quantity that no row has, with the reason and the fields that would help."""

    reason: str
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BandShift:
    """How a band moves with another number of the reading: (low, high) for each step beyond `start`, SI.

    Attributes:
        field: the number; where it is not given, nothing moves.
        start: value of the field from which the ends move [SI].
        sign: +1 if they move above `start`, -1 if below [1].
        each: step of the field [SI].
        low, high: what each end moves by in a step [SI].
        steps: no further than so many steps [1].
    """

    field: str
    start: float
    sign: float
    each: float
    low: float
    high: float
    steps: float


@dataclass(frozen=True, slots=True)
class Band:
    """What is normal for one quantity, for the rows it applies to.

    Attributes:
        level: the level it is the yardstick of, such as "high_side_level".
        quantity: the derived quantity the band is about.
        low, high: [SI] ends of the band; NaN where `at` has them.
        at: (ambient, low, high) [K, SI, SI], rising in ambient; straight lines between, level beyond the last.
        shifts: how the ends move with other numbers.
        swing: [SI] where the two ends of a needle lie that swings by design; for show, not for judging.
        edge: [SI] how blurred the ends are: half-width of the zone in which two makers differ.
        baseline: [SI] half-width around a known-good reading of the same machine.
        applies_to: field -> words; a row must have told one of them for each field.
        name: id in its pack, for the output.
        source: where the numbers come from.
        around: the quantity that both ends are counted from, or "" where they stand for themselves.
    """

    level: str
    quantity: str
    low: float
    high: float
    edge: float
    baseline: float
    applies_to: Mapping[str, frozenset[str]]
    name: str
    source: str
    at: tuple[tuple[float, float, float], ...] = ()
    shifts: tuple[BandShift, ...] = ()
    swing: tuple[tuple[float, float], tuple[float, float]] | None = None
    around: str = ""


@dataclass(frozen=True, slots=True)
class QuantityInfo:
    """A derived quantity: its name, dimension and one line about it; levels have no unit.

    Attributes:
        words: for quantities made of words, the words it can be.
        is_level: a position against what is normal: -1 and +1 are the ends of the band, 0 its middle.
        watched: shown in the output when it is known.
    """

    name: str
    dimension: Dimension
    about: str
    compute: Callable[[Work], Derived | Absent | Words]
    words: tuple[str, ...] = ()
    is_level: bool = False
    watched: bool = False


class Work:
    """The derivation of one set of columns: computes each quantity at most once, and only if asked."""

    def __init__(self, columns: Columns, bands: Sequence[Band] = ()) -> None:
        self.columns = columns
        self.bands = bands
        self.n = columns.n
        self._done: dict[str, Derived | Absent | Words] = {}
        self.judged: dict[str, Judged | Absent] = {}

    def get(self, name: str) -> Derived | Absent | Words:
        """Return the quantity [SI], computing it if it is new."""
        if name not in self._done:
            self._done[name] = QUANTITIES[name].compute(self)
        return self._done[name]

    def number(self, name: str) -> Derived | Absent:
        """Return a quantity that is made of numbers [SI]."""
        found = self.get(name)
        if isinstance(found, Words):
            raise TypeError(f"{name} is made of words")
        return found

    def measured(self, name: str) -> Derived | Absent:
        """Return a field of the reading [SI] with the uncertainty of its instrument."""
        value = self.columns.numbers.get(name)
        if value is None:
            if name in self.columns.words:
                return Absent(f"{name} was told in words", (name,))
            return Absent(f"{name} was not given", (name,))
        return Derived(value, self._instrument(name))

    def _instrument(self, name: str) -> Floats:
        which = {
            Dimension.PRESSURE: "high_gauge_accuracy" if name == "high_side" else "low_gauge_accuracy",
            Dimension.TEMPERATURE: "thermometer_accuracy",
            Dimension.TEMPERATURE_DIFFERENCE: "thermometer_accuracy",
        }.get(FIELDS[name].dimension or Dimension.NUMBER)
        if which is None:
            return np.zeros(self.n)
        limit = np.full(self.n, DEFAULT_ACCURACY[which])
        if which != "thermometer_accuracy":
            limit = usual_gauge_error(which, self.columns.numbers[name] - self.columns.barometer)
        for key in (which.removesuffix("_accuracy"), which):  # what was told outright comes before a description
            given = self.columns.numbers.get(key)
            if given is not None:
                limit = np.where(np.isnan(given), limit, given)
        u = limit / _SQRT3
        return np.hypot(u, self.columns.barometer_uncertainty) if which != "thermometer_accuracy" else u

    def told(self, name: str) -> Words | None:
        """Return the words told for a field, if any row has one."""
        return self.columns.words.get(name)

    def refrigerant_rows(self) -> list[tuple[str, npt.NDArray[np.bool_] | None]]:
        """Return each refrigerant in use with its rows; None for all rows."""
        words = self.told("refrigerant")
        if words is None:
            return []
        if len(words.values) == 1 and bool((words.codes >= 0).all()):
            return [(words.values[0], None)]
        return [(name, words.codes == code) for code, name in enumerate(words.values)]


def usual_gauge_error(accuracy: str, on_dial: Floats) -> Floats:
    """Return the permitted error [Pa] of a gauge that nothing was said about: of the usual dial, or the next longer.

    Args:
        accuracy: low_gauge_accuracy or high_gauge_accuracy.
        on_dial: what it shows [Pa], against the air, shape (n,).

    Source: classes and scales of EN 837-1; which dial is usual is common practice.
    """
    usual = DEFAULT_ACCURACY[accuracy]
    if not (on_dial > usual / DEFAULT_CLASS).any():
        return np.full(on_dial.shape, usual)
    longer = np.array(DIALS)[np.searchsorted(DIALS, on_dial).clip(max=len(DIALS) - 1)]
    return np.where(on_dial > usual / DEFAULT_CLASS, DEFAULT_CLASS * longer, usual)


# -- saturation -----------------------------------------------------------------------------------------------


def _saturation(work: Work, side: str, phase: Literal["bubble", "dew"]) -> Derived | Absent:
    """Return the saturation temperature at a service port [K]; u = dT/dp times that of the pressure."""
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


def _difference(one: Derived | Absent, other: Derived | Absent) -> Derived | Absent:
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
        work, "superheat", lambda: _difference(work.measured("suction_line"), work.number("suction_saturation"))
    )


def subcooling(work: Work) -> Derived | Absent:
    """Bubble temperature at the high side minus liquid line [K]."""
    return _told_or(
        work,
        "subcooling",
        lambda: _difference(_saturation(work, "high_side", "bubble"), work.measured("liquid_line")),
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
        return _difference(entering, work.measured("vent_air"))

    return _told_or(work, "evaporator_air_drop", computed)


def condenser_air_rise(work: Work) -> Derived | Absent:
    """Air leaving the condenser minus air entering it [K]."""
    return _told_or(
        work,
        "condenser_air_rise",
        lambda: _difference(work.measured("condenser_air_out"), work.measured("ambient")),
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


def _above_air(work: Work, side: str) -> Derived | Absent:
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
    saturation = _saturation(work, "low_side" if isinstance(high, Absent) else "high_side", phase)
    if isinstance(high, Derived) and isinstance(saturation, Derived) and bool((unread := np.isnan(high.value)).any()):
        low = _saturation(work, "low_side", phase)
        if isinstance(low, Derived):
            return Derived(np.where(unread, low.value, saturation.value), np.where(unread, low.u, saturation.u))
    return saturation


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


def _target_superheat(work: Work) -> tuple[Derived | Absent, Words | Absent]:
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


def share_of_time_on(work: Work) -> Derived | Absent:
    """Seconds engaged over the whole cycle [1]."""
    on, off = work.measured("seconds_on"), work.measured("seconds_off")
    if isinstance(on, Absent):
        return on
    if isinstance(off, Absent):
        return off
    cycle = on.value + off.value
    return Derived(np.divide(on.value, cycle, out=np.full(work.n, np.nan), where=cycle > 0), np.full(work.n, 0.05))


def cycle_time(work: Work) -> Derived | Absent:
    """Seconds from one engagement of the clutch to the next [s]."""
    on, off = work.measured("seconds_on"), work.measured("seconds_off")
    if isinstance(on, Absent):
        return on
    if isinstance(off, Absent):
        return off
    return Derived(on.value + off.value, np.full(work.n, 2.0))


# -- levels: where a value lies against what is normal here ------------------------------------------------------

JUDGED_BY: Final = ("usual", "baseline", "spec", "told")
_TOLD_LEVEL: Final = {"low": -2.0, "normal": 0.0, "high": 2.0, "vacuum": -3.0}
_TOLD_U: Final = 0.35  # a word lies inside its third of the scale in 98 of 100 cases


@dataclass(frozen=True, slots=True)
class Judged:
    """A level with the yardstick it was measured by, and the expected band in the field's own quantity.

    Attributes:
        level: [1] shape (n,) and its uncertainty.
        by: shape (n,), index into JUDGED_BY, -1 where there is none.
        low, high: shape (n,) [SI] the band, of the level's quantity, or of its field where `by` is the maker's range;
            NaN where only a word was told.
    """

    level: Derived
    by: npt.NDArray[np.int16]
    low: Floats
    high: Floats


# level -> (derived quantity, field whose words and maker's range count)
LEVELS: Final[dict[str, tuple[str, str]]] = {
    "low_side_level": ("suction_saturation", "low_side"),
    "high_side_level": ("condensing_over_ambient", "high_side"),
    "superheat_level": ("superheat", "superheat"),
    "subcooling_level": ("subcooling", "subcooling"),
    "discharge_level": ("discharge_superheat", "discharge_line"),
    "vent_level": ("vent_air", "vent_air"),
    "condenser_air_rise_level": ("condenser_air_rise", "condenser_air_rise"),
    "evaporator_air_drop_level": ("evaporator_air_drop", "evaporator_air_drop"),
}


def judge(work: Work, level: str) -> Judged | Absent:
    """Measure a quantity against what is normal: a word, the maker's range, a baseline or the usual range.

    The narrowest yardstick wins, row by row. The level is (value - middle) / half-width.
    """
    if level not in work.judged:
        work.judged[level] = _judge(work, level)
    return work.judged[level]


def _judge(work: Work, level: str) -> Judged | Absent:
    quantity, field = LEVELS[level]
    n = work.n
    value, u = np.full(n, np.nan), np.full(n, np.nan)
    low, high = np.full(n, np.nan), np.full(n, np.nan)
    by = np.full(n, -1, dtype=np.int16)

    def measure(
        x: Derived, ends: tuple[Floats, Floats], edge: Floats, rows: npt.NDArray[np.bool_], which: int
    ) -> None:
        half = (ends[1] - ends[0]) / 2.0
        rows = rows & ~np.isnan(x.value) & (half > 0)
        if not rows.any():
            return
        safe = np.where(half > 0, half, 1.0)
        np.copyto(value, (x.value - (ends[0] + ends[1]) / 2.0) / safe, where=rows)
        np.copyto(u, np.hypot(x.u, edge) / safe, where=rows)
        np.copyto(low, ends[0], where=rows)
        np.copyto(high, ends[1], where=rows)
        by[rows] = which

    found = work.number(quantity)
    bands = _usual(work, level)
    if isinstance(found, Derived) and bands is not None:
        measure(found, (bands[0], bands[1]), bands[2] / 2.0, ~np.isnan(bands[0]), 0)
        earlier = work.columns.numbers.get(f"baseline.{quantity}")
        if earlier is not None:
            ends = (earlier - bands[3], earlier + bands[3])
            measure(found, ends, np.zeros(n), ~np.isnan(earlier), 1)
    spec_low, spec_high = (work.columns.numbers.get(f"spec.{field}.{end}") for end in ("from", "to"))
    if spec_low is not None and spec_high is not None:
        raw = found if field == quantity else work.measured(field)
        if isinstance(raw, Derived):
            measure(raw, (spec_low, spec_high), np.zeros(n), ~np.isnan(spec_low), 2)
    words = work.told(field)
    if words is not None:
        for word, position in _TOLD_LEVEL.items():
            rows = words.is_one_of([word])
            value, u = np.where(rows, position, value), np.where(rows, _TOLD_U, u)
            low, high = np.where(rows, np.nan, low), np.where(rows, np.nan, high)
            by[rows] = 3
    if bool((by < 0).all()):
        if isinstance(found, Absent):
            return found
        return Absent("nothing is known about what is normal for this system", ("spec",))
    return Judged(Derived(value, u), by, low, high)


def _usual(work: Work, level: str) -> tuple[Floats, Floats, Floats, Floats] | None:
    """Return low, high, edge and baseline half-width per row; later bands of the list win over earlier ones."""
    out: tuple[Floats, Floats, Floats, Floats] | None = None
    for band in work.bands:
        if band.level != level:
            continue
        rows = applies(work.columns, band.applies_to)
        if not rows.any():
            continue
        low, high = _band_ends(work, band)
        rows &= ~np.isnan(low)
        if out is None:
            nan = np.full(work.n, np.nan)
            out = (nan, nan.copy(), nan.copy(), nan.copy())
        np.copyto(out[0], low, where=rows)
        np.copyto(out[1], high, where=rows)
        out[2][rows], out[3][rows] = band.edge, band.baseline
        if band.around and isinstance(middle := work.number(band.around), Derived):
            # `edge` is two standard deviations wide: what the ends are counted from is uncertain as well.
            np.copyto(out[2], np.hypot(band.edge, 2.0 * middle.u), where=rows)
    return out


def band_in_force(work: Work, level: str) -> tuple[Band, float, float] | None:
    """Return the band that a single reading's level is measured against, with its ends for these conditions [SI]."""
    for band in reversed(work.bands):
        if band.level == level and bool(applies(work.columns, band.applies_to).all()):
            low, high = _band_ends(work, band)
            if not math.isnan(low[0]):
                return band, float(low[0]), float(high[0])
    return None


def _band_ends(work: Work, band: Band) -> tuple[Floats, Floats]:
    """Return the ends of a band for each row; NaN where it needs the ambient temperature and that is not known."""
    low, high = np.full(work.n, band.low), np.full(work.n, band.high)
    if band.at:
        ambient = work.columns.numbers.get("ambient")
        if ambient is None:
            return np.full(work.n, np.nan), np.full(work.n, np.nan)
        at, lows, highs = (np.array(column) for column in zip(*band.at, strict=True))
        low, high = np.interp(ambient, at, lows), np.interp(ambient, at, highs)
    for shift in band.shifts:
        values = work.columns.numbers.get(shift.field)
        if values is not None:
            steps = np.fmin(np.fmax(shift.sign * (values - shift.start) / shift.each, 0.0), shift.steps)
            low += shift.low * steps
            high += shift.high * steps
    if band.around:
        middle = work.number(band.around)
        if isinstance(middle, Absent):
            return np.full(work.n, np.nan), np.full(work.n, np.nan)
        low, high = low + middle.value, high + middle.value
    return low, high


def applies(columns: Columns, wanted: Mapping[str, Iterable[str]]) -> npt.NDArray[np.bool_]:
    """Return shape (n,): whether a row tells one of the wanted words for each field; not told is no."""
    rows = np.ones(columns.n, dtype=bool)
    for name, allowed in wanted.items():
        words = columns.words.get(name)
        if words is None:
            return np.zeros(columns.n, dtype=bool)
        rows &= words.is_one_of(allowed)
    return rows


def _level(name: str) -> Callable[[Work], Derived | Absent]:
    def compute(work: Work) -> Derived | Absent:
        found = judge(work, name)
        return found if isinstance(found, Absent) else found.level

    return compute


def _judged_by(level: str) -> Callable[[Work], Words | Absent]:
    def compute(work: Work) -> Words | Absent:
        found = judge(work, level)
        return found if isinstance(found, Absent) else Words(found.by, JUDGED_BY)

    return compute


def _first_absent(*found: Derived | Absent) -> Absent:
    for each in found:
        if isinstance(each, Absent):
            return each
    return Absent("no value was given")


def _or_absent(work: Work, value: Floats, u: Floats, why: Absent) -> Derived | Absent:
    return why if work.n and bool(np.isnan(value).all()) else Derived(value, u)


# -- the table ----------------------------------------------------------------------------------------------------


def _field(name: str) -> Callable[[Work], Derived | Absent]:
    return lambda work: work.measured(name)


def _words_of(name: str) -> Callable[[Work], Words | Absent]:
    def compute(work: Work) -> Words | Absent:
        return work.told(name) or Absent(f"{name} was not given", (name,))

    return compute


_D = Dimension
QUANTITIES: Final[dict[str, QuantityInfo]] = {
    q.name: q
    for q in (
        QuantityInfo("low_side", _D.PRESSURE, "suction service-port pressure, absolute", _field("low_side")),
        QuantityInfo("high_side", _D.PRESSURE, "discharge service-port pressure, absolute", _field("high_side")),
        QuantityInfo("ambient", _D.TEMPERATURE, "air entering the condenser", _field("ambient")),
        QuantityInfo("humidity", _D.FRACTION, "relative humidity of the ambient air", _field("humidity")),
        QuantityInfo("return_air", _D.TEMPERATURE, "air entering the evaporator", _field("return_air")),
        QuantityInfo(
            "return_wet_bulb",
            _D.TEMPERATURE,
            "wet bulb of the air entering the evaporator",
            _field("return_wet_bulb"),
        ),
        QuantityInfo("vent_air", _D.TEMPERATURE, "air leaving the evaporator", _field("vent_air")),
        QuantityInfo("suction_line", _D.TEMPERATURE, "suction line near the compressor", _field("suction_line")),
        QuantityInfo("liquid_line", _D.TEMPERATURE, "liquid line before the metering device", _field("liquid_line")),
        QuantityInfo(
            "discharge_line", _D.TEMPERATURE, "discharge line near the compressor", _field("discharge_line")
        ),
        QuantityInfo("running_for", _D.DURATION, "time since the compressor was started", _field("running_for")),
        QuantityInfo("engine_speed", _D.ROTATIONAL_SPEED, "speed of the engine", _field("engine_speed")),
        QuantityInfo(
            "suction_saturation",
            _D.TEMPERATURE,
            "dew temperature at the low-side pressure",
            lambda work: _saturation(work, "low_side", "dew"),
            watched=True,
        ),
        QuantityInfo(
            "condensing_saturation",
            _D.TEMPERATURE,
            "dew temperature at the high-side pressure",
            lambda work: _saturation(work, "high_side", "dew"),
            watched=True,
        ),
        QuantityInfo(
            "condensing_over_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "condensing saturation minus ambient",
            lambda work: _difference(work.number("condensing_saturation"), work.number("ambient")),
            watched=True,
        ),
        QuantityInfo(
            "suction_below_return_air",
            _D.TEMPERATURE_DIFFERENCE,
            "air entering the evaporator minus suction saturation",
            lambda work: _difference(work.number("return_air"), work.number("suction_saturation")),
            watched=True,
        ),
        QuantityInfo(
            "suction_below_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "ambient minus suction saturation",
            lambda work: _difference(work.number("ambient"), work.number("suction_saturation")),
        ),
        QuantityInfo(
            "pressure_ratio", _D.NUMBER, "high over low side, absolute pressures", pressure_ratio, watched=True
        ),
        QuantityInfo(
            "pressure_difference",
            _D.PRESSURE_DIFFERENCE,
            "high side minus low side",
            lambda work: _difference(work.number("high_side"), work.number("low_side")),
        ),
        QuantityInfo(
            "low_side_above_air",
            _D.PRESSURE_DIFFERENCE,
            "low side minus the air around it; below zero is a vacuum",
            low_side_above_air,
        ),
        QuantityInfo(
            "high_side_above_air",
            _D.PRESSURE_DIFFERENCE,
            "high side minus the air around it; below zero is a vacuum",
            lambda work: _above_air(work, "high_side"),
        ),
        QuantityInfo(
            "superheat",
            _D.TEMPERATURE_DIFFERENCE,
            "suction line minus dew temperature at the low side",
            superheat,
            watched=True,
        ),
        QuantityInfo(
            "subcooling",
            _D.TEMPERATURE_DIFFERENCE,
            "bubble temperature at the high side minus liquid line",
            subcooling,
            watched=True,
        ),
        QuantityInfo(
            "liquid_over_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "liquid line minus ambient",
            lambda work: _difference(work.number("liquid_line"), work.number("ambient")),
            watched=True,
        ),
        QuantityInfo(
            "discharge_superheat",
            _D.TEMPERATURE_DIFFERENCE,
            "discharge line minus condensing saturation",
            lambda work: _difference(work.number("discharge_line"), work.number("condensing_saturation")),
            watched=True,
        ),
        QuantityInfo(
            "evaporator_air_drop",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air cools through the evaporator",
            evaporator_air_drop,
            watched=True,
        ),
        QuantityInfo(
            "condenser_air_rise",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air warms through the condenser",
            condenser_air_rise,
            watched=True,
        ),
        QuantityInfo(
            "vent_below_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "ambient minus the air leaving the evaporator",
            lambda work: _difference(work.number("ambient"), work.number("vent_air")),
            watched=True,
        ),
        QuantityInfo(
            "vent_over_suction",
            _D.TEMPERATURE_DIFFERENCE,
            "air leaving the evaporator minus suction saturation",
            lambda work: _difference(work.number("vent_air"), work.number("suction_saturation")),
            watched=True,
        ),
        QuantityInfo(
            "static_over_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "stopped and settled: saturation temperature minus ambient",
            static_over_ambient,
            watched=True,
        ),
        QuantityInfo(
            "target_superheat",
            _D.TEMPERATURE_DIFFERENCE,
            "superheat that this weather asks of a fixed orifice",
            lambda work: _target_superheat(work)[0],
            watched=True,
        ),
        QuantityInfo(
            "target_superheat_by",
            _D.NUMBER,
            "where the target superheat comes from, or why there is none",
            lambda work: _target_superheat(work)[1],
            TARGET_BY,
        ),
        QuantityInfo(
            "superheat_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "superheat minus its target",
            lambda work: _difference(work.number("superheat"), work.number("target_superheat")),
            watched=True,
        ),
        QuantityInfo(
            "target_subcooling",
            _D.TEMPERATURE_DIFFERENCE,
            "subcooling that the label asks for",
            lambda work: told_target(work, "target_subcooling"),
        ),
        QuantityInfo(
            "subcooling_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "subcooling minus its target",
            lambda work: _difference(work.number("subcooling"), work.number("target_subcooling")),
            watched=True,
        ),
        QuantityInfo(
            "target_air_drop",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air should cool through the evaporator",
            lambda work: told_target(work, "target_air_drop"),
        ),
        QuantityInfo(
            "air_drop_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air cools through the evaporator, minus its target",
            lambda work: _difference(work.number("evaporator_air_drop"), work.number("target_air_drop")),
            watched=True,
        ),
        QuantityInfo(
            "low_side_swing",
            _D.PRESSURE_DIFFERENCE,
            "distance between the ends of the low side's swing",
            lambda work: swing(work, "low_side"),
        ),
        QuantityInfo(
            "high_side_swing",
            _D.PRESSURE_DIFFERENCE,
            "distance between the ends of the high side's swing",
            lambda work: swing(work, "high_side"),
        ),
        QuantityInfo("share_of_time_on", _D.FRACTION, "part of a cycle the clutch is engaged", share_of_time_on),
        QuantityInfo("cycle_time", _D.DURATION, "from one engagement of the clutch to the next", cycle_time),
        *(
            QuantityInfo(
                level,
                _D.NUMBER,
                f"{quantity.replace('_', ' ')} against what is normal here: -1 and +1 are the ends of normal",
                _level(level),
                LEVEL_WORDS,
                is_level=True,
            )
            for level, (quantity, _) in LEVELS.items()
        ),
        *(
            QuantityInfo(
                f"{level}_by",
                _D.NUMBER,
                f"what {level} is measured against",
                _judged_by(level),
                JUDGED_BY,
            )
            for level in LEVELS
        ),
        *(
            QuantityInfo(f.name, _D.NUMBER, f.about, _words_of(f.name), f.choices)
            for f in FIELDS.values()
            if f.choices
        ),
    )
}
