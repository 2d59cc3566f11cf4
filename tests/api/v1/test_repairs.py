"""From estimate to close over HTTP; and what is refused there."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.services import REPORT

LARGE = {"cause": "dirty_filter", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 4}]}
YES = {
    "estimate": 1,
    "answer": "yes",
    "authority": "ops_lead",
    "person": "Robin Vale",
    "why": "It is the only one on the quay.",
}
CLOSE = {**LARGE, "cured_by": "repair"}


@pytest.fixture
def path(send: Send) -> str:
    ticket = send("POST", "/v1/reports", REPORT).json
    assert ticket is not None
    return f"/v1/tickets/{ticket['ticket']}"


def test_an_estimate_is_answered_with_its_lines_and_whom_to_ask(send: Send, path: str) -> None:
    response = send("POST", f"{path}/estimates", LARGE, by="fogline")
    assert response.status_code == 201
    assert response.json is not None
    assert response.headers["ETag"] == f'"{response.json["version"]}"'
    assert (response.json["answer"], response.json["authorization"]) == ("hold", None)
    assert response.json["ask"]["reach"] == "555-0100"
    assert [(line["kind"], line["amount"]) for line in response.json["estimate"]["lines"]] == [
        ("trip", "95.00 USD"),
        ("labor", "440.00 USD"),
    ]
    assert send("GET", path).json["repair"]["estimate"] == response.json["estimate"]  # type: ignore[index]


def test_a_line_outside_the_agreement_is_named(send: Send, path: str) -> None:
    lines = [{"kind": "trip", "amount": "120.00 USD"}]
    response = send("POST", f"{path}/estimates", {"lines": lines}, by="fogline").json
    assert response is not None
    assert response["estimate"]["outside"] == [
        {
            "line": "/lines/0",
            "kind": "trip",
            "detail": "trip",
            "why": "120.00 is 25.00 more than the agreement pays (95.00)",
        }
    ]


def test_from_estimate_to_close(send: Send, path: str) -> None:
    estimated = send("POST", f"{path}/estimates", LARGE, by="fogline", If_Match='"2"')
    approved = send("POST", f"{path}/approvals", YES, by="ops", If_Match=estimated.headers["ETag"])
    assert approved.status_code == 201
    assert approved.json is not None
    number = approved.json["repair"]["authorization"]["number"]
    done = {**CLOSE, "authorization": number, "photos": ["photo/1"]}
    closed = send("POST", f"{path}/close", done, by="fogline", If_Match=approved.headers["ETag"])
    assert closed.status_code == 200
    assert closed.json is not None
    assert (closed.json["state"], closed.json["closed"]["cost"]) == ("closed", "535.00 USD")
    again = send("POST", f"{path}/reopen", {"why": "It is back."}, by="agent")
    assert again.json is not None
    assert (again.status_code, again.json["state"]) == (200, "open")


def test_an_approval_sent_twice_with_a_key_is_given_once(send: Send, path: str) -> None:
    send("POST", f"{path}/estimates", LARGE, by="fogline")
    first = send("POST", f"{path}/approvals", YES, by="ops", Idempotency_Key="word-1")
    again = send("POST", f"{path}/approvals", YES, by="ops", Idempotency_Key="word-1")
    assert (first.json, again.headers["Idempotency-Replayed"]) == (again.json, "true")
    other = send("POST", f"{path}/approvals", YES, by="ops", Idempotency_Key="word-2")
    assert other.status_code == 409
    assert other.json is not None
    assert "approved already" in other.json["detail"]


def test_an_answer_given_again_under_its_key_keeps_every_digit_of_a_number(send: Send, path: str) -> None:
    body = b'{"lines": [{"kind": "labor", "hours": 2.1234567890123456789}]}'
    first = send("POST", f"{path}/estimates", body, by="fogline", Idempotency_Key="digits")
    again = send("POST", f"{path}/estimates", body, by="fogline", Idempotency_Key="digits")
    assert b'"hours":2.1234567890123456789' in first.data
    assert (again.headers["Idempotency-Replayed"], again.data) == ("true", first.data)


BAD: dict[str, tuple[str, str, Any, str]] = {
    "no lines": ("estimates", "fogline", {}, "/lines"),
    "negative hours": ("estimates", "fogline", {"lines": [{"kind": "labor", "hours": -1}]}, "/lines/0/hours"),
    "an unknown part": (
        "estimates",
        "fogline",
        {"lines": [{"kind": "part", "number": "X"}]},
        "/lines/0/number",
    ),
    "another currency": (
        "estimates",
        "fogline",
        {"lines": [{"kind": "trip", "amount": "9.00 EUR"}]},
        "/lines/0/amount",
    ),
    "a line that is null": ("estimates", "fogline", {"lines": [None]}, "/lines/0"),
    "an unknown key": ("estimates", "fogline", {**LARGE, "total": "1.00"}, "/total"),
    "no reason": ("approvals", "ops", {**YES, "why": ""}, "/why"),
    "an unknown authority": ("approvals", "ops", {**YES, "authority": "me"}, "/authority"),
    "no such estimate": ("approvals", "ops", YES, "/estimate"),
    "above the limit": ("close", "fogline", CLOSE, "/authorization"),
    "a number never given": ("close", "fogline", {**CLOSE, "authorization": "A-1"}, "/authorization"),
    "a date in the future": ("close", "fogline", {**CLOSE, "at": "2026-04-01T00:00:00Z"}, "/at"),
    "an unknown cause": ("close", "fogline", {**CLOSE, "cause": "x"}, "/cause"),
    "no reason to reopen": ("reopen", "agent", {}, "/why"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_a_problem_with_its_field_and_nothing_is_stored(
    send: Send, path: str, name: str
) -> None:
    route, by, body, pointer = BAD[name]
    before = send("GET", f"{path}/events").json
    response = send("POST", f"{path}/{route}", body, by=by)
    assert response.status_code in (409, 422)
    assert response.content_type == "application/problem+json"
    assert response.json is not None
    assert pointer in [error["pointer"] for error in response.json["errors"]]
    assert send("GET", f"{path}/events").json == before


def test_a_stale_etag_is_refused(send: Send, path: str) -> None:
    for route, by, body in (
        ("estimates", "fogline", LARGE),
        ("approvals", "ops", YES),
        ("close", "fogline", CLOSE),
    ):
        response = send("POST", f"{path}/{route}", body, by=by, If_Match='"1"')
        assert response.status_code == 412
    assert len(send("GET", f"{path}/events").json["items"]) == 2  # type: ignore[index]


def test_an_estimate_on_a_closed_ticket_is_refused(send: Send, path: str) -> None:
    closed = {"cause": "low_fill", "cured_by": "fill-hopper"}
    assert send("POST", f"{path}/close", closed).status_code == 200
    response = send("POST", f"{path}/estimates", LARGE, by="fogline")
    assert response.status_code == 409
    assert response.json is not None
    assert "is closed; reopen it first" in response.json["detail"]


@pytest.mark.parametrize(
    ("route", "role"),
    [
        ("estimates", "agent"),
        ("estimates", "reporter"),
        ("approvals", "agent"),
        ("approvals", "fogline"),
        ("approvals", "reporter"),
        ("close", "reporter"),
        ("reopen", "reporter"),
    ],
)
def test_each_role_does_its_own(send: Send, path: str, route: str, role: str) -> None:
    assert send("POST", f"{path}/{route}", {}, by=role).status_code == 403
