"""The end of a call and a machine's page in a browser: by keys, without scripts, small, dark, in Spanish."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.call import next_page, press
from tests.browser.conftest import SignIn
from tests.browser.served import Served, default_rulebook
from tests.browser.test_desk import OTHER, Shot
from triage.service import machines, tickets, visits

pytestmark = pytest.mark.browser
REPORT = {"machine": "LH20-10005", "symptoms": ["auger_stopped"]}


def opened(desk: Served) -> str:
    return tickets.open_ticket(desk.running, REPORT, OTHER).id


def test_a_technician_is_booked_by_two_keys(page: Page, desk: Served, shot: Shot) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end")
    press(page, "2")
    assert page.locator("button", has_text="Book this time").evaluate(
        "each => each === document.activeElement"
    )
    press(page, "Enter")
    assert "The visit is booked." in page.locator(".done").inner_text()
    assert "A technician of Fogline Refrigeration comes on" in page.locator("#ask").inner_text()
    assert len(visits.visits(desk.running, ticket, OTHER)) == 1
    shot(page, "end-booked")


def test_who_lets_the_technician_in_is_kept_with_the_visit(page: Page, desk: Served) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end/book")
    page.get_by_label("Who lets them in").fill("Dana, side door from 7")
    with next_page(page):
        page.get_by_role("button", name="Book this time").press("Enter")
    assert [one.way_in for one in visits.visits(desk.running, ticket, OTHER)] == ["Dana, side door from 7"]
    assert "Way in: Dana, side door from 7" in page.locator("#technician-text").input_value()


def worn_out(desk: Served) -> str:
    """A ticket that is decided to be a swap, with units at the depots; its id."""
    found: Any = default_rulebook()[0].cases["worn-out-grinds-again"]
    days = (f"2026-0{month}-02T15:00:00+00:00" for month in (2, 4, 6, 8))
    repairs = [{**one, "at": at} for one, at in zip(found.machine["repairs"], days, strict=True)]
    desk.put_machine({**found.machine, "repairs": repairs})
    report = {**found.report, "machine": found.machine["serial"], "reported_at": desk.clock().isoformat()}
    ticket = tickets.open_ticket(desk.running, report, OTHER)
    assert ticket.outcome == "swap"
    return ticket.id


def test_a_machine_is_swapped_from_the_units_to_the_new_machine(
    page: Page, sign_in: SignIn, desk: Served, shot: Shot
) -> None:
    ticket = worn_out(desk)
    page.goto(f"/tickets/{ticket}/end")
    press(page, "5")
    unit = page.locator("[name=unit]:checked").get_attribute("value")
    with next_page(page):
        page.get_by_role("button", name="Set it aside and send it").press("Enter")
    assert "The swap is noted." in page.locator(".done").inner_text()
    page.goto(f"/tickets/{ticket}/end/swap")
    assert f"{unit} is set aside and on its way." in page.locator(".ways .open").inner_text()
    assert page.get_by_role("button", name="The new machine stands there").count() == 0, "the lead confirms"
    shot(page, "end-swap")
    with desk.running.store.write() as work:
        token = work.tokens.add("lead", "ops", None, desk.clock())
    lead = sign_in("lead-page")
    lead.context.clear_cookies()
    lead.goto("/sign-in")
    lead.get_by_label("Your token").fill(token)
    lead.get_by_role("button", name="Sign in").click()
    lead.wait_for_url("**/")
    lead.goto(f"/tickets/{ticket}/end/swap")
    lead.get_by_label("refurbishing").check()
    with next_page(lead):
        lead.get_by_role("button", name="The new machine stands there").press("Enter")
    assert "The swap is noted." in lead.locator(".done").inner_text()
    assert "swapped" in {event.kind for event in tickets.events(desk.running, ticket, OTHER)}
    assert machines.machine(desk.running, str(unit), OTHER).machine.site is not None


def test_an_ended_session_comes_back_to_the_end_with_everything_typed(page: Page, desk: Served) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end/close")
    page.get_by_label("Note; of a danger").fill("it just came back")
    page.get_by_label("What fixed it").select_option("nothing")
    page.context.clear_cookies()
    with next_page(page):
        page.get_by_role("button", name="Close the ticket").press("Enter")
    page.get_by_label("Your token").fill(desk.token("ines"))
    with next_page(page):
        page.keyboard.press("Enter")
    assert page.get_by_label("Note; of a danger").input_value() == "it just came back"
    assert page.get_by_label("What fixed it").input_value() == "nothing"
    assert tickets.ticket(desk.running, ticket, OTHER).state == "open"


def test_back_and_a_second_press_book_no_second_visit(page: Page, desk: Served) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end")
    press(page, "2")
    with next_page(page):
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
    with next_page(page):
        page.go_back()
    page.wait_for_url("**/end/book")
    with next_page(page):
        page.get_by_role("button", name="Book this time").press("Enter")
    assert len(visits.visits(desk.running, ticket, OTHER)) == 1


def test_enter_alone_books_nobody(page: Page, desk: Served) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    assert visits.visits(desk.running, ticket, OTHER) == ()


def test_the_end_works_without_scripts(sign_in: SignIn, desk: Served) -> None:
    page = sign_in(java_script_enabled=False)
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end")
    page.get_by_role("link", name="Call back in").click()
    page.get_by_label("Minutes from now").fill("20")
    page.get_by_role("button", name="Call back then").click()
    assert "The call back is noted." in page.locator(".done").inner_text()
    page.get_by_role("link", name="Close: solved").click()
    page.get_by_label("What it was").select_option("no_fault_found")
    page.get_by_label("What fixed it").select_option("nothing")
    page.get_by_role("button", name="Close the ticket").click()
    assert "This ticket is closed." in page.locator("#ways").inner_text()
    assert page.get_by_label("Why, in a sentence").is_visible()


def test_a_refusal_keeps_what_was_typed(page: Page, desk: Served) -> None:
    page.goto(f"/tickets/{opened(desk)}/end/close")
    page.get_by_label("Note; of a danger").fill("it just came back")
    with next_page(page):
        page.get_by_role("button", name="Close the ticket").press("Enter")
    assert "Nothing was stored." in page.locator(".problems").inner_text()
    assert page.get_by_label("Note; of a danger").input_value() == "it just came back"


def test_words_of_danger_at_the_closing_keep_the_ticket_open(page: Page, desk: Served) -> None:
    ticket = opened(desk)
    page.goto(f"/tickets/{ticket}/end/close")
    page.get_by_label("What it was").select_option("no_fault_found")
    page.get_by_label("What fixed it").select_option("nothing")
    page.get_by_label("Note; of a danger").fill("it gave me a shock")
    with next_page(page):
        page.get_by_role("button", name="Close the ticket").press("Enter")
    assert tickets.ticket(desk.running, ticket, OTHER).state == "open"
    assert page.locator("main.stop").count() == 1


def test_the_end_in_spanish_reads_in_spanish(page: Page, desk: Served, shot: Shot) -> None:
    page.goto(f"/tickets/{opened(desk)}/end")
    page.get_by_label("Language of the pages").select_option("es")
    with next_page(page):
        page.get_by_role("button", name="Set it").press("Enter")
    press(page, "e")
    assert page.locator("#ways").inner_text() == "¿Cómo termina esta llamada?"
    assert "Su número de reporte es" in page.locator("#store-text").input_value()
    shot(page, "end-spanish")
