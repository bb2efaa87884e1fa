"""The pages in the order of the menu: one module each, with a `PAGE`."""

from __future__ import annotations

from typing import Final

from twogauge.serve.page import Page
from twogauge.serve.pages import diagnosis, tools

PAGES: Final[tuple[Page, ...]] = (diagnosis.PAGE, tools.PAGE)
