"""A machine's life in a browser and over the API: from the site survey to the swap."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from tests.api.v1.test_photos import picture
from tests.browser.call import check_done, next_page, read_back, read_out, take_report, tell
from tests.browser.conftest import Api, SignedIn
from tests.browser.installing import PEOPLE, SERIAL, answer, new_machine, send, stored
from tests.browser.served import Served
from tests.browser.test_phone import axe_finds_nothing, fits
from tests.installs import COUNTS, HAND_OVER, SET_UP, SURVEY
from triage.records.caller import Caller
from triage.service import machines

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
OPS = Caller("lead", "ops")
PLATE = {"points/serial_read_back": SERIAL.lower().replace("-", " "), "points/asset_tag_read_back": "LW-0901"}


def planned(page: Page, shot: Shot | None = None) -> str:
    """Planned by the desk; where the installation's page is."""
    page.goto("/installs")
    page.get_by_text("A new one").click()
    page.locator("#site").select_option("halt-003")
    page.locator("#machine").fill(SERIAL)
    page.locator("#contractor").select_option("fogline")
    page.get_by_label("Note").fill("Ring at the side door.")
    if shot:
        shot(page, "life-1-plan")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url(re.compile(r"/installs/I-\w+"))
    return page.url


def add_photo(page: Page, number: int) -> None:
    file = {"name": "plate.jpg", "mimeType": "image/jpeg", "buffer": picture(size=(640, 480 + number))}
    page.locator("#photo").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Send the photo").click()
    expect(page.get_by_role("img", name=f"Photo {number}, by van-3")).to_be_visible()


def told(page: Page, place: str) -> str:
    """What a part of the page says, opened or not."""
    return str(page.locator(place).first.text_content())


def survey_and_date(lead: Page, shot: Shot) -> str:
    """Where the installation's page is. Nobody is sent before the site passes."""
    at = planned(lead, shot)
    stored(lead, "survey", {**SURVEY, "circuit/volts": 109})
    assert "Voltage at the outlet" in told(lead, "#punch ~ details")
    shot(lead, "life-2-survey")
    stored(lead, "survey", {"circuit/volts": 119.5})
    stored(lead, "date", {"at": "2026-11-18T09:00", "technician": "Ray Holt"}, "Set the date")
    calendar = lead.get_by_role("link", name="Into a calendar").get_attribute("href")
    assert "DTSTART:20261118T140000Z" in lead.request.get(str(calendar)).text()
    return at


def first_day(van: Page, at: str, shot: Shot) -> None:
    """A part is missing, water shows in the test: not live, and the installer comes back at no charge."""
    van.goto("/installs")
    van.get_by_role("link", name=re.compile(at.rsplit("/", 1)[-1])).click()
    stored(van, "kit", {f"kit:{name}": count - (name == "tap_ring") for name, count in COUNTS.items()})
    assert "Missing: Tap ring (1 / 2)" in told(van, "#kit")
    shot(van, "life-3-kit")
    fits(van)
    stored(van, "set_up", {**SET_UP, "water_test/leaked": True, "points/tray_in": False})
    answer(van, "training", {"people": PEOPLE, "signed": "Dana"})
    van.locator("#training").get_by_role("button", name="Store it").click()
    expect(van.locator(".problems")).to_contain_text("Watch them set up one side")
    van.locator("[name=watched]").check()
    send(van, "training")
    stored(van, "hand_over", {**HAND_OVER, **PLATE})
    for number in (1, 2, 3):
        add_photo(van, number)
    shot(van, "life-4-before-finish")
    send(van, "finish", "Finish")
    assert "The installer comes back, at no charge" in told(van, "main")
    shot(van, "life-5-called-back")
    stored(van, "date", {"at": "2026-11-20T09:00"}, "Set the date")
    assert "no charge" in told(van, "#date")


def second_day(van: Page, at: str, shot: Shot) -> None:
    van.goto(at)
    stored(van, "kit", {"kit:tap_ring": 2})
    stored(van, "set_up", {"water_test/leaked": False})
    send(van, "finish", "Finish")
    assert "Drip tray" in told(van, "#punch ~ details"), "put right by a day, it keeps nothing back"
    assert "All of it was in the boxes." in told(van, "#kit")
    shot(van, "life-6-live")
    axe_finds_nothing(van)
    fits(van)


ON_RECORD = {
    "dedicated_circuit": True,
    "circuit_amps": 20,
    "extension_cord": False,
    "clearance_behind_in": 8,
    "bolt_removed": True,
    "slope_back_pct": 0,
    "seal_style": "grooved",
    "seal_mounting": "hopper",
    "night_mode_hours": 5,
    "night_mode_open_hours": 0,
    "thickness_target": "middle",
    "commissioning_failed": 0,
    "commissioning_missing": 0,
}
"""What the next call knows of the installation without asking."""


def tray_put_in(van: Page, desk: Served) -> None:
    failed = [
        one.id for one in machines.machine(desk.running, SERIAL, OPS).findings if one.result != "passed"
    ]
    assert failed == ["tray_in"]
    stored(van, "set_up", {"points/tray_in": True})
    assert "Live, with nothing open." in told(van, "main")


