"""The main page: what was read, and what is likely wrong.

State is in the address. A form without JavaScript asks for `/` with all its controls and is led to the short address;
with it, `/live` answers as one types, with the same parts of the page.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from twogauge.quantities import UnitSet
from twogauge.serve import findings, view
from twogauge.serve.answer import Answer, answer
from twogauge.serve.desk.sent import is_of_a_form
from twogauge.serve.drawing import can_draw
from twogauge.serve.good import good_view
from twogauge.serve.page import Page
from twogauge.serve.pages import files
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import State

PATH: Final = files.HOME

router = APIRouter(include_in_schema=False)
router.include_router(files.router)
PAGE: Final = Page(PATH, "Diagnosis", router)

Here = Annotated[Site, Depends(site_of)]


@router.get(PATH)
async def main_page(request: Request, site: Here) -> Response:
    """Show the form, and the answer to what stands in the address."""
    state = files.state_of(request, site)
    if is_of_a_form(request):
        return RedirectResponse(f"{PATH}?{state.query()}#result", status_code=303)

    def work() -> str:
        found = answer(state, site.program)
        return site.text("diagnosis.html", here=PATH, alert=True, **_parts(state, found, site))

    return Response(await site.work(work), media_type="text/html")


@router.get("/live")
async def live(request: Request, site: Here) -> Response:
    """Return what changes on the page as one types."""
    state = files.state_of(request, site)

    def work() -> dict[str, Any]:
        found = answer(state, site.program)
        parts = _parts(state, found, site)
        return {
            "query": state.query(),
            "said": found.said,
            "result": site.text("result.html", **parts),
            "problems": site.text("problems.html", **parts, alert=False),
            "normal": dict(found.normal),
            "troubles": {name: list(sentences) for name, sentences in found.troubles.items()},
            "checks": view.applying(state, found, site.program),
        }

    return JSONResponse(await site.work(work))


def _parts(state: State, found: Answer, site: Site) -> dict[str, Any]:
    form = view.form(state, found, site.program)
    return {
        "state": state,
        "units": [unit.value for unit in UnitSet],
        "found": found,
        "form": form,
        "spec": form.spec,
        "spec_told": bool(state.spec),
        "good": good_view(state, found, site.program),
        "good_at": "/good",
        "told": view.told(state, site.program),
        "result": findings.result(found),
        "pictures": can_draw(),
        **findings.HELPERS,
    }
