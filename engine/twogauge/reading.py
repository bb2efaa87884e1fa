"""What was measured at one moment, with the conditions and the instruments.

A reading arrives as text (flags, a file, a mapping) and leaves as SI numbers, absolute pressures and words. One
table, FIELDS, names every field: the command line, the file format, the help and the documents are made from it.
Answers to checks stand beside the fields under the check's id; which ids exist is the rule packs' business.

This module judges nothing. It refuses what cannot be a measurement and notes what it had to assume.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from twogauge.errors import FileProblems, InputError, QuantityError, did_you_mean, shown
from twogauge.packs.problems import Problem
from twogauge.quantities import (
    STANDARD_ATMOSPHERE,
    Dimension,
    Quantity,
    Reference,
    UnitSet,
    absolute,
    parse,
    standard_atmosphere,
    to_unit,
)

if TYPE_CHECKING:
    from twogauge.packs import yamlfile

LEVEL_WORDS: Final = ("low", "normal", "high")
UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class Field:
    """One thing a reading may hold.

    Attributes:
        name: key in files and in Python.
        about: one line for help and documents.
        dimension: of a number; None for a choice or free text.
        choices: the words a choice allows.
        words: words allowed in place of a number.
        swing: whether two ends may be given ("22 to 45 psi").
        reference: what a pressure is when it does not say.
        flag: the option on the command line, without dashes.
    """

    name: str
    about: str
    dimension: Dimension | None = None
    choices: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    swing: bool = False
    reference: Reference = "gauge"
    flag: str = ""


_D = Dimension
FIELDS: Final[dict[str, Field]] = {
    f.name: f
    for f in (
        Field("refrigerant", "what is in the system, such as R134a", flag="refrigerant"),
        Field(
            "low_side",
            "suction service-port pressure; or low, normal, high, vacuum, equal; or a swing (22 to 45 psi)",
            _D.PRESSURE,
            words=(*LEVEL_WORDS, "vacuum", "equal"),
            swing=True,
            flag="low",
        ),
        Field(
            "high_side",
            "discharge service-port pressure; or low, normal, high, equal; or a swing",
            _D.PRESSURE,
            words=(*LEVEL_WORDS, "equal"),
            swing=True,
            flag="high",
        ),
        Field("ambient", "temperature of the air entering the condenser", _D.TEMPERATURE, flag="ambient"),
        Field("humidity", "relative humidity of that air", _D.FRACTION, flag="humidity"),
        Field("return_air", "temperature of the air entering the evaporator", _D.TEMPERATURE, flag="return-air"),
        Field(
            "vent_air",
            "temperature of the air leaving the evaporator",
            _D.TEMPERATURE,
            words=LEVEL_WORDS,
            flag="vent",
        ),
        Field("suction_line", "suction line temperature near the compressor", _D.TEMPERATURE, flag="suction-line"),
        Field(
            "liquid_line", "liquid line temperature before the metering device", _D.TEMPERATURE, flag="liquid-line"
        ),
        Field(
            "discharge_line",
            "discharge line temperature near the compressor",
            _D.TEMPERATURE,
            words=LEVEL_WORDS,
            flag="discharge-line",
        ),
        Field(
            "condenser_air_out",
            "temperature of the air leaving the condenser",
            _D.TEMPERATURE,
            flag="condenser-air-out",
        ),
        Field(
            "superheat",
            "superheat, if an instrument or a manual tells it",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="superheat",
        ),
        Field(
            "subcooling",
            "subcooling, if an instrument or a manual tells it",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="subcooling",
        ),
        Field(
            "condenser_air_rise",
            "how much the air warms through the condenser",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="condenser-air-rise",
        ),
        Field(
            "evaporator_air_drop",
            "how much the air cools through the evaporator",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="evaporator-air-drop",
        ),
        Field("barometer", "pressure of the air here", _D.PRESSURE, reference="absolute", flag="barometer"),
        Field("altitude", "height above the sea, where no barometer is at hand", _D.LENGTH, flag="altitude"),
        Field(
            "compressor",
            "state while reading; off means stopped and both gauges settled",
            choices=("running", "off", "cycling"),
            flag="compressor",
        ),
        Field("seconds_on", "how long the clutch stays engaged in a cycle", _D.DURATION, flag="seconds-on"),
        Field("seconds_off", "how long the clutch stays released in a cycle", _D.DURATION, flag="seconds-off"),
        Field("running_for", "time since the compressor was started", _D.DURATION, flag="running-for"),
        Field("engine_speed", "speed of the engine", _D.ROTATIONAL_SPEED, flag="engine-speed"),
        Field("compressor_speed", "speed of the compressor", _D.ROTATIONAL_SPEED, flag="compressor-speed"),
        Field("air_intake", "what the blower breathes", choices=("outside", "recirculated"), flag="air-intake"),
        Field("doors", "doors and windows while reading", choices=("open", "closed"), flag="doors"),
        Field(
            "system",
            "kind of machine",
            choices=(
                "car_ac",
                "bus_ac",
                "off_road_ac",
                "packaged_ac",
                "split_ac",
                "transport_refrigeration",
                "cooler",
            ),
            flag="system",
        ),
        Field(
            "metering",
            "metering device",
            choices=("expansion_valve", "orifice_tube", "capillary"),
            flag="metering",
        ),
        Field(
            "compressor_control",
            "how the compressor's work is matched to the load",
            choices=("clutch_cycling", "fixed", "variable"),
            flag="compressor-control",
        ),
        Field(
            "liquid_store",
            "where spare refrigerant waits",
            choices=("receiver", "accumulator", "none"),
            flag="liquid-store",
        ),
        Field(
            "low_gauge_accuracy", "permitted error of the low-side gauge", _D.PRESSURE_DIFFERENCE, flag="low-accuracy"
        ),
        Field(
            "high_gauge_accuracy",
            "permitted error of the high-side gauge",
            _D.PRESSURE_DIFFERENCE,
            flag="high-accuracy",
        ),
        Field(
            "thermometer_accuracy",
            "permitted error of the thermometer",
            _D.TEMPERATURE_DIFFERENCE,
            flag="thermometer-accuracy",
        ),
        Field("machine", "which machine, in the shop's own words", flag="machine"),
        Field("date", "when it was read", flag="date"),
        Field("note", "anything worth keeping", flag="note"),
    )
}

SPEC_FIELDS: Final = ("low_side", "high_side", "vent_air", "superheat", "subcooling", "discharge_line")
_NESTED: Final = ("spec", "baseline", "checks", "units")
DEFAULT_SYSTEM: Final = "car_ac"

# Permitted errors when nothing is said (limits of error; derive.py turns them into standard uncertainties).
# Gauges: class 1.6 of EN 837-1 on dials of 0 to 10 bar and 0 to 35 bar. Thermometer: common practice.
DEFAULT_ACCURACY: Final = {
    "low_gauge_accuracy": 0.016 * 10e5,  # [Pa]
    "high_gauge_accuracy": 0.016 * 35e5,  # [Pa]
    "thermometer_accuracy": 1.5,  # [K]
}
# Standard uncertainty of the air pressure [Pa]: read off, from the altitude (weather), or assumed at sea level.
BAROMETER_UNCERTAINTY: Final = {"barometer": 200.0, "altitude": 1000.0, "assumed": 2000.0}


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that cannot be used, and where in the reading it stands."""

    path: tuple[str | int, ...]
    message: str
    at_key: bool = False


