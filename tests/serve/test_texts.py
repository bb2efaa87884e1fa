"""The pages that judge texts: typed, pasted or uploaded, within the bounds of the command line."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path
from urllib.parse import parse_qsl, urlencode

import pytest
from typer.testing import CliRunner

from pages import ENCODINGS, HOSTILE, Seen, numbers, see
from twogauge.cli.app import app as command_line
from twogauge.draw.look import DARK, LIGHT
from twogauge.serve.desk.tools import COMPARE, HOLD, NITROGEN, RULES, WITH_TEXTS

EXAMPLES = Path(__file__).parents[2] / "examples"
LOG = EXAMPLES / "holds" / "bus_17_after_the_joint.csv"
ROWS = "0 min, 150 psi, 70 degF\n30 min, 149 psi, 70 degF\n60 min, 147 psi, 70 degF"
BEFORE, AFTER = (EXAMPLES / "readings" / name for name in ("bus_17_warm_vents.yaml", "bus_17_after_repair.yaml"))


def printed(*line: str, given: str | None = None) -> str:
    result = CliRunner().invoke(command_line, line, env={"TWOGAUGE_RULES": ""}, input=given)
    assert result.exit_code == 0
    return re.sub(r"(?m)^ +\d+\. ", "", result.stdout)


@pytest.mark.parametrize("tool", WITH_TEXTS, ids=lambda tool: tool.name)
def test_a_page_has_a_place_for_its_texts_and_for_files(client, tool):
    text, page = see(client, tool.path)
    for each in tool.texts:
        assert {f"f-{each.name}", f"f-{each.name}.file"} <= page.labelled
    assert set(page.points_at) <= set(page.ids)
    assert page.inline == []
    assert "To be mended" not in text


def test_a_vacuum_is_judged_as_at_the_command_line_and_drawn(client):
    told = {"log": LOG.read_text(), "coldest": "68 degF", "volume": "4 L", "refrigerant": "R134a"}
    text, page = see(client, HOLD.path, told)
    wanted = numbers(printed("hold", str(LOG), "--coldest", "68F", "--volume", "4L", "--refrigerant", "R134a"))
    assert len(wanted) > 10
    assert [each for each in wanted if each not in numbers(page.answer)] == []
    assert page.inline == []
    drawn = re.findall(r'<div class="on-(light|dark)">(<svg.*?</svg>)', text, re.DOTALL)
    assert [name for name, _ in drawn] == ["light", "dark"]
    assert (LIGHT.ground in drawn[0][1], DARK.ground in drawn[1][1]) == (True, True)
    assert LIGHT.ink not in drawn[1][1]
    assert len(page.ids) == len(set(page.ids))
    for name, svg in drawn:  # neither leans on what stands in the other one, which is not shown
        pointed = re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', svg)
        assert {f'id="{a or b}"' in svg for a, b in pointed} == {True}
        assert all((a or b).startswith(name) for a, b in pointed)


def test_a_test_under_nitrogen_is_judged_as_at_the_command_line(client):
    _, page = see(client, NITROGEN.path, {"log": ROWS, "test_pressure": "200 psi", "resolution": "1 psi"})
    line = ("hold", "-", "--nitrogen", "--test-pressure", "200psi", "--resolution", "1psi")
    wanted = numbers(printed(*line, given=ROWS))
    assert "147" in " ".join(wanted)
    assert [each for each in wanted if each not in numbers(page.answer)] == []


def test_two_readings_are_compared_as_at_the_command_line(client):
    _, page = see(client, COMPARE.path, {"before": BEFORE.read_text(), "after": AFTER.read_text()})
    wanted = numbers(printed("compare", str(BEFORE), str(AFTER)))
    assert len(wanted) > 10
    assert [each for each in wanted if each not in numbers(page.answer)] == []


def test_the_address_of_a_diagnosis_stands_for_a_reading(client):
    before = {"refrigerant": "R134a", "low_side": "6 psi", "high_side": "118 psi", "ambient": "90 degF"}
    after = {**before, "low_side": "30 psi", "high_side": "220 psi", "check.clutch": "engages"}
    address = "http://192.0.2.9:8277/?units=us&{}#result"
    _, page = see(
        client,
        COMPARE.path,
        {
            "before": address.format(urlencode(before)),
            "after": address.format(urlencode(after | {"check.clutch": ""})),
        },
    )
    assert "up 24 psi" in page.answer
    text, _ = see(client, COMPARE.path, {"before": address.format(urlencode(before)), "after": "?low_side=heavy"})
    assert "heavy" in unescape(re.search(r'id="e-after">(.*?)</p>', text, re.DOTALL)[1])


@pytest.mark.parametrize(("told", "other"), [("before", "after"), ("after", "before")])
def test_one_reading_alone_says_where_the_other_comes_from(client, told, other):
    reading = "units=us&refrigerant=R134a&low_side=14+psi&high_side=125+psi&ambient=86+degF"
    page = client.get("/tools/compare", params={told: f"?{reading}"}).text
    words = f"It is from {other} the repair"
    assert f"press \u201c{words}\u201d" in page
    assert f">{words}" in client.get(f"/?{reading}").text


def test_a_short_text_is_led_to_an_address_and_a_long_one_is_answered_at_once(client):
    answer = client.post(NITROGEN.path, data={"log": ROWS, "units": "us"})
    assert answer.status_code == 303
    assert dict(parse_qsl(answer.headers["location"].partition("?")[2].partition("#")[0]))["log"] == ROWS
    long = "\n".join(f"{minute} min, 150 psi, 70 degF" for minute in range(1000))
    answer = client.post(NITROGEN.path, data={"log": long})
    assert answer.status_code == 200
    assert "999 min, 150 psi" in answer.text
    assert Seen(answer.text).answer.startswith("It holds")


def test_a_file_stands_for_the_text_and_its_name_is_never_used(client):
    name = "../../../etc/passwd"
    answer = client.post(HOLD.path, data={"log": "typed"}, files={"log.file": (name, LOG.read_bytes(), "text/csv")})
    assert answer.status_code == 303
    assert "passwd" not in answer.headers["location"]
    _, page = see(client, answer.headers["location"])
    assert page.answer.startswith("It leaks")


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_file_may_be_written_in_any_usual_encoding(client, encoding):
    content = f"{ROWS}\n".encode(encoding)
    answer = client.post(NITROGEN.path, files={"log.file": ("log", content, "text/csv")})
    assert answer.status_code == 303
    assert dict(parse_qsl(answer.headers["location"].partition("?")[2].partition("#")[0]))["log"] == ROWS


@pytest.mark.parametrize("content", [b"\x00\x01\x02", bytes(range(256)), b"\xff\xfe\x00", b"GIF89a\x00\x01\x00"])
def test_a_file_that_is_no_text_is_refused(client, content):
    answer = client.post(HOLD.path, files={"log.file": ("log", content, "text/csv")})
    assert answer.status_code == 422
    assert "not text" in answer.text


def test_a_text_beyond_bounds_is_refused(client):
    assert client.post(HOLD.path, data={"log": "1" * (1 << 21)}).status_code == 413


@pytest.mark.parametrize("tool", WITH_TEXTS, ids=lambda tool: tool.name)
@pytest.mark.parametrize("text", [*HOSTILE, "a: &a [*a]", "- {", "baseline: /etc/passwd\nlow_side: 30 psi"])
def test_hostile_texts_are_shown_as_text(client, tool, text):
    told = dict.fromkeys([*(each.name for each in tool.texts), *tool.shown], text)
    told.pop("verbose", None)
    answer, page = see(client, tool.path, told)
    assert page.inline == []
    assert "<script>" not in answer
    assert "root:" not in answer
    assert "Traceback" not in answer
    assert "To be mended first" in answer


def test_what_is_wrong_in_a_log_is_told_with_its_line(client):
    text, page = see(client, HOLD.path, {"log": "0 min, 400 micron\n5 min, many\n"})
    assert "Line 2: pressure: 'many'" in unescape(re.search(r'id="e-log">(.*?)</p>', text, re.DOTALL)[1])
    assert page.answer.startswith("Not answered yet")
    assert "5 min, many" in text


def test_as_rows_are_typed_the_answer_and_the_picture_come(client):
    rows = "0 min, 400 micron\n5 min, 900 micron\n10 min, 1400 micron\n15 min, 1900 micron\n20 min, 2400 micron"
    answer = client.post(f"{HOLD.path}/live", data={"log": rows})
    assert answer.status_code == 200
    assert "It leaks" in answer.text
    assert answer.text.index("</h2>") < answer.text.index("<svg") < answer.text.index("<h3")  # beside what it shows
    assert "<html" not in answer.text
    first = client.post(f"{HOLD.path}/live", data={"log": "0 min, 400 micron"}).text
    assert "at least 3 are needed" in first
    assert "To be mended first" not in first  # nothing is wrong with a log that has begun
    wrong = client.post(f"{HOLD.path}/live", data={"log": "0 min, many"}).text
    assert "To be mended first" in wrong


def test_another_site_cannot_send_a_text(client):
    answer = client.post(HOLD.path, data={"log": ROWS}, headers={"origin": "http://elsewhere.example"})
    assert answer.status_code == 403


def test_a_reading_may_be_json(client):
    told = json.dumps({"refrigerant": "R134a", "low_side": "6 psi", "high_side": "118 psi", "ambient": "90 degF"})
    _, page = see(client, COMPARE.path, {"before": told, "after": told.replace("6 psi", "30 psi", 1)})
    assert "up 24 psi" in page.answer


@pytest.mark.parametrize("tool", [HOLD, NITROGEN, COMPARE], ids=lambda tool: tool.name)
def test_the_bar_says_what_to_do_before_anything_is_typed_and_the_answer_then(client, tool):
    said = re.compile(r'<p id="said" role="status">(.*?)</p>', re.DOTALL)
    text, page = see(client, tool.path)
    assert unescape(said.search(text)[1]) == tool.begin
    assert page.answer.startswith(tool.begin)
    text, page = see(client, tool.path, dict.fromkeys((each.name for each in tool.texts), "low_side: heavy"))
    assert unescape(said.search(text)[1]).startswith(f"Not answered yet: see '{tool.texts[0].label}'")
    told = {HOLD.name: {"log": LOG.read_text()}, NITROGEN.name: {"log": ROWS}}.get(
        tool.name, {"before": BEFORE.read_text(), "after": AFTER.read_text()}
    )
    text, page = see(client, tool.path, told)
    sentence = unescape(said.search(text)[1])
    assert len(sentence) > 10
    assert page.answer.startswith(sentence)


OWN = dict(parse_qsl(RULES.example))


def test_rules_are_tried_on_a_reading_that_answers_their_checks(client):
    _, page = see(client, RULES.path, OWN)
    assert page.answer.startswith("These rules can be used: one rule, 2 examples")
    without, with_them = re.search(
        r"The condenser does not get rid of its heat <?(\d+) % <?(\d+) %", page.answer
    ).groups()
    assert int(with_them) > int(without) + 10
    assert "10 dB for 'The condenser does not get rid of its heat'" in page.answer


def test_rules_that_cannot_be_used_are_told_with_their_lines(client):
    broken = OWN["rules"].replace("effort: glance", "effort: glanc").replace("brush_marks: {is", "brush_mark: {is")
    text, page = see(client, RULES.path, {**OWN, "rules": broken})
    told = unescape(re.search(r'id="e-rules">(.*?)</p>', text, re.DOTALL)[1])
    assert re.findall(r"Line (\d+): ", told) == ["9", "17"]
    assert "'brush_mark' is not a quantity or check" in told
    assert page.answer.startswith("Not answered yet")
    assert "effort: glanc" in text


def test_an_example_that_does_not_come_out_is_told_with_its_line(client):
    wrong = OWN["rules"].replace("- {brush_marks: no}", "- {brush_marks: yes}")
    _, page = see(client, RULES.path, {**OWN, "rules": wrong})
    assert page.answer.startswith("These rules can be used, but one example did not come out")
    assert re.search(
        r"Line 28 fins_laid_flat ?: an example under does_not_hold needs a degree of at most 0.1", page.answer
    )


def test_a_reading_that_the_rules_do_not_know_is_told_beside_it(client):
    text, _ = see(client, RULES.path, {**OWN, "reading": "refrigerant: R134a\nbrush_mark: yes\n"})
    assert "did you mean 'brush_marks'" in unescape(re.search(r'id="e-reading">(.*?)</p>', text, re.DOTALL)[1])


def test_rules_beyond_bounds_are_told_and_the_server_keeps_none(client):
    answer = client.post(RULES.path, data={"rules": "#" * 100_001})
    assert "longer than 100,000 characters" in answer.text
    assert "fins_laid_flat" not in client.get("/tools/book/rules.html").text
