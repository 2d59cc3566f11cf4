"""A technician's pages over HTTP: only its own contractor's, each form once, and no other role's."""

from __future__ import annotations

import re
from typing import cast

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from api.app import create_app
from tests.triage.services import AGENT, REPORT, Clock
from triage.service import tickets
from triage.service.service import Service

LINES = {"trip": "1", "labor_hours": "1", "key": "a" * 32}


@pytest.fixture
def ticket(service: Service) -> str:
    return tickets.open_ticket(service, REPORT, AGENT).id


def phone(service: Service, tokens: dict[str, str], by: str = "fogline") -> FlaskClient:
    client = create_app(service).test_client()
    assert client.post("/sign-in", data={"token": tokens[by]}).status_code == 302
    return client


@pytest.fixture
def van(service: Service, tokens: dict[str, str]) -> FlaskClient:
    return phone(service, tokens)


def send(van: FlaskClient, ticket: str, **form: str) -> TestResponse:
    return van.post(f"/field/tickets/{ticket}/estimate", data={**LINES, **form})


def revisions(service: Service, ticket: str) -> int:
    return tickets.ticket(service, ticket, AGENT).repair.revisions


def test_a_technician_starts_on_its_own_tickets(van: FlaskClient, ticket: str) -> None:
    start = van.get("/", follow_redirects=True)
    assert (start.request.path, start.status_code) == ("/field", 200)
    assert ticket in start.text


def test_what_nobody_knows_about_dangers_is_said_at_the_door(
    service: Service, van: FlaskClient, ticket: str
) -> None:
    unknown = tickets.ticket(service, ticket, AGENT).decision["waits_for"]  # type: ignore[index]
    page = van.get(f"/field/tickets/{ticket}").text
    assert unknown
    assert all(f"<li>{service.rulebook.facts[fact].title}</li>" in page for fact in unknown)
    for fact in unknown:
        tickets.answer(service, ticket, {fact: False}, AGENT)
    assert "take it as so" in page
    assert "take it as so" not in van.get(f"/field/tickets/{ticket}").text


def test_tickets_stand_in_the_order_of_their_due_times(service: Service, tokens: dict[str, str]) -> None:
    clock = cast(Clock, service.now)
    first = tickets.open_ticket(service, REPORT, AGENT)
    clock.move(days=2)
    second = tickets.open_ticket(service, {**REPORT, "reported_at": clock().isoformat()}, AGENT)
    page = phone(service, tokens).get("/field").text
    assert page.index(first.id) < page.index(second.id)


def test_another_contractors_ticket_and_machine_are_not_found(
    service: Service, tokens: dict[str, str], ticket: str
) -> None:
    tern = phone(service, tokens, "tern")
    assert ticket not in tern.get("/field").text
    for path in (f"/field/tickets/{ticket}", "/field/machines/LH20-1"):
        assert tern.get(path).status_code == 404
    for step in ("price", "estimate", "close", "ask"):
        assert tern.post(f"/field/tickets/{ticket}/{step}", data=LINES).status_code == 404
    for query in ("LH20-1", "LW-0001", ticket):
        assert "LH20-1" not in re.sub(r'value="[^"]*"|“[^”]*”', "", tern.get(f"/field/find?q={query}").text)


@pytest.mark.parametrize("role", ["agent", "ops", "reporter", "authority"])
def test_the_pages_are_the_technicians_alone(
    service: Service, tokens: dict[str, str], ticket: str, role: str
) -> None:
    other = phone(service, tokens, role)
    opened = other.get(f"/field/tickets/{ticket}")
    if role in ("agent", "ops"):
        assert opened.headers["Location"] == f"/tickets/{ticket}"  # the same ticket on their own page
    else:
        assert opened.status_code == 403
    assert send(other, ticket).status_code == 403
    assert revisions(service, ticket) == 0


def test_a_form_sent_twice_is_one_estimate(van: FlaskClient, service: Service, ticket: str) -> None:
    assert [send(van, ticket).status_code for _ in range(3)] == [303] * 3
    assert revisions(service, ticket) == 1
    assert send(van, ticket, labor_hours="2").status_code == 409
    assert send(van, ticket, labor_hours="2", key="b" * 32).status_code == 303
    assert revisions(service, ticket) == 2


def test_pricing_stores_nothing(van: FlaskClient, service: Service, ticket: str) -> None:
    before = tickets.ticket(service, ticket, AGENT).version
    priced = van.post(f"/field/tickets/{ticket}/price?part=1", data=LINES)
    assert "Total that the program pays" in priced.text
    assert "<html" not in priced.text
    assert tickets.ticket(service, ticket, AGENT).version == before


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"labor_hours": "many"}, "Labor: hours are a number such as 1.5"),
        ({"labor_hours": "-1"}, "Labor: hours are above 0"),
        ({"labor_hours": "NaN"}, "Labor: hours are"),
        ({"labor_hours": "1_0"}, "Labor: hours are a number such as 1.5"),
        ({"trip_amount": "1e9999"}, "Trip: "),
        ({"trip_amount": "95,50"}, "Trip: an amount is written as"),
        ({"trip_amount": "1_000"}, "Trip: an amount is written as"),
        ({"part1": "NONE-1"}, "Part 1: there is no part"),
        ({"part1": "FAN", "part1_count": "1.5"}, "Part 1: "),
        ({"cause": "gremlins"}, "no cause of the rulebook"),
        ({"trip": "", "labor_hours": ""}, "at least one line"),
        ({"key": ""}, "no key"),
        ({"note": "x" * 2001}, ""),
    ],
)
def test_bad_input_is_named_and_what_was_typed_is_kept(
    van: FlaskClient, service: Service, ticket: str, form: dict[str, str], said: str
) -> None:
    answer = send(van, ticket, **form)
    assert answer.status_code == 422
    assert said in answer.text
    assert f'value="{form.get("labor_hours", "1")}"' in answer.text
    assert revisions(service, ticket) == 0


def test_a_close_out_sent_twice_closes_once(van: FlaskClient, service: Service, ticket: str) -> None:
    done = {**LINES, "cause": "dirty_filter", "cured_by": "repair", "hours": "day"}
    sent = [van.post(f"/field/tickets/{ticket}/close", data=done).status_code for _ in range(2)]
    assert sent == [303, 303]
    closed = tickets.ticket(service, ticket, AGENT)
    assert (closed.state, len(closed.spent)) == ("closed", 1)


def test_an_asset_tag_and_a_ticket_lead_straight_there(van: FlaskClient, ticket: str) -> None:
    for query, place in (
        ("lw-0001", "/field/machines/LH20-1"),
        ("LW 0001", "/field/machines/LH20-1"),
        (ticket.lower(), f"/field/tickets/{ticket}"),
    ):
        assert van.get("/field/find", query_string={"q": query}).headers.get("Location") == place


@pytest.mark.parametrize("query", ["", "?", "%", "x" * 500, "\x00", "LH30-2"])
def test_what_is_not_found_is_said(van: FlaskClient, query: str) -> None:
    assert van.get("/field/find", query_string={"q": query}).status_code == 200
