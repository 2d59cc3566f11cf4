"""Claims, spend and limits over HTTP, each in its form by Accept."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.services import REPORT

LINES = [{"kind": "labor", "hours": 1}, {"kind": "part", "number": "COMP-1", "serials": ["=cmd|' /C'!A0"]}]


@pytest.fixture
def closed(send: Send) -> str:
    ticket: Any = send("POST", "/v1/reports", REPORT).json
    done = {"cause": "compressor_fault", "cured_by": "repair", "lines": LINES}
    assert send("POST", f"/v1/tickets/{ticket['ticket']}/close", done, by="fogline").status_code == 200
    return str(ticket["ticket"])


def test_claims_are_json_unless_csv_is_asked_for(send: Send, closed: str) -> None:
    rows: Any = send("GET", "/v1/claims").json
    assert [(row["kind"], row["amount"]) for row in rows["items"]] == [
        ("labor", "110.00"),
        ("part", "744.00"),
        ("tax", "61.38"),
    ]
    response = send("GET", "/v1/claims", Accept="text/csv")
    assert response.content_type == "text/csv; charset=utf-8"
    assert response.headers["Vary"] == "Accept"
    table = list(csv.DictReader(io.StringIO(response.text)))
    assert [row["amount"] for row in table] == ["110.00", "744.00", "61.38"]
    assert table[1]["serials"] == "'=cmd|' /C'!A0"
    assert {row["ticket"] for row in table} == {closed}


@pytest.mark.parametrize("by", ["contractor", "machine", "cause"])
def test_spend_is_told_by_contractor_machine_and_cause(send: Send, closed: str, by: str) -> None:
    rows: Any = send("GET", f"/v1/spend?by={by}").json
    assert sum(row["visits"] for row in rows["items"]) == 2
    table = list(csv.DictReader(io.StringIO(send("GET", f"/v1/spend?by={by}", Accept="text/csv").text)))
    assert [row[by] for row in table] == [row[by] for row in rows["items"]]
    assert send("GET", f"/v1/spend?by={by}&since=2027-01-01").json == {"by": by, "items": []}


@pytest.mark.parametrize("query", ["by=color", "since=soon", "since=2026-02-02&until=2026-02-01", "x=1"])
def test_a_question_that_cannot_be_meant_is_a_problem(send: Send, query: str) -> None:
    response = send("GET", f"/v1/spend?{query}")
    assert response.status_code == 422
    assert response.json is not None
    assert response.json["errors"][0]["pointer"].startswith("query:")


def test_a_technician_is_told_of_its_own_visits_only(send: Send, closed: str) -> None:
    assert len(send("GET", "/v1/claims", by="fogline").json["items"]) == 3  # type: ignore[index]
    assert send("GET", "/v1/claims", by="tern").json == {"items": [], "next": None}
    assert send("GET", "/v1/spend", by="tern").json == {"by": "contractor", "items": []}
    own: Any = send("GET", "/v1/spend?by=machine", by="fogline").json
    assert [(row["machine"], row["visits"]) for row in own["items"]] == [("LH20-1", 1)]


def test_limits_say_what_happens_above_and_whom_to_ask(send: Send) -> None:
    limits: Any = send("GET", "/v1/machines/LH20-1/limits", by="fogline").json
    limit = limits["limit"]
    assert (limit["nte"], limit["spent_on_ticket"], limit["headroom"]) == ("350.00", "0.00", "350.00")
    assert limit["above"] == "it is on hold until Ops lead approves it; reach: 555-0100"
    assert [one["authority"] for one in limit["authorities"]] == ["ops_lead"]
    assert limit["ask"]["up_to"] == "2000.00 USD"
    assert float(limits["swap"]["value_now"]) > 0
    assert (limits["swap"]["spent_above"], limits["swap"]["rules"]) == (None, [])


def test_limits_count_what_a_ticket_has_cost_already(send: Send) -> None:
    ticket: Any = send("POST", "/v1/reports", REPORT).json
    path = f"/v1/tickets/{ticket['ticket']}"
    done = {"cause": "dirty_filter", "cured_by": "repair", "lines": [{"kind": "trip"}]}
    assert send("POST", f"{path}/close", done, by="fogline").status_code == 200
    limits: Any = send("GET", f"/v1/machines/LH20-1/limits?ticket={ticket['ticket']}").json
    assert (limits["limit"]["spent_on_ticket"], limits["limit"]["headroom"]) == ("95.00", "255.00")
    wrong: Any = send("GET", f"/v1/machines/LH30-2/limits?ticket={ticket['ticket']}").json
    assert wrong["errors"][0]["pointer"] == "query:ticket"


def test_limits_hold_for_a_kind_of_job_and_for_hours(send: Send) -> None:
    limits: Any = send("GET", "/v1/machines/LH20-1/limits?component=compressor&after_hours=true").json
    assert (limits["limit"]["component"], limits["limit"]["after_hours"]) == ("compressor", True)
    wrong: Any = send("GET", "/v1/machines/LH20-1/limits?component=wheels").json
    assert wrong["errors"][0]["pointer"] == "query:component"


def test_limits_are_a_short_text_for_a_phone(send: Send) -> None:
    response = send("GET", "/v1/machines/LH20-1/limits?at=2026-03-02T12:00:00-05:00", Accept="text/plain")
    assert response.content_type == "text/plain; charset=utf-8"
    assert response.text == (
        "LH20-1 2026-03-02 12:00\n"
        "fogline, by day\n"
        "Up to 350.00 USD a ticket\n"
        "Spent 0.00 on the ticket, 120.00 in 12 months\n"
        "Left 350.00 USD\n"
        "Above: it is on hold until Ops lead approves it; reach: 555-0100\n"
        "\n"
        "In warranty:\n"
        "compressor: parts to 2028-02-01, labor to 2027-02-01\n"
    )
    assert send("GET", "/v1/machines/LH20-1/limits", Accept="*/*").is_json


def test_claims_come_page_by_page_and_as_one_table(send: Send, closed: str) -> None:
    page: Any = send("GET", "/v1/claims?limit=1").json
    assert len(page["items"]) == 3
    assert page["next"] is None  # the three lines are of one close-out
    refused = send("GET", "/v1/claims?cursor=x")
    assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (422, "query:cursor")  # type: ignore[index]
