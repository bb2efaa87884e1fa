"""What a machine showed when it cooled well, on the page: typed, judged by, told beside its field, never lost."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest

from pages import HOSTILE, see
from twogauge.diagnosis import columns_of, diagnose, program_for
from twogauge.fields import FIELDS, SPEC_FIELDS
from twogauge.quantities import Dimension, UnitSet
from twogauge.reading import Reading
from twogauge.serve.good import fields_of
from twogauge.serve.units import units_of, usual_unit

TODAY = {"refrigerant": "R134a", "low_side": "29 psi", "high_side": "288 psi", "ambient": "86 degF"}
GOOD = {"good.low_side": "28 psi", "good.high_side": "176 psi", "good.ambient": "79 degF"}
LONGEST = 16_384  # bytes that the server takes


class Sent(HTMLParser):
    """What a browser without JavaScript sends of the form of the reading."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._pairs: list[list[str]] = []
        self._inside = False
        self._select = ""
        self.feed(text)
        self.query = urlencode([(name, value) for name, value in self._pairs])

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        if tag == "form":
            self._inside = told.get("id") == "reading"
        if not self._inside and told.get("form") != "reading" and tag != "option":
            return
        if tag == "input" and not (told.get("type") == "radio" and "checked" not in told):
            self._pairs.append([told["name"], told.get("value") or ""])
        if tag == "select":
            self._select = told["name"]
        if tag == "option" and self._select:
            if self._pairs[-1][0] != self._select:
                self._pairs.append([self._select, told["value"]])
            elif "selected" in told:
                self._pairs[-1][1] = told["value"]

    def handle_endtag(self, tag):
        if tag == "form":
            self._inside = False
        if tag == "select":
            self._select = ""


def everything(at: str = "") -> dict[str, str]:
    """Return something typed in every field and an answer to every check."""
    told = {}
    for name, known in FIELDS.items():
        word = known.choices[0] if known.choices else "R134a" if name == "refrigerant" else "a word in Größe M " * 3
        told[name] = f"123.4 {usual_unit(known, UnitSet.US)}" if units_of(known) else word.strip()
    for name in SPEC_FIELDS:
        unit = usual_unit(FIELDS[name], UnitSet.US)
        told |= {f"spec.{name}.from": "123.4", f"spec.{name}.to": "125.6", f"spec.{name}.unit": unit}
    told |= {f"check.{name}": answers[-1] for name, answers in program_for().answers.items()}
    return {f"{at}{name}": value for name, value in told.items()}


def beside(text: str, kind: str, control: str) -> str:
    return unescape(re.search(rf'id="{kind}-{re.escape(control)}">([^<]*)<', text)[1])


def test_the_fields_that_count_are_those_that_move_what_is_judged():
    first, more = fields_of(program_for())
    assert first == ("low_side", "high_side", "ambient", "vent_air")
    told = {
        "refrigerant": "R134a",
        "low_side": "30 psi",
        "high_side": "200 psi",
        "suction_line": "50 degF",
        "liquid_line": "100 degF",
        "discharge_line": "180 degF",
        "ambient": "85 degF",
        "vent_air": "45 degF",
        "return_air": "75 degF",
        "condenser_air_out": "100 degF",
        "altitude": "900 ft",
        "air_intake": "recirculated",
    }
    instead = {
        "refrigerant": "R12",
        "air_intake": "outside",
        "altitude": "5000 ft",
        "barometer": "25 inHg",
        "return_wet_bulb": "60 degF",
    }
    moving = set()
    for base in (told, {name: value for name, value in told.items() if name != "return_air"}):
        before = columns_of([Reading(baseline=base)]).numbers
        assert [key for key in before if key.startswith("baseline.")]
        for name, known in FIELDS.items():
            word = known.choices[0] if known.choices else "x"
            value = {Dimension.PRESSURE: "25 psi", Dimension.TEMPERATURE: "78 degF", None: word}.get(
                known.dimension, "7 degF" if known.dimension is Dimension.TEMPERATURE_DIFFERENCE else "9"
            )
            after = columns_of([Reading(baseline=base | {name: instead.get(name, value)})]).numbers
            if any(before.get(key) != after[key] for key in after if key.startswith("baseline.")):
                moving.add(name)
    assert moving >= {"low_side", "suction_line", "refrigerant", "altitude", "barometer", "superheat", "air_intake"}
    assert moving == {*first, *more}


def test_what_no_rule_has_a_band_for_is_not_asked():
    first, more = fields_of(replace(program_for(), bands=()))
    assert (first, more) == ((), ())


