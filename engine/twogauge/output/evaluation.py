"""An evaluation for a person, and as JSON: `"schema": "twogauge.evaluation/1"`.

Keys of the document keep their order and are always there. Within version 1 keys may be added, never renamed or
removed. Nothing is rounded; a rate over no case is null.

    schema       "twogauge.evaluation/1"
    cases        [{id, file, line, source, faults [fault id], normal, rank, verdict, named [fault id], outcome,
                   leaders [{fault, probability}]}]  in the order of the files; what each means: evaluate.py
    first, within_three  {count, of, rate}
    normal       {of, correct {count, rate}, false_alarm {...}, no_response {...}}
    faulty       {of, correct {count, rate}, misdiagnosis {...}, missed_detection {...}, no_response {...}}
    confusion    [{published, named (null for no response), outcome, count}]  published is the first cause
    calibration  [{from, below, count, stated (mean, null if there is none), right}]  the last bin holds 1
    rules        null if not asked for, else [{rule, judged, held, right, against, aside}]  counts; casebook.py
    proposal     null if not asked for, else {repairs, sound, priors [{fault, count, before, after, share_before,
                 share_after, posterior_db}], written (path of the pack, null if no word changed)}
    packs        [{pack, edition}]

Knows results only; evaluate.py and casebook.py judge.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from twogauge.casebook import Proposal, RuleRecord
from twogauge.evaluate import OF_FAULTY, OF_NORMAL, Bin, Evaluation, Judged, counts
from twogauge.output.style import Style

SCHEMA: Final = "twogauge.evaluation/1"

_IN_WORDS: Final = {
    "correct": "correct",
    "false_alarm": "false alarm (a fault was named)",
    "misdiagnosis": "misdiagnosis (another fault was named)",
    "missed_detection": "missed detection (found nothing wrong)",
    "no_response": "no response (named nothing)",
}
_NO_ANSWER: Final = "(no response)"


def document(
    evaluation: Evaluation,
    records: Sequence[RuleRecord] | None = None,
    proposal: Proposal | None = None,
    path: str | None = None,
) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers.

    Args:
        evaluation: the answers.
        records: how each rule fared, if that was asked for.
        proposal: what the counts say about the priors, if that was asked for.
        path: of the pack that was written.
    """
    total = len(evaluation.judged)
    return {
        "schema": SCHEMA,
        "cases": [_case(judged) for judged in evaluation.judged],
        "first": _share(evaluation.within(1), total),
        "within_three": _share(evaluation.within(3), total),
        "normal": _group(evaluation.normal, OF_NORMAL),
        "faulty": _group(evaluation.faulty, OF_FAULTY),
        "confusion": [
            {"published": c.published, "named": c.named or None, "outcome": c.outcome, "count": c.count}
            for c in evaluation.confusion()
        ],
        "calibration": [
            {
                "from": b.low,
                "below": b.high,
                "count": b.count,
                "stated": b.stated if b.count else None,
                "right": b.right,
            }
            for b in evaluation.calibration()
        ],
        "rules": None if records is None else [_record(each) for each in records],
        "proposal": None if proposal is None else _proposal(proposal, path),
        "packs": [{"pack": name, "edition": edition} for name, edition in evaluation.packs],
    }


def as_text(
    evaluation: Evaluation,
    style: Style,
    *,
    brief: bool = False,
    records: Sequence[RuleRecord] | None = None,
) -> str:
    """Return the tables, and before them a line for each case unless `brief`."""
    lines = [] if brief else [*_cases(evaluation, style), ""]
    lines += _rates(evaluation, style)
    lines += ["", *_confusion(evaluation, style), "", *_calibration(evaluation.calibration(), style)]
    if records is not None:
        lines += ["", *_records(records, style)]
    return "\n".join(lines) + "\n"


def proposal_text(proposal: Proposal, path: str | None, style: Style) -> str:
    """Return what the counts say about the priors, and where the pack was written (None: nowhere)."""
    lines = [
        style.bold(f"Priors from {proposal.repairs} confirmed repairs"),
        style.bold(f"  {'fault':<24} confirmed  share of faults    how common"),
    ]
    for p in proposal.priors:
        if p.count or p.changed:
            moved = f"{p.before} -> {p.after}" if p.changed else f"{p.before}, as before"
            begin = f"  {p.fault:<24} {p.count:9}  {p.share_before:5.1%} -> {p.share_after:5.1%}  "
            lines.append(begin + moved)
    if path is None:
        lines += style.wrap("The counts are at odds with no prior; nothing was written.", "  ")
    else:
        lines += style.wrap(f"Written to {path}; nothing is in force until its folder is named with --rules.", "  ")
    return "\n".join(lines) + "\n"


# -- the document ---------------------------------------------------------------------------------------------------


def _case(judged: Judged) -> dict[str, Any]:
    case = judged.case
    return {
        "id": case.id,
        "file": case.place.path,
        "line": case.place.line,
        "source": case.source,
        "faults": list(case.faults),
        "normal": judged.normal,
        "rank": judged.rank,
        "verdict": judged.verdict,
        "named": list(judged.named),
        "outcome": judged.outcome,
        "leaders": [{"fault": name, "probability": chance} for name, chance in judged.leaders],
    }


