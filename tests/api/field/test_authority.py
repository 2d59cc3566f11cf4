"""The authority's page, without scripts and without signing in; and what is done to its link from outside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests.api.conftest import Send
from tests.triage.service.outgoing.conftest import LARGE, Letters
from tests.triage.services import AGENT, FOGLINE, NOON, REPORT
from triage.config import Outgoing
from triage.records.ticket import Ticket
from triage.service import repairs, tickets
from triage.service.service import Service
from triage.values.money import money_text


@pytest.fixture
def letters(service: Service, tmp_path: Path) -> Letters:
    service.outgoing = Outgoing("https://desk.example.com", f"file://{tmp_path}/mail", "desk@example.com")
    with service.store.write() as work:
        work.tokens.add("Ines Marsh", "authority", None, NOON, "ops_lead", "ines@example.com")
    return Letters(service, tmp_path / "mail")


@pytest.fixture
def held(service: Service) -> Ticket:
    opened = tickets.open_ticket(service, REPORT, AGENT)
    return repairs.estimate(service, opened.id, LARGE, FOGLINE)


@pytest.fixture
def link(send: Send, held: Ticket, letters: Letters) -> str:
    """Asked for over the API: the answer does not hold the link."""
    answer = send("POST", f"/v1/tickets/{held.id}/ask", {}, by="fogline")
    assert answer.status_code == 201
    assert answer.json is not None
    [asked] = answer.json["asked"]
    assert (asked["person"], asked["authority"]) == ("Ines Marsh", "ops_lead")
    found = letters.link()
    assert found not in answer.text
    return f"/approve/{found}"


@pytest.fixture
def outside(service: Service) -> Iterator[FlaskClient]:
    """A browser that never signed in."""
    yield create_app(service).test_client()


def said(service: Service, ticket: Ticket) -> str | None:
    approval = tickets.ticket(service, ticket.id, AGENT).repair.approval
    return (
        None if approval is None else f"{approval.person}: {approval.amount and money_text(approval.amount)}"
    )


def test_the_page_asks_one_question_and_shows_what_it_is_about(outside: FlaskClient, link: str) -> None:
    page = outside.get(link)
    assert page.status_code == 200
    for shown in ("Ines Marsh", "Ops lead", "$535", "May this be spent at Lanternway Alder Quay?", "LH20-1"):
        assert shown in page.text
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    assert page.headers["Cache-Control"] == "no-store"


def test_looking_uses_nothing_up_and_yes_is_recorded_by_name(
    outside: FlaskClient, service: Service, link: str, held: Ticket
) -> None:
    assert [outside.get(link).status_code for _ in range(3)] == [200] * 3
    assert outside.head(link).status_code == 200
    assert said(service, held) is None
    done = outside.post(link, data={"answer": "yes", "why": ""})
    assert "Recorded: yes, up to 535.00 USD." in done.text
    assert said(service, held) == "Ines Marsh: 535.00 USD"


def test_an_amount_is_read_as_people_write_it(
    outside: FlaskClient, service: Service, link: str, held: Ticket
) -> None:
    page = outside.post(link, data={"answer": "yes_up_to", "amount": "a lot", "why": "Because."})
    assert page.status_code == 422
    assert "Because." in page.text
    assert outside.post(link, data={"answer": "yes_up_to", "amount": "95,50"}).status_code == 422
    assert outside.post(link, data={"answer": "yes_up_to", "amount": "$1,000.50"}).status_code == 200
    assert said(service, held) == "Ines Marsh: 1000.50 USD"


def test_the_second_answer_is_refused_and_the_page_shows_no_estimate_any_more(
    outside: FlaskClient, service: Service, link: str, held: Ticket
) -> None:
    outside.post(link, data={"answer": "no", "why": "Too dear."})
    again = outside.post(link, data={"answer": "yes"})
    assert again.status_code == 410
    assert "Nothing was stored." in again.text
    assert said(service, held) == "Ines Marsh: None"
    page = outside.get(link)
    assert page.status_code == 410
    assert "$535" not in page.text
    assert held.id not in page.text


@pytest.mark.parametrize("tried", ["x", "A" * 43, "%00", "..%2f..%2f", "%ed%a0%80", "a" * 5000])
def test_a_guess_is_not_found_and_tells_nothing(outside: FlaskClient, link: str, tried: str) -> None:
    for answer in (
        outside.get(f"/approve/{tried}"),
        outside.post(f"/approve/{tried}", data={"answer": "yes"}),
    ):
        assert answer.status_code == 404
        assert "Traceback" not in answer.text


def test_another_site_cannot_send_the_answer(
    outside: FlaskClient, service: Service, link: str, held: Ticket
) -> None:
    from_elsewhere = {"Origin": "https://evil.example"}
    assert outside.post(link, data={"answer": "yes"}, headers=from_elsewhere).status_code == 403
    assert said(service, held) is None


def test_the_link_is_no_token_and_no_session(outside: FlaskClient, link: str) -> None:
    held = link.rsplit("/", 1)[1]
    bearer = {"Authorization": f"Bearer {held}"}
    assert outside.get("/v1/tickets", headers=bearer).status_code == 401
    outside.set_cookie("barrelwise_session", held)
    assert outside.get("/").status_code == 302


def test_the_letter_leads_to_the_configured_address_whatever_host_was_asked(
    client: FlaskClient, tokens: dict[str, str], held: Ticket, letters: Letters
) -> None:
    headers = {"Authorization": f"Bearer {tokens['agent']}", "Host": "evil.example"}
    asked = client.post(f"/v1/tickets/{held.id}/ask", json={}, headers=headers)
    assert asked.status_code == 201
    [text] = letters.texts()
    assert re.findall(r"https?://[^/\s]+", text) == ["https://desk.example.com"]


def test_the_page_speaks_spanish(outside: FlaskClient, link: str) -> None:
    outside.post("/phone/language", data={"pages": "es", "next": link})
    page = outside.get(link)
    assert '<html lang="es">' in page.text
    assert "¿Se puede gastar esto en Lanternway Alder Quay?" in page.text


def test_a_reporter_and_an_authority_start_on_a_page_of_their_own(
    client: FlaskClient, tokens: dict[str, str], held: Ticket
) -> None:
    for role, home, shown in (
        ("reporter", "/overview", held.id),
        ("authority", "/asked", "Questions come to you by e-mail"),
    ):
        signed_in = client.post("/sign-in", data={"token": tokens[role]}, follow_redirects=True)
        assert (signed_in.request.path, signed_in.status_code) == (home, 200)
        assert shown in signed_in.text
    client.post("/sign-in", data={"token": tokens["reporter"]})
    assert client.get(f"/tickets/{held.id}/history").status_code == 200
    assert client.get(f"/tickets/{held.id}").headers["Location"] == f"/tickets/{held.id}/history"
    assert client.post(f"/tickets/{held.id}/undo").status_code == 403
