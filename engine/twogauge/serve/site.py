"""What every request needs: the settings, the rules, the templates and the threads that do the work.

Everything is read once, at the start: rules are compiled, templates and assets are in memory, and no path of a request
ever reaches the file system.
"""

from __future__ import annotations

import hashlib
import mimetypes
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property, partial
from importlib.resources import files
from typing import Any, Final, ParamSpec, TypeVar

import jinja2
from fastapi import Request
from starlette.responses import HTMLResponse

from twogauge.cli.diagnose import rules_folders
from twogauge.packs.layers import program_in_force
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk.wording import OF_A_READING
from twogauge.serve.turns import Turns

P = ParamSpec("P")
T = TypeVar("T")

LOOPBACK: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})
THREADS: Final = min(8, 2 * (os.cpu_count() or 1))
DRAWING: Final = 2  # threads more, for pictures


@dataclass(frozen=True, slots=True)
class Settings:
    """How one server behaves.

    Attributes:
        hosts: names a request may call this server by, without the port.
        token: what a device must show once; None where only this machine can connect.
        units: what a bare number is taken in where the address does not say.
        rules: folders of rules in force beside the built-in ones, for the book; no answer names them.
        most_bytes: of a request's body.
        seconds: for reading a body, and again for the answer.
        rate, burst: requests per second that one client may make in the long run, and at once.
        at_once: requests of one client that may be under way.
        threads: that may work for one client at once.
        announce: told the next token when one was used, as one line for the terminal.
    """

    hosts: frozenset[str] = LOOPBACK
    token: str | None = None
    units: UnitSet = UnitSet.US
    rules: tuple[str, ...] = ()
    most_bytes: int = 1 << 20
    seconds: float = 20.0
    rate: float = 200.0
    burst: float = 400.0
    at_once: int = 128
    threads: int = THREADS
    announce: Callable[[str], object] = field(default=lambda _: None)


@dataclass(frozen=True, slots=True)
class Asset:
    """One file of the package that a browser loads."""

    content: bytes
    media_type: str
    digest: str


class Site:
    """What the pages and the API share.

    Args:
        program: the rules in force.
        settings: how the server behaves.
        pages: (path, title) of each page, for the menu.
    """

    def __init__(self, program: Program, settings: Settings, pages: tuple[tuple[str, str], ...] = ()) -> None:
        self.program = program
        self.settings = settings
        self._answers = Turns(THREADS, settings.threads)
        self._pictures = Turns(DRAWING, min(DRAWING, settings.threads))
        self._templates = jinja2.Environment(
            loader=jinja2.DictLoader(dict(_texts("templates"))),
            autoescape=True,
            undefined=jinja2.StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        self._templates.filters["said"] = OF_A_READING.plain
        self._templates.filters["lower_first"] = lambda text: text[:1].lower() + text[1:]
        self._templates.globals.update(pages=pages, asset=asset_address)

    @cached_property
    def in_full(self) -> Program:
        """The rules read from their files, with what each says as it was written; a snapshot does not hold that.

        run.py has them read before the first request comes: what is wrong with a file belongs into the terminal.
        """
        return program_in_force(rules_folders(list(self.settings.rules)), from_files=True)

    def read_ahead(self) -> None:
        """Read the rest of what requests need, so that none of them reads a file.

        Raises:
            FileProblems: what is wrong in a folder of rules, with its path.
        """
        _ = self.in_full

    def text(self, template: str, **values: Any) -> str:
        """Return a template filled in; everything in it is escaped."""
        return self._templates.get_template(template).render(**values)

    def page(self, template: str, *, here: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page.

        Args:
            template: its file in templates/.
            here: the path of the page, marked in the menu.
            status: of the response.
            values: what the template needs.
        """
        return HTMLResponse(self.text(template, here=here, **values), status_code=status)

    async def work(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Run a function in a thread, so that the others do not wait; a request that gives up leaves it behind."""
        return await self._answers.work(partial(function, *args, **kwargs))

    async def draw(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Do the same for a picture, which keeps no thread from answering."""
        return await self._pictures.work(partial(function, *args, **kwargs))


def site_of(request: Request) -> Site:
    """Return the site a request came to (a dependency of the routes)."""
    found: Site = request.app.state.site
    return found


@cache
def assets() -> Mapping[str, Asset]:
    """Return every file in static/ by its name."""
    found = {}
    for entry in files("twogauge.serve").joinpath("static").iterdir():
        if entry.is_file():
            content = entry.read_bytes()
            kind = mimetypes.guess_type(entry.name)[0] or "application/octet-stream"
            kind = "text/javascript" if entry.name.endswith(".js") else kind
            found[entry.name] = Asset(content, kind, hashlib.sha256(content).hexdigest()[:12])
    return found


def asset_address(name: str) -> str:
    """Return where a browser finds a file of static/; a changed file has another address."""
    return f"/static/{name}?v={assets()[name].digest}"


def _texts(folder: str) -> list[tuple[str, str]]:
    entries = files("twogauge.serve").joinpath(folder).iterdir()
    return [(entry.name, entry.read_text("utf-8")) for entry in entries if entry.name.endswith(".html")]
