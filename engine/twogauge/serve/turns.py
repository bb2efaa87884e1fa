"""Who works when: so many at once, and only some of them for one client, so that others get their turn.

A thread cannot be stopped. So a place is given back when its work has really ended, not when the request that wanted it
has given up; what still waits for a place then leaves the queue.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any, Final, TypeVar
from weakref import WeakValueDictionary

import anyio
import anyio.to_thread

T = TypeVar("T")

CLIENT: Final[ContextVar[str]] = ContextVar("CLIENT", default="")  # whose request is being answered; guard.py knows


class Turns:
    """Places for work in threads.

    Args:
        at_once: how many there are.
        of_one: how many of them one client may have.
    """

    def __init__(self, at_once: int, of_one: int) -> None:
        self._all = anyio.CapacityLimiter(at_once)
        self._of_one = of_one
        self._own: WeakValueDictionary[str, anyio.CapacityLimiter] = WeakValueDictionary()

    async def work(self, call: Callable[[], T]) -> T:
        """Run a function in a thread when its turn comes; a request that gives up leaves its thread behind.

        Args:
            call: what is to be done for the client of this request.
        """
        own = self._own.get(CLIENT.get())
        if own is None:
            own = self._own[CLIENT.get()] = anyio.CapacityLimiter(self._of_one)
        places, mine = (own, self._all), object()
        await own.acquire_on_behalf_of(mine)
        try:
            await self._all.acquire_on_behalf_of(mine)
        except BaseException:
            own.release_on_behalf_of(mine)
            raise
        task = asyncio.create_task(_in_a_thread(call))

        def ended(done: asyncio.Task[Any]) -> None:
            for each in places:
                each.release_on_behalf_of(mine)
            if not done.cancelled():
                done.exception()  # looked at, should nobody wait for it any more

        task.add_done_callback(ended)
        return await asyncio.shield(task)


async def _in_a_thread(call: Callable[[], T]) -> T:
    return await anyio.to_thread.run_sync(call)
