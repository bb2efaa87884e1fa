"""The main page without JavaScript: what is shown, what is kept, what is refused beside its field."""

from __future__ import annotations

import re
from html import unescape
from html.parser import HTMLParser
from urllib.parse import parse_qs, parse_qsl, urlsplit

import pytest

from twogauge.diagnosis import diagnose, program_for
from twogauge.fields import FIELDS
from twogauge.outlook import look_ahead
from twogauge.output.signs import with_signs
from twogauge.reading import Reading

READING = {"refrigerant": "R134a", "low_side": "10 psi", "high_side": "110 psi", "ambient": "90 degF"}


class Seen(HTMLParser):
    """The controls of a page by name, its ids, what its labels point at, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.controls: dict[str, list[dict[str, str | None]]] = {}
        self.ids: list[str] = []
        self.labelled: set[str] = set()
        self.points_at: list[str] = []
        self.words: list[str] = []
        self.chosen: dict[str, str] = {}
        self._select = ""
        self.feed(text)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        if "id" in told:
            self.ids.append(told["id"])
        if tag == "label" and "for" in told:
            self.labelled.add(told["for"])
        for name in ("aria-describedby", "aria-labelledby"):
            self.points_at += (told.get(name) or "").split()
        if tag in {"input", "select", "button"}:
            self.controls.setdefault(told.get("name") or "", []).append({"tag": tag, **told})
        if tag == "select":
            self._select = told["name"]
        if tag == "option" and "selected" in told:
            self.chosen[self._select] = told["value"]

    def handle_data(self, data):
        self.words.append(data)

    def value(self, name: str) -> str:
        return self.controls[name][0].get("value") or ""


def see(client, told=None, status: int = 200) -> Seen:
    answer = client.get("/", params=told or {})
    assert answer.status_code == status
    return Seen(answer.text)


def test_every_field_of_a_reading_has_a_control_with_a_label(client):
    page = see(client)
    assert [name for name in FIELDS if name not in page.controls] == []
    assert [name for name in FIELDS if f"f-{name}" not in page.labelled] == []


def test_every_check_in_force_can_be_answered(client):
    page = see(client)
    assert [name for name in program_for().stack.checks if f"check.{name}" not in page.controls] == []


def test_ids_are_single_and_everything_pointed_at_is_there(client):
    page = see(client, {**READING, "vent_air": "abc", "check.oil_traces": "yes"})
    assert len(page.ids) == len(set(page.ids))
    assert set(page.points_at) - set(page.ids) == set()


def test_numbers_bring_up_the_number_keys(client):
    page = see(client)
    for name in ("low_side", "high_side", "ambient", "superheat", "humidity"):
        assert page.controls[name][0]["inputmode"] == "decimal"


def test_the_page_says_what_the_engine_says(client):
    program = program_for()
    found = diagnose(Reading(READING), program=program)
    ahead = look_ahead(found.reading, program=program)
    text = see(client, READING).text
    for ranked in found.ranking[:2]:
        assert ranked.title in text
    first = found.first
    for words in (first.what_happens, *first.confirm, *first.repair, *(r.title for r in first.reasons if r.counted)):
        assert " ".join(words.split()) in text
    for reason in first.reasons:
        assert reason.rule in text
        assert " ".join(reason.source.split()) in text
    for step in ahead.steps:
        assert step.title in text
        assert " ".join(step.ask.split()) in text


def test_each_caution_of_the_advice_stands_there_once(client):
    program = program_for()
    found = diagnose(Reading(READING), program=program)
    text = see(client, READING).text
    assert len(found.cautions) > 2
    for caution in found.cautions:
        assert text.count(with_signs(" ".join(caution.short.split()))) >= 1
        if caution.text != caution.short:
            assert text.count(with_signs(" ".join(caution.text.split()))) == 1


def test_a_form_without_javascript_is_led_to_the_short_address(client):
    form = {"units": "us", "units.was": "us", "refrigerant": "R134a", "ambient": "90", "ambient.unit": "degF"}
    form |= {name: "" for name in FIELDS if name not in form} | {"low_side": "10", "low_side.unit": "psi"}
    answer = client.get("/", params=form)
    assert answer.status_code == 303
    where = urlsplit(answer.headers["location"])
    assert dict(parse_qsl(where.query)) == {
        "units": "us",
        "refrigerant": "R134a",
        "low_side": "10 psi",
        "ambient": "90 degF",
    }
    page = see(client, dict(parse_qsl(where.query)))
    assert (page.value("low_side"), page.chosen["low_side.unit"]) == ("10", "psi")
    assert page.chosen["refrigerant"] == "R134a"


def test_what_is_asked_next_is_answered_with_one_press_and_ranks_anew(client):
    page = see(client, READING)
    buttons = [each for each in page.controls.get("check.sight_glass", []) if each["tag"] == "button"]
    assert {each["value"] for each in buttons} >= {"bubbles", "clear", "unknown"}
    assert all(each["form"] == "reading" for each in buttons)
    before = re.search(r"Most likely: Too little refrigerant \((\d+) %\)", page.text)
    # A form has the select of the check as well, still empty, before the button that was pressed.
    pressed = [*READING.items(), ("check.sight_glass", ""), ("check.sight_glass", "bubbles")]
    after = Seen(client.get("/", params=pressed).text)
    assert after.chosen["check.sight_glass"] == "bubbles"
    assert not [each for each in after.controls["check.sight_glass"] if each["tag"] == "button"]
    now = re.search(r"Most likely: Too little refrigerant \((\d+) %\)", after.text)
    assert int(now[1]) > int(before[1])


def test_what_is_normal_today_stands_beside_the_value(client):
    page = client.get("/", params=READING).text
    beside = re.search(r'id="n-high_side">([^<]*)<', page)[1]
    assert re.fullmatch(r"Normal today \d+ to \d+ psi \(usual\); this is low", beside)
    nothing = client.get("/", params={"refrigerant": "R134a", "ambient": "90 degF"}).text
    assert re.search(r'id="n-high_side">Normal today \d+ to \d+ psi \(usual\)<', nothing)


@pytest.mark.parametrize(
    ("name", "typed", "part"),
    [
        ("vent_air", "abc", "is not a word for this"),
        ("ambient", "900 degF", "900 \u00b0F' is outside -190 to 620 \u00b0F"),
        ("refrigerant", "R9999", "R9999"),
        ("profile", "nobody", "is in no pack in force"),
        ("spec.low_side", "35", "first end must be the lower one"),
        ("check.sight_glass", "rainbow", "is not an answer to this check"),
        ("check.no_such_check", "yes", "neither a field nor a check"),
    ],
)
def test_what_cannot_be_used_is_kept_and_told_beside_its_field(client, name, typed, part):
    told = {**READING, name: typed}
    if name.startswith("spec."):
        told = {**READING, f"{name}.from": typed, f"{name}.to": "20"}
    answer = client.get("/", params=told)
    page = Seen(answer.text)
    assert answer.status_code == 200
    beside = re.search(rf'id="e-{re.escape(name)}">([^<]*)<', answer.text)[1]
    assert part in unescape(beside)
    assert f'href="#f-{name}"' in answer.text
    assert f"f-{name}" in page.ids
    kept = [page.chosen.get(name), *(each.get("value") for each in page.controls.get(name, []))]
    kept += [each.get("value") for each in page.controls.get(f"{name}.from", [])]
    assert typed.removesuffix(" degF") in kept
    if name not in {"ambient", "refrigerant"}:  # the rest still counts
        assert "Most likely: Too little refrigerant" in page.text


def test_strangers_text_stays_text(client):
    hostile = "<script>alert(1)</script>'\"{{7*7}}"
    answer = client.get("/", params={**READING, "machine": hostile, f"check.{hostile}": hostile, hostile: "1"})
    assert "<script>alert" not in answer.text
    assert "{{7*7}}" in answer.text
    assert "49" not in re.sub(r"\d{3,}", "", Seen(answer.text).value("machine"))


def test_nothing_told_asks_for_it(client):
    assert "Nothing told yet" in see(client).text


def test_live_answers_with_the_same_parts(client):
    live = client.get("/live", params={**READING, "vent_air": "abc"}).json()
    page = client.get("/", params={**READING, "vent_air": "abc"}).text
    assert live["result"].strip() in page
    assert live["said"].startswith("1 value left out, see beside it. Most likely: Too little refrigerant")
    assert list(live["troubles"]) == ["vent_air"]
    assert live["normal"]["high_side"].endswith("this is low")
    assert dict(parse_qsl(live["query"]))["vent_air"] == "abc"


def test_behind_a_gate_the_page_says_what_to_do_instead(client):
    page = see(client, {**READING, "ambient": "20 degF"})
    assert "These readings say nothing yet" in page.text
    assert "Instead:" in page.text


WEAK = {"refrigerant": "R134a", "low_side": "10 psi", "high_side": "110 psi", "ambient": "90 degF"}


def test_a_rule_is_left_out_for_one_reading_and_taken_back(client):
    page = see(client, WEAK)
    offered = {each["value"] for each in page.controls["without"]}
    assert "high_side_low" in offered
    other = min(offered - {"high_side_low"})
    answer = client.get("/", params={**WEAK, "without": "high_side_low"})
    assert "Rule <code>high_side_low</code>" in client.get("/", params=WEAK).text
    assert "Rule <code>high_side_low</code>" not in answer.text
    kept = [each for each in Seen(answer.text).controls["without"] if each["tag"] == "input"]
    assert [(each["value"], "checked" in each) for each in kept] == [("high_side_low", True)]
    both = client.get("/live", params=[*WEAK.items(), ("without", "high_side_low"), ("without", other)]).json()
    assert parse_qs(both["query"])["without"] == [f"high_side_low {other}"]
    assert both["said"] != client.get("/live", params=WEAK).json()["said"]


def test_a_rule_that_does_not_exist_is_shown_and_changes_nothing(client):
    strange = client.get("/live", params={**WEAK, "without": "<b>nobody</b>"}).json()
    assert strange["said"] == client.get("/live", params=WEAK).json()["said"]
    assert "<b>" not in strange["result"].replace("<b></b>", "")
    assert "no rule in force" in strange["result"]


def test_what_is_left_out_is_left_out_of_the_pictures_too(client):
    drawn = [
        client.get("/picture/evidence.svg", params=told).text for told in (WEAK, {**WEAK, "without": "high_side_low"})
    ]
    assert drawn[0] != drawn[1]


@pytest.mark.parametrize("cold", [{"ambient": "38 degF"}, {"compressor": "off"}])
def test_nothing_is_said_to_be_normal_behind_a_gate(client, cold):
    told = {**READING, "system": "car_ac"}
    assert "Normal today" in client.get("/", params=told).text
    assert "Normal today" not in client.get("/", params={**told, **cold}).text


def test_it_says_today_only_where_the_air_of_today_was_told(client):
    beside = re.search(r'id="n-vent_air">([^<]*)<', client.get("/").text)[1]
    assert re.fullmatch(r"Normal \d+ to \d+ °F \(usual\)", beside)
    beside = re.search(r'id="n-vent_air">([^<]*)<', client.get("/", params={"ambient": "80 degF"}).text)[1]
    assert beside.startswith("Normal today ")


def test_a_question_beside_a_field_ends_as_one(client):
    page = see(client, {"units": "metric", "ambient": "86 degC"})
    assert "did you mean 86 °F?" in page.text
    assert "?." not in page.text


def test_a_yardstick_stands_only_beside_what_it_says_is_normal(client):
    told = {"refrigerant": "R744", "low_side": "30 bar", "high_side": "60 bar", "ambient": "25 degC"}
    page = client.get("/", params={"units": "metric", **told}).text.partition("What the gauges mean")[2]
    # Normal lies above the critical point here, where no pressure belongs to a temperature.
    row = re.search(r'<th scope="row">High side</th><td>60 .*?</tr>', page)[0]
    assert ">low<" in row
    assert "usual" not in row
    assert "usual" in re.search(r'<th scope="row">Low side</th><td>30.*?</tr>', page)[0]


def test_a_needle_that_swings_is_told_and_read_as_a_telephone_can_type_it(client):
    page = see(client, {**READING, "low_side": "22..45 psi"})
    assert page.text.count("a swing: 22..45") == 4  # of today, and of when it cooled well
    assert page.value("low_side") == "22..45"
    assert "22 to 45 psi" in page.text


def test_what_to_look_at_next_is_named_by_what_it_is(client):
    page = client.get("/", params={"refrigerant": "R1234yf", "high_side": "150 psi", "ambient": "80 degF"}).text
    titles = re.findall(r'<h4 id="next-\d+">([^<]*)<', page)
    assert "Suction service-port pressure " in titles
    page = client.get("/", params={"low_side": "14 psi", "high_side": "125 psi"}).text
    assert "Look at next: what is in the system<" in page


def test_a_machine_at_rest_leads_to_the_page_about_that(client):
    told = {**READING, "low_side": "80 psi", "high_side": "80 psi"}
    assert "/tools/standing?" not in client.get("/", params=told).text
    page = client.get("/", params={**told, "compressor": "off"}).text
    address = unescape(re.search(r'href="(/tools/standing\?[^"]*)"', page)[1])
    assert dict(parse_qsl(urlsplit(address).query)) == {
        "units": "us",
        "refrigerant": "R134a",
        "pressure": "80 psi",
        "other_gauge": "80 psi",
    }
    assert Seen(client.get(address).text).value("pressure") == "80"
