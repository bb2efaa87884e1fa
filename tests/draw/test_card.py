"""The card for the wall: all of the table, in the fewest pages that can be read, with its place, grade and day."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser

import matplotlib as mpl
import pytest

from pictures import pages_of
from twogauge import refrigerants
from twogauge.draw.card import _Page, card_pdf
from twogauge.draw.picture import drawing
from twogauge.errors import InputError
from twogauge.output import tables as output
from twogauge.output.card import PAPERS, POINTS, as_html, made_on, plan
from twogauge.quantities import UnitSet
from twogauge.tables import By, make_table, pressure_rows, temperature_rows

DAY = dt.date(2026, 6, 1)
SETS = {
    "one": (["R134a"], UnitSet.US),
    "glide": (["R134a", "R407C"], UnitSet.METRIC),
    "many": (["R134a", "R12", "R22", "R407C", "R410A", "R404A", "R1234yf", "R744", "R448A"], UnitSet.US),
}
sets = pytest.mark.parametrize("name", SETS)
papers = pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS.keys())


def table_of(names, units, by=By.TEMPERATURE, air="standard air at 900 ft", barometer=98_000.0):
    chosen = [refrigerants.get(name) for name in names]
    index = temperature_rows(units) if by is By.TEMPERATURE else pressure_rows(units, chosen, barometer)
    return make_table(chosen, by, index, barometer=barometer, air=air)


class Cells(HTMLParser):
    """Collects what stands in the cells of each table, and every tag with its attributes."""

    def __init__(self):
        super().__init__()
        self.tables, self.tags, self.text = [], [], []
        self._inside = False

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in {"td", "th"}:
            self.tables[-1][-1].append("")
            self._inside = True

    def handle_endtag(self, tag):
        if tag in {"td", "th"}:
            self._inside = False

    def handle_data(self, data):
        self.text.append(data)
        if self._inside:
            self.tables[-1][-1][-1] += data


@papers
@sets
def test_html_holds_every_value_of_the_table_once(name, paper):
    names, units = SETS[name]
    table = table_of(names, units)
    read = Cells()
    read.feed(as_html(plan(table, units, paper, DAY)))
    found = {}
    for heads, *rows in read.tables:
        for row in rows:
            assert len(row) == len(heads)
            for head, cell in zip(heads[1:], row[1:], strict=True):
                assert (head, row[0].strip()) not in found
                found[head, row[0].strip()] = cell.strip()
    heads, cells = output.grid(table, units)
    wanted = {
        (title + phase, index.strip()): cell.strip()
        for (title, phase), column in zip(heads[1:], cells[1:], strict=True)
        for index, cell in zip(cells[0], column, strict=True)
    }
    assert found == wanted


@papers
def test_html_prints_on_that_paper_and_needs_nothing_from_elsewhere(paper):
    text = as_html(plan(table_of(["R134a", "R407C"], UnitSet.US), UnitSet.US, paper, DAY))
    assert f"@page {{ size: {paper.css};" in text
    read = Cells()
    read.feed(text)
    tags = {tag for tag, _ in read.tags}
    assert not tags & {"script", "link", "img", "iframe"}
    assert not [a for _, attributes in read.tags for a in attributes if a in {"src", "href"} or a.startswith("on")]
    assert "url(" not in text
    assert "@import" not in text
    assert ("html", {"lang": "en"}) in read.tags
    for scope in ("col", "row"):
        assert ("th", {"scope": scope}) in read.tags
    said = " ".join("".join(read.text).split())
    for part in ("R-134a, R-407C at 900 ft", "standard air at 900 ft", "bubble: for subcooling", "inHg of vacuum"):
        assert part in said, part
    assert "R-134a is graded 'checked'" in said  # also the best grade
    assert "R-407C is graded" in said
    assert "Made 2026-06-01 by twogauge" in said


@papers
@sets
def test_pdf_pages_are_those_of_the_plan_and_of_that_size(name, paper):
    names, units = SETS[name]
    card = plan(table_of(names, units), units, paper, DAY)
    data = card_pdf(card)
    assert data.startswith(b"%PDF-")
    assert pages_of(data) == len(card.pages)
    boxes = {tuple(float(x) for x in box.split()) for box in re.findall(rb"/MediaBox\s*\[\s*([^\]]+?)\s*\]", data)}
    assert len(boxes) == 1
    assert boxes.pop() == pytest.approx((0, 0, paper.width * POINTS, paper.height * POINTS), abs=0.5)
    assert data == card_pdf(card)
    assert b"CreationDate" not in data


@papers
@sets
def test_what_is_printed_can_be_read_and_stays_on_the_paper(name, paper):
    names, units = SETS[name]
    card = plan(table_of(names, units), units, paper, DAY)
    for number, page in enumerate(card.pages):
        assert page.size >= paper.least
        with drawing():
            figure = _Page(card, page, number).figure
            figure.set_dpi(144)
            canvas = mpl.backends.backend_agg.FigureCanvasAgg(figure)
            canvas.draw()
            renderer = canvas.get_renderer()
        inner = figure.bbox
        edge = paper.margin * POINTS * 2 - 2
        boxes = []
        for text in figure.findobj(mpl.text.Text):
            if not text.get_text():
                continue
            box = text.get_window_extent(renderer)
            assert box.x0 >= edge - 1, text
            assert box.x1 <= inner.x1 - edge + 1, text
            assert box.y0 >= edge - 6, text
            assert box.y1 <= inner.y1 - edge + 1, text
            boxes.append((text.get_text(), box))
        for k, (one, a) in enumerate(boxes):
            for other, b in boxes[k + 1 :]:
                across = min(a.x1, b.x1) - max(a.x0, b.x0)
                down = min(a.y1, b.y1) - max(a.y0, b.y0)
                assert across < 3.0 or down < 0.35 * min(a.height, b.height), (one, other)


def test_one_refrigerant_stands_on_one_page_in_large_type():
    for paper in PAPERS.values():
        card = plan(table_of(["R134a"], UnitSet.US), UnitSet.US, paper, DAY)
        assert len(card.pages) == 1
        assert card.pages[0].size > paper.least
        assert len(card.pages[0].blocks) > 1


def box_of_table(card, number):
    """Return the left, right, upper and lower end of what a page's table covers, and the upper end of its notes [pt]."""
    page = card.pages[number]
    with drawing():
        figure = _Page(card, page, number).figure
        canvas = mpl.backends.backend_agg.FigureCanvasAgg(figure)
        canvas.draw()
        boxes = {t.get_text(): t.get_window_extent(canvas.get_renderer()) for t in figure.findobj(mpl.text.Text)}
    high = figure.bbox.height
    rules = [line for line in figure.findobj(mpl.lines.Line2D) if line.get_linewidth() == 1.2]
    sides = [line for line in figure.findobj(mpl.lines.Line2D) if line.get_linewidth() == 0.8]
    note = next(box for text, box in boxes.items() if len(text) > 20 and page.foot[0].startswith(text))
    return (
        min(line.get_xdata()[0] for line in rules),
        max(line.get_xdata()[1] for line in rules),
        high - max(max(line.get_ydata()) for line in sides),
        high - min(min(line.get_ydata()) for line in sides),
        high - note.y1,
    )