class ReadingError(InputError):
    """A reading that cannot be used; `troubles` lists every reason with its field."""

    def __init__(self, troubles: Sequence[Trouble]) -> None:
        self.troubles = tuple(troubles)
        super().__init__("\n".join(t.message for t in self.troubles))


@dataclass(frozen=True, slots=True)
class Parts:
    """The content of a reading in SI, as derive.py wants it.

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


class Reading:
    """One reading, validated.

    Args:
        given: fields by name, as text, numbers in the unit set, or pairs for a swing; or use keywords.
        units: the set a bare number is taken in.
        folder: where a `baseline` path is looked up; None forbids files.

    Raises:
        ReadingError: one sentence for each field that cannot be used.

    Example:
        >>> Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF").parts.words
        {'refrigerant': 'R134a', 'system': 'car_ac'}
    """

    def __init__(
        self,
        given: Mapping[str, object] | None = None,
        /,
        *,
        units: UnitSet | str = UnitSet.US,
        folder: Path | None = None,
        **fields: object,
    ) -> None:
        everything = {**(given or {}), **fields}
        troubles: list[Trouble] = []
        if "units" in everything:
            units = everything.pop("units")  # type: ignore[assignment]
        self.units = units if isinstance(units, UnitSet) else _unit_set(units, troubles)
        self.given: Mapping[str, object] = everything
        self.parts = _Door(everything, self.units, troubles).parts()
        self.baseline = _baseline(everything.get("baseline"), self.units, folder, troubles)
        if troubles:
            raise ReadingError(troubles)

    @property
    def check_answers(self) -> dict[str, str]:
        """Answers under ids that are no fields of a reading, to be known by the rule packs."""
        return {name: word for name, word in self.parts.words.items() if name not in FIELDS}

    def __repr__(self) -> str:
        return f"Reading({dict(self.given)!r}, units={self.units.value!r})"

    def validate_checks(self, answers: Mapping[str, Iterable[str]]) -> None:
        """Compare the answered checks with the catalogue.

        Args:
            answers: check id -> the answers it allows.

        Raises:
            ReadingError: an id or an answer nobody knows, with the nearest that are.
        """
        troubles = []
        for name, word in self.check_answers.items():
            path: tuple[str | int, ...] = (name,) if name in self.given else ("checks", name)
            if name not in answers:
                near = did_you_mean(name, [*answers, *FIELDS, *_NESTED])
                hint = f"; did you mean {near[0]!r}?" if near else "; `twogauge rules checks` lists the checks"
                troubles.append(
                    Trouble(path, f"{shown(name)} is neither a field nor a check known here{hint}", at_key=True)
                )
            elif word not in answers[name]:
                allowed = ", ".join((*answers[name], UNKNOWN))
                near = did_you_mean(word, answers[name], 1)
                hint = f"; did you mean {near[0]!r}?" if near else f"; write one of {allowed}"
                troubles.append(Trouble(path, f"{name}: {shown(word)} is not an answer to this check{hint}"))
        if troubles:
            raise ReadingError(troubles)


def read_file(
    path: str | Path, *, units: UnitSet = UnitSet.US, text: bytes | None = None
) -> tuple[Reading, yamlfile.Node]:
    """Read a reading from a YAML or JSON file.

    Args:
        path: the file; with `text`, only the name used in messages.
        units: the set a bare number is taken in, unless the file has `units`.
        text: the content, when it came from elsewhere (standard input).

    Returns:
        the reading, and the positioned tree (to place later problems, see `positioned`).

    Raises:
        FileProblems: every problem with file, line and column.
    """
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    node = yamlfile.load(path, text)
    given = yamlfile.plain(node)
    if not isinstance(given, dict):
        message = "a reading is lines of 'field: value', such as 'low_side: 35 psi'"
        raise FileProblems([Problem(node.place, "reading", message)])
    folder = Path(path).resolve().parent if text is None else None
    try:
        return Reading(given, units=units, folder=folder), node
    except ReadingError as error:
        raise positioned(error, node) from None


def positioned(error: ReadingError, node: yamlfile.Node) -> FileProblems:
    """Give each trouble of a reading its place in the file it came from."""
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    return FileProblems(
        [Problem(yamlfile.locate(node, t.path, key=t.at_key), "reading", t.message) for t in error.troubles]
    )


# -- at the door -----------------------------------------------------------------------------------------------


class _Door:
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
        self._take_barometer()
        for name, value in self._given.items():
            known = FIELDS.get(name)
            if name in _NESTED or name in {"barometer", "altitude"} or _is_nothing(value):
                continue
            if known is None:
                self._take_check((name,), name, value)
            elif name == "refrigerant":
                self._take_refrigerant(value)
            elif known.dimension is not None:
                self._take_number(known, value)
            elif known.choices:
                self._take_choice(known, value)
        self._take_checks(self._given.get("checks"))
        self._take_spec(self._given.get("spec"))
        self._words.setdefault("system", DEFAULT_SYSTEM)
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
            self._notes.append(
                f"{known.name} was given as an absolute pressure ({quantity.text}); a service gauge shows pressure "
                f"above the air: if this came from the dial, write it without 'a' or 'abs'"
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
        if not _is_nothing(barometer):
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
            if not 50_000.0 <= quantity.value <= 110_000.0:
                self._trouble(
                    ("barometer",),
                    f"barometer: {shown(quantity.text)} is not the pressure of air anywhere people work (500 to "
                    f"1100 hPa, 15 to 32.5 inHg); give the pressure at this place, or the altitude instead",
                )
                return
            self._barometer, self._barometer_from = quantity.value, "barometer"
        elif not _is_nothing(altitude):
            quantity = self._quantity(FIELDS["altitude"], altitude, ("altitude",))
            if quantity is not None:
                self._barometer, self._barometer_from = standard_atmosphere(quantity.value), "altitude"

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
        ends = _ends(value) if known.swing else None
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
        if known.words and isinstance(value, str) and not any(c.isdigit() for c in value):
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
        if known.name in DEFAULT_ACCURACY and number < 0.0:
            sentence = f"{shown(quantity.text)} is below zero; a permitted error is written without a sign"
            self._trouble(path, f"{known.name}: {sentence}")
            return
        self._numbers[known.name] = number
        self._written[known.name] = quantity

    def _take_choice(self, known: Field, value: object) -> None:
        word = _word(value)
        if word == UNKNOWN:
            return
        if word not in known.choices:
            near = did_you_mean(word or "", known.choices, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(known.choices)}"
            self._trouble((known.name,), f"{known.name}: {shown(value)} is not known here; {hint}")
            return
        self._words[known.name] = word

    def _take_checks(self, value: object) -> None:
        if _is_nothing(value):
            return
        if not isinstance(value, Mapping):
            self._trouble(("checks",), "checks: lines of 'check: answer' belong here")
            return
        for name, answer in value.items():
            if not _is_nothing(answer):
                self._take_check(("checks", str(name)), str(name), answer)

    def _take_check(self, path: tuple[str | int, ...], name: str, value: object) -> None:
        word = _word(value)
        if word is None:
            self._trouble(path, f"{shown(name)}: one word belongs here", at_key=True)
        elif name in FIELDS:
            self._trouble(
                path, f"{name} is a field of the reading, not a check; move it out of 'checks'", at_key=True
            )
        elif word != UNKNOWN:
            self._words[name] = word

    def _take_spec(self, value: object) -> None:
        if _is_nothing(value):
            return
        if not isinstance(value, Mapping):
            self._trouble(("spec",), "spec: lines such as 'low_side: [25 psi, 35 psi]' belong here")
            return
        for name, ends in value.items():
            path = ("spec", str(name))
            if name not in SPEC_FIELDS:
                near = did_you_mean(str(name), SPEC_FIELDS, 1)
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(SPEC_FIELDS)}"
                self._trouble(path, f"{shown(name)} is not a key of spec; {hint}", at_key=True)
                continue
            known = FIELDS[name]
            pair = _ends(ends)
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

    def _look_again(self) -> None:
        """Refuse numbers that only a slip of the unit explains, and note what looks odd."""
        for name in ("ambient", "return_air", "vent_air"):
            self._doubt_temperature(name)
        refrigerant = self._words.get("refrigerant")
        if refrigerant is not None:
            for name in ("low_side", "high_side"):
                self._doubt_pressure(name, refrigerant)
        low, high = self._numbers.get("low_side"), self._numbers.get("high_side")
        off = self._words.get("compressor") == "off"
        if low is not None and high is not None and low > high + 35e3 and not off:
            self._notes.append(
                "the low side reads above the high side: look whether the hoses are swapped or the two values were "
                "typed in each other's place, then read again"
            )
        if self._barometer_from == "assumed" and ("low_side" in self._numbers or "high_side" in self._numbers):
            self._notes.append(
                "no altitude or barometer was given: sea level is assumed (every 1000 ft of height makes the air "
                "about 0.5 psi thinner)"
            )

    def _doubt_temperature(self, name: str) -> None:
        value, written = self._numbers.get(name), self._written.get(name)
        if value is None or written is None or 223.15 <= value <= 343.15:
            return
        number = to_unit(value, Dimension.TEMPERATURE, written.symbol)
        other = {"degC": "degF", "degF": "degC", "K": "degF"}[written.symbol]
        again = _read_as(number, other, Dimension.TEMPERATURE)
        hint = f"did you mean {number:.6g} {other}?" if 243.15 <= again <= 328.15 else "check the number and its unit"
        self._trouble(
            (name,), f"{name}: {shown(written.text)} ({value - 273.15:.0f} degC) is no air people work in; {hint}"
        )

    def _doubt_pressure(self, name: str, refrigerant: str) -> None:
        from twogauge import refrigerants  # noqa: PLC0415

        value, written = self._numbers.get(name), self._written.get(name)
        if value is None or written is None:
            return
        what = refrigerants.get(refrigerant)

        def condenses_at(pressure: float) -> float:
            at = float(what.saturation_temperature([pressure], "dew")[0])
            return at if not math.isnan(at) or pressure < what.critical_pressure else math.inf

        # Beyond these a running or resting circuit is not imaginable, whatever its fault (common practice).
        impossible = 343.15 if name == "low_side" else math.inf
        highest = 3.0 * what.critical_pressure if what.critical_temperature < 330.0 else 1.5 * what.critical_pressure
        if value <= highest and not condenses_at(value) > impossible:
            return
        number = to_unit(written.value, Dimension.PRESSURE, written.symbol)
        low, high = (238.15, 313.15) if name == "low_side" else (273.15, 368.15)
        for symbol in ("psi", "kPa", "bar"):
            if symbol == written.symbol:
                continue
            again = _read_as(number, symbol, Dimension.PRESSURE) + self._barometer
            if low <= condenses_at(again) <= high:
                hint = f"did you mean {number:.6g} {symbol}?"
                break
        else:
            hint = "check the number, its unit and the refrigerant"
        self._trouble(
            (name,), f"{name}: {shown(written.text)} is more than {what.title} can show on this side; {hint}"
        )


def _read_as(number: float, symbol: str, dimension: Dimension) -> float:
    """Return the number in another unit [SI]; NaN where it cannot be one of that unit either."""
    try:
        return parse(f"{number:.6g} {symbol}", dimension).value
    except QuantityError:
        return math.nan


def _word(value: object) -> str | None:
    """Read a word as people write it; yes and no may come as true and false."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return str(value)
    if not isinstance(value, str):
        return None
    word = "_".join(value.strip().casefold().replace("-", "_").split())
    return {"true": "yes", "false": "no", "y": "yes", "n": "no"}.get(word, word)


