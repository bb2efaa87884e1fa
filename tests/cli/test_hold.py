"""`twogauge hold`: the answer first, fitting the page, warned once; mistakes of file and options with their place."""

from __future__ import annotations

import json
import math
import os
import time

import pytest
from typer.testing import CliRunner

from terminal import Terminal
from twogauge.cli.app import app

HOLDS = "examples/holds/"
LEAK = (HOLDS + "bus_17_after_the_joint.csv", "--coldest", "68F", "--volume", "4L", "--refrigerant", "R134a")
WET = (HOLDS + "van_03_stood_open.yaml",)
DIAL = (HOLDS + "dial_only.txt",)
NITROGEN = (HOLDS + "shelter_unit_nitrogen.yaml", "--nitrogen")
DROP = (HOLDS + "bus_22_nitrogen.csv", "--nitrogen", "--volume", "4L", "--refrigerant", "R134a")


def run(*arguments, status=0, typed=None):
    result = CliRunner().invoke(app, ["hold", *arguments], input=typed)
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.fixture(autouse=True)
def here(root, monkeypatch):
    monkeypatch.chdir(root)


@pytest.mark.parametrize(
    ("arguments", "first"),
    [
        (LEAK, "It leaks ("),
        (WET, "There is water in it ("),
        (DIAL, "Cannot say what it did: the gauge is too coarse"),
        (NITROGEN, "It holds: nothing is missing that this gauge could show"),
        (DROP, "It leaks: the pressure fell by more than temperature and weather explain"),
        ((*DROP, "--test-pressure", "100psi"), "Let it down: 150.0 psi is above the 100.0 psi"),
    ],
    ids=["leak", "wet", "dial", "nitrogen", "drop", "above"],
)
def test_the_first_line_is_the_answer_and_it_fits_the_page(arguments, first):
    for more in ((), ("--units", "metric", "--verbose")):
        printed = run(*arguments, *more)
        assert max(map(len, printed.splitlines())) <= 80
        assert printed.count("Take care") == 1
        assert "nan" not in printed.split()
        if not more:
            assert printed.startswith(first)


def test_a_leak_is_told_in_each_measure():
    printed = " ".join(run(*LEAK).split())
    for part in ("micron/min", "Pa m3/s", "into 4 L", "of R-134a a year as gas at", "valve cores"):
        assert part in printed


def test_the_criteria_name_who_says_so_and_that_they_disagree():
    printed = " ".join(run(*DIAL).split())
    assert "It loses no more than 1 inHg in 5 minutes" in printed
    assert "TM 5-3805-280-24-1; Mercury 1994" in printed
    assert "Published criteria disagree" in printed


def test_one_criterion_may_be_named_and_a_shop_may_have_its_own(tmp_path):
    only = json.loads(run(*DIAL, "--criterion", "hold_2_inhg_in_5_min", "--json"))["criteria"]
    assert [each["criterion"] for each in only if "hold" in each["criterion"]] == ["hold_2_inhg_in_5_min"]
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\ncriteria:\n  ours_on_the_dial:\n    title: Ours\n    test: vacuum_hold\n    gauge: dial\n"
        "    rises: 0.5 inHg\n    within: 15 min\n    ours: yes\n    source: common practice\n",
        "utf-8",
    )
    ours = json.loads(run(*DIAL, "--rules", str(tmp_path), "--json"))["criteria"]
    assert [each["criterion"] for each in ours if each["ours"]] == ["ours_on_the_dial"]
    assert not any(each["criterion"].startswith("hold_") for each in ours)


def test_json_tells_all_in_si():
    document = json.loads(run(*LEAK, "--json"))
    assert document["schema"] == "twogauge.hold/1"
    assert document["cause"] == "leak"
    assert sum(document["probabilities"].values()) == pytest.approx(1.0, abs=1e-5)
    low, middle, high = document["throughput_Pa_m3_s"]
    assert low < middle < high
    assert middle == pytest.approx(document["rise_Pa_s"][1] * 4e-3, rel=1e-6)
    assert document["loss"]["kg_a_year"][0] < document["loss"]["kg_a_year"][1]
    under = json.loads(run(*NITROGEN, "--json"))
    assert under["schema"] == "twogauge.pressure_hold/1"
    assert under["by_temperature_Pa"] < 0.0


def test_the_moment_of_the_valve_is_found_and_said():
    document = json.loads(run(*WET, "--json"))
    assert document["valved_off_found"]
    assert document["valved_off_s"] == 720.0
    assert any("--valved-off" in note for note in document["notes"])


def test_rows_may_be_typed():
    typed = "0 min 29 inHg vac\n5 24\n10 20\n15 16\n20 13\n25 10\n30 8\n"
    assert run("-", typed=typed).startswith("It leaks")


def test_where_nothing_fits_it_says_so_and_what_to_do():
    waves = "".join(f"{t} min, {500 + 200 * math.sin(t / 4):.0f} micron\n" for t in range(31))
    printed = " ".join(run("-", "--valved-off", "0 min", typed=waves).split())
    assert "Cannot say what it did: no known course fits within the gauge's noise" in printed
    assert "Repeat it with the machine left alone" in printed
    assert "How likely" not in printed
    assert json.loads(run("-", "--valved-off", "0 min", "--json", typed=waves))["leaks"] is None


