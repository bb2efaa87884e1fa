"""What a pack of one text came to, for a person and as JSON.

The document holds what `twogauge rules check --format json` tells (output/problems.py), and `rules` and `examples`
(counts), `failures` [{rule, kind, line, message}] and `moved` [{case, pack, message}]: cases of the packs beneath that
come out otherwise with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final

from twogauge.diagnosis import Diagnosis
from twogauge.output import problems
from twogauge.output.paper import Paper, Table
from twogauge.output.style import percent
from twogauge.packs.pasted import Attempt
from twogauge.packs.selftest import Failure

_MOST_PROBLEMS: Final = 40
_MOST_FAULTS: Final = 5
_MOST_REASONS: Final = 20
_TYPED: Final = re.compile(r"(?<!\w)'([^'`]+)'(?!\w)|(?<![\w`])([a-z]+(?:_[a-z0-9]+)+)(?![\w`])")


def document(found: Attempt) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    return {
        **problems.document(found.problems, [found.name]),
        "rules": found.rules,
        "examples": found.examples,
        "failures": [
            {"rule": each.rule, "kind": each.kind, "line": each.place.line, "message": _without_place(each)}
            for each in found.failures
        ],
        "moved": [{"case": each.case.id, "pack": each.case.pack, "message": each.came} for each in found.moved],
    }


def write(paper: Paper, found: Attempt, both: tuple[Diagnosis, Diagnosis] | None = None) -> None:
    """Write the answer to rules that can be used.

    Args:
        paper: to write on.
        found: by trying them.
        both: what a reading comes to without them and with them.
    """
    if found.failures:
        paper.answer(f"These rules can be used, but {_counted(len(found.failures), 'example')} did not come out")
    else:
        paper.answer(
            f"These rules can be used: {_counted(found.rules, 'rule')}, {_counted(found.examples, 'example')}"
        )
    if found.rules and not found.examples:
        paper.say("None of them has an example, so nothing shows that they say what you mean.")
    if found.problems:
        paper.say(f"{_counted(len(found.problems), 'warning')}: what is likely not meant.")
    if both is not None:
        _compared(paper, *both, found.name)
    _table(paper, "What is likely not meant", ((each.place.line, each.message) for each in found.problems))
    failures = ((each.place.line, _without_place(each)) for each in found.failures)
    _table(paper, "Examples that did not come out", failures)
    if found.moved:
        paper.head("Cases of the rules beneath that come out otherwise with yours")
        for each in found.moved[:_MOST_PROBLEMS]:
            paper.say(_as_typed(f"{each.case.id} of {each.case.pack}: {each.came}."))
        paper.say("That is as it should be if you meant it.")
    paper.note(
        "They are not kept here. Put their file into a folder, and begin with `twogauge serve --rules FOLDER`."
    )


def _table(paper: Paper, title: str, rows: Iterable[tuple[int, str]]) -> None:
    every = list(rows)
    shown = [(f"Line {line}", _as_typed(message)) for line, message in every[:_MOST_PROBLEMS]]
    table = Table(title, shown, ("Where", "What"))
    paper.laid_out(table, lambda style: [style.clean(": ".join(row)) for row in shown])
    if len(every) > len(shown):
        paper.say(f"And {len(every) - len(shown)} more.")


def _compared(paper: Paper, before: Diagnosis, after: Diagnosis, pack: str) -> None:
    chance = {each.fault: each.probability for each in before.ranking}
    leading = [each.fault for each in (*after.ranking[:_MOST_FAULTS], before.first)]
    rows = [
        (each.title, percent(chance[each.fault]) if each.fault in chance else "not known", percent(each.probability))
        for each in after.ranking
        if each.fault in leading
    ]
    table = Table("The reading, without your rules and with them", rows, ("Cause", "Without", "With"))
    paper.laid_out(table, lambda style: [style.clean(" ".join(row)) for row in rows])
    said = list(dict.fromkeys(_said(after, pack)))[:_MOST_REASONS]
    paper.head("What your rules say to it")
    for sentence in said or ["None of them says anything to this reading."]:
        paper.say(sentence)


def _said(after: Diagnosis, pack: str) -> Iterator[str]:
    for each in after.ranking:
        for reason in each.reasons:
            if reason.pack == pack or any(by == pack for by, _ in reason.notes):
                kept = "" if reason.counted else "; a stronger reason of the same topic counts in its place"
                side = "for" if reason.weight > 0 else "against"
                yield f"{reason.title}: {abs(reason.weight):.0f} dB {side} '{each.title}'{kept}."


def _counted(count: int, word: str) -> str:
    return f"{'no' if count == 0 else 'one' if count == 1 else count} {word}{'' if count == 1 else 's'}"


def _without_place(failure: Failure) -> str:
    return str(failure).removeprefix(f"{failure.place}: ")


def _as_typed(message: str) -> str:
    """Return a sentence in which names stand as they are typed, and not in the words of a page."""
    return _TYPED.sub(lambda found: f"`{found[1] or found[2]}`", message)
