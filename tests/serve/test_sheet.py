"""A reading as a file: what is saved opens as the same, and a stranger's file goes through the bounded loader."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import parse_qsl, urlsplit

import pytest

from pages import ENCODINGS
from twogauge.diagnosis import diagnose
from twogauge.output.text import verdict_sentence
from twogauge.output.values import range_text
from twogauge.reading import read_file

TYPED = {
    "units": "metric",
    "refrigerant": "R134a",
    "low_side": "22 to 45 psi",
    "high_side": "low",
    "ambient": "32 degC",
    "spec.low_side.from": "1.7",
    "spec.low_side.to": "2.4",
    "spec.low_side.unit": "bar",
    "note": "driver: says 'yes' # and no",
    "check.oil_traces": "yes",
    "check.sight_glass": "unknown",
    "good.refrigerant": "R134a",
    "good.low_side": "28 psi",
    "good.ambient": "79 degF",
    "good.check.oil_traces": "no",
    "good.spec.low_side.from": "1",
    "good.spec.low_side.to": "2",
    "good.spec.low_side.unit": "bar",
    "good.date": "2025-05-20",
}


def open_file(client, content: bytes, name: str = "x.yaml"):
    return client.post("/open", files={"file": (name, content)})


def led_to(answer) -> dict[str, str]:
    assert answer.status_code == 303, answer.text
    return dict(parse_qsl(urlsplit(answer.headers["location"]).query))


def test_what_is_saved_opens_as_the_same(client):
    saved = client.get("/reading.yaml", params=TYPED)
    assert saved.headers["content-disposition"] == 'attachment; filename="reading.yaml"'
    again = client.get("/reading.yaml", params=led_to(open_file(client, saved.content)))
    assert again.text == saved.text


def test_what_is_saved_is_a_reading_for_the_command_line(client, tmp_path):
    file = tmp_path / "saved.yaml"
    file.write_bytes(client.get("/reading.yaml", params=TYPED).content)
    reading, _ = read_file(file)
    assert reading.parts.words["oil_traces"] == "yes"
    assert reading.parts.swings["low_side"][0] < reading.parts.swings["low_side"][1]
    assert reading.given["note"] == TYPED["note"]
    assert reading.baseline.parts.words["oil_traces"] == "no"
    assert reading.baseline.parts.numbers["ambient"] == pytest.approx(299.26, abs=0.01)


def test_the_examples_open(client, root):
    for path in sorted((root / "examples" / "readings").glob("*.yaml")):
        told = led_to(open_file(client, path.read_bytes()))
        page = client.get("/", params=told)
        assert page.status_code == 200
        if path.stem == "bus_17_warm_vents":
            assert "Most likely: Too little refrigerant (97 %)" in page.text
            assert 'id="summary"' not in page.text


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_file_opens_in_any_usual_encoding(client, encoding):
    text = "low_side: 10 psi\nnote: Kühlt schlecht\n"
    assert led_to(open_file(client, text.encode(encoding)))["note"] == "Kühlt schlecht"


@pytest.mark.parametrize(
    ("content", "part"),
    [
        (b"- a\n- b\n", "reading.yaml:1:1: a reading is lines of"),
        (b"low_side: [1, 2\n", "reading.yaml:"),
        (b"\xff\xfe\x00", "reading.yaml:1:1: this file is not text"),
        (b"a: &x [1]\nb: *x\n", "reading.yaml:1:4"),
        (b"[" * 100_000, "reading.yaml"),
        (b"!!python/object/apply:os.system [id]", "reading.yaml:1:1"),
        (b"", "reading.yaml"),
    ],
)
def test_what_is_no_reading_is_refused_with_its_place(client, content, part):
    answer = open_file(client, content, name="../../etc/<passwd>")
    assert answer.status_code == 422
    assert part in answer.text
    assert "passwd" not in answer.text


def test_a_known_good_reading_that_is_written_out_opens_with_it(client):
    told = led_to(
        open_file(client, b"units: us\nlow_side: 10\nbaseline: {units: metric, low_side: 2, sight_glass: clear}\n")
    )
    assert told == {
        "units": "us",
        "low_side": "10 psi",
        "good.low_side": "2 bar",
        "good.check.sight_glass": "clear",
    }


def test_a_known_good_reading_in_another_file_is_told_kept_and_saved(client, root):
    told = led_to(open_file(client, (root / "examples" / "readings" / "with_baseline.yaml").read_bytes()))
    assert told["baseline"] == "bus_12_last_may.yaml"
    page = client.get("/", params=told).text
    beside = unescape(re.search(r'id="e-baseline">([^<]*)<', page)[1])
    assert beside.startswith(
        "This names a file, and a page opens none by its name. Open it as the known-good reading"
    )
    assert 'name="baseline" type="text" maxlength="300" value="bus_12_last_may.yaml"' in page
    assert "baseline: bus_12_last_may.yaml" in client.get("/reading.yaml", params=told).text


def open_good(client, content: bytes, **typed):
    return client.post("/good", data=typed, files={"good.file": ("x.yaml", content)})


def test_a_reading_is_opened_as_the_known_good_one_and_what_is_typed_stays(client, root):
    readings = root / "examples" / "readings"
    today = led_to(open_file(client, (readings / "with_baseline.yaml").read_bytes()))
    told = led_to(open_good(client, (readings / "bus_12_last_may.yaml").read_bytes(), **today))
    assert {name: value for name, value in told.items() if not name.startswith("good.")} == {
        name: value for name, value in today.items() if name != "baseline"
    }
    assert told["good.high_side"] == "176 psi"
    reading, _ = read_file(readings / "with_baseline.yaml")
    found = diagnose(reading)
    page = unescape(client.get("/", params=told).text)
    assert verdict_sentence(found) in page
    side = next(each for each in found.derived if each.name == "high_side")
    assert side.judged_by == "baseline"
    assert f"Normal today {range_text(side.normal, side.dimension, reading)} (known good); this is high" in page
    assert "This names a file" not in page


def test_a_form_without_javascript_keeps_what_was_typed_and_converts_it(client):
    typed = {"units": "metric", "units.was": "us", "low_side": "35", "low_side.unit": "psi", "low_side.was": "35 psi"}
    told = led_to(open_good(client, b"low_side: 28 psi", **typed))
    assert told == {"units": "metric", "low_side": "2.41 bar", "good.low_side": "28 psi"}


def test_what_the_known_good_reading_is_compared_with_itself_is_left_out_and_told(client):
    told = led_to(open_good(client, b"low_side: 28 psi\nbaseline: {low_side: 27 psi}", ambient="90 degF"))
    assert told["good.low_side"] == "28 psi"
    assert "The known-good reading names one of its own" in client.get("/", params=told).text


@pytest.mark.parametrize("content", [b"- a\n", b"", b"\xff\xfe\x00", b"low_side: [1"])
def test_a_known_good_file_that_cannot_be_opened_loses_nothing(client, content):
    answer = open_good(client, content, low_side="10 psi", note="kept")
    assert answer.status_code == 422
    back = unescape(re.search(r'href="(/\?[^"]*)">Back', answer.text)[1])
    assert dict(parse_qsl(urlsplit(back).query)) == {"units": "us", "low_side": "10 psi", "note": "kept"}


def test_a_file_that_was_chosen_and_not_sent_is_no_stranger(client):
    text = client.get("/", params={"low_side": "10 psi", "good.file": "may.yaml"}).text
    assert "may.yaml" not in text


def test_what_was_typed_is_kept_as_the_known_good_reading(client):
    answer = client.get("/good", params={"refrigerant": "R134a", "low_side": "28", "low_side.unit": "psi"})
    assert led_to(answer) == {
        "units": "us",
        "refrigerant": "R134a",
        "good.refrigerant": "R134a",
        "good.low_side": "28 psi",
    }
    assert answer.headers["location"].endswith("#good")


@pytest.mark.parametrize("data", [{}, {"file": "text"}, {"other": "x"}])
def test_a_form_without_a_file_is_refused(client, data):
    assert client.post("/open", data=data).status_code == 422


def test_another_site_cannot_post_a_file(client):
    for path, name in (("/open", "file"), ("/good", "good.file")):
        files = {name: ("x.yaml", b"low_side: 10 psi")}
        assert client.post(path, files=files, headers={"origin": "http://evil.example"}).status_code == 403


def test_a_file_that_is_too_large_is_refused(client):
    assert open_file(client, b"#" * (1 << 20)).status_code == 413
