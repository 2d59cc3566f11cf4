"""The pages without scripts: sign in, report, answer, check."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.http.auth import COOKIE
from tests.triage.services import NOON, OPS, Clock
from triage.service import tickets
from triage.service.service import Service
from triage.store.tables.tokens import IDLE, LONGEST
from triage.store.wrong_tokens import MOST, WITHIN


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    response = client.post("/sign-in", data={"token": tokens["agent"], "next": "/report"})
    assert response.headers["Location"] == "/report"
    return client


def test_without_a_token_every_page_leads_to_the_sign_in(client: FlaskClient) -> None:
    for path in ("/", "/report", "/tickets/T-1"):
        response = client.get(path)
        assert response.status_code == 302
        assert response.headers["Location"].startswith("/sign-in")


def test_a_wrong_token_is_said_to_be_wrong(client: FlaskClient) -> None:
    response = client.post("/sign-in", data={"token": "no"})
    assert response.status_code == 401
    assert "not known" in response.text


def test_many_wrong_tokens_of_one_address_are_not_looked_at(
    client: FlaskClient, tokens: dict[str, str], service: Service
) -> None:
    right, wrong = {"token": tokens["agent"]}, {"token": "no"}
    another = create_app(service).test_client()  # knows only what the database says, as another process does
    for number in range(MOST):
        at = client if number % 2 else another
        assert at.post("/sign-in", data=right).status_code == 302  # these are not counted
        assert at.post("/sign-in", data=wrong).status_code == 401
    for at in (client, another):
        for form in (wrong, right):
            answer = at.post("/sign-in", data=form)
            assert answer.status_code == 429
            assert 0 < int(answer.headers["Retry-After"]) <= WITHIN.total_seconds()
            assert re.search(r"Try again in [1-5] minute", answer.text)
    elsewhere = client.post("/sign-in", data=right, environ_base={"REMOTE_ADDR": "192.0.2.7"})
    assert elsewhere.status_code == 302


@pytest.mark.parametrize("target", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere"])
def test_signing_in_never_leads_to_another_site(
    client: FlaskClient, tokens: dict[str, str], target: str
) -> None:
    response = client.post("/sign-in", data={"token": tokens["agent"], "next": target})
    assert response.headers["Location"] == "/"


def test_the_cookie_is_kept_from_scripts_and_other_sites(client: FlaskClient, tokens: dict[str, str]) -> None:
    cookie = client.post("/sign-in", data={"token": tokens["agent"]}).headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


def test_the_cookie_is_secure_where_the_page_is(client: FlaskClient, tokens: dict[str, str]) -> None:
    form = {"token": tokens["agent"]}
    assert "Secure" in client.post("https://localhost/sign-in", data=form).headers["Set-Cookie"]
    assert "Secure" not in client.post("/sign-in", data=form).headers["Set-Cookie"]


def held(client: FlaskClient) -> str:
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    return cookie.value


def test_the_cookie_holds_a_session_and_not_the_token(desk: FlaskClient, tokens: dict[str, str]) -> None:
    first = held(desk)
    assert tokens["agent"] not in first
    bearer = {"Authorization": f"Bearer {first}"}
    assert desk.get("/v1/tickets", headers=bearer).status_code == 401
    desk.post("/sign-in", data={"token": tokens["agent"]})
    assert held(desk) != first
    desk.set_cookie(COOKIE, tokens["agent"])
    assert desk.get("/report").status_code == 302


def test_signing_out_ends_the_session_wherever_it_is_held(
    desk: FlaskClient,
) -> None:
    session = held(desk)
    assert desk.get("/report").status_code == 200
    assert desk.post("/sign-out").status_code == 302
    assert desk.get_cookie(COOKIE) is None
    assert "has ended" not in desk.get("/sign-in").text
    desk.set_cookie(COOKIE, session)
    assert desk.get("/report").status_code == 302


def test_revoking_the_token_ends_its_sessions(desk: FlaskClient, service: Service) -> None:
    with service.store.write() as work:
        work.tokens.revoke("agent", NOON)
    assert desk.get("/report").headers["Location"].startswith("/sign-in")


def test_a_session_ends_some_hours_after_it_was_last_used(desk: FlaskClient, service: Service) -> None:
    clock = service.now
    assert isinstance(clock, Clock)
    clock.time += IDLE - timedelta(minutes=1)
    assert desk.get("/report").status_code == 200
    clock.time += IDLE - timedelta(minutes=1)
    assert desk.get("/report").status_code == 200
    clock.time += IDLE
    answer = desk.get("/report?machine=LH20-1")
    assert answer.headers["Location"] == "/sign-in?next=/report?machine%3DLH20-1"
    assert "Your session has ended" in desk.get(answer.headers["Location"]).text


def test_a_session_ends_however_much_it_is_used(desk: FlaskClient, service: Service) -> None:
    clock = service.now
    assert isinstance(clock, Clock)
    while clock.time < NOON + LONGEST - IDLE / 2:
        clock.time += IDLE / 2
        assert desk.get("/report").status_code == 200, clock.time
        service.aside.finish()
    clock.time = NOON + LONGEST
    assert desk.get("/report").status_code == 302


@pytest.mark.parametrize(
    ("sent_from", "back"),
    [
        ("http://localhost/report?machine=LH20-1", "/report?machine%3DLH20-1"),
        ("https://elsewhere.example/report", "/"),
        ("http://[", "/"),
        (None, "/"),
    ],
)
def test_a_form_without_a_session_comes_back_to_its_page(
    client: FlaskClient, sent_from: str | None, back: str
) -> None:
    headers = {} if sent_from is None else {"Referer": sent_from}
    answer = client.post("/tickets/T-1/undo", data={}, headers=headers)
    assert answer.headers["Location"] == f"/sign-in?next={back}"


def test_a_form_from_another_site_is_refused(desk: FlaskClient) -> None:
    response = desk.post("/report", data={}, headers={"Origin": "https://elsewhere.example"})
    assert response.status_code == 403


def test_a_technician_may_not_open_the_desk(client: FlaskClient, tokens: dict[str, str]) -> None:
    client.post("/sign-in", data={"token": tokens["fogline"]})
    assert client.get("/find").status_code == 403


def test_a_whole_call_without_scripts(desk: FlaskClient, service: Service) -> None:
    sent = desk.post("/report", data={"machine": "LH20-1", "symptom": "not_freezing", "note": "soup"})
    assert sent.status_code == 303
    path = sent.headers["Location"]
    desk.post(f"{path}/answers", data={"version": "2", "fact": "cord_damaged", "value": "no"})
    page = desk.get(path).text
    assert "Fix in store" in page
    assert "Rinse" in page
    answered = desk.post(f"{path}/answers", data={"version": "4", "fact": "filter_days", "value": "30"})
    assert answered.status_code == 303
    cured = desk.post(f"{path}/checks", data={"version": "6", "check": "rinse-filter", "result": "cured"})
    assert cured.status_code == 303
    ticket = tickets.ticket(service, path.rsplit("/", 1)[1], OPS)
    assert ticket.decision is not None
    assert ticket.decision["solved"] is True


def test_a_form_sent_with_mistakes_keeps_what_was_typed(desk: FlaskClient) -> None:
    response = desk.post("/report", data={"machine": "NOPE-7", "symptom": "not_freezing", "note": "mind <b>"})
    assert response.status_code == 422
    assert "NOPE-7" in response.text
    assert "mind &lt;b&gt;" in response.text
    assert re.search(r'value="not_freezing"\s+checked', response.text)


def test_a_stale_form_is_refused_with_what_changed(desk: FlaskClient) -> None:
    path = desk.post("/report", data={"symptom": "not_freezing"}).headers["Location"]
    assert (
        desk.post(f"{path}/answers", data={"version": "2", "fact": "filter_days", "value": "30"}).status_code
        == 303
    )
    stale = desk.post(f"{path}/answers", data={"version": "2", "fact": "filter_days", "value": "3"})
    assert stale.status_code == 409
    assert "Filter days: 30 days" in stale.text
    assert "(agent, 0 minutes ago)" in stale.text
    assert 'value="3"' in stale.text


def test_nothing_on_a_page_comes_from_elsewhere(desk: FlaskClient) -> None:
    for path in ("/", "/report", "/sign-in"):
        response = desk.get(path)
        assert not re.search(r'(?:src|href|action)="(?:https?:)?//', response.text)
        assert "default-src 'none'" in response.headers["Content-Security-Policy"]
