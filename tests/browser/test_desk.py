"""The other pages on a phone: no serious finding, nothing to move sideways, a hold that is judged as it is typed."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from browser.test_accessibility import found_on
from twogauge.serve.desk.tools import EXPECT, HOLD, NITROGEN, OF_COMMANDS, PLAN, TABLE, WITH_TEXTS

ADDRESSES = [
    *(f"{tool.path}?{tool.example}" for tool in (*OF_COMMANDS, EXPECT, TABLE, *WITH_TEXTS)),
    *(tool.path for tool in WITH_TEXTS),
    "/tools/charge?refrigerant=R134a&label=heavy",
    "/tools/job",
    "/tools/book/index.html",
    *(f"/tools/book/{name}.html" for name in ("cautions", "faults", "checks", "gates", "bands", "criteria", "plans")),
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


def test_rows_are_added_through_fields_for_numbers_and_the_bar_says_what_is_missing(open_page):
    page = open_page("/tools/hold")
    time, pressure = page.get_by_label("Time", exact=True), page.get_by_label("Pressure", exact=True)
    page.get_by_label("Pressure: unit", exact=True).select_option("mbar")
    for count, row in enumerate((("0", "0,5"), ("5", "1.2"), ("10", "1.9"))):
        time.fill(row[0])
        time.press("Enter")
        expect(pressure).to_be_focused()
        pressure.fill(row[1])
        pressure.press("Enter")
        expect(time).to_be_focused()
        if not count:
            expect(page.locator("#said")).to_have_text(re.compile("^Not answered yet. 1 reading .* 3 are needed"))
    expect(page.locator("#f-log")).to_have_value("0 min, 0.5 mbar\n5 min, 1.2 mbar\n10 min, 1.9 mbar")
    page.locator("#result svg").first.wait_for()
    page.locator(".next-row").evaluate("each => each.scrollIntoView()")
    expect(page.locator("#result svg").first).to_be_in_viewport()
    page.goto("/tools/nitrogen")
    page.get_by_label("Time", exact=True).fill("0")
    page.get_by_label("Pressure", exact=True).fill("150")
    page.get_by_label("Temperature", exact=True).fill("70")
    page.get_by_role("button", name="Add the row").click()
    expect(page.locator("#f-log")).to_have_value("0 min, 150 psi, 70 degF")


def test_without_javascript_there_is_no_button_that_does_nothing(open_page):
    page = open_page("/tools/hold", java_script_enabled=False)
    expect(page.get_by_role("button", name="Add the row")).to_be_hidden()


def test_a_unit_that_is_switched_converts_what_was_typed(open_page):
    page = open_page()
    page.goto("/tools/standing?refrigerant=R134a&pressure=85+psi&coldest=77+degF")
    page.get_by_label("Coldest part: unit").select_option("degC")
    assert page.locator("#f-coldest").input_value() == "25"
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url(re.compile("coldest=25.degC"))


def wait_until_kept(page) -> None:
    page.get_by_text("Save the sheet before you leave").wait_for()
    page.wait_for_load_state()  # its script has run by then


def begin_a_sheet(page, machine: str = "bus 9") -> None:
    page.get_by_label("Who did it").fill("bay 2")
    page.locator("#f-opened\\.machine").fill(machine)
    page.get_by_role("button", name="Begin").click()
    wait_until_kept(page)


def test_a_job_sheet_stays_in_the_browser_until_it_is_forgotten(open_page):
    page = open_page()
    page.goto("/tools/job")
    begin_a_sheet(page, "bus 31")
    page.goto("/tools/job")
    expect(page.locator("#result")).to_contain_text("bus 31")
    page.get_by_text("The sheet as text").click()
    assert "bus 31" in page.locator("#f-sheet").input_value()
    page.get_by_role("button", name="Forget it in this browser").click()
    expect(page.locator("#result")).to_contain_text("No sheet yet")
    assert page.locator("#f-sheet").input_value() == ""
    assert page.locator("#f-by").input_value() == ""


@pytest.mark.parametrize("javascript", [True, False])
def test_a_reading_is_added_to_the_job_sheet_without_copying_its_address(open_page, javascript):
    page = open_page("/?units=us&refrigerant=R12&low_side=6+psi&high_side=118+psi", java_script_enabled=javascript)
    page.get_by_role("link", name="Add it to the job sheet").click()
    page.get_by_label("Who did it").fill("bay 2")
    page.locator("#f-opened\\.machine").fill("bus 31")
    page.get_by_role("button", name="Begin").click()
    page.locator("details[open]").get_by_role("button", name="Add this").click()
    expect(page.locator("#result")).to_contain_text("bus 31: open, 2 entries")
    expect(page.locator("#result")).to_contain_text("too little refrigerant", ignore_case=True)
    assert page.locator("#f-reading\\.reading").input_value() == ""


def test_a_reading_is_added_to_the_sheet_that_the_browser_keeps(open_page):
    page = open_page("/tools/job")
    begin_a_sheet(page, "bus 31")
    page.goto("/?units=us&refrigerant=R12&low_side=6+psi&high_side=118+psi")
    page.get_by_role("link", name="Add it to the job sheet").click()
    page.locator("details[open]").get_by_role("button", name="Add this").click()
    expect(page.locator("#result")).to_contain_text("bus 31: open, 2 entries")


def test_two_readings_are_compared_without_copying_their_addresses(open_page):
    start = "/?units=us&refrigerant=R134a&ambient=90+degF&low_side="
    page = open_page(f"{start}10+psi&high_side=110+psi")
    page.get_by_role("link", name="before the repair").click()
    page.wait_for_url("**/tools/compare?*")
    page.wait_for_load_state()  # its script has run by then
    page.goto(f"{start}30+psi&high_side=210+psi")
    page.get_by_role("link", name="after the repair").click()
    expect(page.locator("#result")).to_contain_text("up 100 psi")
    page.goto(f"{start}12+psi&high_side=120+psi")
    page.get_by_role("link", name="before the repair").click()
    expect(page.locator("#f-before")).to_have_value(re.compile("high_side=120"))
    expect(page.locator("#f-after")).to_have_value("")


@pytest.mark.parametrize("javascript", [True, False])
def test_a_report_fits_a_phone_and_leads_back_to_the_sheet(open_page, javascript):
    page = open_page("/tools/job", java_script_enabled=javascript)
    page.get_by_label("Who did it").fill("bay 2")
    page.locator("#f-opened\\.machine").fill("bus 31")
    page.get_by_role("button", name="Begin").click()
    page.get_by_text("Refrigerant was taken out").click()
    page.locator("#f-recovered\\.refrigerant").select_option("R12")
    page.locator("#f-recovered\\.amount").fill("1.4 lb")
    page.locator("details[open]").get_by_role("button", name="Add this").click()
    page.get_by_role("button", name="The log of refrigerants").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Refrigerant log: bus 31")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    page.get_by_role("button", name="Back to the sheet").click()
    expect(page.locator("#result")).to_contain_text("bus 31: open, 2 entries")


@pytest.mark.parametrize(
    ("path", "name", "value"),
    [
        ("/tools/charge", "label", "2.5"),
        ("/tools/oil", "drained", "compressor=2oz"),
        ("/tools/hold", "coldest", "70"),
        ("/tools/hold", "log", "0 min, 400 micron"),
        ("/tools/table", "low", "-20F"),
        ("/tools/plan", "name", "retrofit"),
        ("/tools/job", "by", "Bay 2"),
        ("/tools/job", "opened.machine", "bus 9"),
    ],
)
def test_a_reload_loses_nothing_that_was_typed_and_not_sent(open_page, path, name, value):
    page = open_page(path)
    field = page.locator(f'[id="f-{name}"]')
    if field.evaluate("each => each.tagName") == "SELECT":
        field.select_option(value)
    else:
        field.fill(value)
    page.wait_for_timeout(700)  # as long as nobody types
    page.reload()
    expect(field).to_have_value(value)


def test_what_is_ticked_is_ticked_after_a_reload_too(open_page):
    page = open_page("/tools/oil")
    page.get_by_label("condenser", exact=True).check()
    page.get_by_label("compressor", exact=True).check()
    page.wait_for_timeout(700)  # as long as nobody types
    page.reload()
    expect(page.get_by_label("condenser", exact=True)).to_be_checked()
    expect(page.get_by_label("compressor", exact=True)).to_be_checked()
    page.get_by_label("Refrigerant", exact=True).select_option("R134a")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#result")).to_contain_text("condenser")


@pytest.mark.parametrize("javascript", [True, False])
def test_the_refrigerants_of_a_table_are_ticked(open_page, javascript):
    page = open_page("/tools/table", java_script_enabled=javascript)
    page.get_by_label("R-134a", exact=True).check()
    page.get_by_label("R-407C", exact=True).check()
    page.get_by_role("button", name="Make the table").click()
    for head in ("R-134a", "R-407C bubble", "R-407C dew"):
        expect(page.get_by_role("columnheader", name=head)).to_be_visible()
    expect(page.get_by_label("R-407C", exact=True)).to_be_checked()
    expect(page.get_by_label("R-12", exact=True)).not_to_be_checked()


def test_without_javascript_the_way_back_leads_to_what_was_typed(open_page):
    for path, name in (("/", "low_side"), ("/tools/charge", "label"), ("/tools/job", "by")):
        page = open_page(path, java_script_enabled=False)
        page.locator(f"#f-{name}").press_sequentially("10")
        page.goto("/tools")
        page.go_back()
        expect(page.locator(f"#f-{name}")).to_have_value("10")


def test_what_is_typed_for_a_job_is_there_after_a_restart_and_gone_once_it_is_added(open_page, own_server):
    page = open_page("/tools/job", at=own_server)
    page.locator("#f-by").fill("Bay 2")
    page.locator('[id="f-opened.machine"]').fill("bus 9")
    page.locator("#f-at").fill("2026-06-22T09:10")
    own_server.stop()
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("chrome-error://**")
    own_server.start()
    page.goto("/tools/job")
    expect(page.locator('[id="f-opened.machine"]')).to_have_value("bus 9")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_text("Added. Save the sheet")).to_be_in_viewport()
    wait_until_kept(page)
    page.goto("/tools/job")
    expect(page.locator("#result")).to_contain_text("bus 9")
    expect(page.locator("#f-by")).to_have_value("Bay 2")
    assert page.evaluate("Object.keys(localStorage).filter(each => each.includes('opened.'))") == []
    assert page.locator("#f-at").input_value() == ""


def add_a_note(page, note):
    page.locator("summary", has_text="Something worth keeping").click()
    page.locator('[id="f-note.note"]').fill(note)
    page.locator("details", has=page.locator('[id="f-note.note"]')).get_by_role("button").click()


def test_what_two_tabs_add_to_a_sheet_is_all_kept(open_page):
    first = open_page("/tools/job")
    begin_a_sheet(first)
    second = first.context.new_page()
    second.goto("/tools/job")
    expect(second.locator("#result")).to_contain_text("bus 9")
    add_a_note(second, "oily at the shaft seal")
    expect(second.locator("#result")).to_contain_text("oily")
    wait_until_kept(second)
    expect(first.get_by_text("More was added to this sheet")).to_be_visible()
    add_a_note(first, "belt is sound")
    for note in ("oily at the shaft seal", "belt is sound"):
        expect(first.locator("#result")).to_contain_text(note)
    expect(first.get_by_text("More was added to this sheet")).to_be_hidden()


def test_the_way_back_to_a_sheet_and_a_reload_send_no_form_a_second_time(open_page):
    page = open_page("/tools/job")
    begin_a_sheet(page)
    add_a_note(page, "belt is sound")
    expect(page.locator("#result")).to_contain_text("belt is sound")
    wait_until_kept(page)
    page.goto("/tools")
    page.go_back()  # a form that was sent would ask first whether to send it again
    expect(page.locator("#result")).to_contain_text("belt is sound")
    page.reload()
    expect(page.locator("#result")).to_contain_text("belt is sound")
    expect(page.locator("#result tbody").first.locator("tr")).to_have_count(2)


def test_another_sheet_in_another_tab_stays_another(open_page):
    first = open_page("/tools/job")
    begin_a_sheet(first)
    text = first.locator("#f-sheet").input_value()
    first.evaluate("localStorage.setItem(document.getElementById('f-sheet').dataset.keep, 'another sheet')")
    first.evaluate("dispatchEvent(new Event('storage'))")
    assert first.locator("#f-sheet").input_value() == text


@pytest.mark.parametrize(("scheme", "shown", "hidden"), [("light", "light", "dark"), ("dark", "dark", "light")])
def test_a_picture_stands_on_the_ground_of_the_page_and_on_white_paper(open_page, scheme, shown, hidden):
    page = open_page(f"/tools/nitrogen?{NITROGEN.example}", color_scheme=scheme)
    expect(page.locator(f".on-{shown} svg")).to_be_visible()
    expect(page.locator(f".on-{hidden} svg")).to_be_hidden()
    page.emulate_media(media="print")
    expect(page.locator(".on-light svg")).to_be_visible()
    expect(page.locator(".on-dark svg")).to_be_hidden()


@pytest.mark.parametrize("javascript", [True, False])
@pytest.mark.parametrize("tool", WITH_TEXTS, ids=lambda tool: tool.name)
def test_the_bar_says_what_to_do_from_the_start(open_page, tool, javascript):
    page = open_page(tool.path, java_script_enabled=javascript)
    expect(page.locator("#said")).to_have_text("Plans" if tool is PLAN else tool.begin)
    expect(page.locator("#said")).to_be_in_viewport()


def test_the_plan_offers_the_sheet_that_the_browser_keeps_and_leaves_it_there(open_page):
    page = open_page("/tools/job")
    begin_a_sheet(page, "bus 31")
    page.locator("summary", has_text="step").first.click()
    page.locator("#f-step\\.step").select_option("recharge recover")
    page.locator('button[name="did"][value="step"]').click()
    expect(page.locator("#result")).to_contain_text("2 entries")
    wait_until_kept(page)
    page.goto("/tools/plan?name=recharge")
    expect(page.locator("#result h3.task .level")).to_have_count(0)
    page.get_by_role("button", name="Use the job sheet that this browser keeps").click()
    expect(page.locator("#result h3.task .level")).to_have_text(["done"])
    assert "sheet=" not in page.url
    page.reload()
    expect(page.locator("#result h3.task .level")).to_have_text(["done"])
    page.locator("#f-sheet").fill("")
    expect(page.locator("#result h3.task .level")).to_have_count(0)
    page.goto("/tools/job")
    expect(page.locator("#result")).to_contain_text("bus 31")


# What is tapped and does not stand in a sentence; a box to be ticked is as tall as its label.
TAPPED = """each => [...document.querySelectorAll(
  'main button, main summary, main a.button, main select, main input:not([type=checkbox]):not([type=radio]), '
  + 'main textarea, .flag, .units span, nav a, .back a, .tools a, td a, th a'
)].filter(each => each.getClientRects().length && each.getBoundingClientRect().height < 44)
  .map(each => `${each.tagName} ${each.textContent.trim().slice(0, 40)} ${each.getBoundingClientRect().height}`)"""


@pytest.mark.parametrize("address", ADDRESSES)
def test_what_is_tapped_is_large_enough_for_a_glove(open_page, address):
    page = open_page(address)
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert page.evaluate(TAPPED) == []


@pytest.mark.parametrize("javascript", [True, False])
def test_after_sending_one_stands_at_the_answer_or_at_what_is_to_be_mended(open_page, javascript):
    page = open_page("/tools/charge", java_script_enabled=javascript)
    page.locator("#f-refrigerant").select_option("R134a")
    page.locator("#f-label").fill("heavy")
    page.locator("#f-label").press("Enter")
    page.wait_for_url("**#result")
    expect(page.locator("#result h2")).to_be_in_viewport()
    page.locator("#result").get_by_role("link", name="Label").click()
    expect(page.locator("#f-label")).to_be_in_viewport()
    page.locator("#f-label").fill("2.5 lb")
    page.locator("#f-label").press("Enter")
    expect(page.locator("#result h2")).to_contain_text("Charge")
    expect(page.locator("#result h2")).to_be_in_viewport()
    page.keyboard.press("Tab")  # on from there, not from the top of the page
    assert page.evaluate("document.getElementById('result').contains(document.activeElement)")


def test_on_paper_stand_the_answer_and_what_it_rests_on_and_no_form(open_page):
    page = open_page(f"/tools/hold?{HOLD.example}")
    rows = page.locator("table.paper")
    expect(rows).to_be_hidden()
    page.emulate_media(media="print")
    expect(rows).to_contain_text("410 micron")
    expect(page.locator("#asked")).to_be_hidden()
    expect(page.locator("#result details").first).to_be_hidden()
    assert page.locator(".on-light svg").bounding_box()["height"] < 700  # a page of A4 is 1123 high


def test_every_control_that_is_reached_by_keyboard_is_seen(open_page):
    page = open_page("/tools/charge?refrigerant=R134a&label=2.5+lb")
    hidden = """() => {
      const each = document.activeElement, box = each.getBoundingClientRect();
      const above = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
      return each !== document.body && !(above && (each.contains(above) || above.contains(each))) ? each.outerHTML : "";
    }"""
    for _ in range(30):
        page.keyboard.press("Tab")
        assert page.evaluate(hidden) == ""