def _is_nothing(value: object) -> bool:
    return value is None or (isinstance(value, str) and value.strip().casefold() in {"", "~", "null", UNKNOWN})


def _ends(value: object) -> tuple[object, object] | None:
    """Take "22 to 45 psi", "22-45 psi", "22..45 psi" or a pair apart; None if it is a single value."""
    if isinstance(value, (list, tuple)):
        return (value[0], value[1]) if len(value) == 2 else None
    if not isinstance(value, str) or len(value) > 200:
        return None
    match = _SWING.fullmatch(value.strip())
    if match is None:
        return None
    first, second, unit = match["first"].strip(), match["second"].strip(), match["unit"].strip()
    if not any(c.isalpha() for c in first):
        first = f"{first} {unit}"
    return first, f"{second} {unit}"


def _links_out(folder: Path, name: str) -> bool:
    try:
        return not Path(os.path.realpath(folder / name)).is_relative_to(os.path.realpath(folder))
    except ValueError:  # a NUL inside the name; reading the file says so
        return False


_NUMBER: Final = r"[-+\u2212]?[\d.,]+(?:[eE][-+]?\d{1,3}(?![A-Za-z]))?"
_SWING: Final = re.compile(
    # The unit of the first end must not be the e of a power of ten: 1e-3 bar is one number.
    rf"(?P<first>{_NUMBER}\s*(?:(?![eE][-+]?\d)[a-zA-Z/][\w/]*(?:\s+vac)?)?)"
    rf"\s*(?:[tT][oO]|\.\.\.?|[-\u2013])\s*(?P<second>{_NUMBER})(?P<unit>.*)"
)


