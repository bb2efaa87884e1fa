"""How a request is refused: problem details (RFC 9457) for programs, a short page for people; never a traceback."""

from __future__ import annotations

import html
import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from starlette.responses import HTMLResponse, Response

API: Final = "/api/"
PROBLEM: Final = "application/problem+json"

_DETAILS: Final = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "detail"],
                "properties": {"field": {"type": "string"}, "detail": {"type": "string"}},
            },
        },
    },
}
_REFUSED: Final = {
    400: "This is not JSON.",
    401: "The token was not shown.",
    403: "The request came from another site.",
    404: "There is no such thing.",
    405: "This cannot be done here.",
    408: "The rest of the request did not come.",
    413: "The body is too large.",
    414: "The address is too long.",
    421: "The server is not called by that name.",
    422: "Something told cannot be used; each trouble has its field.",
    429: "Too many requests at once.",
    500: "A fault in twogauge.",
    503: "It took too long, or too many asked at once.",
}
# How every refusal of the API is described.
PROBLEMS: Final[dict[int | str, dict[str, Any]]] = {
    status: {"description": about, "content": {PROBLEM: {"schema": _DETAILS}}} for status, about in _REFUSED.items()
}


def refusal(path: str, status: int, detail: str, headers: Mapping[str, str] | None = None) -> Response:
    """Return the answer to a request that is not served.

    Args:
        path: what was asked for; those of the API get problem details.
        status: the HTTP status.
        detail: what is wrong and what to do.
        headers: more of them.
    """
    if path.startswith(API):
        return problem(status, detail, headers=headers)
    title = HTTPStatus(status).phrase
    body = (
        '<!doctype html><html lang="en"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark"><link rel="stylesheet" href="/static/site.css">'
        f"<title>{html.escape(title)}</title><main><h1>{html.escape(title)}</h1><p>{html.escape(detail)}</p>"
        '<p><a href="/">To the first page</a></p></main></html>'
    )
    return HTMLResponse(body, status_code=status, headers=dict(headers or {}))


def problem(
    status: int,
    detail: str,
    errors: Sequence[Mapping[str, Any]] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return problem details.

    Args:
        status: the HTTP status.
        detail: what is wrong and what to do.
        errors: one mapping for each trouble: `field` and `detail`.
        headers: more of them.
    """
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "errors": [dict(each) for each in errors],
    }
    content = json.dumps(body, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace")
    return Response(content, status_code=status, media_type=PROBLEM, headers=dict(headers or {}))
