"""The program's numbers over HTTP and as a page."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send, signed_in
from tests.triage.services import AGENT, REPORT
from triage.repairs.period_numbers import DEFINITIONS
from triage.service import repairs, tickets
from triage.service.service import Service


@pytest.fixture
def recorded(service: Service) -> Service:
    """One ticket that the filter cures, one that stays open."""
    tickets.open_ticket(service, REPORT, AGENT)
    tickets.record_check(service, "T-000001", "rinse-filter", "cured", AGENT)
    repairs.close(service, "T-000001", {"cause": "dirty_filter", "cured_by": "rinse-filter"}, AGENT, None)
    tickets.open_ticket(service, {**REPORT, "machine": "LH30-2", "symptoms": ["leaking"]}, AGENT)
    return service


def test_the_numbers_of_a_period_are_told(send: Send, recorded: Service) -> None:
    found = send("GET", "/v1/numbers", by="reporter").json
    assert found is not None
    assert (found["since"], found["until"]) == ("2026-02-01", "2026-03-02")
    assert (found["opened"], found["closed"]) == (2, 1)
    assert found["cured_in_store"] == {"count": 1, "of": 1, "share": 1.0}
    assert found["by_symptom"] == {"leaking": 1, "not_freezing": 1}
    assert found["spend_closed"] == "0.00 USD"
    assert [(one["contractor"], one["calls"]) for one in found["contractors"]] == [
        ("fogline", 1),
        ("tern", 1),
    ]
    before = send("GET", "/v1/numbers?since=2026-01-01&until=2026-01-31", by="ops").json
    assert before is not None
    assert (before["opened"], before["closed"], before["contractors"]) == (0, 0, [])


@pytest.mark.parametrize("query", ["since=soon", "until=2026-02-30", "since=2026-03-02&until=2026-03-01"])
def test_a_period_that_cannot_be_is_a_problem_with_its_place(send: Send, query: str) -> None:
    response = send("GET", f"/v1/numbers?{query}", by="ops")
    assert response.status_code == 422
    assert response.json is not None
    assert response.json["errors"][0]["pointer"] in ("query:since", "query:until")


@pytest.mark.parametrize("by", ["agent", "fogline"])
def test_only_ops_and_reporters_see_them(send: Send, by: str) -> None:
    assert send("GET", "/v1/numbers", by=by).status_code == 403


def test_each_number_is_defined_in_the_description_of_the_api(send: Send) -> None:
    document = send("GET", "/openapi.json").json
    assert document is not None
    properties = document["components"]["schemas"]["NumbersOut"]["properties"]
    for name, definition in DEFINITIONS.items():
        assert properties[name]["description"] == definition


def test_the_page_shows_the_numbers_with_their_definitions(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    ops = signed_in(client, tokens["ops"])
    assert '<a href="/week"' in ops.get("/").text
    for page in ("/week", "/rulebook/log"):
        assert '<a href="/numbers' in ops.get(page).text
    shown = ops.get("/numbers").text
    for said in (
        DEFINITIONS["opened"],
        "100 %",
        "1 of 1",
        "0.00 USD",
        "Dirty filter",
        "Rinse filter",
        "fogline",
    ):
        assert said in shown
    assert "2026-02-01 to 2026-03-02" in shown
    assert (
        "<p>2026-01-01 to 2026-01-31, both days counted.</p>"
        in ops.get("/numbers?since=2026-01-01&until=2026-01-31").text
    )


def test_a_period_that_cannot_be_is_said_on_the_page_with_the_form_kept(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    refused = signed_in(client, tokens["ops"]).get("/numbers?since=2026-03-05&until=2026-03-01")
    assert refused.status_code == 422
    assert "is before 2026-03-05; swap the two" in refused.text
    assert 'value="2026-03-05"' in refused.text


def test_the_page_is_for_ops_only(client: FlaskClient, tokens: dict[str, str]) -> None:
    agent = signed_in(client, tokens["agent"])
    assert agent.get("/numbers").status_code == 403
    assert "/week" not in agent.get("/").text
