"""What a request carries is bounded before it costs anything, and taken apart where it keeps nobody waiting."""

from __future__ import annotations

import threading

import pytest

from twogauge.serve import bodies
from twogauge.serve.api import V1

FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.mark.parametrize("path", ["/tools/hold", "/tools/hold/live", "/tools/job", "/tools/job/file", "/good"])
@pytest.mark.parametrize("body", [b"&" * 5000, b"a=1&" * 5000])
def test_a_form_of_thousands_of_fields_is_refused(client, path, body):
    answer = client.post(path, content=body, headers=FORM)
    assert answer.status_code == 400
    assert "Too many fields" in answer.text


@pytest.mark.parametrize("path", ["/tools/hold", "/tools/job", "/open", "/good"])
@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data", b"x"),
        ("multipart/form-data; boundary=B", b"--B\r\n" + b"X: y\r\n" * 5000),
        ("multipart/form-data; boundary=B", b"x" * 100_000),
        (
            "multipart/form-data; boundary=B",
            b'--B\r\nContent-Disposition: form-data; name="a"\r\n\r\n\r\n' * 700 + b"--B--\r\n",
        ),
    ],
)
def test_what_is_no_form_is_refused(client, path, kind, body):
    answer = client.post(path, content=body, headers={"content-type": kind})
    assert answer.status_code in {400, 422}
    assert "content-security-policy" in answer.headers


def test_ampersands_in_a_file_are_no_fields(client):
    sent = {"sheet.file": ("sheet.yaml", b"&" * 5000)}
    assert client.post("/tools/job", files=sent, data={"units": "us"}).status_code == 200


@pytest.mark.parametrize("document", [{f"k{i}": 1 for i in range(2600)}, {"checks": [[1] * 2600]}, [{}] * 2600])
@pytest.mark.parametrize("path", ["diagnose", "hold", "table", "job"])
def test_a_document_of_thousands_of_values_is_refused_before_each_is_looked_at(client, path, document):
    answer = client.post(f"{V1}/{path}", json=document)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["detail"] == "There are more than 2500 values in this document."


def test_two_full_readings_have_fewer_values(client):
    reading = {"refrigerant": "R134a", "low_side": "10 psi", "checks": {f"check_{i}": "yes" for i in range(200)}}
    both = {"before": {**reading, "baseline": reading}, "after": {**reading, "baseline": reading}}
    assert "more than" not in client.post(f"{V1}/compare", json=both).json()["detail"].partition("\n")[0]


def test_forms_and_documents_are_taken_apart_beside_the_loop(client, monkeypatch):
    """The loop serves everybody; what holds it up holds everybody up."""
    seen = []
    for name in ("_taken_apart", "_document"):
        known = getattr(bodies, name)

        def watched(*args, known=known):
            seen.append(threading.current_thread().name)
            return known(*args)

        monkeypatch.setattr(bodies, name, watched)
    client.post("/tools/hold", data={"log": "0 min, 400 micron"})
    client.post(f"{V1}/diagnose", json={"refrigerant": "R134a"})
    assert len(seen) == 2
    assert all("worker" in name.lower() for name in seen)


def test_not_every_problem_of_thousands_is_told(client):
    sheet = "format: 1\nentries:\n" + "  - did: nothing\n" * 2000
    answer = client.post("/tools/job/report", data={"sheet": sheet})
    assert answer.status_code == 422
    assert len(answer.text) < 20_000
    assert "more" in answer.text
    problem = client.post(f"{V1}/job", json={"sheet": sheet}).json()
    assert len(problem["errors"]) == 50
    assert problem["detail"].count("\n") == 50
