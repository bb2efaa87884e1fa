"""What happens on a connection before the guard sees a request of it.

A connection on which none comes is closed after a few seconds, so is one whose answer nobody takes, and one device cannot
hold them all. What is answered here, to what is no HTTP or one too many, carries the headers of every other answer.
"""

from __future__ import annotations

import asyncio
import math
from typing import Final

import h11
from starlette.types import Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from twogauge.serve.guard import HEADERS
from twogauge.serve.refusals import refusal

MOST_AT_ONCE: Final = 256
MOST_OF_ONE: Final = MOST_AT_ONCE // 2  # of one client: the rest stays free for others
TO_ASK: Final = 10.0  # [s] for the head of a request
TO_TAKE: Final = 10.0  # [s] for an answer, or for so much of a longer one:
TAKEN: Final = 64 * 1024  # bytes; no network is as slow


class Connection(H11Protocol):
    """One connection, closed when the head of a request takes too long."""

    host = ""
    _unasked: asyncio.TimerHandle | None = None
    _ends: asyncio.TimerHandle | None = None
    _left: float = math.inf  # bytes that wait to be taken, when it was looked at last

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock; close at once what is too much of one client, and let in no more than there is room for."""
        super().connection_made(transport)
        host = self.host = self.client[0] if self.client else ""
        of_it = sum(isinstance(each, Connection) and each.host == host for each in self.connections)
        if of_it > MOST_OF_ONE:
            transport.abort()
            return
        if len(self.connections) > MOST_AT_ONCE:
            self.app = _full
        self._watch()
        self._look()

    def data_received(self, data: bytes) -> None:
        """Stop the clock when the head of a request is here, and let it run until then."""
        super().data_received(data)
        self._left = math.inf  # who asks again has taken what was there
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the clocks."""
        super().connection_lost(exc)
        self._stop()
        if self._ends is not None:
            self._ends.cancel()

    def send_400_response(self, msg: str) -> None:
        """Say that this is no HTTP, and close."""
        headers = {"content-type": "text/plain; charset=utf-8", "connection": "close", **HEADERS}
        for event in (
            h11.Response(status_code=400, headers=list(headers.items()), reason=b"Bad Request"),
            h11.Data(data=msg.encode("ascii", "replace")),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _watch(self) -> None:
        if self.cycle is not None and not self.cycle.response_complete:
            self._stop()
        elif self._unasked is None:
            self._unasked = self.loop.call_later(TO_ASK, self._too_late)

    def _look(self) -> None:
        """Cut a connection when what was written to it lies there and is not taken."""
        left = self.transport.get_write_buffer_size()
        if left and left > self._left - TAKEN:
            self.transport.abort()
            return
        self._left = left or math.inf
        self._ends = self.loop.call_later(TO_TAKE, self._look)

    def _too_late(self) -> None:
        self._unasked = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()

    def _stop(self) -> None:
        if self._unasked is not None:
            self._unasked.cancel()
            self._unasked = None


async def _full(scope: Scope, receive: Receive, send: Send) -> None:
    more = {**HEADERS, "connection": "close", "retry-after": "2"}
    await refusal(scope["path"], 503, "Too many are here at once; try again in a moment.", more)(scope, receive, send)
