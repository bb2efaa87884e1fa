"""`twogauge diagnose --ask`: what it hears and says, and the whole of it through a real pseudo-terminal."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from small_pack import program as small_program
from terminal import PATIENCE, Terminal, pty
from twogauge.cli.app import app
from twogauge.cli.ask import CLEAR, Phase, Walk
from twogauge.cli.keyboard import UNSAVED
from twogauge.diagnosis import diagnose, program_for
from twogauge.quantities import UnitSet
from twogauge.reading import read_file

TESTS = Path(__file__).resolve().parents[1]
UNREAD = ("?", "?")  # to both gauges; what comes next is a check
ENGINE = TESTS.parent / "engine"


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Work in a folder of one's own: what is typed may become a file."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def walk(*lines, given=None, program=None, **how):
    """Return a walk that has heard these lines, and what it said to the last."""
    steps, said = Walk(given or {}, program or small_program(), **how), ()
    for line in lines:
        said = steps.hear(line)
    return steps, said


def asked(steps):
    return None if steps.question is None else steps.question.name


def loaded(path, **how):
    return diagnose(read_file(path, **how)[0], program=small_program())


def likely(diagnosis):
    return {r.fault: r.probability for r in diagnosis.ranking}


# -- what is asked ------------------------------------------------------------------------------------------------


def test_the_gauges_come_first_and_then_what_makes_them_mean_something():
    steps, order = Walk({}, small_program()), []
    for line in ("30 psi", "200 psi", "R134a", "90 degF"):
        order.append(asked(steps))
        steps.hear(line)
    assert order == ["low_side", "high_side", "refrigerant", "ambient"]
    assert asked(steps) in small_program().answers


def test_gauges_told_in_words_need_neither_refrigerant_nor_air():
    steps, _ = walk("normal", "high")
    assert asked(steps) not in {"refrigerant", "ambient"}
    assert steps.reading.parts.words["high_side"] == "high"


def test_what_a_file_holds_is_not_asked_again():
    steps, _ = walk(given={"low_side": "normal", "high_side": "normal", "checks": {"paper_test": "sticks"}})
    assert asked(steps) == "oily_spots"


def test_each_answer_ranks_anew():
    steps, _ = walk(*UNREAD)
    before = likely(steps.diagnosis)["smothered"]
    steps.hear("falls")
    assert likely(steps.diagnosis)["smothered"] > before
    assert likely(steps.diagnosis) == likely(diagnose(steps.reading, program=small_program()))


@pytest.mark.parametrize("typed", ["2", "falls", "Falls ", "fal"])
def test_an_answer_is_its_number_its_word_or_how_the_word_begins(typed):
    steps, _ = walk(*UNREAD)
    assert asked(steps) == "paper_test"
    steps.hear(typed)
    assert steps.reading.parts.words["paper_test"] == "falls"


@pytest.mark.parametrize(
    ("typed", "part"),
    [
        ("3", "1 to 2"),
        ("0", "1 to 2"),
        ("flals", "did you mean 'falls'?"),
        ("35 psi", "? if not known"),
        ("nonsense=1", "neither a field nor a check"),
        ("paper_tset=falls", "did you mean 'paper_test'?"),
        ("ambient=90 bar", "ambient"),
        ("", "h lists"),
        ("\x1b[2J\x00", "not an answer"),
        ("x" * 5000, "not an answer"),
    ],
)
def test_what_is_no_answer_is_told_so_and_changes_nothing(typed, part):
    steps, _ = walk(*UNREAD)
    before = (steps.step, asked(steps), steps.reading)
    said = steps.hear(typed)
    assert part in " ".join(said)
    assert "\x1b" not in " ".join(said)
    assert (steps.step, asked(steps), steps.reading) == before


@pytest.mark.parametrize("typed", ["abc", "200 degF", "14", "900 psi"])
def test_a_pressure_that_cannot_be_is_refused_with_a_sentence(typed):
    steps, said = walk(typed, given={"refrigerant": "R134a", "ambient": "90 degF"})
    assert (asked(steps) == "high_side") == (typed == "14")  # a bare number is in the units in force
    assert typed == "14" or "low_side" in said[0]


def test_a_bare_number_is_in_the_units_of_the_screen_not_of_the_file():
    given = {"refrigerant": "R134a", "low_side": "3"}
    steps, _ = walk("high=14", given=given, units=UnitSet.METRIC, file_units=UnitSet.SI)
    air = steps.reading.parts.barometer
    assert steps.reading.parts.numbers["low_side"] == pytest.approx(3e3 + air)
    assert steps.reading.parts.numbers["high_side"] == pytest.approx(14e5 + air)


def test_a_swing_is_taken_with_both_ends():
    steps, _ = walk("22 to 45")
    low, high = steps.reading.parts.swings["low_side"]
    assert (high - low) == pytest.approx(23 * 6894.757, rel=1e-5)


@pytest.mark.parametrize("typed", ["?", "don't know", "don\u2019t know", "DONT KNOW", "unknown"])
def test_what_is_not_known_is_never_asked_again(typed, tmp_path):
    steps, _ = walk(*UNREAD, typed)
    seen = set()
    while steps.phase is Phase.ASKING:
        seen.add(asked(steps))
        steps.hear("?")
    assert "paper_test" not in seen
    assert steps.ending() == "Nothing else is worth asking for."
    steps.save(str(tmp_path / "later.yaml"))
    again = Walk({"checks": dict(read_file(tmp_path / "later.yaml")[0].given["checks"])}, small_program())
    again.hear("?")
    again.hear("?")
    assert asked(again) not in seen | {"paper_test"}


def test_anything_else_can_be_told_at_any_time():
    steps, _ = walk("paper_test=sticks", "ambient=90F", "high=200 psi")
    assert asked(steps) == "low_side"
    assert steps.reading.parts.words["paper_test"] == "sticks"
    assert {"ambient", "high_side"} <= set(steps.reading.parts.numbers)


def test_what_looks_odd_is_said_at_once():
    _, said = walk("300 psi", "30 psi", given={"altitude": "0 ft"})
    assert "hoses are swapped" in " ".join(said)


def test_why_tells_what_each_answer_would_do():
    steps, said = walk(*UNREAD, "w")
    assert asked(steps) == "paper_test"
    assert any("it falls off" in line and "goes from" in line for line in said)


# -- back, and the end --------------------------------------------------------------------------------------------


def test_back_restores_the_state_before_step_by_step():
    steps = Walk({}, small_program())
    states = []
    for line in ("?", "high=normal", "paper_test=unknown", "no"):
        states.append((steps.step, asked(steps), dict(steps.reading.given), likely(steps.diagnosis)))
        steps.hear(line)
    for state in reversed(states):
        steps.hear("b")
        assert (steps.step, asked(steps), dict(steps.reading.given), likely(steps.diagnosis)) == state
    assert "no step to go back" in steps.hear("back")[0]
    assert steps.phase is Phase.ASKING


def test_it_ends_when_a_fault_is_clear_and_goes_on_before():
    steps, _ = walk(*UNREAD)
    assert steps.diagnosis.first.probability < CLEAR
    assert steps.phase is Phase.ASKING
    steps.hear("falls")
    assert steps.diagnosis.first.probability >= CLEAR
    assert steps.diagnosis.verdict == "fault"
    assert (steps.phase, steps.question) == (Phase.PARTING, None)
    steps.hear("b")  # also from there one can go back
    assert (steps.phase, asked(steps)) == (Phase.ASKING, "paper_test")


def test_with_the_built_in_rules_it_comes_to_an_end_whatever_is_answered():
    for choose in (0, -1):
        steps = Walk({"low_side": "low", "high_side": "high"}, program_for())
        for _ in range(200):
            if steps.phase is not Phase.ASKING:
                break
            before, answers = asked(steps), steps.question.answers
            steps.hear(answers[choose][0] if answers else "normal" if choose else "?")
            if asked(steps) == before:  # a temperature is no word: nobody has a thermometer here
                steps.hear("?")
            assert asked(steps) != before
        assert steps.phase is Phase.PARTING
        assert steps.is_clear or steps.question is None


def test_more_can_be_told_when_it_seemed_clear():
    steps, _ = walk(*UNREAD, "falls", "paper_test=sticks")
    assert (steps.phase, asked(steps)) == (Phase.ASKING, "oily_spots")
    steps, said = walk(*UNREAD, "falls", "paper_test=glows")
    assert (steps.phase, steps.reading.parts.words["paper_test"]) == (Phase.PARTING, "falls")
    assert "not an answer" in said[0]


def test_stopping_offers_to_save_only_what_is_not_saved(tmp_path):
    assert walk("q")[0].phase is Phase.OVER
    steps, _ = walk("normal", "q")
    assert steps.phase is Phase.PARTING
    steps.hear(str(tmp_path / "no" / "such" / "folder.yaml"))
    assert (steps.phase, steps.unsaved) == (Phase.PARTING, True)
    for answer in ("yes", "22 psi", "dry"):  # typed ahead, for a question that did not come
        assert ".yaml" in steps.hear(answer)[0]
    assert list(tmp_path.iterdir()) == []
    steps.hear(str(tmp_path / "a.yaml"))
    assert (steps.phase, steps.unsaved) == (Phase.OVER, False)
    assert (tmp_path / "a.yaml").exists()
    steps, _ = walk("normal", "q", "")
    assert (steps.phase, steps.unsaved) == (Phase.OVER, True)


# -- files --------------------------------------------------------------------------------------------------------


def test_a_saved_reading_is_read_back_as_it_was(tmp_path):
    given = {
        "machine": "bus 17: the one that 'hisses' #3",
        "note": "driver says: it was better\nlast summer \u00e9",
        "spec": {"low_side": ["20 psi", "35 psi"]},
        "baseline": {"refrigerant": "R134a", "low_side": "30 psi", "high_side": "200 psi", "ambient": "90 degF"},
        "paper_test": "sticks",
    }
    steps, said = walk("12 to 30", "2 bar", "R134a", "?", f"s {tmp_path / 'a b.yaml'}", given=given)
    assert said[0].startswith("Saved.")
    assert not steps.unsaved
    there = read_file(tmp_path / "a b.yaml")[0]
    assert (there.parts, there.baseline.parts) == (steps.reading.parts, steps.reading.baseline.parts)
    assert there.given["machine"] == given["machine"]
    assert likely(loaded(tmp_path / "a b.yaml")) == likely(steps.diagnosis)


def test_a_baseline_in_a_file_goes_into_the_saved_reading(tmp_path):
    (tmp_path / "may.yaml").write_text("units: metric\nrefrigerant: R134a\nlow_side: 2\nhigh_side: 14\nambient: 30\n")
    (tmp_path / "far").mkdir()
    steps, _ = walk("2.1 bar", given={"baseline": "may.yaml", "high_side": "high"}, folder=tmp_path)
    steps.save(str(tmp_path / "far" / "june.yaml"))
    assert read_file(tmp_path / "far" / "june.yaml")[0].baseline.parts == steps.reading.baseline.parts


def test_the_units_of_the_first_file_stay_those_of_the_saved_one(tmp_path):
    steps, _ = walk("14", given={"low_side": "2", "units": "metric"}, units=UnitSet.US, file_units=UnitSet.METRIC)
    steps.save(str(tmp_path / "a.yaml"))
    assert read_file(tmp_path / "a.yaml")[0].parts.numbers == steps.reading.parts.numbers


def test_a_file_of_somebody_is_not_written_over_unless_told_to(tmp_path):
    path = tmp_path / "mine.yaml"
    path.write_text("low_side: 35 psi  # read by Monday's shift\n")
    steps, said = walk("normal", f"save {path}")
    assert "is there already" in said[0]
    assert "Monday" in path.read_text()
    assert steps.unsaved
    steps.hear(f"s! {path}")
    assert not steps.unsaved
    steps.hear("high")
    assert steps.hear(f"s {path}")[0].startswith("Saved.")  # its own file it may
    assert read_file(path)[0].parts.words["high_side"] == "high"


def test_saving_asks_for_a_name_and_says_why_it_cannot(tmp_path):
    steps, said = walk("normal", "s")
    assert "s reading.yaml" in said[0]
    assert "cannot be written" in steps.hear(f"s {tmp_path}/none/x.yaml")[0]
    assert steps.unsaved


def test_what_is_rescued_never_takes_the_place_of_a_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert walk()[0].recover() is None
    first, second = walk("low")[0].recover(), walk("high")[0].recover()
    assert (str(first), str(second)) == (f"{UNSAVED}.yaml", f"{UNSAVED}_2.yaml")
    assert [read_file(p)[0].parts.words["low_side"] for p in (first, second)] == ["low", "high"]


def test_where_the_folder_takes_no_file_it_is_rescued_elsewhere(tmp_path, monkeypatch):
    gone = tmp_path / "gone"
    gone.mkdir()
    (tmp_path / "temporary").mkdir()
    monkeypatch.chdir(gone)
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "temporary"))
    gone.rmdir()
    path = walk("low")[0].recover()
    assert path.parent == tmp_path / "temporary"
    assert path.exists()


# -- lines from a pipe --------------------------------------------------------------------------------------------


def piped(*args, lines):
    with in_place_of_the_built_in():
        return CliRunner().invoke(app, ["diagnose", "--ask", *args], input=lines)


def test_answers_may_come_line_by_line():
    result = piped(lines="?\n?\nfalls\n")
    assert result.exit_code == 0
    assert "Most likely: The condenser gets no air" in result.stdout
    assert "> falls\n" in result.stdout
    assert result.stdout.count("3. Does the condenser hold") == 1
    assert all(len(line) <= 80 for line in result.stdout.splitlines())


def test_where_the_lines_end_the_diagnosis_so_far_is_printed():
    result = piped(lines="normal\n")
    assert result.exit_code == 0
    assert "How likely" in result.stdout


def test_flags_are_the_beginning_of_it():
    result = piped("--low", "normal", "--high", "high", "--check", "paper_test=falls", lines="")
    assert "That is clear enough" in result.stdout
    assert "Save this reading" not in result.stdout  # nothing was typed


@pytest.mark.parametrize("args", [["--json", "--low", "low"], ["-"]])
def test_it_talks_with_a_person_only(args):
    result = piped(*args, lines="low_side: low\n")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1


# -- a real terminal ----------------------------------------------------------------------------------------------


@pytest.fixture
def terminal(tmp_path):
    opened = []

    def start(*args, **environment):
        opened.append(Terminal(tmp_path, "diagnose", "--ask", *args, **environment))
        return opened[-1]

    yield start
    for each in opened:
        each.close()


def test_at_a_terminal_from_the_first_question_to_a_saved_answer(terminal, tmp_path):
    at = terminal("--no-color")
    assert "1. What does the low-side gauge show?" in at.read()
    wrong = at.type("seventy")
    assert "low_side" in wrong
    assert "What does" not in wrong  # asked again without repeating it all
    assert "2. What does the high-side" in at.type("normal")
    assert "3. Does the condenser hold" in at.type("?")
    assert "4. Are there oily spots" in at.type("don't know")
    assert "3. Does the condenser hold" in at.type("b")
    assert "Saved." in at.type("s half.yaml")
    done = at.type("2")
    assert "That is clear enough" in done
    assert "Most likely: The condenser gets no air" in done
    assert "Save this reading?" in done
    os.write(at.master, b"whole.yaml\n")
    at.read(until="")
    assert at.end() == 0
    assert "\x1b" not in at.all
    assert all(len(line) <= 80 for line in at.all.splitlines())
    assert read_file(tmp_path / "half.yaml")[0].parts.words == {
        "low_side": "normal",
        "system": "car_ac",
    }
    with in_place_of_the_built_in():
        told = CliRunner().invoke(app, ["diagnose", str(tmp_path / "whole.yaml"), "--json"])
    assert json.loads(told.stdout)["ranking"][0]["fault"] == "smothered"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["half.yaml", "whole.yaml"]


def test_a_saved_reading_goes_on_where_it_was_left(terminal, tmp_path):
    (tmp_path / "half.yaml").write_text("low_side: normal\nhigh_side: normal\nchecks: {paper_test: unknown}\n")
    at = terminal("half.yaml")
    assert "1. Are there oily spots" in at.read()
    assert "\x1b[2J" not in at.all
    assert "\x1b[H" not in at.all
    os.write(at.master, b"q\n")
    at.read(until="")
    assert at.end() == 0


@pytest.mark.parametrize(("key", "status"), [(b"\x03", 130), (b"\x04", 0)], ids=["Ctrl-C", "Ctrl-D"])
def test_an_interrupted_walk_says_where_the_answers_are(terminal, tmp_path, key, status):
    at = terminal()
    at.read()
    at.type("normal")
    at.type("200 psi")
    last = at.press(key)
    assert at.end() == status
    assert f"  twogauge diagnose {UNSAVED}.yaml --ask" in last.splitlines()  # to be copied as it stands
    assert "Traceback" not in at.all
    assert read_file(tmp_path / f"{UNSAVED}.yaml")[0].parts.words["low_side"] == "normal"
    assert read_file(tmp_path / f"{UNSAVED}.yaml")[0].given["high_side"] == "200 psi"


def test_an_interrupted_walk_without_anything_new_leaves_no_file(terminal, tmp_path):
    at = terminal("--low", "normal")
    at.read()
    at.press(b"\x03")
    assert at.end() == 130
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("how", ["closed", "SIGTERM", "SIGQUIT"])
def test_a_terminal_that_goes_away_takes_nothing_with_it(terminal, tmp_path, how):
    at = terminal()
    at.read()
    at.type("low")
    if how == "closed":
        os.close(at.master)
    else:
        at.process.send_signal(getattr(signal, how))
    at.end()
    assert read_file(tmp_path / f"{UNSAVED}.yaml")[0].parts.words["low_side"] == "low"


def test_somebody_who_could_not_see_the_questions_is_told(tmp_path):
    master, slave = pty.openpty()
    try:
        env = os.environ | {"PYTHONPATH": str(ENGINE)}
        command = [sys.executable, "-m", "twogauge", "diagnose", "--ask"]
        done = subprocess.run(
            command, stdin=slave, capture_output=True, text=True, cwd=tmp_path, env=env, check=False, timeout=PATIENCE
        )
    finally:
        os.close(master)
        os.close(slave)
    assert (done.returncode, done.stdout) == (2, "")
    assert "terminal" in done.stderr
