"""What a machine showed when it cooled well, on a phone: typed, opened and kept, with and without JavaScript."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from twogauge.serve.desk.tools import EXPECT

EXAMPLES = Path(__file__).parents[2] / "examples" / "readings"
READING = "/?units=us&refrigerant=R134a&low_side=29+psi&high_side=288+psi&ambient=86+degF&altitude=900+ft"
GOOD = "&good.low_side=28+psi&good.high_side=176+psi&good.ambient=79+degF"
SECTION = "What this machine showed when it cooled well"
JUDGED = re.compile(r"^Normal today 1\d\d to 2\d\d psi \(known good\); this is high$")
BOTH = pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])


def field(page: Page, name: str):
    return page.locator(f"[id='f-good.{name}']")


@BOTH
def test_it_is_typed_judged_by_and_there_after_a_reload(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    expect(page.locator("#n-high_side")).to_have_text(re.compile(r"\(usual\)"))
    page.get_by_text(SECTION).click()
    for label, value in (("Low side", "28"), ("High side", "176"), ("Ambient", "79")):
        page.get_by_label(f"{label} on the good day", exact=True).fill(value)
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    expect(page.locator("#n-high_side")).to_have_text(JUDGED)
    expect(page.locator("#result")).to_contain_text("known good")
    expect(page).to_have_url(re.compile(re.escape(READING + GOOD)))
    page.reload()
    expect(field(page, "high_side")).to_be_visible()
    expect(field(page, "high_side")).to_have_value("176")
    expect(page.locator("#n-high_side")).to_have_text(JUDGED)


@BOTH
def test_units_convert_it_as_everything_else(open_page, script):
    page = open_page(READING + GOOD, java_script_enabled=script)
    page.locator("label", has_text="bar, °C").click()
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    for name, value in {"low_side": "1.93", "high_side": "12.13", "ambient": "26.1"}.items():
        expect(field(page, name)).to_have_value(value)
    expect(page).to_have_url(re.compile(r"good\.low_side=1\.93\+bar&good\.high_side=12\.13\+bar"))
    page.locator('select[name="good.low_side.unit"]').select_option("psi")
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    expect(field(page, "low_side")).to_have_value("28")
    expect(field(page, "high_side")).to_have_value("12.13")


@BOTH
def test_what_cannot_be_used_is_told_beside_it(open_page, script):
    page = open_page(READING + GOOD, java_script_enabled=script)
    field(page, "ambient").fill("900")
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    expect(page.locator("[id='e-good.ambient']")).to_be_visible()
    expect(field(page, "ambient")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#said")).to_have_text(re.compile("1 value left out"))


@BOTH
def test_a_file_is_opened_as_the_known_good_reading_and_what_is_typed_stays(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    page.get_by_text("Open or save a reading").click()
    page.get_by_label("Ambient", exact=True).first.fill("87")  # and is not sent before the file is
    page.get_by_label("A reading of this machine when it cooled well").set_input_files(
        EXAMPLES / "bus_12_last_may.yaml"
    )
    page.get_by_role("button", name="Open it as the known-good reading").click()
    expect(page.locator("#f-ambient")).to_have_value("87")
    expect(page.locator("#f-high_side")).to_have_value("288")
    expect(field(page, "high_side")).to_have_value("176")
    expect(page.locator("#n-high_side")).to_have_text(JUDGED)
    expect(page).to_have_url(re.compile(r"good\.machine=bus\+12"))


@BOTH
def test_a_file_that_is_none_leads_back_to_what_was_typed(open_page, script, tmp_path):
    (tmp_path / "list.yaml").write_text("- one\n")
    page = open_page(READING, java_script_enabled=script)
    page.get_by_text("Open or save a reading").click()
    page.get_by_label("Ambient", exact=True).first.fill("87")
    page.get_by_label("A reading of this machine when it cooled well").set_input_files(tmp_path / "list.yaml")
    page.get_by_role("button", name="Open it as the known-good reading").click()
    expect(page.get_by_role("heading", name="This file cannot be opened")).to_be_visible()
    page.get_by_role("link", name="Back to the reading").click()
    expect(page.locator("#f-ambient")).to_have_value("87")


@BOTH
def test_a_reading_is_kept_as_the_known_good_one_for_the_next_visit(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    page.get_by_label("Low side", exact=True).first.fill("30")
    page.get_by_text("Open or save a reading").click()
    page.get_by_role("button", name="Keep today's reading as the known-good one").click()
    expect(page.locator("#f-low_side")).to_have_value("")
    expect(page.locator("#f-refrigerant")).to_have_value("R134a")
    expect(field(page, "low_side")).to_have_value("30")
    expect(field(page, "low_side")).to_be_visible()
    expect(page.locator("#n-low_side")).to_have_text(re.compile(r"^Normal \d+ to \d+ psi \(known good\)$"))


def test_enter_diagnoses_and_opens_no_file(open_page):
    page = open_page(READING + GOOD, java_script_enabled=False)
    page.get_by_label("High side", exact=True).first.fill("300")
    page.keyboard.press("Enter")
    expect(page).to_have_url(re.compile(r"/\?units=us.*high_side=300\+psi"))


def test_a_link_leads_to_where_its_file_is_opened(open_page):
    page = open_page(READING + GOOD)
    page.get_by_role("link", name="Open it from a file").click()
    expect(page.get_by_label("A reading of this machine when it cooled well")).to_be_focused()


def test_what_a_file_only_names_is_asked_for(open_page):
    page = open_page(READING + "&baseline=last_may.yaml")
    expect(page.get_by_label("File of the known-good reading")).to_have_value("last_may.yaml")
    expect(page.locator("#e-baseline")).to_contain_text("a page opens none by its name")
    page.get_by_label("File of the known-good reading").fill("")
    expect(page.locator("#e-baseline")).to_be_empty()
    expect(page).to_have_url(re.compile(re.escape(READING) + "$"))


@BOTH
def test_what_is_normal_today_is_told_by_it_and_by_the_makers_range(open_page, script):
    page = open_page(f"{EXPECT.path}?refrigerant=R134a&ambient=86+degF", java_script_enabled=script)
    page.get_by_text("Normal ranges from the manual or the label").click()
    page.locator('select[name="spec.high_side.unit"]').select_option("bar")
    page.get_by_label("High side, from", exact=True).fill("14")
    page.get_by_label("High side, to", exact=True).fill("17")
    page.get_by_text(SECTION).click()
    page.get_by_label("Low side on the good day", exact=True).fill("28")
    if script:  # the address holds it before it is sent
        expect(page).to_have_url(re.compile(r"spec\.high_side\.unit=bar.*good\.low_side=28\+psi"))
        page.reload()
        expect(page.locator('select[name="spec.high_side.unit"]')).to_have_value("bar")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_role("row", name=re.compile(r"^low side 2\d to 3\d psi known good$"))).to_be_visible()
    expect(page.get_by_role("row", name="high side 203 to 247 psi maker", exact=True)).to_be_visible()
    page.locator("label", has_text="bar, °C").click()
    page.get_by_role("button", name="Work it out").click()
    expect(field(page, "low_side")).to_have_value("1.93")
    page.get_by_text("Open a known-good reading").click()
    page.get_by_label("A reading of this machine when it cooled well").set_input_files(
        EXAMPLES / "bus_12_last_may.yaml"
    )
    page.get_by_role("button", name="Open it as the known-good reading").click()
    expect(field(page, "high_side")).to_have_value("176")
    page.get_by_role("link", name="Diagnose under these conditions").click()
    expect(page).to_have_url(re.compile(r"^[^?]*/\?units=metric.*good\.high_side=176\+psi"))


def test_units_that_are_switched_before_the_script_has_come_convert_too(open_page, hold_scripts):
    page = open_page("/tools")  # without scripts, of which the browser would keep a copy
    held = hold_scripts(page)
    asked = f"{EXPECT.path}?units=us&refrigerant=R134a&ambient=86+degF&good.low_side=28+psi&good.high_side=176+psi"
    page.goto(asked, wait_until="commit")
    page.locator("summary", has_text=SECTION).wait_for()
    page.locator("label", has_text="bar, °C").click()
    page.locator('select[name="ambient.unit"]').wait_for()
    assert held.waiting
    held.let_go()
    expect(field(page, "low_side")).to_have_value("1.93")
    expect(field(page, "high_side")).to_have_value("12.13")
    expect(page).to_have_url(re.compile(r"units=metric.*good\.low_side=1\.93\+bar"))
