"""Text on a picture: strangers' text made harmless, measured, and broken into lines that fit."""

from __future__ import annotations

from functools import cache
from typing import Final, Literal

from matplotlib import font_manager
from matplotlib.ft2font import FT2Font, LoadFlags

from twogauge.output.signs import with_signs

FONT: Final = "DejaVu Sans"  # ships with the plotting library, so that a picture looks alike everywhere
LONGEST: Final = 600  # characters of one text; longer ones are cut
Weight = Literal["normal", "bold"]
_MEASURED_AT: Final = 100.0  # [pt]


@cache
def _font(weight: Weight) -> FT2Font:
    font = FT2Font(font_manager.findfont(font_manager.FontProperties(family=FONT, weight=weight)))
    font.set_size(_MEASURED_AT, 72)
    return font


@cache
def _glyphs() -> frozenset[int]:
    return frozenset(_font("normal").get_charmap())


def clean(text: str, longest: int = LONGEST) -> str:
    """Return text on one line, without control characters and characters the font lacks, cut where it is too long.

    A degree is written with its sign. A dollar sign stays: pictures take no text for a formula.
    """
    known = _glyphs()
    safe = "".join(c if c.isprintable() and ord(c) in known else "?" for c in " ".join(with_signs(text).split()))
    return safe if len(safe) <= longest else safe[: longest - 1].rstrip() + "\u2026"


def width_of(text: str, size: float, weight: Weight = "normal") -> float:
    """Return how wide cleaned text is [in].

    Args:
        text: one line.
        size: [pt]
        weight: normal or bold.
    """
    return sum(_advance(letter, weight) for letter in text) * size / 72.0


@cache
def _advance(letter: str, weight: Weight) -> float:
    """Return how far a letter moves the pen, over the size of the text [1]; pairs that move closer are not counted."""
    glyph = _font(weight).load_char(ord(letter), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536.0 / _MEASURED_AT


def wrap(text: str, width: float, size: float, weight: Weight = "normal", lines: int = 12) -> list[str]:
    """Return cleaned text as lines that fit; a word that is too long is broken, what does not fit is cut.

    Args:
        text: one paragraph.
        width: of a line [in].
        size: [pt]
        weight: normal or bold.
        lines: the most there may be.
    """
    found = [""]
    for word in clean(text).split(" "):
        piece = word
        longer = f"{found[-1]} {piece}".strip()
        if width_of(longer, size, weight) <= width:
            found[-1] = longer
            continue
        if found[-1]:
            found.append("")
        while width_of(piece, size, weight) > width and len(piece) > 1:
            fits = next(
                n for n in range(len(piece) - 1, 0, -1) if n == 1 or width_of(piece[:n], size, weight) <= width
            )
            found[-1:] = [piece[:fits], ""]
            piece = piece[fits:]
        found[-1] = piece
    if len(found) > lines:
        last = found[lines - 1]
        while last and width_of(f"{last}\u2026", size, weight) > width:
            last = last[:-1]
        found = [*found[: lines - 1], f"{last.rstrip()}\u2026"]
    return [line for line in found if line]
