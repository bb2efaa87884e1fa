"""An accessibility engine (axe-core) on every page, in light and dark: no serious finding."""

from __future__ import annotations

from itertools import pairwise

import pytest
from axe_playwright_python.sync_playwright import Axe

from twogauge.serve.desk.tools import EXPECT, OF_COMMANDS
from twogauge.serve.pages import PAGES

FULL = "/?units=us&refrigerant=R134a&low_side=10+psi&high_side=110+psi&ambient=90+degF&check.oil_traces=yes"
ADDRESSES = [
    *(page.path for page in PAGES),
    *(tool.path for tool in OF_COMMANDS),
    f"{EXPECT.path}?{EXPECT.example}&good.low_side=28+psi&good.ambient=abc&spec.high_side.from=200",
    FULL,
    f"{FULL}&vent_air=abc",
    f"{FULL}&without=high_side_low+nobody",
    f"{FULL}&good.low_side=28+psi&good.high_side=abc&good.check.oil_traces=no&good.spec.low_side.from=2&baseline=x",
    "/?ambient=20+degF&low_side=low",
]
SERIOUS = {"serious", "critical"}


def found_on(page) -> list[str]:
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    return [
        f"{each['id']}: {each['help']}: {each['nodes'][0]['html'][:120]}"
        for each in Axe().run(page).response["violations"]
        if each["impact"] in SERIOUS
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", ADDRESSES)
def test_no_serious_finding(open_page, address, scheme):
    page = open_page(color_scheme=scheme)
    page.goto(address)
    assert found_on(page) == []
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_that_asks_for_the_token_has_none_either(open_page, guarded, scheme):
    page = open_page(f"{guarded}/?low_side=10+psi", color_scheme=scheme)
    assert page.title().startswith("Token")
    assert found_on(page) == []
    page.get_by_label("Token").fill("abcd efgh jkmn")
    page.get_by_role("button", name="Open").click()
    page.wait_for_url("**/?low_side=10+psi")
    assert page.locator("#f-low_side").input_value() == "10"


def test_the_engine_would_find_something(open_page):
    page = open_page()
    page.evaluate("document.querySelector('label[for=f-low_side]').remove()")
    page.evaluate(
        "document.querySelector('.about').id = 'a'; document.querySelector('#f-low_side').removeAttribute('id')"
    )
    assert any(each.startswith("label") for each in found_on(page))


@pytest.mark.parametrize("address", ADDRESSES)
def test_headings_go_down_step_by_step_and_there_is_one_first(open_page, address):
    page = open_page(address)
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(each => Number(each.tagName[1]))")
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
