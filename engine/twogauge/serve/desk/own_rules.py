"""Rules that somebody wrote, tried on the rules in force and on a reading."""

from __future__ import annotations

from typing import Final

from twogauge.cli.answered import Answered
from twogauge.diagnosis import diagnose
from twogauge.errors import FileProblems
from twogauge.output import pasted
from twogauge.packs.pasted import MOST_TEXT, Attempt, attempt
from twogauge.packs.program import Program
from twogauge.reading import Reading
from twogauge.serve.desk.asked import Trouble

NAME: Final = "rules"  # of the text


def answer(found: Attempt, program: Program, reading: Reading | None = None) -> Answered:
    """Return what rules came to.

    Args:
        found: by trying them.
        program: the rules in force without them.
        reading: to try them on; it may hold their checks.
    """
    both = None
    if reading is not None and found.program is not None:
        both = (diagnose(_as_known(reading, program), program=program), diagnose(reading, program=found.program))

    return Answered(lambda: pasted.document(found), lambda paper: pasted.write(paper, found, both), found)


def _as_known(reading: Reading, program: Program) -> Reading:
    """Return a reading without the checks and the profile that only the tried rules know."""
    known = {name for name, word in reading.check_answers.items() if word in program.answers.get(name, ())}
    given = {name: value for name, value in reading.given.items() if name not in {*reading.check_answers, "checks"}}
    if given.get("profile") not in program.stack.profiles:
        given.pop("profile", None)
    if reading.baseline is not None:
        given["baseline"] = reading.baseline
    return Reading({**given, "checks": {name: reading.check_answers[name] for name in known}}, units=reading.units)


def tried(text: str, program: Program) -> Attempt:
    """Try rules.

    Args:
        text: a file of a pack.
        program: the rules in force.

    Raises:
        Trouble: the text is too long.
        FileProblems: what keeps the rules from being used, by line.
    """
    if len(text) > MOST_TEXT:
        raise Trouble({NAME: f"This is longer than {MOST_TEXT:,} characters. Check it where twogauge runs."})
    found = attempt(text, program, name=NAME)
    errors = [each for each in found.problems if each.severity == "error"]
    if errors:
        raise FileProblems(errors)
    return found
