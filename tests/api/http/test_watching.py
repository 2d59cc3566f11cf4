"""What whoever watches is told: a line for each request, counts, slow queries; and nothing about people."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from io import StringIO

import pytest
from flask.testing import FlaskClient

from api.http import watching
from api.http.logs import Lines
from tests.api.conftest import Send
from tests.triage.services import REPORT
from triage.service.service import Service

SAID = "my neighbor Xylia Quorn, 555-0199, says it is warm"


@pytest.fixture
def logged() -> Iterator[StringIO]:
    """What is written into the log meanwhile."""
    written = StringIO()
    lines, root, before = Lines(written), logging.getLogger(), watching.log.level
    root.addHandler(lines)
    watching.log.setLevel(logging.INFO)
    yield written
    watching.log.setLevel(before)
    root.removeHandler(lines)


def lines_of(written: StringIO) -> list[dict[str, object]]:
    return [json.loads(line) for line in written.getvalue().splitlines()]


def counted(name: str, **labels: str) -> float:
    return watching.OWN.get_sample_value(name, labels) or 0.0


def test_a_request_is_logged_with_its_id_its_route_and_whose_token_it_was(
    send: Send, service: Service, logged: StringIO
) -> None:
    service.tell_of_queries(watching.Queries(slow_ms=0))
    answer = send("POST", "/v1/reports", {**REPORT, "note": SAID}, **{"X-Request-Id": "desk-4711-a"})
    assert answer.status_code == 201
    assert answer.headers["X-Request-Id"] == "desk-4711-a"
    ticket = answer.get_json()["ticket"]
    send("GET", f"/v1/tickets/{ticket}?secret=quince")
    first, second = lines_of(logged)
    expected = {"logger": "api.http.watching", "level": "info", "request": "desk-4711-a", "role": "agent"}
    assert expected.items() <= first.items()
    assert (first["method"], first["route"], first["status"]) == ("POST", "/v1/reports", 201)
    assert first["queries"]
    assert (second["route"], second["ticket_id"]) == ("/v1/tickets/<ticket_id>", ticket)
    assert second["request"] != first["request"]
    assert str(first["time"]).endswith("+00:00")
    for kept_out in ("Xylia", "555-0199", "quince", "Bearer"):
        assert kept_out not in logged.getvalue()


@pytest.mark.parametrize("sent", ["", "short", "x" * 65, "with blank 12", "ünïcode-12345"])
def test_an_id_that_could_be_anything_is_not_taken_over(client: FlaskClient, sent: str) -> None:
    answer = client.get("/healthz", headers={"X-Request-Id": sent.encode("latin-1")})
    assert answer.headers["X-Request-Id"] != sent
    assert len(answer.headers["X-Request-Id"]) == 16


def test_what_links_that_are_valid_once_end_in_is_not_logged(client: FlaskClient, logged: StringIO) -> None:
    client.get("/approve/held-secret-of-a-link")
    client.get("/nowhere/held-secret-of-a-link", method="BREW")
    assert [line["route"] for line in lines_of(logged)] == ["/approve/<held>", "none"]
    assert "held-secret" not in logged.getvalue()


def test_requests_are_counted_by_route_and_status(send: Send) -> None:
    labels = {"method": "GET", "route": "/v1/tickets/<ticket_id>", "status": "404"}
    before = counted("barrelwise_requests_total", **labels)
    send("GET", "/v1/tickets/T-00000000")
    assert counted("barrelwise_requests_total", **labels) == before + 1
    del labels["status"]
    assert counted("barrelwise_request_seconds_count", **labels) >= 1
    assert f'route="{labels["route"]}"' in send("GET", "/metrics", by="reporter").text


def test_a_fault_is_logged_with_its_trace_and_counted(
    send: Send, service: Service, logged: StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    labels = {"level": "error", "logger": "api.http.problems"}
    before = counted("barrelwise_logged_total", **labels)
    monkeypatch.setattr("api.http.health.requests.check_ready", lambda service: 1 / 0)
    answer = send("GET", "/readyz")
    assert answer.status_code == 500
    fault, line = lines_of(logged)
    assert "ZeroDivisionError" in str(fault["trace"])
    assert fault["request"] == line["request"] == answer.headers["X-Request-Id"]
    assert counted("barrelwise_logged_total", **labels) == before + 1


def test_a_slow_query_is_logged_without_its_values(service: Service, logged: StringIO) -> None:
    before = counted("barrelwise_slow_queries_total")
    slow, seen = watching.Queries(slow_ms=5), []
    service.tell_of_queries(lambda statement, seconds: seen.append((statement, seconds)))
    with service.store.read() as work:
        work.machines.get("LH20-1")
    assert all(seconds >= 0 for _, seconds in seen)
    (asked,) = [statement for statement, _ in seen if "machines" in statement]
    slow(asked, 0.004)
    slow(asked, 0.006)
    watching.Queries(slow_ms=0)(asked, 1000.0)
    (line,) = lines_of(logged)
    assert (line["message"], line["ms"], line["level"]) == ("slow query", 6.0, "warning")
    assert str(line["sql"]).startswith("SELECT machines.")
    assert "LH20-1" not in logged.getvalue()
    assert counted("barrelwise_slow_queries_total") == before + 1
