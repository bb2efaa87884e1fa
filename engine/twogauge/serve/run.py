"""Opens the port, prints the address and the picture to scan, and runs the server until Ctrl-C."""

from __future__ import annotations

import errno
import io
import ipaddress
import logging
import socket
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Final
from urllib.parse import urlencode

import segno
import uvicorn
from starlette.types import ASGIApp

from twogauge.errors import InputError, shown
from twogauge.output.style import Style, style_for
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.app import create_app
from twogauge.serve.connections import Connection
from twogauge.serve.entrance import ENTER, new_token
from twogauge.serve.site import LOOPBACK, THREADS, Settings

_PATIENCE: Final = 5  # [s] that open connections get at the end
# Of one device of the network, see Settings.
_RATE: Final = 20.0
_BURST: Final = 100.0
_AT_ONCE: Final = 24


def run(
    program: Program,
    *,
    port: int,
    lan: bool,
    units: UnitSet,
    rules: tuple[str, ...],
    say: Callable[[str], object],
    address: str | None = None,
) -> None:
    """Serve until somebody stops it.

    Args:
        program: the rules in force.
        port: where to listen; 0 for any that is free.
        lan: whether other devices may connect.
        units: what a bare number is taken in.
        rules: folders of rules that were named.
        say: prints a line.
        address: of this machine in the local network, where it has several; None finds one.

    Raises:
        InputError: the port or the address cannot be had, or there is no local network.
    """
    host = lan_address(address) if lan else "127.0.0.1"
    style = style_for(sys.stdout)

    def invite(next_token: str, first: str = "") -> None:
        for line in invitation(entrance(where, next_token), next_token, style, first):
            say(line)

    listening = listen(host, port)
    port = listening.getsockname()[1]
    where = f"http://{host}:{port}"
    token = new_token() if lan else None
    settings = Settings(hosts=LOOPBACK, units=units, rules=rules)
    if lan:
        settings = replace(
            settings,
            hosts=frozenset({host}),
            token=token,
            rate=_RATE,
            burst=_BURST,
            at_once=_AT_ONCE,
            threads=max(1, THREADS // 2),
            announce=lambda next_token: invite(next_token, "A device came in. For the next one:"),
        )
    say(f"twogauge is at {where}")
    if token is not None:
        invite(token)
    say("Ctrl-C stops it.")
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stderr)
    logging.getLogger("uvicorn").setLevel(logging.ERROR)  # its warnings are of what strangers send
    try:
        app = create_app(program, settings)
        app.state.site.read_ahead()
        _server(app).run(sockets=[listening])
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
            errno.EADDRNOTAVAIL: "this machine does not have that address",
        }.get(error.errno or 0, error.strerror or "it cannot be had")
        which = "address with --address" if error.errno == errno.EADDRNOTAVAIL else "with --port, or --port 0 for any"
        raise InputError(f"port {port} of {host}: {why}; choose another {which}") from None
    return listening


def lan_address(told: str | None = None) -> str:
    """Return the address under which the local network reaches this machine; nothing is sent to find it.

    Args:
        told: the one that is wanted, or None.

    Raises:
        InputError: there is none, or what is told is none.
    """
    if told is not None:
        try:
            wanted = ipaddress.IPv4Address(told.strip())
        except ValueError:
            raise InputError(f"--address {shown(told)} is not an address such as 192.168.1.20") from None
        if wanted.is_loopback or wanted.is_unspecified or wanted.is_multicast:
            raise InputError(f"--address {wanted} is not one under which another device finds this machine")
        return str(wanted)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of the block for documentation (RFC 5737); it only picks the interface
            host = str(probe.getsockname()[0])
        except OSError:
            host = "0.0.0.0"  # noqa: S104 - a word for none, not bound to
    if ipaddress.ip_address(host).is_unspecified or ipaddress.ip_address(host).is_loopback:
        raise InputError(
            "--lan: no local network was found; connect this machine first, name its address there with --address, "
            "or leave --lan out"
        )
    return host


def entrance(where: str, token: str) -> str:
    """Return the address that lets a device in."""
    return f"{where}{ENTER}?{urlencode({'token': token})}"


def invitation(address: str, token: str, style: Style, first: str = "") -> list[str]:
    """Return the address as text, and as a picture to scan where the terminal has the characters for one.

    Args:
        address: that lets a device in.
        token: in it.
        style: of the terminal.
        first: a sentence to begin with.
    """
    drawn = io.StringIO()
    if style.beyond_ascii:
        segno.make(address, micro=False).terminal(drawn, compact=True)
    # A camera needs dark on light, whatever the colours of the terminal are.
    begin, end = ("\x1b[97;40m", "\x1b[0m") if style.emphasis else ("", "")
    return [
        first,
        *(f"{begin}{line}{end}" for line in drawn.getvalue().splitlines() if line.strip()),
        "",
        f"{'Scan it, or open' if style.beyond_ascii else 'Open'} {address}",
        f"The token {token} lets one device in; after that the next one is shown here.",
        "The connection is not encrypted: use it in a network that you trust.",
    ]
