"""A finished picture, and how it becomes SVG, PNG or PDF: the same bytes for the same picture, whoever asks.

The plotting library keeps settings for the whole process. Ours are laid over them while a picture is made or written,
one at a time under a lock, and taken off again: a server may draw from many threads, and a person's own settings of the
library neither change our pictures nor are changed by them. No window, display or global figure is ever used.
"""

from __future__ import annotations

import contextlib
import io
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import wraps
from typing import Any, Final, Literal, ParamSpec, TypeVar

import matplotlib as mpl
from matplotlib.figure import Figure

from twogauge.draw.svg import finished, marked
from twogauge.draw.words import FONT, clean

Form = Literal["svg", "png", "pdf"]
FORMS: Final[tuple[Form, ...]] = ("svg", "png", "pdf")
DOTS: Final = 192  # to the inch, of a PNG: twice what a page counts with

_SETTINGS: Final[Any] = {
    "font.family": [FONT],
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "twogauge",
    "pdf.fonttype": 42,
    "pdf.compression": 6,
    "axes.unicode_minus": True,
    "path.simplify": False,
    "hatch.linewidth": 0.6,
}
_LOCK: Final = threading.RLock()
Given = ParamSpec("Given")
Made = TypeVar("Made")


@contextlib.contextmanager
def drawing() -> Iterator[None]:
    """Hold the plotting library to our settings; nobody else draws meanwhile."""
    with _LOCK, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def drawn(make: Callable[Given, Made]) -> Callable[Given, Made]:
    """Let a function draw under our settings."""

    @wraps(make)
    def made(*args: Given.args, **given: Given.kwargs) -> Made:
        with drawing():
            return make(*args, **given)

    return made


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture with what it says in words, for who cannot see it.

    Attributes:
        figure: of the plotting library, finished.
        title: what it is a picture of.
        description: the same as the picture, in sentences.
    """

    figure: Figure
    title: str
    description: str

    def as_bytes(self, form: Form) -> bytes:
        """Return the picture as a file; the same picture gives the same bytes.

        Args:
            form: svg, png or pdf.
        """
        written = io.BytesIO()
        title = clean(self.title)
        ground = self.figure.get_facecolor()
        with drawing():
            if form == "svg":
                nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
                self.figure.savefig(written, format="svg", metadata=nothing, facecolor=ground)
            elif form == "png":
                about = {"Software": None, "Title": title.encode("latin-1", "replace").decode("latin-1")}
                self.figure.savefig(written, format="png", dpi=DOTS, metadata=about, facecolor=ground)
            else:
                about = {"Title": title, "Creator": "twogauge", "Producer": None, "CreationDate": None}
                self.figure.savefig(written, format="pdf", metadata=about, facecolor=ground)
        if form == "svg":
            return finished(written.getvalue(), title, clean(self.description, 4000))
        return written.getvalue()

    def as_svg(self, mark: str = "") -> str:
        """Return the picture as an element that may stand in a page, without declaration, style or script.

        Args:
            mark: put before every identifier in it, so that it can stand beside one that is nearly the same.
        """
        text = self.as_bytes("svg").decode("utf-8")
        return marked(text, mark) if mark else text
