"""What goes on from a diagnosis: it fits, it is the same every time, and JSON carries all that the terminal shows."""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

from twogauge import Reading, diagnose, look_ahead
from twogauge.cli.app import app
from twogauge.output.json import document
from twogauge.output.outlook import how_to_tell
from twogauge.output.style import Style
from twogauge.output.text import as_text

TWO_FAULTS = (
    *("--refrigerant", "R134a", "--low", "45psi", "--high", "350psi", "--ambient", "85F"),
    *("--superheat", "high", "--subcooling", "low"),
    *("--check", "sight_glass=bubbles", "--check", "condenser_fan=stopped"),
)
BAD = ("--low", "32psi", "--high", "90psi", "--vent", "44F", "--superheat", "normal", "--subcooling", "normal")


def run(*arguments):
    result = CliRunner().invoke(app, ["diagnose", *arguments])
    assert result.exit_code == 0, result.output
    return result.stdout


def told(*arguments):
    return json.loads(run(*arguments, "--json"))


def test_the_three_answers_are_part_of_every_diagnosis():
    printed = run(*TWO_FAULTS)
    for head in ("Look at next, what settles most first", "How sure, with these instruments"):
        assert f"\n{head}\n" in printed
    assert "\nWhat the first leaves over\n" in printed
    assert max(map(len, printed.splitlines())) <= 80
    assert printed == run(*TWO_FAULTS)


def test_at_most_three_steps_with_what_each_outcome_would_do():
    found = told(*TWO_FAULTS)
    printed = " ".join(run(*TWO_FAULTS).split())
    assert 1 <= len(found["next"]) <= 3
    assert any(step["cautions"] for step in found["next"])
    for step in found["next"]:
        assert sum(outcome["probability"] for outcome in step["outcomes"]) == pytest.approx(1.0)
        for text in (step["title"], step["how"], *step["said"], *(c["short"] for c in step["cautions"])):
            assert " ".join(text.split()) in printed
    assert 0.0 <= found["sure"]["same_leader"] <= 1.0
    assert {"low_charge", "condenser_cooling"} & {fault["fault"] for fault in found["second"]["faults"]}


def test_nothing_is_proposed_once_it_is_certain_but_how_sure_is_still_told():
    certain = ("examples/readings/bus_17_warm_vents.yaml",)
    found = told(*certain)
    assert found["ranking"][0]["probability"] > 0.95
    assert found["next"] == []
    assert "Look at next" not in run(*certain)
    assert "How sure, with these instruments" in run(*certain)


READINGS = [
    {"refrigerant": "R134a", "low_side": "10 psi", "high_side": "120 psi", "ambient": "90 degF"},
    {"refrigerant": "R134a", "low_side": "20 psi", "high_side": "150 psi", "ambient": "20 degF"},
    {"refrigerant": "R407C", "low_side": "4 bar", "high_side": "13 bar", "ambient": "30 degC", "units": "metric"},
    {
        "refrigerant": "R134a",
        "low_side": "45 psi",
        "high_side": "350 psi",
        "ambient": "85 degF",
        "superheat": "high",
        "subcooling": "low",
        "sight_glass": "bubbles",
        "condenser_fan": "stopped",
    },
    {"low_side": "high", "high_side": "low", "compressor_noise": "noisy"},
    {"refrigerant": "R134a", "low_side": "210 psi", "high_side": "33 psi", "ambient": "85 degF"},
]
# Lines that name what stands below them, and those put together from numbers of the document.
COMPOSED = re.compile(
    r"""\ *(?:
    (?:Most\ likely|Too\ close\ to\ call|These\ readings\ say\ nothing\ yet):.* | Nothing\ wrong\ with.*\(.*%\)
    | Not\ enough\ to\ say.* | How\ likely.* | What\ the\ gauges\ mean | Look\ at\ next.* | How\ sure,.*
    | What\ the\ first\ leaves\ over | Mind | Take\ care | To\ make\ sure | What\ to\ do | Leaves\ unexplained
    | Speaks\ (?:for|against)\ it | Not\ known | Rule\ packs:.* | Did\ not\ count:.* | each\ in\ full.*
    | If\ it\ stays:.* | \S.*,\ [<>]?\d+\ % | R-.* | (?:car|bus)\ A/C.*
    | (?:[\w-]+:\ [^;]*;\ )*\u00b1\ holds\ 19\ times\ in\ 20
    | [<>]?\d+\ %\ \ .* | usual:.* | maker:.*
    )""",
    re.VERBOSE,
)
MARKS = re.compile(r"^\s*(?:[-!]|\d+\.|(?:slightly|plainly|strongly|decisively)\s+[-+][\d.]+ dB)?\s*")
TAIL = re.compile(r" \((?:about \d+ min|[<>]?\d+ % sure)\)$")


