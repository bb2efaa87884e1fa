"""Tables with their files, the book of rules, and the pictures of a diagnosis."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from html import unescape

import pytest
from typer.testing import CliRunner

from pages import HOSTILE, numbers, see
from twogauge.cli.app import app as command_line
from twogauge.packs.book import PAGES
from twogauge.serve.desk.tools import TABLE

TOLD = {"refrigerants": "R134a\nR1234yf", "low": "-10 degF", "high": "120 degF"}
BOOK = "/tools/book"
READING = {
    "refrigerant": "R134a",
    "low_side": "10 psi",
    "high_side": "110 psi",
    "ambient": "90 degF",
    "suction_line": "70 degF",
    "liquid_line": "85 degF",
}


def test_a_table_holds_the_figures_of_the_command_line(client):
    _, page = see(client, TABLE.path, TOLD)
    line = ["table", "R134a", "R1234yf", "--from", "-10F", "--to", "120F", "--format", "csv"]
    rows = CliRunner().invoke(command_line, line).stdout.splitlines()[1:]
    assert len(rows) == 27
    for row in rows:
        assert [each for each in numbers(f"{float(row.split(',')[1]):.1f}") if each not in numbers(page.answer)] == []
    assert page.inline == []


@pytest.mark.parametrize("form", ["csv", "json", "markdown"])
def test_a_file_is_what_the_command_line_writes(client, form):
    line = f"table R134a R1234yf --from -10F --to 120F --format {form}".split()
    answer = client.get(f"{TABLE.path}/{form}", params=TOLD)
    assert answer.status_code == 200
    assert answer.text == CliRunner().invoke(command_line, line).stdout
    assert answer.headers["content-disposition"].startswith("attachment")


def test_a_card_comes_as_html_and_as_pdf(client):
    card = client.get(f"{TABLE.path}/html", params={**TOLD, "paper": "letter"})
    assert "R-1234yf" in card.text
    assert "Letter" in card.text or "letter" in card.text
    assert client.get(f"{TABLE.path}/pdf", params=TOLD).content.startswith(b"%PDF")


def test_a_card_that_would_take_minutes_to_draw_is_refused_with_what_to_do(client):
    told = {"refrigerants": "R134a\nR1234yf\nR12\nR22", "low": "-10 degF", "high": "120 degF", "step": "0.1"}
    answer = client.get(f"{TABLE.path}/pdf", params=told)
    assert answer.status_code == 422
    assert "larger step" in answer.text
    assert client.get(f"{TABLE.path}/html", params=told).status_code == 200


@pytest.mark.parametrize("form", ["terminal", "exe", "..%2f..%2fetc%2fpasswd", "PDF"])
def test_other_files_there_are_none(client, form):
    assert client.get(f"{TABLE.path}/{form}", params=TOLD).status_code == 404


@pytest.mark.parametrize("text", HOSTILE)
def test_a_table_takes_hostile_text_for_text(client, text):
    answer, page = see(client, TABLE.path, dict.fromkeys(TABLE.shown, text))
    assert page.inline == []
    assert "<script>" not in answer
    refused = client.get(f"{TABLE.path}/csv", params={"refrigerants": text})
    assert refused.status_code == 422
    assert "<script>" not in refused.text


def test_what_is_wrong_with_a_table_stands_beside_its_field(client):
    text, _ = see(client, TABLE.path, {"refrigerants": "R134a", "low": "cold"})
    assert "cold" in unescape(re.search(r'id="e-low">(.*?)</p>', text, re.DOTALL)[1])
    text, _ = see(client, TABLE.path, {"low": "0 degF"})
    assert "R134a" in unescape(re.search(r'id="e-refrigerants">(.*?)</p>', text, re.DOTALL)[1])


@pytest.mark.parametrize("name", ["index", *PAGES])
def test_the_book_has_every_page_and_no_link_leads_nowhere(client, name):
    answer = client.get(f"{BOOK}/{name}.html")
    if name == "profiles" and answer.status_code == 404:  # no machines are in force
        return
    assert answer.status_code == 200
    links = set(re.findall(r'href="([a-z_]+\.html)', answer.text))
    assert links or name != "index"
    for link in links:
        assert client.get(f"{BOOK}/{link}").status_code == 200
    ids = re.findall(r' id="([^"]+)"', answer.text)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", ["nothing", "..%2findex", "index.md", "%00"])
def test_the_book_has_no_other_page(client, name):
    assert client.get(f"{BOOK}/{name}.html").status_code == 404


@pytest.mark.parametrize("kind", ["saturation", "cycle", "evidence"])
def test_a_picture_is_drawn_for_the_reading_in_the_address(client, kind):
    answer = client.get(f"/picture/{kind}.svg", params=READING)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["cache-control"] == "no-store"
    tree = ET.fromstring(answer.text)  # noqa: S314 - made here
    assert tree.tag.endswith("svg")
    dark = client.get(f"/picture/{kind}.svg", params={**READING, "theme": "dark"})
    assert dark.content != answer.content
    other = client.get(f"/picture/{kind}.svg", params={**READING, "low_side": "35 psi"})
    assert other.content != answer.content


@pytest.mark.parametrize("text", HOSTILE)
def test_a_picture_holds_hostile_text_as_text(client, text):
    for kind in ("saturation", "cycle", "evidence"):
        answer = client.get(
            f"/picture/{kind}.svg", params={**READING, "machine": text, "low_side": text, "size": text}
        )
        assert answer.status_code == 200
        tree = ET.fromstring(answer.text)  # noqa: S314 - made here
        assert [
            each for each in tree.iter() if each.tag.rpartition("}")[2] in {"script", "img", "foreignObject"}
        ] == []


def test_without_what_it_needs_a_picture_says_so(client):
    assert "Nothing told yet." in client.get("/picture/saturation.svg").text
    assert "No picture" in client.get("/picture/cycle.svg", params={"low_side": "high"}).text
    assert client.get("/picture/nothing.svg").status_code == 404


def test_the_diagnosis_shows_its_pictures_light_and_dark_for_a_page_and_for_a_telephone(client):
    text, _ = see(client, "/", READING)
    found = [unescape(each) for each in re.findall(r'(?:src|srcset)="(/picture/[^"]+)"', text)]
    assert len(found) == 12
    assert sum("size=phone" in each for each in found) == sum("theme=dark" in each for each in found) == 6
    drawn = {client.get(each).content for each in found if "/saturation" in each}
    assert len(drawn) == 4
    assert all(client.get(each).status_code == 200 for each in found)


def test_pictures_that_are_first_asked_for_at_the_same_time_are_drawn_all_the_same():
    program = """
from threading import Barrier, Thread
from twogauge.cli.plotting import OF_A_DIAGNOSIS
from twogauge.serve.drawing import drawer
together, got = Barrier(6), []
def load(place):
    together.wait()
    got.append(drawer(place))
for each in (threads := [Thread(target=load, args=[place]) for place in 2 * [*OF_A_DIAGNOSIS.values()]]):
    each.start()
for each in threads:
    each.join()
print(len(got))
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "6", done.stderr
