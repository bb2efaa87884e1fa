"""The paper of a page: takes what the service commands write and makes HTML of it, everything escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from twogauge.output.paper import Pairs, Paper, Points, Table, first_source
from twogauge.output.style import Style
from twogauge.serve.desk.lines import JOB, place_of
from twogauge.serve.desk.wording import Wording
from twogauge.serve.labels import word_of

if TYPE_CHECKING:
    from twogauge.diagnosis import Warned
    from twogauge.service.facts import Source

_BOXES: Final = {"[ ]": "\u2610", "[x]": "\u2611", "[-]": "\u2612"}
_CARE: Final = '<div class="care" role="note" aria-label="Take care">'
_MOST_BESIDE: Final = 3  # columns that fit beside each other on a telephone, whatever stands in them


class PagePaper(Paper):
    """A part of a page; a caution stands on it once.

    Args:
        wording: how the page says what the command line says.
        verbose: cautions in full, and every source.
    """

    def __init__(self, wording: Wording | None = None, *, verbose: bool = False) -> None:
        super().__init__(Style(), verbose=verbose)
        self._wording = wording or Wording()
        self._parts: list[Markup] = []
        self._items: list[Markup] = []
        self._cared: set[str] = set()
        self._below = 0
        self._led_to_job = False
        self.said = ""  # the answer in a sentence, as text

    def html(self, picture: Markup = Markup("")) -> Markup:  # noqa: B008 - it never changes
        """Return all of it.

        Args:
            picture: that stands right below the answer, where one looks while typing.
        """
        self._end_list()
        return Markup("\n").join([*self._parts[: self._below], picture, *self._parts[self._below :]])

    def answer(self, sentence: str, hint: str = "") -> None:  # noqa: ARG002 - for who types
        """Begin with what was asked for."""
        self._add("<h2>{}</h2>", self._text(sentence))
        self._below = self._below or len(self._parts)
        self.said = self.said or str(self._text(sentence).striptags())

    def about(self, sentence: str) -> None:
        """Begin with what the figures below are of."""
        self.answer(sentence)

    def head(self, title: str) -> None:
        """Begin a section."""
        self._add("<h3>{}</h3>", self._text(title))

    def task(self, count: int, name: str, box: str) -> None:
        """Begin a section about something to be ticked off."""
        state = {"x": "done", "-": "does not apply"}.get(box, "")
        level = Markup(' <span class="level">{}</span>').format(state) if state else ""
        self._add(
            '<h3 class="task"><span aria-hidden="true">{}</span> {}. {}{}</h3>',
            _BOXES[f"[{box}]"],
            count,
            word_of(self._style.clean(name)).capitalize(),
            level,
        )

    def laid_out(self, what: Table | Pairs | Points, lines: object = None) -> None:  # noqa: ARG002 - of a terminal
        """Add a table or a list with its title above it."""
        title = self._text(what.title)
        caption = Markup("<caption>{}</caption>").format(title)
        if isinstance(what, Table):
            self._add("{}", self._table(what, caption))
        elif isinstance(what, Pairs) and what.fine:
            heard = Markup('<caption class="heard">{}</caption>').format(title)
            inside = self._table(Table(what.title, what.pairs), heard)
            self._add('<details class="fine"><summary>{}</summary>{}</details>' if inside else "", title, inside)
        elif isinstance(what, Pairs):
            self._add("{}", self._table(Table(what.title, what.pairs), caption))
        elif what.care:
            self._add(_CARE + '<h3 class="care-head">{}</h3>{}</div>', title, self._listed(what.points))
        elif what.points:
            self._add("<h3>{}</h3>{}", title, self._listed(what.points))

    def rows(self, table: Table, *, headed: bool = False) -> None:  # noqa: ARG002 - a page shows each head
        """Add a table below a heading that says the same as its title, which is only heard then."""
        caption = Markup('<caption class="heard">{}</caption>').format(self._text(table.title))
        self._add("{}", self._table(table, caption))

    def say(self, sentence: str, indent: str = "  ") -> None:  # noqa: ARG002 - a page has no columns to indent
        """Add a sentence."""
        self._add("<p>{}</p>", self._text(sentence))

    def command(self, lead: str, line: str) -> None:
        """Add the page that does what a line at the command line does; the line itself where there is none, or in full."""
        lead, line = self._style.clean(lead), self._style.clean(line)
        place = place_of(line, self._wording.units)
        link = Markup("")
        # Many lines keep something in the job sheet: its page is offered once.
        if place is not None and place.path != self._wording.here and not (place.path == JOB and self._led_to_job):
            self._led_to_job = self._led_to_job or place.path == JOB
            link = Markup('<a class="button plain" href="{}">Open {}</a> ').format(place.address, place.title)
        typed = Markup('<span class="fine">{} <code>{}</code></span>').format(lead, line)
        shown = link + typed if place is None or self.verbose else link
        if shown:
            self._add('<p class="typed">{}</p>', shown)

    def grid(self, title: str, heads: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> None:
        """Add a table of figures with heads of two lines; a wide one is moved sideways by itself.

        Args:
            title: what it is a table of.
            heads: of the columns.
            rows: of cells, as many as there are heads.
        """
        top = Markup("").join(
            Markup('<th scope="col">{}{}</th>').format(
                self._text(first), Markup("<br>{}").format(self._text(second)) if second else ""
            )
            for first, second in heads
        )
        body = Markup("\n").join(
            Markup('<tr><th scope="row">{}</th>{}</tr>').format(
                row[0], Markup("").join(Markup("<td>{}</td>").format(cell) for cell in row[1:])
            )
            for row in rows
        )
        self._add(
            '<div class="scroll" role="region" aria-label="Table" tabindex="0">'
            '<table><caption class="heard">{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>',
            self._text(title),
            top,
            body,
        )

    def links(self, links: Iterable[tuple[str, str]]) -> None:
        """Add links, each with its text, as buttons."""
        each = [Markup('<a class="button plain" href="{}">{}</a>').format(where, text) for where, text in links]
        self._add('<p class="answers">{}</p>', Markup(" ").join(each))

    def steps(self, steps: Iterable[tuple[str, Source | None]]) -> None:
        """Add numbered steps, each with its source where sources are wanted."""
        entries = [Markup("<li>{}{}</li>").format(self._text(text), self._sourced(by)) for text, by in steps]
        if entries:
            self._add("<ol>{}</ol>", Markup("\n").join(entries))

    def item(self, begin: str, text: str, source: Source) -> None:
        """Add one item of a list, with who says so behind it."""
        named = first_source(source.text)
        behind = f" ({source})" if self.verbose else f" ({named})" if named else ""
        box = _BOXES.get(begin.strip(), "")
        shown = Markup('<span aria-hidden="true">{}</span> ').format(box) if box else ""
        self._items.append(
            Markup("<li{}>{}{}</li>").format(Markup(' class="box"') if box else "", shown, self._text(text + behind))
        )

    def source(self, source: Source, indent: str = "    ") -> None:  # noqa: ARG002
        """Add a source, where sources are wanted."""
        if self.verbose:
            self._add('<p class="fine">({})</p>', self._text(str(source)))

    def note(self, sentence: str, hint: str = "") -> None:  # noqa: ARG002 - for who types
        """Add what matters least."""
        self._add('<p class="fine">{}</p>', self._text(sentence))

    def care(self, cautions: Iterable[Warned]) -> None:
        """Add the cautions that were not told yet, each in a line; the whole of them is one tap away."""
        new = [each for each in dict.fromkeys(cautions) if each.caution not in self._cared]
        self._cared.update(each.caution for each in new)
        if not new:
            return
        longer = [each.text for each in new if each.text != each.short]
        shown = [each.text if self.verbose else each.short for each in new]
        whole = Markup("")
        if longer and not self.verbose:
            whole = Markup("<details><summary>{}</summary>{}</details>").format(
                "All of it" if len(longer) == 1 else "Each of them in full", self._listed(longer)
            )
        self._add(_CARE + '<p class="care-head">Take care</p>{}{}</div>', self._listed(shown), whole)

    def _listed(self, texts: Iterable[str]) -> Markup:
        entries = Markup("\n").join(Markup("<li>{}</li>").format(self._text(each)) for each in texts)
        return Markup("<ul>{}</ul>").format(entries)

    def _table(self, table: Table, caption: Markup) -> Markup:
        """Return a table; the roles stay where a narrow screen shows its rows as blocks."""
        if not table.rows:
            return Markup("")
        heads = [self._text(each) for each in table.head]
        head = Markup("").join(
            Markup('<th scope="col" role="columnheader">{}</th>').format(each)
            if each
            else Markup('<td role="cell"></td>')
            for each in heads
        )
        top = Markup('<thead role="rowgroup"><tr role="row">{}</tr></thead>').format(head) if heads else head
        commands = table.commands or [""] * len(table.rows)
        body = Markup("\n").join(
            self._row(row, heads, command) for row, command in zip(table.rows, commands, strict=True)
        )
        kind = Markup(' class="stack"') if len(table.rows[0]) > _MOST_BESIDE else ""
        return Markup('<table role="table"{}>{}{}<tbody role="rowgroup">{}</tbody></table>').format(
            kind, caption, top, body
        )

    def _row(self, row: Sequence[str], heads: Sequence[Markup], command: str) -> Markup:
        name = self._text(row[0])
        place = place_of(command, self._wording.units) if command else None
        if place is not None:
            name = Markup('<a href="{}">{}</a>').format(place.address, name)
        cells = [Markup('<th scope="row" role="rowheader">{}</th>').format(name)]
        for cell, head in zip_longest(row[1:], heads[1:], fillvalue=Markup("")):
            shown = Markup("<br>").join(self._text(part) for part in cell.split("\n"))
            label = Markup(' data-head="{}"').format(head.striptags()) if head else ""
            cells.append(Markup('<td role="cell"{}>{}</td>').format(label, shown))
        return Markup('<tr role="row">{}</tr>').format(Markup("").join(cells))

    def _sourced(self, source: Source | None) -> Markup:
        if source is None or not self.verbose:
            return Markup("")
        return Markup(' <span class="fine">({})</span>').format(self._text(str(source)))

    def _text(self, text: str) -> Markup:
        """Return escaped text in the words of the page."""
        return self._wording.html(self._style.clean(text))

    def _add(self, html: str, *what: object) -> None:
        self._end_list()
        self._parts.append(Markup(html).format(*what))  # noqa: S704 - our own words; what is put in is escaped

    def _end_list(self) -> None:
        if self._items:
            entries, self._items = self._items, []
            self._parts.append(Markup("<ul>{}</ul>").format(Markup("\n").join(entries)))
