"""The door for numbers: what people write becomes SI, and SI becomes what they read.

Inside the package a pressure is absolute in pascal, a temperature is in kelvin, and no number carries a unit.
This module knows units and the standard atmosphere; it knows nothing of refrigerants, readings or rules.

A temperature and a temperature difference are different dimensions: 10 degF is 260.9 K as one and 5.6 K as the
other. The field decides which is meant, never the text.

The units themselves stand in units.py; everything else takes its names from here.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Final

from twogauge.errors import QuantityError, did_you_mean, shown
from twogauge.units import (
    ALL_UNITS,
    AMOUNTS,
    AS_DIFFERENCE,
    BARE,
    DECIMALS,
    KG_PER_OUNCE,
    NEEDS_A_UNIT,
    PA_PER_INHG,
    PA_PER_MICRON,
    PA_PER_PSI,
    STANDARD_ATMOSPHERE,
    UNITS,
    ZERO_CELSIUS,
    ZERO_FAHRENHEIT,
    Dimension,
    Reference,
    Unit,
    UnitSet,
    fold,
    unit_of,
)

__all__ = [
    "HIGHEST_PRESSURE",
    "PA_PER_INHG",
    "PA_PER_MICRON",
    "PA_PER_PSI",
    "STANDARD_ATMOSPHERE",
    "VACUUM_DIALS",
    "ZERO_CELSIUS",
    "ZERO_FAHRENHEIT",
    "Dimension",
    "Quantity",
    "Reference",
    "Unit",
    "UnitSet",
    "absolute",
    "example",
    "limits",
    "looks_like_a_number",
    "parse",
    "show",
    "show_gauge",
    "show_mass",
    "standard_atmosphere",
    "symbol_for",
    "to_unit",
    "unit_for",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number in SI that still remembers how it was written.

    Attributes:
        value: [SI]; a gauge pressure is relative to the air around the gauge.
        dimension: what it is.
        reference: "gauge" or "absolute" for a pressure, None otherwise.
        symbol: the unit it was written in.
        text: what was written.
        bare: whether no unit was written, so that `symbol` was taken from the unit set.
    """

    value: float
    dimension: Dimension
    reference: Reference | None
    symbol: str
    text: str
    bare: bool = False


def parse(
    text: str | float,
    dimension: Dimension,
    *,
    field: str = "",
    units: UnitSet = UnitSet.US,
    reference: Reference = "gauge",
) -> Quantity:
    """Read one quantity as people write it.

    Args:
        text: such as "35 psi", "2,4 bar", "12 inHg vac", "90F", or a bare number in the unit set.
        dimension: what the field holds.
        field: name of the field, for the message.
        units: the set a bare number is taken in.
        reference: what a pressure is when neither its unit nor a word says so.

    Raises:
        QuantityError: not a number, not a known unit, another dimension, or outside physics.
    """
    raw = str(text).strip()
    if not raw:
        raise QuantityError("nothing is written here; write a value such as " + example(dimension), field=field)
    if len(raw) > 200:
        raise QuantityError(f"{shown(raw)} is too long to be one value", field=field, text=raw)
    match = _QUANTITY.fullmatch(raw)
    if match is None:
        word = "is not a number" if not re.search(r"\d", raw) else "does not begin with a number"
        raise QuantityError(f"{shown(raw)} {word}; write a value such as {example(dimension)}", field=field, text=raw)
    if _NOT_FINITE.match(match["number"]):
        instrument = {Dimension.PRESSURE: "a gauge", Dimension.TEMPERATURE: "a thermometer"}
        raise QuantityError(
            f"{shown(raw)} is not a number that {instrument.get(dimension, 'an instrument')} can show; write a value "
            f"such as {example(dimension)}",
            field=field,
            text=raw,
        )
    number = _number(match["number"], field=field, text=raw)
    unit_text = (match["unit"] or "").strip()
    if dimension is Dimension.MASS and (both := _POUNDS_AND_OUNCES.fullmatch(unit_text)):
        return _pounds_and_ounces(number, both["ounces"], field=field, text=raw)
    if not unit_text and dimension in NEEDS_A_UNIT:
        raise QuantityError(f"{shown(raw)} needs its unit; write {example(dimension)}", field=field, text=raw)
    if not unit_text:
        symbol = BARE[units][dimension]
        unit, vacuum, said = unit_of(symbol, dimension), False, None
    else:
        unit, vacuum, said = _find_unit(unit_text, dimension, field=field, text=raw)
    if dimension is Dimension.FRACTION and not unit_text and 0.0 < abs(number) <= 1.0:
        raise QuantityError(
            f"{shown(raw)} could be {number:g} % or {100 * number:g} %; write the percent sign", field=field, text=raw
        )
    if unit.dimension is not dimension:
        unit = _same_unit_other_dimension(unit, dimension, field=field, text=raw)
    read = _assemble(number, unit, vacuum=vacuum, said=said, reference=reference, field=field, text=raw)
    return read if unit_text else replace(read, bare=True)


