"""What trying out packs showed, for a person and as JSON: `"schema": "twogauge.trial/1"`.

Keys of the document keep their order and are always there. Within version 1 keys may be added, never renamed or
removed. Nothing is rounded.

    schema      "twogauge.trial/1"
    holds       true if everything proves what it should
    tested      [pack]
    examples    {count, failures [{rule, kind, file, line, column, degree (null for none), problem,
                conditions [{name, degree}]}]}
    cases       {count, failures [case], moved [case]}  moved: of packs beneath, by the packs under test; each
                case: {case, pack, file, line, column, expected (key of `expect`), came (a sentence),
                faults [{fault, probability, weight_db, reasons [{rule, weight_db, degree, counted}]}],
                conditions [{name, degree}]}
    coverage    null if not asked for, else {kind: {covered, of}, gaps [{kind, of, what, held, failed (null if not
                asked), file, line, column}]}
    mutants     null if not asked for or if something fails, else {caught, of, share (null for none),
                kinds {kind: {caught, of}}, rules [{rule, caught, of}], untested [{rule, kind, what, outdone_by
                (rule that says as much wherever it holds, or null), file, line, column}]}
    packs       [{pack, edition}]

Knows results only; packs/trial.py, packs/coverage.py and packs/mutants.py judge.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, Final

from twogauge.diagnosis import Ranked
from twogauge.output.style import Style
from twogauge.packs.coverage import KINDS, Coverage
from twogauge.packs.mutants import KINDS as MUTANTS
from twogauge.packs.mutants import Mutant, Mutation
from twogauge.packs.problems import Place
from twogauge.packs.trial import CaseFailure, Trial

SCHEMA: Final = "twogauge.trial/1"
REASONS_AT_MOST: Final = 4  # of each fault's ledger, for and against together


def as_text(trial: Trial, style: Style, coverage: Coverage | None = None, mutation: Mutation | None = None) -> str:
    """Return what fails with the reasons for it, what is not exercised or not tested, and last the counts."""
    lines = [*_gaps(coverage, style), *_survivors(mutation, style), *_results(trial, style)]
    if coverage is not None:
        counts = (f"{covered} of {of} {kind}" for kind in KINDS for covered, of in [coverage.count(kind)])
        lines += style.wrap(f"Exercised on both sides: {', '.join(counts)}.", "", "  ")
    if mutation is not None:
        counts = (f"{kind} {caught} of {of}" for kind in MUTANTS for caught, of in [mutation.of_kind(kind)])
        total = f"{mutation.caught} of {len(mutation.mutants)} ({mutation.share:.1%})"
        lines += style.wrap(f"Mutants caught: {total}; {', '.join(counts)}.", "", "  ")
    return "\n".join(lines) + "\n"


def _results(trial: Trial, style: Style) -> list[str]:
    lines = [style.clean(str(failure)) for failure in trial.example_failures]
    for failure in trial.failures:
        lines += _failure(failure, style)
    first_of_each = {failure.case.place: failure for failure in reversed(trial.moved)}
    for failure in sorted(first_of_each.values(), key=lambda failure: failure.case.place):
        begin = f"{failure.case.place}: case {failure.case.id} of {failure.case.pack} comes out otherwise: "
        lines += [style.clean(begin + failure.came)]
    rules = f"{len(trial.program.rules)} rules and {len(trial.program.gates)} gates"
    if trial.found_nothing:
        lines.append(f"No example and no case was found for {rules}; nothing was tested.")
        return lines
    lines.append(_counted("examples", trial.example_count, {f.place for f in trial.example_failures}, f" of {rules}"))
    if trial.cases:
        lines.append(_counted("cases", len(trial.cases), {f.case.place for f in trial.failures}, ""))
    else:
        lines.append("There are no cases.")
    if first_of_each:
        lines += style.wrap(
            f"{len(first_of_each)} of the cases of the packs beneath come out otherwise with these packs (see above); "
            f"that is no failure if it is meant."
        )
    return lines


def _gaps(coverage: Coverage | None, style: Style) -> list[str]:
    lines = []
    for gap in () if coverage is None else coverage.gaps:
        if gap.kind == "faults":
            sides = ("expected by no case" if not gap.held else "", "ruled out by no case" if not gap.failed else "")
        else:
            held = "never seen to hold" if gap.failed is not None else "never seen"
            sides = (held if not gap.held else "", "never seen not to hold" if gap.failed is False else "")
        what = f"{gap.what}: " if gap.what else ""
        lines.append(style.clean(f"{gap.place}: {gap.of}: {what}{' and '.join(side for side in sides if side)}"))
    return lines


def _survivors(mutation: Mutation | None, style: Style) -> list[str]:
    lines = []
    for rule, (caught, of) in ({} if mutation is None else mutation.by_rule()).items():
        untested = [mutant for mutant in mutation.survivors if mutant.rule == rule] if mutation else []
        if untested:
            lines.append(f"{rule}: {caught} of {of} mutants caught")
            lines += [style.clean(f"{mutant.place}: {_survived(mutant)}") for mutant in untested]
    return lines


def _counted(what: str, count: int, failed: set[Place], of: str) -> str:
    return f"{len(failed)} of {count} {what}{of} fail." if failed else f"All {count} {what}{of} hold."


def _failure(failure: CaseFailure, style: Style) -> list[str]:
    lines = [style.clean(f"{failure.expectation.place}: case {failure.case.id}: {failure.came}")]
    for ranked in failure.ranked:
        lines.append(f"  {ranked.fault}, {ranked.probability * 100:.0f} %, {ranked.weight:+.1f} dB")
        for reason in [r for r in ranked.reasons if r.counted][:REASONS_AT_MOST]:
            lines += style.wrap_after(f"{reason.title} ({reason.rule})", f"    {reason.weight:+6.1f} dB  ")
        more = sum(r.counted for r in ranked.reasons) - REASONS_AT_MOST
        if not any(r.counted for r in ranked.reasons):
            lines.append("    nothing speaks for or against it")
        elif more > 0:
            lines.append(f"    and {more} weaker")
    if failure.conditions:
        each = ", ".join(
            f"{name} {'none' if math.isnan(degree) else format(degree, '.2f')}" for name, degree in failure.conditions
        )
        lines += style.wrap(f"its conditions: {each}", "  ", "    ")
    return lines


def _survived(mutant: Mutant) -> str:
    if mutant.outdone_by:
        return f"never counts: {mutant.what}: {mutant.outdone_by} of the same topic says as much wherever it holds"
    return f"untested: {mutant.what}"


# -- the document ---------------------------------------------------------------------------------------------------


def document(trial: Trial, coverage: Coverage | None = None, mutation: Mutation | None = None) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    return {
        "schema": SCHEMA,
        "holds": trial.holds,
        "tested": sorted(trial.tested),
        "examples": {
            "count": trial.example_count,
            "failures": [
                {
                    "rule": failure.rule,
                    "kind": failure.kind,
                    **_place(failure.place),
                    "degree": _number(failure.degree),
                    "problem": failure.problem,
                    "conditions": _degrees(failure.conditions),
                }
                for failure in trial.example_failures
            ],
        },
        "cases": {
            "count": len(trial.cases),
            "failures": [_case(failure) for failure in trial.failures],
            "moved": [_case(failure) for failure in trial.moved],
        },
        "coverage": None if coverage is None else _coverage(coverage),
        "mutants": None if mutation is None else _mutation(mutation),
        "packs": [{"pack": h.pack, "edition": h.edition} for h in trial.program.stack.packs],
    }


def _coverage(coverage: Coverage) -> dict[str, Any]:
    counts = {kind: dict(zip(("covered", "of"), coverage.count(kind), strict=True)) for kind in KINDS}
    gaps = [
        {
            "kind": gap.kind,
            "of": gap.of,
            "what": gap.what,
            "held": gap.held,
            "failed": gap.failed,
            **_place(gap.place),
        }
        for gap in coverage.gaps
    ]
    return {**counts, "gaps": gaps}


def _mutation(mutation: Mutation) -> dict[str, Any]:
    kinds = {kind: dict(zip(("caught", "of"), mutation.of_kind(kind), strict=True)) for kind in MUTANTS}
    return {
        "caught": mutation.caught,
        "of": len(mutation.mutants),
        "share": mutation.share if mutation.mutants else None,
        "kinds": kinds,
        "rules": [{"rule": rule, "caught": caught, "of": of} for rule, (caught, of) in mutation.by_rule().items()],
        "untested": [
            {
                "rule": mutant.rule,
                "kind": mutant.kind,
                "what": mutant.what,
                "outdone_by": mutant.outdone_by or None,
                **_place(mutant.place),
            }
            for mutant in mutation.survivors
        ],
    }


def _case(failure: CaseFailure) -> dict[str, Any]:
    return {
        "case": failure.case.id,
        "pack": failure.case.pack,
        **_place(failure.expectation.place),
        "expected": failure.expectation.key,
        "came": failure.came,
        "faults": [_ranked(ranked) for ranked in failure.ranked],
        "conditions": _degrees(failure.conditions),
    }


def _ranked(ranked: Ranked) -> dict[str, Any]:
    return {
        "fault": ranked.fault,
        "probability": ranked.probability,
        "weight_db": ranked.weight,
        "reasons": [
            {"rule": r.rule, "weight_db": r.weight, "degree": _number(r.degree), "counted": r.counted}
            for r in ranked.reasons
        ],
    }


def _place(place: Place) -> dict[str, Any]:
    return {"file": place.path, "line": place.line, "column": place.column}


def _degrees(conditions: Iterable[tuple[str, float]]) -> list[dict[str, Any]]:
    return [{"name": name, "degree": _number(degree)} for name, degree in conditions]


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
