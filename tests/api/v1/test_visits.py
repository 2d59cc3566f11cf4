"""Visits over HTTP: scheduled, moved, started, done, and as iCalendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import vobject

from tests.api.conftest import Send
from tests.api.v1.test_repairs import LARGE, YES
from tests.triage.services import ALDER, NOON, REPORT
from triage.schedule.contractors import Contractor
from triage.service.service import Service

LEAK: dict[str, Any] = {
    **REPORT,
    "symptoms": ["leaking"],
    "answers": {"cord_damaged": True},
}
"""A damaged cord: the minimal rulebook sends someone, whatever else holds."""

TOMORROW = "2026-03-03T09:00:00-05:00"


@pytest.fixture
def path(send: Send) -> str:
    ticket = send("POST", "/v1/reports", LEAK).json
    assert ticket is not None
    assert ticket["outcome"] == "dispatch"
    return f"/v1/tickets/{ticket['ticket']}/visits"


def scheduled(send: Send, path: str, **more: Any) -> Any:
    response = send("POST", path, {"state": "scheduled", "at": TOMORROW, **more})
    assert response.status_code == 201, response.json
    return response.json


def test_a_visit_takes_skill_kit_and_due_time_from_the_decision(send: Send, path: str) -> None:
    visit = scheduled(send, path, technician="Van 3", minutes=60)
    decision = send("GET", path.removesuffix("/visits")).json["decision"]  # type: ignore[index]
    assert decision["visit"]["kit_chance"] == pytest.approx(40 / 60)
    wanted = decision["visit"]
    assert {key: visit[key] for key in ("skill", "kit", "due", "priority")} == {
        key: wanted[key] for key in ("skill", "kit", "due", "priority")
    }
    assert (visit["visit"], visit["state"], visit["purpose"]) == (1, "scheduled", "dispatch")
    assert (visit["contractor"], visit["technician"], visit["minutes"]) == ("fogline", "Van 3", 60)
    assert visit["late"] is True  # danger is due within four hours
    assert send("GET", path).json == {"items": [visit]}


def test_a_visit_goes_from_scheduled_to_started_to_done(send: Send, path: str, service: Service) -> None:
    scheduled(send, path, at="2026-03-02T12:30:00-05:00")
    service.now.move(hours=1)  # type: ignore[attr-defined]
    started = send("POST", path, {"state": "started"}, by="fogline").json
    assert started is not None
    assert (started["state"], started["started_at"]) == ("started", (NOON + timedelta(hours=1)).isoformat())
    service.now.move(hours=1)  # type: ignore[attr-defined]
    done = send("POST", path, {"state": "done", "at": "2026-03-02T13:50:00-05:00"}, by="fogline").json
    assert done is not None
    assert (done["state"], done["done_at"]) == ("done", "2026-03-02T13:50:00-05:00")
    log = send("GET", path.replace("visits", "events")).json
    assert log is not None
    assert [event["kind"] for event in log["items"]][2:] == ["dispatched", "visited", "visited"]
    again = scheduled(send, path)
    assert again["visit"] == 2


def test_a_visit_is_moved_under_its_number(send: Send, path: str) -> None:
    scheduled(send, path)
    moved = scheduled(send, path, visit=1, at="2026-03-04T09:00:00-05:00")
    assert (moved["visit"], moved["revision"], moved["at"]) == (1, 1, "2026-03-04T09:00:00-05:00")
    assert len(send("GET", path).json["items"]) == 1  # type: ignore[index]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"state": "scheduled", "at": TOMORROW, "contractor": "nobody"}, "/contractor"),
        ({"state": "scheduled", "at": TOMORROW, "contractor": 7}, "/contractor"),
        ({"state": "scheduled", "at": "tomorrow"}, "/at"),
        ({"state": "scheduled", "at": "2026-03-03T09:00:00"}, "/at"),
        ({"state": "scheduled", "at": "2026-03-01T09:00:00-05:00"}, "/at"),
        ({"state": "scheduled", "at": "2027-03-01T09:00:00-05:00"}, "/at"),
        ({"state": "scheduled", "at": TOMORROW, "minutes": -30}, "/minutes"),
        ({"state": "scheduled", "at": TOMORROW, "minutes": 90.5}, "/minutes"),
        ({"state": "scheduled", "at": TOMORROW, "minutes": True}, "/minutes"),
        ({"state": "scheduled", "at": TOMORROW, "visit": 7}, "/visit"),
        ({"state": "scheduled", "at": TOMORROW, "visit": "1"}, "/visit"),
        ({"state": "scheduled", "at": TOMORROW, "technician": "x" * 101}, "/technician"),
        ({"state": "scheduled", "at": TOMORROW, "technician": "a\x00b"}, "/technician"),
        ({"state": "canceled", "at": TOMORROW}, "/state"),
        ({"state": "started", "visit": 3}, "/visit"),
        ({"state": "started", "minutes": 30}, "/minutes"),
        ({"state": "scheduled", "at": TOMORROW, "van": 3}, "/van"),
    ],
)
def test_bad_input_names_the_field_and_stores_nothing(
    send: Send, path: str, body: dict[str, Any], pointer: str
) -> None:
    before = send("GET", path.replace("visits", "events")).json
    response = send("POST", path, body)
    assert response.status_code == 422
    assert response.content_type == "application/problem+json"
    assert response.json is not None
    assert pointer in {error["pointer"] for error in response.json["errors"]}
    assert send("GET", path.replace("visits", "events")).json == before


def test_a_visit_neither_starts_in_the_future_nor_before_the_ticket(send: Send, path: str) -> None:
    scheduled(send, path)
    for at in ("2026-03-02T18:00:00-05:00", "2026-03-01T09:00:00-05:00"):
        response = send("POST", path, {"state": "started", "at": at})
        assert response.status_code == 422
        assert response.json is not None
        assert response.json["errors"][0]["pointer"] == "/at"


def test_steps_out_of_order_are_refused(send: Send, path: str) -> None:
    assert send("POST", path, {"state": "started"}).status_code == 409
    scheduled(send, path)
    assert send("POST", path, {"state": "done"}).status_code == 409
    second = send("POST", path, {"state": "scheduled", "at": TOMORROW})
    assert second.status_code == 409
    assert send("POST", path, {"state": "started"}).status_code == 201
    assert send("POST", path, {"state": "started"}).status_code == 409
    moved = send("POST", path, {"state": "scheduled", "at": TOMORROW, "visit": 1})
    assert moved.status_code == 409


def test_nobody_is_sent_where_the_decision_sends_nobody(send: Send) -> None:
    ticket = send("POST", "/v1/reports", REPORT).json
    assert ticket is not None
    assert ticket["outcome"] == "fix_in_store"
    path = f"/v1/tickets/{ticket['ticket']}/visits"
    refused = send("POST", path, {"state": "scheduled", "at": TOMORROW})
    assert refused.status_code == 409
    assert refused.json is not None
    assert "sends nobody" in refused.json["detail"]
    assert send("GET", path).json == {"items": []}


def test_a_stale_etag_is_refused(send: Send, path: str) -> None:
    scheduled(send, path)
    body = {"state": "started"}
    assert send("POST", path, body, If_Match='"2"').status_code == 412
    assert send("POST", path, body, If_Match='"3"').status_code == 201


def test_a_key_sent_twice_schedules_once(send: Send, path: str) -> None:
    body = {"state": "scheduled", "at": TOMORROW}
    first = send("POST", path, body, Idempotency_Key="v1")
    again = send("POST", path, body, Idempotency_Key="v1")
    assert first.json == again.json
    assert len(send("GET", path).json["items"]) == 1  # type: ignore[index]


def test_visits_are_scoped_by_contractor_and_role(send: Send, path: str) -> None:
    body = {"state": "scheduled", "at": TOMORROW}
    assert send("POST", path, body, by="reporter").status_code == 403
    assert send("POST", path, body, by="tern").status_code == 404
    scheduled(send, path)
    assert send("GET", path, by="tern").status_code == 404
    assert send("GET", f"{path}/1.ics", by="tern").status_code == 404
    assert send("GET", f"{path}/1.ics", by=None).status_code == 401
    assert send("GET", f"{path}/1.ics", by="fogline").status_code == 200


def test_the_calendar_is_read_alike_by_another_library(send: Send, path: str) -> None:
    scheduled(send, path, minutes=45, technician="Van 3; the one with, commas")
    scheduled(send, path, visit=1, minutes=45, technician="Van 3; the one with, commas")
    response = send("GET", f"{path}/1.ics")
    assert response.status_code == 200
    assert response.content_type.startswith("text/calendar")
    text = response.get_data(as_text=True)
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")

    calendar = vobject.readOne(text)
    assert (calendar.version.value, calendar.method.value) == ("2.0", "PUBLISH")
    [event] = calendar.vevent_list
    assert event.uid.value == "T-000001-visit-1@barrelwise.invalid"
    assert event.sequence.value == "1"
    assert event.dtstart.value == datetime(2026, 3, 3, 14, tzinfo=UTC)
    assert event.dtend.value == datetime(2026, 3, 3, 14, 45, tzinfo=UTC)
    assert event.dtstamp.value == NOON
    assert event.summary.value == "Service visit: LH-20 LH20-1 (T-000001)"
    assert event.location.value == "Lanternway Alder Quay, Alder"
    lines = event.description.value.split("\n")
    assert "Technician: Van 3; the one with, commas" in lines
    assert "Bring: SEAL-1 Hopper seal" in lines
    assert any(line.startswith("Caution: Leave the plug alone") for line in lines)
    assert event.valarm.trigger.value == timedelta(hours=-1)


def test_the_same_visit_gives_the_same_calendar_later(send: Send, path: str, service: Service) -> None:
    scheduled(send, path)
    first = send("GET", f"{path}/1.ics").get_data()
    service.now.move(hours=5)  # type: ignore[attr-defined]
    assert send("GET", f"{path}/1.ics").get_data() == first


def test_a_visit_that_is_not_there_has_no_calendar(send: Send, path: str) -> None:
    assert send("GET", f"{path}/1.ics").status_code == 404
    assert send("GET", "/v1/tickets/T-999999/visits").status_code == 404


def test_without_a_time_or_a_contractor_both_are_chosen(send: Send, path: str) -> None:
    response = send("POST", path, {"state": "scheduled"})
    assert response.status_code == 201
    assert response.json is not None
    # Danger does not wait for the service hours; the machine's own contractor has no limit on record.
    assert (response.json["contractor"], response.json["at"]) == ("fogline", "2026-03-02T12:00:00-05:00")
    assert response.json["late"] is False


def test_a_full_contractor_is_passed_to_the_next_and_the_ticket_goes_with_it(
    send: Send, path: str, service: Service
) -> None:
    with service.store.write() as work:
        work.machines.put_contractors([Contractor("fogline", "Fogline", visits_a_day=1)])
    assert scheduled(send, path)["contractor"] == "fogline"
    second = send("POST", "/v1/reports", LEAK).json
    assert second is not None
    other = f"/v1/tickets/{second['ticket']}/visits"
    assert scheduled(send, other)["contractor"] == "tern"
    assert send("GET", f"/v1/tickets/{second['ticket']}", by="tern").status_code == 200
    assert send("GET", f"/v1/tickets/{second['ticket']}", by="fogline").status_code == 404
    full = send("POST", other, {"state": "scheduled", "at": TOMORROW, "visit": 1, "contractor": "fogline"})
    assert full.status_code == 409
    # The first ticket's visit may still be moved within its own day.
    assert scheduled(send, path, visit=1, at="2026-03-03T15:00:00-05:00")["contractor"] == "fogline"


def test_a_store_that_lets_nobody_in_then_is_said(send: Send, path: str, service: Service) -> None:
    with service.store.write() as work:
        work.machines.put_sites([replace(ALDER, access_from="10:00", access_until="16:00")])
    refused = send("POST", path, {"state": "scheduled", "at": TOMORROW})
    assert refused.status_code == 422
    assert refused.json is not None
    assert refused.json["errors"][0]["pointer"] == "/at"
    assert "10:00" in refused.json["detail"]
    assert scheduled(send, path, at="2026-03-03T10:00:00-05:00")["state"] == "scheduled"


def test_a_contractor_without_the_skill_is_refused_by_name_and_passed_over_otherwise(
    send: Send, path: str, service: Service
) -> None:
    with service.store.write() as work:
        work.machines.put_contractors([Contractor("fogline", "Fogline", skills=frozenset({"general"}))])
    named = send("POST", path, {"state": "scheduled", "at": TOMORROW, "contractor": "fogline"})
    assert named.status_code == 422
    visit = scheduled(send, path)
    assert visit["contractor"] == "tern"
    assert visit["passed_over"] == ["Fogline does no electrical work"]


def test_a_technician_plans_its_own_visits_only(send: Send, path: str) -> None:
    body = {"state": "scheduled", "at": TOMORROW, "contractor": "tern"}
    assert send("POST", path, body, by="fogline").status_code == 422
    del body["contractor"]
    planned = send("POST", path, body, by="fogline").json
    assert planned is not None
    assert planned["contractor"] == "fogline"


def test_a_held_case_is_visited_once_its_authority_has_said_yes(send: Send) -> None:
    ticket = send("POST", "/v1/reports", REPORT).json
    assert ticket is not None
    path = f"/v1/tickets/{ticket['ticket']}"
    held = send("POST", f"{path}/estimates", LARGE, by="fogline").json
    assert held is not None
    assert held["answer"] == "hold"
    body = {"state": "scheduled", "at": "2026-03-04T09:00:00-05:00"}
    assert send("POST", f"{path}/visits", body).status_code == 409
    assert send("POST", f"{path}/approvals", YES, by="ops").status_code == 201
    visit = send("POST", f"{path}/visits", body).json
    assert visit is not None
    assert (visit["purpose"], visit["priority"]) == ("approve", 3)
    assert visit["due"] == "2026-03-05T12:00:00-05:00"  # 27 service hours from the word at noon on Monday
    assert send("GET", f"{path}/visits/1.ics").status_code == 200
