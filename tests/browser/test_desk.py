"""The other pages on a phone: no serious finding, nothing to move sideways, a hold that is judged as it is typed."""

from __future__ import annotations

import re

import pytest

from browser.test_accessibility import found_on
from twogauge.serve.desk.tools import OF_COMMANDS, TABLE, WITH_TEXTS

ADDRESSES = [
    *(f"{tool.path}?{tool.example}" for tool in (*OF_COMMANDS, TABLE, *WITH_TEXTS)),
    *(tool.path for tool in WITH_TEXTS),
    "/tools/charge?refrigerant=R134a&label=heavy",
    "/tools/job",
    "/tools/book/index.html",
    "/tools/book/cautions.html",
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", ADDRESSES)
def test_no_serious_finding_and_nothing_to_move_sideways(open_page, address, scheme):
    page = open_page(color_scheme=scheme)
    page.goto(address)
    assert found_on(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


def test_a_hold_is_judged_and_drawn_as_rows_are_typed_and_a_reload_loses_nothing(open_page):
    page = open_page()
    page.goto("/tools/hold")
    rows = "0 min, 400 micron\n5 min, 900 micron\n10 min, 1400 micron\n15 min, 1900 micron\n20 min, 2400 micron"
    page.get_by_label("Rows", exact=True).fill(rows)
    page.locator("#result svg").first.wait_for(timeout=15_000)
    assert "It leaks" in page.locator("#result h2").first.inner_text()
    assert "It leaks" in page.locator("#said").inner_text()
    page.get_by_label("Rows", exact=True).fill(f"{rows}\n25 min, many")
    page.get_by_text("'many' is not a number").first.wait_for(timeout=15_000)
    page.goto("/tools/hold")
    assert page.get_by_label("Rows", exact=True).input_value() == f"{rows}\n25 min, many"


def test_a_unit_that_is_switched_converts_what_was_typed(open_page):
    page = open_page()
    page.goto("/tools/standing?refrigerant=R134a&pressure=85+psi&coldest=77+degF")
    page.get_by_label("Coldest part: unit").select_option("degC")
    assert page.locator("#f-coldest").input_value() == "25"
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url(re.compile("coldest=25.degC"))


def test_a_job_sheet_stays_in_the_browser_until_it_is_forgotten(open_page):
    page = open_page()
    page.goto("/tools/job")
    page.get_by_label("Who did it").fill("bay 2")
    page.locator("#f-opened\\.machine").fill("bus 31")
    page.get_by_role("button", name="Begin").click()
    page.get_by_text("Save the sheet before you leave").wait_for()
    page.goto("/tools/job")
    assert "bus 31" in page.locator("#f-sheet").input_value()
    page.get_by_role("button", name="Forget it in this browser").click()
    page.wait_for_load_state()
    assert page.locator("#f-sheet").input_value() == ""
