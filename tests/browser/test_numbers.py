"""The program in numbers in a browser: it is accessible, wide and narrow, in the light and in the dark."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.served import NOW, Served
from tests.browser.test_desk import violations
from triage.records.caller import Caller
from triage.service import repairs, tickets

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
MIRA = Caller("mira", "agent")


def record(desk: Served) -> None:
    """Six tickets; every second one is cured by a check and closed."""
    for number, days in enumerate((3, 20, 40, 60, 80, 5)):
        report = {"machine": "LH20-10001", "symptoms": ["not_freezing"], "answers": {"filter_days": days}}
        ticket = tickets.open_ticket(desk.running, report, MIRA).id
        check = tickets.ticket(desk.running, ticket, MIRA).decision["plan"][0]["check"]  # type: ignore[index]
        tickets.record_check(desk.running, ticket, check, ("cured", "not_cured")[number % 2], MIRA)
        desk.clock.move(hours=2 + number)
        if number % 2 == 0:
            closed = {"cause": "dirty_filter", "cured_by": check}
            repairs.close(desk.running, ticket, closed, MIRA, None)


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (360, True)])
def test_the_page_passes_the_accessibility_rules(
    browser: Browser, desk: Served, shot: Shot, width: int, dark: bool
) -> None:
    record(desk)
    with desk.running.store.write() as work:
        token = work.tokens.add("lead", "ops", None, NOW)
    context = browser.new_context(
        base_url=desk.url,
        viewport={"width": width, "height": 900},
        color_scheme="dark" if dark else "light",
        bypass_csp=True,
    )
    page = context.new_page()
    page.goto("/sign-in")
    page.get_by_label("Your token").fill(token)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    page.get_by_role("link", name="Numbers", exact=True).click()
    page.get_by_role("heading", name="What fixing in the store saved").wait_for()
    assert violations(page) == ""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    shot(page, f"week-{width}")
    page.get_by_label("From the day").fill(f"{NOW.date() - timedelta(days=40)}")
    page.get_by_label("to the day").fill(f"{NOW.date() + timedelta(days=2)}")
    page.get_by_label("grouped by").select_option("contractor")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("heading", name="Contractor").wait_for()
    assert "Opened" in page.locator("main").inner_text()
    assert violations(page) == ""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    shot(page, f"numbers-{width}")
    page.get_by_role("link", name="3 of 3").first.click()
    page.get_by_text("Only tickets behind a number:").wait_for()
    assert page.get_by_role("row").count() == 4
    page.get_by_role("link", name="Back to the numbers").click()
    page.get_by_label("From the day").fill("2026-01-31")
    page.get_by_label("to the day").fill("2026-01-01")
    page.get_by_role("button", name="Show").click()
    page.get_by_role("alert").wait_for()
    assert violations(page) == ""
    context.close()
