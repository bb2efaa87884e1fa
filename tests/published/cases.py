"""The published cases as readings: the one place that says how a manual's words become a reading.

Facts and figures of each case stand in data/cases.yaml with their source. What a manual prints as an observation in
prose is translated here into the answers of catalogued checks, sentence by sentence and before looking at any
result; an observation that no check asks for is left out and listed as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import yaml

DATA = Path(__file__).parent / "data"

SYSTEM = {"vehicle": "car_ac", "shelter": "packaged_ac", "rooftop": "packaged_ac"}
METERING = {"txv": "expansion_valve"}
CONTROL = {"cycling": "clutch_cycling", "fixed": "fixed"}

# Observation as published -> answers; {} where no check asks for it.
OBSERVATIONS: dict[str, dict[str, str]] = {
    "sight glass clear apart from moments around clutch cycling": {
        "sight_glass": "clear",
        "clutch": "cycles_slowly",
    },
    "sight glass clear or with oil streaks": {"sight_glass": "oil_streaks"},
    "vent air warm": {"vent_feel": "warm"},
    "low-pressure cut-out may hold the clutch off": {},  # a "may" is no answer
    "sight glass clear or a few bubbles": {},  # either answer
    "vent air only slightly cool": {"vent_feel": "slightly_cool"},
    "low gauge does not swing because the thermostat never cycles the clutch": {
        "low_side_needle": "steady",
        "clutch": "stays_on",
    },
    "vent air warm or only slightly cool": {"vent_feel": "slightly_cool"},
    "low gauge does not drop when the sensing bulb is chilled": {"bulb_chill": "low_side_unchanged"},
    "compressor may be noisy": {},  # a "may" is no answer
    "suction extremely low and discharge extremely high": {},  # no word beyond low and high
    "static pressure well below the table value for the ambient temperature": {
        "static_pressure": "below_saturation",
    },
    "after stopping, the two sides are level in less than two minutes": {"equalising_after_stop": "quick"},
    "compressor runs smoothly": {"compressor_noise": "quiet"},
    "little or no cooling": {"vent_feel": "warm"},
    "not enough cooling": {"vent_feel": "slightly_cool"},
    "receiver-drier not one even temperature along its length": {"receiver_feel": "uneven"},
    # Which line is cold is the line the row of the manual is about: see BY_CASE.
    "cool spot or frost at the restriction": {},
}
# The same words mean another place on another line of the same table.
BY_CASE: dict[str, dict[str, str]] = {
    "het-suction-hose": {"cold_spot": "on_suction_line"},
    "het-high-hose": {"cold_spot": "on_high_side_line"},
}


@dataclass(frozen=True)
class Case:
    """One published case."""

    id: str
    source: str
    reading: dict[str, object]
    faults: tuple[str, ...]


def _side(text: str) -> str:
    """A published range is read at its middle."""
    first, dash, rest = text.partition("-")
    if not dash:
        return text
    second, unit = rest.split()
    return f"{(float(first) + float(second)) / 2} {unit}"


def _case(raw: dict) -> Case:
    reading: dict[str, object] = {"system": SYSTEM[raw["kind"]]}
    if raw["refrigerant"] != "unknown":
        reading["refrigerant"] = raw["refrigerant"]
    if raw["metering"] in METERING:
        reading["metering"] = METERING[raw["metering"]]
    if raw["compressor"] in CONTROL:
        reading["compressor_control"] = CONTROL[raw["compressor"]]
    if "ambient" in raw["conditions"]:
        reading["ambient"] = raw["conditions"]["ambient"]
    if "unit OFF" in raw["conditions"].get("note", ""):
        reading["compressor"] = "off"
    for name, value in raw["readings"].items():
        field = "discharge_line" if name == "discharge_temperature" else name
        reading[field] = _side(value) if name in ("low_side", "high_side") else value
    for each in raw["observations"]:
        reading.update(OBSERVATIONS[each])
    reading.update(BY_CASE.get(raw["id"], {}))
    title = raw["source"]["title"]
    return Case(raw["id"], title, reading, tuple(raw["faults"]))


def published_cases() -> list[Case]:
    """Return every case of data/cases.yaml."""
    return [_case(raw) for raw in yaml.safe_load((DATA / "cases.yaml").read_text(encoding="utf-8"))]
