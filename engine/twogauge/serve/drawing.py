"""How a page gets at what draws: the plotting library is heavy, not always there, and loaded when it is first needed.

Two threads that load it at the same time find half of it, and from then on no picture can be drawn; so one loads.
"""

from __future__ import annotations

import importlib
import threading
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

_LOADS = threading.Lock()


def can_draw() -> bool:
    """Tell whether the plotting library is there."""
    return find_spec("matplotlib") is not None


def drawer(place: str) -> Callable[..., Any]:
    """Return what draws a picture.

    Args:
        place: module:function.
    """
    module, _, name = place.partition(":")
    with _LOADS:
        found: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return found
