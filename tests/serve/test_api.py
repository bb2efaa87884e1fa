"""The HTTP API: the documents of `--json`, described from the same models; every trouble with its field."""

from __future__ import annotations

import importlib
import inspect
import json

import pytest
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from own_pack import OWN_PACK
from twogauge.cli.app import app as command_line
from twogauge.fields import FIELDS
from twogauge.serve.api import V1
from twogauge.serve.api.commands import SERVED

JSON = {"content-type": "application/json"}
READING = {"refrigerant": "R134a", "low_side": "10 psi", "high_side": "110 psi", "ambient": "90 degF"}
LOG = "0 min 29 inHg vac\n5 28.5\n10 28.5\n20 28.5\n"


def printed(*arguments: str, given: str | None = None):
    done = CliRunner().invoke(command_line, list(arguments), input=given)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def post(client, path, **told):
    return client.post(f"{V1}/{path}", json=told)


SAME = [
    (
        "diagnose",
        {**READING, "checks": {"sight_glass": "bubbles"}, "spec": {"low_side": ["25 psi", "35 psi"]}},
        (
            *("diagnose", "--refrigerant", "R134a", "--low", "10psi", "--high", "110psi", "--ambient", "90F"),
            *("--check", "sight_glass=bubbles", "--spec", "low=25psi..35psi", "--json"),
        ),
    ),
    (
        "expect",
        {"refrigerant": "R134a", "ambient": "95 degF", "humidity": "60 %"},
        ("expect", "R134a", "--ambient", "95F", "--humidity", "60%", "--json"),
    ),
    ("saturation", {"refrigerant": "R407C", "value": "40F"}, ("saturation", "R407C", "40F", "--json")),
    (
        "table",
        {"refrigerants": ["R134a", "R1234yf"], "low": "0F", "high": "60F", "step": "10F"},
        ("table", "R134a", "R1234yf", "--from", "0F", "--to", "60F", "--step", "10F", "--format", "json"),
    ),
    (
        "charge",
        {"refrigerant": "R134a", "label": "2.5lb", "retrofit_from": "R12", "ambient": "80F", "system": "bus_ac"},
        (
            *("charge", "R134a", "--label", "2.5lb", "--retrofit-from", "R12", "--ambient", "80F"),
            *("--system", "bus_ac", "--json"),
        ),
    ),
    (
        "standing",
        {"refrigerant": "R134a", "pressure": "2 bar", "coldest": "24", "units": "metric"},
        ("standing", "R134a", "2bar", "--coldest", "24", "--units", "metric", "--json"),
    ),
    ("oil", {"refrigerant": "R134a", "part": ["condenser"]}, ("oil", "R134a", "--part", "condenser", "--json")),
    (
        "cylinder/fill",
        {"refrigerant": "R134a", "water_capacity": "47.7lb", "tare": "27.5lb"},
        ("cylinder", "fill", "R134a", "--water-capacity", "47.7lb", "--tare", "27.5lb", "--json"),
    ),
    (
        "cylinder/identify",
        {"pressure": "105psi", "temperature": "80F"},
        ("cylinder", "identify", "--pressure", "105psi", "--temperature", "80F", "--json"),
    ),
    (
        "plan",
        {"name": "recharge", "refrigerant": "R134a", "label": "2.5lb"},
        ("plan", "recharge", "--refrigerant", "R134a", "--label", "2.5lb", "--json"),
    ),
]


@pytest.mark.parametrize(("path", "told", "arguments"), SAME, ids=[each[0] for each in SAME])
def test_the_document_is_the_one_that_the_command_prints(client, path, told, arguments):
    answer = post(client, path, **told)
    assert answer.status_code == 200, answer.text
    assert answer.json() == printed(*arguments)


def test_a_log_is_judged_as_the_command_judges_what_is_piped_in(client):
    assert post(client, "hold", log=LOG).json() == printed("hold", "-", "--json", given=LOG)


AFTER = {**READING, "low_side": "30 psi", "high_side": "200 psi"}
SHEET = """format: 1
entries:
  - did: opened
    at: 2026-06-22T09:00
    by: bay 2
    machine: bus 17
    refrigerant: R134a
"""


def test_a_comparison_is_the_one_that_the_command_prints(client, tmp_path):
    files = []
    for name, reading in (("before", READING), ("after", AFTER)):
        files.append(tmp_path / f"{name}.yaml")
        files[-1].write_text(json.dumps(reading))
    found = post(client, "compare", before=READING, after=AFTER)
    assert found.json() == printed("compare", *map(str, files), "--json")


