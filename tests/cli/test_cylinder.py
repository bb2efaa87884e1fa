"""`twogauge cylinder`: figures first, in the reader's units, and a sentence for everything that cannot be."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

FILL = ("fill", "R134a", "--water-capacity", "47.7lb")
IDENTIFY = ("identify", "R134a", "--pressure", "105psi", "--temperature", "80F")
PRINTED = [FILL, (*FILL, "--verbose"), IDENTIFY, (*IDENTIFY, "--verbose"), (IDENTIFY[0], *IDENTIFY[2:])]


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["cylinder", *arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


def test_the_first_line_is_the_number():
    assert run(*FILL, "--tare", "27.5lb").startswith("Stop at 38 lb 2.6 oz of R-134a, 65 lb 10.6 oz on the scale")


@pytest.mark.parametrize("arguments", PRINTED)
@pytest.mark.parametrize("units", ["us", "si", "metric"])
def test_it_fits_the_page_and_warns_once(arguments, units):
    printed = run(*arguments, "--units", units)
    assert max(map(len, printed.splitlines())) <= 80
    assert printed.count("Take care") == 1
    assert "nan" not in printed.casefold().replace("refrigerant", "")


def test_a_capacity_as_volume_is_the_same_as_by_its_weight_of_water():
    by_weight, by_volume = (
        json.loads(run("fill", "R22", "--water-capacity", text, "--json")) for text in ("19.98kg", "20L")
    )
    assert by_weight["most_kg"] == pytest.approx(by_volume["most_kg"], rel=1e-6)


def test_units_change_the_words_and_not_the_numbers():
    documents = [
        json.loads(run("fill", "R134a", "--water-capacity", w, "--units", u, "--json"))
        for w, u in (("47.7lb", "us"), ("47 lb 11.2 oz", "si"), ("21636.36g", "metric"))
    ]
    assert documents[1]["most_kg"] == pytest.approx(documents[0]["most_kg"], rel=1e-9)
    assert documents[2]["most_kg"] == pytest.approx(documents[0]["most_kg"], rel=1e-6)


def test_what_is_in_it_already_is_taken_off():
    printed = run(*FILL, "--tare", "27.5lb", "--on-scale", "40lb")
    assert "In it now: 12 lb 8.0 oz, room for 25 lb 10.6 oz more." in printed
    printed = run(*FILL, "--tare", "27.5lb", "--on-scale", "70lb")
    assert printed.startswith("Overfilled: 4 lb 5.4 oz too much in it\n")
    assert "Draw the excess into an empty cylinder" in " ".join(printed.split())


def test_without_a_name_only_the_weight_counts():
    printed = " ".join(run("fill", "--water-capacity", "47.7lb").split())
    assert "propane, butane and ammonia are lighter" in printed
    document = json.loads(run("fill", "--water-capacity", "47.7lb", "--json"))
    assert document["refrigerant"] is None
    assert document["by_volume_kg"] is None


def test_air_is_told_with_what_it_presses():
    printed = " ".join(run(*IDENTIFY).split())
    assert "that is not R-134a alone with liquid in it" in printed
    assert "R-134a with liquid in it should show 87 psi: 18 psi too much" in printed


def test_what_cannot_be_told_apart_is_said_to_be_so():
    printed = " ".join(run("identify", "--pressure", "86psi", "--temperature", "80F").split())
    assert "pressure cannot say which" in printed
    assert "A gauge cannot tell R-12 from R-134a" in printed


def test_height_and_barometer_count():
    low, high = (
        json.loads(run("identify", "R134a", "--pressure", "70psi", "--temperature", "70F", *at, "--json"))
        for at in ((), ("--altitude", "5000ft"))
    )
    assert low["pressure_Pa"] - high["pressure_Pa"] == pytest.approx(17014, abs=30)


def test_json_is_si_and_names_every_refrigerant():
    document = json.loads(run(*IDENTIFY, "--json"))
    assert document["schema"] == "twogauge.cylinder_identity/1"
    assert document["label"]["verdict"] == "with air"
    assert len(document["candidates"]) > 40
    assert {c["caution"] for c in document["cautions"]} >= {"mixed_refrigerant"}
    document = json.loads(run(*FILL, "--json"))
    assert document["schema"] == "twogauge.cylinder_fill/1"
    assert {s["standing"] for s in document["sources"]} == {"read"}
    assert {c["caution"] for c in document["cautions"]} >= {"disposable_cylinder", "recover_never_vent"}


def test_a_burnable_one_has_its_own_caution():
    assert "It can burn" in run("fill", "R290", "--water-capacity", "47.7lb")
    assert "It can burn" not in run(*FILL)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("fill", "R134a", "--water-capacity", "0lb"), "holds nothing"),
        (("fill", "R134a", "--water-capacity", "47.7"), "needs its unit"),
        (("fill", "R134a", "--water-capacity", "many"), "is not a number"),
        (("fill", "R744", "--water-capacity", "20lb"), "no liquid above 31 degC"),
        (("fill", "R134b", "--water-capacity", "20lb"), "did you mean 'R134a'"),
        ((*FILL, "--on-scale", "40lb"), "needs --tare"),
        ((*FILL, "--tare", "40lb", "--on-scale", "30lb"), "less than its tare"),
        (("identify", "--pressure", "86", "--temperature", "80psi"), "is a pressure"),
        (("identify", "--pressure", "40inHg vac", "--temperature", "80F"), "below a perfect vacuum"),
        ((*IDENTIFY, "--gauge", "class 7"), "class"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(arguments, words):
    assert words in run(*arguments, status=2)


@pytest.mark.parametrize("label", [(), ("R134a",)])
def test_a_pressure_that_no_refrigerant_has_is_refused(label):
    result = CliRunner().invoke(
        app, ["cylinder", "identify", *label, "--pressure", "5000psi", "--temperature", "75F"]
    )
    assert result.exit_code == 2
    assert "more than" in result.output
    assert "critical pressure" in " ".join(result.output.split())
    other = ["cylinder", "identify", *label, "--pressure", "900psi", "--temperature", "75F"]
    assert CliRunner().invoke(app, other).exit_code == 0, "a label may be wrong: this is R-744"


def test_the_law_of_filling_is_not_that_of_one_country_alone():
    printed = " ".join(run(*FILL).split())
    assert "49 CFR 173.304a" in printed
    assert "ADR packing instruction P200" in printed
    assert "elsewhere the law of the place" in printed
