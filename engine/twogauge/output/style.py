"""What a terminal can show: emphasis, width, and the characters beyond ASCII. Plain text in, plain text out.

Emphasis is bold, dim and one accent that reads on light and dark grounds; nothing is said by it alone, so
that a pipe, a printer and a screen reader lose nothing. Knows nothing of readings or faults.
"""

from __future__ import annotations

import os
import re
import shutil
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, TextIO

WIDTH: Final = 80  # columns in a pipe, and where the terminal does not say
WIDEST: Final = 100  # longer lines are hard to read
NARROWEST: Final = 40  # below this words would be torn apart

_MARKS: Final = {"bold": "1", "dim": "2", "accent": "1;31"}
# Characters with a plain twin; whatever else an encoding lacks becomes a question mark.
_PLAIN: Final = str.maketrans(
    {
        "\u00b1": "+/-",
        "\u00b0": " deg ",
        "\u00b7": "-",
        "\u2013": "-",
        "\u2014": "-",
        "\u2212": "-",
        "\u2018": "'",
        "\u2019": "'",
        "\u201c": '"',
        "\u201d": '"',
        "\u2026": "...",
        "\u00d7": "x",
        "\u00bd": "1/2",
        "\u00a0": " ",
    }
)
# A number stays with its unit at the end of a line.
BEFORE_UNIT: Final = re.compile(
    r"(?<=\d) (?=(?:%|dB|psi|bar|kPa|inHg|degF|degC|K|min|s|rpm|ft|m|mm|kg|g|lb|oz|mL|fl oz)(?!\w))|(?<=\d fl) (?=oz\b)"
)
_HELD: Final = "\x1f"  # not printable, so no cleaned text holds it
_EIGHTHS: Final = " \u258f\u258e\u258d\u258c\u258b\u258a\u2589"
_FULL: Final = "\u2588"


@dataclass(frozen=True, slots=True)
class Style:
    """How to print.

    Attributes:
        width: characters in a line.
        emphasis: whether ANSI sequences may be used.
        encoding: of the output; decides which characters it can hold.
    """

    width: int = WIDTH
    emphasis: bool = False
    encoding: str = "utf-8"

    @property
    def beyond_ascii(self) -> bool:
        """Whether the output takes any character."""
        return self.encoding.lower().replace("_", "-").removesuffix("-sig") in {"utf-8", "utf8", "utf-16", "utf-32"}

    def bold(self, text: str) -> str:
        """Return the text for headings."""
        return self._marked(text, "bold")

    def dim(self, text: str) -> str:
        """Return the text for what matters least."""
        return self._marked(text, "dim")

    def accent(self, text: str) -> str:
        """Return the text for a warning."""
        return self._marked(text, "accent")

    def _marked(self, text: str, mark: str) -> str:
        return f"\x1b[{_MARKS[mark]}m{text}\x1b[0m" if self.emphasis and text else text

    def clean(self, text: str) -> str:
        """Return strangers' text on one line, without control characters and within the encoding."""
        one_line = " ".join(text.split())
        visible = "".join(c if c.isprintable() else "?" for c in one_line)
        if self.beyond_ascii:
            return visible
        return visible.translate(_PLAIN).encode(self.encoding, "replace").decode(self.encoding)

    def wrap(self, text: str, indent: str = "", hanging: str | None = None) -> list[str]:
        """Return cleaned text as lines that fit.

        Args:
            text: one paragraph.
            indent: what the first line begins with.
            hanging: what the others begin with; None for the same.
        """
        rest = indent if hanging is None else hanging
        lines = textwrap.wrap(
            BEFORE_UNIT.sub(_HELD, self.clean(text)),
            max(self.width, len(rest) + 15),
            initial_indent=indent,
            subsequent_indent=rest,
            break_on_hyphens=False,
        )
        return [line.replace(_HELD, " ") for line in lines]

    def wrap_after(self, text: str, begin: str) -> list[str]:
        """Return lines that begin with `begin` as it stands, the further ones below where the text began."""
        lines = self.wrap(text, " " * len(begin))
        return [begin + lines[0].lstrip(" "), *lines[1:]] if lines else [begin.rstrip()]

    def wrap_led(self, text: str, indent: str, hanging: str) -> list[str]:
        """Return wrapped lines whose first sentence is bold, so that a long list can be skimmed."""
        lines = self.wrap(text, indent, hanging)
        clean = self.clean(text)
        left = len(clean) if ". " not in clean else clean.index(". ") + 1
        for i, line in enumerate(lines):
            start = len(indent) if i == 0 else len(hanging)
            take = min(left, len(line) - start)
            lines[i] = line[:start] + self.bold(line[start : start + take]) + line[start + take :]
            left -= take + 1  # the blank that became a line end
            if left <= 0:
                break
        return lines

    def bar(self, share: float, cells: int) -> str:
        """Return a bar of `cells` characters, filled as far as `share` [1] says."""
        share = min(max(share, 0.0), 1.0)
        if not self.beyond_ascii:
            filled = round(share * cells)
            return "#" * filled + "." * (cells - filled)
        eighths = round(share * cells * 8)
        body = _FULL * (eighths // 8) + (_EIGHTHS[eighths % 8] if eighths % 8 else "")
        return body.ljust(cells)


def style_for(stream: TextIO, *, color: bool = True, environment: Mapping[str, str] | None = None) -> Style:
    """Return how to print on a stream.

    The first that says something decides: `color` false, NO_COLOR, FORCE_COLOR, then whether the stream is a
    terminal that is not dumb. NO_COLOR and FORCE_COLOR count when they are set and not empty.

    Args:
        stream: where the text goes.
        color: False if the person asked for none.
        environment: the variables to look at; None for those of the process.
    """
    env = os.environ if environment is None else environment
    terminal = _is_terminal(stream)
    width = WIDTH
    if terminal:
        width = min(max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST), WIDEST)
    forced = env.get("FORCE_COLOR", "") not in ("", "0")
    emphasis = color and not env.get("NO_COLOR") and (forced or (terminal and env.get("TERM") != "dumb"))
    return Style(width, emphasis, getattr(stream, "encoding", None) or "ascii")


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except (AttributeError, ValueError):  # a closed stream, or a stand-in
        return False


def percent(probability: float) -> str:
    """Return a probability as whole per cent; never 0 or 100, since nothing is certain here."""
    if probability < 0.005:
        return "<1 %"
    if probability > 0.995:
        return ">99 %"
    return f"{100.0 * probability:.0f} %"
