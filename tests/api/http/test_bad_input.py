"""Whatever is sent, the answer is a problem document that names the place; nothing is stored."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.api.conftest import Send
from tests.triage.services import REPORT


def changed(**members: Any) -> bytes:
    return json.dumps({**REPORT, **members}).encode()


BAD = {
    "not JSON": (b"[1", 400, None),
    "no body": (b"", 400, None),
    "not UTF-8": (b'{"symptoms": ["\xff"]}', 400, None),
    "not an object": (b"[]", 422, ""),
    "a key twice": (b'{"symptoms": [], "symptoms": []}', 400, None),
    "nested deeply": (b"[" * 100_000, 400, None),
    "NaN": (b'{"symptoms": ["not_freezing"], "answers": {"filter_days": NaN}}', 400, None),
    "Infinity": (b'{"symptoms": ["not_freezing"], "answers": {"filter_days": 1e999999}}', 400, None),
    "too large": (b'{"note": "' + b"x" * 10_000_000 + b'"}', 413, None),
    "no symptoms": (b"{}", 422, "/symptoms"),
    "an empty list of symptoms": (changed(symptoms=[]), 422, "/symptoms"),
    "an unknown symptom": (changed(symptoms=["not_frezing"]), 422, "/symptoms/0"),
    "a symptom of the wrong type": (changed(symptoms=[3]), 422, "/symptoms/0"),
    "an unknown key": (changed(symptom="x"), 422, "/symptom"),
    "an unknown fact": (changed(answers={"filter_dayz": 3}), 422, "/answers/filter_dayz"),
    "a wrong type": (changed(answers={"filter_days": "many"}), 422, "/answers/filter_days"),
    "a flag as a number": (changed(answers={"filter_days": True}), 422, "/answers/filter_days"),
    "out of range": (changed(answers={"filter_days": -1}), 422, "/answers/filter_days"),
    "an unknown serial": (changed(machine="XX-1"), 422, "/machine"),
    "before the machine was made": (changed(reported_at="2001-01-01T00:00:00Z"), 422, "/reported_at"),
    "in the future": (changed(reported_at="2099-01-01T00:00:00Z"), 422, "/reported_at"),
    "without an offset": (changed(reported_at="2026-06-01T00:00:00"), 422, "/reported_at"),
    "another currency": (
        changed(estimate={"total": "9.00 EUR", "beyond_warranty": "9.00 EUR"}),
        422,
        "/estimate",
    ),
    "a NUL in the note": (changed(note="a\0b"), 422, "/note"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_a_problem_with_its_place(send: Send, name: str) -> None:
    body, status, pointer = BAD[name]
    response = send("POST", "/v1/reports", body)
    assert response.status_code == status
    assert response.content_type == "application/problem+json"
    assert response.json is not None
    assert response.json["status"] == status
    assert response.json["detail"]
    if pointer is not None:
        assert any(error["pointer"].startswith(pointer) for error in response.json["errors"])
    listed = send("GET", "/v1/tickets").json
    assert listed == {"items": [], "next": None}


def test_another_media_type_is_refused(client: Any, tokens: dict[str, str]) -> None:
    headers = {"Authorization": f"Bearer {tokens['agent']}"}
    response = client.post("/v1/reports", data="symptoms=x", headers=headers)
    assert response.status_code == 415


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/v1/nothing", 404),
        ("GET", "/v1/tickets/T-NOPE", 404),
        ("GET", "/v1/tickets/T-NOPE/events", 404),
        ("DELETE", "/v1/tickets", 405),
        ("GET", "/v1/tickets?limit=0", 422),
        ("GET", "/v1/tickets?cursor=!!", 422),
        ("GET", "/v1/tickets?color=red", 422),
    ],
)
def test_wrong_addresses_are_problems_too(send: Send, method: str, path: str, status: int) -> None:
    response = send(method, path)
    assert response.status_code == status
    assert response.content_type == "application/problem+json"


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    body=st.fixed_dictionaries(
        {},
        optional={
            "symptoms": JSON | st.lists(st.sampled_from(["not_freezing", "x"]), max_size=3),
            "machine": JSON,
            "answers": JSON | st.dictionaries(st.sampled_from(["filter_days", "y"]), JSON, max_size=2),
            "reported_at": JSON,
            "checks": JSON,
            "note": JSON,
            "machine_record": JSON,
        },
    )
)
def test_no_body_whatever_breaks_the_server(send: Send, body: Any) -> None:
    response = send("POST", "/v1/triage", json.dumps(body).encode())
    assert response.status_code in (200, 400, 422)


MANY = {f"k{number}": 1 for number in range(20_000)}
LONG = "x" * 200_000
GREEDY = {
    "keys that nothing knows": ("/v1/triage", changed(**MANY), 20_000 - 50),
    "answers that nothing knows": ("/v1/reports", changed(answers=MANY), 20_000 - 50),
    "names of facts": ("/v1/triage", changed(unknown=list(MANY)), 20_000 - 50),
    "a long key": ("/v1/triage", changed(**{LONG: 1}), None),
    "a long fact": ("/v1/reports", changed(answers={LONG: 1}), None),
    "a long value": ("/v1/reports", changed(answers={"filter_days": LONG}), None),
    "a long key twice": ("/v1/triage", f'{{"{LONG[:9999]}": 1, "{LONG[:9999]}": 1}}'.encode(), None),
    "a long number": ("/v1/triage", b'{"machine": %s}' % (b"1" * 200_000), None),
    "query parameters": (f"/v1/tickets?{'&'.join(MANY)}", None, None),
    "a long ticket": (f"/v1/tickets/{LONG}", None, None),
}


@pytest.mark.parametrize("name", GREEDY)
def test_an_answer_repeats_little_of_a_bad_input(send: Send, name: str) -> None:
    path, body, left = GREEDY[name]
    response = send("GET" if body is None else "POST", path, body)
    assert 400 <= response.status_code < 500
    assert len(response.data) < 16_000
    if left is not None:
        assert response.json is not None
        assert len(response.json["errors"]) == 51
        assert response.json["errors"][-1] == {"detail": f"and {left:,} more; fix these first"}
