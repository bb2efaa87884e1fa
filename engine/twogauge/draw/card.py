"""The card for the wall as a PDF, page by page as output/card.py has planned it."""

from __future__ import annotations

import io
from typing import Any, Final

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.transforms import Affine2D

from twogauge.draw.picture import drawn
from twogauge.draw.words import wrap
from twogauge.output.card import FIGURE_SPACE, GAP, LINE, MOST_LINE, POINTS, Block, Card, CardPage

_INK: Final = "#000000"
_STRIPE: Final = "#e9e9e9"


@drawn
def card_pdf(card: Card) -> bytes:
    """Return a card as a PDF; the same card gives the same bytes.

    Args:
        card: as it was planned.
    """
    written = io.BytesIO()
    about = {"Title": card.title, "Creator": "twogauge", "Producer": None, "CreationDate": None}
    with PdfPages(written, metadata=about) as pdf:
        for number, page in enumerate(card.pages):
            pdf.savefig(_Page(card, page, number).figure)
    return written.getvalue()


class _Page:
    """One page; lengths are points from its upper left corner."""

    def __init__(self, card: Card, page: CardPage, number: int) -> None:
        self._paper = card.paper
        self._page = page
        self._height = card.paper.height * POINTS
        self.figure = Figure(figsize=(card.paper.width / 25.4, card.paper.height / 25.4), dpi=72, facecolor="#ffffff")
        self._left = card.paper.margin * POINTS
        self._wide = (card.paper.width - 2 * card.paper.margin) * POINTS
        self._column = 0.97 * self._wide / 72.0  # [in] small type is rounded up by some viewers
        small = card.paper.small
        down = card.paper.margin * POINTS
        down = self._paragraph(page.title, down, card.paper.title, 1.2, fontweight="bold")
        down = self._paragraph(page.about, down + 0.3 * small, small, LINE)
        top = down + 0.8 * small
        foot = [*page.foot, *([f"Page {number + 1} of {len(card.pages)}"] if len(card.pages) > 1 else [])]
        lines = [wrap(text, self._column, small) for text in foot]
        down = self._height - card.paper.margin * POINTS - sum(map(len, lines)) * small * LINE
        # What the plan kept in hand for wider fonts goes to the rows.
        rows = max(block.rows for block in page.blocks)
        self._row = min(max((down - small - top) / rows, page.line * page.size), MOST_LINE * page.size)
        self._blocks(top)
        for each in lines:
            for line in each:
                self._write(self._left, down, line, fontsize=small)
                down += small * LINE

    def _paragraph(self, text: str, down: float, size: float, line: float, **how: Any) -> float:
        weight = how.get("fontweight", "normal")
        for each in wrap(text, self._column, size, weight):
            self._write(self._left, down, each, fontsize=size, **how)
            down += size * line
        return down

    def _blocks(self, down: float) -> None:
        blocks = self._page.blocks
        spare = self._wide - sum(block.width for block in blocks)
        between = spare / (len(blocks) - 1) if len(blocks) > 1 else 0.0
        left = self._left
        for block in blocks:
            self._block(block, left, down)
            left += block.width + between

    def _block(self, block: Block, left: float, down: float) -> None:
        size = self._page.size
        row = self._row
        half = GAP * size / 2
        two_lines = block.head_lines == 2
        rights = []
        right = left
        for width in block.widths:
            right += width
            rights.append(right - half)
        for k, (head, at) in enumerate(zip(block.heads, rights, strict=True)):
            title, phase = head if k else (head[1] if not two_lines else "", head[1] if two_lines else "")
            self._write(at, down, title, fontsize=size, fontweight="bold", ha="right")
            if two_lines:
                self._write(at, down + row, phase, fontsize=size, fontweight="bold", ha="right")
        top = down + row * (2 if two_lines else 1)
        rows = len(block.cells[0])
        for k in range(1, rows, 2):
            self._add(
                Rectangle((left, self._height - top - (k + 1) * row), block.width, row, color=_STRIPE, linewidth=0)
            )
        self._line((left, left + block.width), (top, top), 1.2)
        edge = left + block.widths[0]
        self._line((edge, edge), (down, top + rows * row), 0.8)
        for c, (column, at) in enumerate(zip(block.cells, rights, strict=True)):
            suffix = 0.62 * size if any(cell.endswith(("v", FIGURE_SPACE)) for cell in column) else 0.0
            for k, cell in enumerate(column):
                base = top + (k + 0.5) * row + 0.36 * size  # digits in the middle of their row
                how = {"fontsize": size, "va": "baseline", "fontstyle": "italic" if cell.endswith("v") else "normal"}
                number = cell.rstrip("v" + FIGURE_SPACE)
                self._write(at - suffix, base, number, ha="right", fontweight="normal" if c else "bold", **how)
                if cell.endswith("v"):
                    self._write(at - suffix + 0.05 * size, base, "v", **how)

    def _write(self, x: float, down: float, text: str, **how: Any) -> None:
        self.figure.text(
            x / 72.0,
            (self._height - down) / 72.0,
            text,
            **{"transform": self.figure.dpi_scale_trans, "va": "top", "ha": "left", "color": _INK, **how},
        )

    def _line(self, x: tuple[float, float], down: tuple[float, float], width: float) -> None:
        self._add(Line2D(x, [self._height - each for each in down], color=_INK, linewidth=width))

    def _add(self, artist: Any) -> None:
        artist.set_transform(Affine2D().scale(1 / 72.0) + self.figure.dpi_scale_trans)
        self.figure.add_artist(artist)