def _share(count: int, of: int) -> dict[str, Any]:
    return {"count": count, "of": of, "rate": count / of if of else None}


def _group(judged: Sequence[Judged], outcomes: Sequence[str]) -> dict[str, Any]:
    of = len(judged)
    found = counts(judged, outcomes).items()
    return {"of": of, **{name: {"count": n, "rate": n / of if of else None} for name, n in found}}


def _record(record: RuleRecord) -> dict[str, Any]:
    names = ("rule", "judged", "held", "right", "against", "aside")
    return {name: getattr(record, name) for name in names}


def _proposal(proposal: Proposal, path: str | None) -> dict[str, Any]:
    names = ("fault", "count", "before", "after", "share_before", "share_after")
    return {
        "repairs": proposal.repairs,
        "sound": proposal.sound,
        "priors": [
            {**{name: getattr(p, name) for name in names}, "posterior_db": p.decibans} for p in proposal.priors
        ],
        "written": path,
    }


# -- the text -------------------------------------------------------------------------------------------------------


def _cases(evaluation: Evaluation, style: Style) -> list[str]:
    lines = [style.bold("rank  verdict     case")]
    for judged in evaluation.judged:
        begin = f"{judged.rank:4}  {judged.verdict:10}  "
        first = f"{judged.leaders[0][0]} {judged.leaders[0][1]:.2f}"
        ident = style.clean(judged.case.id)
        gap = style.width - len(begin) - len(ident) - len(first)
        lines.append(begin + ident + (" " * gap + first if gap >= 2 else ""))
        if judged.rank > 1 or judged.outcome != "correct" or gap < 2:
            leaders = ", ".join(f"{name} {chance:.2f}" for name, chance in judged.leaders)
            told = f"{judged.outcome.replace('_', ' ')}: published {', '.join(judged.case.faults)}; here {leaders}"
            lines += style.wrap(told, " " * len(begin))
    return lines


def _rates(evaluation: Evaluation, style: Style) -> list[str]:
    total = len(evaluation.judged)
    lines = [style.bold(f"{total} cases" if total != 1 else "1 case")]
    lines += [_rate("a published cause comes first", evaluation.within(1), total)]
    lines += [_rate("within the first three", evaluation.within(3), total)]
    for title, judged, outcomes in (
        ("with nothing wrong", evaluation.normal, OF_NORMAL),
        ("with something wrong", evaluation.faulty, OF_FAULTY),
    ):
        if judged:
            lines += ["", style.bold(f"{len(judged)} {title}")]
            lines += [_rate(_IN_WORDS[name], n, len(judged)) for name, n in counts(judged, outcomes).items()]
    return lines


def _rate(title: str, count: int, of: int) -> str:
    return f"  {title:<42} {count:5}  {count / of:6.1%}"


def _confusion(evaluation: Evaluation, style: Style) -> list[str]:
    cells = evaluation.confusion()
    width = max([len("published first"), *(len(c.published) for c in cells)])
    wide = max([len(_NO_ANSWER), *(len(c.named) for c in cells)])
    lines = [style.bold(f"  {'published first':<{width}}  {'named':<{wide}}  cases")]
    before = ""
    for c in cells:
        published = "" if c.published == before else c.published
        before = c.published
        also = "  published too" if c.outcome == "correct" and c.named != c.published else ""
        wrong = "" if c.outcome == "correct" else f"  {c.outcome.replace('_', ' ')}"
        named = c.named or _NO_ANSWER
        line = f"  {published:<{width}}  {named:<{wide}}  {c.count:5}{also}{wrong if c.named else ''}"
        lines.append(line.rstrip())
    return lines


def _calibration(bins: Sequence[Bin], style: Style) -> list[str]:
    lines = [style.bold("  the leader's probability   cases  stated   right")]
    for b in bins:
        span = f"{b.low:4.0%} to {b.high:4.0%}"
        rest = f"  {b.stated:6.1%}  {b.right / b.count:6.1%}" if b.count else ""
        lines.append(f"  {span:<24} {b.count:7}{rest}")
    return lines


def _records(records: Sequence[RuleRecord], style: Style) -> list[str]:
    spoke = [r for r in records if r.right or r.wrong]
    width = max([len("rule"), *(len(r.rule) for r in spoke)])
    lines = [
        style.bold("How the rules fared"),
        *style.wrap(
            "held: its condition; for, against: it spoke for or against what was confirmed; aside: it spoke for "
            "other faults only. A rule often wrong in a small book may be unlucky: look at its cases first.",
            "  ",
        ),
    ]
    # Where the ids leave no room for the numbers, these come below.
    below = width + 34 > style.width
    head = f"{'held':>6} {'for':>6} {'against':>8} {'aside':>6}"
    lines.append(style.bold(f"  {'rule':<{width}} {head}" if not below else f"  rule, then {' '.join(head.split())}"))
    for r in sorted(spoke, key=lambda r: (-r.wrong, -r.right, r.rule)):
        numbers = f"{r.held:6} {r.right:6} {r.against:8} {r.aside:6}"
        lines += [f"  {r.rule:<{width}} {numbers}"] if not below else [f"  {r.rule}", f"    {numbers}"]
    return lines
