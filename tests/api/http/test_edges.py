"""Input at the edges: never an internal error, whatever the door."""

from __future__ import annotations

from base64 import b64encode
from typing import Any
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send
from tests.triage.services import REPORT

TIMES = (
    "0001-01-01T00:00:00+00:00",
    "0001-01-01T00:00:00+14:00",
    "0001-01-01T00:00:00-14:00",
    "9999-12-31T23:59:59+00:00",
    "9999-12-31T23:59:59-14:00",
    "9999-12-31T23:59:59+14:00",
)
AT_YEAR_ONE = "WyIwMDAxLTAxLTAxVDAwOjAwOjAwKzE0OjAwIiwgIlQtMSJd"  # ["0001-01-01T00:00:00+14:00", "T-1"]
NESTED = b64encode(b"[" * 60_000).decode()
CURSORS = (
    AT_YEAR_ONE,
    NESTED,
    "\ud800",
    "\x00",
    "%",
    "e30",
    "bnVsbA",
    "W10",
    "x" * 5000,
    "é",
    "2026-03-02T12:00:00+00:00|T-1",
)
SAID = (
    "1 yottayear",
    "9" * 26 + " days",
    "1e400 days",
    "-1 day",
    "1" * 5000,
    "½ ½ ½",
    "\ud800 days",
    "inf days",
    "0E-300000000",
    "1E+300000000 days",
    "9" * 30 + " 1/2 days",
    "999999999 1/2 years ago",
    "\u0661\u0662 days",
)


def raw(text: str) -> str:
    return quote(text.encode("utf-8", "surrogatepass"))


@pytest.mark.parametrize("at", TIMES)
def test_times_at_the_edge_of_the_calendar_are_the_callers_fault(send: Send, at: str) -> None:
    asked = [
        send("GET", f"/v1/machines/LH20-1/limits?at={raw(at)}", by="ops"),
        send("GET", f"/v1/machines/LH20-1/limits?at={at[:10]}", by="ops"),
        send("POST", "/v1/triage", {**REPORT, "reported_at": at}),
        send("POST", "/v1/reports", {**REPORT, "reported_at": at}),
        send("POST", "/v1/machines/LH20-1/care", {"kind": "filter_cleaned", "at": at}, by="fogline"),
        send("GET", f"/v1/numbers?from={at[:10]}&to={at[:10]}", by="ops"),
        send("GET", f"/v1/spend?from={at[:10]}&to={at[:10]}&by=machine", by="ops"),
        send("GET", f"/v1/claims?from={at[:10]}&to={at[:10]}", by="ops"),
    ]
    assert [answer.status_code for answer in asked if answer.status_code >= 500] == []


@pytest.mark.parametrize("cursor", [*CURSORS, AT_YEAR_ONE, NESTED])
def test_a_cursor_that_was_never_given_is_refused(send: Send, cursor: str) -> None:
    answer = send("GET", f"/v1/tickets?cursor={raw(cursor)}")
    assert answer.status_code in (200, 400, 422)


@pytest.mark.parametrize("said", SAID)
def test_an_answer_in_impossible_words_is_refused(send: Send, said: str) -> None:
    ticket = send("POST", "/v1/reports", REPORT).get_json()["ticket"]
    body: Any = {"answers": {"filter_days": said}}
    assert send("POST", f"/v1/tickets/{ticket}/answers", body).status_code in (400, 409, 422)


@pytest.mark.parametrize("said", SAID)
def test_what_a_clerk_types_is_never_an_internal_error(
    client: FlaskClient, tokens: dict[str, str], said: str
) -> None:
    client.post("/sign-in", data={"token": tokens["agent"]})
    page = client.post("/report", data={"symptom": "not_freezing"}).headers["Location"]
    form = {"version": "2", "fact": "filter_days", "value": said.encode("utf-8", "replace").decode()}
    assert client.post(f"{page}/answers", data=form).status_code in (409, 422)


@pytest.mark.parametrize(
    "after", ["//[", "//evil", "/\\evil", "/a\r\nX-Y: z", "/a\nb", "http://[", "\ud800", "/" * 5000]
)
def test_signing_in_goes_nowhere_odd(client: FlaskClient, tokens: dict[str, str], after: str) -> None:
    answer = client.post(
        f"/sign-in?next={raw(after)}",
        data={"token": tokens["agent"], "next": after.encode("utf-8", "replace").decode()},
    )
    assert answer.status_code < 500
    assert client.get(f"/sign-in?next={raw(after)}").status_code < 500
    location = answer.headers.get("Location", "/")
    assert location.startswith("/") and not location.startswith(("//", "/\\")) and "\n" not in location
