"""Machines over HTTP: the record, what may be spent, and care."""

from __future__ import annotations

import pytest

from tests.api.conftest import Send
from tests.triage.machine.commissioning.test_judging import checklist
from tests.triage.services import REPORT


def test_the_record_of_a_machine_is_shown(send: Send) -> None:
    found = send("GET", "/v1/machines/LH20-1").json
    assert found is not None
    assert (found["serial"], found["contractor"], found["site"]["id"]) == ("LH20-1", "fogline", "halt-001")
    assert [event["kind"] for event in found["care"]]


def test_what_may_be_spent_is_said_as_of_any_day(send: Send) -> None:
    now = send("GET", "/v1/machines/LH20-1/limits", by="fogline").json
    assert now is not None
    assert now["limit"]["currency"] == "USD"
    assert {"component", "parts", "labor", "at_risk"} <= set(now["warranty"][0])
    later = send("GET", "/v1/machines/LH20-1/limits?at=2056-01-01", by="fogline").json
    assert later is not None
    assert not any(line["parts"]["covered"] for line in later["warranty"])
    early = send("GET", "/v1/machines/LH20-1/limits?at=1990-01-01")
    assert early.status_code == 422
    assert "shipped only on" in early.json["detail"]
    wrong = send("GET", "/v1/machines/LH20-1/limits?at=tomorrow")
    assert wrong.status_code == 422
    assert wrong.json is not None
    assert wrong.json["errors"][0]["pointer"] == "query:at"


def test_a_day_is_meant_where_the_machine_stands(send: Send) -> None:
    day = send("GET", "/v1/machines/LH20-1/limits?at=2026-07-01").json
    assert day is not None
    assert day["at"] == "2026-07-01T12:00:00-04:00"  # Eastern daylight time, wherever the server is


def test_a_cleaned_filter_is_in_the_log_afterwards(send: Send) -> None:
    before = len(send("GET", "/v1/machines/LH20-1").json["care"])  # type: ignore[index]
    done = send("POST", "/v1/machines/LH20-1/care", {"kind": "filter_cleaned"})
    assert done.status_code == 201
    assert done.json is not None
    assert len(done.json["care"]) == before + 1


def test_an_unknown_machine_is_not_found(send: Send) -> None:
    for path in ("/v1/machines/NOPE", "/v1/machines/NOPE/limits"):
        assert send("GET", path).status_code == 404


def commissioned(**changes: object) -> dict[str, object]:
    return {"kind": "commissioned", "details": checklist(machine="LH20-1", **changes)}


def test_a_checklist_is_judged_stored_and_shown(send: Send) -> None:
    body = commissioned(circuit__volts=111.5, shipping_bolt_removed=None)
    body["at"] = "2026-03-01T10:00:00-05:00"
    done = send("POST", "/v1/machines/LH20-1/care", body, by="fogline")
    assert done.status_code == 201
    assert done.json is not None
    found = {finding["id"]: finding for finding in done.json["findings"]}
    assert len(found) == 14
    assert found["circuit_volts"]["result"] == "failed"
    assert found["circuit_volts"]["found"] == "111.5 V"
    assert found["circuit_volts"]["why"].startswith("2.5 V too low")
    assert found["shipping_bolt"]["result"] == "missing"
    assert found["night_mode"]["result"] == "passed"
    seen = send("GET", "/v1/machines/LH20-1").json
    assert seen is not None
    assert seen["findings"] == done.json["findings"]
    assert seen["care"][-1]["details"] == body["details"]


def test_a_stored_checklist_is_heard_by_the_next_report(send: Send) -> None:
    send("POST", "/v1/machines/LH20-1/care", commissioned(seal={"style": "flat", "mounting": "machine"}))
    decision = send("POST", "/v1/triage", REPORT).json
    assert decision is not None
    assert decision["facts"]["seal_style"] == {"value": "flat", "from": "record"}


def test_a_checklist_entered_late_is_answered_by_its_own_findings(send: Send) -> None:
    send("POST", "/v1/machines/LH20-1/care", commissioned(at="2026-03-01T10:00:00-05:00"))
    late = commissioned(at="2026-02-20T10:00:00-05:00", trained=[])
    answer = send("POST", "/v1/machines/LH20-1/care", late).json
    assert answer is not None
    assert {each["id"]: each["result"] for each in answer["findings"]}["training"] == "failed"
    seen = send("GET", "/v1/machines/LH20-1").json
    assert seen is not None
    assert {each["result"] for each in seen["findings"]} == {"passed"}


def test_a_commissioning_without_a_checklist_misses_every_point(send: Send) -> None:
    assert send("GET", "/v1/machines/LH20-1").json["findings"] == []  # type: ignore[index]
    answer = send("POST", "/v1/machines/LH20-1/care", {"kind": "commissioned"}).json
    assert answer is not None
    assert {finding["result"] for finding in answer["findings"]} == {"missing"}


@pytest.mark.parametrize(
    ("details", "pointers"),
    [
        ({"circuit": {"volts": "120"}}, ["/details/circuit/volts"]),
        ({"sael": {}, "clearance": {"behind_in": -1}}, ["/details/clearance/behind_in", "/details/sael"]),
        ({"trained": ["lead", ""]}, ["/details/trained/1"]),
        ({"night_mode": {"start": "23:00"}}, ["/details/night_mode/end"]),
        ({"machine": "LH20-77"}, ["/details/machine"]),
        ({"at": "2024-12-31T10:00:00-05:00"}, ["/details/at"]),
        ({"at": "2026-03-03T10:00:00-05:00"}, ["/details/at"]),
        ({"clock": {"timezone": "Middle/Earth"}}, ["/details/clock/timezone"]),
        ([], ["/details"]),
    ],
)
def test_a_bad_checklist_is_refused_with_every_place_and_not_stored(
    send: Send, details: object, pointers: list[str]
) -> None:
    before = send("GET", "/v1/machines/LH20-1").json
    response = send("POST", "/v1/machines/LH20-1/care", {"kind": "commissioned", "details": details})
    assert response.status_code == 422
    assert response.content_type == "application/problem+json"
    assert response.json is not None
    assert sorted(error["pointer"] for error in response.json["errors"]) == pointers
    assert send("GET", "/v1/machines/LH20-1").json == before


def test_what_care_is_due_and_how_it_was_kept_is_shown(send: Send) -> None:
    seen = send("GET", "/v1/machines/LH20-1").json
    assert seen is not None
    assert seen["care_due"]["filter"] == {
        "interval_days": 15,
        "last_on": "2026-01-20",
        "days_since": 41,
        "due_on": "2026-02-04",
        "days_overdue": 26,
        "last_90_days": {
            "days_known": 42,
            "days_kept": 16,
            "share_kept": 0.381,
            "times": 1,
            "times_late": 0,
            "longest_overdue_days": 26,
        },
    }
    unknown = seen["care_due"]["full_clean"]
    assert (unknown["due_on"], unknown["days_overdue"]) == (None, None)
    assert (unknown["last_90_days"]["days_known"], unknown["last_90_days"]["share_kept"]) == (0, None)
