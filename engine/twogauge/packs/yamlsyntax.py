"""What is wrong with a text that is not the YAML read here, in sentences of our own instead of the parser's.

Tells a writer of rules or readings what to do, and where; yamlfile.py finds the rest, which the parser lets pass.
"""

from __future__ import annotations

import re
from typing import Final

import yaml

from twogauge.errors import shown
from twogauge.packs.problems import Place, Problem

MAX_DEPTH: Final = 20

NO_ANCHORS: Final = "anchors and aliases (& and *) are not used here; write the value out, or put the text in quotes"
NO_TABS: Final = "a tab stands where only spaces may; indent with spaces"
NO_TAGS: Final = "tags (!) are not used here; remove this one, or put the text in quotes"
NO_DIRECTIVES: Final = "directives (%) are not used here; remove this line"
ONE_DOCUMENT: Final = (
    "a file holds one document, and it has ended before this line; move the rest into a file of its own"
)
TOO_DEEP: Final = f"more than {MAX_DEPTH} levels inside each other; flatten this"
TEXT_KEYS: Final = "a key is plain text here; write 'key: value'"

# What the parser stumbled over, in our words. The first row whose words all occur in the parser's complaint counts;
# `begin` places it where the construct began instead of where the parser gave up. {char} and {opened} are filled in.
_SYNTAX: Final[tuple[tuple[tuple[str, ...], str, bool, str], ...]] = (
    (("tab character",), "tab", False, NO_TABS),
    (("alias",), "anchor", True, NO_ANCHORS),
    (("anchor",), "anchor", True, NO_ANCHORS),
    ((" tag",), "tag", True, NO_TAGS),
    (("directive",), "directive", True, NO_DIRECTIVES),
    (("incompatible",), "directive", False, NO_DIRECTIVES),
    (("quoted scalar", "end of stream"), "open-quote", True, "this quote is never closed; add the closing quote"),
    (
        ("quoted scalar", "unexpected document"),
        "open-quote",
        True,
        "this quote is not closed before a line that begins with --- or ...; add the closing quote",
    ),
    (
        ("quoted scalar",),
        "escape",
        False,
        "this backslash escape is not known; write \\\\ for a backslash, or use single quotes",
    ),
    (
        ("block scalar",),
        "syntax",
        False,
        "only a comment may follow > or | on its line; begin the text on the next line, or put it in quotes",
    ),
    (
        ("could not find expected ':'",),
        "syntax",
        True,
        "this line has no ': ' after its key; write 'key: value', or indent it if it continues the text above",
    ),
    (
        ("sequence entries are not allowed",),
        "syntax",
        False,
        "a list cannot begin on this line; put '- ' on the next",
    ),
    (("mapping keys are not allowed",), "syntax", False, "a value cannot begin with '? '; put it in quotes"),
    (("cannot start any token",), "syntax", False, "a value cannot begin with {char}; put it in quotes"),
    (("exceeded maximum",), "too-deep", False, TOO_DEEP),  # the parser reads ahead, and has its own limit
    (("node content",), "syntax", False, "a value should stand here, not {char}; put it in quotes if it is text"),
    (
        ("flow",),
        "syntax",
        False,
        "a ',' is missing before this, or the bracket opened at {opened} is not closed; in prose, use quotes",
    ),
    (("document start",), "several-documents", False, ONE_DOCUMENT),
)


def syntax_problem(name: str, text: str, error: Exception) -> Problem:
    """Return what is wrong and what to do, at the place where it can be mended.

    Args:
        name: path of the file, for the place.
        text: its content.
        error: what the parser raised about it.
    """
    if not isinstance(error, yaml.MarkedYAMLError) or error.problem_mark is None:
        return Problem(Place(name), "syntax", f"this is not YAML that can be read: {shown(str(error))}")
    mark, begin = error.problem_mark, error.context_mark or error.problem_mark
    complaint = f"{error.context or ''}: {error.problem or ''}"
    char = text[mark.index : mark.index + 1]
    before = text[mark.index - mark.column : mark.index]
    code, at, message = "syntax", mark, ""

    block = "parsing a block" in complaint or "mapping values are not allowed" in complaint
    indent = before[: len(before) - len(before.lstrip())]
    if char == "\t" or (block and "\t" in indent):
        column = indent.find("\t") if "\t" in indent else mark.column
        return Problem(Place(name, mark.line + 1, column + 1), "tab", NO_TABS)
    if "mapping values are not allowed" in complaint:
        message = _misplaced_colon(before)
    elif not char and "flow node" in complaint:
        message = "the file ends inside brackets; close every { and ["
    elif char in ("]", "}") and "parsing a flow" not in complaint:
        message = f"this {char!r} closes nothing; remove it, or put the value in quotes"
    elif "parsing a block" in complaint and "node content" not in complaint:
        message = _misplaced_in_block(complaint, before, char)
    else:
        for words, row_code, at_begin, sentence in _SYNTAX:
            if all(word in complaint for word in words):
                code, at = row_code, begin if at_begin else mark
                opened = f"line {begin.line + 1}, column {begin.column + 1}"
                what = repr(char) if char.strip() else "the end of the line"
                message = sentence.replace("{char}", what).replace("{opened}", opened)
                break
        else:
            message = f"this is not YAML that can be read: {shown(complaint)}"
    return Problem(Place(name, at.line + 1, at.column + 1), code, message)


def _misplaced_colon(before: str) -> str:
    if re.search(r":\s", before):
        return "a colon inside a value: put the value in quotes, or on the next line under >"
    if len(before) > 1024:
        return "a key has at most 1024 characters; shorten it, or put the text in quotes"
    return (
        "a key cannot stand here, the value above goes on to this line; "
        "indent it like the other keys, or put the text in quotes or under >"
    )


def _misplaced_in_block(complaint: str, before: str, char: str) -> str:
    if char == ":":
        return "a key is missing before this colon; write 'key: value'"
    if before.strip():
        return "the value has ended before this; put the whole value in quotes"
    if "block collection" in complaint:
        return "a '- ' is missing here, or the line is not indented like the rest; begin it like the items above"
    if char == "-":
        return "a list item among keys; indent the list under its key, or remove the '- '"
    return "this line is not indented like the keys above; align it with them"
