"""Ten calls by keys alone, from the start page to their end: how many keys, and how often a page is loaded.

A call about slush that does not freeze took 30 keys and 8 loads when each step was a page of its own; of the
others nobody had counted. Typed digits and letters are keys. Lines of a check are read from the list.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from playwright.sync_api import Page

from tests.browser.call import focused, outcome, press
from tests.browser.conftest import SignIn
from tests.browser.served import Served
from tests.browser.test_desk import OTHER
from triage.service import calls, tickets, visits

pytestmark = pytest.mark.browser
SERIAL = "10001"
LATELY = "not_freezing leaking auger_stopped noisy watery no_power frozen_hard pests_at_machine trips_breaker"


@dataclass(frozen=True)
class Heard:
    """A call: what is reported, the keys at its end, what comes of it, and how many keys it takes."""

    symptom: str
    end: str
    comes: str
    keys: int
    questions: int = 0  # answered with "no" before the agent turns to the checks


CALLS = {
    "not freezing, the rinsed filter helps": Heard("not_freezing", "c1", "Fixed in store", 12, questions=2),
    "leaking at the hopper, the seal helps": Heard("leaking", "c1", "Fixed in store", 13, questions=4),
    "a rattle, the loose part is found": Heard("noisy", "c1", "Fixed in store", 13, questions=4),
    "watery, to be called back": Heard("watery", "c4", "Fix in store", 11, questions=2),
    "no power, the plug was out": Heard("no_power", "c1", "Fixed in store", 11, questions=2),
    "frozen hard, a fuller hopper helps": Heard("frozen_hard", "c1", "Fixed in store", 9),
    "insects, read out and left to the store": Heard(
        "pests_at_machine", "r", "Send the store's pest control", 8
    ),
    "the breaker trips, the store's electrician comes": Heard(
        "trips_breaker", "x", "Send the store's electrician", 9, questions=0
    ),
    "the auger stands, nothing helps, a visit booked": Heard(
        "auger_stopped", "c2222Enter", "Send a technician", 15, questions=2
    ),
    "not freezing, and the clerk knows nothing": Heard(
        "not_freezing", "n1", "Fixed in store", 12, questions=2
    ),
}


class Hand:
    """Presses keys and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.keys, self.loads = page, 0, 0
        page.on("load", self._loaded)

    def _loaded(self, _: Page) -> None:
        self.loads += 1

    def __call__(self, key: str, leads_on: bool = True) -> None:
        self.keys += 1
        press(self.page, key) if leads_on else self.page.keyboard.press(key)


def lately(desk: Served) -> None:
    """What other machines reported lately stands by number on a machine's page."""
    for symptom in LATELY.split():
        tickets.open_ticket(desk.running, {"machine": "LH30-10018", "symptoms": [symptom]}, OTHER)


def begin(hand: Hand, symptom: str) -> str:
    """The machine by its digits, the trouble by its number; the ticket's id."""
    hand.page.goto("/")
    focused(hand.page, "q")
    for digit in SERIAL:
        hand(digit, leads_on=False)
    hand("Enter")
    key = hand.page.locator(f'button[name=symptom][value="{symptom}"]').get_attribute("data-key")
    assert key is not None, "not among those offered by number"
    hand(key)
    hand.page.wait_for_url("**/tickets/*")
    return hand.page.url.split("/tickets/")[1].split("/")[0]


def in_field(page: Page) -> bool:
    return bool(page.evaluate("document.activeElement.matches('input:not([type=radio])')"))


@pytest.mark.parametrize("name", CALLS)
def test_a_call_takes_these_keys_and_one_load(sign_in: SignIn, desk: Served, name: str) -> None:
    call = CALLS[name]
    lately(desk)
    page = sign_in(viewport={"width": 1366, "height": 768})
    hand = Hand(page)
    ticket = begin(hand, call.symptom)
    for _ in range(call.questions):
        hand(str(page.locator('.ask button[value="no"]').get_attribute("data-key")))
    for key in call.end.replace("Enter", "\n"):
        if key != "\n" and in_field(page):
            hand("Escape", leads_on=False)
        if key == "r":
            page.locator("form[data-ready=true]").wait_for()
        hand("Enter" if key == "\n" else key)
    assert outcome(page) == call.comes
    assert (hand.keys, hand.loads) == (call.keys, 1)
    booked = bool(visits.visits(desk.running, ticket, OTHER))
    assert booked is call.end.endswith("Enter")
    assert (calls.call(desk.running, ticket, OTHER).ticket.parked_until is not None) is call.end.endswith("4")


def test_a_clerk_who_knows_nothing_gets_a_short_honest_result(page: Page, desk: Served) -> None:
    lately(desk)
    hand = Hand(page)
    ticket = begin(hand, "not_freezing")
    for key in ("2", "2", "Escape", "n"):
        hand(key, leads_on=key != "Escape")
    result = page.get_by_role("status").filter(has_text="The clerk knows nothing more.")
    chance = tickets.ticket(desk.running, ticket, OTHER).decided.causes[0].chance
    assert (
        f"in {round(chance * 100)} of 100 such calls; in the others it is something else."
        in result.inner_text()
    )
    hand("x")
    assert "We go by the machine's record." in page.locator("#ask").inner_text()
    hand("u")
    assert page.get_by_text("The clerk knows nothing more.").count() == 0
