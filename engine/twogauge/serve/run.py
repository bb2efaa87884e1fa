"""Opens the port, prints the address and the picture to scan, and runs the server until Ctrl-C."""

from __future__ import annotations

import errno
import io
import ipaddress
import logging
import socket
import sys
from collections.abc import Callable
from typing import Final
from urllib.parse import urlencode

import segno
import uvicorn
from starlette.types import ASGIApp

from twogauge.errors import InputError
from twogauge.output.style import style_for
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.app import create_app
from twogauge.serve.connections import Connection
from twogauge.serve.entrance import ENTER, new_token
from twogauge.serve.site import LOOPBACK, Settings

_PATIENCE: Final = 5  # [s] that open connections get at the end
_OF_THE_NETWORK: Final = (20.0, 100.0)  # requests per second and at once, of one device


def run(
    program: Program, *, port: int, lan: bool, units: UnitSet, rules: tuple[str, ...], say: Callable[[str], object]
) -> None:
    """Serve until somebody stops it.

    Args:
        program: the rules in force.
        port: where to listen; 0 for any that is free.
        lan: whether other devices may connect.
        units: what a bare number is taken in.
        rules: folders of rules that were named.
        say: prints a line.

    Raises:
        InputError: the port cannot be had, or there is no local network.
    """
    host = lan_address() if lan else "127.0.0.1"
    listening = listen(host, port)
    port = listening.getsockname()[1]
    where = f"http://{host}:{port}"
    token = new_token() if lan else None
    settings = Settings(hosts=LOOPBACK, units=units, rules=rules)
    if lan:
        rate, burst = _OF_THE_NETWORK
        settings = Settings(
            hosts=frozenset({host}),
            token=token,
            units=units,
            rules=rules,
            rate=rate,
            burst=burst,
            announce=lambda next_token: say(f"A device came in. For the next one: {entrance(where, next_token)}"),
        )
    say(f"twogauge is at {where}")
    if token is not None:
        for line in invitation(entrance(where, token), token, picture=style_for(sys.stdout).beyond_ascii):
            say(line)
    say("Ctrl-C stops it.")
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stderr)
    logging.getLogger("uvicorn").setLevel(logging.WARNING)
    try:
        _server(create_app(program, settings)).run(sockets=[listening])
    except KeyboardInterrupt:
        pass
    finally:
        listening.close()
    say("Stopped.")


def _server(app: ASGIApp) -> uvicorn.Server:
    config = uvicorn.Config(
        app,
        access_log=False,  # it would write down what was typed; guard.py keeps a log without it
        log_config=None,
        server_header=False,
        date_header=True,
        proxy_headers=False,
        http=Connection,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=_PATIENCE,
        h11_max_incomplete_event_size=64 * 1024,
        lifespan="off",
        ws="none",
    )
    return uvicorn.Server(config)


def listen(host: str, port: int) -> socket.socket:
    """Open a port.

    Raises:
        InputError: it cannot be had.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        why = {
            errno.EADDRINUSE: "another program listens there",
            errno.EACCES: "this account may not listen there",
        }.get(error.errno or 0, error.strerror or "it cannot be had")
        raise InputError(f"port {port} of {host}: {why}; choose another with --port, or --port 0 for any") from None
    return listening


def lan_address() -> str:
    """Return the address under which the local network reaches this machine; nothing is sent to find it.

    Raises:
        InputError: there is none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of the block for documentation (RFC 5737); it only picks the interface
            host = str(probe.getsockname()[0])
        except OSError:
            host = "0.0.0.0"  # noqa: S104 - a word for none, not bound to
    if ipaddress.ip_address(host).is_unspecified or ipaddress.ip_address(host).is_loopback:
        raise InputError("--lan: this machine is in no local network; connect it first, or leave --lan out")
    return host


def entrance(where: str, token: str) -> str:
    """Return the address that lets a device in."""
    return f"{where}{ENTER}?{urlencode({'token': token})}"


def invitation(address: str, token: str, *, picture: bool = True) -> list[str]:
    """Return the address as text, and as a picture to scan where the terminal has the characters for one."""
    drawn = io.StringIO()
    if picture:
        segno.make(address, micro=False).terminal(drawn, compact=True)
    return [
        "",
        *(line for line in drawn.getvalue().splitlines() if line.strip()),
        "",
        f"{'Scan it, or open' if picture else 'Open'} {address}",
        f"The token {token} lets one device in; after that the next one is shown here.",
        "The connection is not encrypted: use it in a network that you trust.",
    ]
