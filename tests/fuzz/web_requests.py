"""Good requests: of the API by its OpenAPI document, of the pages by the links and forms they hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from lxml import html
from werkzeug.test import TestResponse

from tests.api.v1.test_repairs import CLOSE, LARGE, YES
from tests.api.v1.test_visits import LEAK, TOMORROW
from tests.triage.services import REPORT

Asked = dict[str, Any]
"""`method`, `path`, who asks (`by`), and if need be `query`, `headers`, and `body` or `form`."""

Send = Callable[[Asked], TestResponse]

TICKETS = ("T-000001", "T-000002", "T-000003", "T-000004")
"""One as reported, one estimated and approved, one with a danger and a visit, one closed."""

BY = ("ops", "fogline", "authority")
PATHS: Mapping[str, tuple[str, ...]] = {
    "ticket_id": TICKETS,
    "serial": ("LH20-1",),
    "caution": ("damaged-cord",),
    "number": ("1",),
}
SAMPLES: Mapping[str, Any] = {
    "lines": LARGE["lines"],
    "cause": "dirty_filter",
    "cured_by": "repair",
    "answer": "yes",
    "authority": "ops_lead",
    "estimate": 1,
    "amount": "600.00 USD",
    "why": "It was looked at on the quay.",
    "unit": "LH20-D1",
    "old_unit": "scrap",
    "check": "rinse-filter",
    "checks": {"rinse-filter": "not_cured"},
    "set": {"filter_days": 10},
    "spent": "120.00 USD",
    "forget": ["filter_days"],
    "since": "2026-02-01",
    "until": "2026-03-02",
    "technician": "Van 3",
    "minutes": 60,
    "answers": {"filter_days": 40},
    "symptoms": ["not_freezing"],
    "machine": "LH20-1",
    "site": "halt-001",
    "photos": ["photo/1"],
}


def prepare(send: Send) -> None:
    """Opens TICKETS."""
    for number, body in enumerate((REPORT, REPORT, LEAK, {**REPORT, "machine": "LH30-2"})):
        assert send(_post("/v1/reports", body)).status_code == 201, number
    steps = (
        (2, "estimates", LARGE, "fogline"),
        (2, "approvals", YES, "ops"),
        (3, "visits", {"state": "scheduled", "at": TOMORROW, "technician": "Van 3"}, "ops"),
        (4, "close", {**CLOSE, "lines": [{"kind": "trip"}]}, "ops"),
    )
    for number, what, body, by in steps:
        response = send(_post(f"/v1/tickets/T-{number:06}/{what}", body, by))
        assert response.status_code in (200, 201), response.text


def _post(path: str, body: Any, by: str = "ops") -> Asked:
    return {"method": "POST", "path": path, "by": by, "body": body}


def api_requests(document: Mapping[str, Any], machine: Any) -> Iterator[Asked]:
    """Each operation on each ticket by each role: with what is required, then with all there is."""
    schemas = document["components"]["schemas"]
    for pattern, methods in document["paths"].items():
        for method, operation in methods.items():
            if method == "parameters":
                continue
            for path in _paths(pattern):
                for by in BY:
                    asked: Asked = {"method": method.upper(), "path": path, "by": by}
                    queries = [each for each in operation.get("parameters", []) if each["in"] == "query"]
                    query = {
                        each["name"]: _value(each["schema"], schemas, each["name"], True) for each in queries
                    }
                    content = operation.get("requestBody", {}).get("content", {}).get("application/json")
                    if content is None:
                        yield asked
                        yield {**asked, "query": {name: str(value).lower() for name, value in query.items()}}
                        continue
                    for whole in (False, True):
                        yield {**asked, "body": _value(content["schema"], schemas, "", whole)}
    yield _post("/v1/triage", {**REPORT, "machine": None, "machine_record": machine})
    yield _post("/v1/tickets/T-000002/close", CLOSE)
    yield _post(
        "/v1/machines/LH20-1/care", {"kind": "commissioned", "details": {"shipping_bolt_removed": True}}
    )
    for state in ("scheduled", "started", "done"):
        yield _post("/v1/tickets/T-000003/visits", {"state": state})


def _paths(pattern: str) -> Iterator[str]:
    for name, values in PATHS.items():
        if f"{{{name}}}" in pattern:
            for value in values:
                yield from _paths(pattern.replace(f"{{{name}}}", value))
            return
    yield pattern


def _value(schema: Mapping[str, Any], schemas: Mapping[str, Any], name: str, whole: bool) -> Any:
    if "$ref" in schema:
        return _value(schemas[schema["$ref"].rsplit("/", 1)[1]], schemas, name, whole)
    if name in SAMPLES:
        return SAMPLES[name]
    if "enum" in schema:
        return schema["enum"][0]
    kinds = schema.get("type")
    kind = kinds[0] if isinstance(kinds, list) else kinds
    if kind == "object":
        wanted = schema.get("properties", {}) if whole else schema.get("required", [])
        properties = schema.get("properties", {})
        return {key: _value(properties[key], schemas, key, whole) for key in wanted}
    given = {"string": "x", "integer": 1, "number": 1, "boolean": False, "array": []}.get(str(kind))
    return TOMORROW if given is None or name.endswith("at") else given


def page_requests(send: Send, most: int = 120) -> Iterator[Asked]:
    """Every page that links lead to, and every form on them, filled in, as agent and as ops lead."""
    for by in ("agent", "ops"):
        seen, waiting = (
            set(),
            ["/", *(f"/tickets/{ticket}" for ticket in TICKETS), "/find?q=lh20", "/numbers"],
        )
        while waiting and len(seen) < most:
            address = waiting.pop(0)
            if address in seen:
                continue
            seen.add(address)
            path, _, query = address.partition("?")
            asked: Asked = {"method": "GET", "path": path, "by": by, "query": _query(query)}
            response = send(asked)
            if response.status_code >= 400 or response.mimetype != "text/html":
                continue
            yield asked
            page = html.fromstring(response.text)
            yield from (_filled(form, path, by) for form in page.forms)
            links = [str(link) for _, kind, link, _ in page.iterlinks() if kind == "href"]
            waiting += [link for link in links if link.startswith("/") and not link.startswith("/static")]


def _query(text: str) -> list[list[str]]:
    return [list(part.partition("=")[::2]) for part in text.split("&") if part]


FILL = {
    **{"q": "lh20", "value": "two weeks ago", "why": "It was looked at.", "note": "It is all liquid."},
    **{"fact": "filter_days", "check": "rinse-filter", "result": "not_cured", "machine": "LH20-1"},
    **{"symptom": "not_freezing", "words": "it leaks"},
}


def _filled(form: html.FormElement, path: str, by: str) -> Asked:
    """A form as a browser sends it, with its empty fields filled in."""
    pairs = [[name, value or FILL.get(name, "")] for name, value in form.form_values()]
    pairs += [[name, FILL[name]] for name in form.fields if name in FILL and name not in dict(pairs)]
    buttons = form.xpath(".//button[@name]")
    pairs += [[buttons[0].get("name"), buttons[0].get("value", "")]] if buttons else []
    asked = {"method": form.method.upper(), "path": (form.action or path).partition("?")[0], "by": by}
    return {**asked, "form" if asked["method"] == "POST" else "query": pairs}
