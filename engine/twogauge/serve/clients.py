"""How often one client may ask for something."""

from __future__ import annotations

import time
from collections import OrderedDict
from typing import Final

_MOST: Final = 2048


class Clients:
    """Counts what each client asks for: a bucket that fills at `rate` and holds `burst`."""

    def __init__(self, rate: float, burst: float) -> None:
        self._rate = rate
        self._burst = burst
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_for(self, client: str, now: float | None = None) -> float:
        """Take one request out of the client's bucket; return how long it must wait [s], 0 if it need not."""
        now = time.monotonic() if now is None else now
        left, at = self._left.pop(client, (self._burst, now))
        left = min(self._burst, left + (now - at) * self._rate)
        allowed = left >= 1.0
        self._left[client] = (left - 1.0 if allowed else left, now)
        if len(self._left) > _MOST:
            self._left.popitem(last=False)
        return 0.0 if allowed else (1.0 - left) / self._rate
