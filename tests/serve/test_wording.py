"""Sentences of the command line in the words of a page, and its lines as addresses of pages."""

from __future__ import annotations

from urllib.parse import parse_qsl

import pytest

from pages import see
from twogauge.diagnosis import program_for
from twogauge.packs.program import Program
from twogauge.quantities import UnitSet
from twogauge.serve.desk.lines import place_of
from twogauge.serve.desk.wording import Wording
from twogauge.service.plan import Conditions, planned

HERE = Wording({"ambient": ("ambient", "Ambient"), "system": ("system", "System")}, here="/tools/charge")


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("at 40.0 degF or 4 degC", "at 40.0\u00a0°F or 4\u00a0°C"),
        ("4 degF warmer [degF]", "4\u00a0°F warmer [°F]"),
        ("write one of car_ac, bus_ac or orifice_tube", "write one of car A/C, bus A/C or orifice tube"),
        ("With --ambient more", 'With <a href="#f-ambient">Ambient</a> more'),
        ("--return-wet-bulb tells", "&#39;Return wet bulb&#39; tells"),
        ("twogauge oil tells which", '<a href="/tools/oil">Oil</a> tells which'),
        ("(twogauge hold LOG --nitrogen judges it)", '(<a href="/tools/nitrogen">Nitrogen hold</a> judges it)'),
        ("until twogauge hold LOG.", 'until <a href="/tools/hold">Vacuum hold</a>.'),
        ("what `twogauge expect` tells", 'what <a href="/tools/expect">What is normal today</a> tells'),
        ("`twogauge charge` refuses", "<code>twogauge charge</code> refuses"),  # the page itself
        ("the rule high_side_close_to_air at `low_side: 30 psi`", None),
        ("<b> & `<i>`", "&lt;b&gt; &amp; <code>&lt;i&gt;</code>"),
        ("twogauge is a program", "twogauge is a program"),
    ],
)
def test_a_sentence_is_put_into_the_words_of_the_page(said, shown):
    wanted = shown or "the rule high_side_close_to_air at <code>low_side: 30 psi</code>"
    assert str(HERE.html(said)) == wanted


def test_a_whole_command_stays_to_be_copied_and_leads_to_its_page():
    shown = str(HERE.html("For this machine: twogauge expect R134a --system car_ac --ambient 80F."))
    assert "<code>twogauge expect R134a --system car_ac --ambient 80F</code>)." in shown
    assert 'href="/tools/expect?units=us&amp;refrigerant=R134a&amp;system=car_ac&amp;ambient=80F#result"' in shown


def test_as_text_labels_stand_between_quotes_and_samples_stay():
    assert HERE.plain("--ambient must be above 40 degF") == "'Ambient' must be above 40 °F"
    assert HERE.plain("write `system: car_ac` there") == "write `system: car_ac` there"
    assert HERE.plain("twogauge hold judges it") == "'Vacuum hold' judges it"


@pytest.mark.parametrize(
    ("line", "path", "told"),
    [
        (
            "twogauge charge R134a --label '2.5 lb' --retrofit-from R12 --ambient '85 degF'",
            "/tools/charge",
            {"refrigerant": "R134a", "label": "2.5 lb", "retrofit_from": "R12", "ambient": "85 degF"},
        ),
        (
            "twogauge hold LOG --coldest 85F --refrigerant R134a",
            "/tools/hold",
            {"coldest": "85F", "refrigerant": "R134a"},
        ),
        ("twogauge hold LOG --nitrogen", "/tools/nitrogen", {}),
        ("twogauge cylinder fill R134a --water-capacity WEIGHT", "/tools/fill", {"refrigerant": "R134a"}),
        ("twogauge cylinder identify --pressure=95psi", "/tools/identify", {"pressure": "95psi"}),
        (
            "twogauge oil R134a --part condenser --part compressor",
            "/tools/oil",
            {"refrigerant": "R134a", "part": "condenser\ncompressor"},
        ),
        (
            "twogauge standing R134a PRESSURE --coldest 75F --charge 2lb",
            "/tools/standing",
            {"refrigerant": "R134a", "coldest": "75F", "charge": "2lb"},
        ),
        (
            "twogauge diagnose BEFORE.yaml --refrigerant R12 --system bus_ac",
            "/",
            {"refrigerant": "R12", "system": "bus_ac"},
        ),
        ("twogauge diagnose --ask --check clutch=engages", "/", {"check.clutch": "engages"}),
        ("twogauge compare BEFORE.yaml AFTER.yaml", "/tools/compare", {}),
        ("twogauge plan recharge --rules /etc", "/tools/plan", {"name": "recharge"}),
        ("twogauge job add JOB.yaml step recharge recover", "/tools/job", {}),
        ("twogauge expect R134a --units metric", "/tools/expect", {"refrigerant": "R134a", "units": "metric"}),
    ],
)
def test_a_line_leads_to_the_page_that_does_the_same(client, line, path, told):
    place = place_of(line, UnitSet.US)
    assert place.path == path
    query = dict(parse_qsl(place.query))
    assert query.pop("units", "us") == told.pop("units", "us")
    assert query == told
    see(client, place.address.partition("#")[0])


@pytest.mark.parametrize(
    "line", ["ls -l", "twogauge", "twogauge nothing", "twogauge cylinder", "twogauge oil 'R134a", ""]
)
def test_other_lines_lead_nowhere(line):
    assert place_of(line, UnitSet.US) is None


def test_every_command_of_every_plan_has_a_page():
    program: Program = program_for()
    for name in program.stack.plans:
        for step in planned(name, Conditions(), program).steps:
            if step.command:
                assert place_of(step.command, UnitSet.US) is not None, step.command


def test_a_plan_leads_to_pages_and_tells_what_to_type_only_in_full(client):
    told = {"name": "leak_repair", "refrigerant": "R134a"}
    text, _ = see(client, "/tools/plan", told)
    assert '<a class="button plain" href="/tools/hold?' in text
    assert "twogauge hold" not in text
    text, _ = see(client, "/tools/plan", {**told, "verbose": "yes"})
    assert "<code>twogauge hold" in text


@pytest.mark.parametrize("path", ["/tools/plan", "/tools/oil", "/tools/table"])
def test_a_form_does_not_speak_of_how_an_option_is_repeated(client, path):
    text, _ = see(client, path)
    assert "repeatable" not in text
    assert "listed without it" not in text