def looks_like_a_number(text: str) -> bool:
    """Tell whether somebody meant a number, even one that nothing can show."""
    return bool(re.search(r"\d", text) or _NOT_FINITE.match(text.strip()))


def absolute(pressure: Quantity, barometer: float, *, field: str = "") -> float:
    """Turn a pressure into an absolute one.

    Args:
        pressure: a quantity of dimension PRESSURE.
        barometer: [Pa] absolute pressure of the air around the gauge.
        field: name of the field, for the message.

    Returns:
        [Pa] absolute, never negative.

    Raises:
        QuantityError: below a perfect vacuum.
    """
    value = pressure.value + (barometer if pressure.reference == "gauge" else 0.0)
    if value < -1e-6 * barometer:
        deepest = barometer / PA_PER_INHG
        raise QuantityError(
            f"{shown(pressure.text)} is below a perfect vacuum: here the air presses with "
            f"{deepest:.2f} inHg ({barometer / 1000:.1f} kPa), so no gauge can read more than "
            f"{deepest:.1f} inHg of vacuum; check the number, the unit and the altitude",
            field=field,
            text=pressure.text,
            code="out-of-range",
        )
    return max(value, 0.0)


def standard_atmosphere(height: float) -> float:
    """Return the pressure of the standard atmosphere, p = 101325 (1 - 0.0065 H / 288.15)^5.25588.

    Args:
        height: [m] geopotential height H, -500 to 11000; service needs no distinction from the height on a map
            (16 Pa at 3500 m).

    Returns:
        [Pa]

    Raises:
        QuantityError: outside the range of the formula.

    Source: ICAO Doc 7488 = ISO 2533 = US Standard Atmosphere 1976 below 11 km.
    """
    if not -500.0 <= height <= 11_000.0:
        raise QuantityError(
            f"{height:.0f} m is outside -500 to 11000 m, where the standard atmosphere is known here",
            field="altitude",
        )
    return float(STANDARD_ATMOSPHERE * (1.0 - 0.0065 * height / 288.15) ** 5.25588)


def unit_for(symbol: str, dimension: Dimension) -> Unit:
    """Return the unit that is printed as `symbol`, as a unit of this dimension (psi also measures differences)."""
    unit = unit_of(symbol, dimension)
    return unit if unit.dimension is dimension else AS_DIFFERENCE[unit.symbol, dimension]


def limits(dimension: Dimension) -> tuple[float, float]:
    """Return the least and the greatest value [SI] that is read as one of this dimension; gauge or absolute alike."""
    return (-HIGHEST_PRESSURE, HIGHEST_PRESSURE) if dimension is Dimension.PRESSURE else _SANE[dimension]


def to_unit(value: float, dimension: Dimension, symbol: str) -> float:
    """Turn a value [SI] into a number [1] of the unit `symbol` (a pressure keeps its reference)."""
    unit = unit_for(symbol, dimension)
    return value / unit.factor - unit.offset


def show_mass(value: float, units: UnitSet) -> str:
    """Print a mass as the scale of the reader's unit set shows it.

    Args:
        value: [kg]; NaN prints as "unknown".
        units: US prints pounds and ounces to a tenth of an ounce, the others grams, or kilograms from ten on.
    """
    if math.isnan(value):
        return "unknown"
    if units is not UnitSet.US:
        return _join(value * 1000, "g", 0) if abs(value) < 9.9995 else _join(value, "kg", 2)
    tenths = round(abs(value) / KG_PER_OUNCE * 10)
    sign = "-" if value < 0 and tenths else ""
    pounds, rest = divmod(tenths, 160)
    ounces = f"{rest // 10}.{rest % 10} oz"
    return f"{sign}{pounds} lb {ounces}" if pounds else sign + ounces


def symbol_for(dimension: Dimension, units: UnitSet) -> str:
    """Return the unit that the set uses for a dimension; it is also what a bare number means."""
    return BARE[units][dimension]


