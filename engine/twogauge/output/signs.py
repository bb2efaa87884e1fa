"""Units as they are written on a page, in a picture and on paper; at the command line they stand as they are typed."""

from __future__ import annotations

import re
from typing import Final

_DEGREE: Final = re.compile(r"(?<![A-Za-z])deg([FC])\b")


def with_signs(text: str) -> str:
    """Return a text in which degF and degC are written with the sign of a degree."""
    return _DEGREE.sub("\u00b0\\1", text)
