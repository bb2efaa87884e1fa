"""Connections that are opened and not used: each has a few seconds to ask, and one device cannot hold them all.

The guard sees requests; a connection on which none ever comes would keep a place until the others find none.
"""

from __future__ import annotations

import asyncio
from typing import Final

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_AT_ONCE: Final = 256
MOST_OF_ONE: Final = MOST_AT_ONCE // 2  # of one client: the rest stays free for others
TO_ASK: Final = 10.0  # [s] for the head of a request


class Connection(H11Protocol):
    """One connection, closed when the head of a request takes too long."""

    host = ""
    _unasked: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock; close at once what is too much of one client."""
        super().connection_made(transport)
        host = self.host = self.client[0] if self.client else ""
        of_it = sum(isinstance(each, Connection) and each.host == host for each in self.connections)
        if of_it > MOST_OF_ONE:
            transport.abort()
        else:
            self._watch()

    def data_received(self, data: bytes) -> None:
        """Stop the clock when the head of a request is here, and let it run until then."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the clock."""
        super().connection_lost(exc)
        self._stop()

    def _watch(self) -> None:
        if self.cycle is not None and not self.cycle.response_complete:
            self._stop()
        elif self._unasked is None:
            self._unasked = self.loop.call_later(TO_ASK, self._too_late)

    def _too_late(self) -> None:
        self._unasked = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()

    def _stop(self) -> None:
        if self._unasked is not None:
            self._unasked.cancel()
            self._unasked = None
