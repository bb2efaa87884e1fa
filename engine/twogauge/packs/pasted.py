"""A pack that came as one text, tried on the rules in force: what is wrong with it, and what its examples show.

Nothing of it stays: it lies in a folder of its own while it is read, so that it goes the way of every pack, and no
place or sentence names that folder.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from twogauge.errors import InputError
from twogauge.packs.casefiles import PackCase, read_pack_cases
from twogauge.packs.check import check_packs
from twogauge.packs.compile import Program
from twogauge.packs.layers import program_in_force
from twogauge.packs.problems import Problem
from twogauge.packs.selftest import Failure, check_examples, count_examples
from twogauge.packs.trial import CaseFailure, check_cases, moved_by

MOST_TEXT: Final = 100_000  # characters; the slowest pack of that length that was tried took a second
_FILE: Final = "rules.yaml"


@dataclass(frozen=True, slots=True)
class Attempt:
    """What a pack came to.

    Attributes:
        name: of the pack.
        problems: errors and warnings, by line.
        rules: how many it adds; 0 where an error keeps it from being used, as with all that follows.
        program: what would be in force with it, or None.
        examples: how many its rules and gates carry.
        failures: examples that do not prove what they should.
        moved: cases of the packs beneath that come out otherwise with it.
    """

    name: str
    problems: tuple[Problem, ...]
    rules: int = 0
    program: Program | None = None
    examples: int = 0
    failures: tuple[Failure, ...] = ()
    moved: tuple[CaseFailure, ...] = ()


def attempt(text: str, program: Program, *, name: str = "pack") -> Attempt:
    """Try a pack.

    Args:
        text: the one file that it consists of, no longer than MOST_TEXT.
        program: the rules in force, which it is stacked on.
        name: what places in the text are called by.

    Raises:
        ValueError: the text is too long.
    """
    if len(text) > MOST_TEXT:
        raise ValueError(f"a pack of one text may have {MOST_TEXT} characters")
    beneath = [Path(each.folder) for each in program.stack.found if each.layer == "named" and not each.refused]
    with tempfile.TemporaryDirectory(prefix="twogauge-") as made:
        folder = str(Path(made).resolve())
        Path(folder, _FILE).write_bytes(text.encode("utf-8", "replace"))
        report = check_packs([*beneath, folder])
        problems = tuple(
            _plain(each, folder, name, program) for each in report.problems if each.place.path.startswith(folder)
        )
        called = report.packs[-1] if report.packs else ""
        if any(each.severity == "error" for each in problems):
            return Attempt(called, problems)
        with_it = program_in_force([*beneath, folder], from_files=True)
        found = [each for each in with_it.stack.found if not each.refused]
        failures = [each for each in check_examples(with_it) if each.place.path.startswith(folder)]
        beneath_it = [(each.name, each.folder) for each in found if each.name != called]
        return Attempt(
            called,
            problems,
            sum(rule.pack == called for rule in with_it.stack.rules.values()),
            with_it,
            count_examples(with_it, called),
            tuple(replace(each, place=replace(each.place, path=name)) for each in failures),
            tuple(_moved(beneath_it, with_it, program)),
        )


def _moved(packs: Iterable[tuple[str, str]], with_it: Program, without: Program) -> list[CaseFailure]:
    """Return what comes out otherwise with a pack, once for each case."""
    failures = check_cases([case for each in packs for case in _cases(each, with_it)], with_it)
    first = {each.case.place: each for each in reversed(moved_by(failures, without))}
    return sorted(first.values(), key=lambda each: each.case.place)


def _cases(pack: tuple[str, str], program: Program) -> list[PackCase]:
    """Return the cases of a pack; none where they cannot be read, which is told to whoever keeps that pack."""
    try:
        return read_pack_cases([pack], program)
    except InputError:
        return []


def _plain(problem: Problem, folder: str, name: str, program: Program) -> Problem:
    """Return a problem that tells nothing of the folders that packs lie in, on the machine that tries them."""
    message = re.sub(rf"{re.escape(folder)}/{re.escape(_FILE)}:(\d+):\d+", r"line \1", problem.message)
    message = message.replace(folder, "the pack")
    for each in program.stack.found:
        message = message.replace(each.folder, each.name) if each.folder else message
    return replace(problem, place=replace(problem.place, path=name), message=message)
