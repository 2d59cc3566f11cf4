"""Refusals on pages: no ids, no codes of time, and everything said once."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.pages.people import in_words
from tests.browser.served import default_rulebook
from tests.triage.services import AGENT, REPORT
from triage.service import tickets
from triage.service.service import Service


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("dirty_filter is not so", "Dirty air filter is not so"),
        ('"rinse-filter" was done', "Rinse the air filter was done"),
        ("2026-03-02T17:00:00+00:00 is past", "Mon 2 Mar, 12:00 PM is past"),
        ("the well-known fix_in_store", "the well-known Fix in store"),
        ("LH20-10001 and T-000001 stay", "LH20-10001 and T-000001 stay"),
        (
            "there is no estimate yet; say yes_up_to with an amount",
            "there is no estimate yet; say yes up to an amount",
        ),
        ("the ticket has no visit 3; leave the number out for a new one", "the ticket has no visit 3"),
        ("this token speaks as ops_lead; leave the authority out", "you speak as ops lead"),
        (
            "no room left on 2026-03-02; leave `at` out for the next free time",
            "no room left on 2 Mar 2026; choose another time",
        ),
        ("made safe by the closing (made_safe)", "made safe by the closing"),
    ],
)
def test_ids_and_moments_are_said_as_people_do(service: Service, said: str, read: str) -> None:
    rulebook, _ = default_rulebook()
    with create_app(service).test_request_context("/"):
        found = in_words(rulebook, said, "America/New_York")
    assert found.replace("\u202f", " ") == read


def test_what_there_is_not_is_said_once_and_without_a_pointer(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    client.post("/sign-in", data={"token": tokens["agent"]})
    for path in ("/tickets/T-999999", "/tickets/T-999999/end", "/machines/NOPE-1"):
        page = client.get(path, headers={"Accept": "text/html"})
        assert page.status_code == 404
        told = page.text.split("<h1>")[1].split("</section>")[0]
        assert told.count(path.split("/")[2]) == 1, told
        assert "<code>" not in told


PROGRAM_TALK = re.compile(
    r"`|\bnull\b|JSON|\bobject\b|pointer|[Ii]dempotency|If-Match|\bkey\b|leave [\w ]*out|\w_\w|/\w+/\d"
)
WRONG: dict[str, tuple[str, dict[str, str]]] = {
    "a report without a symptom": ("/report", {"machine": "LH20-1", "note": "hm"}),
    "a symptom of no rulebook": ("/report", {"machine": "LH20-1", "symptom": "moon_dust"}),
    "a serial of no record": ("/report", {"machine": "LH20-9999", "symptom": "not_freezing"}),
    "an answer that is no number": ("/answers", {"fact": "filter_days", "value": "purple"}),
    "an answer to nothing": ("/answers", {"fact": "moon_days", "value": "3"}),
    "a check with no result": ("/checks", {"check": "rinse-filter", "result": "perhaps"}),
    "a check that needs no wait": ("/checks", {"check": "moon-check", "result": "wait"}),
    "details that say nothing": ("/details", {}),
    "a step on an old page": ("/undo", {"version": "1"}),
    "a danger lifted no way": ("/dangers/damaged-cord/lift", {"why": "it is fine", "how": ""}),
    "no such danger": ("/dangers/moon/lift", {"why": "it is fine", "how": "misread"}),
    "a call back at once": ("/end/call-back", {"minutes": "0"}),
    "a closing that says nothing": ("/end/close", {}),
    "a closing of odd words": ("/end/close", {"cause": "moon_dust", "cured_by": "moon-check", "hours": "x"}),
    "a visit in the past": ("/end/book", {"at": "2020-01-01T10:00:00-05:00"}),
    "a visit that is not there": ("/end/visit", {"state": "started", "visit": "7"}),
    "a unit that is not there": ("/end/swap", {"unit": "MOON-1"}),
    "an answer that was not asked for": ("/end/ask", {"answer": "perhaps", "why": "", "estimate": "9"}),
    "an estimate without lines": ("/end/estimate", {}),
    "a reopening of what is open": ("/end/reopen", {"why": "again"}),
    "a page that is not there": ("/end/moon", {}),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_page_never_talks_as_to_a_program(
    service: Service, client: FlaskClient, tokens: dict[str, str], name: str
) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT).id
    tickets.answer(service, ticket, {"fill_level": 10}, AGENT)
    path, form = WRONG[name]
    client.post("/sign-in", data={"token": tokens["ops"]})
    address = path if path == "/report" else f"/tickets/{ticket}{path}"
    page = client.post(address, data={"second": "1", **form}, headers={"Accept": "text/html"})
    assert page.status_code >= 400, page.headers.get("Location")
    if 'class="problems"' in page.text:
        told = page.text.split('class="problems"')[1].split("</div>")[0]
    else:
        told = page.text.split("<h1>")[1].split("</main>")[0]
    said = re.sub(r"<[^>]*>", " ", told)
    assert PROGRAM_TALK.search(said) is None, said
