"""Every route of /v1 asks for a token, and each role may do only its own."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send
from tests.triage.services import NOON, REPORT
from triage.service.service import Service

OPEN = {"/v1/healthz"}


def routes(client: FlaskClient) -> list[tuple[str, str]]:
    found = []
    for rule in client.application.url_map.iter_rules():
        if rule.rule.startswith("/v1") and rule.rule not in OPEN:
            path = rule.rule.replace("<ticket_id>", "T-000001").replace("<serial>", "LH20-1")
            path = path.replace("<int:number>", "1").replace("<path:path>", "facts/filter_days.yml")
            found += [(method, path) for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})]
    return found


def test_every_route_asks_for_a_token(client: FlaskClient) -> None:
    asked = routes(client)
    assert len(asked) >= 10
    for method, path in asked:
        response = client.open(path, method=method, json={})
        assert response.status_code == 401, (method, path)
        assert response.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("token", ["", "nonsense", "bw_" + "x" * 43])
def test_an_unknown_token_opens_nothing(client: FlaskClient, token: str) -> None:
    response = client.get("/v1/tickets", headers={"Authorization": f"Bearer {token}"})
    assert response.status_code == 401


def test_a_revoked_token_opens_nothing(send: Send, service: Service) -> None:
    assert send("GET", "/v1/tickets").status_code == 200
    with service.store.write() as work:
        work.tokens.revoke("agent", NOON)
    assert send("GET", "/v1/tickets").status_code == 401


@pytest.mark.parametrize("path", ["/v1/reports", "/v1/tickets/T-1/answers", "/v1/tickets/T-1/checks"])
def test_a_reporter_reads_only(send: Send, path: str) -> None:
    assert send("POST", path, REPORT, by="reporter").status_code == 403
    assert send("GET", "/v1/tickets", by="reporter").status_code == 200


def test_a_technician_sees_its_own_contractors_tickets_and_machines_only(send: Send) -> None:
    ticket = send("POST", "/v1/reports", REPORT).json
    assert ticket is not None
    path = f"/v1/tickets/{ticket['ticket']}"
    mine = [path, f"{path}/events", "/v1/machines/LH20-1", "/v1/machines/LH20-1/limits"]
    assert [send("GET", one, by="fogline").status_code for one in mine] == [200] * 4
    assert [send("GET", one, by="tern").status_code for one in mine] == [404] * 4
    answers = {"answers": {"filter_days": 3}}
    assert send("POST", f"{path}/answers", answers, by="tern").status_code == 404
    assert send("GET", "/v1/tickets", by="tern").json == {"items": [], "next": None}
    assert send("POST", f"{path}/answers", answers, by="fogline").status_code == 200


def test_health_and_the_openapi_document_are_open(client: FlaskClient) -> None:
    health = client.get("/healthz").json
    assert health is not None
    assert health["status"] == "ok"
    document = client.get("/openapi.json").json
    assert document is not None
    assert document["openapi"] == "3.1.0"
    assert "/v1/reports" in document["paths"]