def test_why_is_the_one_that_the_command_prints(client, tmp_path):
    (tmp_path / "reading.yaml").write_text(json.dumps(READING))
    rule = next(iter(client.app.state.site.program.stack.rules))
    assert post(client, f"rules/{rule}/why", **READING).json() == printed(
        "rules", "why", rule, str(tmp_path / "reading.yaml"), "--json"
    )
    nobody = post(client, "rules/nobodys-rule/why", **READING)
    assert (nobody.status_code, nobody.headers["content-type"]) == (404, "application/problem+json")


def test_a_job_sheet_is_told_as_the_command_tells_it(client, tmp_path):
    (tmp_path / "sheet").write_text(SHEET)
    told = printed("job", "show", str(tmp_path / "sheet"), "--json")
    assert post(client, "job", sheet=SHEET).json() == {**told, "file": "sheet"}


def test_rules_are_checked_as_the_command_checks_them(client, tmp_path):
    for text in (OWN_PACK, OWN_PACK.replace("low_charge", "low_charg"), "{"):
        (tmp_path / "rules.yaml").write_text(text)
        done = CliRunner().invoke(command_line, ["rules", "check", str(tmp_path), "--format", "json"])
        told = json.loads(done.stdout)
        got = post(client, "rules/check", rules=text).json()
        assert (got["errors"], got["warnings"]) == (told["errors"], told["warnings"])
        for mine, theirs in zip(got["problems"], told["problems"], strict=True):
            assert mine["file"] == "rules"
            assert (mine["line"], mine["column"], mine["code"]) == (theirs["line"], theirs["column"], theirs["code"])
    sound = post(client, "rules/check", rules=OWN_PACK).json()
    assert (sound["packs"], sound["rules"], sound["examples"], sound["failures"]) == (["our_shop"], 1, 2, [])
    wrong = post(client, "rules/check", rules=OWN_PACK.replace("{superheat: 2 K}", "{superheat: 40 K}")).json()
    assert [(each["rule"], each["kind"], each["line"]) for each in wrong["failures"]] == [
        ("hose_is_warm", "does_not_hold", 12)
    ]


def test_refrigerants_are_listed_and_told(client):
    assert client.get(f"{V1}/refrigerants").json() == printed("refrigerants", "--json")
    assert client.get(f"{V1}/refrigerants/r-134a").json() == printed("refrigerants", "R134a", "--json")
    assert client.get(f"{V1}/refrigerants/R9999").status_code == 404


@pytest.fixture
def described(client):
    return client.get(f"{V1}/openapi.json").json()


def test_a_reading_is_described_by_the_table_of_fields(described):
    told = described["components"]["schemas"]["Reading"]["properties"]
    assert set(told) == {*FIELDS, "units", "checks", "spec", "baseline"}
    assert "service-port pressure" in told["low_side"]["description"]


@pytest.mark.parametrize(("path", "told", "arguments"), SAME, ids=[each[0] for each in SAME])
def test_an_answer_is_as_it_is_described(client, described, path, told, arguments):  # noqa: ARG001
    operation = described["paths"][f"{V1}/{path}"]["post"]
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    whole = {**schema, "components": described["components"]}
    Draft202012Validator(whole).validate(post(client, path, **told).json())
    request = operation["requestBody"]["content"]["application/json"]["schema"]
    Draft202012Validator({**request, "components": described["components"]}).validate(told)
    with pytest.raises(Exception, match="required"):
        Draft202012Validator(whole).validate({})


def test_every_refusal_is_described_as_problem_details(described):
    for operations in described["paths"].values():
        for operation in operations.values():
            for status in ("413", "422", "429", "503"):
                assert list(operation["responses"][status]["content"]) == ["application/problem+json"]


