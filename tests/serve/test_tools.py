"""The pages of commands: each answers as the command line does, keeps what was typed, and trusts nothing in it."""

from __future__ import annotations

import builtins
import inspect
import os
import re
from html import unescape
from urllib.parse import parse_qsl, urlencode

import pytest
from typer.testing import CliRunner

from pages import HOSTILE, numbers, see
from twogauge.cli.app import app as command_line
from twogauge.serve.desk.tools import OF_COMMANDS, PLAN, ROOT

BY_NAME = {tool.name: tool for tool in (*OF_COMMANDS, PLAN)}
# page -> (what is typed, the same at the command line)
SAME = {
    "saturation": ({"refrigerant": "R134a", "value": "35 psi"}, "saturation R134a 35psi"),
    "standing": (
        {"refrigerant": "R134a", "pressure": "85 psi", "coldest": "75 degF"},
        "standing R134a 85psi --coldest 75F",
    ),
    "charge": (
        {"refrigerant": "R134a", "label": "2.5 lb", "retrofit_from": "R12", "ambient": "80 degF"},
        "charge R134a --label 2.5lb --retrofit-from R12 --ambient 80F",
    ),
    "oil": (
        {"refrigerant": "R134a", "part": "condenser\ncompressor", "drained": "compressor=2oz"},
        "oil R134a --part condenser --part compressor --drained compressor=2oz",
    ),
    "fill": (
        {"refrigerant": "R134a", "water_capacity": "47.7 lb", "tare": "27.5 lb"},
        "cylinder fill R134a --water-capacity 47.7lb --tare 27.5lb",
    ),
    "identify": (
        {"label": "R134a", "pressure": "95 psi", "temperature": "80 degF"},
        "cylinder identify R134a --pressure 95psi --temperature 80F",
    ),
    "plan": (
        {"name": "recharge", "refrigerant": "R134a", "label": "2.5 lb"},
        "plan recharge --refrigerant R134a --label 2.5lb",
    ),
    "refrigerants": ({"name": "R1234yf"}, "refrigerants R1234yf"),
}


def test_what_is_chosen_from_a_list_adds_up_and_stays_chosen(client):
    chosen = [("refrigerant", "R134a"), ("part", "condenser"), ("part", "compressor"), ("part", "flux")]
    page = client.get("/tools/oil?" + urlencode(chosen))
    ticked = re.findall(r'name="part" value="(\w+)" checked', page.text)
    assert sorted(ticked) == ["compressor", "condenser", "flux"]
    assert "flux" in page.text.partition('id="e-part"')[2].partition("</p>")[0]
    both = client.get("/tools/oil?" + urlencode(chosen[:3])).text
    assert (
        both.partition('id="result"')[2]
        == (
            client.get("/tools/oil?" + urlencode({"refrigerant": "R134a", "part": "condenser\ncompressor"})).text
        ).partition('id="result"')[2]
    )


def test_the_list_leads_to_every_page(client):
    text, _ = see(client, ROOT)
    assert [tool.path for tool in OF_COMMANDS if f'href="{tool.path}"' not in text] == []


@pytest.mark.parametrize("name", BY_NAME)
def test_a_page_has_a_labelled_control_for_each_option_and_nothing_inline(client, name):
    tool = BY_NAME[name]
    text, page = see(client, tool.path)
    pasted = {f"{each.name}{file}" for each in tool.texts for file in ("", ".file")}
    assert {each.removesuffix(".unit") for each in page.controls} == {*tool.shown, *pasted}
    assert [each for each in tool.shown if f"f-{each}" not in page.labelled] == []
    assert len(page.ids) == len(set(page.ids))
    assert set(page.points_at) <= set(page.ids)
    assert page.inline == []
    assert "To be mended" not in text


@pytest.mark.parametrize("name", BY_NAME)
def test_no_page_offers_a_file_or_a_folder(name):
    offered = set(BY_NAME[name].shown)
    parameters = inspect.signature(BY_NAME[name].command()).parameters
    assert offered <= set(parameters)
    assert not offered & {"rules", "job", "baseline", "plot", "out", "check", "log", "before", "after", "spec"}


