"""A line of the command line as an address: which page does the same, with the options of the line filled in."""

from __future__ import annotations

import inspect
import re
import shlex
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, get_args
from urllib.parse import urlencode

from twogauge.fields import FIELDS
from twogauge.quantities import UnitSet
from twogauge.serve.desk.tools import COMPARE, EXPECT, HOLD, NITROGEN, OF_COMMANDS, PLAN, ROOT, TABLE, Tool

JOB: Final = f"{ROOT}/job"
BOOK: Final = f"{ROOT}/book/index.html"
_OF_TWO_WORDS: Final = {"fill": "cylinder", "identify": "cylinder"}
_TOOLS: Final[dict[tuple[str, ...], Tool]] = {
    **{(*_OF_TWO_WORDS.get(tool.name, "").split(), tool.name): tool for tool in OF_COMMANDS},
    **{(tool.name,): tool for tool in (EXPECT, TABLE, HOLD, COMPARE, PLAN)},
}
_OTHERS: Final = {"diagnose": ("/", "Diagnosis"), "job": (JOB, "Job sheet"), "rules": (BOOK, "Rule book")}
_SAID_ONCE: Final = frozenset({"ask", "verbose", "json", "brief", "nitrogen"})  # options without a value
_TO_BE_FILLED_IN: Final = re.compile(r"[A-Z]+")  # a word that stands for one, such as PRESSURE
# One more word of a command within a sentence: an option, its value, or what stands for a file or a refrigerant.
_MORE: Final = re.compile(r"""\s+(?:--([a-z][a-z-]*)|[A-Z][\w-]*(?:\.[a-z]+)?(?=$|[\s,;:.)'`]))""")
_VALUE: Final = re.compile(r"""(?:\s+|=)('[^']*'|"[^"]*"|[^\s,;()'"]*[^\s,;:.()'"])""")
_COMMAND: Final = re.compile(r"twogauge (cylinder [a-z]+|[a-z]+)")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a page does what a line of the command line does.

    Attributes:
        path: of the page, without what is filled in.
        title: of the page.
        query: what is filled in, "" for nothing.
    """

    path: str
    title: str
    query: str = ""

    @property
    def address(self) -> str:
        """The whole address."""
        return f"{self.path}?{self.query}#result" if self.query else self.path


def place_of(line: str, units: UnitSet) -> Place | None:
    """Return the page that does what a line does; None where no page does.

    A file that the line names is left out: on a page its text is pasted.

    Args:
        line: to be typed, quoted where a shell asks for it.
        units: in which the page is to answer, where the line does not say.
    """
    try:
        words = shlex.split(line)
    except ValueError:  # a quote is left open
        return None
    if words[:1] != ["twogauge"] or len(words) < 2:
        return None
    if words[1] in _OTHERS:
        path, title = _OTHERS[words[1]]
        return Place(path, title, _of_fields(words[2:], units) if path == "/" else "")
    tool = _TOOLS.get(tuple(words[1:2])) or _TOOLS.get(tuple(words[1:3]))
    if tool is None:
        return None
    rest = words[2 + (words[1] == "cylinder") :]
    if tool is HOLD and "--nitrogen" in rest:
        tool = NITROGEN
    return Place(tool.path, tool.title, _of_tool(tool, rest, units))


def end_of_command(text: str, start: int) -> int:
    """Return where a command within a sentence ends; `start` itself where no page does what it does.

    Args:
        text: a sentence.
        start: where "twogauge" stands in it.
    """
    found = _COMMAND.match(text, start)
    if found is None or place_of(found[0], UnitSet.US) is None:
        return start
    end = found.end()
    while more := _MORE.match(text, end):
        end = more.end()
        if more[1] and more[1] not in _SAID_ONCE and (value := _VALUE.match(text, end)):
            end = value.end()
    return end


def _of_tool(tool: Tool, words: list[str], units: UnitSet) -> str:
    arguments, options = _parameters(tool)
    plain, told = _sorted(words)
    pairs = [(name, value) for name, value in zip(arguments, plain, strict=False)]
    pairs += [(options[flag], value or "yes") for flag, value in told if flag in options]
    return _query([pair for pair in pairs if pair[0] in tool.shown or pair[0] == "units"], units)


def _of_fields(words: list[str], units: UnitSet) -> str:
    pairs: list[tuple[str, str]] = []
    for flag, value in _sorted(words)[1]:
        name = flag.replace("-", "_")
        check, equals, answer = value.partition("=")
        if name == "check" and equals:
            pairs.append((f"check.{check}", answer))
        elif name in FIELDS or name == "units":
            pairs.append((name, value))
    return _query(pairs, units)


def _query(pairs: list[tuple[str, str]], units: UnitSet) -> str:
    told: dict[str, str] = {}
    for name, value in pairs:
        if not _TO_BE_FILLED_IN.fullmatch(value):
            told[name] = f"{told[name]}\n{value}" if name in told else value
    if not told:
        return ""
    return urlencode({"units": units.value, **told})


def _sorted(words: list[str]) -> tuple[list[str], list[tuple[str, str]]]:
    """Return the words that stand alone, and (option, value) of the others."""
    plain: list[str] = []
    told: list[tuple[str, str]] = []
    rest = iter(words)
    for word in rest:
        flag, equals, value = word.removeprefix("--").partition("=")
        if not word.startswith("--"):
            plain.append(word)
        elif equals or flag in _SAID_ONCE:
            told.append((flag, value))
        else:
            told.append((flag, next(rest, "")))
    return plain, told


@cache
def _parameters(tool: Tool) -> tuple[tuple[str, ...], dict[str, str]]:
    """Return the names of what stands alone behind a command, in order, and option -> name of the others."""
    arguments: list[str] = []
    options: dict[str, str] = {}
    for name, each in inspect.signature(tool.command(), eval_str=True).parameters.items():
        info: Any = (*get_args(each.annotation), None, None)[1]
        declared = [
            part
            for part in (getattr(info, "default", None), *(getattr(info, "param_decls", None) or ()))
            if isinstance(part, str)
        ]
        flags = [part.removeprefix("--") for part in declared if part.startswith("--")]
        if flags:
            options |= dict.fromkeys(flags, name)
        elif type(info).__name__ == "ArgumentInfo":
            arguments.append(name)
    return tuple(arguments), options
