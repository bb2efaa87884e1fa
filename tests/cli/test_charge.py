"""`twogauge charge`: the figure first, once each caution, the reader's units, and sentences for the rest."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
RETROFIT = ("R134a", "--label", "2.5lb", "--retrofit-from", "R12", "--ambient", "80F")


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["charge", *arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


def told(*arguments):
    return " ".join(run(*arguments).split())


def test_the_figure_comes_first():
    assert run("R134a", "--label", "900g", "--units", "metric").startswith("Charge 900 g of R-134a\n")
    assert run(*RETROFIT).startswith("Start with 2 lb 0.0 oz of R-134a, finish by performance, stop at 2 lb 4.0 oz\n")


def test_the_second_half_of_a_retrofit_counts_what_went_in_before():
    assert run(*RETROFIT, "--already", "1lb").startswith("Start with 1 lb 0.0 oz of R-134a on top of 1 lb 0.0 oz, ")
    assert run(*RETROFIT, "--already", "2.1lb").startswith(
        "Go on with an ounce at a time of R-134a on top of 2 lb 1.6 oz"
    )


def test_an_estimate_is_called_one_before_anything_else():
    printed = run("R407C", "--label", "5lb", "--retrofit-from", "R22", "--system", "packaged_ac")
    assert printed.startswith("An estimate only: start with ")


@pytest.mark.parametrize("units", ["us", "si", "metric"])
@pytest.mark.parametrize("verbose", [(), ("--verbose",)])
@pytest.mark.parametrize(
    "arguments",
    [
        RETROFIT,
        (*RETROFIT, "--low", "30psi", "--high", "200psi", "--metering", "orifice_tube", "--drive", "electric"),
        ("R407C", "--label", "3kg", "--system", "split_ac", "--ambient", "10C", "--cylinder-holds", "5kg"),
        ("R134a",),
        ("R134a", "--label", "900g", "--already", "400g"),
    ],
)
def test_it_fits_the_page_and_says_nothing_twice(arguments, verbose, units):
    printed = run(*arguments, *verbose, "--units", units)
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed
    cautions = [line for line in printed.splitlines() if line.startswith("  ! ")]
    assert len(cautions) == len(set(cautions)) > 5


def test_both_methods_are_shown_with_how_well_they_are_known():
    printed = told(*RETROFIT)
    assert "80 to 90 % of the old charge" in printed
    assert "0.9 times the old charge, less 0.25 lb" in printed
    assert "no maker's or standard's page was found" in printed
    assert "ratio of the liquids' densities" in printed


def test_the_checklist_names_who_asks_for_each_line():
    printed = told(*RETROFIT)
    assert printed.count("[ ]") == 11
    assert "SAE J1660" in printed


def test_the_same_job_in_other_units_is_the_same_job():
    ways = [
        ("--label", "2.5lb", "--ambient", "77F", "--low", "30psi"),
        ("--label", "40oz", "--ambient", "25C", "--low", "206.8427187950kPa"),
        ("--label", "2 lb 8 oz", "--ambient", "298.15K", "--low", "2.068427187950bar"),
        ("--label", "1.133980925kg", "--ambient", "77", "--low", "30"),
    ]
    documents = [json.loads(run("R134a", "--retrofit-from", "R12", *way, "--json")) for way in ways]
    for other in documents[1:]:
        for part in ("amount", "push", "cooling"):
            numbers, wanted = (
                {key: value for key, value in each[part].items() if value is not None}
                for each in (other, documents[0])
            )
            assert numbers == pytest.approx(wanted, rel=1e-5)


def test_height_counts_for_what_the_gauge_shows():
    low, high = (
        json.loads(run("R134a", "--low", "30psi", *at, "--json"))["push"]["low_Pa"]
        for at in ((), ("--altitude", "5000ft"))
    )
    assert low - high == pytest.approx(17014, abs=30)


def test_json_names_every_source_and_caution():
    document = json.loads(run(*RETROFIT, "--json"))
    assert document["schema"] == "twogauge.charge/1"
    assert document["retrofit"]["published"] is True
    assert [m["standing"] for m in document["retrofit"]["methods"]] == ["from memory", "common practice", "computed"]
    assert all(step["standing"] for step in document["put_in"])
    named = {caution["caution"] for caution in document["cautions"]}
    assert named >= {
        "follow_maker",
        "eyes_and_skin",
        "high_side_never_open_to_container",
        "warm_water_only",
        "recover_never_vent",
        "liquid_slugging",
    }
    assert "high_voltage_compressor" not in named


@pytest.mark.parametrize(
    ("arguments", "words", "there"),
    [
        (("--drive", "electric"), "Orange cables kill", True),
        ((), "Orange cables kill", False),
        (("--low", "90psi", "--cylinder-temperature", "60F"), "nothing flows in", True),
        (("--cylinder-temperature", "130F"), "far too warm", True),
        (("--cylinder-temperature", "110F"), "far too warm", False),
        ((), "A high side at work holds more", True),
        (("--high", "200psi"), "would fill the cylinder", True),
        (("--ambient", "45F"), "Too cold to judge", True),
        (("--ambient", "65F"), "half an answer", True),
        (("--cylinder-holds", "1lb"), "holds less than is wanted", True),
        (("--cylinder-holds", "30lb", "--tare", "6lb"), "if nothing warmed it", True),
        (("--cylinder-holds", "2.6lb"), "too cold to push", True),
    ],
)
def test_what_the_place_and_the_machine_change(arguments, words, there):
    assert (words in told("R134a", "--label", "2.5lb", *arguments)) == there


def test_phosgene_is_named_only_where_there_is_chlorine():
    assert "phosgene" in run("R22", "--label", "5lb", "--system", "split_ac")
    assert "phosgene" not in run("R134a", "--label", "5lb")
    assert "phosgene" in run(*RETROFIT)  # of the R-12 that comes out
    named = {c["caution"] for c in json.loads(run(*RETROFIT, "--json"))["cautions"]}
    assert named >= {"phosgene_from_chlorine", "oil_type", "mixed_refrigerant"}


@pytest.mark.parametrize("more", [(), ("--metering", "orifice_tube"), ("--system", "split_ac", "--ambient", "30C")])
def test_the_command_that_it_names_for_judging_runs(more):
    command = told("R134a", "--label", "2lb", *more).partition("For this machine: twogauge ")[2]
    words = command.partition(" What the law")[0].split()
    assert CliRunner().invoke(app, words).exit_code == 0
    assert ("--ambient" in words) == ("--ambient" in more)


def test_a_curve_that_is_not_confirmed_is_said_to_be_so():
    assert "graded 'unchecked'" in run("R1234yf", "--label", "1lb")
    assert "graded" not in run("R134a", "--label", "1lb")


DEPOT = ("--profile", "bus_line_4", "--rules", str(EXAMPLES / "bus_depot"))


def test_a_profile_tells_what_the_machine_is_and_what_its_label_says():
    printed = told(*DEPOT, "--ambient", "85F", "--units", "metric")
    assert printed.startswith("Charge 4600 g of R-134a")
    assert "The buses of line 4" in printed
    assert "A receiver hides too little" in printed
    found = json.loads(run(*DEPOT, "--json"))
    assert found["label_kg"] == pytest.approx(4.6)
    assert found["drive"] == "belt"


def test_what_is_told_goes_before_the_profile():
    assert run("R134a", *DEPOT, "--label", "4kg", "--units", "metric").startswith("Charge 4000 g of R-134a")
    assert json.loads(run(*DEPOT, "--drive", "electric", "--json"))["drive"] == "electric"
    assert "low_port" not in run(*DEPOT)
    with_port = told(*DEPOT, "--low-port", "compressor")
    assert "the port sits at the compressor" in with_port
    assert "the port sits at the compressor" not in told(*DEPOT)


def test_another_refrigerant_than_the_profile_needs_a_word():
    said = " ".join(run("R12", *DEPOT, status=2).split())
    assert "holds R-134a by its profile, not R-12" in said
    assert "--retrofit-from R134a" in said
    assert "did you mean 'bus_line_4'" in run("--profile", "bus_lin_4", *DEPOT[2:], status=2)
    assert "what goes in?" in run("--label", "1lb", status=2)


def test_the_command_named_for_a_profile_runs():
    command = told(*DEPOT, "--ambient", "85F").partition("For this machine: twogauge ")[2]
    words = shlex.split(command.partition(" What the law")[0])
    assert CliRunner().invoke(app, words).exit_code == 0
    assert "bus_line_4" in words


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(
    "arguments",
    [RETROFIT, ("R410A", "--label", "6lb", "--system", "split_ac", "--low-port", "compressor"), ("R134a",), DEPOT],
)
def test_brief_is_short_and_leaves_out_no_caution(arguments, units):
    long, short = (run(*arguments, *more, "--units", units) for more in ((), ("--brief",)))
    assert short.splitlines()[0] == long.splitlines()[0]
    assert len(short.splitlines()) < 0.65 * len(long.splitlines())
    assert max(map(len, short.splitlines())) <= 80

    def care(printed):
        return {line for line in printed.splitlines() if line.startswith("  ! ")}

    assert care(short) == care(long)
    assert short.count("Take care") == 1
    assert "twogauge hold" in short


def test_brief_and_verbose_contradict_each_other():
    assert "--brief and --verbose" in run("R134a", "--brief", "--verbose", status=2)


def test_an_electric_drive_is_told_of_its_voltage_where_the_compressor_is_started():
    for more in ((), ("--brief",)):
        printed = told("R1234yf", "--label", "500g", "--drive", "electric", *more)
        assert "commanded on" in printed
        assert "rpm" not in printed
        assert "Orange cables kill" in printed


def test_the_law_of_other_places_is_named_and_marked():
    printed = told("R134a", "--label", "1lb")
    assert "2024/573" in printed
    assert "2006/40/EC" in printed
    assert "The law of the place decides" in printed
    assert "from memory" in printed


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("R290", "--label", "1lb"), "No hydrocarbon is acceptable"),
        (("R290", "--label", "1lb", "--retrofit-from", "R134a"), "No hydrocarbon is acceptable"),
        (("R134a", "--label", "1lb", "--inside", "R12"), "no drop-in"),
        (("R134a", "--retrofit-from", "R12"), "needs --label"),
        (("R134a", "--already", "1lb"), "needs --label"),
        (("R134a", "--label", "2.5"), "needs its unit"),
        (("R134a", "--label", "36 fl oz"), "an ounce of refrigerant is a weight"),
        (("R134a", "--label", "0lb"), "cannot be right"),
        (("R134a", "--label", "1lb", "--already", "16oz"), "nothing is to be added"),
        (("R134a", "--label", "1lb", "--already", "20oz"), "Add nothing and do not run it; recover all of it"),
        (("R134b", "--label", "1lb"), "did you mean 'R134a'"),
        (("R134a", "--label", "1lb", "--hose-volume", "2oz weight"), "is not a unit of volume"),
        (("R744", "--label", "600g", "--ambient", "40C"), "critical temperature of 31 degC"),
        (("R134a", "--label", "1lb", "--metering", "valve"), "metering"),
        (("R134a", "--label", "1lb", "--low", "5000psi"), "low: '5000psi' is more than R-134a can show"),
        (("R134a", "--label", "1lb", "--high", "5000psi"), "high: '5000psi' is more than R-134a can show"),
        (("R134a", "--label", "1lb", "--low", "200psi", "--high", "30psi"), "the wrong way round"),
        (("R134a", "--label", "1lb", "--hose-volume", "0mL"), "hose-volume"),
        (("R134a", "--label", "1lb", "--hose-volume", "5000L"), "hose-volume"),
        (("R134a", "--label", "1lb", "--already=-1lb"), "already"),
        (("R134a", "--label", "1lb", "--cylinder-holds", "0lb"), "cylinder-holds"),
        (("R134a", "--label", "1lb", "--tare=-2lb"), "tare"),
        (("R134a", "--label", "1lb", "--tare", "5lb"), "--tare needs --cylinder-holds"),
        (("R134a", "--label", ""), "label"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(arguments, words):
    assert words in " ".join(run(*arguments, status=2).split())


def test_what_is_still_inside_comes_out_first():
    inside = ("R134a", "--label", "2lb", "--inside", "R134a")
    for more in ((), ("--brief",)):
        assert "comes out first" in told(*inside, *more)
        assert "comes out first" not in told(*inside, *more, "--already", "1lb")
        assert "comes out first" not in told("R134a", "--label", "2lb", *more)


@pytest.mark.parametrize(
    ("label", "system", "odd"),
    [
        ("90lb", "car_ac", True),
        ("10g", "car_ac", True),
        ("1.6lb", "car_ac", False),
        ("4.6kg", "bus_ac", False),
        ("900g", "split_ac", False),
        ("400kg", "split_ac", True),
    ],
)
def test_a_label_that_such_a_machine_hardly_has_is_kept_and_said(label, system, odd):
    for more in ((), ("--brief",)):
        printed = told("R134a", "--label", label, "--system", system, *more)
        assert ("check the label and its unit" in printed) == odd
    assert json.loads(run("R134a", "--label", label, "--system", system, "--json"))["odd_label"] == odd


@pytest.mark.parametrize("machine", [("R134a", "--label", "2.5lb"), DEPOT])
@pytest.mark.parametrize(("units", "written"), [("us", "--ambient 80F"), ("metric", "--ambient 26.7C")])
def test_the_command_named_is_in_the_readers_units(machine, units, written):
    assert written in told(*machine, "--ambient", "80F", "--units", units)
