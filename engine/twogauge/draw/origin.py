"""Where the numbers of a picture come from, for its foot: curve and grade, rules in force, program."""

from __future__ import annotations

from typing import Final

from twogauge import __version__
from twogauge.diagnosis import Diagnosis
from twogauge.quantities import Dimension, symbol_for, to_unit
from twogauge.reading import Reading
from twogauge.refrigerants import Refrigerant

WITHIN = "\u00b1 holds 19 times in 20."


def of_refrigerant(refrigerant: Refrigerant) -> str:
    """Return whose equations the curve is from and how far it is confirmed."""
    made = refrigerant.provenance
    whose = ", ".join(dict.fromkeys(made["equations of state"].values()))
    return (
        f"{refrigerant.title} from CoolProp {made['CoolProp version']} ({whose}), graded '{refrigerant.grade}': "
        f"{refrigerant.grade_reason}"
    )


def of_air(reading: Reading) -> str:
    """Return the pressure of the air that a gauge counts from, and how it is known."""
    unit = symbol_for(Dimension.PRESSURE, reading.units)
    air = to_unit(reading.parts.barometer, Dimension.PRESSURE, unit)
    return f"Zero of a gauge: air of {air:.4g} {unit}, {_AIR_FROM[reading.parts.barometer_from]}."


_AIR_FROM: Final = {
    "barometer": "as the barometer shows it",
    "altitude": "from the altitude",
    "assumed": "sea level assumed",
}


def of_rules(diagnosis: Diagnosis) -> str:
    """Return the packs in force with their editions."""
    packs = ", ".join(f"{name} edition {edition}" for name, edition in diagnosis.packs)
    return f"Rules: {packs}. {of_program()}"


def of_program() -> str:
    """Return the program with its version."""
    return f"twogauge {__version__}"
