"""The API's own description of itself."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.conftest import Send


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