def first_call(clerk: Page, shot: Shot) -> str:
    """Nothing freezes and no air moves: a visit is booked at the maker's cost. The ticket's id."""
    take_report(clerk, SERIAL, "it is all liquid and not freezing", ("not_freezing",))
    ticket = clerk.url.rsplit("/", 1)[1]
    tell(clerk, {"fan_air": "none", "message": "high_temperature", "hot_where": "side"})
    check_done(clerk, "rinse-filter", "not_cured")
    read_out(clerk)
    shot(clerk, "life-7-call")
    read_back(clerk)
    clerk.goto(f"/tickets/{ticket}/end/book")
    with next_page(clerk):
        clerk.get_by_role("button", name="Book this time").press("Enter")
    assert "The visit is booked." in clerk.locator(".done").inner_text()
    return ticket


def first_repair(van: Page, ticket: str, shot: Shot) -> None:
    van.goto(f"/field/tickets/{ticket}")
    van.get_by_text("The work is done", exact=True).click()
    van.locator("#was").select_option("fan_failed")
    van.locator("#cured").select_option("repair")
    van.locator("#close-labor").fill("1.25")
    van.locator("#close-part1").select_option("FAN-220")
    van.get_by_role("button", name="Close the ticket").click()
    expect(van.get_by_text("This ticket is closed")).to_be_visible()
    shot(van, "life-8-closed")


REPAIRS: tuple[tuple[str, dict[str, str], str, float, str], ...] = (
    ("not_freezing", {"fan_air": "none", "message": "high_temperature"}, "fan_failed", 1.25, "FAN-220"),
    ("auger_stopped", {}, "gearmotor_worn", 1.5, "GMT-400"),
    ("not_freezing", {"message": "none"}, "start_parts_weak", 1.25, "STK-230"),
)


def worn_out(desk: Served, api: Api) -> str:
    """Years on, two repairs are approved and paid; the third would eat the machine. Its ticket's id."""
    for number, (symptom, answers, cause, hours, part) in enumerate(REPAIRS):
        desk.clock.time = datetime(2031, 6 + 2 * number, 3, 15, tzinfo=UTC)
        ticket = api("agent", "/v1/reports", {"machine": SERIAL, "symptoms": [symptom], "answers": answers})
        path = f"/v1/tickets/{ticket['ticket']}"
        bill = [{"kind": "trip"}, {"kind": "labor", "hours": hours}, {"kind": "part", "number": part}]
        told = api("fogline", f"{path}/estimates", {"cause": cause, "lines": bill})
        if told["answer"] == "swap":
            break
        if told["answer"] == "hold":
            said = {"estimate": 1, "answer": "yes", "why": "It is the only one at the halt."}
            told = api("authority", f"{path}/approvals", said)["repair"]
        paid = told["authorization"]["number"]
        close = {"cause": cause, "cured_by": "repair", "authorization": paid, "lines": bill}
        assert api("fogline", f"{path}/close", close)["state"] == "closed"
    assert (number, told["answer"]) == (2, "swap")
    return str(ticket["ticket"])


def swapped(lead: Page, ticket: str, shot: Shot) -> None:
    lead.goto(f"/tickets/{ticket}/end/swap")
    lead.locator("[name=unit]:checked").wait_for()
    with next_page(lead):
        lead.get_by_role("button", name="Set it aside and send it").press("Enter")
    lead.goto(f"/tickets/{ticket}/end/swap")
    lead.get_by_label("scrap").check()
    with next_page(lead):
        lead.get_by_role("button", name="The new machine stands there").press("Enter")
    assert "The swap is noted." in lead.locator(".done").inner_text()
    shot(lead, "life-9-swapped")


def test_a_machine_lives_from_survey_to_swap(desk: Served, phone: SignedIn, shot: Shot, api: Api) -> None:
    new_machine(desk)
    with phone("lead", "ops", None) as lead:
        at = survey_and_date(lead, shot)
    desk.clock.time = datetime(2026, 11, 18, 14, 5, tzinfo=UTC)
    with phone("van-3", "technician", "fogline") as van:
        first_day(van, at, shot)
    desk.clock.move(days=2)
    with phone("van-4", "technician", "fogline") as van:
        second_day(van, at, shot)
        desk.clock.move(hours=1)
        tray_put_in(van, desk)
    assert api("agent", f"/v1/installs?machine={SERIAL}")["items"][0]["state"] == "live"
    said = {"machine": SERIAL, "symptoms": ["not_freezing"]}
    known = {name: each["value"] for name, each in api("agent", "/v1/triage", said)["facts"].items()}
    assert {name: known.get(name) for name in ON_RECORD} == ON_RECORD

    desk.clock.move(days=60)
    with phone("mira", "agent", None) as clerk:
        ticket = first_call(clerk, shot)
    with phone("van-5", "technician", "fogline") as van:
        first_repair(van, ticket, shot)
    ticket = worn_out(desk, api)
    with phone("lead again", "ops", None) as lead:
        swapped(lead, ticket, shot)
        lead.goto(f"/machines/{SERIAL}")
        shot(lead, "life-10-machine")
    chain = api("ops", f"/v1/tickets/{ticket}/swap")["custody"]
    last = {one["serial"]: (one["step"], one["other"]) for one in chain}
    unit = last[SERIAL][1]
    assert last == {SERIAL: ("scrapped", unit), unit: ("installed", SERIAL)}
    assert api("ops", f"/v1/machines/{unit}")["site"]["id"] == "halt-003"
    assert api("ops", "/v1/numbers?since=2031-01-01&until=2031-12-31")["swaps"] == 1
    known = machines.machine(desk.running, SERIAL, OPS)
    assert [one.cause for one in known.history.repairs] == ["fan_failed", "fan_failed", "gearmotor_worn"]
