"""The vocabulary of a reading: one table that names every field, its dimension, its words and its option.

The command line, the file format, the help and the documents are made from it. Answers to checks stand beside the
fields under the check's id; which ids exist is the rule packs' business.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from twogauge.quantities import Dimension, Reference

LEVEL_WORDS: Final = ("low", "normal", "high")
UNKNOWN: Final = "unknown"
# How a form puts fields together, in this order; what most readings hold comes first.
GROUPS: Final = {
    "first": "What you read",
    "lines": "Lines, superheat and subcooling",
    "air": "Air",
    "running": "How it runs",
    "machine": "The machine",
    "place": "The place",
    "targets": "What the maker asks for",
    "instruments": "Your instruments",
    "notes": "Notes",
}


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
        group: where a form shows it, a key of GROUPS.
    """

    name: str
    about: str
    dimension: Dimension | None = None
    choices: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    swing: bool = False
    reference: Reference = "gauge"
    flag: str = ""
    group: str = ""


_D = Dimension
FIELDS: Final[dict[str, Field]] = {
    f.name: f
    for f in (
        Field("refrigerant", "what is in the system, such as R134a", flag="refrigerant", group="first"),
        Field(
            "low_side",
            "suction service-port pressure; or low, normal, high, vacuum, equal; or a swing (22 to 45 psi)",
            _D.PRESSURE,
            words=(*LEVEL_WORDS, "vacuum", "equal"),
            swing=True,
            flag="low",
            group="first",
        ),
        Field(
            "high_side",
            "discharge service-port pressure; or low, normal, high, equal; or a swing",
            _D.PRESSURE,
            words=(*LEVEL_WORDS, "equal"),
            swing=True,
            flag="high",
            group="first",
        ),
        Field(
            "ambient", "temperature of the air entering the condenser", _D.TEMPERATURE, flag="ambient", group="first"
        ),
        Field("humidity", "relative humidity of that air", _D.FRACTION, flag="humidity", group="air"),
        Field(
            "return_air",
            "temperature of the air entering the evaporator",
            _D.TEMPERATURE,
            flag="return-air",
            group="air",
        ),
        Field(
            "return_wet_bulb",
            "wet-bulb temperature of the air entering the evaporator",
            _D.TEMPERATURE,
            flag="return-wet-bulb",
            group="air",
        ),
        Field(
            "vent_air",
            "temperature of the air leaving the evaporator",
            _D.TEMPERATURE,
            words=LEVEL_WORDS,
            flag="vent",
            group="first",
        ),
        Field(
            "suction_line",
            "suction line temperature near the compressor",
            _D.TEMPERATURE,
            flag="suction-line",
            group="lines",
        ),
        Field(
            "liquid_line",
            "liquid line temperature before the metering device",
            _D.TEMPERATURE,
            flag="liquid-line",
            group="lines",
        ),
        Field(
            "discharge_line",
            "discharge line temperature near the compressor",
            _D.TEMPERATURE,
            words=LEVEL_WORDS,
            flag="discharge-line",
            group="lines",
        ),
        Field(
            "condenser_air_out",
            "temperature of the air leaving the condenser",
            _D.TEMPERATURE,
            flag="condenser-air-out",
            group="air",
        ),
        Field(
            "superheat",
            "superheat, if an instrument or a manual tells it",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="superheat",
            group="lines",
        ),
        Field(
            "subcooling",
            "subcooling, if an instrument or a manual tells it",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="subcooling",
            group="lines",
        ),
        Field(
            "condenser_air_rise",
            "how much the air warms through the condenser",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="condenser-air-rise",
            group="air",
        ),
        Field(
            "evaporator_air_drop",
            "how much the air cools through the evaporator",
            _D.TEMPERATURE_DIFFERENCE,
            words=LEVEL_WORDS,
            flag="evaporator-air-drop",
            group="air",
        ),
        Field(
            "target_superheat",
            "superheat that the maker's table asks for in this weather",
            _D.TEMPERATURE_DIFFERENCE,
            flag="target-superheat",
            group="targets",
        ),
        Field(
            "target_subcooling",
            "subcooling that the label asks for",
            _D.TEMPERATURE_DIFFERENCE,
            flag="target-subcooling",
            group="targets",
        ),
        Field(
            "target_air_drop",
            "how much the air should cool through the evaporator, from the maker's or the code's table",
            _D.TEMPERATURE_DIFFERENCE,
            flag="target-air-drop",
            group="targets",
        ),
        Field(
            "barometer",
            "pressure of the air here",
            _D.PRESSURE,
            reference="absolute",
            flag="barometer",
            group="place",
        ),
        Field(
            "altitude",
            "height above the sea, where no barometer is at hand",
            _D.LENGTH,
            flag="altitude",
            group="place",
        ),
        Field(
            "compressor",
            "whether the compressor runs while reading; off means stopped and both gauges settled",
            choices=("running", "off", "cycling"),
            flag="compressor",
            group="running",
        ),
        Field(
            "seconds_on",
            "how long the clutch stays engaged in a cycle",
            _D.DURATION,
            flag="seconds-on",
            group="running",
        ),
        Field(
            "seconds_off",
            "how long the clutch stays released in a cycle",
            _D.DURATION,
            flag="seconds-off",
            group="running",
        ),
        Field(
            "running_for", "time since the compressor was started", _D.DURATION, flag="running-for", group="running"
        ),
        Field("engine_speed", "speed of the engine", _D.ROTATIONAL_SPEED, flag="engine-speed", group="running"),
        Field(
            "compressor_speed",
            "speed of the compressor",
            _D.ROTATIONAL_SPEED,
            flag="compressor-speed",
            group="running",
        ),
        Field(
            "air_intake",
            "what the blower breathes",
            choices=("outside", "recirculated"),
            flag="air-intake",
            group="running",
        ),
        Field("doors", "doors and windows while reading", choices=("open", "closed"), flag="doors", group="running"),
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
            group="first",
        ),
        Field(
            "metering",
            "metering device",
            choices=("expansion_valve", "orifice_tube", "capillary"),
            flag="metering",
            group="machine",
        ),
        Field(
            "compressor_control",
            "how the compressor's work is matched to the load",
            choices=("clutch_cycling", "fixed", "variable"),
            flag="compressor-control",
            group="machine",
        ),
        Field(
            "liquid_store",
            "where spare refrigerant waits",
            choices=("receiver", "accumulator", "none"),
            flag="liquid-store",
            group="machine",
        ),
        Field(
            "low_gauge_accuracy",
            "permitted error of the low-side gauge",
            _D.PRESSURE_DIFFERENCE,
            flag="low-accuracy",
            group="instruments",
        ),
        Field(
            "high_gauge_accuracy",
            "permitted error of the high-side gauge",
            _D.PRESSURE_DIFFERENCE,
            flag="high-accuracy",
            group="instruments",
        ),
        Field(
            "thermometer_accuracy",
            "permitted error of the thermometer",
            _D.TEMPERATURE_DIFFERENCE,
            flag="thermometer-accuracy",
            group="instruments",
        ),
        Field(
            "low_gauge",
            "low-side gauge, as 'class 1.6, 0 to 10 bar', 'grade B, 0 to 500 psi' or 'digital 0.5 %, 500 psi'",
            _D.PRESSURE_DIFFERENCE,
            flag="low-gauge",
            group="instruments",
        ),
        Field(
            "high_gauge",
            "high-side gauge, described the same way",
            _D.PRESSURE_DIFFERENCE,
            flag="high-gauge",
            group="instruments",
        ),
        Field(
            "thermometer",
            "thermometer, as '1 K', 'probe 0.5 K' or 'infrared 2 K'",
            _D.TEMPERATURE_DIFFERENCE,
            flag="thermometer",
            group="instruments",
        ),
        Field(
            "profile",
            "a machine described in the shop's rules, whose figures count as normal",
            flag="profile",
            group="machine",
        ),
        Field("machine", "which machine, in the shop's own words", flag="machine", group="notes"),
        Field("date", "when it was read", flag="date", group="notes"),
        Field("note", "anything worth keeping", flag="note", group="notes"),
    )
}

