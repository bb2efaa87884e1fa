"""On a narrow terminal everything still fits, and nothing is left out: it wraps, or stands below instead of beside."""

from __future__ import annotations

import os
import re
import struct
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.output import style
from twogauge.refrigerants import names, summaries

READING = ("--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F")
COMMANDS = (
    ("table", "R134a", "R404A", "R407C", "R22", "R410A"),
    ("table", "R134a", "--by", "pressure", "--units", "metric"),
    ("refrigerants",),
    ("refrigerants", "R404A"),
    ("refrigerants", "R1234yf", "--units", "si"),
    ("saturation", "R134a", "35psi"),
    ("saturation", "R407C", "40F", "--altitude", "5000ft"),
    ("diagnose", *READING),
    ("diagnose", *READING, "--verbose"),
    ("expect", "R134a", "--ambient", "90F", "--metering", "orifice_tube", "--compressor-control", "clutch_cycling"),
)


def on_a_terminal(monkeypatch, width, *arguments):
    monkeypatch.setattr(style, "style_for", lambda *_, **__: style.Style(width=width))
    result = CliRunner().invoke(app, list(arguments))
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.parametrize("width", [40, 53, 72, 100])
@pytest.mark.parametrize("arguments", COMMANDS, ids=" ".join)
def test_no_line_is_wider_than_the_terminal(monkeypatch, arguments, width):
    printed = on_a_terminal(monkeypatch, width, *arguments)
    assert [line for line in printed.splitlines() if len(line) > width] == []
    assert len(printed.splitlines()) > 1


@pytest.mark.parametrize("arguments", COMMANDS, ids=" ".join)
def test_a_narrow_terminal_shows_every_number(monkeypatch, arguments):
    def numbers(width):
        return set(re.findall(r"\d+(?:\.\d+)?", on_a_terminal(monkeypatch, width, *arguments)))

    assert numbers(40) >= numbers(80)


def test_columns_that_do_not_fit_stand_below_and_are_announced(monkeypatch):
    wide, narrow = (on_a_terminal(monkeypatch, width, "table", "R134a", "R404A", "R22", "R32") for width in (80, 40))
    assert "below each other" not in wide
    assert "2 blocks of columns stand below each other." in " ".join(narrow.split())
    assert sum(line.split()[:1] == ["degF"] for line in narrow.splitlines()) == 2


def test_every_refrigerant_is_listed_whole_on_a_narrow_terminal(monkeypatch):
    printed = " ".join(on_a_terminal(monkeypatch, 40, "refrigerants").split())
    for one in summaries():
        assert f"{one.title}: {one.chemical_name}; class {one.safety_class}, {one.kind}, " in printed
    assert printed.count("; class ") == len(names())


def test_a_label_stands_before_its_text_on_a_narrow_terminal(monkeypatch):
    lines = on_a_terminal(monkeypatch, 40, "refrigerants", "R404A").splitlines()
    assert "  also called: HFC-404A" in lines
    assert max(len(line) - len(line.lstrip()) for line in lines) <= 4


def test_a_reason_has_room_on_a_narrow_terminal(monkeypatch):
    lines = on_a_terminal(monkeypatch, 40, "diagnose", *READING).splitlines()
    start = next(i for i, line in enumerate(lines) if line == "  Speaks for it")
    said = lines[start + 1 : lines.index("", start)]
    assert max(map(len, said)) > 34
    assert sum(len(line) - len(line.lstrip()) for line in said) / len(said) <= 8


@pytest.mark.skipif(os.name != "posix", reason="there are pseudo-terminals on POSIX systems only")
@pytest.mark.parametrize(
    "arguments", [("table", "R134a", "R404A", "R407C"), ("refrigerants",), ("saturation", "R404A", "35psi")]
)
def test_the_terminal_is_asked_for_its_width(arguments):
    import fcntl
    import pty
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 40, 0, 0))
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    command = [sys.executable, "-m", "twogauge", *arguments]
    with subprocess.Popen(command, stdout=theirs, env=environment) as process:
        os.close(theirs)
        printed = b""
        while True:
            try:
                more = os.read(ours, 65536)
            except OSError:  # how Linux says that the other end is closed
                break
            if not more:
                break
            printed += more
    os.close(ours)
    assert process.returncode == 0
    lines = printed.decode().splitlines()
    assert max(map(len, lines)) <= 40
    assert max(map(len, lines)) > 30
