"""The page of what is normal today: the conditions, the maker's ranges and what this machine showed when it cooled well.

State is in the address as on the main page, so that what was typed here goes along to a diagnosis.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from twogauge.cli.expect import answer
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.quantities import UnitSet
from twogauge.serve.answer import Answer, usable
from twogauge.serve.desk.paper import PagePaper
from twogauge.serve.desk.sent import is_of_a_form
from twogauge.serve.desk.show import Result
from twogauge.serve.desk.tools import EXPECT
from twogauge.serve.desk.wording import Wording
from twogauge.serve.good import good_view
from twogauge.serve.pages import files
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import State
from twogauge.serve.view import field_view, spec_view, summary_of, usual_units

_FILE: Final = f"{EXPECT.path}/good"

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


@router.get(EXPECT.path)
async def expect_page(request: Request, site: Here) -> Response:
    """Show the form, and what is normal under what stands in the address."""
    state = files.state_of(request, site)
    if is_of_a_form(request):
        return RedirectResponse(f"{EXPECT.path}?{state.query()}#result", status_code=303)
    return Response(await site.work(_shown, state, site), media_type="text/html")


@router.post(_FILE)
async def expect_with_a_file(request: Request, site: Here) -> Response:
    """Lead to the address that holds what was typed, and a file as what this machine showed when it cooled well."""
    return await files.opened_beside(request, site, EXPECT.path)


def _shown(state: State, site: Site) -> str:
    reading, troubles = usable(state, site.program)
    told = Answer(troubles=troubles)
    views = {name: field_view(FIELDS[name], state, told, site.program) for name in EXPECT.shown}
    found = Result(EXPECT.begin)
    if reading is not None and not state.says_nothing:
        wording = Wording(
            {FIELDS[name].flag: (name, each.label) for name, each in views.items()}, state.units, EXPECT.path
        )
        paper = PagePaper(wording)
        answer(site.program, reading).write(paper)
        paper.links([(f"{files.HOME}?{state.query()}", "Diagnose under these conditions")])
        found = Result(paper.said, answer=paper.html())
    return site.text(
        "expect.html",
        here=EXPECT.path,
        tool=EXPECT,
        asked=state,
        units=[unit.value for unit in UnitSet],
        first=[views[name] for name in EXPECT.first],
        more=[views[name] for name in EXPECT.more],
        is_open=any(name in state.values for name in EXPECT.more),
        spec=[spec_view(name, state, told) for name in SPEC_FIELDS],
        spec_told=bool(state.spec),
        good=good_view(state, told, site.program),
        good_at=_FILE,
        notes=state.notes,
        found=replace(found, summary=summary_of(told, site.program)),
        usual_units=usual_units,
    )
