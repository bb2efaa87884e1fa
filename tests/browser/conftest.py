"""A real browser against the real command: Debian's Chromium, driven by Playwright.

Where there is no Chromium these tests are skipped, unless BROWSER_TESTS=required says that this is a failure (.ci/run).
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from threading import Thread

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, Route, sync_playwright

from twogauge.diagnosis import program_for
from twogauge.serve.app import create_app
from twogauge.serve.run import listen
from twogauge.serve.site import Settings

SHOP = "shop.test"  # as an address of a local network is to a browser: one that it does not trust
TOKEN = "abcd-efgh-jkmn"  # noqa: S105 - of the tests
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
REQUIRED = os.environ.get("BROWSER_TESTS") == "required"
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    f"--host-resolver-rules=MAP {SHOP} 127.0.0.1",
]
PHONE = {"width": 360, "height": 740}


class Server:
    """`twogauge serve` as a process, which may be stopped and started again on the same port."""

    def __init__(self) -> None:
        self.port = 0
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "twogauge", "serve", "--port", str(self.port)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        said = self.process.stdout.readline()
        self.port = int(re.search(r":(\d+)\s*$", said)[1])
        self.process.stdout.readline()

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        self.process.wait(30)
        self.process.stdout.close()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"


class Held:
    """The scripts of a page as on a slow connection: nothing of them comes until they are let go."""

    def __init__(self, page: Page) -> None:
        self.waiting: list[Route] | None = []
        page.route("**/*.js*", self._asked)

    def _asked(self, route: Route) -> None:
        if self.waiting is None:
            route.continue_()
        else:
            self.waiting.append(route)

    def let_go(self) -> None:
        waiting, self.waiting = self.waiting, None
        for each in waiting:
            each.continue_()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    found = Server()
    yield found
    found.stop()


@pytest.fixture
def own_server() -> Iterator[Server]:
    """A server that a test may stop, since others use the shared one."""
    found = Server()
    yield found
    found.stop()


@pytest.fixture
def guarded() -> Iterator[str]:
    """The address of a server that asks for a token, as with --lan, but on this machine."""
    listening = listen("127.0.0.1", 0)
    app = create_app(program_for(), Settings(hosts=frozenset({SHOP, "localhost"}), token=TOKEN))
    config = uvicorn.Config(app, lifespan="off", ws="none", log_level="error")
    server = uvicorn.Server(config)
    thread = Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    yield f"http://{SHOP}:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(30)
    listening.close()


@pytest.fixture(scope="module")  # its loop runs in this thread until it ends, and other tests run loops of their own
def browser() -> Iterator[Browser]:
    if not CHROMIUM:
        missing = "there is no chromium here; install it, or name it in CHROMIUM"
        (pytest.fail if REQUIRED else pytest.skip)(missing)
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, headless=True, args=ARGUMENTS)
        yield found
        found.close()


@pytest.fixture
def open_page(browser, server):
    """Return a function that opens a page of its own; what the browser complains about fails the test."""
    contexts, complaints = [], []

    def opened(path: str = "/", *, at: Server = server, **settings) -> Page:
        context = browser.new_context(**{"viewport": PHONE, "base_url": at.address, **settings})
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: complaints.append(said.text) if _complains(said) else None)
        page.goto(path)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def _complains(said) -> bool:
    """Tell whether the browser found a fault; lost connections, refusals and untrusted addresses belong to some tests."""
    of_a_test = ("net::ERR_", "status of 414", "status of 422", "Opener-Policy header has been ignored")
    return said.type in {"error", "warning"} and not any(each in said.text for each in of_a_test)


@pytest.fixture
def hold_scripts() -> type[Held]:
    """Hold back the scripts of a page that is given, until they are let go."""
    return Held
