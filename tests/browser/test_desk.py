"""The desk under strain: restarts, two agents, no scripts, phones, zoom, the dark, Spanish, axe."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.call import answer, asked, focused, next_page, read_back, read_out, take_report
from tests.browser.conftest import SignIn
from tests.browser.served import Served, default_rulebook
from triage.records.caller import Caller
from triage.service import tickets

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
OTHER = Caller("ines", "agent")
WCAG = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


def report(page: Page) -> str:
    """A ticket about a machine that does not freeze; its id."""
    take_report(page, "LH20-10001", "it's not freezing, all liquid", ("not_freezing",))
    return page.url.rsplit("/", 1)[1]


def number_question(page: Page, ticket: str) -> None:
    page.goto(f"/tickets/{ticket}?fact=filter_days")
    focused(page, "value")


def test_what_is_typed_outlives_a_server_restart(page: Page, desk: Served) -> None:
    ticket = report(page)
    number_question(page, ticket)
    page.keyboard.type("two weeks ago")
    desk.stop()
    with page.expect_event("requestfailed"):
        page.keyboard.press("Enter")
    desk.start()
    number_question(page, ticket)
    assert page.locator("#value").input_value() == "two weeks ago"
    page.locator("#value").focus()
    with next_page(page):
        page.keyboard.press("Enter")
    assert "14 days (said “two weeks ago”)" in page.locator(".facts").first.inner_text()
    number_question(page, ticket)
    assert page.locator("#value").input_value() == ""


def test_what_is_typed_outlives_a_reload(page: Page, desk: Served) -> None:
    number_question(page, report(page))
    page.keyboard.type("about a month")
    page.reload()
    assert page.locator("#value").input_value() == "about a month"


def test_without_a_line_the_desk_says_so_keeps_what_is_typed_and_sends_it_once(
    page: Page, desk: Served
) -> None:
    ticket = report(page)
    number_question(page, ticket)
    page.context.set_offline(True)
    page.keyboard.type("two weeks ago")
    page.keyboard.press("Enter")
    page.get_by_text("The server does not answer. What you typed is kept; send it again.").wait_for()
    assert page.locator("#value").input_value() == "two weeks ago"
    page.context.set_offline(False)
    with next_page(page):
        page.keyboard.press("Enter")
    log = tickets.events(desk.running, ticket, OTHER)
    told = [event.payload.answers for event in log if event.kind == "answered"]
    assert told == [{"filter_days": 14}]


def test_two_agents_on_one_ticket_are_told_and_the_later_one_loses_nothing(
    sign_in: SignIn, desk: Served, shot: Shot
) -> None:
    mira, ines = sign_in("mira"), sign_in("ines")
    ticket = report(mira)
    number_question(ines, ticket)
    assert "mira also has this ticket open" in ines.locator("#here").inner_text()
    ines.keyboard.type("3 weeks")
    answer(mira, None)
    with next_page(ines):
        ines.keyboard.press("Enter")
    shot(ines, "stale-save")
    refused = ines.locator(".problems").inner_text()
    assert "Nothing was stored" in refused
    assert "(mira, 0 minutes ago)" in refused
    assert ines.locator("#value").input_value() == "3 weeks"
    with next_page(ines):
        ines.locator("#value").press("Enter")
    assert "21 days" in ines.locator(".facts").first.inner_text()


def test_a_second_report_on_a_machine_offers_to_join_the_open_ticket(page: Page, desk: Served) -> None:
    ticket = report(page)
    page.goto("/machines/LH20-10001")
    page.wait_for_function("document.activeElement.matches('a.button')")
    with next_page(page):
        page.keyboard.press("Enter")
    assert page.url.endswith(ticket)


def test_the_last_answer_is_taken_back(page: Page, desk: Served) -> None:
    ticket = report(page)
    first = asked(page)
    answer(page, None)
    assert asked(page) != first
    with next_page(page):
        page.get_by_role("button", name="Undo").press("Enter")
    assert asked(page) == first
    page.goto(f"/tickets/{ticket}/history")
    assert "undone" in page.locator("ol.history").inner_text()


def test_a_fact_on_record_is_corrected(page: Page, desk: Served) -> None:
    ticket = report(page)
    page.locator(".from-record summary").press("Enter")
    link = page.get_by_role("link", name="Correct: Free space behind the machine")
    with next_page(page):
        link.press("Enter")
    focused(page, "value")
    page.keyboard.type("1 ft 2 in")
    with next_page(page):
        page.keyboard.press("Enter")
    told = page.locator(".facts").first.inner_text()
    assert "14 inches (said “1 ft 2 in”) (record: 6 inches)" in told
    payload = tickets.events(desk.running, ticket, OTHER)[-2].payload
    assert payload.corrects == {"clearance_behind_in": 6}


def test_a_whole_call_without_scripts(sign_in: SignIn, desk: Served, shot: Shot) -> None:
    page = sign_in("mira", java_script_enabled=False)
    page.get_by_label("Serial, asset tag").fill("halt-001 alder")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="LH20-10001").click()
    page.get_by_label("What does the caller say").fill("it's all liquid")
    page.get_by_role("button", name="Match symptoms").click()
    page.get_by_role("button", name="Start the call").click()
    page.locator(".ask .answers button").last.click()
    page.locator("ol.plan a").first.click()
    page.get_by_role("button", name="Fixed", exact=True).click()
    assert page.locator(".outcome").inner_text() == "Fixed in store"
    shot(page, "no-scripts")


def violations(page: Page) -> str:
    """What axe finds on the page with everything opened; empty when it finds nothing."""
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    found = Axe().run(page, options=WCAG)
    return found.generate_report() if found.violations_count else ""


@pytest.mark.parametrize(("name", "width", "scale"), [("phone", 360, 1), ("zoomed", 640, 2)])
def test_nothing_is_cut_off_on_a_narrow_screen(
    sign_in: SignIn, desk: Served, shot: Shot, name: str, width: int, scale: int
) -> None:
    """At 200 % a screen of 1280 pixels has 640 left."""
    page = sign_in(viewport={"width": width, "height": 740}, device_scale_factor=scale)
    ticket = report(page)
    answer(page, None)
    for path in (
        "/",
        "/find?q=alder",
        "/machines/LH20-10001",
        f"/tickets/{ticket}",
        "/report?words=too+sweet",
    ):
        page.goto(path)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{path} is {wide} pixels wide"
    page.goto(f"/tickets/{ticket}")
    shot(page, f"call-{name}")


def test_no_request_leaves_the_server_and_a_page_is_light(page: Page, desk: Served) -> None:
    hosts, sizes = set(), []
    page.on("request", lambda request: hosts.add(urlsplit(request.url).netloc))
    page.on(
        "response", lambda response: sizes.append(len(response.body())) if response.status == 200 else None
    )
    report(page)
    assert hosts == {urlsplit(desk.url).netloc}
    page.wait_for_load_state()
    assert max(sizes) < 100_000


def test_the_clerk_is_spoken_to_in_spanish(page: Page, desk: Served, shot: Shot) -> None:
    ticket = report(page)
    tickets.answer(desk.running, ticket, {"cord_damaged_seen": True}, OTHER)
    with next_page(page):
        page.get_by_role("button", name="Español").press("Enter")
    page.goto(f"/tickets/{ticket}")
    aloud = page.locator(".aloud[lang=es]")
    assert aloud.count() >= 1
    shot(page, "stop-spanish")
    read_out(page)
    read_back(page)
    back = page.locator(".aloud.small")
    assert back.get_attribute("lang") == "es"
    assert "Su número de reporte es" in back.inner_text()


def test_a_page_of_the_rulebook_is_read_in_spanish(page: Page, desk: Served, shot: Shot) -> None:
    ticket = report(page)
    with next_page(page):
        page.get_by_role("button", name="Español").press("Enter")
    page.goto(f"/tickets/{ticket}?fact=filter_days")
    asked_now = page.locator("#ask[lang=es]")
    assert asked_now.inner_text() != default_rulebook()[0].facts["filter_days"].ask
    shot(page, "call-spanish")
