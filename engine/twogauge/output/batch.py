"""What came of a run over logs, and how columns were understood: for a person, and as JSON.

`"schema": "twogauge.batch/1"`; within version 1 keys may be added, never renamed or removed.

    schema     "twogauge.batch/1"
    rows, answered, bad   counts; a line that is no row at all is a bad row
    verdicts   {verdict: count}
    faults     {fault: how many rows name it}, of those whose verdict is a fault
    out        the file of the answers
    bad_rows   the file that lists the bad ones, null where there is none
    first_bad  {file, row, reason} or null
    not_used   [{file, column, field}]: columns without effect that are nearly named like a field
    resumed    rows that an earlier run had answered
    seconds, rows_per_second      of this run

and of a dry run `"twogauge.batch.columns/1"`: {files [{file, written, columns [{column, field, unit, words}], unused,
constants}], answers [the first rows]}.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import Any, Final

import pyarrow as pa

from twogauge.errors import shown
from twogauge.fields import FIELDS
from twogauge.fleet.job import STDOUT, Plan, Summary, pieces_of, work_of
from twogauge.fleet.stretches import rows_of
from twogauge.fleet.understanding import Understood
from twogauge.output.style import Style, percent
from twogauge.packs.compile import Program
from twogauge.quantities import symbol_for

_PLAIN: Final = Style()
_VERDICT: Final = {
    "fault": "a fault",
    "normal": "nothing wrong",
    "too_close": "too close to call",
    "not_enough": "not enough to say",
    "gated": "not diagnosed: pressures mean nothing in that state",
}
_SHOWN: Final = 5  # first answers of a dry run


def as_text(found: Summary, plan: Plan) -> str:
    """Return what is told at the end."""
    lines = []
    if found.note:
        lines += _PLAIN.wrap(found.note)
    rows, files = _count(found.rows, "row"), _count(len(plan.files), "file")
    lines.append(f"{rows} of {files}: {found.answered:,} answered, {found.bad:,} bad")
    wide = len(f"{max(found.verdicts.values(), default=0):,}")
    for verdict, words in _VERDICT.items():
        count = found.verdicts.get(verdict, 0)
        if count:
            lines.append(f"  {count:>{wide},}  {_share(count, found.answered):>5}  {words}")
        if verdict == "fault":
            lines += _fault_lines(found, plan.program, wide)
    lines += near_lines(plan.files)
    if found.first_bad is not None:
        name, row, reason = found.first_bad
        lines += _PLAIN.wrap(f"the first bad row is {name}:{row}: {reason}")
    new = found.rows - found.resumed
    rate = f", {new / found.seconds:,.0f} rows a second" if found.seconds > 0.0 and new else ""
    lines.append(f"{found.seconds:,.1f} s{rate}")
    if plan.out != STDOUT:
        lines += _PLAIN.wrap(f"answers: {plan.out}")
    if plan.bad and found.bad:
        lines += _PLAIN.wrap(f"bad rows: {plan.bad}")
    return "\n".join(lines) + "\n"


def _fault_lines(found: Summary, program: Program, wide: int) -> list[str]:
    """Tell how many rows name which fault, the most frequent first."""
    lines = []
    for name, count in sorted(found.faults.items(), key=lambda each: (-each[1], each[0])):
        front = f"  {count:>{wide},}           "
        title = program.stack.faults[name].entry.title if name in program.stack.faults else name
        lines += _PLAIN.wrap_after(title, front)
    return lines


def _share(count: int, of: int) -> str:
    """Return a share that was counted: 100 % only of all, and 0 % of none."""
    return "100 %" if count == of else percent(count / of)


def _near(files: Sequence[Understood]) -> list[dict[str, str]]:
    return [
        {"file": each.source.input.name, "column": column, "field": name}
        for each in files
        for column, name in each.near
    ]


def near_lines(files: Sequence[Understood]) -> list[str]:
    """Tell of columns that are nearly named like a field; of the first few, since many files are alike."""
    near = _near(files)
    lines = [f"{each['file']}: {shown(each['column'])} was not used; did you mean {each['field']}?" for each in near]
    more = [f"and {len(near) - _SHOWN} more columns like that"] if len(near) > _SHOWN else []
    return [part for line in [*lines[:_SHOWN], *more] for part in _PLAIN.wrap(line)]


def _count(n: int, what: str) -> str:
    return f"{n:,} {what}{'s' if n != 1 else ''}"


def document(found: Summary, plan: Plan) -> dict[str, Any]:
    """Return the same for programs."""
    new = found.rows - found.resumed
    first = found.first_bad
    return {
        "schema": "twogauge.batch/1",
        "rows": found.rows,
        "answered": found.answered,
        "bad": found.bad,
        "verdicts": {name: found.verdicts.get(name, 0) for name in _VERDICT},
        "faults": dict(sorted(found.faults.items())),
        "out": plan.out,
        "bad_rows": plan.bad if plan.bad and found.bad else None,
        "first_bad": None if first is None else dict(zip(("file", "row", "reason"), first, strict=True)),
        "not_used": _near(plan.files),
        "resumed": found.resumed,
        "seconds": found.seconds,
        "rows_per_second": new / found.seconds if found.seconds > 0.0 else None,
    }


def first_answers(files: Sequence[Understood], program: Program) -> list[dict[str, Any]]:
    """Answer the first rows of the first file."""
    work = work_of(files, program, ())
    for stretches in islice(pieces_of(files[:1]), 1):
        rows = rows_of(stretches[0][1], work.layouts[0], work.names[0])
        batch = rows.batch.slice(0, _SHOWN)
        answers = work.diagnosers[work.which[0]].answer(batch).to_pylist()
        marks = [name for name in ("machine", "time") if getattr(files[0].map, name)]
        told = {name: batch.column(getattr(files[0].map, name)).cast(pa.string()).to_pylist() for name in marks}
        return [
            {"row": int(rows.numbers[i]), **{name: told[name][i] for name in marks}, **answer}
            for i, answer in enumerate(answers)
        ]
    return []


def understanding_document(files: Sequence[Understood], first: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return how each column is understood, for programs."""
    return {
        "schema": "twogauge.batch.columns/1",
        "files": [
            {
                "file": each.source.input.name,
                "written": each.source.about,
                "columns": [
                    {"column": column, "field": field, "unit": unit or None, "words": dict(words)}
                    for column, field, unit, words in _columns(each)
                ],
                "unused": list(_unused(each)),
                "constants": {name: str(value) for name, value in each.map.constants.items()},
            }
            for each in files
        ],
        "answers": list(first),
    }


