"""The program at a real pseudo-terminal, with the small stack of rules or the built-in one."""

from __future__ import annotations

import contextlib
import os
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

pty = pytest.importorskip("pty", reason="pseudo-terminals are a matter of Unix")

TESTS = Path(__file__).resolve().parent
ENGINE = TESTS.parent / "engine"

CHILD = """\
import fcntl, signal, sys, termios
signal.signal(signal.SIGINT, signal.default_int_handler)  # a run in the background of a shell leaves it ignored
fcntl.ioctl(0, termios.TIOCSCTTY, 0)  # so that Ctrl-C and a closed terminal reach it as signals
from twogauge.cli.app import main
sys.argv[0] = "twogauge"
"""
SMALL = "from small_pack import in_place_of_the_built_in\nwith in_place_of_the_built_in():\n    main()\n"
BUILT_IN = "main()\n"
PATIENCE = 60.0  # [s] only to end a test that hangs


class Terminal:
    """The program at a pseudo-terminal, as somebody at the keyboard has it."""

    def __init__(self, folder, *args, built_in=False, **environment):
        self.master, slave = pty.openpty()
        env = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
        env |= {"PYTHONPATH": f"{ENGINE}{os.pathsep}{TESTS}", "TERM": "xterm", "COLUMNS": "80", **environment}
        command = [sys.executable, "-c", CHILD + (BUILT_IN if built_in else SMALL), *args]
        self.process = subprocess.Popen(
            command, cwd=folder, env=env, stdin=slave, stdout=slave, stderr=slave, start_new_session=True
        )
        os.close(slave)
        self.all = ""

    def read(self, until="> "):
        """Return what was printed up to a prompt, or to the end."""
        new, last = b"", time.monotonic() + PATIENCE
        while not (until and new.endswith(until.encode()) and b"\n" + until.encode() in new):
            assert time.monotonic() < last, f"no prompt after {new!r}"
            if not select.select([self.master], [], [], 0.2)[0]:
                continue
            try:
                part = os.read(self.master, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            new += part
        text = new.decode().replace("\r\n", "\n")
        self.all += text
        return text

    def type(self, line):
        os.write(self.master, f"{line}\n".encode())
        return self.read()

    def press(self, key):
        self._until_it_waits()
        os.write(self.master, key)
        return self.read(until="")

    def _until_it_waits(self):
        """Wait until the program sleeps in its read: of a signal between prompt and read Python tells at the next key."""
        stat, last = Path(f"/proc/{self.process.pid}/stat"), time.monotonic() + PATIENCE
        while stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "S":
            assert time.monotonic() < last, "the program never waits for a key"
            time.sleep(0.01)

    def end(self):
        return self.process.wait(PATIENCE)

    def close(self):
        with contextlib.suppress(OSError):
            os.close(self.master)
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(PATIENCE)
