"""What stands before the pages: who may ask, how much, how often and how long, and the headers of every answer.

One ASGI layer, in this order: the name the server is called by (no other name may be made to point here), how often a
client asks and how much for it is under way, where a request comes from (no other site may write, embed or read here),
the token, the size of the body and the time. Who has gone is not answered. The log holds method, route, status and time:
no address of a client, nothing that was typed.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import Counter
from typing import Any, Final
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from twogauge.serve.clients import Clients
from twogauge.serve.entrance import ENTER, Entrance, cookie_of
from twogauge.serve.refusals import API, refusal
from twogauge.serve.site import Settings
from twogauge.serve.turns import CLIENT

LOG: Final = logging.getLogger("twogauge.serve")

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # with none, browsers hide from us too where a form comes from
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
_READS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_ELSEWHERE: Final = frozenset({"cross-site", "same-site"})
_METHODS: Final = _READS | {"POST", "PUT", "PATCH", "DELETE"}  # as the log names them; any other is a stranger's word
_LOADED: Final = "/static/"  # needed to show the page that asks for the token
_PREVIEWS: Final = ("sec-purpose", "purpose", "x-moz")  # headers of what a browser loads before it is asked for
_LONGEST_ADDRESS: Final = 16_384  # bytes of path and query
_OF_A_TOKEN: Final = 4096  # bytes of a body that nobody has to be known for


class Guard:
    """Lets a request through to the pages, or answers it itself.

    Args:
        app: what is guarded.
        settings: the limits.
        entrance: who has shown the token.
    """

    def __init__(self, app: ASGIApp, *, settings: Settings, entrance: Entrance) -> None:
        self._app = app
        self._settings = settings
        self._entrance = entrance
        self._clients = Clients(settings.rate, settings.burst)
        self._under_way: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        started = time.monotonic()
        status = 0
        if told_head := scope["method"] == "HEAD":  # as GET, without its body
            scope = {**scope, "method": "GET"}
            if scope["path"] == ENTER:  # what only looks at a link, as messengers do, spends no token
                scope["query_string"] = b""

        async def send_with_headers(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            elif told_head:
                message = {**message, "body": b""}
            await send(message)

        client = (scope.get("client") or ("", 0))[0]
        CLIENT.set(client)
        refused = self._refused(scope, client)
        if refused is not None:
            await refused(scope, receive, send_with_headers)
        else:
            self._under_way[client] += 1
            try:
                await self._let_through(scope, receive, send_with_headers, lambda: status)
            finally:
                self._under_way[client] -= 1
                self._under_way += Counter()  # forgets who has none
        route = getattr(scope.get("route"), "path", "(another address)")
        LOG.info(
            "%s %s %d %.0f ms",
            "HEAD" if told_head else scope["method"] if scope["method"] in _METHODS else "(another method)",
            route,
            status,
            1000.0 * (time.monotonic() - started),
        )

    def _refused(self, scope: Scope, client: str) -> Response | None:
        """Return the answer to a request that must not get further."""
        path, headers = scope["path"], Headers(scope=scope)
        if host_of(headers.getlist("host")) not in self._settings.hosts:
            return refusal(path, 421, "This server is not called by that name; use the address that it printed.")
        if len(scope.get("raw_path") or b"") + len(scope.get("query_string") or b"") > _LONGEST_ADDRESS:
            return refusal(path, 414, "The address is too long.")
        wait = self._clients.wait_for(client)
        if wait > 0.0 or self._under_way[client] >= self._settings.at_once:
            headers_ = {"retry-after": str(int(wait) + 1)}
            return refusal(path, 429, "That was too much at once; wait a second and try again.", headers_)
        if not _from_here(scope, headers):
            return refusal(path, 403, "This came from another site; open the page by its own address.")
        if path == ENTER and any("prefetch" in headers.get(name, "") for name in _PREVIEWS):
            return refusal(path, 503, "A token is not taken before somebody opens the page.")
        if self._settings.token is None or path == ENTER or path.startswith(_LOADED):
            return None
        if self._entrance.knows(headers.get("cookie", ""), cookie_of(scope)):
            return None
        if path.startswith(API):
            return refusal(path, 401, "Show the token first: open the address that the terminal shows.")
        if scope["method"] not in _READS:
            return refusal(path, 401, "Show the token first; go back, and what you typed is still there.")
        query = scope.get("query_string", b"").decode("latin-1")
        back = quote(path + (f"?{query}" if query else ""), safe="")
        return Response(status_code=303, headers={"location": f"{ENTER}?back={back}"})

    async def _let_through(self, scope: Scope, receive: Receive, send: Send, status: Any) -> None:
        path = scope["path"]
        most = self._settings.most_bytes if path != ENTER else min(_OF_A_TOKEN, self._settings.most_bytes)
        try:
            async with asyncio.timeout(self._settings.seconds):
                body = await _body(scope, receive, most)
        except _GoneError:
            return
        except TimeoutError:
            await refusal(path, 408, "The rest of the request did not come.")(scope, receive, send)
            return
        if body is None:
            await refusal(path, 413, f"That is more than {most // 1024} KiB.")(scope, receive, send)
            return
        try:
            await self._answer(scope, body, receive, send)
        except TimeoutError:
            if not status():
                slow = refusal(path, 503, "This took too long; try again in a moment.", {"retry-after": "2"})
                await slow(scope, receive, send)
        except Exception as error:  # noqa: BLE001 - the last one who can answer; no trace of it leaves the server
            LOG.error("a fault in twogauge: %s in %s", type(error).__name__, _place(error))  # noqa: TRY400
            if not status():
                ours = "This is a fault in twogauge, not in what you typed. What you typed is kept."
                await refusal(path, 500, ours)(scope, receive, send)

    async def _answer(self, scope: Scope, body: bytes, receive: Receive, send: Send) -> None:
        """Let the pages answer, in time and as long as somebody waits for it.

        Raises:
            TimeoutError: it took too long.
        """
        answer = asyncio.ensure_future(self._app(scope, _replay(body), send))
        gone = asyncio.ensure_future(_gone(receive))
        try:
            async with asyncio.timeout(self._settings.seconds):
                await asyncio.wait({answer, gone}, return_when=asyncio.FIRST_COMPLETED)
            if answer.done():
                answer.result()
        finally:
            for each in (answer, gone):
                each.cancel()
            await asyncio.gather(answer, gone, return_exceptions=True)


class _GoneError(Exception):
    """Who asked has closed the connection."""


async def _gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


async def _body(scope: Scope, receive: Receive, most: int) -> bytes | None:
    """Read the body, counting what really comes; None if it is too much.

    Raises:
        _GoneError: it does not come to its end.
    """
    told = Headers(scope=scope).get("content-length", "0")
    if not told.isdecimal() or int(told[:18]) > most:
        return None
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            raise _GoneError
        body += message.get("body", b"")
        if len(body) > most:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def host_of(told: list[str]) -> str:
    """Return the name in a Host header without its port; nothing for none, several or one that cannot be."""
    if len(told) != 1:
        return ""
    name = told[0].strip(" \t").lower()
    if name.startswith("["):
        inside, bracket, rest = name.partition("]")
        return f"{inside}]" if bracket and _is_port(rest) else ""
    name, colon, port = name.partition(":")
    return name if _is_port(colon + port) else ""


def _is_port(text: str) -> bool:
    return not text or (text[0] == ":" and text[1:].isascii() and text[1:].isdecimal())


def _from_here(scope: Scope, headers: Headers) -> bool:
    """Tell whether a request was made by this site, by the person's own typing, or by a program that is no browser."""
    told = {name: headers.getlist(name) for name in ("sec-fetch-site", "sec-fetch-mode", "sec-fetch-dest", "origin")}
    if any(len(each) > 1 for each in told.values()):
        return False  # no browser says one of them twice
    site, mode, into, origin = (next(iter(each), None) for each in told.values())
    if scope["method"] in _READS:
        # A link from elsewhere may lead here; a picture, script, frame or fetch of another site may not.
        return site not in _ELSEWHERE or (mode == "navigate" and into in {None, "document"})
    own = f"{scope.get('scheme', 'http')}://{headers.get('host', '')}"
    if site is not None:
        return site in {"same-origin", "none"} and origin in {None, "null", own}
    # Browsers name the site only to addresses that they trust, which one of a local network is not; but every browser
    # names the origin of a write.
    return origin is None or origin == own


def _replay(body: bytes) -> Receive:
    """Return a `receive` that gives the body that was read, and then nothing more."""
    told = False

    async def once() -> Message:
        nonlocal told
        if told:
            await asyncio.Event().wait()  # until it is cancelled: who has gone is not asked for here
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return once


def _place(error: BaseException) -> str:
    """Return where an error arose: module and line, nothing of what was asked."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    return "?" if trace is None else f"{trace.tb_frame.f_globals.get('__name__', '?')}:{trace.tb_lineno}"
