"""What the instruments may be off: the description of a gauge or a thermometer to its permitted error.

A gauge is told as it is marked: "class 1.6, 0 to 10 bar" (EN 837-1), "grade B, 0 to 500 psi" (ASME B40.100),
"digital 0.5 %, 500 psi", "digital 1 % of reading" or "digital 1 psi"; a thermometer as "1 K", "probe 0.5 K" or
"infrared 2 K". work.py counts the permitted error as the half-width of a rectangular distribution. Nothing here
knows what an instrument of some make can do: who does not say is given the usual, and is told so (`describe`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from twogauge.errors import QuantityError, did_you_mean, shown
from twogauge.fields import BAROMETER_UNCERTAINTY, DEFAULT_ACCURACY, DEFAULT_CLASS, FIELDS
from twogauge.intake import two_ends
from twogauge.quantities import Dimension, UnitSet, parse, show, symbol_for, to_unit

if TYPE_CHECKING:
    from twogauge.reading import Reading

# EN 837-1:1996, Table 11: the class is the permitted error in per cent of the span, anywhere on the scale.
CLASSES: Final = ("0.1", "0.25", "0.6", "1", "1.6", "2.5", "4")
# ASME B40.100: permitted error in per cent of the span, in the outer quarters and in the middle half; from memory.
GRADES: Final = {
    "4A": (0.1, 0.1),
    "3A": (0.25, 0.25),
    "2A": (0.5, 0.5),
    "1A": (1.0, 1.0),
    "A": (2.0, 1.0),
    "B": (3.0, 2.0),
    "C": (4.0, 3.0),
    "D": (5.0, 5.0),
}
_FORMS: Final = "'class 1.6, 0 to 10 bar', 'grade B, 0 to 500 psi', 'digital 0.5 %, 500 psi' or 'digital 1 psi'"
_THERMOMETERS: Final = ("probe", "clamp", "digital", "glass", "infrared")
_EMISSIVITY: Final = (
    "an infrared thermometer takes it that the surface shines like dull paint (emissivity): bright copper or "
    "aluminium can read tens of degrees wrong, so measure on dull tape that has taken the pipe's temperature"
)


@dataclass(frozen=True, slots=True)
class Gauge:
    """A pressure gauge, by what it may be off.

    Attributes:
        low, high: the ends of its scale [Pa], against the air; both 0 where the error does not depend on a scale.
        outer, middle: permitted error in the outer quarters and in the middle half [1], of the span.
        of_reading: permitted error [1], of what it shows.
        fixed: permitted error [Pa], the same everywhere.
    """

    low: float = 0.0
    high: float = 0.0
    outer: float = 0.0
    middle: float = 0.0
    of_reading: float = 0.0
    fixed: float = 0.0

    def permitted_error(self, *pressures: float) -> float:
        """Return the permitted error [Pa], the largest where a needle swings.

        Args:
            pressures: what the dial shows [Pa], against the air; without any, the largest anywhere on the scale.
        """
        span = self.high - self.low
        if not pressures:
            return self.fixed + self.of_reading * span + max(self.outer, self.middle) * span
        return max(self._at(pressure, span) for pressure in pressures)

    def _at(self, pressure: float, span: float) -> float:
        in_middle = self.low + span / 4.0 <= pressure <= self.high - span / 4.0
        share = self.middle if in_middle else self.outer
        return self.fixed + self.of_reading * abs(pressure) + share * span

    def permitted_errors(self, on_dial: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the permitted error [Pa] for each of many values.

        Args:
            on_dial: what the dial shows [Pa], against the air; NaN where it was not read.
        """
        span = self.high - self.low
        in_middle = (on_dial >= self.low + span / 4.0) & (on_dial <= self.high - span / 4.0)
        share = np.where(in_middle, self.middle, self.outer)
        return self.fixed + self.of_reading * np.abs(on_dial) + share * span

    def beyond(self, field: str, *pressures: float) -> tuple[str, ...]:
        """Return a sentence where the dial of `field` is said to show more or less than it has.

        Args:
            field: the reading's field.
            pressures: what the dial shows [Pa], against the air.
        """
        span = self.high - self.low
        if span <= 0.0 or all(self.low - 0.05 * span <= p <= self.high + 0.05 * span for p in pressures):
            return ()
        return (
            f"{field} lies beyond the scale that was told for its gauge: check the number, the unit and the gauge",
        )


