"""A small stack of rules for tests of what is printed and typed, so that they do not move with the built-in rules."""

from __future__ import annotations

import functools
from contextlib import contextmanager
from pathlib import Path

import pytest

from twogauge import diagnosis
from twogauge.packs import snapshot
from twogauge.packs import stack as stacking
from twogauge.packs.compile import compile_stack

FOLDER = Path(__file__).resolve().parent / "small_rules"
NAMES = ("common", "automotive")


@functools.cache
def program():
    return compile_stack(stacking.stack([FOLDER / name for name in NAMES]))


@contextmanager
def in_place_of_the_built_in():
    """Let the command line find the small stack where it looks for the built-in one."""
    caches = (stacking.built_in, diagnosis.program_for)
    with pytest.MonkeyPatch.context() as patch:
        for module in (stacking, snapshot):
            patch.setattr(module, "rules_folder", lambda: FOLDER)
        patch.setattr(stacking, "BUILT_IN", NAMES)
        for cache in caches:
            cache.cache_clear()
        try:
            yield
        finally:
            for cache in caches:
                cache.cache_clear()
