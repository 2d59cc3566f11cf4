"""Whole calls by the keyboard alone, from hello to each of the five outcomes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser.call import check_done, next_page, outcome, read_back, read_out, take_report, tell
from tests.browser.served import Served, default_rulebook
from triage.records.caller import Caller
from triage.service import tickets

pytestmark = pytest.mark.browser
OTHER = Caller("ines", "agent")
Shot = Callable[[Page, str], None]

CALLS = {
    "filter-six-weeks": ("it is all liquid and not freezing", "Fix in store"),
    "pin-gone": ("the swirl stopped, it clicks and does not turn", "Send a technician"),
    "one-lamp-out": ("one light is out", "Repair approved"),
    "grinding-gears": ("terrible noise", "On hold: approval needed"),
    "worn-out-grinds-again": ("terrible grinding noise", "Swap the machine"),
}


def case(desk: Served, name: str) -> Any:
    """A whole case of the rulebook: its machine on record, the clock at its report."""
    found: Any = default_rulebook()[0].cases[name]
    desk.put_machine(found.machine)
    desk.clock.time = datetime.fromisoformat(found.report["reported_at"])
    return found


def hear(page: Page, found: Any, words: str) -> None:
    take_report(page, found.machine["serial"], words, tuple(found.report["symptoms"]))
    tell(page, found.report.get("answers", {}))
    for done in found.report.get("checks", ()):
        check_done(page, done["check"], done["result"])
        read_out(page)


@pytest.mark.parametrize("name", CALLS)
def test_a_call_by_keyboard_reaches_its_outcome(page: Page, desk: Served, shot: Shot, name: str) -> None:
    words, expected = CALLS[name]
    hear(page, case(desk, name), words)
    shot(page, f"call-{name}")
    assert outcome(page).startswith(expected)
    read_back(page)
    assert page.get_by_text("Read back to the clerk").is_visible()


def test_a_check_that_cures_ends_the_call(page: Page, desk: Served, shot: Shot) -> None:
    hear(page, case(desk, "filter-six-weeks"), "it is all liquid and not freezing")
    check_done(page, "rinse-filter", "cured")
    shot(page, "call-solved")
    assert outcome(page) == "Fixed in store"
    assert "The machine works again" in page.locator(".aloud").inner_text()


def test_a_danger_takes_the_screen_until_it_is_read_out(page: Page, desk: Served, shot: Shot) -> None:
    found = case(desk, "crushed-cord")
    take_report(page, found.machine["serial"], "no power, dead", tuple(found.report["symptoms"]))
    ticket = page.url
    tickets.answer(desk.running, ticket.rsplit("/", 1)[1], {"cord_damaged_seen": True}, OTHER)
    page.goto(ticket)
    shot(page, "stop-use")
    assert page.locator("h1").inner_text() == "Stop. Read this out to the clerk now."
    assert page.locator(".ask, .causes").count() == 0
    page.reload()
    assert page.locator("main.stop").count() == 1
    read_out(page)
    assert outcome(page) == "Send a technician"
    kinds = [event.kind for event in tickets.events(desk.running, ticket.rsplit("/", 1)[1], OTHER)]
    assert kinds[-1] == "acknowledged"


def test_a_wait_parks_the_ticket_and_brings_it_back(page: Page, desk: Served, shot: Shot) -> None:
    hear(page, case(desk, "filter-six-weeks"), "it is all liquid and not freezing")
    check_done(page, "rinse-filter", "wait")
    assert page.get_by_text("Parked:").is_visible()
    page.goto("/")
    assert page.locator(".due-now").count() == 0
    desk.clock.move(minutes=41)
    page.goto("/")
    shot(page, "call-back-now")
    page.locator(".due-now a.press").focus()
    with next_page(page):
        page.keyboard.press("Enter")
    assert page.get_by_text("Time to call back:").is_visible()
    check_done(page, "rinse-filter", "cured")
    assert outcome(page) == "Fixed in store"