@dataclass(frozen=True, slots=True)
class Thermometer:
    """A thermometer, by what it may be off.

    Attributes:
        kind: how it touches what it measures, or "".
        permitted: permitted error [K].
        notes: what its kind needs minding.
    """

    kind: str
    permitted: float
    notes: tuple[str, ...] = ()


_NUMBER: Final = r"[0-9]+(?:[.,][0-9]+)?"
_PLAIN: Final = re.compile(r"\s*[-+\u2212]?\s*[0-9.,]")
_STANDARD: Final = re.compile(r"(?i)^(?:en\s*837(?:-1)?|asme(?:\s*b40\.100)?|accuracy)\b[\s,:]*")
_PLUS_MINUS: Final = re.compile(r"(?:\u00b1|\+\s*/\s*[-\u2212]|\+-)\s*")
_KIND: Final = re.compile(r"(?P<kind>[A-Za-z]+)\.?[\s:]*(?P<rest>.*)", re.DOTALL)
_MARKED: Final = re.compile(r"(?P<mark>[0-9A-Za-z]+(?:[.,][0-9]+)?)(?:[\s,;]+(?P<scale>.+))?", re.DOTALL)
_SHARE: Final = re.compile(rf"(?P<share>{_NUMBER})\s*(?:%|percent\b|per cent\b)[\s,;]*(?P<rest>.*)", re.DOTALL)
_OF_READING: Final = re.compile(r"(?i)(?:of\s+)?(?:the\s+)?(?:reading|rdg|value)\.?")
_OF_SPAN: Final = re.compile(r"(?i)^(?:(?:of|on|a|the|fs|f\.s\.|full|scale|span|range|dial)(?![\w.])[\s,:]*)*")


def is_plain(text: str) -> bool:
    """Tell whether a description is nothing but the permitted error, such as "1 psi"."""
    return _PLAIN.match(text) is not None


def parse_gauge(text: str, *, field: str = "gauge") -> Gauge:
    """Read the description of a gauge.

    Args:
        text: as in the head of this module; every pressure with its unit.
        field: name of the field, for the message.

    Raises:
        QuantityError: not one of the forms, an unknown class or grade, or a scale that is none.

    Source: EN 837-1:1996, Table 11 (classes); ASME B40.100 (grades, from memory).

    Example:
        >>> parse_gauge("class 1.6, 0 to 10 bar").permitted_error()
        16000.0
    """
    if is_plain(bare := _PLUS_MINUS.sub("", text.strip(), count=1)):
        return Gauge(fixed=_error(bare, Dimension.PRESSURE_DIFFERENCE, text, field))
    kind, rest = _take_kind(text, ("class", "grade", "digital"), {"cl": "class"}, _FORMS, field)
    if kind == "digital":
        return _digital(rest, text, field)
    marked = _MARKED.fullmatch(rest)
    if marked is None or marked["scale"] is None:
        raise QuantityError(f"{shown(text)} lacks the {kind} or the scale; write for instance {_FORMS}", field=field)
    outer, middle = _class(marked["mark"], field) if kind == "class" else _grade(marked["mark"], field)
    low, high = _scale(marked["scale"], text, field)
    return Gauge(low, high, outer / 100.0, middle / 100.0)


def parse_thermometer(text: str, *, field: str = "thermometer") -> Thermometer:
    """Read the description of a thermometer: what it is, and its permitted error [K] with the unit.

    Args:
        text: such as "probe 0.5 K" or "infrared 4 degF".
        field: name of the field, for the message.

    Raises:
        QuantityError: an unknown kind, or no difference of temperatures behind it.
    """
    if is_plain(bare := _PLUS_MINUS.sub("", text.strip(), count=1)):
        kind, rest = "", bare
    else:
        forms = "'1 K', 'probe 0.5 K' or 'infrared 2 K'"
        kind, rest = _take_kind(text, _THERMOMETERS, {"ir": "infrared"}, forms, field)
    permitted = _error(rest, Dimension.TEMPERATURE_DIFFERENCE, text, field)
    if kind != "infrared":
        return Thermometer(kind, permitted)
    return Thermometer(kind, permitted, (_EMISSIVITY,))


