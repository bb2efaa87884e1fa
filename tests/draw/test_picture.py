"""Files of pictures: valid, accessible, harmless inside a page, and the same bytes every time."""

from __future__ import annotations

import re
import struct
import subprocess
import sys
import threading

import matplotlib as mpl
import pytest

from pictures import HOSTILE, SVG, nothing_lies_on_anything, of, of_file, pages_of, parsed, svg_words
from twogauge.draw.cycle import cycle_picture
from twogauge.draw.evidence import evidence_picture
from twogauge.draw.lines import Line, lines_picture
from twogauge.draw.look import DARK, LIGHT, PAGE, PHONE
from twogauge.draw.picture import DOTS
from twogauge.draw.saturation import saturation_picture

MAKERS = [saturation_picture, cycle_picture, evidence_picture]
makers = pytest.mark.parametrize("make", MAKERS, ids=lambda make: make.__name__)
BUS = of_file("bus_17_warm_vents.yaml")


@makers
@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda theme: theme.name)
@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
def test_an_svg_has_a_name_a_description_and_nothing_a_strict_page_forbids(make, theme, size):
    picture = make(BUS, theme=theme, size=size)
    text = picture.as_svg()
    root = parsed(text)
    assert root.tag == f"{SVG}svg"
    assert text.startswith("<svg ")  # may stand in a page as it is
    assert root.get("role") == "img"
    [title, described] = list(root)[:2]
    assert (title.tag, described.tag) == (f"{SVG}title", f"{SVG}desc")
    assert root.get("aria-labelledby") == f"{title.get('id')} {described.get('id')}"
    assert title.text == picture.title
    assert picture.description[:100] in " ".join(described.text.split())
    names = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert not {"script", "style", "image", "foreignObject", "metadata"} & set(names)
    for element in root.iter():
        assert "style" not in element.attrib
        assert not any(name.startswith("on") for name in element.attrib)
        for name, value in element.attrib.items():
            if name.endswith("href"):
                assert value.startswith("#")
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    pointed_at = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', text))
    assert pointed_at <= set(ids)
    width = float(root.get("viewBox").split()[2])
    assert width == pytest.approx(72 * size.width, abs=0.1)
    assert float(root.get("viewBox").split()[3]) < 72 * 16


@makers
def test_text_has_another_font_without_serifs_where_ours_is_missing(make):
    root = parsed(make(BUS).as_svg())
    assert root.get("font-family").startswith("'DejaVu Sans', ")
    assert root.get("font-family").endswith(", sans-serif")
    said = list(root.iter(f"{SVG}text"))
    assert said
    assert not [element for element in root.iter() if element is not root and element.get("font-family")]
    assert all(element.get("font-size") for element in said)


@makers
@pytest.mark.parametrize("size", [PAGE, PHONE], ids=lambda size: size.name)
@pytest.mark.parametrize("reading", ["bus_17_warm_vents.yaml", "shelter_unit.json"])
def test_nothing_written_leaves_the_picture_or_lies_on_other_words(make, size, reading):
    nothing_lies_on_anything(make(of_file(reading), size=size))


@makers
def test_the_numbers_of_the_reading_can_be_read_in_the_file(make):
    words = svg_words(make(BUS).as_svg())
    assert "bus 17, 2026-06-12" in words
    assert "twogauge" in words
    wanted = {
        "saturation_picture": (
            "6 \u00b1 3 psi",
            "118 \u00b1 9 psi",
            "91 \u00b0F",
            "gauge pressure / psi",
            "CoolProp",
        ),
        "cycle_picture": ("superheat 63 \u00b1 6 \u00b0F", "enthalpy / Btu/lb", "saturated liquid at -40 \u00b0F"),
        "evidence_picture": ("Too little refrigerant", "97 %", "decibans", "common edition"),
    }
    for part in wanted[make.__name__]:
        assert part in words, part


@makers
@pytest.mark.parametrize("form", ["svg", "png", "pdf"])
def test_the_same_picture_is_the_same_bytes(make, form):
    one = make(BUS)
    assert one.as_bytes(form) == one.as_bytes(form) == make(BUS).as_bytes(form)
    assert make(BUS, theme=DARK).as_bytes(form) != one.as_bytes(form)


def test_another_process_makes_the_same_bytes(tmp_path):
    program = (
        "import sys, hashlib\n"
        "sys.path.insert(0, {!r})\n"
        "from pictures import of_file\n"
        "from twogauge.draw.evidence import evidence_picture\n"
        "picture = evidence_picture(of_file('bus_17_warm_vents.yaml'))\n"
        "print([hashlib.sha256(picture.as_bytes(form)).hexdigest() for form in ('svg', 'png', 'pdf')])\n"
        "print('matplotlib.pyplot' in sys.modules)\n"
    ).format(str(__import__("pathlib").Path(__file__).resolve().parents[1]))
    runs = {
        subprocess.run(
            [sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    }
    assert len(runs) == 1
    assert runs.pop().endswith("False\n")  # no global figures


@makers
def test_png_and_pdf_are_what_they_are_called(make):
    picture = make(BUS, size=PHONE)
    png = picture.as_bytes("png")
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", png[16:24])
    assert width == round(PHONE.width * DOTS)
    assert height < 16 * DOTS
    pdf = picture.as_bytes("pdf")
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert pages_of(pdf) == 1
    assert b"CreationDate" not in pdf


@makers
@pytest.mark.parametrize("form", ["svg", "png", "pdf"])
def test_hostile_text_is_text(make, form):
    found = of(
        machine=HOSTILE,
        date="$2026$",
        refrigerant="R134a",
        low_side="6 psi",
        high_side="118 psi",
        ambient="91 degF",
        suction_line="61 degF",
        liquid_line="92 degF",
    )
    picture = make(found)
    data = picture.as_bytes(form)
    assert len(data) < 2_000_000
    if form == "svg":
        assert b"<script" not in data
        root = parsed(data)
        assert "<script>alert(1)</script>" in " ".join("".join(e.itertext()) for e in root.iter(f"{SVG}text"))
        assert "$\\frac{1}{0}$" in svg_words(data)


def test_threads_draw_the_same_and_a_persons_own_settings_stay():
    expected = saturation_picture(BUS).as_bytes("svg")
    own = {"svg.fonttype": "path", "font.size": 23.0, "svg.hashsalt": None, "axes.facecolor": "yellow"}
    with mpl.rc_context(own):
        found = []

        def work():
            found.append(saturation_picture(BUS).as_bytes("svg"))

        threads = [threading.Thread(target=work) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert {name: mpl.rcParams[name] for name in own} == own
    assert found == [expected] * 4


def test_a_picture_of_very_much_text_stays_of_bounded_size():
    lines = [Line("W" * 5000, [0, 1], [1.0, 2.0], first_fault=0, fault="x " * 5000) for _ in range(5)]
    picture = lines_picture("T " * 5000, lines, up="y " * 5000, about="a " * 5000, source="s " * 9000)
    assert picture.figure.get_size_inches()[1] < 25
    assert len(picture.as_bytes("svg")) < 400_000
