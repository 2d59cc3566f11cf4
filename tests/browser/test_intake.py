"""A new report by keys: heard while one types, a danger answered by its key alone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.call import focused, next_page, press
from tests.browser.served import Served
from tests.browser.test_desk import OTHER, Shot
from triage.service import calls, tickets

pytestmark = pytest.mark.browser
WORDS = "birch landing, clerk Dana on 555-0102, 10005. its just soup both sides"
BURNT = WORDS + ". smells a bit burnt at the back"


def heard(page: Page, words: str) -> None:
    page.goto("/report")
    focused(page, "note")
    with page.expect_response("**/report"):
        page.keyboard.type(words)
    page.locator("#understood .chip").first.wait_for()


def test_two_enters_take_what_was_heard_into_a_call(page: Page, desk: Served, shot: Shot) -> None:
    heard(page, WORDS)
    marked = ["birch", "landing", "Dana", "555-0102", "10005", "its just soup both sides"]
    expect(page.locator("[data-box] mark")).to_have_text(marked)
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.matches('[data-begin]')")
    assert page.locator("#caller").input_value() == "Dana"
    shot(page, "intake")
    press(page, "Enter")
    page.wait_for_url("**/tickets/*")
    report = tickets.ticket(desk.running, page.url.rsplit("/", 1)[1], OTHER).report
    assert (report["machine"], report["caller"], report["phone"]) == ("LH20-10005", "Dana", "555-0102")
    assert report["answers"] == {"sides_affected": "both"}


def test_spanish_words_become_chips_as_one_types(page: Page, desk: Served) -> None:
    spoken = (
        "soy Dana, 10005, no congela, los dos lados. hace dos semanas limpiaron el filtro. me dio un toque"
    )
    heard(page, spoken)
    page.locator(".heard").wait_for()
    assert "me dio un toque" in page.locator(".heard mark").inner_text()
    chips = page.locator("#understood .chip")
    for value in ("not_freezing", 'sides_affected="both"', "filter_days=14"):
        assert page.locator(f"#understood .chip [value='{value}']").is_checked(), chips.all_inner_texts()
    assert page.locator("#caller").input_value() == "Dana"
    assert page.locator("[name=machine]:checked").get_attribute("value") == "LH20-10005"


def test_enter_never_answers_a_danger_and_its_key_does(page: Page, desk: Served, shot: Shot) -> None:
    heard(page, BURNT)
    page.locator(".heard").wait_for()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.matches('.heard [type=radio]')")
    with page.expect_response("**/report"):
        page.keyboard.press("Enter")  # hears the words again
    assert page.locator(".heard :checked").count() == 0
    assert page.url.endswith("/report")
    shot(page, "intake-danger")
    page.keyboard.press("1")
    page.wait_for_function("() => document.activeElement.matches('[data-begin]')")
    press(page, "Enter")
    assert page.locator("main.stop").count() == 1


def test_an_ended_session_comes_back_to_the_box(page: Page, desk: Served) -> None:
    heard(page, WORDS)
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.activeElement.matches('[data-begin]')")
    page.context.clear_cookies()
    with next_page(page):
        page.keyboard.press("Enter")
    page.get_by_label("Your token").fill(desk.token("ines"))
    with next_page(page):
        page.keyboard.press("Enter")
    assert page.locator("#note").input_value() == WORDS
    assert page.locator("[type=checkbox][value=not_freezing]").is_checked()
    assert tickets.tickets(desk.running, OTHER).tickets == ()


def test_the_queue_counts_down_by_itself(page: Page, desk: Served) -> None:
    page.clock.install()
    page.goto("/")
    report = {"machine": "LH20-10001", "symptoms": ["not_freezing"], "caller": "Dana"}
    ticket = tickets.open_ticket(desk.running, report, OTHER).id
    calls.park(desk.running, ticket, "rinse-filter", OTHER, None)
    page.clock.run_for(15_000)
    row = page.locator(".dep", has_text=ticket)
    row.get_by_text("in 1 h").wait_for()
    desk.clock.move(minutes=10)
    page.clock.run_for(15_000)
    row.get_by_text("in 50 min").wait_for()
    assert "Dana" in row.inner_text()


def test_the_colors_are_chosen_on_the_page(page: Page, desk: Served) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(ground)
    page.get_by_label("Colors").select_option("dark")
    with next_page(page):
        page.get_by_role("button", name="Set it").press("Enter")
    assert page.evaluate(ground) != light
    page.emulate_media(media="print")
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
