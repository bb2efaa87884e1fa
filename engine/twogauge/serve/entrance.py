"""The token that a device shows once, and the cookie it gets for it."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import deque
from typing import Annotated, Final
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Form, Request
from starlette.responses import RedirectResponse, Response
from starlette.types import Scope

from twogauge.serve.clients import Clients
from twogauge.serve.site import Site, site_of

ENTER: Final = "/enter"
_LETTERS: Final = "abcdefghjkmnpqrstuvwxyz23456789"  # none that is taken for another; 12 of them hold 59 bit
_TRIES: Final = (
    10  # in a minute, of one client: nobody shuts the others out by guessing, and 59 bit stay far out of reach
)
_HOURS: Final = 12  # that a device stays in
_MOST_DEVICES: Final = 64  # that are in at once; the one that came first is asked again then
_LONGEST: Final = 100  # characters of a token that are looked at
_MOST_OF_A_NAME: Final = 4  # cookies that are looked at
_WRONG: Final = "This is not the token, or it was used already. The terminal shows the next one."

router = APIRouter(include_in_schema=False)


def new_token() -> str:
    """Return a token that can be typed: three groups of four."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(12))
    return "-".join(letters[i : i + 4] for i in (0, 4, 8))


class TooOften(Exception):  # noqa: N818 - no fault: somebody guesses
    """A client has tried more tokens than anybody mistypes."""


class Entrance:
    """Knows the token that opens next, and the devices that have come in.

    Args:
        token: the first one; None where none is needed.
    """

    def __init__(self, token: str | None) -> None:
        self.token = token
        self._sessions: deque[tuple[str, float]] = deque(maxlen=_MOST_DEVICES)  # with the end of each [s]
        self._clients = Clients(_TRIES / 60.0, _TRIES)

    def exchange(self, told: str, client: str = "", now: float | None = None) -> str | None:
        """Return a session of its own for the right token, which is spent by it; None for a wrong one.

        Args:
            told: what was typed.
            client: the address of who typed it.
            now: of a clock that only runs forward [s].

        Raises:
            TooOften: this client has tried too often; its token was not looked at.
        """
        if self._clients.wait_for(client) > 0.0:
            raise TooOften
        if self.token is None:
            return None
        asked = "".join(c for c in told.lower() if c.isascii() and c.isalnum())
        if not hmac.compare_digest(asked.encode(), self.token.replace("-", "").encode()):
            return None
        self.token = new_token()
        session = secrets.token_urlsafe(32)
        self._sessions.append((session, (time.monotonic() if now is None else now) + 3600.0 * _HOURS))
        return session

    def knows(self, header: str, cookie: str, now: float | None = None) -> bool:
        """Tell whether a Cookie header holds a session that has not ended; what else stands in it does not matter.

        Args:
            header: as it came; another server of the same machine may have set cookies in it, in any form.
            cookie: the name of ours.
            now: as for `exchange`.
        """
        now = time.monotonic() if now is None else now
        parts = (part.strip().partition("=") for part in header.split(";"))
        told = [value.encode("utf-8", "replace") for name, _, value in parts if name == cookie][:_MOST_OF_A_NAME]
        lasting = [session.encode() for session, end in self._sessions if now < end]
        return any(hmac.compare_digest(each, session) for each in told for session in lasting)


def cookie_of(scope: Scope) -> str:
    """Return the name of the cookie: with the port, since a browser sends one server's cookies to all of a machine."""
    return f"twogauge_{(scope.get('server') or ('', 0))[1]}"


def way_back(told: str) -> str:
    """Return the path on this server that was wanted; the first page for anything that leads elsewhere."""
    try:
        parts = urlsplit(told) if told.isprintable() else None
    except ValueError:  # such as an address in brackets that is none
        return "/"
    fits = parts and not parts.scheme and not parts.netloc and told.startswith("/") and told[1:2] not in {"/", "\\"}
    return told if fits and parts and parts.path != ENTER else "/"


@router.get(ENTER)
async def enter(
    request: Request, site: Annotated[Site, Depends(site_of)], token: str = "", back: str = "/"
) -> Response:
    """Ask for the token; one that stands in the address is filled in, and spent only when it is sent.

    Messengers, cameras and browsers fetch a link to show what it leads to, before anybody opens it.
    """
    back = way_back(back)
    if request.app.state.entrance.token is None or (token and _is_in(request)):
        return RedirectResponse(back, status_code=303)
    return site.page("enter.html", here=ENTER, back=back, token=token[:_LONGEST], wrong="")


@router.post(ENTER)
async def enter_with(
    request: Request, site: Annotated[Site, Depends(site_of)], token: Annotated[str, Form()] = "", back: str = "/"
) -> Response:
    """Take the token."""
    entrance: Entrance = request.app.state.entrance
    back = way_back(back)
    if entrance.token is None:
        return RedirectResponse(back, status_code=303)
    client = request.client.host if request.client else ""
    try:
        session = entrance.exchange(token[:_LONGEST], client)
    except TooOften:
        wrong = "Too many tokens; wait a minute, then try again."
        return site.page("enter.html", here=ENTER, status=429, back=back, token="", wrong=wrong)
    if session is None and not _is_in(request):
        return site.page("enter.html", here=ENTER, status=401, back=back, token="", wrong=_WRONG)
    answer = RedirectResponse(back, status_code=303)
    if session is not None:
        answer.set_cookie(
            cookie_of(request.scope), session, max_age=3600 * _HOURS, path="/", httponly=True, samesite="lax"
        )  # a link that was sent is followed from elsewhere; guard.py refuses what is written from there
        site.settings.announce(entrance.token or "")
    return answer


def _is_in(request: Request) -> bool:
    entrance: Entrance = request.app.state.entrance
    return entrance.knows(request.headers.get("cookie", ""), cookie_of(request.scope))
