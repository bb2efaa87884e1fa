"""What the printed answers of the service commands share: headings, rows, numbered steps, sources and cautions."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from twogauge.output.style import Style

if TYPE_CHECKING:
    from twogauge.diagnosis import Warned
    from twogauge.refrigerants import Refrigerant
    from twogauge.service.facts import Source

_WORD: Final = re.compile(r"""(?:'[^']*'|"[^"]*"|\S)+""")


@dataclass(frozen=True, slots=True)
class Table:
    """A table; a terminal shows its rows, a page the whole of it.

    Attributes:
        title: what it is a table of.
        rows: of cells, the first of which names its row; a line feed parts what stands below each other in a cell.
        head: names of the columns, or none.
        commands: what to type to learn more about each row, or none; a page leads there.
    """

    title: str
    rows: Sequence[Sequence[str]]
    head: Sequence[str] = ()
    commands: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names, each with what is said of it.

    Attributes:
        title: what they are.
        pairs: of a name and a text.
        fine: whether they matter least, as sources do; a page shows them on demand.
    """

    title: str
    pairs: Sequence[tuple[str, str]]
    fine: bool = False


@dataclass(frozen=True, slots=True)
class Points:
    """A list without an order.

    Attributes:
        title: what it lists.
        points: sentences.
        care: whether these are cautions.
    """

    title: str
    points: Sequence[str]
    care: bool = False


class Paper:
    """Lines of one answer; a caution stands on it once.

    Args:
        style: how to print.
        verbose: cautions in full, and every source.
    """

    def __init__(self, style: Style, *, verbose: bool = False) -> None:
        self._style = style
        self.verbose = verbose
        self._lines: list[str] = []
        self._told: set[str] = set()

    def text(self) -> str:
        """Return all of it, ending with a line feed."""
        return "\n".join(self._lines) + "\n"

    def answer(self, sentence: str, hint: str = "") -> None:
        """Begin with what was asked for.

        Args:
            sentence: the answer.
            hint: what to type for more; of no use on a page.
        """
        whole = f"{sentence}: {hint}" if hint else sentence
        self._lines += [self._style.bold(line) for line in self._style.wrap(whole, "", "  ")]

    def about(self, sentence: str) -> None:
        """Begin with what the figures below are of."""
        self._lines += self._style.wrap(sentence, "", "  ")

    def head(self, title: str) -> None:
        """Begin a section."""
        self._lines += ["", self._style.bold(title)]

    def task(self, count: int, name: str, box: str) -> None:
        """Begin a section about something to be ticked off.

        Args:
            count: its place.
            name: its id.
            box: "x" once it is done, "-" where it does not apply, else " ".
        """
        self.head(f"[{box}] {count}. {name}")

    def laid_out(self, what: Table | Pairs | Points, lines: Callable[[Style], Iterable[str]]) -> None:  # noqa: ARG002 - for a page
        """Add what has a layout of its own on a terminal.

        Args:
            what: it is; a page makes a table or a list of it.
            lines: makes the lines of a terminal for a style.
        """
        self._lines += lines(self._style)

    def say(self, sentence: str, indent: str = "  ") -> None:
        """Add a sentence."""
        self._lines += self._style.wrap(sentence, indent)

    def command(self, lead: str, line: str) -> None:
        """Add a line to be typed; where it is too long it is broken so that it can still be copied into a shell.

        Args:
            lead: a word before it, such as "Type:".
            line: the command, quoted where a shell asks for it.
        """
        begin, rest = f"  {lead} ", " " * 6
        for word in _shell_words(self._style.clean(line)):
            if begin.strip() and len(begin) + len(word) + 2 > self._style.width and not begin.endswith(f"{lead} "):
                self._lines.append(f"{begin}\\")
                begin = rest
            begin += f"{word} "
        self._lines.append(begin.rstrip())

    def rows(self, table: Table, *, headed: bool = False) -> None:
        """Add a table without lines; the last column wraps under itself.

        Args:
            table: below a heading that says the same as its title.
            headed: whether a terminal shows the head too.
        """
        if not table.rows:
            return
        printed = [table.head, *table.rows] if headed else table.rows
        widths = [max(len(row[i]) for row in printed) for i in range(len(printed[0]) - 1)]
        for row in printed:
            begin = "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)) + "  "
            if row[-1]:
                self._lines += self._style.wrap_after(row[-1], begin)
            else:
                self._lines.append(begin.rstrip())

    def steps(self, steps: Iterable[tuple[str, Source | None]]) -> None:
        """Add numbered steps, each with its source where sources are wanted."""
        for count, (text, source) in enumerate(steps, start=1):
            self._lines += self._style.wrap(text, f"  {count:>2}. ", "      ")
            if source is not None:
                self.source(source, "      ")

    def item(self, begin: str, text: str, source: Source) -> None:
        """Add one item of a list, with who says so behind it."""
        named = first_source(source.text)
        behind = f" ({source})" if self.verbose else f" ({named})" if named else ""
        self._lines += self._style.wrap(text + behind, f"  {begin}", " " * (len(begin) + 2))

    def source(self, source: Source, indent: str = "    ") -> None:
        """Add a source, where sources are wanted."""
        if self.verbose:
            self._lines += [self._style.dim(line) for line in self._style.wrap(f"({source})", indent, indent + " ")]

    def note(self, sentence: str, hint: str = "") -> None:
        """Add what matters least.

        Args:
            sentence: to be told.
            hint: what to type for more; of no use on a page.
        """
        whole = f"{sentence}; {hint}" if hint else sentence
        self._lines += [self._style.dim(line) for line in self._style.wrap(whole, "  ")]

    def grade(self, refrigerant: Refrigerant) -> None:
        """Add how far the refrigerant's curve is confirmed, where that is not the best grade."""
        from twogauge.output.tables import grade_note  # noqa: PLC0415 - few answers need it

        if note := grade_note(refrigerant):
            self.note(note)

    def care(self, cautions: Iterable[Warned]) -> None:
        """Add the cautions that were not told yet."""
        new = [each for each in dict.fromkeys(cautions) if each.caution not in self._told]
        self._told.update(each.caution for each in new)
        if not new:
            return
        self._lines.append("  " + self._style.accent("Take care"))
        for each in new:
            if self.verbose:
                self._lines += self._style.wrap_led(each.text, "  ! ", "    ")
            else:
                self._lines += self._style.wrap(each.short, "  ! ", "    ")


def first_source(text: str) -> str:
    """Return the first of several sources; a semicolon within brackets parts none."""
    depth = 0
    for place, char in enumerate(text):
        depth += {"(": 1, ")": -1}.get(char, 0)
        if char == ";" and depth <= 0:
            return text[:place]
    return text


def _shell_words(line: str) -> list[str]:
    """Return the words of a command as they stand, an option together with its value, quotes not torn apart."""
    words = [match[0] for match in _WORD.finditer(line)]
    found: list[str] = []
    for word in words:
        if found and found[-1].startswith("--") and " " not in found[-1] and not word.startswith("--"):
            found[-1] += f" {word}"
        else:
            found.append(word)
    return found


def caution_document(caution: Warned) -> dict[str, str]:
    """Return a caution for a program."""
    return {"caution": caution.caution, "short": caution.short, "text": caution.text}


def source_document(source: Source) -> dict[str, Any]:
    """Return a source for a program."""
    return {"source": source.text or None, "standing": source.standing}


def number_or_none(value: float, digits: int = 6) -> float | None:
    """Return a number for a program: null where it is not known.

    Args:
        value: [SI]
        digits: after the point.
    """
    return None if value != value else round(value, digits)  # noqa: PLR0124 - NaN is not itself
