"""The technician's and the authority's pages on a phone: at a glance, on a bad line, without scripts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.api.v1.test_photos import picture
from tests.browser.conftest import PHONE
from tests.browser.served import Served
from tests.triage.service.outgoing.conftest import Letters
from triage.config import Outgoing
from triage.inputs.photo import read_photo
from triage.records.caller import Caller
from triage.service import tickets
from triage.service.outgoing import ask
from triage.service.photos import kept

pytestmark = pytest.mark.browser
AGENT = Caller("mira", "agent")
Shot = Callable[[Page, str], None]


@pytest.fixture
def ticket(desk: Served, tmp_path: Path) -> str:
    desk.running.outgoing = Outgoing(desk.url, f"file://{tmp_path}/mail", "desk@example.com")
    with desk.running.store.write() as work:
        work.tokens.add("Ines Marsh", "authority", None, desk.clock(), "area_manager", "ines@example.com")
    report = {"machine": "LH20-10005", "symptoms": ["auger_stopped"]}
    return tickets.open_ticket(desk.running, {**report, "reported_at": desk.clock().isoformat()}, AGENT).id


@pytest.fixture(params=["light"])
def van(browser: Browser, desk: Served, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A technician's phone, signed in."""
    with desk.running.store.write() as work:
        token = work.tokens.add("van-3", "technician", "fogline", desk.clock())
    scheme = request.param
    context = browser.new_context(
        base_url=desk.url,
        viewport=PHONE,  # type: ignore[arg-type]
        color_scheme=scheme.removesuffix("-plain"),
        java_script_enabled=not scheme.endswith("-plain"),
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto("/sign-in")
    page.get_by_label("Your token").fill(token)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/field")
    yield page
    context.close()


def axe_finds_nothing(page: Page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def write_estimate(page: Page, ticket: str, hours: str, part: str = "GMT-400") -> None:
    page.goto(f"/field/tickets/{ticket}")
    page.locator("#estimate-labor").fill(hours)
    page.locator("#estimate-part1").select_option(part)


def revisions(desk: Served, ticket: str) -> int:
    return tickets.ticket(desk.running, ticket, AGENT).repair.revisions


@pytest.mark.parametrize("van", ["light", "dark"], indirect=True)
def test_a_ticket_from_its_limit_to_the_question_by_e_mail(
    van: Page, desk: Served, ticket: str, shot: Shot
) -> None:
    scheme = "dark" if van.evaluate("matchMedia('(prefers-color-scheme: dark)').matches") else "light"
    van.goto("/field")
    axe_finds_nothing(van)
    fits(van)
    van.get_by_role("link", name=re.compile(ticket)).click()
    expect(van.locator(".board .left")).to_contain_text("$450")
    axe_finds_nothing(van)
    fits(van)
    write_estimate(van, ticket, "1.75")
    priced = van.locator("[data-price] .sum")
    expect(priced).to_contain_text("$646.05")
    expect(van.locator("[data-price]")).to_contain_text("Ask: Area manager")
    expect(van.locator("[data-price] .board")).to_contain_text("$196.05 more than is left.")
    van.locator("#estimate-trip-amount").fill("120")
    expect(priced).to_contain_text("$671.05")
    expect(van.locator("[data-price] .error")).to_contain_text("25.00 more than the agreement pays")
    shot(van, f"phone-estimate-{scheme}")
    axe_finds_nothing(van)
    van.get_by_role("button", name="Send the estimate").click()
    expect(van.get_by_text("Waiting for: Area manager.")).to_be_visible()
    assert revisions(desk, ticket) == 1
    van.get_by_role("button", name="Ask by e-mail now").click()
    expect(van.get_by_role("status").first).to_have_text("Ines Marsh was asked by e-mail.")
    assert "/approve/" not in van.content()
    axe_finds_nothing(van)
    fits(van)


@pytest.mark.parametrize("van", ["light-plain"], indirect=True)
def test_an_estimate_and_a_close_out_without_scripts(van: Page, desk: Served, ticket: str) -> None:
    write_estimate(van, ticket, "x")
    van.get_by_role("button", name="More parts, and price it").click()
    expect(van.get_by_role("alert")).to_contain_text("Labor: hours are a number such as 1.5")
    assert van.locator("#estimate-labor").input_value() == "x"
    van.locator("#estimate-labor").fill("0.5")
    van.locator("#estimate-part1").select_option("FAN-220")
    van.get_by_role("button", name="More parts, and price it").click()
    expect(van.get_by_text("Within your limit: no call needed.")).to_be_visible()
    van.get_by_role("button", name="Send the estimate").click()
    expect(van.get_by_text("Authorized:")).to_be_visible()
    van.get_by_text("The work is done", exact=True).click()
    van.locator("#was").select_option("fan_failed")
    van.locator("#cured").select_option("repair")
    van.get_by_role("button", name="Close the ticket").click()
    expect(van.get_by_text("This ticket is closed")).to_be_visible()
    closed = tickets.ticket(desk.running, ticket, AGENT).closed
    assert closed is not None
    assert (closed.cause, closed.authorization) == ("fan_failed", f"{ticket}-A1")


def test_what_a_bad_line_swallows_is_sent_again_once(van: Page, desk: Served, ticket: str) -> None:
    write_estimate(van, ticket, "1.75")
    lost: list[str] = []

    def lose_the_answer(route: object) -> None:
        """The server is reached and stores it, but its answer never arrives; the first time only."""
        if lost:
            route.continue_()  # type: ignore[attr-defined]
            return
        route.fetch(max_redirects=0)  # type: ignore[attr-defined]
        lost.append("answer")
        route.abort()  # type: ignore[attr-defined]

    van.route("**/estimate", lose_the_answer)
    van.get_by_role("button", name="Send the estimate").click()
    expect(van.locator("[data-note]").nth(1)).to_contain_text("No line.")
    assert (lost, revisions(desk, ticket)) == (["answer"], 1)
    van.evaluate("dispatchEvent(new Event('online'))")
    expect(van.get_by_text("Waiting for: Area manager.")).to_be_visible()
    assert revisions(desk, ticket) == 1


def test_an_estimate_written_offline_is_sent_once_when_the_line_is_back(
    van: Page, desk: Served, ticket: str
) -> None:
    write_estimate(van, ticket, "1.75")
    van.context.set_offline(True)
    van.locator("#note").fill("Down in the basement.")
    van.get_by_role("button", name="Send the estimate").click()
    expect(van.locator("[data-note]").nth(1)).to_contain_text("No line. What you typed is kept")
    assert van.locator("#note").input_value() == "Down in the basement."
    assert revisions(desk, ticket) == 0
    van.get_by_role("button", name="Send the estimate").click()  # impatient; it is on its way already
    van.context.set_offline(False)
    expect(van.get_by_text("Waiting for: Area manager.")).to_be_visible()
    assert revisions(desk, ticket) == 1
    estimate = tickets.ticket(desk.running, ticket, AGENT).repair.estimate
    assert estimate is not None and estimate.note == "Down in the basement."


@pytest.mark.parametrize("van", ["light", "light-plain"], indirect=True)
def test_a_photo_is_sent_shown_and_clean(van: Page, desk: Served, ticket: str, shot: Shot) -> None:
    van.goto(f"/field/tickets/{ticket}")
    file = {"name": "plate.jpg", "mimeType": "image/jpeg", "buffer": picture(size=(800, 600))}
    van.get_by_label("A photo of the plate").set_input_files(file)  # type: ignore[arg-type]
    van.get_by_role("button", name="Send the photo").click()
    shown = van.get_by_role("img", name="Photo 1, by van-3")
    expect(shown).to_be_visible()
    shot(van, "phone-photo")
    assert kept.image(desk.running, ticket, 1, AGENT) == read_photo(file["buffer"])  # type: ignore[arg-type]
    fits(van)


def test_a_photo_sent_without_a_line_arrives_once(van: Page, desk: Served, ticket: str) -> None:
    van.goto(f"/field/tickets/{ticket}")
    file = {"name": "plate.jpg", "mimeType": "image/jpeg", "buffer": picture(size=(800, 600))}
    van.get_by_label("A photo of the plate").set_input_files(file)  # type: ignore[arg-type]
    van.context.set_offline(True)
    van.get_by_role("button", name="Send the photo").click()
    expect(van.locator("[data-note]").first).to_contain_text("No line.")
    van.context.set_offline(False)
    expect(van.get_by_role("img", name="Photo 1, by van-3")).to_be_visible()
    assert len(kept.photos(desk.running, ticket, AGENT)) == 1


def test_a_draft_outlives_a_phone_that_was_put_away(van: Page, ticket: str) -> None:
    write_estimate(van, ticket, "2.5", "FAN-220")
    van.locator("#note").fill("Fan seized.")
    van.goto("about:blank")
    van.goto(f"/field/tickets/{ticket}")
    assert van.locator("#estimate-labor").input_value() == "2.5"
    assert van.locator("#note").input_value() == "Fan seized."
    assert van.locator("#estimate-part1").input_value() == "FAN-220"


def test_an_ended_session_comes_back_to_the_estimate(van: Page, desk: Served, ticket: str) -> None:
    write_estimate(van, ticket, "1.75")
    van.locator("#note").fill("Gearbox ground down.")
    with desk.running.store.write() as work:
        token = work.tokens.add("van-4", "technician", "fogline", desk.clock())
    van.context.clear_cookies()
    van.get_by_role("button", name="Send the estimate").click()
    van.get_by_label("Your token").fill(token)
    van.get_by_role("button", name="Sign in").click()
    expect(van.locator("#estimate-labor")).to_have_value("1.75")
    expect(van.locator("#note")).to_have_value("Gearbox ground down.")
    assert revisions(desk, ticket) == 0


@pytest.mark.parametrize("spelled", ["LH20-10005", "lh2010005", "lh20 10005", "LH-20/10005"])
def test_a_serial_is_found_in_any_spelling(van: Page, spelled: str) -> None:
    van.get_by_label("Serial, asset tag, store or ticket").fill(spelled)
    van.get_by_role("button", name="Find").click()
    van.wait_for_url("**/field/machines/LH20-10005")
    expect(van.locator(".board .left")).to_contain_text("left without asking")
    axe_finds_nothing(van)
    fits(van)


def test_a_slip_of_the_pen_is_met_by_did_you_mean(van: Page) -> None:
    van.get_by_label("Serial, asset tag, store or ticket").fill("LH20-1O0O5")
    van.get_by_role("button", name="Find").click()
    expect(van.get_by_role("heading", name="Did you mean")).to_be_visible()
    expect(van.get_by_role("link", name=re.compile("LH20-10005"))).to_be_visible()
    axe_finds_nothing(van)


@pytest.mark.parametrize(("scheme", "language"), [("light", "en"), ("dark", "es")])
def test_the_authority_answers_on_a_phone_and_the_link_is_used_up(
    van: Page,
    desk: Served,
    ticket: str,
    browser: Browser,
    tmp_path: Path,
    shot: Shot,
    scheme: str,
    language: str,
) -> None:
    write_estimate(van, ticket, "1.75")
    van.get_by_role("button", name="Send the estimate").click()
    expect(van.get_by_text("Waiting for: Area manager.")).to_be_visible()
    ask.ask(desk.running, ticket, AGENT)
    text = Letters(desk.running, tmp_path / "mail").texts()[-1]
    link = re.findall(r"http://\S+/approve/\S+", text)[0]
    context = browser.new_context(viewport=PHONE, color_scheme=scheme)  # type: ignore[arg-type]
    try:
        page = context.new_page()
        page.goto(link)
        if language == "es":
            page.get_by_role("button", name="Español").click()
            expect(page.locator("html")).to_have_attribute("lang", "es")
        axe_finds_nothing(page)
        fits(page)
        shot(page, f"phone-authority-{scheme}-{language}")
        page.get_by_role("button", name=re.compile(r"^(Yes|Sí), \$646\.05")).click()
        expect(page.get_by_role("status")).to_contain_text("646.05")
        axe_finds_nothing(page)
        page.goto(link)
        expect(page.get_by_role("status")).to_contain_text(
            "answers once" if language == "en" else "una sola vez"
        )
    finally:
        context.close()
    approval = tickets.ticket(desk.running, ticket, AGENT).repair.approval
    assert approval is not None
    assert (approval.person, approval.yes) == ("Ines Marsh", True)
