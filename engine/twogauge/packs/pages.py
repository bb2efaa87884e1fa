"""What a book consists of, whatever it is written as: pages of headings, paragraphs, lists and tables, with links."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Link:
    """A text that leads to an entry: to an anchor on a page of the book."""

    text: str
    page: str
    anchor: str = ""


Text = tuple[str | Link, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `anchor` is the id of an entry, or "" for a heading nobody links to."""

    level: int
    text: str
    anchor: str = ""


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph."""

    text: Text


@dataclass(frozen=True, slots=True)
class Items:
    """A list, numbered where the order says something."""

    items: tuple[Text, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a head."""

    head: tuple[str, ...]
    rows: tuple[tuple[Text, ...], ...]


Block = Heading | Paragraph | Items | Table


@dataclass(frozen=True, slots=True)
class Page:
    """A page of the book; `name` is that of its file, without the ending."""

    name: str
    title: str
    blocks: tuple[Block, ...]
