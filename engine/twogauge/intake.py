"""The door of a reading: strangers' values, field by field, to SI numbers, absolute pressures and words.

Every value that cannot be a measurement is refused with a sentence, all of them in one go; what had to be assumed or
looks odd becomes a note. Nothing is judged here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from twogauge import slips
from twogauge.errors import InputError, QuantityError, did_you_mean, shown
from twogauge.fields import (
    DEFAULT_ACCURACY,
    DEFAULT_SYSTEM,
    FIELDS,
    INSTRUMENTS,
    NESTED,
    SPEC_FIELDS,
    UNKNOWN,
    Field,
)
from twogauge.packs.problems import MOST_HINTS
from twogauge.quantities import (
    STANDARD_ATMOSPHERE,
    VACUUM_DIALS,
    Dimension,
    Quantity,
    UnitSet,
    absolute,
    looks_like_a_number,
    parse,
    standard_atmosphere,
)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that cannot be used, and where in the reading it stands."""

    path: tuple[str | int, ...]
    message: str
    at_key: bool = False


@dataclass(frozen=True, slots=True)
class Parts:
    """The content of a reading in SI, as columns.py wants it.

    Attributes:
        numbers: field -> SI value; pressures absolute [Pa], temperatures [K], differences [K].
        swings: field -> its two ends, SI.
        words: field or check id -> word.
        spec: field -> the maker's range, SI; pressures absolute.
        barometer: [Pa] and where it came from ("barometer", "altitude" or "assumed").
        notes: sentences about what had to be assumed or looks odd.
    """

    numbers: Mapping[str, float]
    swings: Mapping[str, tuple[float, float]]
    words: Mapping[str, str]
    spec: Mapping[str, tuple[float, float]]
    barometer: float
    barometer_from: str
    notes: tuple[str, ...]


BAROMETER: Final = (50_000.0, 110_000.0)  # [Pa] no other air is breathed where people work
_WET_OVER_DRY: Final = 1.0  # [K] two thermometers may differ by so much


