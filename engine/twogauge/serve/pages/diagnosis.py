"""The main page: what was read, and what is likely wrong.

State is in the address. A form without JavaScript asks for `/` with all its controls and is led to the short address;
with it, `/live` answers as one types, with the same parts of the page.
"""

from __future__ import annotations

from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from twogauge.errors import FileProblems
from twogauge.quantities import UnitSet
from twogauge.serve import findings, view
from twogauge.serve.answer import Answer, answer
from twogauge.serve.drawing import can_draw
from twogauge.serve.page import Page
from twogauge.serve.sheet import opened, saved
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import State

PATH: Final = "/"
MOST_PAIRS: Final = 600

router = APIRouter(include_in_schema=False)
PAGE: Final = Page(PATH, "Diagnosis", router)

Here = Annotated[Site, Depends(site_of)]


@router.get(PATH)
async def main_page(request: Request, site: Here) -> Response:
    """Show the form, and the answer to what stands in the address."""
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    state = State.read(pairs, site.settings.units)
    if any(name.endswith((".unit", ".was")) and not name.startswith("spec.") for name, _ in pairs):
        return RedirectResponse(f"{PATH}?{state.query()}#result", status_code=303)

    def work() -> str:
        found = answer(state, site.program)
        return site.text("diagnosis.html", here=PATH, alert=True, **_parts(state, found, site))

    return Response(await site.work(work), media_type="text/html")


@router.get("/live")
async def live(request: Request, site: Here) -> Response:
    """Return what changes on the page as one types."""
    state = State.read(request.query_params.multi_items()[:MOST_PAIRS], site.settings.units)

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


@router.post("/open")
async def open_file(request: Request, site: Here) -> Response:
    """Lead to the address that holds what a file says; nothing of the file is kept."""
    async with request.form(max_files=1, max_fields=1) as form:
        file = form.get("file")
        content = b"" if file is None or isinstance(file, str) else await file.read()
    try:
        state = await site.work(opened, content, site.settings.units)
    except FileProblems as error:
        sentences = [str(each) for each in error.problems]
        return site.page(
            "sentences.html",
            here=PATH,
            status=422,
            head="This file cannot be opened",
            sentences=sentences,
            back=PATH,
            back_label="Back to the reading",
        )
    left_out = [(name, "in the file") for name in state.strangers]  # told on the page that it leads to
    return RedirectResponse(f"{PATH}?{urlencode([*state.pairs(), *left_out])}#result", status_code=303)


@router.get("/reading.yaml")
async def save_file(request: Request, site: Here) -> Response:
    """Give the reading as a file."""
    state = State.read(request.query_params.multi_items()[:MOST_PAIRS], site.settings.units)
    name = {"content-disposition": 'attachment; filename="reading.yaml"'}
    return Response(saved(state), media_type="application/yaml", headers=name)


def _parts(state: State, found: Answer, site: Site) -> dict[str, Any]:
    form = view.form(state, found, site.program)
    return {
        "state": state,
        "units": [unit.value for unit in UnitSet],
        "found": found,
        "form": form,
        "told": view.told(state, form),
        "result": findings.result(found),
        "pictures": can_draw(),
        **findings.HELPERS,
    }