@pytest.mark.parametrize("name", BY_NAME)
def test_an_answer_holds_the_figures_of_the_command_line(client, name):
    told, line = SAME[name]
    _, page = see(client, BY_NAME[name].path, told)
    printed = CliRunner().invoke(command_line, line.split(), env={"TWOGAUGE_RULES": ""})
    assert printed.exit_code == 0
    wanted = numbers(re.sub(r"(?m)^ +\d+\. ", "", printed.stdout))  # a list numbers its items itself
    assert len(wanted) > 2
    assert [each for each in wanted if each not in numbers(page.answer)] == []


def test_other_options_change_the_answer(client):
    tool = BY_NAME["charge"]
    told = SAME["charge"][0]
    _, full = see(client, tool.path, told)
    _, brief = see(client, tool.path, {**told, "brief": "yes"})
    _, verbose = see(client, tool.path, {**told, "verbose": "yes"})
    assert full.answer.count("(common practice)") < verbose.answer.count("(common practice)")
    assert "What must change, in this order" in full.answer
    assert "What must change, in this order" not in brief.answer


@pytest.mark.parametrize("name", BY_NAME)
@pytest.mark.parametrize("text", HOSTILE, ids=["script", "math", "control", "attribute", "long"])
def test_hostile_text_is_shown_as_text(client, name, text):
    tool = BY_NAME[name]
    answer, page = see(client, tool.path, dict.fromkeys(tool.shown, text))
    assert page.inline == []
    assert "<script>" not in answer
    assert "<img" not in answer
    assert "\x1b" not in answer
    assert "\x00" not in answer
    assert "Traceback" not in answer


