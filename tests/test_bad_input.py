"""Whatever is typed or written, the program answers with a sentence that says what to do, never with a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.reading import Reading

GOOD = "refrigerant: R134a\nlow_side: 35 psi\nhigh_side: 210 psi\nambient: 90 degF\n"


def run(*arguments, text=None):
    """Run the program inside this process; `text` is what comes on standard input."""
    return CliRunner().invoke(app, ["diagnose", *map(str, arguments)], input=text)


def refused(*arguments, text=None):
    """What a person reads where the answer is no: on standard error, with status 2."""
    result = run(*arguments, text=text)
    assert result.exit_code == 2, (result.stdout, result.stderr)
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert "fault in twogauge" not in result.stderr
    assert "Error" not in result.stderr.replace("Error: ", "")
    return result.stderr


def answered(*arguments, text=None):
    """What a person reads where there is an answer: on standard output, with status 0."""
    result = run(*arguments, text=text)
    assert result.exit_code == 0, (result.stdout, result.stderr)
    assert result.stderr == ""
    assert "Traceback" not in result.stdout
    assert "nan" not in result.stdout.casefold().split()
    return result.stdout


def program(*arguments, cwd, data=None):
    """Run the program as its users do."""
    command = [sys.executable, "-m", "twogauge", *map(str, arguments)]
    done = subprocess.run(command, cwd=cwd, capture_output=True, check=False, input=data, timeout=60)
    assert b"Traceback" not in done.stdout + done.stderr
    return done.returncode, done.stdout.decode(), done.stderr.decode()


@pytest.fixture
def write(tmp_path):
    def to_file(data, name="reading.yaml"):
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return path

    return to_file


# -- files that are no readings -----------------------------------------------------------------------------------

_LETTERS = "abcdefghijklmnopqrstu"
_BOMB = "a: &a [x, x]\n" + "".join(f"{this}: &{this} [*{last}, *{last}]\n" for last, this in pairwise(_LETTERS))


@pytest.mark.parametrize(
    ("data", "place", "words"),
    [
        (b"", ":1:1: ", "empty"),
        (b"\n# nothing yet\n\n", ":", "empty"),
        (b"ambient: 90 \xb0F\n", ":1:13: ", "UTF-8"),
        ("ambient: 90 degF\n".encode("utf-16"), ":1:", "UTF-8"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", ":1:", "UTF-8"),
        (b"\x7fELF\x02\x01\x01\x00\x00\x00", ":1:", "character"),
        (_BOMB, ":1:4: ", "&"),
        ("ambient: 90 degF\nambient: 80 degF\n", ":2:1: ", "'ambient'"),
        ("spec:\n\tlow_side: 5 psi\n", ":2:1: ", "tab"),
        ("ambient 90 degF\n", ":1:1: ", "field: value"),
        ("just words", ":1:1: ", "field: value"),
        ("- ambient\n- 90\n", ":1:1: ", "field: value"),
        ("ambient: [90 degF\n", ":", "bracket"),
        ('{"ambient": "90 degF"', ":", "bracket"),
        ("ambient: !!python/object/apply:os.system [ls]\n", ":1:10: ", "!"),
        ("x: " + "[" * 60 + "]" * 60, ":1:", "levels inside each other"),
        ("note: " + "a" * 30_000 + "\n", ":1:7: ", "character"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_a_file_that_is_no_reading_is_refused_where_it_goes_wrong(write, data, place, words):
    path = write(data)
    message = refused(path)
    assert message.startswith(f"{path}{place}")
    assert words.casefold() in message.casefold()
    lines = message.splitlines()
    assert len(lines) <= 101  # and a line that says that there are more
    assert all(len(line) < len(str(path)) + 250 for line in lines)


def test_a_file_of_a_hundred_megabytes_is_not_read(tmp_path):
    path = tmp_path / "huge.yaml"
    with path.open("wb") as file:
        file.truncate(100 * 2**20)  # sparse: takes no room
    assert "this file is larger than 4 MiB" in refused(path)


def test_a_folder_a_missing_file_and_a_pipe_are_no_files(tmp_path):
    assert "this is a folder; name a file in it" in refused(tmp_path)
    assert "there is no such file" in refused(tmp_path / "gone.yaml")
    os.mkfifo(tmp_path / "pipe.yaml")
    assert "this is not a regular file" in refused(tmp_path / "pipe.yaml")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(write):
    path = write(GOOD)
    path.chmod(0)
    assert "check its name and permissions" in refused(path)


def test_standard_input_goes_the_same_way():
    assert "R-134a" in answered("-", text=GOOD)
    assert refused("-", text="").startswith("<stdin>:1:1: ")
    assert refused("-", text="ambient: 90 degC\n").startswith("<stdin>:1:10: ambient: '90 degC'")


def test_nothing_at_all_is_answered_with_what_to_type():
    message = refused()
    assert "what did you read?" in message
    assert "--refrigerant R134a" in message


def test_off_is_a_word_and_no_truth_value(write):
    told = json.loads(answered(write("refrigerant: R134a\ncompressor: off\nlow_side: 80 psi\n"), "--json"))
    assert any("stopped" in gate["title"] for gate in told["gates"])
    message = refused(write('{"compressor": false}', "reading.json"))
    assert "write one of running, off, cycling" in message


def test_every_mistake_in_a_file_is_told_in_one_go(write):
    path = write("refrigerant: R134q\nlow_side: 35 degF\nambient: 90 C\nsight_glas: foam\n")
    lines = refused(path).splitlines()
    assert [line.split(": ", 1)[0] for line in lines[:3]] == [f"{path}:1:14", f"{path}:2:11", f"{path}:3:10"]


def test_a_name_nobody_knows_is_told_with_the_nearest(write):
    path = write(GOOD + "sight_glas: foam\n")
    assert refused(path) == (
        f"{path}:5:1: 'sight_glas' is neither a field nor a check known here; did you mean 'sight_glass'?\n"
    )


# -- numbers that cannot be -----------------------------------------------------------------------------------------


def flags(**changes):
    given = {"refrigerant": "R134a", "low": "35psi", "high": "210psi", "ambient": "90F"} | changes
    return [part for name, value in given.items() if value is not None for part in (f"--{name}", value)]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"refrigerant": "R135"}, "is not a refrigerant known here; did you mean"),
        ({"ambient": "nan"}, "is not a number that a thermometer can show"),
        ({"ambient": "inf F"}, "is not a number that a thermometer can show"),
        ({"low": "nan"}, "--low: 'nan' is not a number that a gauge can show; write a value such as 35 psi"),
        ({"high": "-inf psi"}, "is not a number that a gauge can show"),
        ({"low": ""}, "--low: nothing is written behind it; leave it out, or give a value such as 35 psi, 2.4 bar"),
        ({"high": "  "}, "--high: nothing is written behind it"),
        (
            {"ambient": ""},
            "--ambient: nothing is written behind it; leave it out, or give a value such as 90 degF or 32 degC",
        ),
        ({"low-gauge": ""}, "--low-gauge: nothing is written behind it"),
        ({"metering": ""}, "--metering: nothing is written behind it; leave it out, or write one of expansion_valve"),
        ({"ambient": "-500F"}, "is below absolute zero"),
        ({"ambient": "90C"}, "did you mean 90 degF?"),
        ({"low": "40inHg vac"}, "is below a perfect vacuum"),
        ({"low": "-5bar"}, "is below a perfect vacuum"),
        ({"low": "35bar"}, "did you mean 35 psi?"),
        ({"low": "1400"}, "check the number, its unit and the refrigerant"),
        ({"high": "1e99 psi"}, "is more than any service gauge shows"),
        ({"high": "35 furlongs"}, "'furlongs' is not a unit of pressure known here"),
        ({"high": "210 degF"}, "is a temperature, but a pressure belongs here"),
        ({"high": "lots"}, "is not a word for this"),
        ({"high": "9" * 300}, "is too long to be one value"),
        ({"low": "\x1b[31m35"}, "\\x1b"),
        ({"altitude": "40000ft"}, "is outside -1640 to 36100 ft"),
        ({"barometer": "1013"}, "is not the pressure of air"),
        ({"humidity": "0.5"}, "write the percent sign"),
        ({"metering": "txv"}, "write one of expansion_valve, orifice_tube, capillary"),
        ({"check": "sight_glass"}, "write the check and its answer"),
        ({"check": "sight_glass=purple"}, "is not an answer to this check"),
        ({"check": "no_such=yes"}, "is neither a field nor a check known here"),
        ({"spec": "low=35psi..25psi"}, "the first end must be the lower one"),
        ({"spec": "low"}, "write a field and its two ends"),
        ({"baseline": "gone.yaml"}, "there is no such file"),
        ({"rules": "no/such/folder"}, "does not exist"),
        ({"without": "no_such_rule"}, "is not a rule known here"),
        ({"units": "imperial"}, "us"),
    ],
    ids=lambda value: "_".join(f"{k}={v}"[:24] for k, v in value.items()) if isinstance(value, dict) else None,
)
def test_what_cannot_be_is_refused_with_what_to_do(changes, words):
    message = refused(*flags(**changes))
    assert words in " ".join(message.split())
    assert "\x1b" not in message


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"low": "210psi", "high": "35psi"}, "the hoses are swapped"),
        ({"low": "50psia"}, "was given as an absolute pressure"),
        ({"ambient": "60F"}, ""),
        ({"ambient": "-40F"}, ""),
        ({"refrigerant": "R744", "low": "30bar", "high": "95bar"}, "above the critical point"),
        ({"refrigerant": "R123", "low": "29.9inHg vac", "high": "5psi"}, "below the range"),
        ({"low": "-12inHg"}, ""),
        ({"low": "-300mmHg"}, "12 ± 6 inHg vac"),
        ({"low": "-300 torr"}, "12 ± 6 inHg vac"),
        ({"low": "300 mmHg"}, "if this came from the dial, write '300 mmHg vac'"),
        ({"low": "35 lbs", "high": "210#"}, "210"),
        ({"low": "22 lbs to 45 lbs"}, "22 to 45 psi"),
        ({"low": "22# - 45#"}, "22 to 45 psi"),
        ({"low": "22 to 45 psi"}, ""),
        ({"refrigerant": None}, "refrigerant"),
        ({"refrigerant": ""}, "refrigerant"),
        ({"low": "low", "high": "high", "ambient": None, "refrigerant": None}, ""),
        ({"low": None, "high": None, "ambient": None}, ""),
        ({"refrigerant": None, "low": "unknown", "high": None, "ambient": None}, ""),
    ],
    ids=lambda value: "_".join(f"{k}={v}" for k, v in value.items()) if isinstance(value, dict) else None,
)
def test_what_is_odd_but_possible_is_answered_and_remarked(changes, words):
    assert words in " ".join(answered(*flags(**changes)).split())
    told = json.loads(answered(*flags(**changes), "--json"))  # no NaN is JSON
    assert told["verdict"] in {"fault", "normal", "too_close", "not_enough", "gated"}


def test_an_unknown_option_is_told_and_not_taken_for_a_number():
    assert "--lo" in refused("--lo", "35psi", "--ambiant", "90F")


_SHORT = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\x00"), max_size=12)


_FLAGS = ("--low", "--ambient", "--refrigerant", "--metering", "--check", "--spec", "--altitude", "--baseline")


@settings(max_examples=40)
@given(st.sampled_from(_FLAGS), _SHORT)
def test_whatever_is_typed_is_answered_or_refused(flag, text):
    result = run(f"{flag}={text}", "--humidity=50%")
    assert result.exit_code in {0, 2}, result.stderr
    assert "Traceback" not in result.output
    assert (result.exit_code == 0) == bool(result.stdout)


_LINES = st.lists(
    st.builds("{}: {}".format, st.sampled_from(("low_side", "ambient", "spec", "checks", "units", "clutch")), _SHORT)
    | _SHORT,
    max_size=4,
)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(_LINES.map("\n".join).map(str.encode) | st.binary(max_size=40))
def test_whatever_a_file_holds_is_answered_or_refused(write, data):
    result = run(write(data))
    assert result.exit_code in {0, 2}, result.stderr
    assert "Traceback" not in result.output
    assert (result.exit_code == 0) == bool(result.stdout)


# -- as its users run it ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "status", "words"),
    [
        (GOOD.encode(), 0, ""),
        (b"", 2, "empty"),
        (b"\xff\xfe\x00garbage", 2, "UTF-8"),
        (_BOMB.encode(), 2, "&"),
    ],
    ids=["good", "empty", "garbage", "bomb"],
)
def test_the_program_itself_ends_with_a_sentence_and_a_status(write, tmp_path, data, status, words):
    write(data)
    code, out, err = program("diagnose", "reading.yaml", cwd=tmp_path)
    assert (code, bool(out), bool(err)) == (status, status == 0, status == 2)
    assert words in err
    if status:
        assert err.startswith("reading.yaml:1:")


def test_the_program_itself_does_not_drown_in_standard_input(tmp_path):
    code, out, err = program("diagnose", "-", cwd=tmp_path, data=b"a" * (5 * 2**20))
    assert (code, out) == (2, "")
    assert "this text is larger than" in err


def test_names_of_strangers_folders_cannot_act_on_the_terminal(tmp_path):
    folder = tmp_path / "pack\x1b[31m"
    folder.mkdir()
    result = CliRunner().invoke(app, ["diagnose", "--low", "low", "--rules", str(folder)], color=True)
    assert result.exit_code == 2
    assert "\x1b" not in result.output
    assert "x1b[31m" in result.output


def test_the_figure_of_a_weather_report_is_noticed():
    reading = Reading(low_side="35 psi", altitude="7000 ft", barometer="29.92 inHg")
    assert any("disagree" in note for note in reading.parts.notes)
    assert not any("disagree" in note for note in Reading(altitude="7000 ft", barometer="23.1 inHg").parts.notes)