def show(value: float, dimension: Dimension, units: UnitSet, decimals: int | None = None) -> str:
    """Print an SI value with its unit; pressures are printed as they are (see show_gauge for the dial).

    Args:
        value: [SI]; NaN prints as "unknown".
        dimension: of the value.
        units: the reader's set.
        decimals: digits after the point; None takes what suits the dimension and unit.
    """
    if math.isnan(value):
        return "unknown"
    symbol = BARE[units][dimension]
    number = to_unit(value, dimension, symbol)
    return _join(number, symbol, _decimals(symbol) if decimals is None else decimals)


def show_gauge(value: float, barometer: float, units: UnitSet, decimals: int | None = None) -> str:
    """Print an absolute pressure as the dial shows it: in US units vacuum is inches of mercury.

    Args:
        value: [Pa] absolute.
        barometer: [Pa].
        units: the reader's set.
        decimals: digits after the point; None takes what suits the unit.
    """
    if math.isnan(value):
        return "unknown"
    gauge = value - barometer
    if units is UnitSet.US and gauge < -0.005 * PA_PER_INHG:
        return _join(-gauge / PA_PER_INHG, "inHg vac", 1 if decimals is None else decimals)
    return show(gauge, Dimension.PRESSURE, units, decimals)


# -- how the text is taken apart -------------------------------------------------------------------------------

_QUANTITY: Final = re.compile(
    r"(?P<number>[-+\u2212\u2013]?\s*(?:\d(?:[\d.,]|[\u2019'](?=\d))*|[.,]\d+)(?:[eE][-+]?\d{1,3}(?![A-Za-z]))?|"
    r"[-+\u2212]?(?:nan|inf(?:inity)?)\b)"
    r"(?P<unit>[^\d].*)?",
    re.IGNORECASE | re.DOTALL,
)

_NOT_FINITE: Final = re.compile(r"[-+\u2212]?(?:nan|inf(?:inity)?)\b", re.IGNORECASE)


_POUNDS_AND_OUNCES: Final = re.compile(
    r"(?:lbs?|pounds?|#)\.?[\s,]*(?:and\s+)?(?P<ounces>[\d.,]*\d)\s*(?:oz|ozs|ounces?)\.?", re.IGNORECASE
)


def _number(written: str, *, field: str, text: str) -> float:
    """Read a number with a decimal point or, where nothing else can be meant, a decimal comma."""
    body = written.replace("\u2212", "-").replace("\u2013", "-").replace(" ", "")
    body = body.replace("\u2019", "").replace("'", "")
    sign_free = body.lstrip("+-")
    if "," in sign_free and "." in sign_free:
        if sign_free.rfind(",") > sign_free.rfind("."):
            body = body.replace(".", "").replace(",", ".")
        else:
            body = body.replace(",", "")
    elif sign_free.count(",") > 1 and re.fullmatch(r"\d{1,3}(,\d{3})+", sign_free):
        body = body.replace(",", "")
    elif "," in sign_free:
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", sign_free):
            raise QuantityError(
                f"{shown(text)} can be read two ways; write {sign_free.replace(',', '')} for thousands or "
                f"{sign_free.replace(',', '.')} with a decimal point",
                field=field,
                text=text,
            )
        body = body.replace(",", ".")
    try:
        value = float(body)
    except ValueError:
        raise QuantityError(f"{shown(written)} is not a number", field=field, text=text) from None
    if not math.isfinite(value):
        raise QuantityError(
            f"{shown(text)} is too large to be a reading", field=field, text=text, code="out-of-range"
        )
    return value


