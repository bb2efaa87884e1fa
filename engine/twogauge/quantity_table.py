"""QUANTITIES: the table that names, types and describes every quantity a rule may use, and what computes it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from twogauge.columns import Words
from twogauge.derive import (
    TARGET_BY,
    above_air,
    condenser_air_rise,
    cycle_time,
    difference,
    evaporator_air_drop,
    low_side_above_air,
    pressure_ratio,
    saturation,
    static_over_ambient,
    subcooling,
    superheat,
    superheat_target,
    swing,
    told_target,
)
from twogauge.fields import FIELDS, LEVEL_WORDS
from twogauge.levels import JUDGED_BY, LEVELS, judge
from twogauge.quantities import Dimension
from twogauge.work import Absent, Derived, QuantityInfo, Work


def _field(name: str) -> Callable[[Work], Derived | Absent]:
    return lambda work: work.measured(name)


def _words_of(name: str) -> Callable[[Work], Words | Absent]:
    def compute(work: Work) -> Words | Absent:
        return work.told(name) or Absent(f"{name} was not given", (name,))

    return compute


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
            lambda work: saturation(work, "low_side", "dew"),
            watched=True,
        ),
        QuantityInfo(
            "condensing_saturation",
            _D.TEMPERATURE,
            "dew temperature at the high-side pressure",
            lambda work: saturation(work, "high_side", "dew"),
            watched=True,
        ),
        QuantityInfo(
            "condensing_over_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "condensing saturation minus ambient",
            lambda work: difference(work.number("condensing_saturation"), work.number("ambient")),
            watched=True,
        ),
        QuantityInfo(
            "suction_below_return_air",
            _D.TEMPERATURE_DIFFERENCE,
            "air entering the evaporator minus suction saturation",
            lambda work: difference(work.number("return_air"), work.number("suction_saturation")),
            watched=True,
        ),
        QuantityInfo(
            "suction_below_ambient",
            _D.TEMPERATURE_DIFFERENCE,
            "ambient minus suction saturation",
            lambda work: difference(work.number("ambient"), work.number("suction_saturation")),
        ),
        QuantityInfo(
            "pressure_ratio", _D.NUMBER, "high over low side, absolute pressures", pressure_ratio, watched=True
        ),
        QuantityInfo(
            "pressure_difference",
            _D.PRESSURE_DIFFERENCE,
            "high side minus low side",
            lambda work: difference(work.number("high_side"), work.number("low_side")),
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
            lambda work: above_air(work, "high_side"),
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
            lambda work: difference(work.number("liquid_line"), work.number("ambient")),
            watched=True,
        ),
        QuantityInfo(
            "discharge_superheat",
            _D.TEMPERATURE_DIFFERENCE,
            "discharge line minus condensing saturation",
            lambda work: difference(work.number("discharge_line"), work.number("condensing_saturation")),
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
            lambda work: difference(work.number("ambient"), work.number("vent_air")),
            watched=True,
        ),
        QuantityInfo(
            "vent_over_suction",
            _D.TEMPERATURE_DIFFERENCE,
            "air leaving the evaporator minus suction saturation",
            lambda work: difference(work.number("vent_air"), work.number("suction_saturation")),
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
            lambda work: superheat_target(work)[0],
            is_target=True,
            watched=True,
        ),
        QuantityInfo(
            "target_superheat_by",
            _D.NUMBER,
            "where the target superheat comes from, or why there is none",
            lambda work: superheat_target(work)[1],
            TARGET_BY,
        ),
        QuantityInfo(
            "superheat_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "superheat minus its target",
            lambda work: difference(work.number("superheat"), work.number("target_superheat")),
            watched=True,
        ),
        QuantityInfo(
            "target_subcooling",
            _D.TEMPERATURE_DIFFERENCE,
            "subcooling that the label asks for",
            lambda work: told_target(work, "target_subcooling"),
            is_target=True,
        ),
        QuantityInfo(
            "subcooling_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "subcooling minus its target",
            lambda work: difference(work.number("subcooling"), work.number("target_subcooling")),
            watched=True,
        ),
        QuantityInfo(
            "target_air_drop",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air should cool through the evaporator",
            lambda work: told_target(work, "target_air_drop"),
            is_target=True,
        ),
        QuantityInfo(
            "air_drop_over_target",
            _D.TEMPERATURE_DIFFERENCE,
            "how much the air cools through the evaporator, minus its target",
            lambda work: difference(work.number("evaporator_air_drop"), work.number("target_air_drop")),
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
