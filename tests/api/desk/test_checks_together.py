"""Checks done together are told together, wait once, and are recorded as done together, at every door."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send
from tests.api.desk.test_desk import call, desk, last_event, step  # noqa: F401 (fixtures)
from tests.triage.services import AGENT, NOON, REPORT, Clock, rulebook_files, running_service
from triage.service import calls, tickets, what_if
from triage.service.service import Service

BOTH = ["fill-hopper", "rinse-filter"]
REPORTED = {**REPORT, "answers": {"cord_damaged": False}}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    manifest = {"title": "A minimal rulebook", "currency": "USD", "together": [BOTH]}
    files = rulebook_files(**{"rulebook.yml": manifest})
    with running_service(tmp_path, Clock(), files) as running:
        yield running


def test_the_decision_groups_them_and_the_result_counts_for_each(send: Send) -> None:
    ticket = send("POST", "/v1/reports", REPORTED).json
    assert [(one["check"], one["group"]) for one in ticket["decision"]["plan"]] == [
        (check, 1) for check in BOTH
    ]
    path = f"/v1/tickets/{ticket['ticket']}/checks"
    body = {"check": "rinse-filter", "result": "not_cured", "together": ["fill-hopper"]}
    after = send("POST", path, body).json
    assert after["decision"]["plan"] == []
    event = send("GET", f"/v1/tickets/{ticket['ticket']}/events").json["items"][-2]
    assert event["payload"] == body


@pytest.mark.parametrize(
    ("together", "why"),
    [(["rinse-filter"], "named once"), (["moon"], "no check of the rulebook"), ("fill-hopper", "list")],
)
def test_what_cannot_have_been_done_together_is_refused(send: Send, together: object, why: str) -> None:
    ticket = send("POST", "/v1/reports", REPORTED).json["ticket"]
    body = {"check": "rinse-filter", "result": "cured", "together": together}
    refused = send("POST", f"/v1/tickets/{ticket}/checks", body)
    assert refused.status_code == 422
    assert why in refused.text


def test_the_page_tells_all_and_takes_one_result(desk: FlaskClient, call: str, service: Service) -> None:  # noqa: F811
    page = step(desk, call, "answers", fact="cord_damaged", value="no")
    page = desk.get(f"{call}?check=rinse-filter").text
    assert "Do these 2, then wait once" in page
    fill, rinse = (service.rulebook.checks[check].title for check in BOTH)
    assert page.index(f"1. {fill}") < page.index(f"2. {rinse}")
    assert "Call back in 45 min" in page
    page = step(desk, call, "checks", check="fill-hopper", together="rinse-filter", result="not_cured")
    done = {"check": "fill-hopper", "result": "not_cured", "together": ["rinse-filter"]}
    assert last_event(service, call, "check_done") == done
    assert f"{fill} + {rinse}: Not fixed" in desk.get(f"{call}/history").text


def test_the_page_lets_one_be_left_out(desk: FlaskClient, call: str, service: Service) -> None:  # noqa: F811
    step(desk, call, "answers", fact="cord_damaged", value="no")
    page = step(desk, call, "checks", check="fill-hopper", result="could_not_do")
    assert last_event(service, call, "check_done") == {"check": "fill-hopper", "result": "could_not_do"}
    assert "Do these" not in page
    assert f">{service.rulebook.checks['rinse-filter'].title}</h2>" in page


def test_they_wait_once_and_are_taken_back_together(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORTED, AGENT).id
    parked = calls.park(service, ticket, "fill-hopper", AGENT, None)
    assert parked.parked_until is not None
    assert (parked.parked_until - NOON).total_seconds() == 45 * 60
    done = tickets.record_check(service, ticket, "fill-hopper", "cured", AGENT, None, ["rinse-filter"])
    assert done.report["checks"] == [
        {"check": "fill-hopper", "result": "cured", "together": ["rinse-filter"]},
        {"check": "rinse-filter", "result": "cured", "together": ["fill-hopper"]},
    ]
    assert done.decision is not None
    assert done.decision["solved"]
    assert what_if.explain(service, ticket).identical
    assert calls.undo(service, ticket, AGENT, None).report.get("checks", []) == []
