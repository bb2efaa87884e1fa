"""The published cases of data/cases.yaml, read the way `twogauge evaluate` reads them.

Facts and figures of each case stand in the file with their source, and so do the answers that a manual's observations
amount to. twogauge/cases.py says how a manual's words become a reading.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from twogauge.cases import Case, read_cases
from twogauge.diagnosis import program_for
from twogauge.evaluate import Evaluation, evaluate

FILE = Path(__file__).parent / "data" / "cases.yaml"


@cache
def published_cases() -> list[Case]:
    """Return every case of data/cases.yaml."""
    return read_cases([FILE], program_for())


@cache
def published_evaluation() -> Evaluation:
    """Return the answers of the built-in rules to every case."""
    return evaluate(published_cases(), program_for())
