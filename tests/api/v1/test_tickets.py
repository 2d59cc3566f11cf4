"""Reports become tickets over HTTP; answers and checks decide them again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.services import MACHINES, REPORT
from triage.service.service import Service


@pytest.fixture
def ticket(send: Send) -> Any:
    return send("POST", "/v1/reports", REPORT).json


def test_a_report_becomes_a_ticket_with_its_decision(send: Send) -> None:
    response = send("POST", "/v1/reports", REPORT)
    assert response.status_code == 201
    assert response.json is not None
    assert response.headers["Location"] == f"/v1/tickets/{response.json['ticket']}"
    assert response.headers["ETag"] == '"2"'
    assert response.json["outcome"] == response.json["decision"]["outcome"] == "fix_in_store"
    found = send("GET", response.headers["Location"])
    assert found.json == response.json
    assert found.headers["ETag"] == '"2"'


@pytest.mark.parametrize("spelled", ["lh20-1", "LH20 1", "lh201", " lh20.1 "])
def test_a_serial_may_be_spelled_otherwise(send: Send, spelled: str) -> None:
    for door in ("/v1/reports", "/v1/triage"):
        said = send("POST", door, {**REPORT, "machine": spelled})
        assert said.status_code in (200, 201), said.text
    assert send("GET", "/v1/tickets?machine=LH20-1").json["items"][0]["machine"] == "LH20-1"
    path = f"/v1/tickets/{send('GET', '/v1/tickets').json['items'][0]['ticket']}/answers"
    assert send("POST", path, {"answers": {"filter_days": 2}}).status_code == 200


def test_a_serial_that_is_near_is_suggested_and_two_alike_are_named(send: Send, service: Service) -> None:
    refused = send("POST", "/v1/reports", {**REPORT, "machine": "LH20-11"})
    assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (422, "/machine")
    assert 'did you mean "LH20-1"?' in refused.json["detail"]
    with service.store.write() as work:
        work.machines.put_machines([replace(MACHINES[0], serial="LH2-01")])
    refused = send("POST", "/v1/reports", {**REPORT, "machine": "lh201"})
    assert "did you mean LH2-01 or LH20-1?" in refused.json["detail"]


def test_the_computation_alone_gives_the_same_decision_and_stores_nothing(send: Send) -> None:
    alone = send("POST", "/v1/triage", REPORT)
    assert alone.status_code == 200
    assert alone.json is not None
    assert send("GET", "/v1/tickets").json == {"items": [], "next": None}
    ticket = send("POST", "/v1/reports", REPORT).json
    assert ticket is not None
    assert {**ticket["decision"], "ticket": None} == alone.json


def test_the_decision_keeps_every_key_the_core_gives(send: Send, ticket: Any) -> None:
    alone = send("POST", "/v1/triage", REPORT).json
    assert alone is not None
    assert set(alone) == set(ticket["decision"])


def test_an_answer_decides_again_and_moves_the_etag(send: Send, ticket: Any) -> None:
    response = send("POST", f"/v1/tickets/{ticket['ticket']}/answers", {"answers": {"filter_days": 2}})
    assert response.status_code == 200
    assert response.json is not None
    assert response.headers["ETag"] == '"4"'
    assert response.json["decision"]["facts"]["filter_days"] == {"value": 2, "from": "caller"}


def test_a_cure_solves_the_ticket(send: Send, ticket: Any) -> None:
    path = f"/v1/tickets/{ticket['ticket']}/checks"
    response = send("POST", path, {"check": "rinse-filter", "result": "cured"})
    assert response.json is not None
    assert response.json["decision"]["solved"] is True
    assert response.json["decision"]["visit"] is None


def test_the_log_shows_what_happened_in_order(send: Send, ticket: Any) -> None:
    send("POST", f"/v1/tickets/{ticket['ticket']}/answers", {"answers": {"filter_days": 2}})
    log = send("GET", f"/v1/tickets/{ticket['ticket']}/events").json
    assert log is not None
    assert [event["kind"] for event in log["items"]] == ["reported", "decided", "answered", "decided"]
    assert {event["who"] for event in log["items"]} == {"agent"}


def test_a_stale_change_is_refused_and_says_what_changed(send: Send, ticket: Any) -> None:
    path = f"/v1/tickets/{ticket['ticket']}/answers"
    assert send("POST", path, {"answers": {"filter_days": 2}}, If_Match='"2"').status_code == 200
    stale = send("POST", path, {"answers": {"filter_days": 9}}, If_Match='"2"')
    assert stale.status_code == 412
    assert stale.json is not None
    assert "answered by agent" in stale.json["detail"]
    now = send("GET", f"/v1/tickets/{ticket['ticket']}").json
    assert now is not None
    assert now["version"] == 4
    assert now["report"]["answers"]["filter_days"] == 2


@pytest.mark.parametrize("header", ["nonsense", '"-1"', '"99999999999999"'])
def test_an_if_match_that_is_no_etag_is_refused(send: Send, ticket: Any, header: str) -> None:
    path = f"/v1/tickets/{ticket['ticket']}/answers"
    assert send("POST", path, {"answers": {"filter_days": 2}}, If_Match=header).status_code == 400


def test_a_key_sent_twice_opens_one_ticket(send: Send) -> None:
    first = send("POST", "/v1/reports", REPORT, Idempotency_Key="call-17")
    again = send("POST", "/v1/reports", REPORT, Idempotency_Key="call-17")
    assert first.json == again.json
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert again.headers["Location"] == first.headers["Location"]
    listed = send("GET", "/v1/tickets").json
    assert listed is not None
    assert len(listed["items"]) == 1


def test_a_key_with_another_body_is_refused(send: Send) -> None:
    send("POST", "/v1/reports", REPORT, Idempotency_Key="call-17")
    other = send("POST", "/v1/reports", {**REPORT, "note": "another"}, Idempotency_Key="call-17")
    assert other.status_code == 409


def test_a_key_is_free_again_after_a_refusal(send: Send) -> None:
    assert send("POST", "/v1/reports", {}, Idempotency_Key="k").status_code == 422
    assert send("POST", "/v1/reports", REPORT, Idempotency_Key="k").status_code == 201


def test_tickets_come_a_page_at_a_time_newest_first(send: Send) -> None:
    made = [send("POST", "/v1/reports", REPORT).json["ticket"] for _ in range(5)]  # type: ignore[index]
    seen: list[str] = []
    cursor = ""
    for _ in range(3):
        page = send("GET", f"/v1/tickets?limit=2{cursor}").json
        assert page is not None
        seen += [item["ticket"] for item in page["items"]]
        cursor = f"&cursor={page['next']}"
    assert seen == made[::-1]
    assert cursor == "&cursor=None"


def test_filters_narrow_the_list(send: Send, ticket: Any) -> None:
    def listed(query: str) -> int:
        page = send("GET", f"/v1/tickets?{query}").json
        assert page is not None
        return len(page["items"])

    assert listed("outcome=fix_in_store&machine=LH20-1&site=halt-001&state=open") == 1
    assert listed("outcome=swap") == 0
    assert listed("state=closed") == 0
    assert send("GET", "/v1/tickets?state=ajar").status_code == 422


def test_tickets_are_found_by_priority_contractor_due_time_and_change(send: Send) -> None:
    opened = send("POST", "/v1/reports", REPORT).json
    send("POST", "/v1/reports", {**REPORT, "machine": "LH30-2"})
    assert opened is not None

    def found(query: str, by: str = "agent") -> list[str]:
        return [one["ticket"] for one in send("GET", f"/v1/tickets?{query}", by=by).json["items"]]

    assert found("contractor=tern") == ["T-000002"]
    assert found("contractor=tern", by="fogline") == ["T-000001"]  # a technician's own, whatever is asked
    assert found(f"priority={opened['priority'] or 1}&contractor=fogline") == ["T-000001"] * bool(
        opened["priority"]
    )
    assert found("changed_since=2026-03-02T17:00:00Z") == ["T-000002", "T-000001"]
    assert found("changed_since=2026-03-02T17:00:01Z") == []
    for query, said in (("priority=9", "there is 1, 2, 3"), ("contractor=foglin", "there is fogline, tern")):
        refused = send("GET", f"/v1/tickets?{query}")
        assert (refused.status_code, said in refused.json["detail"]) == (422, True)
    assert found("due_before=2020-01-01T00:00:00Z") == []


@pytest.mark.parametrize("query", ["due_before=soon", "changed_since=2026-03-02T17:00:00", "priority=x"])
def test_a_filter_that_cannot_be_read_is_named(send: Send, query: str) -> None:
    refused = send("GET", f"/v1/tickets?{query}")
    assert refused.status_code == 422
    assert refused.json is not None
    assert refused.json["type"] == "/problems/422"
    assert refused.json["errors"][0]["pointer"] == f"query:{query.partition('=')[0]}"
