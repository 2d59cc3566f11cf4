"""The API's own description of itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.api.conftest import Send
from tests.triage.services import REPORT


@pytest.fixture
def document(send: Send) -> dict[str, Any]:
    found = send("GET", "/openapi.json").json
    assert isinstance(found, dict)
    return found


def test_it_is_openapi_3_1_and_asks_for_a_token(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1.")
    assert document["security"] == [{"token": []}]


def test_errors_are_described_as_the_problems_they_are(document: dict[str, Any]) -> None:
    described = document["components"]["responses"]["DEFAULT_ERROR"]["content"]
    assert list(described) == ["application/problem+json"]
    name = described["application/problem+json"]["schema"]["$ref"].rsplit("/", 1)[1]
    assert set(document["components"]["schemas"][name]["properties"]) == {
        "type",
        "title",
        "status",
        "detail",
        "errors",
    }


def test_every_post_that_stores_says_that_it_takes_a_key(document: dict[str, Any]) -> None:
    for path, methods in document["paths"].items():
        if "post" not in methods or path in STORE_NOTHING:
            continue
        headers = {
            item["name"] for item in methods["post"].get("parameters", []) if item.get("in") == "header"
        }
        assert "Idempotency-Key" in headers, path
        assert ("If-Match" in headers) == ("{ticket_id}" in path), path


STORE_NOTHING = ("/v1/triage", "/v1/rulebook/files/{path}/check", "/v1/tickets/{ticket_id}/what-if")


def test_operations_have_names_of_their_own(document: dict[str, Any]) -> None:
    names = [
        operation["operationId"]
        for operations in document["paths"].values()
        for method, operation in operations.items()
        if method in ("get", "post", "put", "delete")
    ]
    assert len(names) == len(set(names)) > 40
    assert {"post_triage", "get_tickets_ticket_id", "get_lookups_rates"} <= set(names)


def test_answers_come_with_the_headers_that_the_document_says(send: Send, document: dict[str, Any]) -> None:
    paths, key = document["paths"], {"Idempotency-Key": "k-1"}
    for _ in range(2):
        made = send("POST", "/v1/reports", REPORT, **key)
    answered = send("POST", f"{made.headers['Location']}/answers", {"answers": {"fill_level": 60}})
    for answer, path in ((made, "/v1/reports"), (answered, "/v1/tickets/{ticket_id}/answers")):
        described = paths[path]["post"]["responses"][str(answer.status_code)]["headers"]
        left = set() if answer is made else {"Idempotency-Replayed"}
        assert described.keys() - left <= set(answer.headers.keys())
    assert described.keys() == {"ETag", "Idempotency-Replayed", "X-Request-Id"}


ANSWERS = (
    ("GET", "/v1/tickets/T-000001", "TicketOut"),
    ("GET", "/v1/tickets", "TicketPageOut"),
    ("GET", "/v1/machines/LH20-1/limits", "LimitsOut"),
    ("GET", "/v1/machines/LH20-1/limits?ticket=T-000001", "LimitsOut"),
    ("GET", "/v1/lookups/causes", "CausesOut"),
    ("GET", "/v1/lookups/parts", "PartsOut"),
    ("GET", "/v1/lookups/components", "ComponentsOut"),
    ("GET", "/v1/lookups/rates", "RatesOut"),
    ("POST", "/v1/triage", "DecisionOut"),
    ("GET", "/v1/tickets/T-999999", "ProblemOut"),
)


@pytest.mark.parametrize(("method", "path", "schema"), ANSWERS)
def test_an_answer_is_what_the_document_says_and_nothing_beside_it(
    send: Send, document: dict[str, Any], method: str, path: str, schema: str
) -> None:
    send("POST", "/v1/reports", REPORT)
    estimate = {"lines": [{"kind": "labor", "hours": "1", "amount": "95.00 USD"}], "cause": "low_fill"}
    send("POST", "/v1/tickets/T-000001/estimates", estimate, by="fogline")
    answer = send(method, path, REPORT if method == "POST" else None).json
    whole = {"$ref": f"#/components/schemas/{schema}", "components": document["components"]}
    Draft202012Validator(whole).validate(answer)


def bodies(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every body in JSON of a request and of an answer that is no problem, with where it stands."""
    for path, methods in document["paths"].items():
        for method in methods.keys() - {"parameters"}:
            told, answers = methods[method], methods[method]["responses"]
            for name, each in {"body": told.get("requestBody", {}), **answers}.items():
                if name == "body" or name.startswith("2"):
                    for kind, media in each.get("content", {}).items():
                        if kind == "application/json":
                            yield f"{method} {path} {name}", media


def test_every_body_is_shown_whole_and_as_it_is_described(document: dict[str, Any]) -> None:
    without, wrong, seen = [], [], 0
    for place, media in bodies(document):
        shown = list(media.get("examples", {}).values()) or [{"value": media.get("example")}]
        for one in shown:
            value = one.get("value")
            if "$ref" in one:
                value = document["components"]["examples"][one["$ref"].rpartition("/")[2]]["value"]
            if value is None:
                without.append(place)
                continue
            seen += 1
            whole = {**media["schema"], "components": document["components"]}
            found = Draft202012Validator(whole).iter_errors(value)
            wrong += [f"{place}: {error.json_path} {error.message[:90]}" for error in found]
    assert (without, wrong) == ([], [])
    assert seen > 80


def test_no_value_is_left_without_a_type(document: dict[str, Any]) -> None:
    kinds = {"type", "$ref", "anyOf", "oneOf", "allOf", "enum"}
    assert [
        f"{name}.{key}"
        for name, schema in document["components"]["schemas"].items()
        for key, held in schema.get("properties", {}).items()
        if not kinds & held.keys()
    ] == []


def test_the_check_of_answers_finds_what_is_not_described(document: dict[str, Any]) -> None:
    whole = {"$ref": "#/components/schemas/DecisionOut", "components": document["components"]}
    assert not Draft202012Validator(whole).is_valid({"visit": {"priority": "soon"}})
    assert not Draft202012Validator(whole).is_valid({"limit": {"unheard_of": "1"}})
