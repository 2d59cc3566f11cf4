"""The pages without scripts: sign in, report, answer, check."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from tests.triage.services import OPS
from triage.service import tickets
from triage.service.service import Service


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


def test_a_form_from_another_site_is_refused(desk: FlaskClient) -> None:
    response = desk.post("/report", data={}, headers={"Origin": "https://elsewhere.example"})
    assert response.status_code == 403


def test_a_technician_may_not_open_the_desk(client: FlaskClient, tokens: dict[str, str]) -> None:
    client.post("/sign-in", data={"token": tokens["fogline"]})
    assert client.get("/").status_code == 403


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
