"""The card for the wall: how a table is laid out on paper, and the same as a page of HTML that prints cleanly.

Paper is planned here for both kinds of file (draw/card.py makes the PDF): as large a type as lets everything stand on one
page, if need be in blocks side by side; else the smallest that can be read at arm's length, on several pages. What is
left of the paper then is shared out between rows and columns. Rows beyond the curves of all refrigerants are left out.

A digit is read with ease from two hundred times its height (common practice): one of 11 points is 2.8 mm high and read at
arm's length, one of 7 points in the hand.
"""

from __future__ import annotations

import datetime as dt
import html
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from twogauge import __version__
from twogauge.errors import InputError, shown
from twogauge.output.signs import with_signs
from twogauge.output.tables import air_sentence, grid, notes, what_it_shows
from twogauge.quantities import UnitSet
from twogauge.tables import Table

POINTS: Final = 72.0 / 25.4  # to the millimetre
LINE: Final = 1.3  # height of a row over the size of its type [1], at least
MOST_LINE: Final = 1.8  # and at most: further apart the eye slips from row to row
_MOST_WIDER: Final = 1.6  # how much wider than it needs to be a column may become [1], for the same reason
GAP: Final = 0.9  # between columns, over the size of the type [1]
FIGURE_SPACE: Final = "\u2007"
_WIDE: Final = 0.65  # of a letter or digit, over the size of the type [1]: as wide as any usual font without serifs
_WIDE_BOLD: Final = 0.74
_NARROW: Final = 0.5  # of a sign of `_SIGNS`, likewise
_SIGNS: Final = frozenset(".,-'")
_BLOCKS: Final = 4  # side by side
_LATEST: Final = 253_402_300_799  # [s] the last second of the year 9999


@dataclass(frozen=True, slots=True)
class Paper:
    """A kind of paper.

    Attributes:
        name: as a person calls it.
        css: as a style sheet calls it.
        width, height: [mm]
        margin: that no printer leaves out [mm].
        least, most: size of the type of the table [pt].
        title, small: size of the title and of the notes [pt].
    """

    name: str
    css: str
    width: float
    height: float
    margin: float
    least: float
    most: float
    title: float
    small: float


PAPERS: Final[Mapping[str, Paper]] = {
    "a4": Paper("A4", "A4", 210.0, 297.0, 12.0, 11.0, 36.0, 24.0, 8.5),
    "letter": Paper("Letter", "Letter", 215.9, 279.4, 12.0, 11.0, 36.0, 24.0, 8.5),
    "pocket": Paper("pocket (A6)", "105mm 148mm", 105.0, 148.0, 5.0, 7.0, 18.0, 12.0, 5.5),
}


@dataclass(frozen=True)
class Block:
    """Some rows of some columns: heads of two lines, and cells by column."""

    heads: tuple[tuple[str, str], ...]
    cells: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]  # [pt]

    @property
    def width(self) -> float:
        """Width of the block [pt]."""
        return sum(self.widths)

    @property
    def head_lines(self) -> int:
        """Lines of the heads: two where one of them names a phase."""
        return 2 if any(phase for _, phase in self.heads[1:]) else 1

    @property
    def rows(self) -> int:
        """Rows with the lines of the heads."""
        return self.head_lines + len(self.cells[0])


@dataclass(frozen=True)
class CardPage:
    """One page: its blocks stand side by side.

    Attributes:
        size: of the type of the table [pt].
        line: height of a row over the size of the type [1].
        title: refrigerants and the height of the place.
        about: what the numbers are, and the air.
        foot: notes, grades, and where and when it was made.
    """

    size: float
    line: float
    title: str
    about: str
    blocks: tuple[Block, ...]
    foot: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """A whole card.

    Attributes:
        paper: what it is printed on.
        title: of all of it.
        pages: in their order.
    """

    paper: Paper
    title: str
    pages: tuple[CardPage, ...]