def _find_unit(written: str, dimension: Dimension, *, field: str, text: str) -> tuple[Unit, bool, Reference | None]:
    """Find the unit, whether it counts downward from the air (vacuum), and the reference if a word says it."""
    words = re.sub(r"(?i)(hg)v(?:ac(?:uum)?)?\.?$", r"\1 vac", written)
    vacuum = False
    said: Reference | None = None
    suffix = re.search(r"(?i)[\s(.,]*\b(vacuum|vac\.?|absolute|abs\.?|gauge|gage|g|a)\)?\s*$", words)
    if suffix and words[: suffix.start()].strip():
        word = suffix[1].casefold().rstrip(".")
        words = words[: suffix.start()].strip(" (,.")
        vacuum = word.startswith("vac")
        said = "gauge" if word in {"gauge", "gage", "g", "vacuum", "vac"} else "absolute"
    if dimension in NEEDS_A_UNIT:
        unit = _amount(words, dimension, field=field, text=text)
    else:
        unit = UNITS.get(fold(words)) or UNITS.get(fold(words).removesuffix("."))
    if unit is None or not fold(words).strip("."):
        known = [u.symbol for u in AMOUNTS.get(dimension, {}).values()]
        known = known or [u.symbol for u in ALL_UNITS if _matches(u.dimension, dimension)]
        near = did_you_mean(words, known)
        hint = f"did you mean {near[0]}?" if near else f"write for instance {example(dimension)}"
        raise QuantityError(
            f"{shown(words)} is not a unit of {dimension.value} known here; {hint}",
            field=field,
            text=text,
            code="unknown-unit",
        )
    if said is not None and unit.dimension not in {Dimension.PRESSURE, Dimension.PRESSURE_DIFFERENCE}:
        raise QuantityError(
            f"{shown(text)}: only a pressure can be gauge, absolute or vacuum", field=field, text=text
        )
    return unit, vacuum, said


def _amount(words: str, dimension: Dimension, *, field: str, text: str) -> Unit | None:
    """Find a unit of mass or volume; an ounce of refrigerant is a weight, an ounce of oil a volume."""
    folded = fold(words).replace(".", "")
    unit = AMOUNTS[dimension].get(folded)
    if unit is not None:
        return unit
    other = AMOUNTS[Dimension.VOLUME if dimension is Dimension.MASS else Dimension.MASS].get(folded)
    if other is not None:
        ounce = {
            Dimension.MASS: "an ounce of refrigerant is a weight (28.35 g), not a fluid ounce",
            Dimension.VOLUME: "an ounce of oil is a volume (29.6 mL), not a weight",
        }[dimension]
        hint = ounce if "oz" in other.symbol else f"write for instance {example(dimension)}"
        raise QuantityError(
            f"{shown(text)} is a {other.dimension.value}, but a {dimension.value} belongs here; {hint}",
            field=field,
            text=text,
        )
    return UNITS.get(folded)


def _pounds_and_ounces(pounds: float, ounces: str, *, field: str, text: str) -> Quantity:
    """Read 2 lb 4 oz."""
    number = _number(ounces, field=field, text=text)
    if not 0 <= number < 16 or pounds < 0:
        raise QuantityError(
            f"{shown(text)}: a pound has 16 ounces, so from 0 to 16 stand behind the pounds", field=field, text=text
        )
    value = (pounds * 16 + number) * KG_PER_OUNCE
    _check_range(value, unit_for("lb", Dimension.MASS), field=field, text=text)
    return Quantity(value, Dimension.MASS, None, "lb", text)


def _assemble(
    number: float,
    unit: Unit,
    *,
    vacuum: bool,
    said: Reference | None,
    reference: Reference,
    field: str,
    text: str,
) -> Quantity:
    value = (number + unit.offset) * unit.factor
    dimension = unit.dimension
    if dimension is not Dimension.PRESSURE:
        _check_range(value, unit, field=field, text=text)
        return Quantity(value, dimension, None, unit.symbol, text)
    meant: Reference = said or unit.reference or reference
    if number < 0 and said is None and reference == "gauge" and unit.symbol in VACUUM_DIALS:
        meant = "gauge"  # as with inHg: only a dial counts downward from the air
    if vacuum:
        if number < 0:
            raise QuantityError(
                f"{shown(text)} says vacuum twice; write {abs(number):g} {unit.symbol} vac",
                field=field,
                text=text,
            )
        value, meant = -value, "gauge"
    elif unit.symbol == "inHg" and meant == "gauge" and said is None and number > 0:
        raise QuantityError(
            f"{shown(text)} could be above or below the air; write '{number:g} inHg vac' for a vacuum, "
            f"or give the pressure in psi",
            field=field,
            text=text,
        )
    if meant == "absolute" and value < 0:
        raise QuantityError(
            f"{shown(text)} is below a perfect vacuum; an absolute pressure cannot be negative",
            field=field,
            text=text,
            code="out-of-range",
        )
    if abs(value) > HIGHEST_PRESSURE:
        smaller = {"MPa": "kPa", "kPa": "Pa", "bar": "psi"}.get(unit.symbol)
        likely = smaller is not None and abs(number) * UNITS[fold(smaller)].factor <= HIGHEST_PRESSURE
        hint = f"did you mean {number:g} {smaller}?" if likely else "check the number and its unit"
        raise QuantityError(
            f"{shown(text)} is more than any service gauge shows ({HIGHEST_PRESSURE / 1e6:.0f} MPa); {hint}",
            field=field,
            text=text,
            code="out-of-range",
        )
    return Quantity(value, dimension, meant, unit.symbol, text)


