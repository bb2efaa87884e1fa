"""What tests of pictures share: readings, and how to find in a picture what was drawn."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.text import Text

from twogauge.diagnosis import diagnose
from twogauge.draw.picture import DOTS, drawing
from twogauge.reading import Reading, read_file

READINGS = Path(__file__).resolve().parent.parent / "examples" / "readings"
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "bus $\\frac{1}{0}$ <script>alert(1)</script> & \x1b[31m\x00\u202e\ud800 \U0001f68c" + "W" * 400


def of_file(name):
    return diagnose(read_file(READINGS / name)[0])


def of(**fields):
    return diagnose(Reading(**fields))


def split_unit(**more):
    """A healthy unit with every temperature that a cycle needs."""
    fields = {
        "refrigerant": "R407C",
        "low_side": "4.2 bar",
        "high_side": "17 bar",
        "ambient": "32 degC",
        "suction_line": "9 degC",
        "liquid_line": "36 degC",
        "discharge_line": "78 degC",
        "system": "split_ac",
        "metering": "expansion_valve",
        "units": "metric",
    }
    return of(**{name: value for name, value in (fields | more).items() if value is not None})


def drawn_as(picture, gid):
    """Return the one artist of the drawing that has this name."""
    [found] = picture.figure.findobj(lambda artist: artist.get_gid() == gid)
    return found


def has(picture, gid):
    return bool(picture.figure.findobj(lambda artist: artist.get_gid() == gid))


def where(picture, gid):
    """Return the coordinates of a line or of points, shape (n, 2)."""
    return np.column_stack(drawn_as(picture, gid).get_data()).astype(float)


def words_of(picture):
    """Return all that is written, lines joined."""
    return " ".join(text.get_text() for text in picture.figure.findobj(Text) if text.get_text())


def parsed(data):
    return ET.fromstring(data)  # noqa: S314 - written by the program that is tested


def svg_words(data):
    root = parsed(data)
    return " ".join("".join(element.itertext()) for element in root.iter(f"{SVG}text"))


def pages_of(data):
    """Return how many pages a PDF has."""
    return len(re.findall(rb"/Type\s*/Page\b", data))


def written(picture):
    """Return each text that can be seen with its box [pixel]; numbers of an axis only where they are in view."""
    picture.figure.set_dpi(DOTS)
    with drawing():
        picture.figure.canvas.draw()
    out_of_view = {
        id(label)
        for axes in picture.figure.axes
        for axis in (axes.xaxis, axes.yaxis)
        for tick in axis.get_major_ticks()
        for label in (tick.label1, tick.label2)
        if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
    }
    renderer = picture.figure.canvas.get_renderer()
    return [
        (text.get_text(), text.get_window_extent(renderer))
        for text in picture.figure.findobj(mpl.text.Text)
        if text.get_text() and text.get_visible() and id(text) not in out_of_view
    ]


def nothing_lies_on_anything(picture):
    """Assert that all words are within the picture and none lie on others."""
    found = written(picture)
    assert len(found) > 8
    whole = picture.figure.bbox
    for text, box in found:
        assert box.x0 >= whole.x0 - 1, text
        assert box.x1 <= whole.x1 + 1, text
        assert box.y0 >= whole.y0 - 1, text
        assert box.y1 <= whole.y1 + 1, text
    for (one, a), (other, b) in combinations(found, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        down = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across < 4.0 or down < 8.0, (one, other)  # lines that follow each other share a little