def made_on(environment: Mapping[str, str] | None = None) -> dt.date:
    """Return the day that stands on a card: that of SOURCE_DATE_EPOCH (seconds since 1970, UTC), else today.

    Raises:
        InputError: SOURCE_DATE_EPOCH is no such number.
    """
    told = (os.environ if environment is None else environment).get("SOURCE_DATE_EPOCH", "")
    if not told:
        return dt.datetime.now(dt.UTC).astimezone().date()
    if not (told.isascii() and told.isdigit() and int(told[:20]) <= _LATEST):
        raise InputError(
            f"SOURCE_DATE_EPOCH is {shown(told)}; it must be whole seconds since 1970, such as 1780000000"
        )
    return dt.datetime.fromtimestamp(int(told), dt.UTC).date()


def plan(table: Table, units: UnitSet, paper: Paper, day: dt.date) -> Card:
    """Lay a table out on paper.

    Args:
        table: what stands on it.
        units: the reader's.
        paper: of which size.
        day: that stands on it.
    """
    heads, cells = grid(table, units)
    heads = [(with_signs(first), with_signs(second)) for first, second in heads]
    cells = [[cell[:-1] + FIGURE_SPACE if cell.endswith(" ") else cell for cell in column] for column in cells]
    cells = _rows_with_a_value(cells)
    pages: list[CardPage] = []
    for columns in _groups(heads, cells, paper):
        names = list(dict.fromkeys(heads[k][0] for k in columns))
        there = [c for c in table.columns if c.refrigerant.title in names]
        part = Table(table.by, table.index, tuple(there), table.barometer, table.air, table.origin)
        title = f"{', '.join(names)} {_where(part)}"
        foot = (*notes(part, units), *_grades(part), _made(table, day))
        about = (
            f"{what_it_shows(part, units)[0].upper()}{what_it_shows(part, units)[1:]}. {air_sentence(part, units)}"
        )
        picked = [0, *columns]
        about, foot = with_signs(about), tuple(map(with_signs, foot))
        layout = _layout(
            [heads[k] for k in picked], [cells[k] for k in picked], paper, _heights(title, about, foot, paper)
        )
        pages += [CardPage(layout.size, layout.line, title, about, blocks, foot) for blocks in layout.pages]
    names = list(dict.fromkeys(head for head, _ in heads[1:]))
    return Card(paper, f"{', '.join(names)} {_where(table)}", tuple(pages))


def as_html(card: Card) -> str:
    """Return the card as one page of HTML without anything from elsewhere; each sheet of paper is a section of it."""
    paper = card.paper
    sections = "\n".join(_section(page, k, len(card.pages), paper) for k, page in enumerate(card.pages))
    return f"""\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>{html.escape(card.title)}</title>
<style>
@page {{ size: {paper.css}; margin: {paper.margin:g}mm; }}
body {{ margin: 0; color: #000; background: #fff; font-family: "DejaVu Sans", Verdana, Arial, sans-serif; }}
section {{ box-sizing: border-box; max-width: {paper.width - 2 * paper.margin:g}mm; margin: 0 auto;
  break-after: page; }}
section:last-child {{ break-after: auto; }}
h1 {{ font-size: {paper.title:g}pt; margin: 0; line-height: 1.15; }}
p, li {{ font-size: {paper.small:g}pt; margin: 0.3em 0; }}
ul {{ margin: 0.6em 0 0; padding: 0; list-style: none; }}
.blocks {{ display: flex; align-items: flex-start; gap: {GAP:g}em; margin-top: 0.6em; overflow-x: auto; }}
table {{ flex: 1 1 auto; border-collapse: collapse; font-variant-numeric: tabular-nums; }}
th, td {{ text-align: right; white-space: pre; padding: 0 {GAP / 2:g}em; line-height: inherit; }}
thead th {{ border-bottom: 0.1em solid #000; vertical-align: bottom; }}
tbody th {{ border-right: 0.07em solid #000; }}
tbody tr:nth-child(even) {{ background: #e9e9e9; }}
td.v {{ font-style: italic; }}
@media screen {{ section {{ padding: {paper.margin:g}mm; max-width: {paper.width:g}mm; }} }}
@media print {{ tbody tr {{ print-color-adjust: exact; -webkit-print-color-adjust: exact; }} }}
</style>
</head>
<body>
{sections}
</body>
</html>
"""


