"""Sentences of the command line as a page says them: signs, words and labels in place of what is typed there.

A name that a person must type stays as it is: what stands between backticks, a whole command, an id of the rules.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

from markupsafe import Markup, escape

from twogauge.fields import FIELDS
from twogauge.output.signs import with_signs
from twogauge.output.style import BEFORE_UNIT
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.quantity_table import QUANTITIES
from twogauge.serve.desk.lines import Place, end_of_command, place_of
from twogauge.serve.labels import label_of, word_of

# Words of choices and names of fields that do not read as words.
NAMES: Final = {
    **{name: name.replace("_", " ") for name in (*FIELDS, *QUANTITIES) if "_" in name},
    **{word: word_of(word) for known in FIELDS.values() for word in known.choices if "_" in word},
}
# An option that is a page of its own here.
_ELSEWHERE: Final = {"leave out --nitrogen": "take twogauge hold LOG", "--nitrogen": "twogauge hold LOG --nitrogen"}
_APART: Final = re.compile(r"(?<!LOG )--nitrogen\b|leave out --nitrogen\b")
_PART: Final = re.compile(
    r"`(?P<typed>[^`]+)`|(?P<command>\btwogauge [a-z])|--(?P<option>[a-z][a-z-]*)"
    r"|(?<![\w.-])(?P<name>[a-z]+(?:_[a-z]+)+)(?![\w-])"
)


def step_words(program: Program) -> dict[str, str]:
    """Return id -> words of all plans and of their steps, for who reads and does not type them."""
    plans = program.stack.plans
    names = {*plans, *(step for loaded in plans.values() for step in loaded.entry.steps)}
    return {name: word_of(name) for name in names if "_" in name}


def sentence(text: str) -> str:
    """Return a text as a sentence: with a capital, and with a mark at its end."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '?', '!')) else '.'}"


def _escaped(text: str) -> str:
    """Return escaped text in which a number keeps its unit beside it where a line ends."""
    return str(escape(with_signs(BEFORE_UNIT.sub("\u00a0", text))))


@dataclass(frozen=True)
class Wording:
    """How one page says what the command line says.

    Attributes:
        controls: option of the command line -> (name, label) of the control that stands for it here.
        units: in which pages that are linked to answer.
        here: path of the page; it does not lead to itself.
        names: more ids that are read as words here, such as those of steps.
    """

    controls: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    units: UnitSet = UnitSet.US
    here: str = ""
    names: Mapping[str, str] = field(default_factory=dict)

    def plain(self, text: str) -> str:
        """Return a sentence as text; labels and titles stand between quotes."""
        return self._worded(text, with_signs, self._plain_option, self._plain_command)

    def html(self, text: str) -> Markup:
        """Return a sentence as HTML, everything in it escaped; labels and titles are links."""
        return Markup(self._worded(text, _escaped, self._linked_option, self._linked_command))  # noqa: S704 - each part is escaped

    def _worded(
        self,
        text: str,
        shown: Callable[[str], str],
        option: Callable[[str], str],
        command: Callable[[str, str], str],
    ) -> str:
        text = _APART.sub(lambda match: _ELSEWHERE[match[0]], text)
        made, at = "", 0
        while found := _PART.search(text, at):
            made += shown(text[at : found.start()])
            at = found.end()
            if found["typed"]:
                made += command(found["typed"], found[0])
            elif found["command"]:
                end = end_of_command(text, found.start())
                at = max(end, at)
                whole = text[found.start() : at]
                made += command(whole, whole) if end > found.start() else shown(whole)
            elif found["option"]:
                made += option(found["option"])
            else:
                made += shown(self.names.get(found["name"]) or NAMES.get(found["name"], found["name"]))
        return made + shown(text[at:])

    def _label(self, option: str) -> str:
        known = self.controls.get(option)
        return known[1] if known else label_of(option.replace("-", "_"))

    def _plain_option(self, option: str) -> str:
        return f"'{self._label(option)}'"

    def _linked_option(self, option: str) -> str:
        known = self.controls.get(option)
        if known is None:
            return str(escape(self._plain_option(option)))
        return f'<a href="#f-{escape(known[0])}">{escape(known[1])}</a>'

    def _plain_command(self, line: str, written: str) -> str:
        place = self._elsewhere(line)
        return f"'{place.title}'" if place and not place.query else written

    def _linked_command(self, line: str, written: str) -> str:  # noqa: ARG002 - code needs no backticks
        place = self._elsewhere(line)
        code = f"<code>{escape(line)}</code>"
        if place is None:
            return code
        link = f'<a href="{escape(place.address)}">{escape(place.title)}</a>'
        return f"{link} ({code})" if place.query else link

    def _elsewhere(self, line: str) -> Place | None:
        place = place_of(line, self.units)
        return None if place is None or place.path == self.here else place


# On the pages of a reading, where every field has its control.
OF_A_READING: Final = Wording({known.flag: (name, label_of(name)) for name, known in FIELDS.items() if known.flag})
