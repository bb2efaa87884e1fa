"""The page of what is normal today: the figures of the command line, also by a maker's range and a known-good reading."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import parse_qsl, urlsplit

import pytest
from typer.testing import CliRunner

from pages import HOSTILE, numbers, see
from twogauge.cli.app import app as command_line
from twogauge.serve.desk.tools import EXPECT, ROOT

CONDITIONS = {"refrigerant": "R134a", "ambient": "95 degF", "humidity": "60 %"}
LINE = ("expect", "R134a", "--ambient", "95F", "--humidity", "60%")
SPEC = {"spec.high_side.from": "200", "spec.high_side.to": "240", "spec.high_side.unit": "psi"}
GOOD = "low_side: 28 psi\nhigh_side: 176 psi\nambient: 79 degF\nvent_air: 46 degF\nmachine: bus 12\n"


@pytest.fixture
def good(tmp_path) -> str:
    (tmp_path / "good.yaml").write_text(GOOD)
    return str(tmp_path / "good.yaml")


def printed(*line: str) -> list[str]:
    result = CliRunner().invoke(command_line, line, env={"TWOGAUGE_RULES": ""})
    assert result.exit_code == 0
    return numbers(result.stdout)


def typed_good() -> dict[str, str]:
    return {f"good.{name}": value for name, value in (line.split(": ") for line in GOOD.splitlines())}


def test_it_is_in_the_list(client):
    assert f'href="{EXPECT.path}"' in see(client, ROOT)[0]


def test_every_condition_has_a_labelled_control(client):
    _, page = see(client, EXPECT.path)
    for name in (*EXPECT.shown, "good.low_side", "good.vent_air", "good.suction_line", "spec.low_side.from"):
        assert name in page.controls
    assert [name for name in (*EXPECT.shown, "good.ambient") if f"f-{name}" not in page.labelled] == []
    assert len(page.ids) == len(set(page.ids))
    assert set(page.points_at) <= set(page.ids)
    assert page.inline == []


@pytest.mark.parametrize("yardstick", ["usual", "maker", "known good"])
def test_it_holds_the_figures_of_the_command_line(client, good, yardstick):
    told = {"usual": {}, "maker": SPEC, "known good": typed_good()}[yardstick]
    more = {"usual": (), "maker": ("--spec", "high=200psi..240psi"), "known good": ("--baseline", good)}[yardstick]
    _, page = see(client, EXPECT.path, CONDITIONS | told)
    wanted = printed(*LINE, *more)
    assert len(wanted) > 8
    assert [each for each in wanted if each not in numbers(page.answer)] == []
    assert yardstick in page.answer


def test_a_file_becomes_what_it_is_compared_with_and_what_is_typed_stays(client):
    form = CONDITIONS | {"units": "us", "units.was": "us"}
    answer = client.post(f"{EXPECT.path}/good", data=form, files={"good.file": ("x", GOOD.encode("utf-16"))})
    where = urlsplit(answer.headers["location"])
    assert where.path == EXPECT.path
    assert dict(parse_qsl(where.query)) == {"units": "us", **CONDITIONS, **typed_good()}
    refused = client.post(f"{EXPECT.path}/good", data=form, files={"good.file": ("x", b"- a")})
    assert refused.status_code == 422
    back = unescape(re.search(r'href="([^"]*)">Back', refused.text)[1])
    assert dict(parse_qsl(urlsplit(back).query)) == {"units": "us", **CONDITIONS}
    assert urlsplit(back).path == EXPECT.path


def test_what_was_typed_goes_along_to_a_diagnosis(client):
    text, _ = see(client, EXPECT.path, CONDITIONS | typed_good() | SPEC)
    where = unescape(re.search(r'href="(/\?[^"]*)">Diagnose under these conditions', text)[1])
    assert dict(parse_qsl(urlsplit(where).query)) == {"units": "us", **CONDITIONS, **SPEC, **typed_good()}


def test_a_form_without_javascript_is_led_to_the_short_address_and_converts(client):
    form = {"units": "metric", "units.was": "us", "ambient": "95", "ambient.unit": "degF", "ambient.was": "95 degF"}
    form |= {"good.low_side": "28", "good.low_side.unit": "psi", "good.low_side.was": "28 psi", **SPEC}
    answer = client.get(EXPECT.path, params=form)
    assert answer.status_code == 303
    assert dict(parse_qsl(urlsplit(answer.headers["location"]).query)) == {
        "units": "metric",
        "ambient": "35 degC",
        "spec.high_side.from": "13.79",
        "spec.high_side.to": "16.55",
        "spec.high_side.unit": "bar",
        "good.low_side": "1.93 bar",
    }
    assert client.get(answer.headers["location"]).status_code == 200


@pytest.mark.parametrize(
    ("control", "typed", "says"),
    [
        ("ambient", "900 degF", "900 °F"),
        ("refrigerant", "R999", "R999"),
        ("profile", "nobody", "is in no pack in force"),
        ("good.ambient", "900 degF", "900 °F"),
    ],
)
def test_what_cannot_be_used_is_told_beside_its_field_and_the_rest_counts(client, control, typed, says):
    text, page = see(client, EXPECT.path, {**CONDITIONS, **typed_good(), control: typed})
    assert says in unescape(re.search(rf'id="e-{re.escape(control)}">(.*?)</p>', text, re.DOTALL)[1])
    assert f'href="#f-{control}"' in text
    assert "Normal today" in page.answer


@pytest.mark.parametrize("text", HOSTILE, ids=["script", "math", "control", "attribute", "long"])
def test_hostile_text_is_shown_as_text(client, text):
    names = (*EXPECT.shown, "good.low_side", "good.note", "spec.low_side.from", "baseline", text)
    answer, page = see(client, EXPECT.path, dict.fromkeys(names, text))
    assert page.inline == []
    for part in ("<script>", "<img src=x", "\x1b", "\x00", "Traceback"):
        assert part not in answer


def test_what_is_normal_swings_where_it_does(client):
    told = {"refrigerant": "R1234yf", "ambient": "30 degC", "units": "metric"}
    told |= {"metering": "orifice_tube", "compressor_control": "clutch_cycling"}
    text, page = see(client, EXPECT.path, told)
    assert "swings by design, between" in page.answer
    assert re.search(r'<th scope="row"[^>]*>low side</th><td[^>]*>[^<]+<br>swings by design', text)


def test_a_cold_day_is_told_before_the_figures(client):
    page = client.get("/tools/expect", params={"refrigerant": "R134a", "ambient": "48 degF"}).text
    assert page.index("It is too cold to judge a vehicle by its pressures") < page.index("suction saturation")
