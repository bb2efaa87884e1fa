"""The main job on a phone: from an empty page to a diagnosis, with and without JavaScript, and whatever goes wrong."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

READING = "/?units=us&refrigerant=R134a&low_side=10+psi&high_side=110+psi&ambient=90+degF"
LOW_CHARGE = re.compile(r"^Most likely: Too little refrigerant \(\d+ %\)")


def fill(page: Page) -> None:
    page.get_by_label("Refrigerant", exact=True).select_option(label="R-134a")
    page.get_by_label("Low side", exact=True).first.fill("10")
    page.get_by_label("High side", exact=True).first.fill("110")
    page.get_by_label("Ambient", exact=True).first.fill("90")


def share(page: Page) -> int:
    return int(re.search(r"\((\d+) %\)", page.locator("#verdict").inner_text())[1])


def overflow(page: Page) -> int:
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


def test_the_ranking_follows_what_is_typed(open_page):
    page = open_page()
    expect(page.locator("#said")).to_have_text("Enter what the gauges show.")
    fill(page)
    expect(page.locator("#said")).to_have_text(LOW_CHARGE)
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)
    expect(page).to_have_url(re.compile(re.escape(READING)))
    expect(page.locator("#n-high_side")).to_have_text(re.compile(r"^Normal today \d+ to \d+ psi .*; this is low$"))
    expect(page).to_have_title(LOW_CHARGE)
    expect(page.locator("#n-high_side")).to_have_class("normal off")
    page.get_by_label("High side", exact=True).first.fill("220")
    expect(page.locator("#n-high_side")).to_have_text(re.compile("; this is normal$"))
    expect(page.locator("#n-high_side")).to_have_class("normal")


def test_without_javascript_the_same_form_gives_the_same_answer(open_page):
    page = open_page(java_script_enabled=False)
    fill(page)
    page.get_by_role("button", name="Diagnose").click()
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)
    expect(page).to_have_url(re.compile(re.escape(READING)))
    expect(page.get_by_label("Low side", exact=True).first).to_have_value("10")


@pytest.mark.parametrize("script", [True, False])
def test_what_to_look_at_next_is_one_tap_away(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    before = share(page)
    bubbles = page.get_by_role("button", name=re.compile("bubbles go by", re.IGNORECASE)).first
    bubbles.click()
    expect(page).to_have_url(re.compile("check.sight_glass=bubbles"))
    expect(page.locator("#verdict")).not_to_have_text(re.compile(rf"\({before} %\)"))
    assert share(page) > before
    expect(page.locator("#seen")).to_be_visible()
    expect(page.locator("#seen select")).to_have_value("bubbles")


@pytest.mark.parametrize("script", [True, False])
def test_what_an_answer_did_is_in_sight_where_it_was_given(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    page.get_by_role("link", name=re.compile("^Look at next")).click()
    so_far = page.locator("#so-far")
    expect(so_far).to_be_in_viewport()
    before = so_far.inner_text()
    page.get_by_role("button", name=re.compile("bubbles go by", re.IGNORECASE)).first.click()
    expect(so_far).not_to_have_text(before)
    expect(so_far).to_contain_text(
        re.compile(rf"^So far: most likely: too little refrigerant .{re.escape(str(share(page)))} %", re.IGNORECASE)
    )
    if script:
        expect(so_far).to_be_in_viewport()


@pytest.mark.parametrize("script", [True, False])
def test_a_unit_that_is_switched_converts_what_is_typed(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    page.locator('select[name="low_side.unit"]').select_option("bar")
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    expect(page.locator("#f-low_side")).to_have_value("0.69")
    expect(page.locator("#f-high_side")).to_have_value("110")
    expect(page).to_have_url(re.compile(r"low_side=0\.69\+bar"))
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)


@pytest.mark.parametrize("script", [True, False])
def test_another_set_of_units_converts_all_of_it(open_page, script):
    page = open_page(READING + "&superheat=18+degF&humidity=60+%25", java_script_enabled=script)
    page.locator("label", has_text="bar, °C").click()
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    for name, value in {"low_side": "0.69", "high_side": "7.58", "ambient": "32.2", "superheat": "10"}.items():
        expect(page.locator(f"#f-{name}")).to_have_value(value)
    expect(page).to_have_url(re.compile(r"units=metric.*ambient=32\.2\+degC.*humidity=60\+%25"))
    expect(page.locator("#n-high_side")).to_have_text(re.compile(r"Normal today 1\d to 2\d bar"))


@pytest.mark.parametrize("typed", ["14", "35", "28.50", "22..45"])
def test_a_number_comes_back_through_every_unit_as_it_was_typed(open_page, typed):
    page = open_page(READING)
    number, unit = page.locator("#f-low_side"), page.locator('select[name="low_side.unit"]')
    number.fill(typed)
    for each in ("bar", "kPa", "inHg vac", "kPa", "bar", "psi", "inHg vac", "psi"):  # as the arrow keys lead
        unit.select_option(each)
    expect(number).to_have_value(typed)
    for each in ("bar, °C", "kPa, °C", "psi, °F"):
        page.locator("label", has_text=each).click()
    expect(number).to_have_value(typed)


def test_a_number_meant_in_another_unit_is_converted_from_there(open_page):
    page = open_page(READING)
    number, unit = page.locator("#f-low_side"), page.locator('select[name="low_side.unit"]')
    number.fill("10")
    unit.select_option("inHg vac")  # 10 psi is no vacuum: the unit was chosen late
    expect(number).to_have_value("10")
    unit.select_option("kPa")
    expect(number).to_have_value("-34")


def test_what_an_instrument_may_be_off_keeps_its_unit_when_the_set_is_switched(open_page):
    page = open_page(READING)
    page.locator("summary", has_text="Your instruments").click()
    page.locator("#f-low_gauge").fill("2")
    page.locator("label", has_text="bar, \u00b0C").click()
    expect(page.locator("#f-low_gauge")).to_have_value("2 psi")
    expect(page).to_have_url(re.compile(r"units=metric.*low_gauge=2\+psi"))


def test_both_ways_convert_alike(open_page):
    typed = READING + "&spec.low_side.from=25&spec.low_side.to=35&spec.low_side.unit=psi&vent_air=-4+degF"
    found = []
    for script in (True, False):
        page = open_page(typed, java_script_enabled=script)
        page.locator("label", has_text="kPa, °C").click()
        if not script:
            page.get_by_role("button", name="Diagnose").click()
        expect(page).to_have_url(re.compile(r"units=si.*&low_side=69\+kPa"))
        found.append(page.url.partition("#")[0])
    assert found[0] == found[1]


def test_what_is_done_before_the_script_has_come_is_not_lost(open_page, hold_scripts):
    page = open_page("/tools")  # without scripts, of which the browser would keep a copy
    held = hold_scripts(page)
    page.goto(READING + "&superheat=18+degF&vent_air=50+degF", wait_until="commit")
    page.locator('select[name="superheat.unit"]').select_option("K")
    page.locator('select[name="vent_air.unit"]').select_option("degC")
    page.locator("#f-vent_air").fill("10.5")
    page.get_by_label("Low side", exact=True).first.fill("12")
    page.locator("label", has_text="bar, \u00b0C").click()
    assert held.waiting
    held.let_go()
    typed = {"low_side": "0.83", "high_side": "7.58", "ambient": "32.2", "superheat": "10", "vent_air": "10.5"}
    for name, value in typed.items():
        expect(page.locator(f"#f-{name}")).to_have_value(value)
    expect(page).to_have_url(re.compile(r"units=metric.*low_side=0\.83\+bar.*ambient=32\.2\+degC"))
    expect(page.locator("#n-high_side")).to_have_text(re.compile(r"Normal today 1\d to 2\d bar"))


def test_nothing_is_asked_anew_where_nothing_was_done(open_page):
    asked = []
    page = open_page(READING)
    page.on("request", lambda request: asked.append(request.url) if "/live" in request.url else None)
    page.reload(wait_until="networkidle")
    assert asked == []


@pytest.mark.parametrize("script", [True, False])
def test_a_saved_link_shows_what_was_typed_and_what_was_found(open_page, script):
    page = open_page(READING + "&check.oil_traces=yes&machine=bus+17", java_script_enabled=script)
    expect(page.get_by_label("Machine", exact=True)).to_have_value("bus 17")
    expect(page.locator("#f-low_side")).to_have_value("10")
    expect(page.locator("#seen select")).to_have_value("yes")
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)


def test_a_reload_loses_nothing(open_page):
    page = open_page()
    fill(page)
    expect(page.locator("#said")).to_have_text(LOW_CHARGE)
    page.get_by_label("Ambient", exact=True).first.fill("abc")
    expect(page.locator("#e-ambient")).to_have_text(re.compile("abc"))
    page.reload()
    expect(page.locator("#f-ambient")).to_have_value("abc")
    expect(page.locator("#f-low_side")).to_have_value("10")


def test_a_dropped_connection_is_told_keeps_everything_and_mends_itself(open_page):
    page = open_page(READING)
    page.context.set_offline(True)
    page.get_by_label("High side", exact=True).first.fill("300")
    expect(page.locator("#link-state")).to_have_text(re.compile("^No connection. What you typed is kept"))
    expect(page.locator("#f-high_side")).to_have_value("300")
    expect(page).to_have_url(re.compile("high_side=300"))
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)
    page.context.set_offline(False)
    expect(page.locator("#link-state")).to_be_empty()
    expect(page.locator("#verdict")).not_to_have_text(LOW_CHARGE)


def test_more_than_an_address_holds_is_told_as_that(open_page):
    page = open_page(READING)
    page.route("**/live?*", lambda route: route.fulfill(status=414, body="too long"))
    page.get_by_label("High side", exact=True).first.fill("300")
    expect(page.locator("#link-state")).to_have_text(re.compile("^This is more than an address can hold"))
    expect(page.locator("#f-high_side")).to_have_value("300")


def test_a_restart_of_the_server_loses_nothing(open_page, own_server):
    page = open_page(READING, at=own_server)
    own_server.stop()
    page.get_by_label("High side", exact=True).first.fill("300")
    expect(page.locator("#link-state")).to_have_text(re.compile("^No connection"))
    own_server.start()
    expect(page.locator("#link-state")).to_be_empty(timeout=15_000)
    expect(page.locator("#verdict")).not_to_have_text(LOW_CHARGE)
    expect(page).to_have_url(re.compile(r"high_side=300\+psi"))


def test_the_last_thing_typed_wins_even_if_its_answer_comes_first(open_page):
    page = open_page(READING)
    held = []

    def hold(route):
        if "high_side=400" in route.request.url:
            held.append(route)
        else:
            route.continue_()

    page.route("**/live?*", hold)
    field = page.get_by_label("High side", exact=True).first
    field.fill("400")
    page.wait_for_timeout(600)
    field.fill("110")
    field.blur()
    expect(page).to_have_url(re.compile(r"high_side=110\+psi"))
    assert held
    for route in held:
        route.fulfill(status=200, content_type="application/json", body="{}")
    page.wait_for_timeout(500)
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)


def test_what_was_opened_stays_open_while_it_ranks_anew(open_page):
    page = open_page(READING)
    reason = page.locator("#result .reasons details").first
    reason.locator("summary").click()
    expect(reason.locator("p.fine").first).to_be_visible()
    key = reason.get_attribute("data-key")
    page.get_by_label("Ambient", exact=True).first.fill("91")
    expect(page).to_have_url(re.compile(r"ambient=91\+degF"))
    assert page.locator(f'details[data-key="{key}"]').evaluate("each => each.open")


@pytest.mark.parametrize("script", [True, False])
def test_a_rule_one_does_not_believe_is_left_out_and_taken_back(open_page, script):
    page = open_page(READING, java_script_enabled=script)
    before = share(page)
    page.locator("#result .reasons summary").first.click()
    page.get_by_role("button", name="Rank without this rule").first.click()
    expect(page).to_have_url(re.compile("without=[a-z_]+"))
    expect(page.locator("#verdict")).not_to_have_text(re.compile(rf"\({before} %\)"))
    page.get_by_role("link", name="Take it back").click()
    expect(page.locator("#f-without")).to_be_in_viewport()
    page.locator('#f-without input[type="checkbox"]').uncheck()
    if not script:
        page.get_by_role("button", name="Diagnose").click()
    expect(page.locator("#verdict")).to_have_text(re.compile(rf"\({before} %\)"))
    expect(page).not_to_have_url(re.compile("without="))


def test_every_reason_opens_to_its_rule_source_and_numbers(open_page):
    page = open_page(READING)
    reason = page.locator("#result .reasons details").first
    expect(reason.locator("p.fine")).not_to_be_visible()
    reason.locator("summary").click()
    expect(reason.locator("p.fine")).to_have_text(re.compile(r"[+-]\d+\.\d dB, .*sure. Rule \w+ of .*Source: \S"))


def test_what_cannot_be_used_is_told_beside_its_field_as_one_types(open_page):
    page = open_page(READING)
    field = page.get_by_label("Ambient", exact=True).first
    field.fill("900")
    expect(page.locator("#e-ambient")).to_be_visible()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#said")).to_have_text(re.compile("1 value left out"))
    field.fill("90")
    expect(page.locator("#e-ambient")).to_be_empty()
    expect(field).not_to_have_attribute("aria-invalid", "true")


def test_the_keyboard_alone_is_enough(open_page):
    page = open_page()
    keys = page.keyboard

    def here(what: str):
        return page.evaluate(f"document.activeElement.{what}")

    keys.press("Tab")
    assert here("textContent") == "To the content"
    assert page.locator(".skip").bounding_box()["x"] >= 0
    keys.press("Enter")
    for _ in range(40):
        keys.press("Tab")
        if here("id") == "f-refrigerant":
            break
    keys.type("R-134a")
    for name, value in (("f-low_side", "10"), ("f-high_side", "110"), ("f-ambient", "90")):
        for _ in range(3):
            keys.press("Tab")
            if here("id") == name:
                break
        assert here("id") == name
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid"
        keys.type(value)
    keys.press("Enter")
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)
    expect(page.locator("#verdict")).to_be_focused()
    for _ in range(60):  # on to the first answer of what is asked next, and press it
        keys.press("Tab")
        if here("name") and here("name").startswith("check."):
            break
    name = here("name")
    keys.press("Enter")
    expect(page).to_have_url(re.compile(re.escape(name)))
    expect(page.locator("#result")).to_contain_text("How likely")
    assert page.evaluate("document.getElementById('result').contains(document.activeElement)")


def test_only_the_short_sentence_is_read_out_as_one_types(open_page):
    page = open_page(READING)
    live = page.locator('[role="status"], [aria-live], [role="alert"]')
    assert sorted(each.get_attribute("id") for each in live.all()) == ["link-state", "said"]


@pytest.mark.parametrize("width", [320, 360, 412, 768, 1280])
def test_nothing_scrolls_sideways(open_page, width):
    page = open_page(
        READING + "&vent_air=abc&check.oil_traces=yes&good.low_side=28+psi&baseline=may.yaml",
        viewport={"width": width, "height": 740},
    )
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert overflow(page) <= 0


def test_everything_that_is_touched_is_large_enough(open_page):
    page = open_page(READING + "&check.oil_traces=yes")
    page.evaluate("document.querySelectorAll('form details, .files').forEach(each => each.open = true)")
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, summary, .button, nav a, input[type=text], ' +
        'input[type=file], .units label')]
        .filter(each => each.checkVisibility())
        .map(each => [each.outerHTML.slice(0, 80), each.getBoundingClientRect()])
        .filter(([, box]) => box.height < 44 || box.width < 44).map(([what]) => what)"""
    )
    assert small == []


