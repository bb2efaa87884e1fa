"""Everything that is wrong with packs, in one go: their files, how they stack, what they mean, and what looks wrong.

The first three are errors that loading refuses as well (yamlfile.py, pack_files.py, stack.py, compile.py); the last
is what only an author wants to hear about (lint/). Examples and cases are read, and not run: that is trial.py's
business. Nothing here prints.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Literal

from twogauge.errors import FileProblems, InputError
from twogauge.packs.casefiles import read_pack_cases
from twogauge.packs.codes import CODES
from twogauge.packs.compile import Program, examine
from twogauge.packs.layers import ground
from twogauge.packs.lint import Subject, lint
from twogauge.packs.problems import Place, Problem
from twogauge.packs.selftest import read_examples
from twogauge.packs.stack import Layered, Survey, read_pack, survey


@dataclass(frozen=True)
class Report:
    """What a check found.

    Attributes:
        problems: sorted by file, line and column, each once.
        packs: names of the packs that were checked.
        rules: how many rules those packs add.
    """

    problems: tuple[Problem, ...]
    packs: tuple[str, ...]
    rules: int

    def count(self, severity: Literal["error", "warning"]) -> int:
        """Return how many problems are of a severity."""
        return sum(problem.severity == severity for problem in self.problems)


def check_packs(folders: Sequence[str | Path], *, on: Sequence[str | Path] | None = None) -> Report:
    """Check packs, stacked in the order given on packs that are taken to be sound.

    Args:
        folders: the packs to check; the built-in ones if there are none. One they stand on may be named as well.
        on: folders of what they stand on; None for the built-in packs and those installed.

    Raises:
        InputError: a folder that is not there or holds no pack.
    """
    below = ground() if on is None else [Layered(read_pack(Path(folder)), "named") for folder in on]
    known = {Path(each.pack.folder).resolve(): each.pack.header.pack for each in below}
    added = [folder for folder in folders if Path(folder).resolve() not in known]
    named = [known[Path(folder).resolve()] for folder in folders if Path(folder).resolve() in known]
    if not folders:
        named = [each.pack.header.pack for each in below if on is not None or each.layer == "built-in"]
    found = survey(below, added)
    mine = tuple(dict.fromkeys((*named, *(header.pack for header in found.stack.packs[len(below) :]))))
    examined = examine(found.stack, lost=found.lost)
    subject = Subject(examined.program, examined.unsound, frozenset(mine), found.mentioned)
    folders_of_mine = [(each.name, each.folder) for each in found.stack.found if each.name in mine]
    every = (
        *found.problems,
        *found.remarks,
        *examined.problems,
        *_of_rests(found),
        *lint(subject),
        *_examples(subject, found.lost),
        *_cases(folders_of_mine, examined.program, found.lost),
    )
    problems = {_graded(problem) for problem in every}
    rules = sum(rule.pack in mine for rule in found.stack.rules.values())
    return Report(tuple(sorted(problems)), mine, rules)


def _of_rests(found: Survey) -> tuple[Problem, ...]:
    """Return what else is wrong in entries whose form is wrong already."""
    if not any(found.rests.values()):
        return ()
    more = {kind: {**getattr(found.stack, kind), **entries} for kind, entries in found.rests.items()}
    return examine(replace(found.stack, rules=more["rules"], gates=more["gates"]), lost=found.lost).problems


def _examples(subject: Subject, lost: frozenset[str]) -> Iterator[Problem]:
    """Yield what is no reading among the examples, but for names that may stand in what could not be read."""
    entries = {loaded.id: loaded for _, loaded in subject.rules_and_gates()}
    for failure in read_examples(subject.program)[1]:
        if failure.rule in entries and not _may_be_lost(failure.problem, lost):
            yield Problem(failure.place, "example", f"this example is no reading: {failure.problem}")


def _may_be_lost(message: str, lost: frozenset[str]) -> bool:
    """Tell whether the name that a message complains of is one that could not be read."""
    name = re.search(r"'([^']*)'", message)
    return name is not None and name[1] in lost


_OF_NAMES: Final = frozenset({"unknown-fault", "unknown-rule", "unknown-topic", "reading"})


def _cases(folders: Sequence[tuple[str, str]], program: Program, lost: frozenset[str]) -> Iterator[Problem]:
    """Yield what is wrong in the files of cases."""
    for pack, folder in folders:
        try:
            read_pack_cases([(pack, folder)], program)
        except FileProblems as error:
            yield from (p for p in error.problems if p.code not in _OF_NAMES or not _may_be_lost(p.message, lost))
        except InputError as error:
            yield Problem(Place(folder), "link", str(error))


def _graded(problem: Problem) -> Problem:
    code = CODES.get(problem.code)
    return problem if code is None else replace(problem, severity=code.severity)
