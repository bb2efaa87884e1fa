"""What was typed on a page, as it stands in the address, and what a command is called with for it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import urlencode

from twogauge.errors import FileProblems, InputError, RangeError, shown
from twogauge.output.signs import with_signs
from twogauge.quantities import UnitSet
from twogauge.serve.desk.controls import Control
from twogauge.serve.desk.tools import Text
from twogauge.serve.desk.wording import Wording, sentence
from twogauge.serve.subject import subject_of
from twogauge.serve.typed import Typed, cleaned, told_of, turned, typed_of, unit_set
from twogauge.serve.units import units_of, usual_unit
from twogauge.serve.view import FieldView

MOST_TEXT: Final = 400_000  # characters of a pasted text
_MOST_LINES: Final = 50
_MOST_PROBLEMS: Final = 5
_BEGIN: Final = re.compile(r"^(?:--)?([a-z][a-z_-]*): ")  # of a sentence: what it is about
_WITH: Final = re.compile(r"[;,] with --([a-z-]+)")  # where another option is given


@dataclass(frozen=True)
class Asked:
    """What was typed.

    Attributes:
        controls: of the page.
        units: the set that fields begin with, and that answers are printed in.
        values: name -> what was typed; only what says something.
        texts: name -> a pasted text.
        aside: names of those that stand in no address.
    """

    controls: tuple[Control, ...]
    units: UnitSet
    values: Mapping[str, Typed] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    aside: frozenset[str] = frozenset()

    @classmethod
    def read(
        cls,
        pairs: Iterable[tuple[str, str]],
        controls: tuple[Control, ...],
        units: UnitSet,
        texts: tuple[Text, ...] = (),
    ) -> Asked:
        """Read the pairs of an address or a form; a later value of one name counts, unless it is empty; ticks add up.

        Args:
            pairs: names and values.
            controls: of the page.
            units: where the pairs do not say.
            texts: that may be pasted.
        """
        told: dict[str, str] = {}
        pasted = [each.name for each in texts]
        long = {*pasted, *(each.name for each in controls if each.kind in {"lines", "ticks"})}
        ticked = {each.name for each in controls if each.kind == "ticks"}
        for name, value in pairs:
            if name in ticked and told.get(name):
                told[name] = "\n".join(dict.fromkeys([*told[name].split("\n"), *plain_lines(value).split("\n")]))
            elif value.strip() or name not in told:
                told[name[:100]] = plain_lines(value) if name in long else cleaned(value)
        wanted = unit_set(told.get("units", ""), units)
        before = unit_set(told.get("units.was", ""), wanted)
        values = {}
        for each in controls:
            found = typed_of(each.known, told, before) if each.kind == "number" else Typed(told.get(each.name, ""))
            if wanted is not before and each.kind == "number":
                found = turned(each.known, found, usual_unit(each.known, wanted))
            if found.whole:
                values[each.name] = found
        return cls(
            controls,
            wanted,
            values,
            {name: told[name] for name in pasted if told.get(name)},
            frozenset(each.name for each in texts if each.aside),
        )

    @property
    def says_nothing(self) -> bool:
        """Whether nothing but units was told."""
        return not (self.values or self.texts)

    def query(self) -> str:
        """Return the query of the address that leads back to this."""
        told = [("units", self.units.value)]
        told += [(each.name, self.values[each.name].whole) for each in self.controls if each.name in self.values]
        return urlencode([*told, *((name, text) for name, text in self.texts.items() if name not in self.aside)])

    def given(self) -> dict[str, Any]:
        """Return what the command is called with.

        Raises:
            Trouble: what is missing, or is not among the choices.
        """
        given: dict[str, Any] = {"units": self.units}
        troubles: dict[str, str] = {}
        for each in self.controls:
            typed = self.values.get(each.name)
            if typed is None:
                if each.required:
                    troubles[each.name] = "This is needed."
                continue
            if each.kind == "flag":
                given[each.name] = True
            elif each.kind in {"lines", "ticks"}:
                given[each.name] = [line for line in typed.text.split("\n") if line.strip()][:_MOST_LINES]
            elif each.words is not None:
                word = next((word for word in each.words if word.value == typed.text), None)
                if word is None:
                    troubles[each.name] = f"{shown(typed.text)} is not one of the choices."
                given[each.name] = word
            else:
                given[each.name] = told_of(each.known, typed)
        if troubles:
            raise Trouble(troubles)
        return given

    def told(self, texts: Iterable[Text]) -> tuple[tuple[str, str], ...]:
        """Return (label, value) of what was typed, as it is read.

        Args:
            texts: that may be pasted; one that is only aside is left out.
        """
        fields = [(each, self.values[each.name].whole) for each in self.controls if each.name in self.values]
        typed = [(each.label, with_signs(dict(each.choices).get(value, value))) for each, value in fields]
        pasted = [(each.label, self.texts[each.name]) for each in texts if each.name in self.texts and not each.aside]
        return (*typed, *pasted)

    def views(self, troubles: Mapping[str, str]) -> dict[str, FieldView]:
        """Return what the form shows, by name.

        Args:
            troubles: name of a control -> sentence.
        """
        return {each.name: self._view(each, troubles.get(each.name, "")) for each in self.controls}

    def _view(self, control: Control, trouble: str) -> FieldView:
        known = control.known
        typed = self.values.get(known.name) or Typed("", usual_unit(known, self.units))
        here = by_option(self.controls)
        about = _WITH.sub(lambda match: match[0] if match[1] in here else "", known.about)
        about = Wording(here).plain(about)
        about = f"{about}; needed" if control.required else about
        offered = units_of(known) if control.kind == "number" else ()
        return FieldView(
            *(known.name, control.label, about, control.kind, typed, offered, (), control.choices, ""),
            (trouble,) if trouble else (),
        )


class Trouble(Exception):  # noqa: N818 - what is told beside the fields, not a fault
    """What keeps a page from answering: name of a control -> sentence; under "" what belongs to none."""

    def __init__(self, troubles: Mapping[str, str]) -> None:
        super().__init__("; ".join(troubles.values()))
        self.troubles = dict(troubles)


def plain_lines(text: str) -> str:
    """Return pasted text with plain line ends, without control characters, of bounded length."""
    lines = text[:MOST_TEXT].replace("\r\n", "\n").replace("\r", "\n").replace("\t", "    ")
    return "".join(c if c.isprintable() or c == "\n" else " " for c in lines).strip("\n")


def beside(error: InputError | RangeError, asked: Asked) -> dict[str, str]:
    """Return what an error says, under the name of the control that it belongs to.

    Args:
        error: that the command raised.
        asked: what it was asked.
    """
    if isinstance(error, FileProblems) and error.problems[0].place.path in asked.texts:
        problems = error.problems[:_MOST_PROBLEMS]
        said = [f"Line {each.place.line}: {with_signs(each.message)}." for each in problems]
        more = len(error.problems) - len(said)
        return {error.problems[0].place.path: " ".join([*said, *([f"And {more} more."] if more else [])])}
    options = by_option(asked.controls)
    values = {each.name: _whole(asked, each).split("\n") for each in asked.controls}
    name = subject_of(error, values, {option: name for option, (name, _) in options.items()})
    message = str(error)
    head = _BEGIN.match(message)
    if head and (head[1].replace("_", "-") in options or head[1].replace("-", "_") in values):
        message = message[head.end() :]
    return {name: in_our_words(message, asked.controls)}


def by_option(controls: Iterable[Control]) -> dict[str, tuple[str, str]]:
    """Return option of the command line -> (name, label) of the control that stands for it."""
    return {each.flag: (each.name, each.label) for each in controls if each.flag}


def in_our_words(message: str, controls: Iterable[Control]) -> str:
    """Return a sentence that names controls where the command line names options."""
    return sentence(Wording(by_option(controls)).plain(message))


def _whole(asked: Asked, control: Control) -> str:
    typed = asked.values.get(control.name)
    return "" if typed is None else typed.whole
