"""A stop: the text has the focus and stays on the screen; only a deliberate act says that it was read out."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.call import next_page
from tests.browser.conftest import SignIn
from tests.browser.served import Served
from tests.browser.test_desk import OTHER, Shot, violations
from triage.service import tickets

pytestmark = pytest.mark.browser
NOTE = "It leaks. And when I touched the side it zapped me."
SCREENS: dict[str, dict[str, Any]] = {
    "laptop": {"viewport": {"width": 1366, "height": 768}},
    "phone": {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "has_touch": True},
    "zoomed": {"viewport": {"width": 341, "height": 192}, "device_scale_factor": 4},
    "dark": {"viewport": {"width": 1366, "height": 768}, "color_scheme": "dark"},
}


def stop_page(page: Page, desk: Served) -> str:
    """A call that a shock has stopped; the ticket's id."""
    report = {"machine": "LH20-10001", "symptoms": ["leaking"], "note": NOTE}
    ticket = tickets.open_ticket(desk.running, report, OTHER).id
    page.goto(f"/tickets/{ticket}")
    page.locator("[data-stop] .now:focus").wait_for()
    return ticket


def acknowledged(desk: Served, ticket: str) -> tuple[str, ...]:
    return tickets.ticket(desk.running, ticket, OTHER).acknowledged


def read_to_the_end(page: Page) -> None:
    """Scrolls sentence by sentence, as one reads, where the text is longer than the screen."""
    for sentence in page.locator("[data-sentence]").all():
        sentence.scroll_into_view_if_needed()
    page.locator("form[data-ready=true]").wait_for()


@pytest.mark.parametrize("screen", SCREENS)
def test_the_text_has_the_focus_and_the_screen(
    sign_in: SignIn, desk: Served, shot: Shot, screen: str
) -> None:
    page = sign_in(bypass_csp=True, **SCREENS[screen])
    stop_page(page, desk)
    assert page.evaluate("scrollY") == 0
    heading = page.locator("h1").bounding_box()
    sentence = page.locator("[data-sentence]").first.bounding_box()
    height = page.viewport_size["height"]  # type: ignore[index]
    assert heading is not None and heading["y"] >= 0
    assert sentence is not None and sentence["y"] + sentence["height"] <= height
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.screenshot(path=f"var/screenshots/stop-{screen}-first.png")
    page.reload()
    assert page.evaluate("scrollY") == 0
    shot(page, f"stop-{screen}")
    assert violations(page) == ""


@pytest.mark.parametrize("screen", ["laptop", "phone", "dark"])
def test_the_whole_text_is_on_one_screen(sign_in: SignIn, desk: Served, screen: str) -> None:
    page = sign_in(**SCREENS[screen])
    stop_page(page, desk)
    last = page.locator("[data-sentence]").last.bounding_box()
    assert last is not None and last["y"] + last["height"] <= page.viewport_size["height"]  # type: ignore[index]


def test_enter_says_nothing_and_r_does(page: Page, desk: Served) -> None:
    ticket = stop_page(page, desk)
    read_to_the_end(page)
    for focus in (".now", "input[name=said]", ".confirm button"):
        page.locator(focus).focus()
        page.keyboard.press("Enter")
    page.locator("input[name=said]").press("Space")
    page.keyboard.press("Enter")
    assert page.locator("main.stop").count() == 1
    assert acknowledged(desk, ticket) == ()
    page.locator(".now").focus()
    with next_page(page):
        page.keyboard.press("r")
    assert page.locator("main.call").count() == 1
    assert "shock-felt" in acknowledged(desk, ticket)


def test_r_waits_until_the_whole_text_was_on_the_screen(sign_in: SignIn, desk: Served) -> None:
    page = sign_in(**SCREENS["zoomed"])
    ticket = stop_page(page, desk)
    page.keyboard.press("r")
    assert "Not yet" in page.locator(".confirm [role=status]").inner_text()
    assert acknowledged(desk, ticket) == ()
    read_to_the_end(page)
    with next_page(page):
        page.keyboard.press("r")
    assert "shock-felt" in acknowledged(desk, ticket)


def test_a_tick_and_the_button_say_it_too(page: Page, desk: Served) -> None:
    ticket = stop_page(page, desk)
    read_to_the_end(page)
    page.get_by_label("I have read it out word for word").press("Space")
    with next_page(page):
        page.get_by_role("button", name="The clerk has understood").press("Space")
    assert "shock-felt" in acknowledged(desk, ticket)


