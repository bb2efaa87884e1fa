"""A job sheet as a page: for the customer, and as the log of refrigerants; output/book.py writes pages.

What records the law asks for differs by country, by machine and by year; the log holds what most of them ask, and its
last paragraph says so (service/data/law.yaml).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from twogauge.diagnosis import diagnose
from twogauge.errors import InputError
from twogauge.output.job import found, sentence, when
from twogauge.packs.pages import Block, Heading, Items, Page, Paragraph, Table
from twogauge.quantities import UnitSet, show_mass
from twogauge.reading import Reading
from twogauge.refrigerants import get
from twogauge.service.job import LEAK_TESTS, TESTS, UNREADABLE, WEIGHED, Entry, Sheet, weight
from twogauge.service.job_remarks import remarks
from twogauge.service.law import law_of_records

if TYPE_CHECKING:
    from twogauge.packs.compile import Program

_LAW: Final = "Who must keep such a log, for how long and what else belongs into it is said by the law of the place."
_SCALE: Final = "Amounts are what the scale showed; what stays in hoses and oil is not in them."


def for_customer(sheet: Sheet, units: UnitSet, program: Program) -> Page:
    """Return the page for the customer: what was found, what was done, and how it is now.

    Args:
        sheet: what was read.
        units: the reader's.
        program: the rules in force, for comparing the first reading with the last.
    """
    machine = sheet.latest("machine") or "a machine"
    blocks: list[Block] = [Heading(1, f"Work on {machine}"), *_about(sheet)]
    readings = sheet.those("reading")
    if readings:
        blocks += [Heading(2, "What was found"), Paragraph((f"{_sentence(found(readings[0]))}.",))]
    done = sheet.those("part", "oil", "recovered", "charged")
    if done:
        blocks += [Heading(2, "What was done"), _list(done, units)]
    tests = sheet.those("test")
    if tests:
        blocks += [Heading(2, "What was tested"), _list(tests, units)]
    if len(readings) > 1:
        blocks += [Heading(2, "How it is now"), *_now(readings, program)]
    blocks += _not_applicable(sheet, units)
    notes = sheet.those("note")
    if notes:
        blocks += [Heading(2, "Notes"), _list(notes, units)]
    end = "" if sheet.closing is None else sheet.closing.at.strftime("%Y-%m-%d")
    blocks += _broken(sheet)
    blocks.append(Paragraph((f"Finished on {end}." if end else "This work is not finished yet.",)))
    return Page("job", f"Work on {machine}", tuple(blocks))


def for_log(sheet: Sheet, units: UnitSet) -> Page:
    """Return the log of refrigerants: what was taken out and put in, when, by whom, and the tests for leaks.

    Args:
        sheet: what was read.
        units: the reader's.
    """
    machine = sheet.latest("machine") or "a machine"
    weighed, certificates = sheet.those(*WEIGHED), sheet.certificates
    rows = tuple(
        (
            (when(each),),
            (each.did,),
            (get(each.text("refrigerant")).title,),
            (show_mass(weight(each), units),),
            (each.text("cylinder"),),
            (each.by,),
            (each.text("certificate") or certificates.get(each.by, ""),),
        )
        for each in weighed
    )
    leaks = [each for each in sheet.those("test") if each.text("test") in LEAK_TESTS]
    tests = tuple(
        (
            (when(each),),
            (TESTS[each.text("test")],),
            (each.text("result"),),
            (each.text("note"),),
            (each.by,),
            (each.text("certificate") or certificates.get(each.by, ""),),
        )
        for each in leaks
    )
    blocks: list[Block] = [Heading(1, f"Refrigerant log: {machine}"), *_about(sheet)]
    blocks.append(Heading(2, "Taken out and put in"))
    if rows:
        head = ("when", "what", "refrigerant", "amount", "cylinder", "who", "certificate")
        blocks += [Table(head, rows), Items(tuple((line,) for line in _totals(sheet, units))), Paragraph((_SCALE,))]
    else:
        blocks.append(Paragraph(("Nothing.",)))
    blocks.append(Heading(2, "Tests for leaks"))
    if tests:
        blocks.append(Table(("when", "test", "result", "note", "who", "certificate"), tests))
    else:
        blocks.append(Paragraph(("None stands in the sheet.",)))
    blocks += _not_applicable(sheet, units)
    struck = sheet.struck
    if struck:
        told = [
            f"entry {i}, {when(each)}: {sentence(each, units)}: {struck[i]}"
            for i, each in enumerate(sheet.entries, start=1)
            if i in struck
        ]
        blocks += [Heading(2, "Struck out"), Items(tuple((line,) for line in told))]
    marked = remarks(sheet)
    if marked:
        told = [f"entry {each.entry}, {when(sheet.entries[each.entry - 1])}: {each.sentence}" for each in marked]
        blocks += [Heading(2, "Worth a second look"), Items(tuple((line,) for line in told))]
    blocks += _broken(sheet)
    missing = _missing(sheet, weighed, leaks)
    if missing:
        blocks += [Heading(2, "Missing"), Items(tuple((line,) for line in missing))]
    places = "; ".join(f"{each.place}: {each.text}" for each in law_of_records())
    blocks.append(Paragraph((f"{_LAW} Known here, from memory: {places}.",)))
    return Page("log", f"Refrigerant log: {machine}", tuple(blocks))


def _broken(sheet: Sheet) -> list[Block]:
    """Return what of the sheet could not be read; a report that is silent about it would be a wrong one."""
    if not sheet.problems:
        return []
    told = [f"{each}" for each in sheet.problems]
    return [Heading(2, "What of the sheet could not be read"), Items(tuple((line,) for line in told))]


def _about(sheet: Sheet) -> list[Block]:
    names = {
        "customer": "Customer",
        "place": "Place",
        "machine": "Machine",
        "system": "Kind",
        "refrigerant": "Refrigerant on the label",
        "charge": "Charge on the label",
    }
    rows = [
        ((title,), (sheet.latest(key).replace("_", " " if key == "system" else "_"),)) for key, title in names.items()
    ]
    rows = [row for row in rows if row[1][0]]
    if sheet.entries:
        readable = [each for each in sheet.entries if each.did != UNREADABLE]
        rows.append((("From",), (when(readable[0]),)))
        rows.append((("To",), (when(readable[-1]),)))
    return [Table(("", ""), tuple(rows))]


def _not_applicable(sheet: Sheet, units: UnitSet) -> list[Block]:
    """Return the steps of plans that were left out with a reason, as far as no later tick says otherwise."""
    left = [
        each
        for each in sheet.those("step")
        if sheet.not_applicable(each.text("plan")).get(each.text("step"), "") == each.text("not_applicable") != ""
    ]
    return [Heading(2, "Steps that do not apply"), _list(left, units)] if left else []


def _list(entries: list[Entry] | tuple[Entry, ...], units: UnitSet) -> Items:
    return Items(tuple((f"{when(each)}: {sentence(each, units)}",) for each in entries))


def _now(readings: tuple[Entry, ...], program: Program) -> list[Block]:
    first, last = readings[0], readings[-1]
    blocks: list[Block] = [Paragraph((f"{when(last)}: {found(last)}.",))]
    try:
        before, after = (Reading(each.told["reading"]) for each in (first, last))
        for reading in (before, after):
            diagnose(reading, program=program)
    except InputError:  # a reading of older rules, or written by hand: the sheet keeps what was said of it
        return blocks
    from twogauge.output.compare import headline, plain_rows  # noqa: PLC0415 - only reports with two readings
    from twogauge.service.compare import compare  # noqa: PLC0415

    compared = compare(before, after, program)
    rows = tuple(tuple((cell,) for cell in row) for row in plain_rows(compared))
    blocks.append(Paragraph((f"{headline(compared)}.",)))
    if len(rows) > 1:
        blocks.append(Table(tuple(cell[0] for cell in rows[0]), rows[1:]))
        if any("*" in row[0][0] for row in rows):
            blocks.append(
                Paragraph(("*: moves with the weather or with another refrigerant too; go by the others.",))
            )
    if not compared.fair:
        blocks.append(Paragraph(("The two readings were not taken under the same conditions.",)))
    return blocks


def _totals(sheet: Sheet, units: UnitSet) -> list[str]:
    return [
        f"{get(name).title} {did} in all: {show_mass(kg, units)}"
        for did in WEIGHED
        for name, kg in sheet.total(did).items()
    ]


def _missing(sheet: Sheet, weighed: tuple[Entry, ...], leaks: list[Entry]) -> list[str]:
    told = []
    certificates = sheet.certificates
    without = dict.fromkeys(
        each.by for each in weighed if not each.text("certificate") and each.by not in certificates
    )
    told += [f"the number of the certificate of {name}" for name in without]
    if any(each.did == "charged" for each in weighed) and not leaks:
        told.append(f"a test for leaks ({', '.join(TESTS[name] for name in LEAK_TESTS)})")
    elif leaks and leaks[-1].text("result") != "passed":
        told.append("a test for leaks that was passed")
    recovered, charged = sheet.total("recovered"), sheet.total("charged")
    told += [f"what was taken out ({get(name).title} on the label)" for name in _changed(sheet, recovered, charged)]
    return told


def _changed(sheet: Sheet, recovered: dict[str, float], charged: dict[str, float]) -> list[str]:
    """Return the refrigerant of the label, if another was put in and nothing of it was taken out."""
    label = sheet.latest("refrigerant")
    if not label:
        return []
    name = get(label).id
    return [name] if charged and name not in charged and name not in recovered else []


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
