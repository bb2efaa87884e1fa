"""The pages of commands: the list of them, and a form with its answer for each.

State is in the address. A form without JavaScript sends all its controls and is led to the short address.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from twogauge.cli.answered import Answered, ask
from twogauge.serve.desk.asked import Asked
from twogauge.serve.desk.controls import controls_of
from twogauge.serve.desk.sent import MOST_PAIRS, is_of_a_form
from twogauge.serve.desk.show import show
from twogauge.serve.desk.tools import EXPECT, OF_COMMANDS, ROOT, TABLE, WITH_TEXTS, Tool
from twogauge.serve.page import Page
from twogauge.serve.pages import book, expect, job, picture, table, texts
from twogauge.serve.site import Site, site_of

_TOOLS: Final = {tool.name: tool for tool in OF_COMMANDS}

router = APIRouter(include_in_schema=False)
for _each in (texts, table, expect, job, book, picture):
    router.include_router(_each.router)
PAGE: Final = Page(ROOT, "Everything else", router)
Here = Annotated[Site, Depends(site_of)]


@router.get(ROOT)
async def tools_page(site: Here) -> Response:
    """List the pages."""
    return site.page(
        "tools.html", here=ROOT, tools=(*WITH_TEXTS, TABLE, EXPECT, *OF_COMMANDS), book=book.PATH, job=job.PATH
    )


@router.get(f"{ROOT}/{{name}}")
async def tool_page(name: str, request: Request, site: Here) -> Response:
    """Show the form of a command, and its answer to what stands in the address."""
    tool = _TOOLS.get(name)
    if tool is None:
        raise HTTPException(404)
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    asked = Asked.read(pairs, controls_of(tool.command(), tool.shown, site.program), site.settings.units)
    if is_of_a_form(request):
        return RedirectResponse(f"{tool.path}?{asked.query()}#result", status_code=303)

    def work() -> str:
        return show(tool, asked, site, lambda given: _answer(tool, given, site))

    return Response(await site.work(work), media_type="text/html")


def _answer(tool: Tool, given: dict[str, Any], site: Site) -> Answered:
    return ask(
        tool.command(), site.program, given
    )  # without folders of rules: a path of this machine is told to nobody
