"""`twogauge serve`: the page for the phone, from this machine or to the local network."""

from __future__ import annotations

from typing import Annotated

import typer

from twogauge.cli.common import UnitsOption
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError
from twogauge.quantities import UnitSet


def serve(
    *,
    port: Annotated[
        int, typer.Option("--port", metavar="N", help="Where to listen; 0 takes any that is free.")
    ] = 8277,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let devices of the local network in; each shows a token once.")
    ] = False,
    address: Annotated[
        str | None,
        typer.Option(
            "--address", metavar="ADDRESS", help="With --lan: which one of this machine, where it has several."
        ),
    ] = None,
    rules: RulesOption = None,
    units: UnitsOption = UnitSet.US,
) -> None:
    """Serve the page for the phone, and the HTTP API beneath it, until Ctrl-C.

    Only this machine can connect, unless --lan is given: then the address and a picture to scan are shown, and a
    device must show the token in it. The connection is not encrypted: use it in a network that you trust.
    """
    if not 0 <= port <= 65535:
        raise InputError(f"--port {port} is no port; write a number from 1024 to 65535, or leave it out")
    if address is not None and not lan:
        raise InputError("--address names where other devices find this machine; it goes with --lan")
    try:
        from twogauge.serve.run import run
    except ModuleNotFoundError as error:
        raise InputError(
            f"the page needs packages that are not installed ({error.name}); install them with: "
            "pip install 'twogauge[serve]'"
        ) from None
    from twogauge.diagnosis import program_for

    run(
        program_for(rules_folders(rules)),
        port=port,
        lan=lan,
        address=address,
        units=units,
        rules=tuple(rules or ()),
        say=typer.echo,
    )
