"""The commands that a plan tells to type: what the user told the plan of the machine and the place goes with them.

Only text is put together here, every value quoted for a shell. That UNDERSTOOD names what the commands really take is
tested against them.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Final

_AIR: Final = ("altitude", "barometer")
_EVERY: Final = ("units", "rules")
_MACHINE: Final = ("system", "metering", "liquid-store")

# Words of a command -> options of `twogauge plan` that go with it, by the name they have there.
UNDERSTOOD: Final[Mapping[tuple[str, ...], tuple[str, ...]]] = {
    ("diagnose",): ("refrigerant", *_MACHINE, *_AIR, *_EVERY),
    ("diagnose", "--ask"): ("refrigerant", "ambient", "humidity", *_MACHINE, *_AIR, *_EVERY),
    ("standing",): ("label", *_AIR, *_EVERY),
    ("cylinder", "fill"): (*_AIR, *_EVERY),
    ("cylinder", "identify"): (*_AIR, *_EVERY),
    ("oil",): ("system", *_EVERY),
    ("hold",): ("refrigerant", "system", *_AIR, *_EVERY),
    ("charge",): ("label", "ambient", *_MACHINE, *_AIR, *_EVERY),
    ("compare",): _EVERY,
    ("expect",): ("ambient", "humidity", *_MACHINE, *_AIR, *_EVERY),
    ("job", "add", "reading"): _EVERY,
    ("job", "add", "step"): ("rules",),
}
RENAMED: Final[Mapping[tuple[str, str], str]] = {("standing", "label"): "charge"}
# What a file of a reading holds as it was at that moment: that of now must not take its place.
MEASURED: Final = ("ambient", "humidity")


def with_told(command: str, told: Mapping[str, tuple[str, ...]]) -> str:
    """Return a command with the options that were told to the plan and that it understands.

    Args:
        command: a line to be typed, quoted where a shell asks for it.
        told: option of `twogauge plan` without its dashes -> its values as they were given.
    """
    try:
        words = shlex.split(command)
    except ValueError:  # a pack's line with a quote left open: it stands as it was written
        return command
    if not words or words[0] != "twogauge":
        return command
    fitting = [key for key in UNDERSTOOD if key[:1] == tuple(words[1:2]) and set(key) <= set(words)]
    if not fitting:
        return command
    best = max(fitting, key=len)
    more: list[str] = []
    for option in UNDERSTOOD[best]:
        there = RENAMED.get((best[0], option), option)
        if any(word == f"--{there}" or word.startswith(f"--{there}=") for word in words):
            continue
        more += [f"--{there} {shlex.quote(value)}" for value in told.get(option, ())]
    return " ".join([command, *more])