def _take_kind(text: str, kinds: Iterable[str], short: dict[str, str], forms: str, field: str) -> tuple[str, str]:
    if len(text) > 200:
        raise QuantityError(f"{shown(text)} is too long for one instrument; write for instance {forms}", field=field)
    match = _KIND.fullmatch(_STANDARD.sub("", text.strip()))
    word = match["kind"].casefold() if match else ""
    word = short.get(word, word)
    if match is None or word not in kinds:
        near = did_you_mean(word, kinds, 1)
        hint = f"did you mean {near[0]!r}?" if near else f"write for instance {forms}"
        raise QuantityError(f"{shown(text)} is not an instrument known here; {hint}", field=field, text=text)
    return word, _PLUS_MINUS.sub("", match["rest"].strip(), count=1)


def _digital(rest: str, text: str, field: str) -> Gauge:
    share = _SHARE.fullmatch(rest)
    if share is None:
        return Gauge(fixed=_error(rest, Dimension.PRESSURE_DIFFERENCE, text, field))
    of = float(share["share"].replace(",", ".")) / 100.0
    if of > 0.5:
        raise QuantityError(f"{shown(text)} is off by more than half; check the per cent", field=field, text=text)
    if _OF_READING.fullmatch(share["rest"].strip()):
        return Gauge(of_reading=of)
    if not share["rest"].strip():
        message = (
            f"{shown(text)}: per cent of what? Write the full scale behind it, such as '500 psi', or 'of reading'"
        )
        raise QuantityError(message, field=field, text=text)
    low, high = _scale(share["rest"], text, field)
    return Gauge(low, high, of, of)


def _class(mark: str, field: str) -> tuple[float, float]:
    try:
        value = float(mark.replace(",", "."))
    except ValueError:
        value = math.nan
    for known in CLASSES:
        if float(known) == value:
            return value, value
    hint = ""
    if 0.05 <= value <= 8.0:
        nearest = min(CLASSES, key=lambda known: abs(math.log(float(known) / value)))
        hint = f"; did you mean {nearest}?"
    message = f"{shown(mark)} is not a class of EN 837-1 ({', '.join(CLASSES)}){hint}"
    raise QuantityError(message, field=field, text=mark)


def _grade(mark: str, field: str) -> tuple[float, float]:
    found = GRADES.get(mark.upper())
    if found is None:
        message = f"{shown(mark)} is not a grade of ASME B40.100; write one of {', '.join(GRADES)}"
        raise QuantityError(message, field=field, text=mark)
    return found


def _scale(written: str, text: str, field: str) -> tuple[float, float]:
    """Return the ends of a scale [Pa], against the air; one end alone is the upper one."""
    body = _OF_SPAN.sub("", written.strip()).strip()
    pair = two_ends(body)
    if re.search(r"[A-Za-z]", str(pair[1] if pair else body)) is None:
        message = f"{shown(text)} gives no unit for the scale; write it, such as '0 to 10 bar' or '500 psi'"
        raise QuantityError(message, field=field, text=text)
    ends = [parse(str(end), Dimension.PRESSURE, field=field) for end in pair or (body,)]
    if any(end.reference == "absolute" for end in ends):
        message = f"{shown(text)}: the scale of a service gauge counts from the air; write it without 'a' or 'abs'"
        raise QuantityError(message, field=field, text=text)
    low, high = (0.0 if pair is None else ends[0].value), ends[-1].value
    if not low < high:
        raise QuantityError(
            f"{shown(text)}: a scale goes up; write its lower end first, such as '0 to 10 bar'",
            field=field,
            text=text,
        )
    return low, high


def _error(written: str, dimension: Dimension, text: str, field: str) -> float:
    """Return a permitted error [SI] that is written with its unit and without a sign."""
    if re.search(r"[A-Za-z\u00b0]", written) is None:
        unit = "psi" if dimension is Dimension.PRESSURE_DIFFERENCE else "K"
        message = f"{shown(text)} does not say how far off, with a unit; write for instance '1 {unit}' behind it"
        raise QuantityError(message, field=field, text=text)
    value = parse(written, dimension, field=field).value
    if value < 0.0:
        message = f"{shown(text)} is below zero; a permitted error is written without a sign"
        raise QuantityError(message, field=field, text=text)
    return value


# -- said in the output -------------------------------------------------------------------------------------------

