"""`twogauge oil`: the amount first, ranges with how many makers stand behind them, and sentences for the rest."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app

PARTS = ("R134a", "--part", "condenser", "--part", "compressor", "--drained", "compressor=2oz")


def run(*arguments, status=0):
    result = CliRunner().invoke(app, ["oil", *arguments])
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    return result.stderr if status else result.stdout


def test_the_amount_comes_first():
    assert run(*PARTS).startswith("Add 3.0 to 6.9 fl oz in all; oil for R-134a: PAG or POE\n")
    assert run("R134a").startswith("Oil for R-134a: PAG or POE\n")
    assert run("R134a", "--part", "compressor").startswith("Add what is drained and some more")


@pytest.mark.parametrize("units", ["us", "si", "metric"])
@pytest.mark.parametrize("verbose", [(), ("--verbose",)])
@pytest.mark.parametrize(
    "arguments",
    [
        ("R134a",),
        PARTS,
        ("R134a", "--retrofit-from", "R12"),
        ("R1234yf", "--drive", "electric"),
        ("R22",),
        ("R744", "--part", "condenser"),
    ],
)
def test_it_fits_the_page(arguments, verbose, units):
    printed = run(*arguments, *verbose, "--units", units)
    assert max(map(len, printed.splitlines())) <= 80
    assert "nan" not in printed
    assert printed.count("Take care") == 1


def test_what_is_no_car_gets_no_table_of_cars():
    for arguments in (("R290",), ("R744",), ("R410A", "--system", "split_ac"), ("R134a", "--system", "bus_ac")):
        printed = " ".join(run(*arguments).split())
        assert "oil to add" not in printed
        assert "no maker's amounts are known" in printed
        assert "maker's manual" in printed
        named = run(*arguments, "--part", "condenser")
        assert named.startswith("Put in what the maker of this machine says")
    assert "oil to add" in run("R134a", "--system", "car_ac")


def test_the_same_oil_in_other_units_is_the_same_oil():
    first, other = (
        json.loads(run("R134a", "--part", "compressor", "--drained", f"compressor={text}", "--json"))
        for text in ("2 fl oz", "59.147059125 mL")
    )
    assert (first["low_m3"], first["high_m3"]) == pytest.approx((other["low_m3"], other["high_m3"]))


def test_an_electric_compressor_is_told_of_high_voltage_and_of_pag():
    printed = " ".join(run("R1234yf", "--drive", "electric").split())
    assert "Orange cables kill" in printed
    assert "Even 1 % of PAG" in printed
    assert "Orange cables" not in run("R1234yf")


def test_json_names_every_maker():
    document = json.loads(run(*PARTS, "--json"))
    assert document["schema"] == "twogauge.oil/1"
    (compressor,) = [p for p in document["parts"] if p["part"] == "compressor"]
    assert len(compressor["words"]) == 8
    assert all(w["standing"] == "read" and w["source"] for w in compressor["words"])
    assert {c["caution"] for c in document["cautions"]} >= {"oil_type", "follow_maker"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("R134a", "--part", "condensor"), "did you mean 'condenser'"),
        (("R134a", "--part", "compressor", "--drained", "60mL"), "such as compressor=60mL"),
        (("R134a", "--part", "compressor", "--drained", "compressor=60"), "needs its unit"),
        (("R134a", "--part", "compressor", "--drained", "compressor=60g"), "is a weight, but a volume belongs here"),
        ((*PARTS, "--drained", "compressor=1oz"), "twice"),
        (("R134a", "--part", "compressor", "--drained", "compressor=60L"), "60000 mL cannot have come out"),
        (("R134a", "--part", "compressor", "--drained", "compressor=-2oz"), "is outside 0"),
        (("R134b",), "did you mean 'R134a'"),
    ],
)
def test_what_cannot_be_used_is_told_in_a_sentence(arguments, words):
    assert words in run(*arguments, status=2)
