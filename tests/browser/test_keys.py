"""A call by single keys: how many it takes, how often a page is loaded, and what a key must never do."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.browser.call import asked, focused, next_page, outcome, press
from tests.browser.served import Served
from tests.browser.test_desk import OTHER
from triage.service import tickets

pytestmark = pytest.mark.browser


def reported_before(desk: Served) -> None:
    """Another machine did not freeze lately, so the trouble is among those offered by number."""
    tickets.open_ticket(desk.running, {"machine": "LH20-10005", "symptoms": ["not_freezing"]}, OTHER)


def test_a_call_about_slush_that_does_not_freeze_takes_12_keys_and_one_load(page: Page, desk: Served) -> None:
    """It took 29 keys and 8 loads when each step was a page of its own; typed letters are counted as keys."""
    reported_before(desk)
    loads: list[str] = []
    page.on("load", lambda loaded: loads.append(loaded.url))
    keys = 0

    def key(name: str, leads_on: bool = True) -> None:
        nonlocal keys
        keys += 1
        if leads_on:
            press(page, name)
        else:
            page.keyboard.press(name)

    page.goto("/")
    focused(page, "q")
    for digit in "10001":
        key(digit, leads_on=False)
    key("Enter")
    key("1")
    for said in ("2", "2"):  # not alone, of age
        key(said)
    assert asked(page) == "minutes_since_refill"
    key("Escape", leads_on=False)  # out of its field: the checks come first
    key("c")
    key("1")
    assert outcome(page) == "Fixed in store"
    assert keys == 12
    assert len(loads) == 1
    ticket = page.url.rsplit("/", 2)[1]
    log = tickets.events(desk.running, ticket, OTHER)
    told = [event.payload for event in log if event.kind in ("answered", "check_done")]
    assert [getattr(said, "answers", None) for said in told] == [
        {"clerk_alone": False},
        {"clerk_minor": False},
        None,
    ]
    assert [event.kind for event in log][-2:] == ["check_done", "decided"]


def test_a_key_held_down_answers_one_question_only(page: Page, desk: Served) -> None:
    reported_before(desk)
    page.goto("/machines/LH20-10001")
    press(page, "1")
    first = asked(page)
    with next_page(page):
        page.keyboard.down("2")
    second = asked(page)
    assert second != first
    page.keyboard.down("2")  # the browser says that it is held
    page.keyboard.up("2")
    page.evaluate("() => new Promise(done => requestAnimationFrame(done))")
    assert asked(page) == second
    found = tickets.ticket(desk.running, page.url.rsplit("/", 1)[1], OTHER)
    assert found.report["answers"] == {first: False}


def test_pressed_twice_and_back_again_it_stays_one_ticket(page: Page, desk: Served) -> None:
    reported_before(desk)
    page.goto("/machines/LH20-10001")
    before = len(tickets.tickets(desk.running, OTHER).tickets)
    with next_page(page):
        page.keyboard.press("1")
        page.keyboard.press("1")
    page.wait_for_url("**/tickets/*")
    with next_page(page):
        page.go_back()
    assert page.get_by_role("link", name="Join T-").is_visible()
    assert len(tickets.tickets(desk.running, OTHER).tickets) == before + 1


def test_letters_typed_on_the_machines_page_are_the_callers_words(page: Page, desk: Served) -> None:
    page.goto("/machines/LH20-10001")
    focused(page, "trouble")
    page.keyboard.type("too sweet 2")
    assert page.locator("#words").input_value() == "too sweet 2"


def test_single_keys_can_be_turned_off(page: Page, desk: Served) -> None:
    reported_before(desk)
    page.goto("/machines/LH20-10001")
    page.keyboard.press("?")
    page.get_by_label("Single keys do nothing on this browser").press("Space")
    page.locator("#trouble").focus()
    page.keyboard.press("1")
    page.keyboard.press("x")
    assert page.url.endswith("/machines/LH20-10001")
    assert page.locator("#words").input_value() == ""


def test_a_check_is_said_line_by_line_and_its_caution_first(page: Page, desk: Served) -> None:
    report = {"machine": "LH20-10001", "symptoms": ["not_freezing"]}
    ticket = tickets.open_ticket(desk.running, report, OTHER).id
    page.goto(f"/tickets/{ticket}?check=rinse-filter")
    focused(page, "ask")
    lines = page.locator("[data-say]")
    assert lines.first.inner_text().startswith("First:")
    assert page.locator("#ask").inner_text() in lines.first.inner_text()
    for at in range(1, lines.count()):
        page.keyboard.press("Space")
        assert page.locator("#ask").inner_text() in lines.nth(at).inner_text()
        assert lines.nth(at).get_attribute("aria-current") == "step"
        assert lines.nth(at).is_visible(), "checks done together are folded until their turn"
    assert page.locator("[data-next]").is_hidden()
    assert page.evaluate("scrollY") == 0
