"""`twogauge rules new` without options: a rule by question and answer.

The state machine: it hears a line and says lines, and knows neither terminal nor keyboard (dialogue.py does). Whoever
stops early can be told the options that stand for what was typed, so nothing is lost.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from twogauge.errors import InputError, did_you_mean, shown
from twogauge.packs.compile import REFERENCE, Program
from twogauge.packs.draft import answers_of, known_names, raw_pressures
from twogauge.packs.draft_text import Draft, spaced, two_ends
from twogauge.packs.in_force import Stack
from twogauge.packs.model import ID
from twogauge.packs.thresholds import si_of
from twogauge.packs.words import weight
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES

HELP: Final = "? what can be typed here   b back   q stop, nothing is written"
_LISTED: Final = 12

# How often a sound machine shows the sight, and what that says about nothing being wrong.
_SOUND: Final = {"often": "", "sometimes": "slightly against", "hardly_ever": "against", "never": "strongly against"}


@dataclass(frozen=True)
class Told:
    """What was told so far; None is not told yet."""

    folder: str | None = None
    rule: str | None = None
    name: str | None = None
    question: str | None = None  # of a new check
    test: Mapping[str, str | tuple[str, str]] | None = None
    says: Mapping[str, str] | None = None
    says_done: bool = False
    sound: str | None = None
    because: str | None = None
    source: str | None = None


class Interview:
    """The questions and answers; hears lines and says lines.

    Args:
        program: the rules that the new one will lie on.
        folder: of the pack, if it was named already.
    """

    def __init__(self, program: Program, folder: str | None = None) -> None:
        self.program = program
        self._states = [Told(folder=folder)]
        self._names = {n: about for n, about in known_names(program).items() if n not in set(raw_pressures())}
        self._near: list[str] = []  # names that the last answer may have meant, to be chosen by number
        self.stopped = False

    @property
    def told(self) -> Told:
        """What was told so far."""
        return self._states[-1]

    @property
    def step(self) -> int:
        """Which question this is; the first is 1."""
        return len(self._states)

    @property
    def stack(self) -> Stack:
        """The entries in force."""
        return self.program.stack

    @property
    def done(self) -> bool:
        """Whether nothing is left to ask."""
        return self._key() == "" or self.stopped

    def draft(self) -> Draft | None:
        """Return the rule as far as it was told; None for a pack without one."""
        told = self.told
        if not told.rule or told.name is None:
            return None
        return Draft(
            told.rule,
            told.name,
            told.test or {},
            self._says(),
            because=told.because or "",
            source=told.source or "",
            question=told.question or "",
        )

    def _says(self) -> dict[str, str]:
        against = _SOUND.get(self.told.sound or "", "")
        return {**(self.told.says or {}), **({self._nothing_wrong: against} if against else {})}

    @property
    def _nothing_wrong(self) -> str:
        return next(each.id for each in self.program.hypotheses if each.nothing_wrong)

    def command(self) -> str:
        """Return the command that stands for what was told, to go on from there."""
        told, words = self.told, ["twogauge", "rules", "new"]
        words += [told.folder] if told.folder else []
        words += ["--rule", told.rule] if told.rule else []
        words += ["--when", told.name] if told.name else []
        words += ["--ask", told.question] if told.question else []
        for key, value in (told.test or {}).items():
            words += [f"--{key.replace('_', '-')}", value if isinstance(value, str) else "..".join(value)]
        for fault, weighed in self._says().items():
            words += ["--says", f"{fault}={weighed}"]
        words += ["--because", told.because] if told.because else []
        words += ["--source", told.source] if told.source else []
        return shlex.join(words)

    # -- what is asked ------------------------------------------------------------------------------------------

    def _key(self) -> str:
        """Return which question is open; "" for none."""
        told = self.told
        if told.folder is None:
            return "folder"
        if told.rule is None:
            return "rule"
        if not told.rule:
            return ""
        if told.name is None:
            return "name"
        if told.question == "":
            return "question"
        if told.test is None:
            return "test"
        if not told.says_done:
            return "says"
        if told.sound is None and self._nothing_wrong not in (told.says or {}):
            return "sound"
        if told.because is None:
            return "because"
        return "source" if told.source is None else ""

    def ask(self) -> tuple[str, ...]:
        """Return the open question, and how it may be answered."""
        told = self.told
        one, other, *_ = sorted(self.program.hypotheses, key=lambda each: (each.nothing_wrong, -each.prior, each.id))
        match self._key():
            case "folder":
                return ("In which folder is your pack, or shall it be?", "Only Enter: our_shop")
            case "rule":
                return (
                    "What is the rule called? Name what is seen, in small letters joined by _.",
                    "Such as hose_is_warm; only Enter makes the pack without a rule",
                )
            case "name":
                return (
                    "What does it look at? Type a quantity or a check, or a part of its name.",
                    f"Such as superheat, high_side_level, {next(iter(self.program.answers))}; new makes a check",
                )
            case "question":
                return ("Ask it so that yes or no is the answer, as you would ask a colleague.",)
            case "test":
                return self._ask_test()
            case "says" if not told.says:
                return (
                    "Which fault does it speak for or against, and how strongly?",
                    f"Such as: {one.id} for; or: {other.id} strongly against (slightly, plain, strongly, decisively)",
                )
            case "says":
                return ("Another fault? Only Enter if that is all.",)
            case "sound":
                return ("Does a sound machine show this too?", *_numbered(tuple(_SOUND)))
            case "because":
                return (
                    "Why? One or two sentences, printed with the diagnosis.",
                    f"{{{told.name}}} in it becomes the value; only Enter for a plain sentence",
                )
        return ("Where do you know it from?", "A document, common practice, our own log; only Enter: from memory")

    def _ask_test(self) -> tuple[str, ...]:
        words = self._answers()
        if words:
            return (f"When does it count? {self.told.name} is:", *_numbered(words))
        dimension = QUANTITIES[str(self.told.name)].dimension
        example = _EXAMPLES.get(dimension, "above 3")
        return ("When does it count? Type above, below or between, with the unit.", f"Such as: {example}")

    def _answers(self) -> tuple[str, ...]:
        return ("yes", "no") if self.told.question else answers_of(str(self.told.name), self.program)

    # -- what is heard ------------------------------------------------------------------------------------------

    def hear(self, line: str) -> tuple[str, ...]:
        """Take one line in and return what to say to it."""
        text = " ".join(line.split())
        word = text.casefold()
        key = self._key()
        if word in {"q", "quit", "exit"}:
            self.stopped = True
            return ()
        if word in {"b", "back"}:
            if len(self._states) == 1:
                return ("This is where it began; there is no step to go back.",)
            self._states.pop()
            self._near = []
            return ("One step back.",)
        if word in {"?", "h", "help"}:
            return self._help(key)
        hearing: dict[str, Callable[[str], Told]] = {
            "folder": self._folder,
            "rule": self._rule,
            "name": self._name,
            "question": self._question,
            "test": self._test,
            "says": self._say,
            "sound": self._sound,
            "because": self._because,
            "source": lambda said: replace(self.told, source=said),
        }
        try:
            self._states.append(hearing[key](text))
        except InputError as error:
            return tuple(str(error).splitlines())
        self._near = []
        return ()

    def _because(self, text: str) -> Told:
        for name in REFERENCE.findall(text):
            if name not in self._names:
                near = did_you_mean(name, self._names, 1)
                hint = f"did you mean {{{near[0]}}}?" if near else "leave the braces out, or name what is to be shown"
                raise InputError(f"{{{name}}} is no quantity or check whose value could be put there; {hint}")
        if set("{}") & set(REFERENCE.sub("", text)):
            raise InputError("a brace stands alone; {name} puts a value there, and nothing else needs braces")
        return replace(self.told, because=text)

    def _help(self, key: str) -> tuple[str, ...]:
        if key == "name":
            return tuple(f"{name}: {about}" for name, about in self._names.items())
        if key == "says":
            return tuple(f"{name}: {fault.entry.title}" for name, fault in self.stack.faults.items())
        return (*self.ask(), HELP)

    def _folder(self, text: str) -> Told:
        return replace(self.told, folder=text or "our_shop")

    def _rule(self, text: str) -> Told:
        word = text.casefold().replace("-", "_").replace(" ", "_")
        if word and re.fullmatch(ID, word) is None:
            raise InputError(f"{shown(text)} cannot name a rule; use small letters and digits, words joined by _")
        if word in {**self.stack.rules, **self.stack.gates, **self.stack.checks, **self.stack.faults}:
            raise InputError(
                f"{word} exists already; to change it write 'adjust' into the pack, or take another name"
            )
        return replace(self.told, rule=word)

    def _name(self, text: str) -> Told:
        word = text.casefold().replace("-", "_").replace(" ", "_")
        if word == "new":
            return replace(self.told, name=f"{self.told.rule}_seen", question="")
        if text.isdecimal() and 1 <= int(text) <= len(self._near):
            word = self._near[int(text) - 1]
        if word in raw_pressures():
            raise InputError(
                f"{word} as a raw pressure means something for one refrigerant only; take {word}_level, or a saturation"
            )
        if word in self._names:
            return replace(self.told, name=word)
        parts = [name for name in self._names if word and word in name] or list(did_you_mean(word, self._names, 5))
        if not word or not parts:
            raise InputError(f"{shown(text)} is neither a quantity nor a check; ? lists them, new makes a check")
        self._near = parts[:_LISTED]
        told = "\n".join(f"{i}. {name}: {self._names[name]}" for i, name in enumerate(self._near, start=1))
        raise InputError(f"Which of these? Type its number or its name.\n{told}")

    def _question(self, text: str) -> Told:
        if len(text) < 5:
            raise InputError("type the question, such as: Are the fins laid flat?")
        return replace(self.told, question=text)

    def _test(self, text: str) -> Told:
        words = self._answers()
        if words:
            return replace(self.told, test={"is": _chosen(text, words)})
        name = str(self.told.name)
        found = re.fullmatch(r"(above|over|below|under|between)\s+(\S.*)", text, re.IGNORECASE)
        if found is None:
            example = _EXAMPLES.get(QUANTITIES[name].dimension, "above 3")
            raise InputError(f"{shown(text)}: begin with above, below or between, such as: {example}")
        key = {"over": "above", "under": "below"}.get(found[1].lower(), found[1].lower())
        ends = two_ends(found[2]) if key == "between" else (spaced(found[2]),)
        for end in ends:
            si_of(end, QUANTITIES[name].dimension)
        return replace(self.told, test={key: (ends[0], ends[-1]) if key == "between" else ends[0]})

    def _say(self, text: str) -> Told:
        said = dict(self.told.says or {})
        if not text:
            if not said:
                raise InputError("a rule must speak for or against something; ? lists the faults")
            return replace(self.told, says_done=True)
        name, _, rest = text.replace("=", " ").partition(" ")
        fault = name.casefold().replace("-", "_")
        if fault not in self.stack.faults:
            near = did_you_mean(fault, self.stack.faults, 3) or [n for n in self.stack.faults if fault in n]
            hint = f"did you mean {' or '.join(map(repr, near))}?" if near else "? lists the faults"
            raise InputError(f"{shown(name)} is not a fault known here; {hint}")
        told = " ".join(rest.casefold().removeprefix("plain ").removeprefix("plainly ").split()) or "for"
        try:
            weight(told)
        except ValueError as error:
            raise InputError(str(error)) from None
        return replace(self.told, says={**said, fault: told})

    def _sound(self, text: str) -> Told:
        return replace(self.told, sound=_chosen(text, tuple(_SOUND)))


_EXAMPLES: Final = {
    Dimension.TEMPERATURE: "above 230 degF, or below 10 degC",
    Dimension.TEMPERATURE_DIFFERENCE: "above 15 K, or between 2 K and 6 K",
    Dimension.PRESSURE_DIFFERENCE: "above 20 psi",
    Dimension.FRACTION: "above 60 %",
    Dimension.DURATION: "below 3 min",
    Dimension.ROTATIONAL_SPEED: "above 1500 rpm",
    Dimension.NUMBER: "above 6",
}


def _numbered(words: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{i}. {word.replace('_', ' ')}" for i, word in enumerate(words, start=1))


def _chosen(text: str, words: Sequence[str]) -> str:
    """Return the word that was typed, by its number, in full or by its beginning.

    Raises:
        InputError: none of them.
    """
    if text.isdecimal() and 1 <= int(text) <= len(words):
        return words[int(text) - 1]
    word = "_".join(text.casefold().replace("-", "_").split())
    begins = [each for each in words if word and each.startswith(word)]
    if word in words or len(begins) == 1:
        return word if word in words else begins[0]
    near = did_you_mean(word, words, 1)
    hint = f"did you mean {near[0]!r}?" if near else f"type a number from 1 to {len(words)}, or the word"
    raise InputError(f"{shown(text)} is not an answer here; {hint}")
