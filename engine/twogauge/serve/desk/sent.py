"""What a form sends: its controls in the address; fields and files in a body; and a text as a reading."""

from __future__ import annotations

from typing import Final
from urllib.parse import parse_qsl

from fastapi import Request

from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.reading import Reading, ReadingError, positioned, read_file
from twogauge.serve.bodies import form_of
from twogauge.serve.desk.asked import Trouble
from twogauge.serve.received import decoded
from twogauge.serve.site import Site
from twogauge.serve.state import GOOD, SPEC, State

MOST_PAIRS: Final = 200


def is_of_a_form(request: Request) -> bool:
    """Tell whether a form without JavaScript sent its controls, so that it is led to the short address."""
    names = (name.removeprefix(GOOD) for name in request.query_params)
    return any(name.endswith((".unit", ".was")) and not name.startswith(SPEC) for name in names)


async def pairs_of(request: Request, site: Site) -> list[tuple[str, str]]:
    """Return what a form sent; a file stands for the text that it was chosen for.

    Raises:
        FileProblems: a file is no text.
    """
    pairs = []
    for name, value in await form_of(request, site, fields=MOST_PAIRS, files=4):
        if isinstance(value, str):
            pairs.append((name, value))
        elif value:
            of = name.removesuffix(".file")
            pairs.append((of, decoded(of, value)))
    return pairs


def reading_of(name: str, text: str, units: UnitSet, program: Program) -> Reading:
    """Read the address of a diagnosis, or a reading as a file holds it.

    Args:
        name: of the control, used in messages.
        text: that was pasted.
        units: where it does not say.
        program: the rules in force.

    Raises:
        FileProblems: what is wrong, by line.
        Trouble: what is wrong in an address.
    """
    _, mark, query = text.strip().partition("?")
    if mark and "=" in query and "\n" not in text.strip():
        state = State.read(parse_qsl(query.partition("#")[0]), units)
        try:
            reading = Reading(state.given(), units=state.units)
            reading.validate_checks(program.answers)
        except ReadingError as error:
            raise Trouble({name: " ".join(f"{each.message}." for each in error.troubles)}) from None
        return reading
    reading, node = read_file(name, units=units, text=text.encode())
    try:
        reading.validate_checks(program.answers)
    except ReadingError as error:
        raise positioned(error, node) from None
    return reading
