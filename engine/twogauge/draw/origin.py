"""Where the numbers of a picture come from, for its foot: curve and grade, rules in force, program."""

from __future__ import annotations

from twogauge import __version__
from twogauge.diagnosis import Diagnosis
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


def of_rules(diagnosis: Diagnosis) -> str:
    """Return the packs in force with their editions."""
    packs = ", ".join(f"{name} edition {edition}" for name, edition in diagnosis.packs)
    return f"Rules: {packs}. {of_program()}"


def of_program() -> str:
    """Return the program with its version."""
    return f"twogauge {__version__}"
