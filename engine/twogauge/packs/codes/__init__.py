"""Every kind of problem a pack can have, by its code: stable names, for programs and for `twogauge rules explain`.

A code is written where the problem is found; this is the list of them. To add one, add it to the module of its kind,
with an example of each side: a test runs both.
"""

from __future__ import annotations

from typing import Final

from twogauge.packs.codes import entries, files, findings, packs
from twogauge.packs.codes.code import ABOUT, Code

__all__ = ["ABOUT", "CODES", "Code"]

CODES: Final[dict[str, Code]] = {
    code.name: code for group in (files.CODES, packs.CODES, entries.CODES, findings.CODES) for code in group
}
