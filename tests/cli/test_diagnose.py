"""`twogauge diagnose`: fields become options, flags lie over a file, every mistake is a sentence with its place."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from twogauge.cli.app import app
from twogauge.fields import FIELDS

SUMMER = ("--refrigerant", "R134a", "--ambient", "90F", "--altitude", "0ft")
HOT = (*SUMMER, "--low", "40psi", "--high", "390psi")

READING = """\
# bus 17
refrigerant: R134a
low_side: 2 psi
high_side: 100 psi
ambient: 90 degF
altitude: 0 ft
checks:
  oily_spots: yes
"""


pytestmark = pytest.mark.usefixtures("small")


@pytest.fixture
def small():
    with in_place_of_the_built_in():
        yield


def run(*args, stdin=None, env=None):
    return CliRunner().invoke(app, ["diagnose", *args], input=stdin, env=env)


def told(*args, **kw):
    result = run(*args, "--json", **kw)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def refused(*args, **kw):
    result = run(*args, **kw)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    return result.stderr.rstrip("\n")


@pytest.fixture
def file(tmp_path):
    def write(text=READING, name="reading.yaml"):
        path = tmp_path / name
        path.write_text(text, "utf-8")
        return str(path)

    return write


# -- options ------------------------------------------------------------------------------------------------------


def test_every_field_of_a_reading_is_an_option_with_its_help():
    help_text = " ".join(run("--help").stdout.split())
    for known in FIELDS.values():
        assert f"--{known.flag} " in help_text
        for word in known.choices:
            assert word in help_text
        assert known.about[1:] in help_text


EXAMPLES = {
    "pressure": "20 psi",
    "temperature": "80 degF",
    "temperature difference": "10 K",
    "pressure difference": "1 psi",
    "percentage": "50 %",
    "time": "300 s",
    "height": "100 ft",
    "speed of rotation": "1500 rpm",
}


# A profile must be in a pack; tests/cli/test_expect.py names one of the bus depot's.
@pytest.mark.parametrize(
    "known", [known for known in FIELDS.values() if known.name != "profile"], ids=lambda known: known.name
)
def test_every_option_reaches_the_reading(known):
    if known.name == "refrigerant":
        value = "R134a"
    elif known.dimension is not None:
        value = "14.5 psi" if known.name == "barometer" else EXAMPLES[known.dimension.value]
    else:
        value = known.choices[0] if known.choices else "some text"
    reading = told(f"--{known.flag}", value)["reading"]
    if known.name in ("barometer", "altitude"):
        assert reading["barometer"]["from"] == known.name
    elif known.dimension is not None:
        assert known.name in reading["numbers"]
    else:
        assert {**reading["words"], **reading["texts"]}[known.name] == value


@pytest.mark.parametrize("value", ["-12inHg", "-12 inHg", "12inHg vac"])
def test_a_vacuum_may_be_written_with_a_minus(value):
    low = told("--low", value, "--altitude", "0ft")["reading"]["numbers"]["low_side"]["value"]
    assert low == pytest.approx(101325 - 12 * 3386.388640341)


def test_a_bare_number_is_in_the_unit_set():
    low = told("--low", "2", "--units", "metric", "--altitude", "0m")["reading"]["numbers"]["low_side"]["value"]
    assert low == pytest.approx(101325 + 2e5)


def test_checks_and_specs_may_be_repeated():
    reading = told(
        *HOT, "--check", "paper_test=falls", "--check", "oily_spots=no", "--spec", "low=25..35psi", "--spec",
        "high_side=180psi..220psi",
    )["reading"]  # fmt: skip
    assert (reading["words"]["paper_test"], reading["words"]["oily_spots"]) == ("falls", "no")
    psi = 6894.757293168
    low, high = reading["spec"]["low_side"], reading["spec"]["high_side"]
    assert (low["low"], low["high"]) == pytest.approx((101325 + 25 * psi, 101325 + 35 * psi))
    assert (high["low"], high["high"]) == pytest.approx((101325 + 180 * psi, 101325 + 220 * psi))


def test_a_range_of_the_maker_may_reach_into_vacuum():
    spec = told("--low", "3psi", "--spec", "low=-5inHg..10psi")["reading"]["spec"]["low_side"]
    assert spec["low"] == pytest.approx(101325 - 5 * 3386.388640341)


@pytest.mark.parametrize(
    "ends", ["0.5bar..1.5bar", ".5..1.5bar", "0.5 bar...1.5 bar", "0.5 to 1.5 bar", "50kPa .. 1,5bar"]
)
def test_a_range_of_the_maker_may_be_written_in_several_ways(ends):
    spec = told("--low", "3psi", "--altitude", "0m", "--spec", f"low={ends}")["reading"]["spec"]["low_side"]
    assert (spec["low"], spec["high"]) == pytest.approx((101325 + 0.5e5, 101325 + 1.5e5))


def test_a_check_changes_the_answer():
    with_check = told(*HOT, "--check", "paper_test=falls")["ranking"][0]
    without = told(*HOT)["ranking"][0]
    assert with_check["fault"] == without["fault"] == "smothered"
    assert with_check["weight_db"] > without["weight_db"]


def test_a_rule_may_be_left_out():
    rules = {reason["rule"] for ranked in told(*HOT)["ranking"] for reason in ranked["reasons"]}
    assert "high_side_high" in rules
    left = told(*HOT, "--without", "high_side_high")
    assert "high_side_high" not in {reason["rule"] for ranked in left["ranking"] for reason in ranked["reasons"]}


# -- a file, and flags over it ----------------------------------------------------------------------------------


def test_a_file_says_the_same_as_flags(file):
    by_flags = told(*SUMMER, "--low", "2psi", "--high", "100psi", "--check", "oily_spots=yes")
    assert told(file())["ranking"] == by_flags["ranking"]


def test_standard_input_and_json_are_read_like_a_file(file):
    expected = told(file())
    assert told("-", stdin=READING) == expected
    fields = {"refrigerant": "R134a", "low_side": "2 psi", "high_side": "100 psi", "ambient": "90 degF"}
    as_json = json.dumps({**fields, "altitude": "0 ft", "checks": {"oily_spots": "yes"}})
    assert told(file(as_json, "reading.json")) == expected


def test_a_flag_lies_over_the_file_and_says_so(file):
    document = told(file(), "--high", "390psi", "--check", "oily_spots=no", "--check", "paper_test=falls")
    assert document["ranking"][0]["fault"] == "smothered"
    assert document["reading"]["words"]["oily_spots"] == "no"
    assert document["warnings"][:2] == [
        "--high was used for high_side instead of 100 psi in the file",
        "--check oily_spots was used instead of yes in the file",
    ]
    assert not any("instead" in warning for warning in told(file(), "--check", "paper_test=falls")["warnings"])


def test_the_files_units_hold_unless_others_are_asked_for(file):
    path = file("units: metric\nrefrigerant: R134a\nlow_side: 2\naltitude: 0 m\n")
    for arguments, units in (((), "metric"), (("--units", "si"), "si"), (("--units", "us"), "us")):
        document = told(path, *arguments)
        assert document["reading"]["units"] == units
        assert document["reading"]["numbers"]["low_side"]["value"] == pytest.approx(301325)
    with_environment = told(path, env={"TWOGAUGE_UNITS": "si"})
    assert with_environment["reading"]["units"] == "metric"


def test_a_flags_bare_number_is_in_the_units_of_the_flags(file):
    path = file("units: metric\nrefrigerant: R134a\nlow_side: 2\naltitude: 0 m\n")
    numbers = told(path, "--units", "us", "--high", "200")["reading"]["numbers"]
    assert numbers["high_side"]["value"] == pytest.approx(101325 + 200 * 6894.757293168)
    assert numbers["low_side"]["value"] == pytest.approx(301325)
    bar = told(path, "--high", "13")["reading"]["numbers"]["high_side"]["value"]
    assert bar == pytest.approx(101325 + 13e5)


def test_a_baseline_may_be_named_by_flag_or_in_the_file(file):
    good = file("refrigerant: R134a\nlow_side: 28 psi\nhigh_side: 180 psi\nambient: 85 degF\n", "good.yaml")
    by_flag = told(file(), "--baseline", good)
    in_file = told(file(READING + "baseline: good.yaml\n"))
    assert by_flag["ranking"] == in_file["ranking"]
    assert {shown["judged_by"] for shown in by_flag["derived"]} >= {"baseline"}


def test_more_rules_are_stacked_from_the_environment_first_and_then_from_options(tmp_path):
    folders = []
    for name in ("first", "second", "third"):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "pack.yaml").write_text(f"pack: {name}\n", "utf-8")
        folders.append(str(folder))
    document = told(*HOT, "--rules", folders[2], env={"TWOGAUGE_RULES": os.pathsep.join(folders[:2])})
    assert [pack["pack"] for pack in document["packs"]] == ["common", "automotive", "first", "second", "third"]


# -- mistakes -------------------------------------------------------------------------------------------------------


def test_with_nothing_given_it_says_what_is_needed_with_an_example_that_works():
    said = refused()
    assert len(said.splitlines()) <= 8
    example = next(line for line in said.splitlines() if "--refrigerant" in line)
    assert run(*shlex.split(example)[2:]).exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["--low", "3pzi"], ["--low: 'pzi' is not a unit of pressure", "did you mean psi?"]),
        (["--compressor", "of"], ["--compressor: 'of' is not known here; did you mean 'off'?"]),
        (["--refrigerant", "R134b"], ["--refrigerant: 'R134b'", "did you mean"]),
        (["--check", "paper_tst=falls"], ["--check paper_tst: 'paper_tst'", "did you mean 'paper_test'?"]),
        (["--check", "paper_test=fals"], ["--check paper_test: 'fals'", "did you mean 'falls'?"]),
        (["--check", "paper_test"], ["--check 'paper_test': write the check and its answer"]),
        (["--check", "compressor=off"], ["compressor is no check but a field; write --compressor off"]),
        (["--low", "3psi", "--spec", "hihg=3..4"], ["--spec 'hihg'", "did you mean 'high'?"]),
        (["--low", "3psi", "--spec", "low=4"], ["--spec low_side: two ends belong here"]),
        (["--low", "3psi", "--spec", "low=4..3psi"], ["--spec low_side: the first end must be the lower one"]),
        (["--low", "3psi", "--spec", "low"], ["--spec 'low': write a field and its two ends"]),
        (["--low", "3psi", "--without", "high_side_hihg"], ["did you mean 'high_side_high'"]),
        (["--low", "3psi", "--rules", "nowhere"], ["'nowhere' does not exist"]),
        (["--low", "3psi", "--baseline", "nowhere.yaml"], ["nowhere.yaml:1:1: there is no such file"]),
        (["nowhere.yaml"], ["nowhere.yaml:1:1: there is no such file"]),
        (["--low", "3psi", "--units", "imperial"], ["--units", "imperial"]),
        (["--lw", "3psi"], ["--lw"]),
    ],
    ids=lambda value: "_".join(value[-2:]) if isinstance(value, list) else None,
)
def test_a_mistake_in_a_flag_is_one_sentence_that_helps(arguments, parts):
    said = refused(*arguments)
    for part in parts:
        assert part in said
    if "Usage" not in said:
        assert len(said.splitlines()) == 1


@pytest.mark.parametrize(
    ("line", "place", "message"),
    [
        ("low_side: 35 pzi", "1:11", "did you mean psi?"),
        ("low_sid: 35 psi", "1:1", "did you mean 'low_side'?"),
        ("checks:\n  paper_tst: falls", "2:3", "did you mean 'paper_test'?"),
        ("checks:\n  paper_test: fals", "2:15", "did you mean 'falls'?"),
        ("paper_test: fals", "1:13", "did you mean 'falls'?"),
        ("spec:\n  low_sid: [3 psi, 4 psi]", "2:3", "did you mean 'low_side'?"),
        ("- low_side", "1:1", "a reading is lines of 'field: value'"),
        ("low_side: [35", None, "bracket"),
        ("baseline: ../other.yaml", "1:11", "leads out of the folder"),
    ],
    ids=lambda value: value if value and "\n" not in value and len(value) < 30 else None,
)
def test_a_mistake_in_a_file_has_file_line_and_column(line, place, message, file):
    path = file(line + "\n")
    said = refused(path)
    assert said.startswith(f"{path}:{place}: " if place else f"{path}:")
    assert message in said
    assert len(said.splitlines()) == 1


def test_all_mistakes_of_a_file_are_told_at_once(file):
    said = refused(file("low_side: 3 pzi\nambient: hot\ncompressor: of\n")).splitlines()
    assert [re.search(r":(\d+):\d+: ", line)[1] for line in said] == ["1", "2", "3"]


def test_a_mistake_in_a_flag_over_a_file_names_the_flag_and_one_in_the_file_its_place(file):
    path = file("ambient: hot\nlow_side: 3 psi\n")
    said = refused(path, "--low", "3pzi")
    assert "--low: 'pzi'" in said
    assert f"{path}:1:10: ambient:" in said


def test_a_flag_may_heal_a_file(file):
    assert run(file("low_side: 35 pzi\n"), "--low", "35psi").exit_code == 0


def test_a_baseline_cannot_be_a_path_on_standard_input():
    assert refused("-", stdin="low_side: 3 psi\nbaseline: other.yaml\n").startswith("<stdin>:2:11: baseline:")


def test_nothing_on_standard_input_is_a_mistake():
    assert refused("-", stdin="").startswith("<stdin>:1:1: ")


odd = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        ["nan", "-inf", "1e999 psi", "0", "-", "--", "=", "..", "3psi..", "low", "off", "\x1b[2J", "\ud800"]
    ),
    st.from_regex(r"-?[0-9]{1,4}(\.[0-9]+)? ?(psi|bar|F|degC|inHg vac|%|rpm)?", fullmatch=True),
)


@given(
    st.dictionaries(st.sampled_from(["low", "high", "ambient", "refrigerant", "superheat", "system"]), odd), odd, odd
)
def test_no_flag_ends_in_a_traceback(fields, check, spec):
    arguments = [part for name, value in fields.items() for part in (f"--{name}={value}",)]
    with in_place_of_the_built_in():
        result = run(*arguments, f"--check={check}", f"--spec=low={spec}", f"--check=paper_test={check}")
    assert result.exit_code in (0, 2), result.stderr
    assert not re.search(r"[\x00-\x08\x0b-\x1f]", result.stdout + result.stderr)


@given(
    st.one_of(
        st.binary(max_size=80),
        st.text(max_size=80).map(lambda text: text.encode("utf-8", "replace")),
        st.dictionaries(
            st.sampled_from([*FIELDS, "checks", "spec", "units", "baseline"]),
            st.one_of(
                odd,
                st.lists(odd, max_size=3),
                st.dictionaries(odd, odd, max_size=2),
                st.none(),
                st.floats(),
                st.booleans(),
            ),
            max_size=4,
        ).map(lambda given: json.dumps(given).encode()),
    )
)
def test_no_file_ends_in_a_traceback(content):
    with in_place_of_the_built_in():
        result = run("-", stdin=content)
    assert result.exit_code in (0, 2), result.stderr
    assert bool(result.stdout) != (result.exit_code == 2)
    assert not re.search(r"[\x00-\x08\x0b-\x1f]", result.stdout + result.stderr)


# -- what is printed -----------------------------------------------------------------------------------------------


def test_text_has_80_columns_and_no_emphasis_in_a_pipe(file):
    printed = run(file(), "--verbose").stdout
    assert max(map(len, printed.splitlines())) <= 80
    assert "\x1b" not in printed
    assert printed.startswith("Most likely: Not enough in it")


def test_colour_can_be_forced_and_forbidden(file):
    forced = {"FORCE_COLOR": "1"}
    assert "\x1b[1m" in run(file(), env=forced).stdout
    assert "\x1b" not in run(file(), "--no-color", env=forced).stdout
    assert "\x1b" not in run(file(), env={**forced, "NO_COLOR": "1"}).stdout


def test_every_verdict_ends_with_status_0():
    verdicts = {
        told(*arguments)["verdict"]
        for arguments in (HOT, ["--ambient", "20F", "--low", "3psi"], ["--refrigerant", "R134a"])
    }
    assert verdicts == {"fault", "gated", "not_enough"}


def test_an_ascii_terminal_gets_ascii(file):
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    command = [sys.executable, "-m", "twogauge", "diagnose", file("refrigerant: R134a\nlow_side: 35 psi\n")]
    done = subprocess.run(command, capture_output=True, env=environment, check=True)
    assert "+/-" in done.stdout.decode("ascii")


def test_the_tool_does_not_wait_for_what_it_does_not_need(file):
    """Modules that would double the time to start."""
    program = (
        "import sys\n"
        "from twogauge.cli.app import main\n"
        f"sys.argv = ['twogauge', 'diagnose', {file('low_side: low')!r}]\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        "print(sorted({name.partition('.')[0] for name in sys.modules} & {'rich', 'CoolProp', 'pandas'}))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_options_that_are_no_plain_text_are_still_judged():
    wrong = run("--low", "low", "--units", "imperial")
    assert wrong.exit_code == 2
    assert "'us', 'si', 'metric'" in wrong.stderr
    assert run("--low", "low", "--units", "si").exit_code == 0
