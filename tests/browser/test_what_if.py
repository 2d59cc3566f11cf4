"""The what-if page in a real browser: from the ticket to the move, without scripts, and by axe's rules."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import SignIn
from tests.browser.served import ROOT, Served
from tests.browser.test_desk import Shot, violations
from triage.records.caller import Caller
from triage.rulebook.reading.reader import rulebook_files_data
from triage.service import tickets

pytestmark = pytest.mark.browser
OPS = Caller("lead", "ops")
REPORT = {
    "machine": "LH20-10001",
    "symptoms": ["not_freezing"],
    "answers": {"filter_days": 40, "fan_air": "weak"},
}


@pytest.fixture
def ticket(desk: Served) -> str:
    with desk.running.store.write() as work:
        work.rulebooks.keep(desk.running.rulebook.version, rulebook_files_data(ROOT / "rules"))
    return f"/tickets/{tickets.open_ticket(desk.running, REPORT, OPS).id}"


def as_ops(page: Page, desk: Served) -> None:
    with desk.running.store.write() as work:
        token = work.tokens.add("olga", "ops", None, desk.clock())
    page.context.clear_cookies()
    page.goto("/sign-in")
    page.get_by_label("Your token").fill(token)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")


def test_an_agent_changes_a_fact_without_scripts_and_sees_the_move(
    sign_in: SignIn, ticket: str, shot: Shot
) -> None:
    page = sign_in("mira", java_script_enabled=False, viewport={"width": 1280, "height": 900})
    page.goto(ticket)
    page.get_by_role("link", name="What if…").click()
    page.get_by_label("Days since the air filter was cleaned").fill("three days ago")
    page.get_by_label("Open another field").select_option(label="Cord or plug damaged")
    page.get_by_role("button", name="See what changes").click()
    assert re.search(r"Dirty air filter: \d+ % → \d+ %", page.locator(".what-if").inner_text())
    page.get_by_label("Cord or plug damaged").select_option("yes")
    page.get_by_role("button", name="See what changes").click()
    assert "Outcome: Fix in store → Send a technician." in page.locator(".what-if").inner_text()
    assert page.url.endswith("?f.cord_damaged_seen=yes&f.filter_days=three+days+ago")
    shot(page, "what-if")


def test_ops_edits_a_rule_and_the_page_passes_the_accessibility_rules(
    sign_in: SignIn, desk: Served, ticket: str, shot: Shot
) -> None:
    page = sign_in("mira", bypass_csp=True, viewport={"width": 1280, "height": 900})
    as_ops(page, desk)
    for query in ("", "?f.burning_smell=yes&turning=1", "?f.filter_days=often"):
        page.goto(f"{ticket}/what-if{query}")
        assert violations(page) == "", query
    page.goto(f"{ticket}/what-if?rule=evidence/filter-twice-overdue.yml")
    text = page.locator("#text").input_value()
    page.locator("#text").fill(text.replace("dirty_filter: 0.", "dirty_filter: 0.0"))
    page.locator("form:has(#text) button").click()
    assert "Dirty air filter: " in page.locator("#move + *, .what-if").first.inner_text()
    shot(page, "what-if-rule")
    assert violations(page) == ""


def test_nothing_is_cut_off_on_a_phone(sign_in: SignIn, ticket: str, shot: Shot) -> None:
    page = sign_in(viewport={"width": 360, "height": 740}, color_scheme="dark")
    page.goto(f"{ticket}/what-if?f.filter_days=3&turning=1")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    shot(page, "what-if-phone")
