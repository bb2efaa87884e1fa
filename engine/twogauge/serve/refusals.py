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
