"""`twogauge table` and the door all commands share: what it prints, writes and refuses."""

from __future__ import annotations

import errno
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import COMMANDS, app


def run(*args, env=None):
    return CliRunner().invoke(app, list(args), env=env)


def start(*args, **more):
    return subprocess.run(
        [sys.executable, "-m", "twogauge", *args], capture_output=True, text=True, check=False, timeout=120, **more
    )


def test_a_table_of_one_refrigerant():
    result = run("table", "R134a", "--from", "0F", "--to", "40F")
    assert result.exit_code == 0
    assert result.stderr == ""
    assert "R-134a" in result.stdout.splitlines()[0]
    assert result.stdout.splitlines()[-1].split()[0] == "40"


def test_several_refrigerants_stand_side_by_side_and_a_name_given_twice_once():
    result = run("table", "R134a", "r-1234YF", "134a", "--from", "0", "--to", "10")
    assert "degF   R-134a   R-1234yf" in result.stdout
    assert result.stdout.count("R-134a") == 2


def test_units_come_from_the_option_then_from_the_environment_then_are_us():
    assert "psi gauge" in run("table", "R134a").stdout
    assert "kPa gauge" in run("table", "R134a", env={"TWOGAUGE_UNITS": "si"}).stdout
    assert "bar gauge" in run("table", "R134a", "--units", "metric", env={"TWOGAUGE_UNITS": "si"}).stdout


def test_a_bad_unit_set_in_the_environment_is_refused_and_named():
    result = run("table", "R134a", env={"TWOGAUGE_UNITS": "imperial"})
    assert result.exit_code == 2
    assert "imperial" in result.stderr


def test_altitude_lowers_the_air_and_raises_the_gauge():
    sea = run("table", "R134a", "--from", "40", "--to", "41").stdout
    high = run("table", "R134a", "--from", "40", "--to", "41", "--altitude", "5000ft").stdout
    assert "sea level assumed" in sea
    assert "standard air at 5000 ft" in high

    def gauge(text):
        return float(next(line for line in text.splitlines() if line.startswith("  40")).split()[1])

    # 14.696 - 12.228 psi, both printed to 0.1
    assert gauge(high) - gauge(sea) == pytest.approx(2.47, abs=0.11)