def test_every_field_that_counts_has_a_control_of_its_own(client):
    _, page = see(client, "/")
    first, more = fields_of(program_for())
    assert [name for name in (*first, *more) if f"f-good.{name}" not in page.labelled] == []
    assert len(page.ids) == len(set(page.ids))
    assert set(page.points_at) - set(page.ids) == set()


def test_the_answer_is_that_of_the_engine_and_says_what_it_is_judged_by(client):
    text, page = see(client, "/", TODAY | GOOD)
    earlier = {name.removeprefix("good."): value for name, value in GOOD.items()}
    found = diagnose(Reading(TODAY, baseline=earlier))
    assert f"{found.first.title} (" in page.answer
    assert re.fullmatch(
        r"Normal today 1\d\d to 2\d\d psi \(known good\); this is high", beside(text, "n", "high_side")
    )
    assert "(usual)" in beside(see(client, "/", TODAY)[0], "n", "high_side")
    assert "known good: what the known-good reading of this machine shows" in page.answer
    live = client.get("/live", params=TODAY | GOOD).json()
    assert live["normal"]["high_side"] == beside(text, "n", "high_side")
    assert dict(parse_qsl(live["query"])) == {"units": "us", **TODAY, **GOOD}


def test_it_stands_on_paper(client):
    _, page = see(client, "/", TODAY | GOOD | {"good.check.oil_traces": "no"})
    assert "High side on the good day 176 psi" in page.answer
    assert "Oily spots on the good day" in page.answer


@pytest.mark.parametrize(
    ("control", "typed", "part"),
    [
        ("good.high_side", "abc", "is not a word for this"),
        ("good.high_side", "9000 psi", "9000 psi"),
        ("good.ambient", "900 degF", "900 \u00b0F' is outside -190 to 620 \u00b0F"),
        ("good.refrigerant", "R9999", "R9999"),
        ("good.spec.low_side", "35", "first end must be the lower one"),
        ("good.check.ambient", "yes", "is a field of the reading, not a check"),
    ],
)
def test_what_cannot_be_used_is_told_beside_its_field_and_the_rest_counts(client, control, typed, part):
    told = {**TODAY, **GOOD, control: typed}
    if ".spec." in control:
        told = {**TODAY, **GOOD, f"{control}.from": typed, f"{control}.to": "20"}
    text, page = see(client, "/", told)
    said = beside(text, "e", control)
    assert part in said
    assert "baseline" not in said
    assert f'href="#f-{control}"' in text
    assert f"f-{control}" in page.ids
    assert "value left out" in text
    assert "(known good)" in beside(text, "n", "low_side")


def test_everything_that_came_with_a_file_is_sent_again_by_the_form(client):
    given = everything("good.") | TODAY
    told = dict(parse_qsl(urlencode(given)))
    query = Sent(client.get("/", params=told).text).query
    assert len(query) < LONGEST
    answer = client.get(f"/?{query}")
    assert answer.status_code == 303
    assert dict(parse_qsl(urlsplit(answer.headers["location"]).query)) == {"units": "us", **given}


def test_a_reading_with_everything_and_a_known_good_one_with_everything_fit_an_address(client):
    told = everything() | everything("good.")
    page = client.get("/", params=told)
    assert page.status_code == 200
    sent = Sent(page.text).query
    assert len(sent) < LONGEST
    led = urlsplit(client.get(f"/?{sent}").headers["location"]).query
    assert len(led) < len(sent)
    assert dict(parse_qsl(led)) == {"units": "us", **told}
    assert client.get(f"/picture/saturation.svg?{led}&theme=dark&size=phone").status_code == 200
    assert client.get(f"/live?{led}").status_code == 200


@pytest.mark.parametrize("text", HOSTILE, ids=["script", "math", "control", "attribute", "long"])
def test_hostile_text_is_shown_as_text(client, text):
    names = ["low_side", "refrigerant", "machine", "note", "profile", "spec.low_side.from", f"check.{text}", text]
    answer, page = see(client, "/", {**TODAY, **{f"good.{name}": text for name in names}, "baseline": text})
    assert page.inline == []
    assert "<script>" not in answer
    assert "<img src=x" not in answer
    assert "\x1b" not in answer
    assert "Traceback" not in answer
    opened = client.post(
        "/good", data={**TODAY, "note": text}, files={"good.file": (text, f"note: {text!r}".encode())}
    )
    assert opened.status_code in {303, 422}
    assert "<script>" not in opened.text


def test_words_are_offered_only_where_one_was_told(client):
    assert page_words(client, TODAY | GOOD) == set()
    assert "normal" in page_words(client, TODAY | {"good.high_side": "normal"})


def page_words(client, told) -> set[str]:
    text = client.get("/", params=told).text
    select = text[text.index('name="good.high_side.unit"') :]
    return set(re.findall(r'<option value="(low|normal|high)"', select[: select.index("</select>")]))
