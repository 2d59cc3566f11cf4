"""Words in which a danger is heard count at every door: estimate, approval, closing and reopening."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.danger_rulebook import CALM_REPORT, danger_files
from tests.triage.services import running_service
from triage.service.service import Service

SHOCK = "Then it gave me a shock."
LINES = [{"kind": "trip"}]
ESTIMATE = {"cause": "low_fill", "lines": LINES}
CLOSING = {"cause": "low_fill", "cured_by": "repair", "lines": LINES}
WORDS = [("shock", "words", "gave me a shock")]


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=danger_files()) as running:
        yield running


@pytest.fixture
def path(send: Send) -> str:
    return f"/v1/tickets/{send('POST', '/v1/reports', CALM_REPORT).json['ticket']}"


def heard(send: Send, path: str) -> list[tuple[str, str, str]]:
    dangers = send("GET", path).json["dangers"]
    return [(danger["caution"], danger["from"], danger["quote"]) for danger in dangers]


def kinds(send: Send, path: str) -> list[str]:
    return [event["kind"] for event in send("GET", f"{path}/events").json["items"]]


@pytest.mark.parametrize(
    "body",
    [{**ESTIMATE, "note": SHOCK}, {**ESTIMATE, "lines": [{"kind": "trip", "note": "me dio calambre"}]}],
)
def test_a_danger_in_an_estimate_stands(send: Send, path: str, body: dict[str, Any]) -> None:
    calm = send("POST", f"{path}/estimates", ESTIMATE, by="fogline")
    assert (calm.status_code, heard(send, path)) == (201, [])
    assert send("POST", f"{path}/estimates", body, by="fogline").status_code == 201
    assert [(caution, source) for caution, source, _ in heard(send, path)] == [("shock", "words")]
    told = len(kinds(send, path))
    assert send("POST", f"{path}/estimates", body, by="fogline").status_code == 201
    assert "noted" not in kinds(send, path)[told:], "the same words are heard once"


def test_a_danger_in_an_approval_stands(send: Send, path: str) -> None:
    word = {
        "estimate": 0,
        "answer": "yes_up_to",
        "amount": "90.00 USD",
        "authority": "ops_lead",
        "person": "Ines Tern",
        "why": SHOCK,
    }
    said = send("POST", f"{path}/approvals", {**word, "why": SHOCK}, by="ops")
    assert said.status_code == 201, said.text
    assert said.json["outcome"] == "approve"
    assert heard(send, path) == WORDS


@pytest.mark.parametrize("by", ["agent", "fogline", "ops"])
@pytest.mark.parametrize("more", [{}, {"Idempotency_Key": "once"}])
def test_a_danger_in_a_closing_keeps_the_ticket_open(
    send: Send, path: str, by: str, more: dict[str, str]
) -> None:
    refused = send("POST", f"{path}/close", {**CLOSING, "note": SHOCK}, by=by, **more)
    assert refused.status_code == 409
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert "shock (“gave me a shock”)" in refused.json["detail"]
    assert send("GET", path).json["state"] == "open"
    assert heard(send, path) == WORDS
    assert send("GET", "/v1/machines/LH20-1").json["dangers"][0]["quote"] == "gave me a shock"

    assert send("POST", f"{path}/close", {**CLOSING, "note": SHOCK}, by="agent").status_code == 409
    lifted = send("POST", f"{path}/dangers/shock/clear", {"why": "Only a way of speaking.", "how": "misread"})
    assert (lifted.status_code, lifted.json["dangers"]) == (200, [])
    closed = send("POST", f"{path}/close", {**CLOSING, "note": SHOCK}, by="agent")
    assert (closed.status_code, closed.json["state"]) == (200, "closed")


@pytest.mark.parametrize("safe", [True, ["shock"]])
def test_a_technician_closes_what_the_own_words_say_was_mended(send: Send, path: str, safe: Any) -> None:
    note = "The shock came from the outlet; it was rewired and tested."
    mine = {**CLOSING, "note": note, "made_safe": safe}
    by_agent = send("POST", f"{path}/close", mine, by="agent")
    assert by_agent.status_code == 409
    assert heard(send, path) == [("shock", "words", "The shock came from the")]
    closed = send("POST", f"{path}/close", mine, by="fogline")
    assert (closed.status_code, closed.json["state"], closed.json["dangers"]) == (200, "closed", [])
    again = send("POST", f"{path}/reopen", {"why": "It is back."})
    assert len(heard(send, path)) == 1, "what was said counts again where the trouble is back"
    other = {**CLOSING, "made_safe": ["liquid"], "note": "shock"}
    refused = send("POST", f"{path}/close", other, by="fogline", If_Match=again.headers["ETag"])
    assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (422, "/made_safe")


def test_a_technician_closes_in_one_go_where_the_words_are_new(send: Send, path: str) -> None:
    mine = {**CLOSING, "note": "The shock came from the outlet; rewired.", "made_safe": True}
    closed = send("POST", f"{path}/close", mine, by="fogline")
    assert (closed.status_code, closed.json["state"], closed.json["dangers"]) == (200, "closed", [])
    assert kinds(send, path)[-3:] == ["noted", "danger_lifted", "closed"]


def test_a_danger_in_the_reason_of_a_reopening_stands(send: Send, path: str) -> None:
    assert send("POST", f"{path}/close", CLOSING, by="fogline").status_code == 200
    reopened = send("POST", f"{path}/reopen", {"why": SHOCK})
    assert reopened.status_code == 200
    assert heard(send, path) == WORDS
    assert reopened.json["outcome"] == "dispatch"


def test_no_danger_is_lost_in_a_visit_or_a_swap(send: Send, path: str) -> None:
    visit = {"state": "scheduled", "technician": "Ana, got a shock"}
    refused = send("POST", f"{path}/visits", visit, by="ops")
    assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (422, "/technician")
    for door, body in (
        ("visits", {"state": "scheduled", "note": SHOCK}),
        ("swap", {"unit": None, "note": SHOCK}),
    ):
        assert send("POST", f"{path}/{door}", {**body, "note": SHOCK}, by="ops").status_code == 422