@pytest.mark.parametrize(
    ("path", "told", "fields"),
    [
        ("diagnose", {**READING, "low_side": "10 xx", "ambient": "900 F"}, {"low_side", "ambient"}),
        ("diagnose", {**READING, "checks": {"sight_glass": "rainbow"}}, {"checks.sight_glass"}),
        ("diagnose", {**READING, "spec": {"low_side": ["35 psi", "20 psi"]}}, {"spec.low_side"}),
        ("diagnose", {**READING, "lowside": "10 psi"}, {"lowside"}),
        ("diagnose", {**READING, "baseline": {"low_side": "x psi"}}, {"baseline.low_side"}),
        ("diagnose", {**READING, "note": "x" * 301}, {"note"}),
        ("standing", {"refrigerant": "R134a", "pressure": "85psi"}, {"coldest"}),
        ("standing", {"refrigerant": "R134a", "pressure": "85psi", "coldest": "75 xx"}, {"coldest"}),
        ("hold", {"log": "0 min 29 parsnips"}, {"log"}),
        ("compare", {"before": READING, "after": {**READING, "low_side": "x psi"}}, {"after.low_side"}),
        ("compare", {"before": {**READING, "checks": {"nobody": "yes"}}, "after": AFTER}, {"before.checks.nobody"}),
        ("compare", {"before": READING}, {"after"}),
        ("rules/overcharge/why", {**READING, "high_side": "x psi"}, {"high_side"}),
        ("rules/check", {"rules": "x" * 100_001}, {"rules"}),
        ("job", {"sheet": "no sheet"}, {"sheet"}),
        ("job", {"sheet": "x" * 400_001}, {"sheet"}),
        ("hold", {"log": "x" * 200_001}, {"log"}),
        ("table", {"refrigerants": ["R134a"] * 21}, {"refrigerants"}),
        ("table", {"refrigerants": []}, {"refrigerants"}),
        ("table", {"refrigerants": ["R134a", "R9"]}, {"refrigerants"}),
        ("saturation", {"refrigerant": "R134", "value": "40F"}, {"refrigerant"}),
        ("saturation", {"refrigerant": "R134a", "value": "900F"}, {"value"}),
        ("plan", {"name": "nothing"}, {"name"}),
        ("oil", {"refrigerant": "R134a", "part": ["wheel"]}, {"part"}),
        ("cylinder/fill", {"water_capacity": "0lb"}, {"water_capacity"}),
    ],
)
def test_every_trouble_comes_with_its_field(client, path, told, fields):
    answer = post(client, path, **told)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    problem = answer.json()
    assert problem["status"] == 422
    assert {each["field"] for each in problem["errors"]} == fields
    assert all(each["detail"] for each in problem["errors"])


@pytest.mark.parametrize(
    ("content", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"[1]", "application/json", 422),
        (b"null", "application/json", 422),
        (b"\xff\xfe", "application/json", 400),
        (b'{"low_side": "10 psi"}', "text/plain", 422),
        (b"low_side=10", "application/x-www-form-urlencoded", 422),
        (b'{"low_side": NaN}', "application/json", 422),
        (b"[" * 100_000, "application/json", 400),
        (b'{"low_side": 1e400}', "application/json", 422),
    ],
)
def test_what_is_no_request_is_refused(client, content, kind, status):
    answer = client.post(f"{V1}/diagnose", content=content, headers={"content-type": kind})
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")


def test_a_number_that_is_none_is_told_under_the_name_of_its_field_alone(client):
    answer = client.post(
        f"{V1}/diagnose", content=b'{"low_side": NaN, "spec": {"low_side": [1, []]}}', headers=JSON
    ).json()
    assert {each["field"] for each in answer["errors"]} == {"low_side", "spec.low_side.1"}


def test_nothing_of_the_api_is_a_page_and_nothing_of_the_pages_is_described(client, described):
    assert all(path.startswith(f"{V1}/") for path in described["paths"])
    assert client.get(f"{V1}/nothing").headers["content-type"] == "application/problem+json"
    assert client.get(f"{V1}/diagnose").status_code == 405
    assert client.get("/docs").status_code == 404


@pytest.mark.parametrize("served", SERVED, ids=lambda served: served.path)
def test_each_option_of_a_command_is_served_or_left_out_on_purpose(served):
    module, _, name = served.place.partition(":")
    parameters = inspect.signature(getattr(importlib.import_module(module), name)).parameters
    assert set(parameters) == {*served.options, *served.left_out}
    assert not set(served.options) & set(served.left_out)


def test_no_file_can_be_named(client, tmp_path):
    secret = tmp_path / "secret.yaml"
    secret.write_text("low_side: 10 psi\n")
    answer = post(client, "diagnose", **{**READING, "baseline": str(secret)})
    assert answer.status_code == 422
    assert post(client, "hold", log=str(secret)).status_code == 422
    for path, told in (
        ("hold", {"log": LOG}),
        ("plan", {"name": "recharge"}),
        ("table", {"refrigerants": ["R134a"]}),
    ):
        for option in ("rules", "out", "job", "check", "plot"):
            assert post(client, path, **told, **{option: str(secret)}).status_code == 422


def test_a_program_that_is_no_browser_needs_no_origin_and_another_site_is_refused(client):
    url = f"{V1}/diagnose"
    assert client.post(url, json=READING).status_code == 200
    assert client.post(url, json=READING, headers={"origin": "http://evil.example"}).status_code == 403
