"""The pages of commands: the list of them, and a form with its answer for each.

State is in the address. A form without JavaScript sends all its controls and is led to the short address.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from twogauge.cli.answered import Answered
from twogauge.cli.diagnose import read_conditions
from twogauge.errors import InputError
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk.asked import Asked, Trouble, beside
from twogauge.serve.desk.controls import controls_of
from twogauge.serve.desk.paper import PagePaper
from twogauge.serve.desk.tools import EXPECT, OF_COMMANDS, ROOT, Tool
from twogauge.serve.page import Page
from twogauge.serve.site import Site, site_of
from twogauge.serve.units import usual_unit

MOST_PAIRS: Final = 200
_TOOLS: Final = {tool.name: tool for tool in OF_COMMANDS}

router = APIRouter(include_in_schema=False)
PAGE: Final = Page(ROOT, "Everything else", router)
Here = Annotated[Site, Depends(site_of)]


@router.get(ROOT)
async def tools_page(site: Here) -> Response:
    """List the pages."""
    return site.page("tools.html", here=ROOT, tools=OF_COMMANDS)


@router.get(f"{ROOT}/{{name}}")
async def tool_page(name: str, request: Request, site: Here) -> Response:
    """Show the form of a command, and its answer to what stands in the address."""
    tool = _TOOLS.get(name)
    if tool is None:
        raise HTTPException(404)
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    asked = Asked.read(pairs, controls_of(tool.command(), tool.shown, site.program), site.settings.units)
    if any(key.endswith((".unit", ".was")) for key, _ in pairs):
        return RedirectResponse(f"{tool.path}?{asked.query()}#result", status_code=303)

    def work() -> str:
        return show(tool, asked, site, lambda given: _answer(tool, given, site.program))

    return Response(await site.work(work), media_type="text/html")


def show(
    tool: Tool,
    asked: Asked,
    site: Site,
    answer: Callable[[dict[str, Any]], Answered],
    template: str = "tool.html",
    **more: Any,
) -> str:
    """Return a page with its form and its answer.

    Args:
        tool: the page.
        asked: what was typed.
        site: the settings and templates.
        answer: asks the command.
        template: of the page.
        more: what the template needs besides.
    """
    troubles, result = result_of(asked, answer) if tool.alone or not asked.says_nothing else ({}, None)
    views = asked.views(troubles)
    labels = {each.name: each.label for each in asked.controls}
    return site.text(
        template,
        here=tool.path,
        tool=tool,
        asked=asked,
        units=[unit.value for unit in UnitSet],
        first=[views[name] for name in tool.first if name in views],
        more=[views[name] for name in tool.more if name in views],
        is_open=any(name in asked.values or name in troubles for name in tool.more),
        summary=[(name, labels.get(name, ""), sentence) for name, sentence in troubles.items()],
        result=result,
        usual_units=_usual_units(asked),
        **more,
    )


def result_of(asked: Asked, answer: Callable[[dict[str, Any]], Answered]) -> tuple[Mapping[str, str], Markup | None]:
    """Return what is wrong with what was typed, by control, and the answer as HTML, None without any."""
    links = {each.flag: (each.name, each.label) for each in asked.controls if each.flag}
    try:
        given = asked.given()
        paper = PagePaper(links, verbose=bool(given.pop("verbose", False)))
        answer(given).write(paper)
        return {}, paper.html()
    except Trouble as trouble:
        return trouble.troubles, None
    except InputError as error:
        return beside(error, asked), None


def _answer(tool: Tool, given: dict[str, Any], program: Program) -> Answered:
    if tool is EXPECT:
        from twogauge.cli.expect import answer  # noqa: PLC0415 - beside the command of the same name

        units = given.pop("units")
        return answer(program, read_conditions(given, [], None, units))
    function = tool.command().answers  # type: ignore[attr-defined]  # of @answering
    if "program" in function.__code__.co_varnames[: function.__code__.co_argcount]:
        given["program"] = program
    found: Answered = function(**given)
    return found


def _usual_units(asked: Asked) -> Callable[[str], tuple[tuple[str, str], ...]]:
    known = {each.name: each.known for each in asked.controls}
    return lambda name: tuple((units.value, usual_unit(known[name], units)) for units in UnitSet)
