"""The terminal around interview.py. Nothing is written before the last answer."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import typer

from twogauge.cli.app import INTERRUPTED
from twogauge.cli.rules.common import own_style
from twogauge.cli.rules.interview import HELP, Interview
from twogauge.cli.rules.new import put
from twogauge.errors import InputError
from twogauge.packs.draft import new_pack, new_rule
from twogauge.packs.layers import program_in_force


def interview(folder: str | None, below: Sequence[str]) -> None:
    """Ask a person for a rule, one question at a time, and write it at the end.

    Where standard input is no terminal its lines are taken as the answers.

    Raises:
        InputError: somebody at the keyboard could not see the questions; or nothing could be made of the answers.
        typer.Exit: interrupted.
    """
    if sys.stdin.isatty() and not sys.stdout.isatty():
        raise InputError("rules new asks somebody at a terminal, and its output goes elsewhere; use --pack or --rule")
    steps = Interview(program_in_force(below, from_files=True), folder)
    try:
        _converse(steps, below)
    except (KeyboardInterrupt, EOFError) as end:
        _say(["", "Stopped; nothing was written.", *_going_on(steps)])
        raise typer.Exit(INTERRUPTED if isinstance(end, KeyboardInterrupt) else 0) from None


def _converse(steps: Interview, below: Sequence[str]) -> None:
    style, asked = own_style(), 0
    _say(style.wrap(f"A rule by question and answer. {HELP}"))
    while True:
        while not steps.done:
            if asked != steps.step:
                first, *more = steps.ask()
                _say(["", *(style.bold(line) for line in style.wrap(first, f"{steps.step}. ", "   "))])
                _say([line for each in more for line in style.wrap(each, "   ", "      ")])
            asked = steps.step
            _say([part for said in steps.hear(_line()) for part in style.wrap(said, "  ", "    ")])
        if steps.stopped:
            _say(["Nothing was written.", *_going_on(steps)])
            return
        path, draft = Path(str(steps.told.folder)), steps.draft()
        try:
            written = new_rule(path, draft, "", below) if draft else new_pack(path, "", "", below)
            _say([""])
            put(path, written, draft)
        except InputError as error:
            _say([line for each in str(error).splitlines() for line in style.wrap(each, "  ", "    ")])
            if not sys.stdin.isatty():
                raise
            _say([part for said in steps.hear("b") for part in style.wrap(said, "  ")])
            asked = 0
            continue
        return


def _going_on(steps: Interview) -> list[str]:
    return ["To go on from there:", f"  {steps.command()}"] if steps.step > 1 else []


def _say(lines: Sequence[str]) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()


def _line() -> str:
    """Return one line.

    Raises:
        EOFError: there are no more.
    """
    sys.stdout.write("> ")
    sys.stdout.flush()
    try:
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        return "\ufffd"
    except OSError:  # the terminal has gone
        raise EOFError from None
    if not line:
        raise EOFError
    if not sys.stdin.isatty():
        _say([line.rstrip("\n")])
    return line.rstrip("\r\n")