def test_without_scripts_the_tick_is_asked_for(sign_in: SignIn, desk: Served) -> None:
    page = sign_in(java_script_enabled=False)
    report = {"machine": "LH20-10001", "symptoms": ["leaking"], "note": NOTE}
    ticket = tickets.open_ticket(desk.running, report, OTHER).id
    page.goto(f"/tickets/{ticket}")
    page.get_by_role("button", name="The clerk has understood").click()
    assert page.locator("main.stop").count() == 1
    page.get_by_label("I have read it out word for word").check()
    page.get_by_role("button", name="The clerk has understood").click()
    assert page.locator("main.call").count() == 1
    assert "shock-felt" in acknowledged(desk, ticket)


def test_a_screen_reader_is_told_what_it_is_and_how_it_ends(page: Page, desk: Served) -> None:
    stop_page(page, desk)
    dialog = page.get_by_role("alertdialog", name="Stop. Read this out to the clerk now.")
    described = dialog.get_attribute("aria-describedby")
    assert "Do not touch the machine" in page.locator(f"#{described}").inner_text()
    button = page.get_by_role("button", name="The clerk has understood")
    told = page.locator(f"#{button.get_attribute('aria-describedby')}").inner_text()
    assert "press R" in told
    assert "Enter key does nothing" in told


def test_it_is_read_out_in_spanish(sign_in: SignIn, desk: Served, shot: Shot) -> None:
    page = sign_in(bypass_csp=True, viewport={"width": 390, "height": 844})
    stop_page(page, desk)
    with next_page(page):
        page.get_by_role("button", name="Español").press("Space")
    page.locator("[data-stop] .now:focus").wait_for()
    aloud = page.locator(".aloud").first
    assert aloud.get_attribute("lang") == "es"
    assert "No toque la máquina" in aloud.inner_text()
    shot(page, "stop-in-spanish")
    assert violations(page) == ""


def test_m_and_a_digit_say_that_the_words_were_misread(page: Page, desk: Served) -> None:
    ticket = stop_page(page, desk)
    page.keyboard.press("m")
    with next_page(page):
        page.keyboard.press("1")
    assert page.locator("main.stop").count() == 0
    assert tickets.ticket(desk.running, ticket, OTHER).dangers.open == ()
    kinds = [event.kind for event in tickets.events(desk.running, ticket, OTHER)]
    assert "danger_lifted" in kinds


def test_a_report_shows_the_dangers_heard_and_enter_opens_no_second_ticket(
    sign_in: SignIn, desk: Served, shot: Shot
) -> None:
    page = sign_in(bypass_csp=True, viewport={"width": 1366, "height": 768})
    ticket = stop_page(page, desk)
    page.goto("/report?machine=LH20-10001&words=sale+humo+de+atras")
    assert page.get_by_role("heading", name="A danger was heard in these words").is_visible()
    assert page.get_by_role("heading", name="Danger open on this machine").is_visible()
    shot(page, "report-danger")
    assert violations(page) == ""
    assert page.locator("input[name=symptom]:checked").get_attribute("value") == "something_else"
    page.get_by_role("button", name="Start the call").press("Enter")
    page.get_by_role("link", name=f"Join {ticket}").wait_for()
    page.locator("#machine").press("Enter")
    page.wait_for_load_state("networkidle")  # it hears again, and stays where it is
    assert page.get_by_role("heading", name="A danger was heard in these words").is_visible()
    assert "/report" in page.url
    assert len(tickets.tickets(desk.running, OTHER).tickets) == 1


def test_the_call_after_a_stop_says_what_is_closed(sign_in: SignIn, desk: Served, shot: Shot) -> None:
    page = sign_in(bypass_csp=True, viewport={"width": 1366, "height": 768})
    stop_page(page, desk)
    read_to_the_end(page)
    with next_page(page):
        page.keyboard.press("r")
    shot(page, "call-danger")
    assert page.evaluate("scrollY") == 0
    assert page.get_by_role("heading", name="Nobody touches the machine").is_visible()
    assert "Every check in the store" in page.locator(".alerts").inner_text()
    assert violations(page) == ""
    for path in ("/", "/machines/LH20-10001", "/find?q=alder"):
        page.goto(path)
        assert "A tingle or a shock was felt" in page.locator("main").inner_text()
        assert violations(page) == "", path
