"""A ticket redecided with changes over HTTP: roles, bad input, edited rules, and nothing stored."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.services import REPORT, rulebook_files
from triage.service import what_if

FILTER_RULE = "evidence/filter-overdue.yml"


@pytest.fixture
def path(send: Send) -> str:
    ticket: Any = send("POST", "/v1/reports", REPORT).json
    return f"/v1/tickets/{ticket['ticket']}/what-if"


def edited(**changed: Any) -> str:
    data: Any = rulebook_files()[FILTER_RULE]
    return json.dumps({**data, **changed}, indent=1)


def errors(response: Any) -> dict[str, str]:
    assert response.content_type == "application/problem+json"
    return {each["pointer"]: each["detail"] for each in response.json["errors"]}


def test_a_changed_fact_gives_both_decisions_and_the_move(send: Send, path: str) -> None:
    before: Any = send("GET", path.removesuffix("/what-if")).json
    response = send("POST", path, {"set": {"cord_damaged": True}, "checks": {"fill-hopper": "not_cured"}})
    found: Any = response.json
    assert response.status_code == 200
    assert found["before"] == before["decision"]
    assert (found["before"]["outcome"], found["after"]["outcome"]) == ("fix_in_store", "dispatch")
    assert found["words"][0] == "Outcome: Fix in store → Send a technician."
    assert (found["as_recorded"], found["changed"], found["turning_points"]) == (True, True, None)
    assert send("GET", path.removesuffix("/what-if")).json == before


def test_an_empty_what_if_moves_nothing(send: Send, path: str) -> None:
    found: Any = send("POST", path, {}).json
    assert found["before"] == found["after"]
    assert (found["changed"], found["changes"]) == (False, [])


def test_turning_points_come_when_they_are_asked_for(send: Send, path: str) -> None:
    found: Any = send("POST", path, {"turning_points": True}).json["turning_points"]  # type: ignore[index]
    assert {"value": True, "outcome": "dispatch"} in next(
        each["changes"] for each in found["facts"] if each["fact"] == "cord_damaged"
    )


def test_only_ops_may_change_rules(send: Send, path: str) -> None:
    body = {"files": {FILTER_RULE: edited()}}
    assert [send("POST", path, body, by=by).status_code for by in ("agent", "fogline")] == [403, 403]
    assert send("POST", path, {"version": "sha256:00"}, by="agent").status_code == 403
    assert send("POST", path, body, by="ops").status_code == 200


def test_a_technician_asks_about_its_own_tickets_with_facts_only(send: Send, path: str) -> None:
    body = {"set": {"fill_level": 5}}
    assert [send("POST", path, body, by=by).status_code for by in ("fogline", "tern", "reporter")] == [
        200,
        404,
        403,
    ]


def test_an_edited_rule_moves_the_chances(send: Send, path: str) -> None:
    text = edited(then={"seen_with": {"dirty_filter": 0.05, "others": 0.3}})
    found: Any = send("POST", path, {"files": {FILTER_RULE: text}}, by="ops").json
    (moved,) = [
        each for each in found["changes"] if each["id"] == "dirty_filter" and each["part"] == "causes"
    ]
    assert moved["after"] < 0.2 < moved["before"]
    assert moved["factors"][0]["id"] == "filter-overdue"


@pytest.mark.parametrize(
    ("body", "pointer", "said"),
    [
        ({"set": {"fill_levl": 3}}, "/set/fill_levl", "did you mean"),
        ({"set": {"fill_level": "much"}}, "/set/fill_level", "does not fit"),
        ({"forget": ["age_months"]}, "/forget/0", "cannot be forgotten"),
        ({"checks": {"rinse-filter": "perhaps"}}, "/checks/rinse-filter/value", "Must be one of"),
        ({"checks": {"rinse": "cured"}}, "/checks/rinse", "no check"),
        ({"at": "soon"}, "/at", "not a time"),
        ({"spent": "much"}, "/spent", "USD"),
        ({"base": "other"}, "/base", "Must be one of"),
        ({"fact": {}}, "/fact", "not known here"),
        ({"set": [1]}, "/set", "an object is wanted"),
    ],
)
def test_bad_input_is_refused_at_its_place(
    send: Send, path: str, body: dict[str, Any], pointer: str, said: str
) -> None:
    response = send("POST", path, body)
    assert response.status_code == 422
    assert said in errors(response)[pointer]


def test_a_wrong_edit_is_told_by_line_and_column(send: Send, path: str) -> None:
    text = "id: filter-overdue\ntitle: Filter\nthen:\n  seen_with: {dirty_filter: 1.4}\n"
    found = send("POST", path, {"files": {FILTER_RULE: text}}, by="ops")
    assert found.status_code == 422
    details = {(each["pointer"], each["detail"]) for each in found.json["errors"]}  # type: ignore[index]
    pointer = "/files/evidence~1filter-overdue.yml"
    assert any(at == pointer and "line 4, column 29: " in detail for at, detail in details)


@pytest.mark.parametrize(
    "text",
    ["a: &x [*x]", "x: " + "[" * 5000, "{" * 5000, "a: !!python/object/apply:os.system [x]", "\x00"],
)
def test_a_hostile_edit_is_refused_and_the_server_goes_on(send: Send, path: str, text: str) -> None:
    assert send("POST", path, {"files": {FILTER_RULE: text}}, by="ops").status_code == 422
    assert send("GET", "/healthz").status_code == 200


def test_an_edit_nested_too_deep_for_the_engine_is_refused(send: Send, path: str) -> None:
    deep: Any = {"filter_days": 1}
    for _ in range(35):
        deep = {"none_of": [deep]}
    response = send("POST", path, {"files": {FILTER_RULE: edited(when=deep)}}, by="ops")
    assert response.status_code == 422
    assert "deep" in response.json["detail"]  # type: ignore[index]


def test_an_edit_that_takes_too_long_is_given_up(
    send: Send, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(what_if, "SECONDS", 0.01)
    response = send("POST", path, {"files": {FILTER_RULE: edited()}}, by="ops")
    assert response.status_code == 422
    assert "took more than 0.01 seconds" in response.json["detail"]  # type: ignore[index]
    assert send("GET", "/healthz").status_code == 200


def test_a_version_that_is_not_kept_is_not_found(send: Send, path: str) -> None:
    assert send("POST", path, {"version": "sha256:00"}, by="ops").status_code == 404


def test_a_ticket_that_is_not_there_is_not_found(send: Send, path: str) -> None:
    assert path
    assert send("POST", "/v1/tickets/T-999999/what-if", {}).status_code == 404


def test_it_is_described(send: Send) -> None:
    document: Any = send("GET", "/openapi.json").json
    described = document["paths"]["/v1/tickets/{ticket_id}/what-if"]["post"]
    assert "Nothing is stored" in described["summary"]
    assert "200" in described["responses"]
