"""What a request carries, taken apart: within bounds and in a thread, so that nobody waits for a large one of others."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any, Final

from fastapi import Request
from fastapi.routing import APIRoute
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import Message, Scope

from twogauge.serve.site import Site, site_of

MOST_VALUES: Final = 2500  # of a JSON document; two readings, each with its known-good one, have half as many
_MOST_OF_A_PART: Final = 1 << 20  # bytes; guard.py bounds all of it


async def form_of(request: Request, site: Site, *, fields: int, files: int) -> list[tuple[str, str | bytes]]:
    """Return what a form sent: names and values, bytes for a file.

    Args:
        request: that sent it.
        site: whose threads do it.
        fields, files: how many there may be.

    Raises:
        HTTPException: it is no form, or there are more of them.
    """
    return await site.work(_taken_apart, dict(request.scope), await request.body(), fields, files)


def _taken_apart(scope: Scope, body: bytes, fields: int, files: int) -> list[tuple[str, str | bytes]]:
    if body.count(b"&") > fields and b"multipart" not in Request(scope).headers.get("content-type", "").encode():
        raise HTTPException(400, f"Too many fields. Maximum number of fields is {fields}.")

    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    async def read() -> list[tuple[str, str | bytes]]:
        request = Request(scope, receive)
        async with request.form(max_files=files, max_fields=fields, max_part_size=_MOST_OF_A_PART) as form:
            return [
                (name, await value.read() if isinstance(value, UploadFile) else value)
                for name, value in form.multi_items()
            ]

    return asyncio.run(read())  # the parser is written for a loop; nothing in it waits


class BoundedRoute(APIRoute):
    """A route of the API whose document is bounded before it is compared with its model, which takes its time."""

    def get_route_handler(self) -> Callable[[Request], Any]:
        """Return the handler, which is given a request that reads its body so."""
        handle = super().get_route_handler()

        async def bounded(request: Request) -> Response:
            answer: Response = await handle(_Bounded(request.scope, request.receive))
            return answer

        return bounded


class _Bounded(Request):
    async def json(self) -> Any:
        return await site_of(self).work(_document, await self.body())


def _document(body: bytes) -> Any:
    found = json.loads(body)
    rest, count = [found], 0
    while rest:
        each = rest.pop()
        inside = each.values() if isinstance(each, dict) else each if isinstance(each, list) else ()
        count += len(inside)
        if count > MOST_VALUES:
            raise HTTPException(422, f"There are more than {MOST_VALUES} values in this document.")
        rest += inside
    return found