@pytest.mark.parametrize("given", READINGS, ids=lambda given: " ".join(map(str, given.values()))[:30])
@pytest.mark.parametrize("verbose", [False, True])
def test_json_carries_everything_the_terminal_shows(given, verbose):
    reading = Reading(given)
    diagnosis, ahead = diagnose(reading), look_ahead(reading)
    whole = document(diagnosis, ahead)

    def texts(node):
        if isinstance(node, dict):
            yield from (text for part in node.values() for text in texts(part))
        elif isinstance(node, list):
            yield from (text for part in node for text in texts(part))
        elif isinstance(node, str):
            yield " ".join(node.split()).casefold()

    carried = "\n".join(texts(whole))
    in_table = {each["quantity"].replace("_", " ") for each in whole["derived"]} | {"reading"}
    in_table |= {name.replace("_", " ") for name in whole["reading"]["words"]}
    missing = []
    for line in as_text(diagnosis, Style(100_000), ahead, verbose=verbose).splitlines():
        text = TAIL.sub("", MARKS.sub("", line)).strip()
        cells = re.split(r"\s{2,}", line.strip())
        if not text or COMPOSED.fullmatch(line) or (len(cells) > 1 and cells[0] in in_table):
            continue
        pieces = [text, re.sub(r"^(?:Instead|then add|Not known): ", "", text)]
        if "topic " in text and verbose:  # pack: rule, topic. source
            pieces.append(text.partition(". ")[2])
        if any(piece.rstrip(".").casefold() in carried for piece in pieces):
            continue
        if text.startswith("then add ") and any(how_to_tell(step) in text for step in ahead.steps):
            continue  # made of the step's name and answers
        if text.startswith("Not known: ") or ": " in text:
            names = re.split(r", |: ", pieces[1].rstrip("."))
            known = {each["quantity"].replace("_", " ") for each in whole["missing"]}
            if set(names) <= known or names[0] in known:
                continue
        missing.append(line)
    assert missing == []


def test_an_answered_check_is_not_asked_again():
    steps = told(*TWO_FAULTS)["next"]
    assert not {"sight_glass", "condenser_fan", "superheat", "low_side"} & {step["name"] for step in steps}


def test_swapped_hoses_and_a_single_bad_gauge_are_named():
    swapped = run("--refrigerant", "R134a", "--low", "210psi", "--high", "33psi", "--ambient", "85F")
    assert "hoses swapped?" in " ".join(swapped.split())
    said = run("--refrigerant", "R134a", "--ambient", "85F", *BAD, "--check", "cooling_over_time=steady")
    assert "If the high side is wrong" in " ".join(said.split())


def test_a_gated_reading_says_what_the_instruments_are_and_no_more():
    printed = run("--refrigerant", "R134a", "--low", "20psi", "--ambient", "20F")
    assert "How sure" in printed
    assert "comes first in" not in printed


def test_a_described_gauge_is_no_suspect():
    described = (*BAD, "--low-gauge", "class 1.6, 0 to 10 bar", "--thermometer", "probe 0.5 K")
    found = told("--refrigerant", "R134a", "--ambient", "85F", *described)
    suspects = found["second"]["suspects"]
    assert suspects
    assert not {"low_gauge", "thermometer"} & {name for suspect in suspects for name in suspect["names"]}
    assert found["reading"]["texts"]["low_gauge"] == "class 1.6, 0 to 10 bar"