VACUUM_DIALS: Final = ("mmHg", "torr")  # absolute by custom, and yet on the dials of some gauges
HIGHEST_PRESSURE: Final = 40e6  # [Pa] above any refrigerant circuit; a larger number is a slip of the unit

# Outside these a value is a slip of unit or finger, not weather or machinery (common practice).
_SANE: Final[dict[Dimension, tuple[float, float]]] = {
    Dimension.TEMPERATURE: (150.0, 600.0),
    Dimension.TEMPERATURE_DIFFERENCE: (-300.0, 300.0),
    Dimension.FRACTION: (0.0, 1.0),
    Dimension.ROTATIONAL_SPEED: (0.0, 20_000.0),
    Dimension.DURATION: (0.0, 366 * 86_400.0),
    Dimension.LENGTH: (-500.0, 11_000.0),
    Dimension.MASS: (0.0, 1000.0),
    Dimension.VOLUME: (0.0, 1.0),
    Dimension.PRESSURE_DIFFERENCE: (-HIGHEST_PRESSURE, HIGHEST_PRESSURE),
    Dimension.NUMBER: (-1e9, 1e9),
}


def _check_range(value: float, unit: Unit, *, field: str, text: str) -> None:
    """Refuse what cannot be; the limits are told in the unit that was written."""
    dimension = unit.dimension
    if dimension is Dimension.TEMPERATURE and value < 0.0:
        raise QuantityError(f"{shown(text)} is below absolute zero", field=field, text=text, code="out-of-range")
    low, high = _SANE[dimension]
    if not low <= value <= high:
        near, far = sorted(float(f"{to_unit(end, dimension, unit.symbol):.3g}") for end in (low, high))
        raise QuantityError(
            f"{shown(text)} is outside {near:g} to {far:g} {unit.symbol}; check the number and its unit".replace(
                " ; ", "; "
            ),
            field=field,
            text=text,
            code="out-of-range",
        )


def _same_unit_other_dimension(unit: Unit, dimension: Dimension, *, field: str, text: str) -> Unit:
    """Read psi as a difference where a difference is wanted, and say no to everything else."""
    other = AS_DIFFERENCE.get((unit.symbol, dimension))
    if other is None:
        raise QuantityError(
            f"{shown(text)} is a {unit.dimension.value}, but a {dimension.value} belongs here; write for instance "
            f"{example(dimension)}",
            field=field,
            text=text,
            code="wrong-dimension",
        )
    return other


def _matches(have: Dimension, want: Dimension) -> bool:
    pairs = {
        Dimension.PRESSURE_DIFFERENCE: Dimension.PRESSURE,
        Dimension.TEMPERATURE_DIFFERENCE: Dimension.TEMPERATURE,
    }
    return have is want or have is pairs.get(want)


def example(dimension: Dimension) -> str:
    """Return how people write a quantity, for messages."""
    return _EXAMPLES[dimension]


_EXAMPLES: Final[dict[Dimension, str]] = {
    Dimension.PRESSURE: "35 psi, 2.4 bar or 12 inHg vac",
    Dimension.PRESSURE_DIFFERENCE: "2 psi or 10 kPa",
    Dimension.TEMPERATURE: "90 degF or 32 degC",
    Dimension.TEMPERATURE_DIFFERENCE: "10 K or 18 degF",
    Dimension.FRACTION: "60 %",
    Dimension.ROTATIONAL_SPEED: "1500 rpm",
    Dimension.DURATION: "30 s or 5 min",
    Dimension.LENGTH: "1500 m or 5000 ft",
    Dimension.MASS: "2.25 lb, 2 lb 4 oz, 36 oz or 1020 g",
    Dimension.VOLUME: "90 mL or 3 fl oz",
    Dimension.NUMBER: "3.5",
}


def _decimals(symbol: str) -> int:
    return DECIMALS.get(symbol, 0)


def _join(number: float, symbol: str, decimals: int) -> str:
    text = f"{number:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")  # no "-0"
    return f"{text} {symbol}" if symbol else text
