"""The pages that use pasted or uploaded texts: a vacuum hold, nitrogen, two readings, a plan, rules.

Their form is sent as a body. What fits into an address is led to it, so that it can be kept and sent; a longer text is
answered at once. Texts are read by the loaders of the command line and within their bounds; none is kept.
"""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from twogauge.cli import compare, hold, plan
from twogauge.cli.answered import Answered
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk import own_rules
from twogauge.serve.desk.asked import Asked, Trouble
from twogauge.serve.desk.controls import controls_of
from twogauge.serve.desk.sent import MOST_PAIRS, is_of_a_form, pairs_of, reading_of
from twogauge.serve.desk.show import result_of, show
from twogauge.serve.desk.tools import COMPARE, NITROGEN, PLAN, RULES, WITH_TEXTS, Tool
from twogauge.serve.site import Site, site_of
from twogauge.service.job_salvage import read_what_can_be

LONGEST_ADDRESS: Final = 6000  # characters of a query; any browser and messenger takes that
_OTHER_READING: Final = (
    "Still to come: below the other diagnosis press "
    "\u201cIt is from {} the repair\u201d; this one is kept until then."
)

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


def _add(tool: Tool) -> None:
    async def shown(request: Request, site: Here) -> Response:
        pairs = request.query_params.multi_items()[:MOST_PAIRS]
        if is_of_a_form(request):
            return RedirectResponse(f"{tool.path}?{_asked(tool, pairs, site).query()}#result", status_code=303)
        asked = _asked(tool, pairs, site)
        return await _page(tool, asked, site)

    async def sent(request: Request, site: Here) -> Response:
        asked = await site.work(_asked, tool, await pairs_of(request, site), site)
        query = asked.query()
        if not asked.aside & asked.texts.keys() and len(query) <= LONGEST_ADDRESS:
            return RedirectResponse(f"{tool.path}?{query}#result", status_code=303)
        return await _page(tool, asked, site)

    async def live(request: Request, site: Here) -> Response:
        asked = await site.work(_asked, tool, await pairs_of(request, site), site)

        def work() -> str:
            call = partial(_answer, tool, asked, program=site.program)
            return site.text("answered.html", found=result_of(tool, asked, call, site.program))

        return Response(await site.work(work), media_type="text/html")

    router.add_api_route(tool.path, shown, methods=["GET"], name=f"{tool.name} shown")
    router.add_api_route(tool.path, sent, methods=["POST"], name=f"{tool.name} sent")
    router.add_api_route(f"{tool.path}/live", live, methods=["POST"], name=f"{tool.name} live")


for _tool in WITH_TEXTS:
    _add(_tool)


def _asked(tool: Tool, pairs: list[tuple[str, str]], site: Site) -> Asked:
    controls = controls_of(tool.command(), tool.shown, site.program)
    return Asked.read(pairs, controls, site.settings.units, tool.texts)


async def _page(tool: Tool, asked: Asked, site: Site) -> Response:
    def work() -> str:
        return show(tool, asked, site, partial(_answer, tool, asked, program=site.program))

    return Response(await site.work(work), media_type="text/html")


def _answer(tool: Tool, asked: Asked, given: dict[str, Any], program: Program) -> Answered:
    missing = [each.name for each in tool.texts if not each.aside and not asked.texts.get(each.name)]
    if missing:
        kept = tool is COMPARE and len(missing) < len(tool.texts)
        raise Trouble({name: _OTHER_READING.format(name) if kept else "This is needed." for name in missing})
    units = given.pop("units")
    if tool is PLAN:
        return _planned(asked.texts.get("sheet", ""), given, units, program)
    if tool is COMPARE:
        readings = [reading_of(each.name, asked.texts[each.name], units, program) for each in tool.texts]
        return compare.answer(program, *readings)
    if tool is RULES:
        return _rules_tried(asked.texts["rules"], asked.texts.get("reading", ""), units, program)
    rows = asked.texts["log"].encode()
    return hold.answer_to_text(program, "log", rows, nitrogen=tool is NITROGEN, units=units, **given)


def _rules_tried(text: str, on: str, units: UnitSet, program: Program) -> Answered:
    """Return what is wrong with rules, and what they change of a reading where there is one."""
    found = own_rules.tried(text, program)
    reading = reading_of("reading", on, units, found.program) if on and found.program is not None else None
    return own_rules.answer(found, program, reading)


def _planned(text: str, given: dict[str, Any], units: UnitSet, program: Program) -> Answered:
    """Return a plan, with what is ticked in a job sheet where there is one."""
    sheet = read_what_can_be("sheet", text.encode()) if text else None
    name = given.pop("name", None)
    found = plan.answer(program, name, given, sheet, ticked_in="the job sheet" if sheet else "", units=units)
    if sheet is None or not sheet.problems:
        return found

    def write(page: Any) -> None:
        found.write(page)
        page.head("Cannot be read in the job sheet")
        for problem in sheet.problems:
            page.say(f"line {problem.place.line}: {problem.message}")

    return Answered(found.document, write, found.found)
