"""The sheet a picture is drawn on: title above, drawing, key below it, sources at the foot; one look for all.

What is written is cleaned and broken into lines here, and the height follows from it, so that nothing overlaps on a
telephone or on paper. Lengths are inches from the upper left corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator

from twogauge.draw.look import LIGHT, PAGE, Mark, Size, Theme, mixed
from twogauge.draw.picture import Picture
from twogauge.draw.words import Weight, clean, wrap

_MARGIN: Final = 0.14  # [in]
_LINE: Final = 1.28  # height of a line over the size of its text [1]
_SAMPLE: Final = 0.34  # [in] room of the sample before an entry of the key
_TALLEST: Final = 20.0  # [in] of a picture; no more than so much is ever drawn
TINT: Final = 0.16  # how much of its colour an area has [1]


@dataclass(frozen=True)
class _Entry:
    text: str
    sample: Callable[[float, float], Sequence[Any]]  # of the left end and the middle [in]


class Sheet:
    """One picture while it is being drawn.

    Args:
        title: what it is a picture of.
        about: which machine and when, or what else stands below the title; "" for nothing.
        theme: the ground.
        size: how wide.
        plot: height of the drawing [in]; None for that of the size.
        left: room for the labels of the vertical axis [in].
    """

    def __init__(
        self,
        title: str,
        about: str = "",
        *,
        theme: Theme = LIGHT,
        size: Size = PAGE,
        plot: float | None = None,
        left: float = 0.62,
    ) -> None:
        self.theme = theme
        self.size = size
        self.title = clean(title)
        self.about = clean(about)
        self._plot = min(size.plot if plot is None else plot, _TALLEST)
        self._left = left
        self._entries: list[_Entry] = []
        self._notes: list[str] = []
        self._foot: list[str] = []
        self.figure = Figure(figsize=(size.width, self._plot), dpi=72, facecolor=theme.ground)
        FigureCanvasAgg(self.figure)
        self.axes: Axes = self.figure.add_axes((0.1, 0.1, 0.8, 0.8))
        self._dress(self.axes)

    # -- what is drawn -----------------------------------------------------------------------------------------------

    def fit(self, plot: float) -> None:
        """Make the drawing that high [in]."""
        self._plot = min(plot, _TALLEST)

    def line(self, x: Any, y: Any, mark: Mark, *, width: float = 1.6, above: int = 2, gid: str = "") -> Line2D:
        """Draw a line of a series."""
        [made] = self.axes.plot(
            x, y, color=mark.colour, linewidth=width, zorder=above, gid=gid or None, solid_capstyle="butt"
        )
        if mark.dashes:
            made.set_dashes(mark.dashes)
        return made

    def points(self, x: Any, y: Any, mark: Mark, *, gid: str = "", size: float = 8.0) -> Line2D:
        """Draw the points of a series, each with a rim of the ground."""
        [made] = self.axes.plot(
            x,
            y,
            linestyle="none",
            marker=mark.marker,
            markersize=size,
            markerfacecolor=mark.colour,
            markeredgecolor=self.theme.ground,
            markeredgewidth=1.0,
            zorder=6,
            clip_on=False,
            gid=gid or None,
        )
        return made

    def area(self, x: Any, y: Any, mark: Mark, *, gid: str = "") -> None:
        """Fill an area of a series: a tint, and its hatch as the second way to tell it."""
        self.axes.fill(
            x,
            y,
            facecolor=mixed(mark.colour, self.theme.ground, TINT),
            edgecolor=mixed(mark.colour, self.theme.ground, 3 * TINT),
            hatch=mark.hatch,
            linewidth=0.6,
            zorder=1,
            gid=gid or None,
        )

    def label(self, x: float, y: float, text: str, *, colour: str = "", **more: Any) -> None:
        """Write beside a point of the drawing, on a ground of its own."""
        self.axes.annotate(
            clean(text, 80),
            (x, y),
            **{
                "xytext": (6, 6),
                "textcoords": "offset points",
                "fontsize": self.size.text,
                "fontweight": "bold",
                "color": colour or self.theme.ink,
                "zorder": 7,
                "bbox": {"facecolor": self.theme.ground, "edgecolor": "none", "alpha": 0.8, "pad": 0.8},
                **more,
            },
        )

    def across(self, text: str, show: Callable[[float], str] = "{:g}".format, most: int | None = None) -> None:
        """Name the horizontal axis, with its unit, and say how its numbers are written."""
        self.axes.set_xlabel(clean(text, 100), fontsize=self.size.text, color=self.theme.ink)
        self.axes.xaxis.set_major_locator(MaxNLocator(most or (5 if self.size.columns == 1 else 9)))
        self.axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: show(value)))

    def upward(self, text: str, show: Callable[[float], str] | None = "{:g}".format) -> None:
        """Name the vertical axis, with its unit; None keeps the scale's own numbers."""
        self.axes.set_ylabel(clean(text, 100), fontsize=self.size.text, color=self.theme.ink)
        if show is not None:
            self.axes.yaxis.set_major_locator(MaxNLocator(7))
            self.axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: show(value)))

    # -- what is written ---------------------------------------------------------------------------------------------

    def key_line(self, text: str, mark: Mark, *, width: float = 1.6, point: bool = False) -> None:
        """Explain a line below the drawing."""

        def sample(x: float, y: float) -> Sequence[Any]:
            ends = [x, x + _SAMPLE - 0.08]
            line = Line2D(ends, [y, y], color=mark.colour, linewidth=width, solid_capstyle="butt")
            if mark.dashes:
                line.set_dashes(mark.dashes)
            return (line, *self._dot(x, y, mark)) if point else (line,)

        self._entries.append(_Entry(text, sample))

    def key_point(self, text: str, mark: Mark) -> None:
        """Explain a point below the drawing."""
        self._entries.append(_Entry(text, lambda x, y: self._dot(x, y, mark)))

    def key_area(self, text: str, mark: Mark, dense: float = TINT) -> None:
        """Explain an area below the drawing, with so much of its colour [1] as it has there."""
        edge = mark.colour if dense > 3 * TINT else mixed(mark.colour, self.theme.ground, 3 * TINT)

        def sample(x: float, y: float) -> Sequence[Any]:
            return (
                Rectangle(
                    (x, y - 0.05),
                    _SAMPLE - 0.08,
                    0.1,
                    facecolor=mixed(mark.colour, self.theme.ground, dense),
                    edgecolor=edge,
                    hatch=2 * mark.hatch,
                    linewidth=0.6,
                ),
            )

        self._entries.append(_Entry(text, sample))

    def note(self, sentence: str) -> None:
        """Say something below the key, such as what is missing."""
        self._notes.append(sentence)

    def foot(self, sentence: str) -> None:
        """Name a source or an edition at the foot."""
        self._foot.append(sentence)

    def _dot(self, x: float, y: float, mark: Mark) -> tuple[Line2D]:
        middle = x + (_SAMPLE - 0.08) / 2
        return (
            Line2D(
                [middle],
                [y],
                linestyle="none",
                marker=mark.marker,
                markersize=6.5,
                markerfacecolor=mark.colour,
                markeredgecolor=self.theme.ground,
            ),
        )

    # -- putting it together -----------------------------------------------------------------------------------------

    def finish(self, description: str = "") -> Picture:
        """Lay everything out and return the picture.

        Args:
            description: what it shows in words; the key and the notes are added to it.
        """
        size, theme = self.size, self.theme
        wide = size.width - 2 * _MARGIN
        head: list[tuple[str, float, Weight, str]] = [
            (line, size.title, "bold", theme.ink) for line in wrap(self.title, wide, size.title, "bold", 3)
        ]
        head += [(line, size.text, "normal", theme.muted) for line in wrap(self.about, wide, size.text, lines=3)]
        notes = [line for note in self._notes for line in wrap(note, wide, size.text)]
        small = max(size.text - 1.5, 6.5)
        foot = [line for text in self._foot for line in wrap(text, wide, small)]
        columns = self._columns(wide)
        # Room for the numbers of the horizontal axis, and for its name.
        below = 0.14 + _height(size.text) * (2 if self.axes.get_xlabel() else 1)
        head_height = sum(_height(text_size) for _, text_size, _, _ in head) + 0.08
        key_height = max((sum(each for _, _, each in column) for column in columns), default=0.0)
        key_height += 0.1 if self._entries else 0.0
        tail = len(notes) * _height(size.text) + len(foot) * _height(small) + 0.12
        total = _MARGIN + head_height + self._plot + below + key_height + tail + 0.1
        self.figure.set_size_inches(size.width, total)
        down = _MARGIN
        for text, text_size, weight, colour in head:
            self._write(_MARGIN, total - down, text, fontsize=text_size, color=colour, fontweight=weight)
            down += _height(text_size)
        down = _MARGIN + head_height
        self.axes.set_position(
            (
                self._left / size.width,
                (total - down - self._plot) / total,
                (size.width - self._left - _MARGIN - 0.08) / size.width,
                self._plot / total,
            )
        )
        down += self._plot + below + (0.1 if self._entries else 0.0)
        for k, column in enumerate(columns):
            y = down
            for lines, sample, height in column:
                left = _MARGIN + k * wide / len(columns)
                for artist in sample(left, total - y - _height(size.text) / 2):
                    artist.set_transform(self.figure.dpi_scale_trans)
                    self.figure.add_artist(artist)
                for n, line in enumerate(lines):
                    self._write(
                        left + _SAMPLE, total - y - n * _height(size.text), line, fontsize=size.text, color=theme.ink
                    )
                y += height
        down += key_height - (0.1 if self._entries else 0.0) + 0.06
        for line in notes:
            self._write(_MARGIN, total - down, line, fontsize=size.text, color=theme.ink)
            down += _height(size.text)
        down += 0.06
        for line in foot:
            self._write(_MARGIN, total - down, line, fontsize=small, color=theme.muted)
            down += _height(small)
        said = [description, *(entry.text for entry in self._entries), *self._notes, *self._foot]
        return Picture(self.figure, self.title, " ".join(_sentence(each) for each in said if each))

    def _columns(self, wide: float) -> list[list[tuple[list[str], Callable[[float, float], Sequence[Any]], float]]]:
        """Return the entries of the key column by column, with lines, sample and height [in]."""
        count = min(self.size.columns, max(len(self._entries), 1))
        room = wide / count - _SAMPLE - (0.12 if count > 1 else 0.0)
        made = []
        for entry in self._entries:
            lines = wrap(entry.text, room, self.size.text)
            made.append((lines, entry.sample, len(lines) * _height(self.size.text) + 0.03))
        each = math.ceil(len(made) / count)
        return [made[k * each : (k + 1) * each] for k in range(count)] if made else []

    def _write(self, left: float, up: float, text: str, **how: Any) -> None:
        """Write a line whose upper left corner is given [in from the lower left corner of the sheet]."""
        self.figure.text(
            left, up, text, **{"transform": self.figure.dpi_scale_trans, "va": "top", "ha": "left", **how}
        )

    def _dress(self, axes: Axes) -> None:
        theme = self.theme
        axes.set_facecolor(theme.ground)
        axes.grid(visible=True, color=theme.grid, linewidth=0.7, zorder=0)
        axes.set_axisbelow(True)
        for name, spine in axes.spines.items():
            spine.set_visible(name in {"left", "bottom"})
            spine.set_color(theme.muted)
            spine.set_linewidth(0.8)
        axes.tick_params(which="both", colors=theme.muted, labelcolor=theme.ink, labelsize=self.size.text, width=0.8)


def _height(size: float) -> float:
    return size * _LINE / 72.0


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."