@papers
@sets
def test_the_table_takes_what_the_words_leave_of_the_paper(name, paper):
    names, units = SETS[name]
    card = plan(table_of(names, units), units, paper, DAY)
    wide = (paper.width - 2 * paper.margin) * POINTS
    for number, page in enumerate(card.pages):
        left, right, up, down, note = box_of_table(card, number)
        assert right - left > 0.9 * wide
        rows = max(len(block.cells[0]) for block in card.pages[0].blocks)
        if len(page.blocks[0].cells[0]) == rows:
            assert down - up > 0.9 * (note - up)
        assert down < note


def test_rows_that_no_curve_reaches_are_left_out_but_for_the_first():
    table = table_of(["R744"], UnitSet.METRIC)
    card = plan(table, UnitSet.METRIC, PAPERS["a4"], DAY)
    cells = [row for block in card.pages[0].blocks for row in zip(*block.cells, strict=True)]
    _, whole = output.grid(table, UnitSet.METRIC)
    assert [index for index, _ in cells] == whole[0][: len(cells)]
    assert [value.strip() for _, value in cells].count("-") == 1
    assert cells[-1][1].strip() == "-"
    assert any("critical point" in note for note in card.pages[0].foot)
    # Where another refrigerant goes on, all rows stay.
    both = table_of(["R744", "R134a"], UnitSet.METRIC)
    page = plan(both, UnitSet.METRIC, PAPERS["a4"], DAY).pages[0]
    assert sum(len(block.cells[0]) for block in page.blocks) == len(output.grid(both, UnitSet.METRIC)[1][0])


def test_bubble_and_dew_of_one_refrigerant_are_never_parted():
    names, units = SETS["many"]
    card = plan(table_of(names, units), units, PAPERS["pocket"], DAY)
    for page in card.pages:
        for block in page.blocks:
            glides = [head for head in block.heads if head[1] in {"bubble", "dew"}]
            assert len(glides) == 2 * len({title for title, _ in glides})
        assert all(title in page.title for title, _ in page.blocks[0].heads[1:])


def test_very_many_rows_take_many_pages():
    index = temperature_rows(UnitSet.US, step=0.2)
    table = make_table(
        [refrigerants.get("R134a")], By.TEMPERATURE, index, barometer=101325.0, air="sea level assumed"
    )
    card = plan(table, UnitSet.US, PAPERS["a4"], DAY)
    assert len(card.pages) > 3
    assert pages_of(card_pdf(card)) == len(card.pages)
    assert card.title == "R-134a at sea level (assumed)"


def test_pressures_as_rows_have_a_card_too():
    table = table_of(["R407C"], UnitSet.SI, By.PRESSURE, air="barometer")
    text = as_html(plan(table, UnitSet.SI, PAPERS["letter"], DAY))
    assert "R-407C at this barometer" in text
    assert "Saturation temperature (\u00b0C) by pressure (kPa gauge)" in text


def test_the_day_is_that_of_the_environment_or_today():
    assert made_on({"SOURCE_DATE_EPOCH": "1780000000"}) == dt.date(2026, 5, 28)
    assert made_on({"SOURCE_DATE_EPOCH": "0"}) == dt.date(1970, 1, 1)
    assert abs((made_on({}) - dt.datetime.now(dt.UTC).date()).days) <= 1
    for wrong in ("yesterday", "-5", "1e9", "9" * 30, "\u0661"):
        with pytest.raises(InputError, match="SOURCE_DATE_EPOCH"):
            made_on({"SOURCE_DATE_EPOCH": wrong})