class Door:
    """Takes a mapping of strangers' values apart, field by field; troubles are collected, not raised."""

    def __init__(self, given: Mapping[str, object], units: UnitSet, troubles: list[Trouble]) -> None:
        self._given = given
        self._units = units
        self._troubles = troubles
        self._notes: list[str] = []
        self._numbers: dict[str, float] = {}
        self._swings: dict[str, tuple[float, float]] = {}
        self._words: dict[str, str] = {}
        self._spec: dict[str, tuple[float, float]] = {}
        self._written: dict[str, Quantity] = {}
        self._barometer, self._barometer_from = STANDARD_ATMOSPHERE, "assumed"

    def parts(self) -> Parts:
        """Take everything in; troubles are found in the list handed over at the start."""
        self._take_barometer()
        for name, value in self._given.items():
            known = FIELDS.get(name)
            if name in NESTED or name in {"barometer", "altitude"} or is_nothing(value):
                continue
            if known is None:
                self._take_check((name,), name, value)
            elif name == "refrigerant":
                self._take_refrigerant(value)
            elif name in INSTRUMENTS and isinstance(value, str):
                continue  # what a gauge may be off can depend on what it shows
            elif known.dimension is not None:
                self._take_number(known, value)
            elif known.choices:
                self._take_choice(known, value)
        self._take_instruments()
        self._take_checks(self._given.get("checks"))
        self._take_spec(self._given.get("spec"))
        if "system" not in self._words:
            self._words["system"] = DEFAULT_SYSTEM
            if not {"low_side", "high_side"}.isdisjoint(self._numbers):
                self._notes.append(
                    f"no system was given: {DEFAULT_SYSTEM} is assumed, and what is normal differs with the kind of machine"
                )
        self._look_again()
        return Parts(
            self._numbers,
            self._swings,
            self._words,
            self._spec,
            self._barometer,
            self._barometer_from,
            tuple(self._notes),
        )

    def _trouble(self, path: tuple[str | int, ...], message: str, *, at_key: bool = False) -> None:
        self._troubles.append(Trouble(path, message, at_key))

    def _quantity(self, known: Field, value: object, path: tuple[str | int, ...]) -> Quantity | None:
        """Parse one number; the field's name stands in the message."""
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self._trouble(path, f"{known.name}: one value belongs here, such as '35 psi'")
            return None
        try:
            quantity = parse(
                value,
                known.dimension or Dimension.NUMBER,
                field=known.name,
                units=self._units,
                reference=known.reference,
            )
        except QuantityError as error:
            self._trouble(path, str(error))
            return None
        if known.dimension is Dimension.PRESSURE and known.reference == "gauge" and quantity.reference == "absolute":
            dial = (
                f"write '{quantity.text} vac'" if quantity.symbol in VACUUM_DIALS else "write it without 'a' or 'abs'"
            )
            self._notes.append(
                f"{known.name} was given as an absolute pressure ({quantity.text}); a service gauge shows pressure "
                f"above the air: if this came from the dial, {dial}"
            )
        return quantity

    def _si(self, known: Field, quantity: Quantity, path: tuple[str | int, ...]) -> float | None:
        if known.dimension is not Dimension.PRESSURE:
            return quantity.value
        try:
            return absolute(quantity, self._barometer, field=known.name)
        except QuantityError as error:
            self._trouble(path, str(error))
            return None

    def _take_barometer(self) -> None:
        barometer, altitude = self._given.get("barometer"), self._given.get("altitude")
        if not is_nothing(barometer):
            quantity = self._quantity(FIELDS["barometer"], barometer, ("barometer",))
            if quantity is None:
                return
            if quantity.reference == "gauge":
                self._trouble(
                    ("barometer",),
                    f"barometer: {shown(quantity.text)} is a gauge pressure, and a gauge shows zero for the air; "
                    f"give what a barometer shows",
                )
                return
            if not BAROMETER[0] <= quantity.value <= BAROMETER[1]:
                self._trouble(
                    ("barometer",),
                    f"barometer: {shown(quantity.text)} is not the pressure of air anywhere people work (500 to "
                    f"1100 hPa, 15 to 32.5 inHg); give the pressure at this place, or the altitude instead",
                )
                return
            self._barometer, self._barometer_from = quantity.value, "barometer"
            if not is_nothing(altitude):
                self._compare_with_altitude(altitude)
        elif not is_nothing(altitude):
            quantity = self._quantity(FIELDS["altitude"], altitude, ("altitude",))
            if quantity is not None:
                self._barometer, self._barometer_from = standard_atmosphere(quantity.value), "altitude"

    def _compare_with_altitude(self, altitude: object) -> None:
        quantity = self._quantity(FIELDS["altitude"], altitude, ("altitude",))
        if quantity is None:
            return
        usual = standard_atmosphere(quantity.value)
        if abs(usual - self._barometer) > 4000.0:  # more than weather does
            self._notes.append(
                f"barometer and altitude disagree: at {quantity.text} the air usually presses with "
                f"{usual / 1000:.0f} kPa; a weather report gives the figure for sea level. The barometer is used: leave "
                f"it out if it is from a report"
            )

    def _take_refrigerant(self, value: object) -> None:
        from twogauge import refrigerants  # noqa: PLC0415 - only readings that name one need the catalogue

        if not isinstance(value, (str, int)) or isinstance(value, bool):
            self._trouble(("refrigerant",), "refrigerant: one name belongs here, such as R134a")
            return
        try:
            self._words["refrigerant"] = refrigerants.get(str(value)).id
        except InputError as error:
            self._trouble(("refrigerant",), f"refrigerant: {error}")

    def _take_number(self, known: Field, value: object) -> None:
        path = (known.name,)
        if isinstance(value, str) and (word := value.strip().casefold()) in (*known.words, UNKNOWN):
            if word != UNKNOWN:
                self._words[known.name] = word
            return
        ends = two_ends(value) if known.swing else None
        if ends is not None:
            first, second = (self._quantity(known, end, path) for end in ends)
            if first is None or second is None:
                return
            low, high = self._si(known, first, path), self._si(known, second, path)
            if low is None or high is None:
                return
            self._swings[known.name] = (min(low, high), max(low, high))
            self._numbers[known.name] = (low + high) / 2.0
            self._written[known.name] = second
            return
        if known.words and isinstance(value, str) and not looks_like_a_number(value):
            near = did_you_mean(value, known.words, 1)
            hint = (
                f"did you mean {near[0]!r}?" if near else f"write a number with its unit or {', '.join(known.words)}"
            )
            self._trouble(path, f"{known.name}: {shown(value)} is not a word for this; {hint}")
            return
        quantity = self._quantity(known, value, path)
        number = None if quantity is None else self._si(known, quantity, path)
        if quantity is None or number is None:
            return
        if known.name in (*DEFAULT_ACCURACY, *INSTRUMENTS) and number < 0.0:
            sentence = f"{shown(quantity.text)} is below zero; a permitted error is written without a sign"
            self._trouble(path, f"{known.name}: {sentence}")
            return
        self._numbers[known.name] = number
        self._written[known.name] = quantity

    def _take_instruments(self) -> None:
        """Turn the description of each instrument into its permitted error, where the reading lies on its scale."""
        for name in INSTRUMENTS:
            value = self._given.get(name)
            if is_nothing(value):
                continue
            if isinstance(value, str):
                self._take_description(FIELDS[name], value)
            if name in self._numbers and f"{name}_accuracy" in self._numbers:
                self._notes.append(f"{name} and {name}_accuracy were both given; {name}_accuracy counts")

    def _take_description(self, known: Field, text: str) -> None:
        from twogauge import instruments  # noqa: PLC0415 - only readings that describe one need the grammar

        if instruments.is_plain(text):
            self._take_number(known, text)
            return
        try:
            if known.name == "thermometer":
                thermometer = instruments.parse_thermometer(text, field=known.name)
                self._numbers[known.name] = thermometer.permitted
                self._notes.extend(thermometer.notes)
                return
            gauge = instruments.parse_gauge(text, field=known.name)
        except QuantityError as error:
            self._trouble((known.name,), str(error))
            return
        side = known.name.replace("gauge", "side")
        ends = self._swings.get(side, (self._numbers.get(side),) * 2)
        on_dial = [end - self._barometer for end in ends if end is not None]
        if not on_dial and gauge.of_reading:
            return  # a share of nothing
        self._numbers[known.name] = gauge.permitted_error(*on_dial)
        self._notes.extend(gauge.beyond(side, *on_dial))

    def _take_choice(self, known: Field, value: object) -> None:
        word = word_of(value)
        if word == UNKNOWN:
            return
        if word not in known.choices:
            near = did_you_mean(word or "", known.choices, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(known.choices)}"
            self._trouble((known.name,), f"{known.name}: {shown(value)} is not known here; {hint}")
            return
        self._words[known.name] = word

    def _take_checks(self, value: object) -> None:
        if is_nothing(value):
            return
        if not isinstance(value, Mapping):
            self._trouble(("checks",), "checks: lines of 'check: answer' belong here")
            return
        for name, answer in value.items():
            if not is_nothing(answer):
                self._take_check(("checks", str(name)), str(name), answer)

    def _take_check(self, path: tuple[str | int, ...], name: str, value: object) -> None:
        word = word_of(value)
        if word is None:
            self._trouble(path, f"{shown(name)}: one word belongs here", at_key=True)
        elif name in FIELDS:
            self._trouble(
                path, f"{name} is a field of the reading, not a check; move it out of 'checks'", at_key=True
            )
        elif word != UNKNOWN:
            self._words[name] = word

    def _take_spec(self, value: object) -> None:
        if is_nothing(value):
            return
        if not isinstance(value, Mapping):
            self._trouble(("spec",), "spec: lines such as 'low_side: [25 psi, 35 psi]' belong here")
            return
        for name, ends in value.items():
            path = ("spec", str(name))
            if name not in SPEC_FIELDS:
                near = did_you_mean(str(name), SPEC_FIELDS, 1) if len(self._troubles) < MOST_HINTS else ()
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(SPEC_FIELDS)}"
                self._trouble(path, f"{shown(name)} is not a key of spec; {hint}", at_key=True)
                continue
            known = FIELDS[name]
            pair = two_ends(ends)
            if pair is None:
                self._trouble(path, f"spec.{name}: two ends belong here, such as [25 psi, 35 psi]")
                continue
            quantities = [self._quantity(known, end, path) for end in pair]
            numbers = [None if q is None else self._si(known, q, path) for q in quantities]
            if numbers[0] is None or numbers[1] is None:
                continue
            if not numbers[0] < numbers[1]:
                self._trouble(path, f"spec.{name}: the first end must be the lower one")
                continue
            self._spec[name] = (numbers[0], numbers[1])

    def _doubt(self, name: str, slip_of: Callable[[str, float, Quantity], str]) -> None:
        value, written = self._numbers.get(name), self._written.get(name)
        if value is not None and written is not None and (sentence := slip_of(name, value, written)):
            self._trouble((name,), f"{name}: {shown(written.text)} {sentence}")

    def _look_again(self) -> None:
        """Refuse numbers that only a slip of the unit explains, and note what looks odd."""
        for name in slips.OF_AIR:
            self._doubt(name, slips.of_air)
        refrigerant = self._words.get("refrigerant")
        if refrigerant is not None:
            what = slips.Machine(refrigerant, self._barometer)
            for name in ("low_side", "high_side"):
                self._doubt(name, what.of_pressure)
            remark = what.of_bare_numbers(self._numbers, self._written)
            if remark and self._words.get("compressor") != "off":
                self._notes.append(remark)
        wet, dry = self._numbers.get("return_wet_bulb"), self._numbers.get("return_air")
        if wet is not None and dry is not None and wet > dry + _WET_OVER_DRY:
            self._trouble(
                ("return_wet_bulb",),
                "return_wet_bulb: it is warmer than return_air, and a wet bulb never is warmer than a dry one; are the "
                "two in each other's place?",
            )
        low, high = self._numbers.get("low_side"), self._numbers.get("high_side")
        off = self._words.get("compressor") == "off"
        if low is not None and high is not None and low > high + 35e3 and not off:
            self._notes.append(
                "the low side reads above the high side: look whether the hoses are swapped or the two values were "
                "typed in each other's place, then read again"
            )
        told_equal = low is not None and high is not None and abs(low - high) <= 35e3
        if (told_equal or "equal" in (self._words.get("low_side"), self._words.get("high_side"))) and (
            "compressor" not in self._words
        ):
            self._notes.append(
                "both gauges show nearly the same: if the compressor is switched off, tell that as well "
                "(compressor: off), since they mean something else then"
            )
        if self._barometer_from == "assumed" and ("low_side" in self._numbers or "high_side" in self._numbers):
            self._notes.append(
                "no altitude or barometer was given: sea level is assumed (every 1000 ft, or 300 m, of height makes "
                "the air about 0.5 psi, or 0.035 bar, thinner)"
            )


