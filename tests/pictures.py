"""What tests of pictures share: readings, and how to find in a picture what was drawn."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
from matplotlib.text import Text

from twogauge.diagnosis import diagnose
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
