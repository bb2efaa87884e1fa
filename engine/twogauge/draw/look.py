"""How every picture looks: grounds, inks, series that differ in lightness, marker and line, and the sizes there are.

Colour never says anything alone. The series of a ground are a ladder of lightness, so that they stay apart in a black and
white print and to every kind of colour vision; marker and line style say the same a second time. The hues follow the
advice to avoid red beside green (Okabe and Ito, Color Universal Design, 2008; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Mark:
    """How one series is told apart.

    Attributes:
        colour: #rrggbb.
        marker: shape of its points, in the words of the plotting library.
        dashes: on and off lengths in line widths; empty for an unbroken line.
        hatch: pattern of its areas.
    """

    colour: str
    marker: str
    dashes: tuple[float, ...]
    hatch: str


@dataclass(frozen=True, slots=True)
class Theme:
    """A ground with everything that is put on it; colours as #rrggbb.

    Attributes:
        ground: of the whole picture.
        ink: text and the main line.
        muted: axes, sources, what matters less.
        grid: lines behind everything.
        series: told apart by lightness, in the order in which they are handed out.
    """

    name: str
    ground: str
    ink: str
    muted: str
    grid: str
    series: tuple[Mark, ...]

    @property
    def low(self) -> Mark:
        """What is read on the low side."""
        return self.series[0]

    @property
    def high(self) -> Mark:
        """What is read on the high side."""
        return self.series[1]

    @property
    def air(self) -> Mark:
        """The air around the machine."""
        return self.series[2]


_SHAPES: Final = (
    ("o", (), "///"),
    ("s", (5.0, 1.6), "\\\\\\"),
    ("^", (1.6, 1.4), "|||"),
    ("D", (6.0, 1.6, 1.4, 1.6), "xxx"),
    ("v", (3.0, 1.2, 3.0, 2.4), "---"),
)


def _series(*colours: str) -> tuple[Mark, ...]:
    return tuple(Mark(colour, *shape) for colour, shape in zip(colours, _SHAPES, strict=True))


# Blue, vermilion, teal, purple, ochre: on each ground every contrast ratio between two of them is 1.4 or more.
LIGHT: Final = Theme(
    "light",
    "#ffffff",
    "#15191e",
    "#545c66",
    "#dfe3e8",
    _series("#022351", "#aa2b04", "#038473", "#6b1d72", "#bf8705"),
)
DARK: Final = Theme(
    "dark", "#14181d", "#f2f4f6", "#aeb6c0", "#323a44", _series("#95d0f9", "#f9420a", "#1abaa4", "#b52db4", "#fdedba")
)
THEMES: Final = {theme.name: theme for theme in (LIGHT, DARK)}


@dataclass(frozen=True, slots=True)
class Size:
    """How large a picture is, in inches and points; its height follows from what is on it.

    Attributes:
        width: [in]
        plot: height of the drawing itself [in].
        text: size of most text [pt].
        title: size of the title [pt].
        columns: of the key below the drawing.
    """

    name: str
    width: float
    plot: float
    text: float
    title: float
    columns: int


PHONE: Final = Size("phone", 3.75, 2.9, 8.0, 10.5, 1)
PAGE: Final = Size("page", 7.5, 4.2, 9.0, 13.0, 2)
SIZES: Final = {size.name: size for size in (PHONE, PAGE)}


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb [1] (WCAG 2.2)."""
    parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours [1], 1 to 21 (WCAG 2.2)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def mixed(colour: str, ground: str, share: float) -> str:
    """Return a colour laid thinly over a ground.

    Args:
        colour, ground: #rrggbb.
        share: of the colour [1].
    """
    pairs = ((int(colour[i : i + 2], 16), int(ground[i : i + 2], 16)) for i in (1, 3, 5))
    return "#" + "".join(f"{round(share * a + (1 - share) * b):02x}" for a, b in pairs)