def word_of(value: object) -> str | None:
    """Read a word as people write it; yes and no may come as true and false."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return str(value)
    if not isinstance(value, str):
        return None
    word = "_".join(value.strip().casefold().replace("-", "_").split())
    return {"true": "yes", "false": "no", "y": "yes", "n": "no"}.get(word, word)


def is_nothing(value: object) -> bool:
    """Tell whether a value says nothing: absent, empty, or one of the words for not known."""
    return value is None or (isinstance(value, str) and value.strip().casefold() in {"", "~", "null", UNKNOWN})


def two_ends(value: object) -> tuple[object, object] | None:
    """Take "22 to 45 psi", "22-45 psi", "22..45 psi" or a pair apart; None if it is a single value."""
    if isinstance(value, (list, tuple)):
        return (value[0], value[1]) if len(value) == 2 else None
    if not isinstance(value, str) or len(value) > 200:
        return None
    match = _SWING.fullmatch(value.strip())
    if match is None:
        return None
    first, second, unit = match["first"].strip(), match["second"].strip(), match["unit"].strip()
    if not any(c.isalpha() or c == "#" for c in first):
        first = f"{first} {unit}"
    return first, f"{second} {unit}"


_NUMBER: Final = r"[-+\u2212]?[\d.,]+(?:[eE][-+]?\d{1,3}(?![A-Za-z]))?"
_SWING: Final = re.compile(
    # The unit of the first end must not be the e of a power of ten: 1e-3 bar is one number.
    rf"(?P<first>{_NUMBER}\s*(?:(?![eE][-+]?\d)(?:[a-zA-Z/][\w/]*|#)(?:\s+vac)?)?)"
    rf"\s*(?:[tT][oO]|\.\.\.?|[-\u2013])\s*(?P<second>{_NUMBER})(?P<unit>.*)"
)