def test_what_levels_off_in_some_minutes_is_no_leak():
    typed = "0 min 370 micron\n1 520\n2 610\n3 650\n5 690\n7 710\n10 710\n15 710\n20 710\n30 710\n"
    assert run("-", typed=typed).startswith("Something comes out of the oil, or out of rubber")


def test_under_nitrogen_an_unmeasured_change_of_temperature_is_told_in_degrees():
    printed = " ".join(run("-", "--nitrogen", typed="0 h, 150 psi\n12 h, 142 psi\n").split())
    assert printed.startswith("Cannot say: a change of temperature, which nobody measured, could make such a drop")
    assert "Gas 25.6 degF colder at the end" in printed
    document = json.loads(run("-", "--nitrogen", "--json", typed="0 h, 150 psi\n12 h, 142 psi\n"))
    assert document["verdict"] == "cannot say"
    assert document["would_explain_K"] == pytest.approx(14.2, abs=0.1)


def test_a_number_of_another_unit_is_told_with_file_and_line():
    typed = "time [min], pressure [micron]\n0, 500\n1, 503\n2, 67\n3, 505\n"
    said = " ".join(run("-", status=2, typed=typed).split())
    assert "<stdin>:4:1: 67 micron does not go with the rows around it" in said
    assert "write '67 Pa'" in said


def test_never_air_or_oxygen_stands_beside_the_test():
    printed = " ".join(run(*DROP).split())
    assert "never compressed air or oxygen" in printed
    assert "low-side test pressure on the label" in printed


@pytest.mark.parametrize(
    ("typed", "more", "said"),
    [
        ("0 min 500 micron\n5 480 torrr\n", (), "<stdin>:2:3: pressure:"),
        ("5 min 500 micron\n3 500\n", (), "<stdin>:2:1: time: '3' is earlier than the row above"),
        ("0 min 500 micron\n1 500\n", (), "2 readings since the valve was shut"),
        ("coldest: 72 psi\nreadings:\n- [0 min, 5 micron]\n", (), "<stdin>:1:10: coldest:"),
        ("0 min 500 micron\n", ("--coldest", "72psi"), "--coldest:"),
        ("0 min 500 micron\n", ("--system", "car"), "is no kind of machine known here"),
        ("0 min 500 micron\n", ("--criterion", "hold_1_inhg"), "did you mean 'hold_1_inhg_in_5_min'"),
        ("0 min 500 micron\n", ("--volume", "4"), "needs its unit"),
        ("0 min 500 micron\n", ("--resolution", "0 micron"), "a gauge is read to some step"),
        ("0 min 150 psi\n5 150\n", (), "with --nitrogen a test under pressure is judged"),
        ("0 min 500 micron\n", ("--refrigerant", "R134x"), "did you mean"),
    ],
)
def test_what_cannot_be_is_a_sentence(typed, more, said):
    assert said in " ".join(run("-", *more, status=2, typed=typed).split())


# -- at a terminal ----------------------------------------------------------------------------------------------------


@pytest.fixture
def terminal(tmp_path):
    opened = []

    def start(*args):
        opened.append(Terminal(tmp_path, "hold", "-", *args, built_in=True))
        return opened[-1]

    yield start
    for each in opened:
        each.close()


def typed_so_far(at, *rows):
    at.read(until="Ctrl-D on a line of its own ends.\r\n")
    for row in rows:
        os.write(at.master, f"{row}\n".encode())


def test_rows_that_cannot_be_used_are_kept_with_the_command_to_go_on(terminal, tmp_path):
    at = terminal("--coldest", "68F")
    rows = ("0 min, 500 micron", "10, 520", "5, 510", "20, 530")
    typed_so_far(at, *rows)
    last = at.press(b"\x04")
    assert at.end() == 2
    assert "earlier than the row above" in " ".join(last.split())
    assert "  twogauge hold twogauge_unsaved.txt --coldest 68F" in last.splitlines()
    assert (tmp_path / "twogauge_unsaved.txt").read_text() == "".join(f"{row}\n" for row in rows)


@pytest.mark.parametrize("how", ["Ctrl-C", "closed"])
def test_rows_are_kept_when_typing_is_broken_off(terminal, tmp_path, how):
    at = terminal()
    typed_so_far(at, "0 min, 500 micron", "10, 520")
    time.sleep(0.5)  # what is in the line discipline only when the key comes would be thrown away by it
    if how == "closed":
        os.close(at.master)
    else:
        at.press(b"\x03")
    assert at.end() == 130
    assert (tmp_path / "twogauge_unsaved.txt").read_text() == "0 min, 500 micron\n10, 520\n"


def test_rows_that_were_judged_leave_no_file(terminal, tmp_path):
    at = terminal()
    typed_so_far(at, *(f"{t} min, {400 + 90 * t} micron" for t in range(0, 31, 3)))
    assert "It leaks" in at.press(b"\x04")
    assert at.end() == 0
    assert list(tmp_path.iterdir()) == []
