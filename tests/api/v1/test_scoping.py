"""Role × route × own or other: a technician's token reaches its own contractor's work and nothing else.

The matrix is made from the app's routes, so that a new one is in it by itself; a route without a body here is
called with an empty one, and must still refuse before it reads it.
"""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.routing import Rule

from tests.api.conftest import TOKENS, Send
from tests.triage.services import REPORT

SERIAL, TICKET = "<serial>", "<ticket_id>"
PARTICULAR = (SERIAL, TICKET)
BODIES: dict[str, Any] = {
    "answers": {"answers": {"filter_days": 3}},
    "checks": {"check": "rinse-filter", "result": "not_cured"},
    "estimates": {"lines": [{"kind": "trip"}]},
    "close": {"cause": "low_fill", "cured_by": "fill-hopper"},
    "care": {"kind": "filter_cleaned"},
    "swap": {"unit": "LH20-9"},
    "done": {"old_unit": "return"},
}


@pytest.fixture
def ticket(send: Send) -> str:
    opened: Any = send("POST", "/v1/reports", REPORT).json
    return str(opened["ticket"])


def v1_routes(client: FlaskClient) -> list[tuple[str, Rule]]:
    rules = [rule for rule in client.application.url_map.iter_rules() if rule.rule.startswith("/v1")]
    return [
        (method, rule)
        for rule in sorted(rules, key=lambda rule: rule.rule)
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"})
        if rule.rule != "/v1/healthz"
    ]


def roles_of(client: FlaskClient, method: str, rule: Rule) -> tuple[str, ...]:
    """The roles that the view itself names."""
    view: Any = client.application.view_functions[rule.endpoint]
    handler = getattr(getattr(view, "view_class", None), method.lower(), view)
    while handler is not None:
        if hasattr(handler, "roles"):
            return tuple(handler.roles)
        handler = getattr(handler, "__wrapped__", None)
    raise AssertionError(f"{method} {rule.rule} names no roles")


def address(rule: Rule, ticket: str, serial: str = "LH20-1") -> str:
    path = rule.rule.replace(TICKET, ticket).replace(SERIAL, serial)
    for name in rule.arguments:
        path = path.replace(f"<int:{name}>", "1").replace(f"<{name}>", "1")
    return path


def body_of(method: str, rule: Rule) -> Any:
    return BODIES.get(rule.rule.rsplit("/", 1)[-1], {}) if method == "POST" else None


def test_the_matrix_holds_every_route(client: FlaskClient) -> None:
    found = {(method, rule.rule) for method, rule in v1_routes(client)}
    assert len(found) >= 18
    for method, path in (
        ("POST", "/v1/tickets/<ticket_id>/estimates"),
        ("POST", "/v1/tickets/<ticket_id>/approvals"),
        ("POST", "/v1/tickets/<ticket_id>/close"),
        ("GET", "/v1/tickets/<ticket_id>/swap"),
        ("POST", "/v1/tickets/<ticket_id>/swap"),
        ("POST", "/v1/tickets/<ticket_id>/swap/done"),
        ("GET", "/v1/claims"),
        ("GET", "/v1/machines/<serial>/limits"),
    ):
        assert (method, path) in found


@pytest.mark.parametrize("by", TOKENS)
def test_a_role_that_a_route_does_not_name_is_refused_and_one_it_names_is_let_in(
    client: FlaskClient, send: Send, ticket: str, by: str
) -> None:
    role = TOKENS[by][0]
    for method, rule in v1_routes(client):
        status = send(method, address(rule, ticket), body_of(method, rule), by=by).status_code
        allowed = role in roles_of(client, method, rule)
        assert (status != 403) is allowed, (method, rule.rule, status)


def test_another_contractors_ticket_or_machine_is_not_found_on_any_route(
    client: FlaskClient, send: Send, ticket: str
) -> None:
    tried = 0
    before: Any = send("GET", f"/v1/tickets/{ticket}/events").json
    for method, rule in v1_routes(client):
        if any(part in rule.rule for part in PARTICULAR):
            response = send(method, address(rule, ticket), body_of(method, rule), by="tern")
            assert response.status_code in (403, 404, 422), (method, rule.rule, response.status_code)
            if method == "GET" or rule.rule.rsplit("/", 1)[-1] in BODIES:
                named = roles_of(client, method, rule)
                assert response.status_code == (404 if "technician" in named else 403), (method, rule.rule)
            tried += 1
    assert tried >= 12
    assert send("GET", f"/v1/tickets/{ticket}/events").json == before


def test_the_own_contractors_ticket_and_machine_are_found_on_every_route(
    client: FlaskClient, send: Send, ticket: str
) -> None:
    for method, rule in v1_routes(client):
        if method == "GET" and any(part in rule.rule for part in PARTICULAR) and len(rule.arguments) == 1:
            status = send(method, address(rule, ticket), by="fogline").status_code
            allowed = "technician" in roles_of(client, method, rule)
            assert status == (200 if allowed else 403), (method, rule.rule, status)


def test_no_list_shows_another_contractors_work(client: FlaskClient, send: Send, ticket: str) -> None:
    done = {
        "cause": "compressor_fault",
        "cured_by": "repair",
        "lines": [{"kind": "part", "number": "COMP-1", "serials": ["C-1"]}],
    }
    assert send("POST", f"/v1/tickets/{ticket}/close", done, by="fogline").status_code == 200
    seen = 0
    for method, rule in v1_routes(client):
        named = roles_of(client, method, rule)
        if method == "GET" and not rule.arguments and "technician" in named:
            text = send(method, rule.rule, by="tern").text
            for secret in (ticket, "LH20-1", "fogline", "halt-001"):
                assert secret not in text, (rule.rule, secret)
            seen += 1
    assert seen >= 3


def test_the_rates_of_another_contractor_are_not_told(send: Send) -> None:
    own = send("GET", "/v1/machines/LH20-1/limits?contractor=fogline", by="fogline")
    assert own.status_code == 200
    other = send("GET", "/v1/machines/LH20-1/limits?contractor=tern", by="fogline")
    assert other.status_code == 422
    unknown = send("GET", "/v1/machines/LH20-1/limits?contractor=nobody", by="fogline")
    assert unknown.status_code == 422
    assert other.json is not None and unknown.json is not None
    assert other.json["detail"].replace("tern", "nobody") == unknown.json["detail"]
