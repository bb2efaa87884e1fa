"""`twogauge standing`: the verdict first, numbers in the reader's units, and a sentence for what cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

PRINTED = [
    ("R134a", "85psi", "--coldest", "75F"),
    ("R134a", "78.7psi", "--coldest", "75F"),
    ("R134a", "30psi", "--coldest", "75F", "--volume", "2.5L", "--charge", "1.6lb"),
    ("R134a", "30psi", "--coldest", "75F", "--charge", "1.6lb", "--verbose"),
    ("R407C", "110psi", "--coldest", "20C", "--other-gauge", "180psi", "--verbose"),
]


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["standing", *arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


@pytest.mark.parametrize("arguments", PRINTED)
@pytest.mark.parametrize("units", ["us", "si", "metric"])
def test_it_fits_the_page_and_warns_once(arguments, units):
    printed = run(*arguments, "--units", units)
    assert max(map(len, printed.splitlines())) <= 80
    assert printed.count("Take care") == 1
    assert "ecover it" in " ".join(printed.split())
    assert "nan" not in printed.split()


@pytest.mark.parametrize(
    ("pressure", "first"),
    [
        ("30psi", "Below saturation: no liquid R-134a is left"),
        ("78.7psi", "At saturation: liquid R-134a is there"),
        ("110psi", "Above saturation: not R-134a alone"),
    ],
)
def test_the_first_line_is_the_answer(pressure, first):
    assert run("R134a", pressure, "--coldest", "75F").startswith(first)


def test_the_units_change_the_words_and_not_the_numbers():
    one, other = (
        json.loads(run("R134a", p, "--coldest", t, "--volume", v, "--units", u, "--json"))
        for p, t, v, u in (
            ("30psi", "77F", "2.5L", "us"),
            ("206.84271879504kPa", "25C", "2500mL", "si"),
        )
    )
    for key in ("pressure_Pa", "off_Pa", "uncertainty_Pa", "temperature_K"):
        assert one[key] == pytest.approx(other[key], rel=1e-9, abs=0.11)
    for key in ("low_kg", "high_kg", "for_liquid_kg"):
        assert one["remaining"][key] == pytest.approx(other["remaining"][key], abs=2e-6)


def test_level_with_the_air_it_may_hold_air():
    assert "it may have been open" in " ".join(run("R134a", "0psi", "--coldest", "75F").split())
    assert "it may have been open" not in " ".join(run("R134a", "20psi", "--coldest", "75F").split())


def test_height_counts():
    low = json.loads(run("R134a", "78.7psi", "--coldest", "75F", "--json"))
    high = json.loads(run("R134a", "78.7psi", "--coldest", "75F", "--altitude", "8000ft", "--json"))
    assert low["verdict"] == "at"
    assert high["pressure_Pa"] < low["pressure_Pa"] - 20_000


def test_json_tells_all():
    document = json.loads(run("R134a", "110psi", "--coldest", "75F", "--volume", "2.5L", "--json"))
    assert document["schema"] == "twogauge.standing/1"
    assert document["verdict"] == "above"
    assert document["air"]["low_Pa"] < document["off_Pa"] < document["air"]["high_Pa"]
    assert document["remaining"] is None
    assert {c["caution"] for c in document["cautions"]} >= {"recover_never_vent", "follow_maker"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("R134x", "85psi", "--coldest", "75F"), "did you mean"),
        (("R134a", "85psi", "--coldest", "75psi"), "a temperature belongs here"),
        (("R134a", "85psi", "--coldest", "75F", "--volume", "0L"), "a volume of nothing"),
        (("R134a", "85psi", "--coldest", "75F", "--charge", "1.6"), "needs its unit"),
        (("R744", "900psi", "--coldest", "35C"), "no liquid above"),
        (("R134a", "85psi", "--coldest", "130C"), "no liquid above"),
    ],
)
def test_what_cannot_be_is_a_sentence(arguments, said):
    assert said in " ".join(run(*arguments, status=2).split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("R134a", "5000psi", "--coldest", "75F"), ("more than R-134a can show", "critical pressure")),
        (("R134a", "85psi", "--coldest", "75F", "--other-gauge", "5000psi"), ("other-gauge", "more than R-134a can")),
        (("R134a", "900psi", "--coldest", "75F", "--units", "us"), ("more than R-134a can show",)),
        (("R134a", "543psi", "--coldest", "75F"), ()),
        (("R744", "900psi", "--coldest", "75F"), ()),
        (("R410A", "150bar", "--coldest", "75F"), ("did you mean 150 psi",)),
    ],
)
def test_a_pressure_that_nothing_could_show_is_refused_with_its_bound(arguments, words):
    result = CliRunner().invoke(app, ["standing", *arguments])
    assert result.exit_code == (2 if words else 0), result.output
    assert all(word in " ".join(result.output.split()) for word in words)


@pytest.mark.parametrize(
    ("charge", "words"),
    [("100lb", "do not fit"), ("0.001lb", "cannot both be right"), ("1.6lb", ""), ("5lb", "")],
)
def test_a_volume_and_a_charge_that_contradict_each_other_are_told(charge, words):
    result = CliRunner().invoke(
        app, ["standing", "R134a", "30psi", "--coldest", "75F", "--volume", "2.5L", "--charge", charge]
    )
    assert result.exit_code == (2 if words else 0)
    assert words in " ".join(result.output.split())


def test_a_share_that_rounds_to_nothing_is_not_called_nothing():
    given = ["standing", "R134a", "1psi", "--coldest", "75F", "--volume", "2.5L", "--charge", "6lb"]
    printed = " ".join(CliRunner().invoke(app, given).stdout.split())
    assert "0 to 0 %" not in printed
    assert "less than 1 % of the charge" in printed


DEPOT = ("--profile", "bus_line_4", "--rules", str(Path(__file__).resolve().parents[2] / "examples" / "bus_depot"))


def test_a_profile_tells_what_the_label_says():
    asked = ("R134a", "30psi", "--coldest", "75F", "--volume", "9L")
    by_profile, by_hand = (json.loads(run(*asked, *more, "--json")) for more in (DEPOT, ("--charge", "4.6kg")))
    assert by_profile["remaining"] == by_hand["remaining"]
    assert (by_profile["profile"], by_hand["profile"]) == (
        "The buses of line 4, roof unit with two condenser fans",
        None,
    )
    other = json.loads(run(*asked, *DEPOT, "--charge", "2.3kg", "--json"))
    assert other["remaining"]["share"][0] == pytest.approx(2 * by_hand["remaining"]["share"][0], rel=1e-4)
    assert "For The buses of line 4" in " ".join(run(*asked, *DEPOT).split())


def test_another_refrigerant_than_that_of_the_profile_is_refused():
    said = " ".join(run("R12", "30psi", "--coldest", "75F", *DEPOT, status=2).split())
    assert "holds R-134a by its profile, not R-12; write R134a" in said
    assert "did you mean" in run("R134a", "30psi", "--coldest", "75F", "--profile", "bus_lin_4", *DEPOT[2:], status=2)
