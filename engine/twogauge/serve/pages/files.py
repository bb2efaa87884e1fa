"""Readings as files: opened as what is read today or as the known-good one, and saved; nothing of a file is kept."""

from __future__ import annotations

from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from twogauge.errors import FileProblems
from twogauge.serve.bodies import form_of
from twogauge.serve.sheet import opened, saved
from twogauge.serve.site import Site, site_of
from twogauge.serve.state import GOOD, NAMED, State

HOME: Final = "/"
MOST_PAIRS: Final = 600
FILE: Final = "good.file"  # of the form of the reading, for its known-good one

router = APIRouter(include_in_schema=False)
Here = Annotated[Site, Depends(site_of)]


def state_of(request: Request, site: Site) -> State:
    """Return what stands in the address; a file that was chosen and not sent is a name there, and says nothing."""
    pairs = request.query_params.multi_items()[:MOST_PAIRS]
    return State.read((pair for pair in pairs if pair[0] != FILE), site.settings.units)


@router.post("/open")
async def open_file(request: Request, site: Here) -> Response:
    """Lead to the address that holds what a file says."""
    form = await form_of(request, site, fields=1, files=1)
    content = _sent(form, "file")
    try:
        state = await site.work(opened, content, site.settings.units)
    except FileProblems as error:
        return _refused(site, [str(each) for each in error.problems], HOME)
    return _to(HOME, state, state.strangers)


@router.post("/good")
async def open_good(request: Request, site: Here) -> Response:
    """Lead to the address that holds what was typed, and a file as what it is compared with."""
    return await opened_beside(request, site, HOME)


@router.get("/good")
async def keep_as_good(request: Request, site: Here) -> Response:
    """Lead to a new reading of the same machine, with what was typed as what it is compared with."""
    return RedirectResponse(f"{HOME}?{state_of(request, site).another_day().query()}#good", status_code=303)


@router.get("/reading.yaml")
async def save_file(request: Request, site: Here) -> Response:
    """Give the reading as a file."""
    name = {"content-disposition": 'attachment; filename="reading.yaml"'}
    return Response(saved(state_of(request, site)), media_type="application/yaml", headers=name)


async def opened_beside(request: Request, site: Site, path: str) -> Response:
    """Lead a form to an address that holds what was typed in it, and its file as the known-good reading.

    Args:
        request: that sent the form.
        site: the settings.
        path: of the page that the form stands on.
    """
    form = await form_of(request, site, fields=MOST_PAIRS, files=1)
    content = _sent(form, FILE)
    pairs = [(name, value) for name, value in form if isinstance(value, str) and name != FILE]
    state = State.read(pairs, site.settings.units)
    back = f"{path}?{state.query()}"
    if not content:
        return _refused(site, ["No file was sent: choose one first."], back)
    try:
        good = await site.work(opened, content, state.units)
    except FileProblems as error:
        return _refused(site, [str(each) for each in error.problems], back)
    left_out = [f"{GOOD}{name}" for name in good.strangers] + ([f"{GOOD}{NAMED}"] if good.good or good.named else [])
    return _to(path, state.beside(good), (*state.strangers, *left_out))


def _sent(form: list[tuple[str, str | bytes]], name: str) -> bytes:
    return next((value for key, value in form if key == name and isinstance(value, bytes)), b"")


def _to(path: str, state: State, left_out: tuple[str, ...]) -> Response:
    """Lead to the page of a reading, which tells what was left out of it."""
    told = [*state.pairs(), *((name, "in the file") for name in left_out)]
    return RedirectResponse(f"{path}?{urlencode(told)}#result", status_code=303)


def _refused(site: Site, sentences: list[str], back: str) -> Response:
    return site.page(
        "sentences.html",
        here=HOME,
        status=422,
        head="This file cannot be opened",
        sentences=sentences,
        back=back,
        back_label="Back to the reading",
    )