# -- the plan ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Layout:
    size: float
    line: float
    pages: tuple[tuple[Block, ...], ...]


def _rows_with_a_value(cells: list[list[str]]) -> list[list[str]]:
    """Return the columns without what has no value at either end, but for one row there, whose dash is explained."""
    there = [
        k for k, row in enumerate(zip(*cells[1:], strict=True)) if any(any(map(str.isdigit, cell)) for cell in row)
    ]
    if not there:
        return cells
    first, last = max(there[0] - 1, 0), there[-1] + 2
    return [column[first:last] for column in cells]


def _groups(heads: list[tuple[str, str]], cells: list[list[str]], paper: Paper) -> list[list[int]]:
    """Return the columns (from 1) that go onto one page together, as evenly as the fewest pages allow."""
    wide = [_width(head, column, paper.least) for head, column in zip(heads, cells, strict=True)]
    tries = [_filled(heads, wide, _room(paper) * share / 20) for share in range(10, 21)]
    return next(each for each in tries if len(each) <= len(tries[-1]))


def _filled(heads: list[tuple[str, str]], wide: list[float], room: float) -> list[list[int]]:
    """Return the columns page by page; those of one refrigerant stay together."""
    found: list[list[int]] = [[]]
    used = wide[0]
    k = 1
    while k < len(heads):
        both = [j for j in range(k, len(heads)) if heads[j][0] == heads[k][0]]
        more = sum(wide[j] for j in both)
        if found[-1] and used + more > room:
            found.append([])
            used = wide[0]
        found[-1] += both
        used += more
        k = both[-1] + 1
    return found


def _layout(heads: list[tuple[str, str]], cells: list[list[str]], paper: Paper, taken: float) -> _Layout:
    """Return the fewest pages that can be read, in the largest type that needs no more of them."""
    rows = len(cells[0])
    room = _room(paper)
    height = (paper.height - 2 * paper.margin) * POINTS - taken

    needed = [_width(head, column, 1.0) for head, column in zip(heads, cells, strict=True)]
    whole = _block(heads, cells, needed)

    def divided(size: float) -> tuple[int, int]:
        """Return how many blocks stand side by side, and how many pages it takes; none where it is too wide."""
        wide = size * whole.width
        if wide > room and size > paper.least:
            return 0, rows
        fit = max(int(height / (size * LINE)) - whole.head_lines, 1)
        blocks = math.ceil(rows / fit)
        side_by_side = min(max(int((room + GAP * size) / (wide + GAP * size)), 1), _BLOCKS, blocks)
        return side_by_side, math.ceil(blocks / side_by_side)

    sizes = [paper.most - 0.5 * k for k in range(round(2 * (paper.most - paper.least)) + 1)]
    fewest = divided(sizes[-1])[1]
    size = next(each for each in sizes if divided(each)[1] <= fewest)
    side_by_side, pages = divided(size)
    each = math.ceil(rows / (pages * side_by_side))
    line = min(max(height / ((each + whole.head_lines) * size), LINE), MOST_LINE)
    left = room - (side_by_side - 1) * GAP * size
    wider = min(max(left / (side_by_side * size * whole.width), 1.0), _MOST_WIDER)
    widths = [wider * size * width for width in needed]
    made = [_block(heads, [column[k : k + each] for column in cells], widths) for k in range(0, rows, each)]
    return _Layout(size, line, tuple(tuple(made[k : k + side_by_side]) for k in range(0, len(made), side_by_side)))