@pytest.mark.parametrize(
    ("name", "told", "control", "says"),
    [
        ("charge", {"refrigerant": "R134a", "label": "heavy"}, "label", "heavy"),
        ("charge", {"refrigerant": "R999"}, "refrigerant", "R999"),
        ("standing", {"refrigerant": "R134a", "pressure": "85 psi"}, "coldest", "This is needed."),
        ("fill", {"water_capacity": "20 lb", "on_scale": "9 lb"}, "on_scale", "'Tare'"),
        ("oil", {"refrigerant": "R134a", "drained": "2oz"}, "drained", "compressor=60mL"),
        ("charge", {"refrigerant": "R134a", "system": "submarine"}, "system", "not one of the choices"),
        ("identify", {"pressure": "5 kg", "temperature": "80 degF"}, "pressure", "kg"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept(client, name, told, control, says):
    text, page = see(client, BY_NAME[name].path, told)
    beside = unescape(re.search(rf'<p class="error" id="e-{control}">(.*?)</p>', text, re.DOTALL)[1])
    assert says in beside
    assert "--" not in beside
    assert f'href="#f-{control}"' in text
    assert "Not answered yet" in page.answer
    for value in told.values():
        assert value.split()[0] in text


def test_a_form_is_led_to_the_short_address_and_units_are_converted(client):
    told = {
        "units": "metric",
        "units.was": "us",
        "refrigerant": "R134a",
        "pressure": "85",
        "pressure.unit": "psi",
        "pressure.was": "85 psi",
        "coldest": "77",
        "coldest.unit": "degF",
        "coldest.was": "77 degF",
        "altitude": "",
        "altitude.unit": "ft",
    }
    answer = client.get(BY_NAME["standing"].path, params=told)
    assert answer.status_code == 303
    path, _, query = answer.headers["location"].partition("?")
    assert path == BY_NAME["standing"].path
    query = dict(parse_qsl(query.partition("#")[0]))
    assert query == {"units": "metric", "refrigerant": "R134a", "pressure": "5.86 bar", "coldest": "25 degC"}


def test_an_option_in_the_answer_leads_to_its_control(client):
    text, _ = see(client, BY_NAME["plan"].path, {"name": "recharge"})
    assert '<a href="#f-label">Label</a>' in text


def test_options_that_are_not_offered_do_nothing(client, tmp_path):
    (tmp_path / "job.yaml").write_text("secret: word")
    told = {
        "name": "recharge",
        "job": str(tmp_path / "job.yaml"),
        "rules": str(tmp_path),
        "baseline": "/etc/hostname",
    }
    text, _ = see(client, BY_NAME["plan"].path, told)
    assert "secret" not in text
    assert "To be mended" not in text


def test_nothing_typed_reaches_the_file_system(client, monkeypatch):
    for tool in OF_COMMANDS:
        see(client, tool.path, dict.fromkeys(tool.shown, "1"))  # everything that is read once is read
    touched = []
    marked = "/etc/marked-by-the-test"
    for module, name in ((builtins, "open"), (os, "open"), (os, "stat"), (os, "scandir")):
        real = getattr(module, name)

        def spying(path, *args, _real=real, **given):
            if "marked-by-the-test" in str(path):
                touched.append(path)
            return _real(path, *args, **given)

        monkeypatch.setattr(module, name, spying)
    for tool in OF_COMMANDS:
        see(client, tool.path, dict.fromkeys(tool.shown, marked))
    assert touched == []


def test_a_page_nobody_made_is_not_there(client):
    see(client, f"{ROOT}/serve", status=404)


ALL = {
    **{f"{BY_NAME[name].path}": told for name, (told, _) in SAME.items()},
    f"{ROOT}/refrigerants?": {},
    f"{ROOT}/plan?": {},
}


@pytest.mark.parametrize("path", ALL)
def test_what_is_laid_out_in_columns_is_a_table_whose_cells_have_names(client, path):
    text, _ = see(client, path.rstrip("?"), ALL[path])
    assert "<pre" not in text
    tables = re.findall(r"<table.*?</table>", text, re.DOTALL)
    assert tables or "/plan" in path
    for table in tables:
        assert re.search(r"<caption[^>]*>\s*\S", table)
        assert table.count('scope="row"') == table.count("<tr") - table.count("<thead")
        if "<thead" in table:
            cells = [len(re.findall(r"<t[hd]\b", row)) for row in re.findall(r"<tr.*?</tr>", table, re.DOTALL)]
            assert len(set(cells)) == 1


@pytest.mark.parametrize("path", ALL)
def test_an_answer_speaks_as_its_form_does(client, path):
    text, _ = see(client, path.rstrip("?"), ALL[path])
    answer = text.partition('<section id="result"')[2]
    shown = re.sub(r"<[^>]*>", " ", re.sub(r"<code>.*?</code>", "", answer, flags=re.DOTALL))
    assert re.findall(r"deg[FC]\b|--[a-z]+|`|\b(?:car|bus|packaged|split)_ac\b|twogauge [a-z]+", shown) == []


def test_the_list_of_refrigerants_leads_to_each(client):
    text, page = see(client, f"{ROOT}/refrigerants")
    assert 'href="/tools/refrigerants?units=us&amp;name=R134a#result">R-134a</a>' in text
    assert "tetrafluoroethane" in page.answer


@pytest.mark.parametrize(
    ("name", "told", "control", "says"),
    [
        ("saturation", {"refrigerant": "R134a", "value": "900 degF"}, "value", "is outside"),
        ("saturation", {"refrigerant": "R134a", "value": "abc"}, "value", "35 psi"),
        ("standing", {"refrigerant": "R134a", "pressure": "85 psi", "coldest": "400 degF"}, "", "no liquid above"),
    ],
)
def test_a_value_beyond_what_is_known_is_told_on_the_page_that_asked_for_it(client, name, told, control, says):
    text, page = see(client, BY_NAME[name].path, told)
    assert page.answer.startswith("Not answered yet")
    assert says in page.answer
    if control:
        assert says in unescape(re.search(rf'id="e-{control}">(.*?)</p>', text, re.DOTALL)[1])
    assert told["refrigerant"] in text


def test_on_paper_stands_what_the_answer_rests_on(client):
    text, _ = see(client, BY_NAME["charge"].path, {**SAME["charge"][0], "system": "car_ac"})
    paper = re.search(r'<table class="paper">(.*?)</table>', text, re.DOTALL)[1]
    told = re.findall(r'<th scope="row">(.*?)</th><td class="lines">(.*?)</td>', paper)
    assert ("Refrigerant", "R-134a") in told
    assert ("Label", "2.5 lb") in told
    assert ("Ambient", "80 °F") in told
    assert ("System", "car A/C") in told


def test_a_log_for_a_vacuum_is_sent_to_its_page(client):
    text, _ = see(client, f"{ROOT}/nitrogen", {"log": "0 min, 400 micron\n5 min, 500 micron"})
    assert "'Vacuum hold'" in unescape(text)
    text, _ = see(client, f"{ROOT}/hold", {"log": "0 min, 150 psi\n5 min, 150 psi"})
    assert "'Nitrogen hold'" in unescape(text)