_LABELS: Final = {"low_gauge": "low-side gauge", "high_gauge": "high-side gauge", "thermometer": "thermometer"}
_AIR: Final = {
    "barometer": "air pressure from a barometer",
    "altitude": "air pressure from the altitude",
    "assumed": "the air pressure of sea level",
}


def describe(reading: Reading) -> tuple[str, ...]:
    """Say what the uncertainties of a reading rest on: what was told about its instruments, and what was assumed.

    Args:
        reading: only instruments that measured something in it are named.

    Returns:
        at most two sentences, in the reader's units.
    """
    parts, units = reading.parts, reading.units
    measured = {
        "low_gauge": "low_side" in parts.numbers,
        "high_gauge": "high_side" in parts.numbers,
        "thermometer": any(_is_thermal(name) for name in parts.numbers),
    }
    told, assumed = [], []
    for name, label in _LABELS.items():
        if not measured[name]:
            continue
        accuracy = f"{name}_accuracy"
        outright, described = parts.numbers.get(accuracy), parts.numbers.get(name)
        if outright is None and described is None:
            assumed.append(f"{label} {_usual(reading, name)}")
            continue
        limit = _within(outright if outright is not None else described or 0.0, name, units)
        text = " ".join(str(reading.given.get(name)).split())
        in_full = outright is None and not is_plain(text)
        here = "" if name == "thermometer" else " here"
        told.append(f"{label} {text} ({limit}{here})" if in_full else f"{label} {limit}")
    if measured["low_gauge"] or measured["high_gauge"]:
        within = _within(2.0 * BAROMETER_UNCERTAINTY[parts.barometer_from], "low_gauge", units)
        air = f"{_AIR[parts.barometer_from]}, {within} 19 times in 20"
        (assumed if parts.barometer_from == "assumed" else told).append(air)
    return tuple(
        f"{head}: {'; '.join(items)}."
        for head, items in (("Instruments as told", told), ("Instruments assumed", assumed))
        if items
    )


def _usual(reading: Reading, name: str) -> str:
    """Describe the instrument that work.py takes where nothing is said."""
    from twogauge.work import usual_gauge_error  # noqa: PLC0415 - the door needs the grammar without the rest

    accuracy, units = f"{name}_accuracy", reading.units
    if name == "thermometer":
        return _within(DEFAULT_ACCURACY[accuracy], name, units)
    on_dial = reading.parts.numbers[name.replace("gauge", "side")] - reading.parts.barometer
    limit = float(usual_gauge_error(accuracy, np.array([on_dial]))[0])
    scale = f"class {100.0 * DEFAULT_CLASS:g}, 0 to {limit / DEFAULT_CLASS / 1e5:.0f} bar"
    return f"{scale} ({_within(limit, name, units)})"


def _is_thermal(name: str) -> bool:
    wanted = (Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE)
    return name in FIELDS and not name.startswith(("thermometer", "target")) and FIELDS[name].dimension in wanted


def _within(limit: float, name: str, units: UnitSet) -> str:
    dimension = Dimension.TEMPERATURE_DIFFERENCE if name == "thermometer" else Dimension.PRESSURE_DIFFERENCE
    return f"within {show_size(limit, dimension, units)}"


def show_size(size: float, dimension: Dimension, units: UnitSet) -> str:
    """Print an error with its unit, to two digits or so.

    Args:
        size: of a pressure difference [Pa] or a temperature difference [K].
        dimension: which of the two.
        units: the reader's set.
    """
    number = abs(to_unit(size, dimension, symbol_for(dimension, units)))
    return show(size, dimension, units, 0 if number >= 9.95 else 1 if number >= 0.995 else 2)


def decimals(within: float) -> int:
    """Return how many digits after the point a value deserves that is known this well: at most two.

    Args:
        within: uncertainty [1] in the unit the value is printed in; its first digit is the last one that counts.
    """
    if not within > 0.0:
        return 2
    return min(max(0, -math.floor(math.log10(within))), 2)


def rounded(value: float, within: float) -> tuple[float, float]:
    """Round a value and its uncertainty to what the uncertainty supports, both numbers [1] of the unit printed.

    Args:
        value: the number [1]; whole numbers are the coarsest it is rounded to.
        within: its uncertainty [1], in the same unit.
    """
    digits = decimals(within)
    return round(value, digits), round(within, digits)
