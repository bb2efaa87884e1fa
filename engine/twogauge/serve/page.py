"""One entry of the menu with its routes; pages/__init__.py lists them all."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter


@dataclass(frozen=True, slots=True)
class Page:
    """A page and everything beneath it.

    Attributes:
        path: where the menu leads.
        title: its name in the menu.
        router: its routes; they stand beside the API and are not described there.
    """

    path: str
    title: str
    router: APIRouter