def test_what_has_focus_is_not_hidden_behind_the_bar(open_page):
    page = open_page(READING)
    for _ in range(25):
        page.keyboard.press("Tab")
        hidden = page.evaluate(
            """() => { const here = document.activeElement.getBoundingClientRect();
            const bar = document.querySelector('.bar'), over = bar.getBoundingClientRect();
            if (bar.contains(document.activeElement)) return false;
            return here.top < over.bottom && here.bottom > over.top + here.height / 2; }"""
        )
        assert not hidden, page.evaluate("document.activeElement.outerHTML.slice(0, 80)")


def test_on_paper_stands_the_answer_and_nothing_to_press(open_page):
    page = open_page(READING + "&check.oil_traces=yes")
    expect(page.locator(".paper")).not_to_be_visible()
    page.emulate_media(media="print")
    expect(page.locator("#verdict")).to_be_visible()
    for each in ("Refrigerant R134a", "Low side 10 psi", "Ambient 90 °F", "Oily spots there are oily spots"):
        expect(page.locator(".paper").get_by_role("row", name=each)).to_be_visible()
    expect(page.get_by_text("Take care").first).to_be_visible()
    for each in (".bar", ".answers", ".skip"):
        expect(page.locator(each).first).not_to_be_visible()


def test_nothing_is_asked_of_any_other_server(open_page, server):
    page = open_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(READING)
    fill(page)
    expect(page.locator("#said")).to_have_text(LOW_CHARGE)
    assert asked
    assert [url for url in asked if not url.startswith(server.address)] == []


