"""A reading as a file: what is saved opens as the same, and a stranger's file goes through the bounded loader."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlsplit

import pytest

from pages import ENCODINGS
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


def test_what_a_page_has_no_place_for_is_told(client):
    told = led_to(open_file(client, b"low_side: 10 psi\nbaseline: {low_side: 12 psi}\n"))
    page = client.get("/", params=told).text
    assert "The address also says &#39;baseline&#39;, which is not known here." in page


@pytest.mark.parametrize("data", [{}, {"file": "text"}, {"other": "x"}])
def test_a_form_without_a_file_is_refused(client, data):
    assert client.post("/open", data=data).status_code == 422


def test_another_site_cannot_post_a_file(client):
    files = {"file": ("x.yaml", b"low_side: 10 psi")}
    assert client.post("/open", files=files, headers={"origin": "http://evil.example"}).status_code == 403


def test_a_file_that_is_too_large_is_refused(client):
    assert open_file(client, b"#" * (1 << 20)).status_code == 413
