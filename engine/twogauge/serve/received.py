"""A file that a browser sent, as text, in whichever of the usual encodings an editor or a spreadsheet wrote it."""

from __future__ import annotations

from typing import Final

from twogauge.errors import FileProblems
from twogauge.packs.problems import Place, Problem

_MARKS: Final = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))
_LOOKED_AT: Final = 400  # bytes, for zeros between the letters


def decoded(name: str, content: bytes) -> str:
    """Return the text of a file: by its mark, else UTF-16 if it looks so, UTF-8, or the usual one of old Windows.

    Args:
        name: in messages; what a browser calls the file is not used.
        content: what was sent.

    Raises:
        FileProblems: it is no text.
    """
    for encoding in _encodings(content):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    message = "this file is not text; save it as plain text in UTF-8"
    raise FileProblems([Problem(Place(name), "encoding", message)])


def _encodings(content: bytes) -> tuple[str, ...]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return (encoding,)
    for first, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        halves = content[first:_LOOKED_AT:2]
        if 2 * halves.count(0) > len(halves):
            return (encoding,)
    return "utf-8", "cp1252"
