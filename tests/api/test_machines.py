"""Machines over HTTP: the record, what may be spent, and care."""

from __future__ import annotations

from tests.api.conftest import Send


def test_the_record_of_a_machine_is_shown(send: Send) -> None:
    found = send("GET", "/v1/machines/LH20-1").json
    assert found is not None
    assert (found["serial"], found["contractor"], found["site"]["id"]) == ("LH20-1", "fogline", "halt-001")
    assert [event["kind"] for event in found["care"]]


def test_what_may_be_spent_is_said_as_of_any_day(send: Send) -> None:
    now = send("GET", "/v1/machines/LH20-1/limits", by="fogline").json
    assert now is not None
    assert now["limit"]["currency"] == "USD"
    assert {"component", "parts", "labor", "at_risk"} <= set(now["cover"][0])
    later = send("GET", "/v1/machines/LH20-1/limits?at=2056-01-01", by="fogline").json
    assert later is not None
    assert not any(line["parts"]["covered"] for line in later["cover"])
    wrong = send("GET", "/v1/machines/LH20-1/limits?at=tomorrow")
    assert wrong.status_code == 422
    assert wrong.json is not None
    assert wrong.json["errors"][0]["pointer"] == "query:at"


def test_a_cleaned_filter_is_in_the_log_afterwards(send: Send) -> None:
    before = len(send("GET", "/v1/machines/LH20-1").json["care"])  # type: ignore[index]
    done = send("POST", "/v1/machines/LH20-1/care", {"kind": "filter_cleaned"})
    assert done.status_code == 201
    assert done.json is not None
    assert len(done.json["care"]) == before + 1


def test_an_unknown_machine_is_not_found(send: Send) -> None:
    for path in ("/v1/machines/NOPE", "/v1/machines/NOPE/limits"):
        assert send("GET", path).status_code == 404
