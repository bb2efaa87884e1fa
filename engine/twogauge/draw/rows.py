"""Rows of words with a bar or a scale below each: the frame that the ledger and the comparison are drawn in.

The vertical axis of such a drawing counts inches downward, so that every line of words has the room it needs.
"""

from __future__ import annotations

from typing import Final

from twogauge.draw.sheet import Sheet
from twogauge.draw.words import Weight, wrap

BAR: Final = 0.15  # [in] height of a bar
_GAP: Final = 0.09  # [in] below it
_LINE: Final = 1.25


class Rows:
    """Lays rows out from the top down; `finish` fits the drawing around them.

    Args:
        sheet: made with `room` as the height of its drawing.
        width: of the words [in].
    """

    def __init__(self, sheet: Sheet, width: float) -> None:
        self._sheet = sheet
        self._width = width
        self.down = 0.04  # [in]

    def words(self, text: str, *, weight: Weight = "normal", lines: int = 2, muted: bool = False) -> None:
        """Write a line above what follows."""
        size = self._sheet.size.text
        theme = self._sheet.theme
        for line in wrap(text, self._width, size, weight, lines):
            self._sheet.axes.text(
                0.0,
                self.down,
                line,
                transform=self._sheet.axes.get_yaxis_transform(),
                fontsize=size,
                fontweight=weight,
                color=theme.muted if muted else theme.ink,
                va="top",
                ha="left",
                zorder=5,
                bbox={"facecolor": theme.ground, "edgecolor": "none", "pad": 0.3},
            )
            self.down += size * _LINE / 72.0

    def space(self, share: float = 1.0) -> None:
        """Leave some room before what follows: that share [1] of the gap between rows."""
        self.down += share * _GAP

    def bar(self) -> float:
        """Return the middle of the next bar [in from the top] and go on below it."""
        middle = self.down + 0.03 + BAR / 2
        self.down = middle + BAR / 2 + _GAP
        return middle

    def finish(self) -> None:
        """Fit the drawing around the rows."""
        axes = self._sheet.axes
        axes.set_ylim(self.down, 0.0)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        self._sheet.fit(self.down)