SPEC_FIELDS: Final = ("low_side", "high_side", "vent_air", "superheat", "subcooling", "discharge_line")
NESTED: Final = ("spec", "baseline", "checks", "units")
DEFAULT_SYSTEM: Final = "car_ac"

# Permitted errors when nothing is said (limits of error; work.py turns them into standard uncertainties).
# Gauges: class 1.6 of EN 837-1 on dials of 0 to 10 bar and 0 to 35 bar. Thermometer: common practice.
DEFAULT_ACCURACY: Final = {
    "low_gauge_accuracy": 0.016 * 10e5,  # [Pa]
    "high_gauge_accuracy": 0.016 * 35e5,  # [Pa]
    "thermometer_accuracy": 1.5,  # [K]
}
DEFAULT_CLASS: Final = 0.016  # of the span
# Upper ends of the scales of EN 837-1 [Pa] (from memory): a pressure beyond the usual dial was read on a longer one.
DIALS: Final = (10e5, 16e5, 25e5, 40e5, 60e5, 100e5, 160e5, 250e5, 400e5)
# A description of an instrument stands in the reading as the permitted error [SI] that follows from it; a permitted
# error told outright (the key with _accuracy behind it) comes before it. instruments.py reads the descriptions.
INSTRUMENTS: Final = ("low_gauge", "high_gauge", "thermometer")
# Standard uncertainty of the air pressure [Pa]: read off, from the altitude (weather), or assumed at sea level.
BAROMETER_UNCERTAINTY: Final = {"barometer": 200.0, "altitude": 1000.0, "assumed": 2000.0}