def test_negative_numbers_are_values_and_not_options():
    result = run("table", "R134a", "--by", "pressure", "--from", "-10inHg", "--to", "10")
    assert result.exit_code == 0
    assert result.stdout.splitlines()[4].split()[0] == "10v"


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ([], "name a refrigerant"),
        (["R134b"], "did you mean 'R134a'"),
        (["R134a", "--from", "35psi"], "--from: '35psi' is a pressure, but a temperature belongs here"),
        (["R134a", "--by", "pressure", "--from", "40F"], "a pressure belongs here"),
        (["R134a", "--by", "pressure", "--from", "-20psi"], "below a perfect vacuum"),
        (["R134a", "--from", "50", "--to", "40"], "is not below"),
        (["R134a", "--step", "0"], "the step must be above zero"),
        (["R134a", "--step", "0.0001"], "rows"),
        (["R134a", "--altitude", "1500m", "--barometer", "1000hPa"], "not both"),
        (["R134a", "--altitude", "20000m"], "outside -500 to 11000"),
        (["R134a", "--barometer", "29.92"], "did you mean 29.92inHg?"),
        (["R134a", "--barometer", "5 psi"], "is not the pressure of air"),
        (["R134a", "--format", "csv", "--format", "json"], "one format"),
        (["--all"], "--out"),
        (["--check", "x", "R134a"], "--check takes a folder and nothing else"),
        (["--check", "no-such-folder"], "has no manifest.json"),
        (["R134a", "--out", "no-such-folder/table.txt"], "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_status_2(args, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run("table", *args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("twogauge: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr


def test_a_table_is_written_to_a_file(tmp_path):
    path = tmp_path / "r134a.json"
    result = run("table", "R134a", "--format", "json", "--out", str(path))
    assert (result.exit_code, result.stdout) == (0, "")
    assert json.loads(path.read_text())["columns"][0]["refrigerant"] == "R134a"


def test_the_set_is_written_checked_and_found_changed(tmp_path):
    folder = tmp_path / "set"
    made = run("table", "R134a", "R717", "--all", "--out", str(folder), "--from", "0", "--to", "50")
    assert made.exit_code == 0
    assert made.stderr == ""  # progress is for terminals
    assert len(list(folder.iterdir())) == 7
    assert run("table", "--check", str(folder)).exit_code == 0
    (folder / "R717.csv").write_text("")
    found = run("table", "--check", str(folder))
    assert found.exit_code == 1
    assert found.stdout == "R717.csv: changed since it was written\n"


# -- the door ------------------------------------------------------------------------------------------------------


def test_the_version_is_told():
    from importlib.metadata import version

    result = run("--version")
    assert (result.exit_code, result.stdout) == (0, f"twogauge {version('twogauge')}\n")


def test_help_lists_every_command_without_importing_one():
    script = (
        "import sys; from twogauge.cli.app import app\n"
        "try: app(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted(m for m in sys.modules if m.startswith('twogauge.') or m in ('numpy', 'CoolProp', 'rich')))"
    )
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    for command in COMMANDS:
        assert f"  {command.name} " in result.stdout
        assert command.summary.split()[0] in result.stdout
    assert (
        result.stdout.splitlines()[-1]
        == "['twogauge.cli', 'twogauge.cli.app', 'twogauge.cli.quick', 'twogauge.errors']"
    )


def test_a_command_imports_no_other_commands_code_and_no_property_library():
    script = (
        "import sys; from twogauge.cli.app import app\n"
        "try: app(['saturation', 'R134a', '35'])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('twogauge.cli.table', 'twogauge.table_set', 'CoolProp', 'yaml') if m in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert result.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["tabel"], "did you mean table?"),
        (["frobnicate"], "is not a command"),
        (["table", "R134a", "--unit", "us"], "--units"),
        (["table", "R134a", "--by", "volume"], "volume"),
        (["saturation", "R134a"], "VALUE"),
    ],
)
def test_a_mistyped_command_or_option_is_status_2_with_a_suggestion(args, words):
    result = run(*args)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_an_unexpected_fault_is_a_sentence_and_a_traceback_only_when_asked_for(monkeypatch):
    def broken(*_args, **_more):
        raise ZeroDivisionError("surprise")

    monkeypatch.setattr("twogauge.refrigerants.get", broken)
    result = run("table", "R134a")
    assert result.exit_code == 70
    assert result.stderr.count("\n") == 1
    assert "fault in twogauge" in result.stderr
    assert "ZeroDivisionError: surprise" in result.stderr
    assert isinstance(run("table", "R134a", env={"TWOGAUGE_DEBUG": "1"}).exception, ZeroDivisionError)


def test_an_interrupt_is_status_130(monkeypatch):
    def interrupted(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr("twogauge.refrigerants.get", interrupted)
    result = run("table", "R134a")
    assert result.exit_code == 130
    assert "Traceback" not in result.stderr


# -- as a real program ---------------------------------------------------------------------------------------------


def test_as_a_program_it_prints_plain_text_whatever_the_colours():
    plain = start("table", "R134a")
    assert plain.returncode == 0
    for setting in ("NO_COLOR", "FORCE_COLOR"):
        assert start("table", "R134a", env={**os.environ, setting: "1"}).stdout == plain.stdout
    assert "\x1b" not in plain.stdout


def test_a_reader_that_goes_away_is_no_error_message():
    process = subprocess.Popen(
        [sys.executable, "-m", "twogauge", "table", "R134a"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    process.stdout.close()
    complaint = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=120) == 141
    assert complaint == b""


READING = ("--refrigerant", "R134a", "--low", "35psi", "--high", "210psi", "--ambient", "90F")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize(
    "arguments",
    [("table", "R134a"), ("refrigerants",), ("diagnose", *READING), ("diagnose", *READING, "--json"), ("--help",)],
    ids=lambda value: f"{value[0]}{len(value)}",
)
def test_an_output_without_room_is_named(arguments):
    command = [sys.executable, "-m", "twogauge", *arguments]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=120)
    assert done.returncode == 2
    assert done.stderr == (
        f"twogauge: standard output cannot be written ({os.strerror(errno.ENOSPC)}); make room, or send the output "
        "elsewhere\n"
    )


@pytest.mark.skipif(os.name != "posix", reason="a shell that can close its output")
def test_a_closed_output_is_told():
    command = f"{shlex.quote(sys.executable)} -m twogauge table R134a >&-"
    done = subprocess.run(["/bin/sh", "-c", command], stderr=subprocess.PIPE, text=True, check=False, timeout=120)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "standard output is closed" in done.stderr


def test_a_terminal_without_unicode_can_show_everything():
    result = start("table", "R134b\u2603", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert result.returncode == 2
    assert result.stderr.startswith("twogauge: ")
