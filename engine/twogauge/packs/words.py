"""The words rule authors use for numbers, each with its number and where it comes from.

A weight of evidence is 10 log10 of a likelihood ratio, in decibans (I. J. Good, Probability and the Weighing of
Evidence, 1950). The steps were chosen so that three plain reasons make a strong case: a factor 2, 4, 10 and 100.
"""

from __future__ import annotations

import re
from typing import Final

from twogauge.packs.problems import CodedError

STRENGTH: Final = {"slightly": 3.0, "": 6.0, "strongly": 10.0, "decisively": 20.0}  # [decibans]
HEAVIEST: Final = 20.0  # [decibans] one reading of an analogue gauge never justifies more than 100 to 1

# How often a cause is met, against the most common fault, before anything is measured [decibans]. "usual" is for what
# is found more often than any single fault.
HOW_COMMON: Final = {
    "usual": 3.0,
    "very common": 0.0,
    "common": -4.0,
    "occasional": -8.0,
    "rare": -12.0,
    "very rare": -17.0,
}

EFFORT: Final = {"glance": 1.0, "easy": 3.0, "some": 10.0, "much": 30.0}  # [min], about

# What a criterion judges, with the keys it needs for it ("a or b": one of them).
CRITERION_TESTS: Final[dict[str, tuple[str, ...]]] = {
    "vacuum_depth": ("reaches",),
    "pump_time": ("within",),
    "vacuum_hold": ("rises or stays_below", "within"),
    "leak_that_matters": ("rises", "within"),
    "pressure_hold": ("within",),
}

# What a plan may name in braces, with the words that stand there while it is not known.
PLAN_VALUES: Final = {
    "refrigerant": "the refrigerant",
    "old_refrigerant": "the old refrigerant",
    "label_charge": "the charge on the label",
    "charge": "what `twogauge charge` tells",
    "old_oil": "the old oil",
    "ambient": "the temperature of the air",
    "standing": "the saturation pressure at the coldest part",
    "old_standing": "the saturation pressure at the coldest part",
    "perfect_vacuum": "29.9 inHg (1.01 bar) at sea level, and 1 inHg (0.03 bar) less for each 1000 ft (300 m)",
    "boiling_vacuum": "nearly that",
    "water_boils": "water boils at the temperature of the air once it shows nearly that",
    "cylinder_pressure": "the saturation pressure at the cylinder's temperature",
    "in_hoses": "what they hold",
    "low_today": "what `twogauge expect` tells",
    "high_today": "what `twogauge expect` tells",
    "vent_today": "what `twogauge expect` tells",
    "usual_today": "`twogauge expect` tells what is usual today",
    # for commands to type
    "id": "REFRIGERANT",
    "old_id": "REFRIGERANT",
    "label": "WEIGHT",
    "air": "TEMPERATURE",
    "drier": "PART",
    "job": "JOB.yaml",
}

# Work of the service commands; a caution names the work it stands beside.
WORKS: Final = (
    "standing_pressure",
    "vacuum",
    "nitrogen",
    "charge",
    "charge_running",
    "charge_gas",
    "charge_liquid",
    "warm_container",
    "retrofit",
    "recovery",
    "unknown_refrigerant",
    "oil",
    "electric_compressor",
    "performance",
)

_WORDS: Final = re.compile(r"(?:(slightly|strongly|decisively)\s+)?(for|against)")
_NUMBER: Final = re.compile(r"([-+]?\d{1,3}(?:\.\d+)?)\s*dB")


def weight(text: str) -> float:
    """Turn "strongly for" or "7 dB" into decibans; for is positive.

    Raises:
        ValueError: neither; the message says what to write.
    """
    folded = " ".join(text.split())
    if folded == "nothing":
        return 0.0
    if match := _WORDS.fullmatch(folded):
        value = STRENGTH[match[1] or ""]
        return value if match[2] == "for" else -value
    if match := _NUMBER.fullmatch(folded):
        value = float(match[1])
        if abs(value) > HEAVIEST:
            raise CodedError(
                "weight-limit", f"{folded!r} is out of proportion; no single rule may say more than {HEAVIEST:g} dB"
            )
        return value
    raise CodedError(
        "weight",
        f"{text[:40]!r} is not a weight; write slightly, strongly or decisively 'for' or 'against' (plain is between "
        f"slightly and strongly), a number such as '7 dB', or 'nothing'",
    )


def weight_in_words(value: float) -> str:
    """Turn decibans into the nearest word, for the output."""
    size = min(STRENGTH.items(), key=lambda item: abs(item[1] - abs(value)))[0]
    side = "for" if value > 0 else "against"
    return f"{size} {side}".strip()
