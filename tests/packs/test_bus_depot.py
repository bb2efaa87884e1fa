"""The shop's own pack in examples/: it loads, its rules prove themselves, and it changes answers visibly."""

from __future__ import annotations

import shlex

import pytest
from typer.testing import CliRunner

from twogauge import Reading, diagnose, read_file
from twogauge.cli.app import app
from twogauge.diagnosis import program_for
from twogauge.next_checks import next_checks
from twogauge.packs.coverage import cover
from twogauge.packs.mutants import mutate
from twogauge.packs.selftest import check_examples
from twogauge.packs.trial import run as run_trial

DRAWN_TOGETHER = {
    "refrigerant": "R134a",
    "system": "bus_ac",
    "metering": "expansion_valve",
    "compressor_control": "fixed",
    "low_side": "68 psi",
    "high_side": "130 psi",
    "ambient": "85 degF",
    "altitude": "900 ft",
}


@pytest.fixture(scope="module")
def shop(root):
    return program_for((str(root / "examples" / "bus_depot"),))


def run(*words):
    result = CliRunner().invoke(app, list(words))
    assert result.exit_code == 0, result.stderr
    return " ".join(result.stdout.split())


def test_the_commands_in_its_header_run(root, monkeypatch):
    monkeypatch.chdir(root)
    head = (root / "examples" / "bus_depot" / "pack.yaml").read_text("utf-8")
    commands = [line.lstrip("# ") for line in head.splitlines() if line.startswith("#   twogauge ")]
    assert len(commands) == 2
    for command in commands:
        assert run(*shlex.split(command)[1:])


def test_its_header_lists_its_files(root):
    folder = root / "examples" / "bus_depot"
    head = (folder / "pack.yaml").read_text("utf-8")
    assert all(f"#   {path.name} " in head for path in folder.iterdir())


def test_every_rule_in_force_keeps_its_examples(shop):
    assert [str(failure) for failure in check_examples(shop)] == []


def test_each_way_of_changing_something_is_used(shop):
    mine = {
        kind: {n for n, e in getattr(shop.stack, kind).items() if e.pack == "bus_depot"}
        for kind in ("faults", "checks", "bands", "rules", "cautions")
    }
    assert all(mine.values()), mine
    assert any(rule.notes for rule in shop.stack.rules.values())
    assert list(shop.stack.disabled) == ["speed_changes_nothing"]


def test_a_worn_compressor_becomes_a_slow_drive_once_the_shop_is_asked(shop):
    assert diagnose(Reading(DRAWN_TOGETHER)).first.fault == "weak_compressor"
    undecided = diagnose(Reading(DRAWN_TOGETHER), program=shop)
    assert undecided.verdict == "too_close"
    assert set(undecided.close) == {"drive_too_slow", "weak_compressor"}
    ahead = next_checks(Reading(DRAWN_TOGETHER), shop)
    assert {"drive_oil", "hub_speed"} <= {step.name for step in ahead}

    slow = diagnose(Reading(DRAWN_TOGETHER, drive_oil="below_the_mark"), program=shop)
    assert (slow.verdict, slow.first.fault) == ("fault", "drive_too_slow")
    assert any("by hand" in str(caution) for caution in slow.first.cautions)
    right = diagnose(Reading(DRAWN_TOGETHER, drive_oil="at_the_mark", hub_speed="right"), program=shop)
    assert right.first.fault == "weak_compressor"


def test_a_disabled_rule_no_longer_speaks(shop):
    def speaks(**how):
        diagnosis = diagnose(Reading(DRAWN_TOGETHER, speed_response="low_side_unchanged"), **how)
        return any(r.rule == "speed_changes_nothing" for ranked in diagnosis.ranking for r in ranked.reasons)

    assert speaks()
    assert not speaks(program=shop)


def test_the_shops_own_band_turns_a_doubtful_high_side_into_a_high_one(shop):
    reading = Reading(DRAWN_TOGETHER, high_side="300 psi", ambient="95 degF")
    levels = {}
    for name, program in (("usual", None), ("shop", shop)):
        levels[name] = {s.name: s.level for s in diagnose(reading, program=program).derived}["high_side"]
    assert levels == {"usual": "normal", "shop": "high"}
    car = Reading(DRAWN_TOGETHER, system="car_ac")
    assert diagnose(car, program=shop).derived == diagnose(car).derived


def test_the_note_stands_in_the_ledger_where_it_moved_the_answer(shop, root):
    reading = str(root / "examples" / "readings" / "bus_22_hot_yard.yaml")
    printed = run("diagnose", reading, "--rules", str(root / "examples" / "bus_depot"))
    note = "Adjusted by bus_depot: The roof condensers are grey with brake dust two weeks after the wash"
    assert note in printed
    assert "Adjusted by" not in run("diagnose", reading)
    (reason,) = (
        r for r in diagnose(read_file(reading)[0], program=shop).first.reasons if r.rule == "condenser_face_blocked"
    )
    assert reason.weight == 6.0
    assert [pack for pack, _ in reason.notes] == ["bus_depot"]


def test_what_was_taken_out_is_told_on_request(root):
    asked = ("diagnose", str(root / "examples" / "readings" / "bus_22_hot_yard.yaml"), "--rules")
    printed = " ".join(run(*asked, str(root / "examples" / "bus_depot"), "--verbose").split())
    assert (
        "Left out: speed_changes_nothing, by bus_depot: The hydraulic drive holds the compressor's speed" in printed
    )


def test_the_note_of_an_adjusted_fault_stands_beside_it(tmp_path, root):
    (tmp_path / "pack.yaml").write_text(
        "pack: seasons\nadjust:\n  condenser_cooling:\n    note: Every July.\n    how_common: very common\n"
    )
    reading = str(root / "examples" / "readings" / "bus_22_hot_yard.yaml")
    assert "Adjusted by seasons: Every July." in run("diagnose", reading, "--rules", str(tmp_path))


def test_its_cases_hold_and_would_notice_each_of_its_rules_broken(root):
    trial = run_trial([root / "examples" / "bus_depot"])
    assert [f"{failure.case.id}: {failure.came}" for failure in trial.failures] == []
    assert [gap.what or gap.of for gap in cover(trial).gaps] == []
    assert [f"{mutant.rule}: {mutant.what}" for mutant in mutate(trial).survivors] == []


def test_what_it_moves_in_our_cases_is_what_it_took_out(root):
    trial = run_trial([root / "examples" / "bus_depot"])
    assert {failure.case.id for failure in trial.moved} == {"speed_changes_nothing", "speed_lowers_the_low_side"}
    printed = run("rules", "test", str(root / "examples" / "bus_depot"))
    assert printed.count("comes out otherwise") == 2
    assert "2 of the cases of the packs beneath come out otherwise with these packs" in printed
