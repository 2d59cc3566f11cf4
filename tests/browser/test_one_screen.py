"""A call on one screen: what is needed now is in sight, in the right order, on every kind of screen."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.browser.call import next_page
from tests.browser.conftest import SignIn
from tests.browser.served import Served
from tests.browser.test_desk import OTHER, Shot, violations
from triage.service import tickets

pytestmark = pytest.mark.browser
REPORT = {"machine": "LH20-10005", "symptoms": ["not_freezing"], "note": "it's just soup"}
VIEWS = {"question": "", "check": "?check=rinse-filter", "end": "?end=1", "number": "?fact=filter_days"}


def opened(desk: Served) -> str:
    ticket = tickets.open_ticket(desk.running, REPORT, OTHER).id
    return f"/tickets/{ticket}"


def bottom(page: Page, part: str) -> float:
    box = page.locator(part).first.bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def top(page: Page, part: str) -> float:
    box = page.locator(part).first.bounding_box()
    assert box is not None
    return box["y"]


def test_what_is_needed_now_fits_a_laptop_without_scrolling(
    sign_in: SignIn, desk: Served, shot: Shot
) -> None:
    page = sign_in(viewport={"width": 1366, "height": 768})
    call = opened(desk)
    for view, query in VIEWS.items():
        page.goto(call + query)
        now = (".now", ".known", ".right", ".life")
        for part in (".board", ".say", *((".now", "#to-store", ".decision") if view == "end" else now)):
            assert bottom(page, part) <= 768, (view, part)
        assert page.evaluate("scrollY") == 0
        shot(page, f"one-screen-{view}")


def test_the_decision_stays_in_sight_except_where_the_screen_is_low(sign_in: SignIn, desk: Served) -> None:
    page = sign_in(viewport={"width": 390, "height": 600})
    page.goto(opened(desk))
    page.evaluate("scrollTo(0, 900)")
    assert top(page, ".board") == 0
    page.set_viewport_size({"width": 341, "height": 192})
    page.evaluate("scrollTo(0, 900)")
    assert bottom(page, ".board") < 0


def test_a_phone_shows_the_call_in_the_order_of_the_work(sign_in: SignIn, desk: Served, shot: Shot) -> None:
    page = sign_in(viewport={"width": 390, "height": 844})
    page.goto(opened(desk))
    parts = (".board", ".say", ".now", ".known", ".causes", "ol.plan", "#machine-record", "#history")
    tops = [top(page, part) for part in parts]
    assert tops == sorted(tops)
    assert top(page, ".answers button") < 844, "the first answer is in sight"
    shot(page, "one-screen-phone")


def test_the_outcome_has_a_color_an_icon_and_words(page: Page, desk: Served) -> None:
    page.goto(opened(desk))
    plate = page.locator(".board .plate")
    assert plate.locator(".outcome").inner_text() == "Fix in store"
    assert plate.locator("use").get_attribute("href") == "#i-fix"
    assert page.locator("#i-fix path").count() > 0
    ink, ground = plate.evaluate(
        "each => [getComputedStyle(each).color, getComputedStyle(each).backgroundColor]"
    )
    assert (ink, ground) == ("rgb(0, 99, 74)", "rgb(216, 241, 231)")


def test_the_call_in_spanish_passes_them_too(sign_in: SignIn, desk: Served, shot: Shot) -> None:
    page = sign_in(bypass_csp=True, viewport={"width": 1366, "height": 768})
    call = opened(desk)
    page.goto(call)
    english = page.locator("#ask").inner_text()
    with next_page(page):
        page.keyboard.press("e")
    assert page.locator("#ask[lang=es]").inner_text() != english
    for query in VIEWS.values():
        page.goto(call + query)
        assert page.locator("#ask").get_attribute("lang") == "es"
        assert bottom(page, ".now") <= 768, query
        assert violations(page) == "", query
    shot(page, "one-screen-spanish")
