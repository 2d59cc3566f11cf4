"""The pages of a ticket's life by axe: in the light and the dark, on a phone, at 400 %, in Spanish."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from api.pages.texts import LANGUAGE_COOKIE, PAGES_COOKIE
from tests.browser.conftest import SignIn
from tests.browser.served import Served
from tests.browser.test_desk import OTHER, violations
from tests.browser.test_stop import SCREENS
from tests.triage.service.outgoing.conftest import LARGE, Letters
from triage.config import Outgoing
from triage.records.caller import Caller
from triage.service import calls, repairs, tickets
from triage.service.outgoing import ask

pytestmark = pytest.mark.browser
VAN = Caller("van-3", "technician", "fogline")
SPANISH = {**SCREENS["phone"], "color_scheme": "dark", "locale": "es-MX"}
LOOKS = {**SCREENS, "spanish": SPANISH}
DESK = (
    *("/", "/?view=open", "/find?q=alder", "/machines/LH20-10008", "/report"),
    "/report?machine=LH20-10005&words=too+sweet.+it+smells+burnt",
)
CALL = ("", "?check=rinse-filter", "?fact=filter_days", "/history")
END = ("/end", "/end/close", "/end/estimate", "/end/call-back", "/end/ask")
FIELD = ("", "/machines/LH20-10005", "/find?q=nope", "/find?q=LH20-1O0O5")


def in_spanish(page: Page, url: str, look: str) -> None:
    """Sets the language of the pages and of the clerk, as their forms do."""
    if look == "spanish":
        both = [{"name": name, "value": "es", "url": url} for name in (PAGES_COOKIE, LANGUAGE_COOKIE)]
        page.context.add_cookies(both)  # type: ignore[arg-type]


def passes(page: Page, path: str, look: str) -> None:
    page.goto(path)
    assert look != "spanish" or page.locator("html").get_attribute("lang") == "es", path
    assert violations(page) == "", path
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path


def opened(desk: Served, machine: str, symptom: str, note: str = "") -> str:
    report = {"machine": machine, "symptoms": [symptom], "note": note, "phone": "555-0177"}
    return tickets.open_ticket(desk.running, report, OTHER).id


@pytest.mark.parametrize("look", LOOKS)
def test_the_desk(sign_in: SignIn, desk: Served, look: str) -> None:
    page = sign_in(bypass_csp=True, **LOOKS[look])  # axe is a script of the test, not of the desk
    in_spanish(page, desk.url, look)
    thaw, shock = (
        opened(desk, "LH20-10005", "not_freezing"),
        opened(desk, "LH20-10008", "leaking", "it zapped me"),
    )
    passes(page, f"/tickets/{shock}", look)  # the stop
    calls.acknowledge(desk.running, shock, OTHER, None)
    calls.park(desk.running, thaw, "rinse-filter", OTHER, None)
    held = opened(desk, "LH20-10001", "auger_stopped")
    repairs.estimate(desk.running, held, LARGE, VAN)
    paths = [*DESK, *(f"/tickets/{thaw}{part}" for part in (*CALL, "/end")), f"/tickets/{shock}"]
    for path in (*paths, *(f"/tickets/{held}{part}" for part in END)):
        passes(page, path, look)


@pytest.mark.parametrize("look", LOOKS)
def test_the_pages_of_technician_and_authority(
    browser: Browser, desk: Served, tmp_path: Path, look: str
) -> None:
    desk.running.outgoing = Outgoing(desk.url, f"file://{tmp_path}/mail", "desk@example.com")
    with desk.running.store.write() as work:
        work.tokens.add("Ines Marsh", "authority", None, desk.clock(), "desk_lead", "ines@example.com")
        token = work.tokens.add("van-3", "technician", "fogline", desk.clock())
    ticket = opened(desk, "LH20-10005", "leaking", "it zapped me")
    held = opened(desk, "LH20-10001", "auger_stopped")
    repairs.estimate(desk.running, held, LARGE, VAN)
    ask.ask(desk.running, held, OTHER)
    link = re.findall(r"/approve/\S+", Letters(desk.running, tmp_path / "mail").texts()[-1])[0]
    context = browser.new_context(base_url=desk.url, bypass_csp=True, **LOOKS[look])
    try:
        page = context.new_page()
        in_spanish(page, desk.url, look)
        passes(page, link, look)
        page.locator("button[value=no]").click()
        passes(page, link, look)  # used up
        page.goto("/sign-in")
        page.locator("#token").fill(token)
        page.locator("#token").press("Enter")
        page.wait_for_url("**/field")
        for path in (*FIELD, f"/tickets/{ticket}", f"/tickets/{held}"):
            passes(page, f"/field{path}", look)
        page.locator("#estimate-labor").fill("3")
        page.locator("[data-price] .gauge").wait_for()
        assert violations(page) == "", "while an estimate is typed"
    finally:
        context.close()
