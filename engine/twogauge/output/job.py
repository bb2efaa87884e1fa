"""A job sheet for a person and as JSON.

`twogauge.job/1`: {schema, file, closed, machine, refrigerant, entries [{did, at, by, certificate or null, told {key:
text or mapping}}], recovered_kg {refrigerant: kg}, charged_kg {refrigerant: kg}, tests [{test, result, at, by}],
struck {number of an entry: why}, remarks [{entry, about "earlier", "future", "after_closed", "amount" or
"refrigerant", sentence}], unreadable [{entry or null, place, why, text or null}]}. `did` is "unreadable" and `at` null
where an entry cannot be read. Times are ISO 8601 with their zone; `told` is what stands in the sheet.
"""

from __future__ import annotations

from typing import Any, Final

from twogauge.output.paper import Paper, Table, number_or_none
from twogauge.output.style import percent
from twogauge.quantities import UnitSet, show_mass
from twogauge.refrigerants import get
from twogauge.service.job import KINDS, TESTS, UNREADABLE, Entry, Sheet, weight
from twogauge.service.job_remarks import remarks

SCHEMA: Final = "twogauge.job/1"


def document(sheet: Sheet) -> dict[str, Any]:
    """Return the document as dicts, lists, texts and numbers."""
    certificates = sheet.certificates
    return {
        "schema": SCHEMA,
        "file": sheet.name,
        "closed": sheet.closed,
        "machine": sheet.latest("machine") or None,
        "refrigerant": sheet.latest("refrigerant") or None,
        "entries": [
            {
                "did": each.did,
                "at": None if each.did == UNREADABLE else each.at.isoformat(),
                "by": each.by or None,
                "certificate": each.text("certificate") or certificates.get(each.by),
                "told": {key: value for key, value in each.told.items() if key != "certificate"},
            }
            for each in sheet.entries
        ],
        "recovered_kg": {name: number_or_none(kg) for name, kg in sheet.total("recovered").items()},
        "charged_kg": {name: number_or_none(kg) for name, kg in sheet.total("charged").items()},
        "tests": [
            {"test": each.text("test"), "result": each.text("result"), "at": each.at.isoformat(), "by": each.by}
            for each in sheet.those("test")
        ],
        "struck": {str(number): why for number, why in sheet.struck.items()},
        "remarks": [{"entry": each.entry, "about": each.about, "sentence": each.sentence} for each in remarks(sheet)],
        "unreadable": _unreadable(sheet),
    }


def write(page: Paper, sheet: Sheet, units: UnitSet) -> None:
    """Write what a person reads.

    Args:
        page: to write on.
        sheet: what was read.
        units: the reader's.
    """
    lost = sum(each.did == UNREADABLE for each in sheet.entries)
    unread = f", {lost} of them cannot be read" if lost else ""
    open_or_not = "finished" if sheet.closed else "open"
    count = len(sheet.entries)
    entries = f"{count} {'entry' if count == 1 else 'entries'}"
    page.answer(f"{sheet.latest('machine') or sheet.name}: {open_or_not}, {entries}{unread}")
    struck, marked = sheet.struck, remarks(sheet)
    numbers = {each.entry for each in marked}
    page.rows(
        Table(
            "Entries",
            [
                (
                    f"{i}!" if i in numbers else f"{i}",
                    when(each),
                    each.by,
                    f"STRUCK: {sentence(each, units)}" if i in struck else sentence(each, units),
                )
                for i, each in enumerate(sheet.entries, start=1)
            ],
            ("number", "when", "who", "what"),
        )
    )
    if marked:
        page.head("Worth a second look (!)")
        for remark in marked:
            page.say(f"entry {remark.entry}: {remark.sentence}")
    if sheet.problems:
        page.head("Cannot be read")
        for problem in sheet.problems:
            page.say(str(problem))
        page.say(f"All of it is still there: mend it by hand, or with `twogauge job mend {sheet.name}`.")
    totals = [
        f"{get(name).title} {did}: {show_mass(kg, units)}"
        for did in ("recovered", "charged")
        for name, kg in sheet.total(did).items()
    ]
    if totals:
        page.head("In all")
        for total in totals:
            page.say(total)


def when(entry: Entry) -> str:
    """Return the day and the time of an entry, in the zone it was written in."""
    if entry.did == UNREADABLE:
        return "?"
    return entry.at.strftime("%Y-%m-%d %H:%M")


def sentence(entry: Entry, units: UnitSet) -> str:
    """Return what an entry says, in words.

    Args:
        entry: of a sheet.
        units: the reader's.
    """
    note = entry.text("note")
    said = _said(entry, units)
    return f"{said} ({note})" if note and entry.did != "note" else said


def _said(entry: Entry, units: UnitSet) -> str:
    match entry.did:
        case "opened":
            label = [entry.text(key) for key in ("refrigerant", "charge") if entry.text(key)]
            told = [entry.text(key) for key in ("customer", "place", "system") if entry.text(key)]
            return ", ".join([f"opened for {entry.text('machine') or 'a machine'}", *told, *_label(label)])
        case "reading":
            return f"gauges read: {found(entry)}"
        case "test":
            return f"{TESTS[entry.text('test')]}: {entry.text('result')}"
        case "recovered" | "charged":
            way = "into" if entry.did == "recovered" else "out of"
            where = f", {way} {entry.text('cylinder')}" if entry.text("cylinder") else ""
            title = get(entry.text("refrigerant")).title
            return f"{show_mass(weight(entry), units)} of {title} {entry.did}{where}"
        case "part":
            return f"part: {entry.text('part')}"
        case "oil":
            return f"oil: {entry.text('amount')} of {entry.text('oil')}"
        case "step":
            step = f"step {entry.text('step')} of the plan {entry.text('plan')}"
            reason = entry.text("not_applicable")
            return f"not applicable: {step}: {reason}" if reason else f"done: {step}"
        case "reopened":
            return KINDS[entry.did].about
        case "unreadable":
            return f"CANNOT BE READ ({entry.text('place')}): {entry.text('text')}"
        case "note":
            return entry.text("note")
        case "strike":
            return f"entry {entry.text('entry')} does not count"
        case _:
            return KINDS[entry.did].about


def found(entry: Entry) -> str:
    """Return what the diagnosis of a reading was, in words."""
    told = entry.told.get("diagnosis", {})
    title = str(told.get("title", "")) if isinstance(told, dict) else ""
    try:
        chance = percent(float(str(told["probability"])))
    except (KeyError, TypeError, ValueError):
        chance = ""
    small = title[:1].lower() + title[1:]
    return {
        "fault": f"most likely {small}" + (f" ({chance})" if chance else ""),
        "normal": "nothing wrong with the refrigerant circuit that shows",
        "too_close": f"too close to call, {small} among them",
        "not_enough": "not enough to say what is wrong",
        "gated": "the readings say nothing yet",
    }.get(str(told.get("verdict", "")) if isinstance(told, dict) else "", "not diagnosed")


def _unreadable(sheet: Sheet) -> list[dict[str, Any]]:
    found = [
        {"entry": i, "place": each.text("place"), "why": each.text("why"), "text": each.text("text")}
        for i, each in enumerate(sheet.entries, start=1)
        if each.did == UNREADABLE
    ]
    told = {each["place"] for each in found}
    rest = [each for each in sheet.problems if str(each.place) not in told]
    return found + [{"entry": None, "place": str(e.place), "why": e.message, "text": None} for e in rest]


def _label(label: list[str]) -> list[str]:
    return [f"label: {' '.join(label)}"] if label else []