@pytest.mark.parametrize("script", [True, False])
def test_the_picture_that_was_scanned_opens_the_page(open_page, guarded, script):
    page = open_page(f"{guarded}/enter?token=abcd-efgh-jkmn", java_script_enabled=script)
    if not script:
        page.get_by_role("button", name="Open").click()
    expect(page.locator("#f-low_side")).to_be_visible()
    expect(page).to_have_url(re.compile(r"^http://[^/]+/$"))
    page.goto(f"{guarded}/enter?token=abcd-efgh-jkmn")  # scanned once more by the same device
    expect(page.locator("#f-low_side")).to_be_visible()


def test_a_link_that_was_sent_opens_from_another_site_too(open_page, guarded):
    page = open_page(f"{guarded}/enter?token=abcd-efgh-jkmn")
    expect(page.locator("#f-low_side")).to_be_visible()
    page.goto(re.sub(r"//[^:]+", "//localhost", guarded) + "/enter")
    page.evaluate(
        """where => { const link = document.createElement('a');
        link.href = where; link.textContent = 'a reading'; document.body.append(link); }""",
        f"{guarded}{READING}",
    )
    page.get_by_text("a reading").click()
    expect(page.locator("#verdict")).to_have_text(LOW_CHARGE)


def test_what_is_chosen_shows_in_the_colours_of_the_reader_too(open_page):
    page = open_page("/?units=metric", forced_colors="active")
    grounds = page.evaluate(
        "[...document.querySelectorAll('.units span')].map(each => getComputedStyle(each).backgroundColor)"
    )
    assert grounds[0] == grounds[1] != grounds[2]


def test_on_paper_stand_every_caution_and_every_reason(open_page):
    page = open_page(READING)
    cautions, reasons = page.locator("#result .care li"), page.locator("#result .fault > .reasons > li")
    assert (cautions.count(), reasons.count()) > (5, 1)
    page.emulate_media(media="print")
    for each in (*cautions.all(), *reasons.all()):
        expect(each).to_be_visible()
    expect(page.get_by_text("How, and what each answer would do").first).to_be_hidden()
    expect(page.locator('[data-key="pictures"]')).to_be_hidden()


def test_at_four_times_the_size_nothing_stands_in_front_of_what_is_read(open_page):
    page = open_page(READING, viewport={"width": 320, "height": 256})
    assert overflow(page) == 0
    assert page.locator(".bar").evaluate("each => getComputedStyle(each).position") == "static"
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.locator(".bar").evaluate("each => getComputedStyle(each).position") == "sticky"