def _unit_set(value: object, troubles: list[Trouble]) -> UnitSet:
    try:
        return UnitSet(str(value).strip().casefold())
    except ValueError:
        near = did_you_mean(str(value), [u.value for u in UnitSet], 1)
        hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(u.value for u in UnitSet)}"
        troubles.append(Trouble(("units",), f"units: {shown(value)} is not a set of units known here; {hint}"))
        return UnitSet.US


def _baseline(value: object, units: UnitSet, folder: Path | None, troubles: list[Trouble]) -> Reading | None:
    """Read the earlier reading of the same machine: a mapping in place, or a file beside this one."""
    if _is_nothing(value):
        return None
    if isinstance(value, Reading):
        return value
    if isinstance(value, Mapping):
        if "baseline" in value:
            troubles.append(Trouble(("baseline", "baseline"), "a baseline has no baseline of its own", at_key=True))
            return None
        try:
            return Reading(value, units=units)
        except ReadingError as error:
            troubles.extend(
                Trouble(("baseline", *t.path), f"baseline: {t.message}", t.at_key) for t in error.troubles
            )
            return None
    if not isinstance(value, str):
        troubles.append(Trouble(("baseline",), "baseline: the path of a reading belongs here, or its fields"))
        return None
    if folder is None:
        message = "baseline: a file can be named only in a reading that is a file; write the fields out here"
        troubles.append(Trouble(("baseline",), message))
        return None
    if Path(value).is_absolute() or ".." in Path(value).parts or _links_out(folder, value):
        message = f"baseline: {shown(value)} leads out of the folder of this reading; keep the two files together"
        troubles.append(Trouble(("baseline",), message))
        return None
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    try:
        node = yamlfile.load(folder / value)
        given = yamlfile.plain(node)
        if not isinstance(given, dict) or "baseline" in given:
            message = "baseline: the file named must be a reading without a baseline of its own"
            troubles.append(Trouble(("baseline",), message))
            return None
        return Reading(given, units=units)
    except ReadingError as error:
        troubles.append(Trouble(("baseline",), f"baseline: {positioned(error, node)}"))
    except InputError as error:
        troubles.append(Trouble(("baseline",), f"baseline: {error}"))
    return None
