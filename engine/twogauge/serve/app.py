"""The application: the pages, the API and what stands before them.

To add a page, write `pages/NAME.py` with a `PAGE` and name it in pages/__init__.py; its template extends base.html.
"""

from __future__ import annotations

from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge.errors import TwogaugeError
from twogauge.packs.program import Program
from twogauge.serve import entrance
from twogauge.serve.guard import Guard
from twogauge.serve.pages import PAGES
from twogauge.serve.refusals import refusal
from twogauge.serve.site import Settings, Site, assets

_YEAR: Final = "public, max-age=31536000, immutable"  # a changed file has another address


def create_app(program: Program, settings: Settings | None = None) -> FastAPI:
    """Return the application.

    Args:
        program: the rules in force.
        settings: how it behaves; without any, as for this machine alone.
    """
    settings = settings or Settings()
    app = FastAPI(
        title="twogauge", version="1", openapi_url=None, docs_url=None, redoc_url=None, redirect_slashes=False
    )
    app.state.site = Site(program, settings, tuple((page.path, page.title) for page in PAGES))
    app.state.entrance = entrance.Entrance(settings.token)
    app.include_router(entrance.router)
    for page in PAGES:
        app.include_router(page.router)
    app.add_api_route("/static/{name}", _static, include_in_schema=False)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _wrong_request)
    app.add_exception_handler(TwogaugeError, _cannot_be_answered)
    app.add_middleware(Guard, settings=settings, entrance=app.state.entrance)
    return app


async def _static(name: str) -> Response:
    found = assets().get(name)
    if found is None:
        raise HTTPException(404, "There is no such file.")
    return Response(found.content, media_type=found.media_type, headers={"cache-control": _YEAR})


async def _http_error(request: Request, error: Any) -> Response:
    detail = {404: "There is no such page.", 405: "This cannot be done here."}.get(error.status_code, error.detail)
    return refusal(request.url.path, error.status_code, str(detail), error.headers)


async def _wrong_request(request: Request, error: Any) -> Response:  # noqa: ARG001 - what was sent is not repeated
    return refusal(request.url.path, 422, "This request is not understood.")


async def _cannot_be_answered(request: Request, error: Any) -> Response:
    return refusal(request.url.path, 422, str(error))
