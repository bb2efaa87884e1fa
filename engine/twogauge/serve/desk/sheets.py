"""Job sheets on a page: text in, text out; what an entry of each kind asks for, and what is made of it.

Nothing is kept here: the sheet travels with the form, and the browser keeps it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from twogauge import refrigerants
from twogauge.cli.job import diagnosed, entry_of, step_of
from twogauge.errors import InputError
from twogauge.fields import FIELDS
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError
from twogauge.serve.desk.asked import Trouble
from twogauge.serve.desk.sent import reading_of
from twogauge.serve.labels import label_of, word_of
from twogauge.serve.typed import Typed
from twogauge.serve.view import FieldView
from twogauge.service.job import KINDS, RESULTS, TESTS, Sheet
from twogauge.service.job_file import added, begun
from twogauge.service.job_remarks import remarks

NAME: Final = "sheet"  # in messages, and of the control that holds it
OPENED: Final = "opened"
# Of an entry of any kind.
COMMON: Final = (
    ("by", "Who did it", "a name or a bay; needed"),
    ("certificate", "Certificate", "its number; once is enough"),
    ("at", "When", "such as 2026-06-22T09:10; else now"),
)
_ABOUT: Final = {
    "amount": "with its unit, such as 1.9 lb or 3 fl oz",
    "charge": "on the label, with its unit",
    "cylinder": "into or out of which one",
    "entry": "its number in the list",
    "not_applicable": "only if it does not apply here: why",
    "reading": "the address of a saved diagnosis, or lines of 'field: value'",
    "refrigerant": "of the label, or what was weighed",
}
_LEFT_OUT: Final = frozenset({"diagnosis", "showed", "plan", "metering"})  # made here, or out of a file


@dataclass(frozen=True, slots=True)
class Group:
    """The fields of one kind of entry.

    Attributes:
        did: a word of KINDS.
        title: what it is for.
        fields: to be filled in.
    """

    did: str
    title: str
    fields: tuple[FieldView, ...]


def groups(told: Mapping[str, str], program: Program, *, begins: bool) -> tuple[Group, ...]:
    """Return what can be added.

    Args:
        told: what was typed, by control.
        program: the rules in force.
        begins: whether there is no sheet yet, so that one can only be begun.
    """
    kinds = [did for did in KINDS if (did == OPENED) is begins]
    return tuple(_group(did, told, program) for did in kinds)


def _group(did: str, told: Mapping[str, str], program: Program) -> Group:
    kind = KINDS[did]
    keys = [key for key in (*kind.needs, *kind.takes) if key not in _LEFT_OUT]
    keys += [] if "note" in keys else ["note"]
    title = f"{kind.about[:1].upper()}{kind.about[1:]}"
    return Group(did, title, tuple(_field(did, key, told, program) for key in keys))


def _field(did: str, key: str, told: Mapping[str, str], program: Program) -> FieldView:
    choices = _choices(key, program)
    kind = "lines" if key == "reading" else "choice" if choices else "text"
    needed = key in KINDS[did].needs or (did == OPENED and key == "machine")
    about = "; ".join(part for part in (_ABOUT.get(key, ""), "needed" if needed else "") if part)
    name = f"{did}.{key}"
    return FieldView(name, label_of(key), about, kind, Typed(told.get(name, "")), (), (), choices, "", ())


def _choices(key: str, program: Program) -> tuple[tuple[str, str], ...]:
    if key == "refrigerant":
        return tuple((each.id, each.title) for each in refrigerants.summaries())
    if key == "system":
        return tuple((word, word_of(word)) for word in FIELDS["system"].choices)
    if key == "test":
        return tuple(TESTS.items())
    if key == "result":
        return tuple((word, word) for word in RESULTS)
    if key == "step":
        return tuple(
            (f"{plan} {step}", f"{loaded.entry.title}: {word_of(step)}")
            for plan, loaded in program.stack.plans.items()
            for step in loaded.entry.steps
        )
    return ()


def written(did: str, told: Mapping[str, str], before: str, units: UnitSet, program: Program) -> tuple[str, Sheet]:
    """Return the sheet with one more entry, or a new one, as text and as it is read.

    Args:
        did: the kind of the entry.
        told: what was typed, by control.
        before: the sheet, or "".
        units: where a reading does not say.
        program: the rules in force.

    Raises:
        InputError: the entry or the sheet cannot be used.
        Trouble: the same, by control.
    """
    if did not in KINDS or (did == OPENED) is bool(before):
        raise InputError("begin a sheet first, then add to it" if did != OPENED else "there is a sheet already")
    if not told.get("by"):
        raise Trouble({"by": "Who did it? Write a name."})
    keys = [key for key in (*KINDS[did].needs, *KINDS[did].takes, "note") if key not in _LEFT_OUT]
    values: dict[str, Any] = {key: told[name] for key in keys if told.get(name := f"{did}.{key}")}
    missing = [key for key in KINDS[did].needs if key not in values and key not in _LEFT_OUT]
    if did == OPENED and "machine" not in values:
        missing.append("machine")
    if missing:
        raise Trouble({f"{did}.{key}": "This is needed." for key in missing})
    if did == "reading":
        name = f"{did}.reading"
        try:
            values.update(diagnosed(reading_of(name, values["reading"], units, program), program))
        except ReadingError as error:
            raise Trouble({name: " ".join(f"{each.message}." for each in error.troubles)}) from None
    if did == "step":
        plan, _, step = values["step"].partition(" ")
        values.update(step_of({"plan": plan, "step": step}, program))
    note = values.pop("note", None)
    entry = entry_of(
        did, values, by=told["by"], certificate=told.get("certificate"), at=told.get("at") or None, note=note
    )
    return begun(NAME, entry) if did == OPENED else added(NAME, before.encode(), entry)


def remarks_on_the_last(sheet: Sheet) -> list[str]:
    """Return what looks odd about the entry that was added last; it is kept all the same."""
    return [each.sentence for each in remarks(sheet) if each.entry == len(sheet.entries)]
