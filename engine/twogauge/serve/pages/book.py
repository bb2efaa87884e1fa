"""The book of the rules in force, page by page; made once, out of the files of the packs."""

from __future__ import annotations

from functools import cache
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from twogauge.output.book import HTML, block_as_html
from twogauge.output.signs import with_signs
from twogauge.packs.book import book
from twogauge.serve.desk.tools import ROOT
from twogauge.serve.site import Site, site_of

PATH: Final = f"{ROOT}/book"

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


@router.get(PATH)
async def first_page() -> Response:
    """Lead to the first page of the book."""
    return RedirectResponse(f"{PATH}/index{HTML}", status_code=303)


@router.get(f"{PATH}/{{name}}{HTML}")
async def book_page(name: str, site: Here) -> Response:
    """Show a page of the book."""
    pages = await site.work(_pages, site)
    if name not in pages:
        raise HTTPException(404)
    titles = [(f"{PATH}/{each}{HTML}", title) for each, (title, _) in pages.items()]
    title, body = pages[name]
    return site.page("book.html", here=PATH, title=title, body=body, contents=titles, at=f"{PATH}/{name}{HTML}")


@cache
def _pages(site: Site) -> dict[str, tuple[str, Markup]]:
    """Return name -> title and content of each page."""
    return {
        page.name: (page.title, Markup(with_signs("\n".join(map(block_as_html, page.blocks)))))  # noqa: S704 - escaped there
        for page in book(site.in_full)
    }
