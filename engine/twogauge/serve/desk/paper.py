"""The paper of a page: takes what the service commands write and makes HTML of it, everything escaped."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from markupsafe import Markup, escape

from twogauge.output.paper import Paper, first_source
from twogauge.output.style import Style

if TYPE_CHECKING:
    from twogauge.diagnosis import Warned
    from twogauge.service.facts import Source

_COLUMNS: Final = 42  # fit on a telephone
_OPTION: Final = re.compile(r"--([a-z][a-z-]*)")
_BOXES: Final = {"[ ]": "\u2610", "[x]": "\u2611", "[-]": "\u2612"}
_BOX: Final = re.compile(r"^\[[ x-]\]")


class PagePaper(Paper):
    """A part of a page; a caution stands on it once.

    Args:
        controls: option of the command line -> (name, label) of the control that stands for it on this page.
        verbose: cautions in full, and every source.
    """

    def __init__(self, controls: Mapping[str, tuple[str, str]] | None = None, *, verbose: bool = False) -> None:
        super().__init__(Style(_COLUMNS), verbose=verbose)
        self._controls = controls or {}
        self._parts: list[Markup] = []
        self._items: list[Markup] = []
        self._cared: set[str] = set()
        self._below = 0

    def html(self, picture: Markup = Markup("")) -> Markup:  # noqa: B008 - it never changes
        """Return all of it.

        Args:
            picture: that stands right below the answer, where one looks while typing.
        """
        self._end_list()
        return Markup("\n").join([*self._parts[: self._below], picture, *self._parts[self._below :]])

    def answer(self, sentence: str) -> None:
        """Begin with what was asked for."""
        self._add("<h2>{}</h2>", self._text(sentence))
        self._below = self._below or len(self._parts)

    def head(self, title: str) -> None:
        """Begin a section."""
        self._add("<h3>{}</h3>", self._text(_BOX.sub(lambda match: _BOXES[match[0]], title)))

    def laid_out(self, lines: Callable[[Style], Iterable[str]]) -> None:
        """Add lines that are laid out in columns already."""
        self._add('<pre class="laid">{}</pre>', "\n".join(lines(self._style)))

    def say(self, sentence: str, indent: str = "  ") -> None:  # noqa: ARG002 - a page has no columns to indent
        """Add a sentence."""
        self._add("<p>{}</p>", self._text(sentence))

    def command(self, lead: str, line: str) -> None:
        """Add a line to be typed at the command line."""
        self._add('<p class="fine">{} <code>{}</code></p>', self._style.clean(lead), self._style.clean(line))

    def rows(self, rows: Sequence[Sequence[str]]) -> None:
        """Add a table; the first cell of a row names it."""
        if not rows:
            return
        body = Markup("\n").join(
            Markup("<tr>{}{}</tr>").format(
                Markup('<th scope="row">{}</th>').format(self._text(row[0])),
                Markup("").join(Markup("<td>{}</td>").format(self._text(cell)) for cell in row[1:]),
            )
            for row in rows
        )
        self._add("<table><tbody>{}</tbody></table>", body)

    def table(self, heads: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> None:
        """Add a table with heads of two lines; a wide one is moved sideways by itself.

        Args:
            heads: of the columns.
            rows: of cells, as many as there are heads.
        """
        top = Markup("").join(
            Markup('<th scope="col">{}{}</th>').format(first, Markup("<br>{}").format(second) if second else "")
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
            "<table><thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>",
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
        self._items.append(Markup("<li>{}{}</li>").format(f"{box} " if box else "", self._text(text + behind)))

    def source(self, source: Source, indent: str = "    ") -> None:  # noqa: ARG002
        """Add a source, where sources are wanted."""
        if self.verbose:
            self._add('<p class="fine">({})</p>', self._text(str(source)))

    def note(self, sentence: str) -> None:
        """Add what matters least."""
        self._add('<p class="fine">{}</p>', self._text(sentence))

    def care(self, cautions: Iterable[Warned]) -> None:
        """Add the cautions that were not told yet; the whole of each is one tap away."""
        new = [each for each in dict.fromkeys(cautions) if each.caution not in self._cared]
        self._cared.update(each.caution for each in new)
        if not new:
            return
        entries = Markup("\n").join(Markup("<li>{}</li>").format(self._caution(each)) for each in new)
        self._add('<div class="care"><p class="care-head">Take care</p><ul>{}</ul></div>', entries)

    def _caution(self, each: Warned) -> Markup:
        if self.verbose or each.text == each.short:
            return escape(self._style.clean(each.text))
        told = (self._style.clean(each.short), self._style.clean(each.text))
        return Markup("<details><summary>{}</summary><p>{}</p></details>").format(*told)

    def _sourced(self, source: Source | None) -> Markup:
        if source is None or not self.verbose:
            return Markup("")
        return Markup(' <span class="fine">({})</span>').format(self._style.clean(str(source)))

    def _text(self, text: str) -> Markup:
        """Return escaped text in which an option of the command line leads to its control."""

        def link(match: re.Match[str]) -> str:
            found = self._controls.get(match[1])
            return match[0] if found is None else f'<a href="#f-{escape(found[0])}">{escape(found[1])}</a>'

        return Markup(_OPTION.sub(link, str(escape(self._style.clean(text)))))  # noqa: S704 - escaped before

    def _add(self, html: str, *what: object) -> None:
        self._end_list()
        self._parts.append(Markup(html).format(*what))  # noqa: S704 - our own words; what is put in is escaped

    def _end_list(self) -> None:
        if self._items:
            entries, self._items = self._items, []
            self._parts.append(Markup("<ul>{}</ul>").format(Markup("\n").join(entries)))