def understanding_text(
    files: Sequence[Understood], first: Sequence[Mapping[str, Any]], titles: Mapping[str, str]
) -> str:
    """Return how each column is understood, and the first answers; files that are alike are told once.

    Args:
        files: with what their columns mean.
        first: as `first_answers` gives them.
        titles: id of a fault -> its title.
    """
    lines: list[str] = []
    told: list[list[str]] = []
    for each in files:
        name = f"{each.source.input.name}: {each.source.about}"
        body = _body(each)
        if body in told:
            lines += _PLAIN.wrap(f"{name}, as above")
            continue
        told.append(body)
        lines += [*_PLAIN.wrap(name), *body]
    near = near_lines(files)
    lines += [*([""] if near else []), *near, "", "The first answers"]
    for answer in first:
        said = answer["trouble"] or _answer(answer, titles)
        marks = " ".join(str(answer[name]) for name in ("machine", "time") if answer.get(name) is not None)
        lines += _PLAIN.wrap(f"row {answer['row']} {marks}".rstrip() + f": {said}", "  ", "    ")
    if not first:
        lines.append("  there is no row")
    return "\n".join(lines) + "\n"


def _answer(answer: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    verdict, first = answer["verdict"], answer["first"]
    if verdict == "gated":
        return f"{_VERDICT[verdict]}: {answer['gate']}"
    sure = percent(answer["first_probability"])
    if verdict == "normal":
        return f"{_VERDICT[verdict]}, {sure}"
    named = f"{titles.get(first, first)}, {sure}"
    return named if verdict == "fault" else f"{_VERDICT[verdict]}; foremost {named}"


def _body(each: Understood) -> list[str]:
    rows = [("column", "field", "unit"), *((c, f, u) for c, f, u, _ in _columns(each))]
    wide = [min(max(len(row[i]) for row in rows), 34) for i in (0, 1)]
    lines = []
    for row, words in zip(rows, [{}, *(w for *_, w in _columns(each))], strict=True):
        cells = [_PLAIN.clean(cell) for cell in row]
        lines.append(f"  {cells[0].ljust(wide[0])}  {cells[1].ljust(wide[1])}  {cells[2]}".rstrip())
        if words:
            lines += _PLAIN.wrap(", ".join(f"{k} is {v}" for k, v in words.items()), "      ")
    unused = _unused(each)
    if unused:
        lines += _PLAIN.wrap(f"not used: {', '.join(unused)}", "  ", "    ")
    if each.map.constants:
        told = ", ".join(f"{name} {value}" for name, value in each.map.constants.items())
        lines += _PLAIN.wrap(f"for every row: {told}", "  ", "    ")
    return lines


def _columns(each: Understood) -> list[tuple[str, str, str, Mapping[str, str]]]:
    found: list[tuple[str, str, str, Mapping[str, str]]] = []
    for field, source in each.map.fields.items():
        known = FIELDS.get(field)
        unit = source.unit
        if not unit and known is not None and known.dimension is not None:
            unit = f"{symbol_for(known.dimension, each.map.units)} (no unit is told)"
        name = field if len(source.columns) == 1 else f"{field}, the ends of its swing"
        found += [(column, name, unit, source.words) for column in source.columns]
    for name in ("machine", "time"):
        if getattr(each.map, name):
            found.append((getattr(each.map, name), name, "", {}))
    order = {column: i for i, column in enumerate(each.source.names)}
    return sorted(found, key=lambda row: order.get(row[0], -1))


def _unused(each: Understood) -> tuple[str, ...]:
    used = {column for column, *_ in _columns(each)}
    return tuple(name for name in each.source.names if name and name not in used)
