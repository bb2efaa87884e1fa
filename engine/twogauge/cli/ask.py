"""`twogauge diagnose --ask`: one question at a time, the ranking anew after each answer.

`Walk` is the state machine: it hears a line and says lines, and knows neither terminal nor keyboard (ask_terminal.py
is the terminal around it). What to ask comes from next_checks.py; before it come the two gauges and what they need to
mean anything.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from twogauge.cli.keyboard import keep
from twogauge.diagnosis import Diagnosis, diagnose
from twogauge.errors import InputError, did_you_mean, shown
from twogauge.fields import FIELDS, UNKNOWN
from twogauge.files import write_atomically
from twogauge.next_checks import NextStep, next_checks, question_about
from twogauge.output.outlook import step_sentences
from twogauge.output.style import percent
from twogauge.packs.compile import Program
from twogauge.quantities import Dimension, UnitSet, symbol_for
from twogauge.reading import Reading

CLEAR: Final = 0.9  # a fault this probable and not contested is clear enough to act on
_SUFFIXES: Final = (".yaml", ".yml")
_LISTED: Final = 3
_LISTED_FROM: Final = 0.05

HELP: Final = """\
a number, or the word beside it, answers the question; so does the beginning of a word
35 psi, 2.4 bar, 90F, 22 to 45 psi: a measurement is told with its unit
? means not known, or cannot be looked at: it is not asked again
b goes back one step: the last answer is taken away
w tells what each answer would do
s FILE saves the reading as it is now; s! FILE writes over a file that is there
NAME=VALUE tells anything else: ambient=90F, or the id of a check and its answer
q stops here"""

_NOT_KNOWN: Final = frozenset(("?", UNKNOWN, "don't know", "dont know", "do not know", "not known", "skip"))
_BARE: Final = re.compile(r"[-+\u2212]?[\d.,]+(?:\s*(?:to|\.{2,3}|[-\u2013])\s*[-+\u2212]?[\d.,]+)?", re.IGNORECASE)


class Phase(Enum):
    """Where a walk is."""

    ASKING = "asking"
    PARTING = "parting"  # the answer is there; whether to save is asked
    OVER = "over"


@dataclass(frozen=True, slots=True)
class _State:
    """What is known at one step; nothing in it is ever changed."""

    given: Mapping[str, Any]
    reading: Reading


class Walk:
    """The questions and answers of one session; it hears lines and says lines.

    Args:
        given: a reading so far, as a file holds it.
        program: the rules.
        units: of bare numbers that are typed, and of what is printed.
        file_units: of bare numbers in `given`.
        folder: where a baseline of `given` is looked up.

    Raises:
        ReadingError: `given` is no reading.
    """

    def __init__(
        self,
        given: Mapping[str, Any],
        program: Program,
        *,
        units: UnitSet = UnitSet.US,
        file_units: UnitSet | None = None,
        folder: Path | None = None,
    ) -> None:
        self.program = program
        self.units = units
        self._file_units = units if file_units is None else file_units
        self._folder = folder
        plain = {name: value for name, value in given.items() if name != "units"}
        self._states = [_State(plain, self._reading(plain))]
        self._saved: Mapping[str, Any] = plain
        self._own_files: set[Path] = set()
        self._look()

    # -- what is known -----------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Diagnose what is known now, and choose the next question."""
        self.diagnosis: Diagnosis = diagnose(self.reading, program=self.program)
        self.question: NextStep | None = None if self.is_clear else self._next_question()
        self.phase = Phase.ASKING if self.question is not None else Phase.PARTING

    @property
    def reading(self) -> Reading:
        """The reading as it is now."""
        return self._states[-1].reading

    @property
    def step(self) -> int:
        """Which question this is; the first is 1."""
        return len(self._states)

    @property
    def unsaved(self) -> bool:
        """Whether something was typed that stands in no file."""
        return self._states[-1].given != self._saved

    @property
    def is_clear(self) -> bool:
        """Whether one answer is probable enough to act on, and nothing comes close to it."""
        found = self.diagnosis
        return found.verdict in {"fault", "normal"} and found.first.probability >= CLEAR

    @cached_property
    def _titles(self) -> dict[str, str]:
        return {name: loaded.entry.title for name, loaded in self.program.stack.faults.items()}

    def _next_question(self) -> NextStep | None:
        basic = self._basic()
        if basic is not None:
            return question_about(basic, self.diagnosis.reading, self.program)
        return next(iter(next_checks(self.diagnosis.reading, self.program, count=1)), None)

    def _basic(self) -> str | None:
        """Return what the gauges show, and then what is needed for a pressure to mean anything, if it is open."""
        parts = self.reading.parts
        read = {side for side in ("low_side", "high_side") if side in parts.numbers}
        wanted = ["low_side", "high_side"]
        wanted += ["refrigerant"] if read else []
        wanted += ["ambient"] if "high_side" in read else []
        given = self._states[-1].given
        known = {*parts.words, *parts.numbers, *(n for n in wanted if str(given.get(n)).casefold() == UNKNOWN)}
        return next((name for name in wanted if name not in known), None)

    # -- what is heard -----------------------------------------------------------------------------------------

    def hear(self, line: str) -> tuple[str, ...]:
        """Take one line in and return what to say to it."""
        text = " ".join(line.replace("\u2019", "'").split())
        word = text.casefold()
        if word in {"b", "back"}:
            return self.back()
        if match := re.fullmatch(r"(?:s|save)(!?)(?: (.+))?", text, re.IGNORECASE):
            return self.save(match[2] or "", replace=bool(match[1]))
        if word in {"h", "help"}:
            return tuple(HELP.splitlines())
        if self.phase is Phase.PARTING:
            return self._part(text)
        if word in {"q", "quit", "exit"}:
            self.phase = Phase.PARTING if self.unsaved else Phase.OVER
            return ()
        if self.question is None or not word:
            return ("Type an answer; h lists what else can be typed.",)
        if word in {"w", "why"}:
            return self._why(self.question)
        try:
            if word in _NOT_KNOWN:
                return self._put(self.question.name, UNKNOWN)
            if "=" in text:
                return self._tell(text)
            return self._put(self.question.name, self._answer(self.question, text))
        except InputError as error:
            return tuple(str(error).splitlines())

    def _part(self, text: str) -> tuple[str, ...]:
        """Hear whether and where to save at the end."""
        if text.casefold() in {"", "q", "quit", "exit", "n", "no"}:
            self.phase = Phase.OVER
            return ()
        try:
            if "=" in text:
                return self._tell(text)
        except InputError as error:
            return tuple(str(error).splitlines())
        if Path(text).suffix.casefold() not in _SUFFIXES:  # most likely an answer to a question that was not asked
            return ("To save, type a name that ends in .yaml; to leave it unsaved, only Enter; b goes back.",)
        said = self.save(text)
        if not self.unsaved:
            self.phase = Phase.OVER
        return said

    def back(self) -> tuple[str, ...]:
        """Take the last answer away and ask again as before."""
        if len(self._states) == 1:
            return ("This is where it began; there is no step to go back.",)
        self._states.pop()
        self._look()
        return ("One step back.",)

    def save(self, name: str, *, replace: bool = False) -> tuple[str, ...]:
        """Write the reading as it is now to a file that `twogauge diagnose FILE` reads."""
        if not name:
            return ("Name the file: s reading.yaml",)
        path = Path(name).expanduser()
        if path.exists() and path.resolve() not in self._own_files and not replace:
            return (f"{name} is there already; name another, or write over it with s! {name}",)
        try:
            write_atomically(path, self.document())
        except InputError as error:
            return (str(error),)
        self._own_files.add(path.resolve())
        self._saved = self._states[-1].given
        return (f"Saved. To go on from there: twogauge diagnose {name} --ask",)

    def recover(self) -> Path | None:
        """Write what stands in no file yet to a new one, and return its path; None where there is nothing.

        Raises:
            InputError: neither this folder nor the one for temporary files takes it.
        """
        if not self.unsaved:
            return None
        path = keep(self.document, ".yaml")
        self._saved = self._states[-1].given
        return path

    def document(self) -> str:
        """Return the reading as it is now as YAML, with its baseline inside."""
        import yaml

        class Plain(yaml.SafeDumper):
            """Writes no anchors: a reading may not hold any."""

            def ignore_aliases(self, _data: Any) -> bool:
                return True

        tree: dict[str, Any] = {"units": self._file_units.value, **self._states[-1].given}
        earlier = self.reading.baseline
        if earlier is not None:  # the path of a file would mean another file elsewhere
            tree["baseline"] = {"units": earlier.units.value, **_without_units(earlier.given)}
        return str(yaml.dump(tree, Dumper=Plain, sort_keys=False, allow_unicode=True, width=1000))

    # -- answers -----------------------------------------------------------------------------------------------

    def _answer(self, question: NextStep, text: str) -> str:
        """Return the word or the quantity that was meant.

        Raises:
            InputError: no answer to this question.
        """
        answers = question.answers
        if not answers:
            return text
        words = [answer for answer, _ in answers]
        if text.isdecimal():
            if 1 <= int(text) <= len(words):
                return words[int(text) - 1]
            raise InputError(f"There is no answer {shown(text)}; type a number from 1 to {len(words)}.")
        word = "_".join(text.casefold().replace("-", "_").split())
        word = {"y": "yes", "n": "no"}.get(word, word)
        begins = [each for each in words if each.startswith(word)]
        if word in words or len(begins) == 1:
            return word if word in words else begins[0]
        near = did_you_mean(word, words, 1)
        hint = f"did you mean {near[0]!r}?" if near else f"type its number, 1 to {len(words)}, or ? if not known"
        raise InputError(f"{shown(text)} is not an answer here; {hint}")

    def _tell(self, text: str) -> tuple[str, ...]:
        """Add something that was not asked for, NAME=VALUE.

        Raises:
            InputError: it cannot be used; nothing has changed.
        """
        name, _, value = (part.strip() for part in text.partition("="))
        return self._put(self._named(name), value)

    def _named(self, name: str) -> str:
        """Return the field or check of that name, as an option or as a key."""
        key = name.casefold().lstrip("-").replace("-", "_").replace(" ", "_")
        flags = {known.flag.replace("-", "_"): known.name for known in FIELDS.values()}
        key = flags.get(key, key)
        if key in FIELDS or key in self.program.answers:
            return key
        near = did_you_mean(key, [*FIELDS, *self.program.answers], 1)
        hint = f"did you mean {near[0]!r}?" if near else "`twogauge rules checks` lists the checks"
        raise InputError(f"{shown(name)} is neither a field nor a check known here; {hint}")

    def _put(self, name: str, value: str) -> tuple[str, ...]:
        """Add one answer and look again.

        Raises:
            InputError: it cannot be used; nothing has changed.
        """
        given = dict(self._states[-1].given)
        if name in FIELDS:
            given[name] = self._with_unit(name, value)
        else:
            under = given.get("checks")
            given.pop(name, None)
            given["checks"] = {**(under if isinstance(under, Mapping) else {}), name: value}
        before = self.reading.parts.notes
        reading = self._reading(given)
        reading.validate_checks(self.program.answers)
        self._states.append(_State(given, reading))
        self._look()
        return tuple(f"Mind: {note}." for note in reading.parts.notes if note not in before)

    def _with_unit(self, name: str, value: str) -> str:
        """Write the unit behind a bare number: the file may take it in another."""
        dimension = FIELDS[name].dimension
        if dimension in (None, Dimension.FRACTION) or _BARE.fullmatch(value) is None:
            return value
        return f"{value} {symbol_for(dimension or Dimension.NUMBER, self.units)}"

    def _reading(self, given: Mapping[str, Any]) -> Reading:
        reading = Reading(given, units=self._file_units, folder=self._folder)
        reading.units = self.units
        return reading

    # -- what is said ------------------------------------------------------------------------------------------

    def _why(self, question: NextStep) -> tuple[str, ...]:
        if not question.outcomes:
            return ("Without it the gauges say little.",)
        return step_sentences(question, self._titles)

    def leaders(self) -> str:
        """Return the most probable answers now, in one line."""
        found = self.diagnosis
        if found.verdict == "gated" and found.gates:
            return f"These readings say nothing yet: {found.gates[0].title}."
        listed = [r for r in found.ranking if r.probability >= _LISTED_FROM][:_LISTED] or [found.first]
        return "So far: " + ", ".join(f"{r.title} {percent(r.probability)}" for r in listed)

    def ending(self) -> str:
        """Return why no further question is asked."""
        if self.question is not None:
            return "Stopped."
        return "That is clear enough to act on." if self.is_clear else "Nothing else is worth asking for."


def _without_units(given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in given.items() if name != "units"}
