"""A new machine, and an installer's hands on a phone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from playwright.sync_api import Page

from tests.browser.call import next_page
from tests.browser.served import Served

SERIAL = "LH20-19001"
PEOPLE = "Dana\nRay"


def new_machine(desk: Served) -> None:
    """Bought and on record, and nowhere yet."""
    record = {"serial": SERIAL, "model": "LH-20", "shipped_on": "2026-10-20", "asset_tag": "LW-0901"}
    desk.put_machine({**record, "price": "3150.00 USD"})


def opened(page: Page, step: str) -> Any:
    """The section of a step, its form in sight."""
    section = page.locator(f"#{step}")
    if not section.locator("details").first.evaluate("one => one.open"):
        section.locator("summary").first.click()
    return section


def answer(page: Page, step: str, answers: Mapping[str, Any]) -> None:
    """Typed and picked as on a phone, not yet sent."""
    section = opened(page, step)
    for place, value in answers.items():
        field = section.locator(f'[name="{place}"]')
        if isinstance(value, bool):
            section.locator(f'[name="{place}"][value="{"yes" if value else "no"}"]').check()
        elif field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill("-".join(value) if isinstance(value, list) else str(value))


def send(page: Page, step: str, button: str = "Store it") -> None:
    with next_page(page):
        page.locator(f"#{step}").get_by_role("button", name=button).click()
    assert not page.locator(".problems").count(), page.locator(".problems").inner_text()


def stored(page: Page, step: str, answers: Mapping[str, Any], button: str = "Store it") -> None:
    answer(page, step, answers)
    send(page, step, button)