def _block(heads: list[tuple[str, str]], cells: list[list[str]], widths: list[float]) -> Block:
    return Block(tuple(heads), tuple(map(tuple, cells)), tuple(widths))


def _width(head: tuple[str, str], column: list[str], size: float) -> float:
    """Return the width of a column with its gap [pt]."""
    body = max((_letters(cell, _WIDE) for cell in column), default=0.0)
    return (max(body, *(_letters(text, _WIDE_BOLD) for text in head)) + GAP) * size


def _letters(text: str, wide: float) -> float:
    """Return how wide text is, over the size of its type [1]."""
    signs = sum(letter in _SIGNS for letter in text)
    return (len(text) - signs) * wide + signs * _NARROW


def _room(paper: Paper) -> float:
    return (paper.width - 2 * paper.margin) * POINTS


def _heights(title: str, about: str, foot: tuple[str, ...], paper: Paper) -> float:
    """Return how much of a page title and notes take [pt]."""
    taken = lines_of(title, paper.title, paper, bold=True) * paper.title * 1.2
    taken += sum(lines_of(text, paper.small, paper) for text in (about, *foot)) * paper.small * LINE
    return taken + 0.3 * paper.small * (len(foot) + 1) + 2.2 * paper.small


def lines_of(text: str, size: float, paper: Paper, *, bold: bool = False) -> int:
    """Return in how many lines a text stands on a page, rather too many than too few.

    Args:
        text: one paragraph.
        size: of its type [pt].
        paper: which page.
        bold: bold letters are wider.
    """
    letters = int(_room(paper) / (size * (_WIDE_BOLD if bold else _WIDE)))
    return max(math.ceil(1.06 * len(text) / letters), 1)


def _where(table: Table) -> str:
    """Return the place as the title says it."""
    if table.air.startswith("standard air at "):
        return f"at {table.air.removeprefix('standard air at ')}"
    if table.air == "barometer":
        return "at this barometer"
    return "at sea level (assumed)"


def _grades(table: Table) -> list[str]:
    known = dict.fromkeys(column.refrigerant for column in table.columns)
    return [f"{each.title} is graded '{each.grade}': {each.grade_reason}" for each in known]


def _made(table: Table, day: dt.date) -> str:
    return f"Made {day.isoformat()} by twogauge {__version__} from {table.origin}."


# -- HTML --------------------------------------------------------------------------------------------------------------


def _section(page: CardPage, number: int, of: int, paper: Paper) -> str:
    blocks = "\n".join(_table(block, page) for block in page.blocks)
    foot = "\n".join(f"<li>{html.escape(text)}</li>" for text in (*page.foot, *_page_number(number, of)))
    return f"""\
<section aria-label="Page {number + 1} of {of}, {html.escape(paper.name)}">
<h1>{html.escape(page.title)}</h1>
<p>{html.escape(page.about)}</p>
<div class="blocks" style="font-size: {page.size:g}pt; line-height: {page.line:.3f}">
{blocks}
</div>
<ul>
{foot}
</ul>
</section>"""


def _page_number(number: int, of: int) -> tuple[str, ...]:
    return (f"Page {number + 1} of {of}",) if of > 1 else ()


def _table(block: Block, page: CardPage) -> str:
    first, *others = block.heads
    head = f'<th scope="col">{html.escape("".join(first))}</th>' + "".join(
        f'<th scope="col">{html.escape(title)}{f"<br>{html.escape(phase)}" if phase else ""}</th>'
        for title, phase in others
    )
    rows = []
    for index, *cells in zip(*block.cells, strict=True):
        values = "".join(f"<td{' class=v' if cell.endswith('v') else ''}>{html.escape(cell)}</td>" for cell in cells)
        rows.append(f'<tr><th scope="row">{html.escape(index)}</th>{values}</tr>')
    return "\n".join(
        [
            f'<table aria-label="{html.escape(page.title)}">',
            f"<thead><tr>{head}</tr></thead>",
            "<tbody>",
            *rows,
            "</tbody></table>",
        ]
    )
