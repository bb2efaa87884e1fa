"""What makes a stretch of a log worth a diagnosis, as data: the key `windows` of a map.

    windows:
      zone: America/Chicago       # of stamps that name none; UTC if it is left out
      length: 3 min               # a window lasts at least this
      samples: 10                 # and holds at least this many rows
      settle: 5 min               # after a start nothing counts
      gap: 60 s                   # rows further apart do not belong together
      late: 30 s                  # a row may come in this much after its time
      complete: 80 %              # a column with fewer values in a window is left out of it
      steady: {low_side: 4 %, high_side: 3 %, suction_line: 1 K}     # largest standard deviation in a window
      running_above: 1.5          # ratio of the pressures, where no column tells whether the compressor runs
      stopped_after: 2 min        # a clutch released for longer has stopped the machine
      longest_on: 5 min           # a clutch engaged for longer does not cycle
      cycles: 3                   # that many regular ones make a window of a cycling clutch
      regular: 30 %               # largest scatter of their times, and of the lengths of their swings

The test is that of M. Kim, S. H. Yoon, P. A. Domanski and W. V. Payne, "Design of a steady-state detector for fault
detection and diagnosis of a residential air conditioner", Int. J. Refrigeration 31 (2008) 790-799 (from memory): the
standard deviation of each key feature in a moving window stays below a few times its scatter in steady operation.
The numbers here are our own choice, several times wider than theirs, since a vehicle is no laboratory. Pressures are
held against a share of the absolute pressure, which means about the same change of saturation temperature for every
refrigerant: 1 % is 0.3 K to 0.5 K (Clausius and Clapeyron).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from zoneinfo import ZoneInfo

from twogauge.errors import QuantityError, shown
from twogauge.fields import FIELDS
from twogauge.packs import yamlfile
from twogauge.packs.problems import Problem
from twogauge.quantities import Dimension, parse

KEY: Final = "windows"
CLUTCH: Final = ("low_side", "high_side")
_UNTESTED: Final = ("barometer", "altitude", "running_for", "seconds_on", "seconds_off")
_OF_INSTRUMENTS: Final = ("_accuracy", "_gauge", "thermometer")
TESTABLE: Final = tuple(
    name
    for name, each in FIELDS.items()
    if each.dimension is not None
    and name not in _UNTESTED
    and not name.startswith("target_")
    and not name.endswith(_OF_INSTRUMENTS)
)


def _usual() -> Mapping[str, float]:
    kelvin = {
        name: 1.0
        for name in TESTABLE
        if FIELDS[name].dimension in (Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE)
    }
    # A discharge line answers every change of speed, and an expansion valve hunts.
    return {"low_side": 0.04, "high_side": 0.03, **kelvin, "discharge_line": 2.0, "superheat": 1.5}


@dataclass(frozen=True, slots=True)
class WindowRules:
    """When a stretch of a log is worth a diagnosis.

    Attributes:
        zone: where stamps that name no zone were written, and whose days are counted.
        length: a window lasts at least this [s].
        samples: and holds at least this many rows.
        settle: after a start nothing counts [s].
        gap: rows further apart do not belong together [s].
        late: how much after its time a row may come in [s].
        complete: least share of values that a column needs in a window [1].
        steady: field -> largest standard deviation in a window [SI]; of the two sides as a share [1].
        running_above: ratio of the absolute pressures above which the compressor is taken to run [1].
        stopped_after: a clutch released for longer has stopped the machine [s].
        longest_on: a clutch engaged for longer does not cycle [s].
        cycles: how many regular cycles make a window.
        regular: largest scatter of their times and swings [1].
    """

    zone: str = "UTC"
    length: float = 180.0
    samples: int = 10
    settle: float = 300.0
    gap: float = 60.0
    late: float = 30.0
    complete: float = 0.8
    steady: Mapping[str, float] = field(default_factory=_usual)
    running_above: float = 1.5
    stopped_after: float = 120.0
    longest_on: float = 300.0
    cycles: int = 3
    regular: float = 0.3


# What each number may be; a window of a month or a gap of a year would keep whole logs in memory.
_TIMES: Final = {
    "length": (10.0, 3600.0),
    "settle": (0.0, 7200.0),
    "gap": (0.1, 3600.0),
    "late": (0.0, 3600.0),
    "stopped_after": (1.0, 1800.0),
    "longest_on": (1.0, 3600.0),
}
_SHARES: Final = {"complete": (0.1, 1.0), "regular": (0.01, 2.0)}
_COUNTS: Final = {"samples": (3, 10_000), "cycles": (2, 50)}
_RATIOS: Final = {"running_above": (1.01, 10.0)}
_KEYS: Final = ("zone", *_TIMES, *_SHARES, *_COUNTS, *_RATIOS, "steady")


def read_rules(node: yamlfile.Node | None, problems: list[Problem]) -> WindowRules:
    """Read the key `windows` of a map.

    Args:
        node: what stands under it; None for the usual numbers.
        problems: everything that is wrong is added here, with its place.
    """
    if node is None or (isinstance(node, yamlfile.Scalar) and node.is_empty):
        return WindowRules()
    if not isinstance(node, yamlfile.Mapping):
        problems.append(Problem(node.place, KEY, "windows: lines such as 'length: 3 min' belong here"))
        return WindowRules()
    problems += yamlfile.unknown_keys(node, _KEYS)
    given: dict[str, Any] = {}
    for name, entry in node.entries.items():
        if name == "steady":
            given[name] = _steady(entry.value, problems)
        elif name in _KEYS:
            try:
                given[name] = _value(name, _text(entry.value))
            except QuantityError as error:
                problems.append(Problem(entry.value.place, KEY, f"{name}: {error}"))
    return WindowRules(**given)


def _value(name: str, text: str) -> str | int | float:
    if name == "zone":
        return _zone(text)
    if name in _COUNTS:
        least, most = _COUNTS[name]
        if not text.isdecimal() or not least <= int(text[:9]) <= most:
            raise QuantityError(f"{shown(text)} is not a whole number from {least} to {most}")
        return int(text)
    if name in _TIMES:
        dimension, (low, high) = Dimension.DURATION, _TIMES[name]
    elif name in _SHARES:
        dimension, (low, high) = Dimension.FRACTION, _SHARES[name]
    else:
        dimension, (low, high) = Dimension.NUMBER, _RATIOS[name]
    value = parse(text, dimension).value
    if not low <= value <= high:
        unit = " s" if name in _TIMES else ""
        raise QuantityError(f"{shown(text)} is outside {low:g}{unit} to {high:g}{unit}")
    return value


def _zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (ValueError, OSError, KeyError):  # ZoneInfoNotFoundError is a KeyError
        raise QuantityError(
            f"{shown(text)} is not a time zone; write its name in the tz database, such as America/Chicago or UTC"
        ) from None
    return text


def _steady(node: yamlfile.Node, problems: list[Problem]) -> Mapping[str, float]:
    steady = dict(_usual())
    if not isinstance(node, yamlfile.Mapping):
        problems.append(
            Problem(node.place, KEY, "steady: lines such as 'low_side: 4 %' or 'vent_air: 1 K' belong here")
        )
        return steady
    problems += yamlfile.unknown_keys(node, TESTABLE)
    for name, entry in node.entries.items():
        if name not in TESTABLE:
            continue
        try:
            steady[name] = _scatter(name, _text(entry.value))
        except QuantityError as error:
            problems.append(Problem(entry.value.place, KEY, f"steady: {name}: {error}"))
    return steady


def _scatter(name: str, text: str) -> float:
    """Return the scatter of a field [SI], of a side as a share [1]."""
    dimension = FIELDS[name].dimension or Dimension.NUMBER
    if name in CLUTCH:
        dimension = Dimension.FRACTION
    elif dimension is Dimension.TEMPERATURE:
        dimension = Dimension.TEMPERATURE_DIFFERENCE
    value = parse(text, dimension).value
    if value <= 0.0:
        raise QuantityError("a standard deviation is above zero; leave the line out for the usual one")
    return value


def _text(node: yamlfile.Node) -> str:
    return node.text.strip() if isinstance(node, yamlfile.Scalar) else ""
