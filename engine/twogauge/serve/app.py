"""The application: the pages, the API and what stands before them.

To add a page, write `pages/NAME.py` with a `PAGE` and name it in pages/__init__.py; its template extends base.html.
"""

from __future__ import annotations

from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge import __version__
from twogauge.errors import FileProblems, TwogaugeError
from twogauge.packs.program import Program
from twogauge.reading import ReadingError
from twogauge.serve import api, entrance
from twogauge.serve.api.places import path_of
from twogauge.serve.guard import Guard
from twogauge.serve.pages import PAGES
from twogauge.serve.refusals import API, problem, refusal
from twogauge.serve.site import Settings, Site, assets

_YEAR: Final = "public, max-age=31536000, immutable"  # of an address with the mark of the content
_MOST_ERRORS: Final = 50  # that are told of one request
_ASK: Final = "no-cache"  # of one without, as scripts name each other: an upgrade must not find half of the old ones


def create_app(program: Program, settings: Settings | None = None) -> FastAPI:
    """Return the application.

    Args:
        program: the rules in force.
        settings: how it behaves; without any, as for this machine alone.
    """
    settings = settings or Settings()
    app = FastAPI(
        title="twogauge",
        summary="Two gauge readings in, ranked faults with reasons out.",
        version=__version__,
        openapi_url=f"{api.V1}/openapi.json",
        docs_url=None,  # its page loads scripts from elsewhere
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.site = Site(program, settings, tuple((page.path, page.title) for page in PAGES))
    app.state.entrance = entrance.Entrance(settings.token)
    app.include_router(entrance.router)
    app.include_router(api.router)
    for page in PAGES:
        app.include_router(page.router)
    app.add_api_route("/static/{name}", _static, include_in_schema=False)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _wrong_request)
    app.add_exception_handler(TwogaugeError, _cannot_be_answered)
    app.add_middleware(Guard, settings=settings, entrance=app.state.entrance)
    return app


async def _static(name: str, v: str = "") -> Response:
    found = assets().get(name)
    if found is None:
        raise HTTPException(404, "There is no such file.")
    return Response(
        found.content, media_type=found.media_type, headers={"cache-control": _YEAR if v == found.digest else _ASK}
    )


async def _http_error(request: Request, error: Any) -> Response:
    plain = {"Not Found": "There is no such page.", "Method Not Allowed": "This cannot be done here."}
    detail = plain.get(str(error.detail), error.detail)
    return refusal(request.url.path, error.status_code, str(detail), error.headers)


async def _wrong_request(request: Request, error: Any) -> Response:
    """Say for each trouble where in the request it stands; what was sent is not repeated."""
    if not request.url.path.startswith(API):
        return refusal(request.url.path, 422, "This request is not understood.")
    found = error.errors()
    if any(each["type"] == "json_invalid" for each in found):
        return problem(400, "The body is not JSON.")
    errors = [{"field": path_of(each["loc"][1:], error.body), "detail": each["msg"]} for each in found[:_MOST_ERRORS]]
    return problem(422, "The request is not as it is described in openapi.json.", errors)


async def _cannot_be_answered(request: Request, error: Any) -> Response:
    """Say for each trouble which field it belongs to."""
    if not request.url.path.startswith(API):
        return refusal(request.url.path, 422, _in_short(error))
    if isinstance(error, ReadingError):
        errors = [
            {"field": ".".join(map(str, each.path)), "detail": each.message} for each in error.troubles[:_MOST_ERRORS]
        ]
    elif isinstance(error, FileProblems):
        errors = [{"field": each.place.path, "detail": str(each)} for each in error.problems[:_MOST_ERRORS]]
    else:
        errors = [{"field": getattr(error, "field", ""), "detail": str(error)}]
    return problem(422, _in_short(error), errors)


def _in_short(error: Any) -> str:
    lines = str(error).split("\n")
    more = len(lines) - _MOST_ERRORS
    return "\n".join([*lines[:_MOST_ERRORS], *([f"and {more} more"] if more > 0 else [])])
