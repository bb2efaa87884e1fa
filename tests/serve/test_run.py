"""`twogauge serve` as a command: the address, the end, and a sentence for everything that stops it from starting."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import urllib.request

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.diagnosis import program_for
from twogauge.errors import InputError
from twogauge.output.style import Style
from twogauge.quantities import UnitSet
from twogauge.serve import run

SERVE = [sys.executable, "-m", "twogauge", "serve", "--port", "0"]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_it_is_answers_there_and_stops_cleanly(how):
    process = subprocess.Popen(SERVE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        address = re.fullmatch(r"twogauge is at (http://127\.0\.0\.1:\d+)", process.stdout.readline().strip())[1]
        assert process.stdout.readline().strip() == "Ctrl-C stops it."
        with urllib.request.urlopen(f"{address}/?ambient=90+degF&note=secret") as answer:  # noqa: S310
            assert b"twogauge" in answer.read()
        process.send_signal(how)
        out, log = process.communicate(timeout=30)
    finally:
        process.kill()  # it would go on serving after a test that failed
        process.communicate()
    assert "Traceback" not in log
    assert re.search(r"^GET / 200 \d+ ms$", log, re.MULTILINE)
    assert "secret" not in log
    if how is signal.SIGINT:
        assert process.returncode == 0
        assert out.strip() == "Stopped."


def test_a_port_in_use_is_a_sentence():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = CliRunner().invoke(app, ["serve", "--port", str(taken.getsockname()[1])])
    assert done.exit_code == 2
    assert "another program listens there; choose another with --port" in done.output


@pytest.mark.parametrize("port", ["70000", "65536"])
def test_a_number_that_is_no_port_is_a_sentence(port):
    done = CliRunner().invoke(app, ["serve", "--port", port])
    assert done.exit_code == 2
    assert "is no port" in done.output


def test_without_the_extra_it_says_what_to_install():
    program = (
        "import sys\nsys.modules['fastapi'] = None\nfrom twogauge.cli.app import main\n"
        "sys.argv = ['x', 'serve']\nmain()"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "pip install 'twogauge[serve]'" in done.stderr
    assert "Traceback" not in done.stderr


def test_nothing_of_it_is_imported_for_another_command():
    program = (
        "import sys\nfrom twogauge.cli.app import app\n"
        "app(['saturation', 'R134a', '35psi'], standalone_mode=False)\n"
        "print([name for name in ('fastapi', 'starlette', 'uvicorn', 'jinja2', 'segno') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_invitation_holds_address_token_and_picture():
    address = run.entrance("http://192.168.1.20:8277", "abcd-efgh-jkmn")
    assert address == "http://192.168.1.20:8277/enter?token=abcd-efgh-jkmn"
    lines = run.invitation(address, "abcd-efgh-jkmn", Style())
    assert any(address in line for line in lines)
    drawn = [line for line in lines if "\u2588" in line or "\u2580" in line]
    assert len(drawn) > 10
    on_a_light_ground = run.invitation(address, "abcd-efgh-jkmn", Style(emphasis=True))
    assert [f"\x1b[97;40m{line}\x1b[0m" for line in drawn] == [each for each in on_a_light_ground if "\x1b" in each]
    plain = run.invitation(address, "abcd-efgh-jkmn", Style(encoding="ascii"))
    assert "\n".join(plain).isascii()
    assert any(address in line for line in plain)


def test_to_the_network_only_its_own_address_is_served_and_a_token_is_asked_for(monkeypatch):
    made = {}

    def stand_in(_program, settings):
        made["settings"] = settings
        raise LookupError  # enough: it need not run

    monkeypatch.setattr(run, "lan_address", lambda _: "127.0.0.1")
    monkeypatch.setattr(run, "create_app", stand_in)
    said = []
    with pytest.raises(LookupError):
        run.run(program_for(), port=0, lan=True, units=UnitSet.US, rules=(), say=said.append)
    settings = made["settings"]
    assert settings.hosts == {"127.0.0.1"}
    assert settings.token is not None
    assert settings.token in "\n".join(said)
    settings.announce("next-one")
    assert any("token=next-one" in line for line in said[-3:])


def test_without_a_network_there_is_a_sentence(monkeypatch):
    class Nowhere:
        def __init__(self, *_): ...
        def __enter__(self):
            return self

        def __exit__(self, *_): ...
        def connect(self, _):
            raise OSError

    monkeypatch.setattr(run.socket, "socket", Nowhere)
    with pytest.raises(InputError, match="no local network was found"):
        run.lan_address()


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("here", "is not an address such as"),
        ("127.0.0.1", "is not one under which another device"),
        ("0.0.0.0", "is not one under which another device"),  # noqa: S104 - refused
        ("::1", "is not an address such as"),
    ],
)
def test_an_address_under_which_nobody_finds_this_machine_is_refused(told, said):
    with pytest.raises(InputError, match=said):
        run.lan_address(told)


def test_an_address_of_another_machine_is_refused_with_what_to_do():
    assert run.lan_address(" 192.0.2.200 ") == "192.0.2.200"
    with pytest.raises(InputError, match="does not have that address; choose another address with --address"):
        run.listen("192.0.2.200", 0)


def test_an_address_alone_lets_nobody_in():
    done = CliRunner().invoke(app, ["serve", "--address", "192.0.2.7"])
    assert done.exit_code == 2
    assert "it goes with --lan" in done.output
