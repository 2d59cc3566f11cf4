"""Exchanges over HTTP: a unit is set aside, sent, put in; the old one goes where it is to go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send
from tests.triage.builders import minimal_files, policy
from tests.triage.services import ALDER, NOON, REPORT, Clock, rulebook_files, running_service
from triage.loading.depot import put_depot
from triage.records.custody import CustodyEvent, DepotUnit
from triage.service.service import Service

WORN = policy(
    "worn",
    {"filter_days": "> 300"},
    {"filter_days": 301},
    {"filter_days": 300},
    "swap",
    950,
    "Worn out.",
)
UNIT = DepotUnit("LH20-D1", "LH-20", 115, 20, "grooved", date(2026, 1, 10), "Stores East", date(2025, 12, 1))
UNITS = (
    UNIT,
    replace(UNIT, serial="LH20-D2", ready_since=date(2026, 2, 1)),
    replace(UNIT, serial="LH30-D3", model="LH-30"),
)
WORN_OUT: dict[str, Any] = {**REPORT, "answers": {"filter_days": 400}}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def extra_files() -> dict[str, Any]:
    return {}


@pytest.fixture
def service(tmp_path: Path, clock: Clock, extra_files: dict[str, Any]) -> Iterator[Service]:
    rates: Any = minimal_files()["rates.yml"]
    rates["default"]["distance_bands"] = [{"up_to_km": 100, "fee": 40}]
    files = rulebook_files(**{"policy/worn.yml": WORN, "rates.yml": rates, **extra_files})
    with running_service(tmp_path, clock, files) as running:
        with running.store.write() as work:
            put_depot(work, UNITS)
        yield running


def opened(send: Send, report: Any = WORN_OUT) -> str:
    ticket: Any = send("POST", "/v1/reports", report).json
    return f"/v1/tickets/{ticket['ticket']}"


@pytest.fixture
def path(send: Send) -> str:
    return opened(send)


def put(send: Send, path: str, body: Any, by: str = "agent", **headers: str) -> Any:
    response = send("POST", path, body, by=by, **headers)
    assert response.status_code == 200, response.json
    return response.json


def exchanged(send: Send, path: str, old_unit: str = "refurbish") -> Any:
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    return put(send, f"{path}/swap/done", {"old_unit": old_unit}, by="fogline")


def everything(send: Send, service: Service, path: str) -> Any:
    with service.store.read() as work:
        stored = work.depot.chains(), work.depot.at_depot(), work.machines.all()
    return send("GET", f"{path}/events").json, stored


def test_units_are_listed_best_first_with_the_due_time_of_an_urgent_call(send: Send, path: str) -> None:
    response = send("GET", f"{path}/swap")
    shown: Any = response.json
    assert response.headers["ETag"] == send("GET", path).headers["ETag"]
    assert (shown["refused"], shown["reserved"], shown["custody"]) == (None, None, [])
    assert [(one["unit"], one["fits"]) for one in shown["units"]] == [
        ("LH20-D1", True),
        ("LH20-D2", True),
        ("LH30-D3", False),
    ]
    assert shown["units"][2]["reasons"] == ["it is of model LH-30; the machine is of LH-20"]
    assert shown["priority"] == 2
    assert datetime.fromisoformat(shown["due"]) == datetime.fromisoformat("2026-03-03T11:55:00-05:00")


def test_a_unit_set_aside_is_on_the_way_and_offered_to_nobody_else(send: Send, path: str) -> None:
    shown = put(send, f"{path}/swap", {"unit": "LH20-D1"})
    assert shown["reserved"] == "LH20-D1"
    assert [one["unit"] for one in shown["units"]] == ["LH20-D2", "LH30-D3"]
    assert [(one["serial"], one["step"], one["other"]) for one in shown["custody"]] == [
        ("LH20-D1", "at_depot", None),
        ("LH20-D1", "on_the_way", "LH20-1"),
    ]
    other = opened(send)
    taken = send("POST", f"{other}/swap", {"unit": "LH20-D1"})
    assert taken.status_code == 409
    assert taken.json is not None
    assert taken.json["errors"][0]["pointer"] == "/unit"
    assert "LH20-D1 is taken: on the way" in taken.text
    assert path.rsplit("/", 1)[-1] not in taken.text


def test_another_unit_takes_the_place_of_the_one_set_aside_before(send: Send, path: str) -> None:
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    shown = put(send, f"{path}/swap", {"unit": "LH20-D2"})
    assert shown["reserved"] == "LH20-D2"
    assert [one["unit"] for one in shown["units"]] == ["LH20-D1", "LH30-D3"]
    back = put(send, f"{path}/swap", {"unit": None})
    assert back["reserved"] is None
    assert len(back["units"]) == 3
    assert send("POST", f"{path}/swap", {"unit": None}).status_code == 409


def test_the_new_unit_takes_site_and_contractor_and_the_old_keeps_its_history(
    send: Send, path: str, service: Service, clock: Clock
) -> None:
    with service.store.read() as work:
        before = work.machines.get("LH20-1"), work.care.history("LH20-1")
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    clock.move(hours=3)
    at = (NOON + timedelta(hours=2)).isoformat()
    shown = put(send, f"{path}/swap/done", {"old_unit": "refurbish", "at": at}, by="fogline")
    with service.store.read() as work:
        new, old = work.machines.get("LH20-D1"), work.machines.get("LH20-1")
        assert work.care.history("LH20-1") == before[1]
        assert work.care.history("LH20-D1").repairs == ()
    assert (new.site, new.contractor) == (ALDER, "fogline")
    assert (new.shipped_on, new.commissioned_on) == (date(2025, 12, 1), None)
    assert old == replace(before[0], site=None, contractor=None)
    ticket = path.rsplit("/", 1)[-1]
    last = {one["serial"]: one for one in shown["custody"]}
    assert last["LH20-D1"] == {
        "serial": "LH20-D1",
        "step": "installed",
        "at": at,
        "who": "fogline",
        "ticket": ticket,
        "other": "LH20-1",
        "place": "halt-001",
    }
    assert (last["LH20-1"]["step"], last["LH20-1"]["other"]) == ("refurbished", "LH20-D1")
    assert (shown["reserved"], shown["units"]) == (None, [])
    assert shown["refused"] == "LH20-1 was swapped already and is refurbished"
    log: Any = send("GET", f"{path}/events").json
    assert [event["kind"] for event in log["items"]][2:] == ["swap_reserved", "swapped"]
    assert log["items"][-1]["payload"] == {
        "old": "LH20-1",
        "new": "LH20-D1",
        "old_unit": "refurbish",
        "at": at,
    }


def test_the_page_of_the_old_unit_leads_to_the_new_one(
    send: Send, client: FlaskClient, tokens: dict[str, str], path: str
) -> None:
    client.post("/sign-in", data={"token": tokens["agent"]})
    assert "taken out of its store" not in client.get("/machines/LH20-1").text
    exchanged(send, path)
    page = client.get("/machines/LH20-1").text
    assert "taken out of its store" in page
    assert '<a href="/machines/LH20-D1">LH20-D1</a>' in page
    assert "taken out of its store" not in client.get("/machines/LH20-D1").text


def test_warranty_of_the_new_unit_counts_from_its_own_dates(send: Send, path: str) -> None:
    before: Any = send("GET", "/v1/machines/LH20-1/limits").json
    exchanged(send, path)
    after: Any = send("GET", "/v1/machines/LH20-D1/limits").json
    old: Any = send("GET", "/v1/machines/LH20-1/limits").json
    assert after["warranty"] != before["warranty"]
    assert old["warranty"] == before["warranty"]


@pytest.mark.parametrize(
    ("old_unit", "step"), [("refurbish", "refurbished"), ("scrap", "scrapped"), ("return", "returned")]
)
def test_the_old_unit_goes_where_it_is_said_to_go(send: Send, path: str, old_unit: str, step: str) -> None:
    shown = exchanged(send, path, old_unit)
    assert [one["step"] for one in shown["custody"] if one["serial"] == "LH20-1"] == [step]
    assert send("POST", f"{path}/swap", {"unit": "LH20-D2"}).status_code == 409
    assert send("POST", f"{path}/swap/done", {"old_unit": "scrap"}, by="ops").status_code == 409


@pytest.mark.parametrize(
    ("body", "status", "pointer"),
    [
        ({"unit": "LH20-D9"}, 422, "/unit"),
        ({"unit": "LH20-1"}, 422, "/unit"),
        ({"unit": "LH30-D3"}, 422, "/unit"),
        ({"unit": 7}, 422, "/unit"),
        ({"unit": "a\x00b"}, 422, "/unit"),
        ({"unit": "x" * 300}, 422, "/unit"),
        ({}, 422, "/unit"),
        ({"unit": "LH20-D1", "van": 3}, 422, "/van"),
    ],
)
def test_a_unit_that_cannot_be_set_aside_is_named_and_nothing_is_stored(
    send: Send, path: str, service: Service, body: Any, status: int, pointer: str
) -> None:
    before = everything(send, service, path)
    response = send("POST", f"{path}/swap", body)
    assert response.status_code == status
    assert response.content_type == "application/problem+json"
    assert response.json is not None
    assert pointer in {error["pointer"] for error in response.json["errors"]}
    assert everything(send, service, path) == before


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"old_unit": "keep"}, "/old_unit"),
        ({"old_unit": ["scrap"]}, "/old_unit"),
        ({}, "/old_unit"),
        ({"old_unit": "scrap", "at": "2026-03-03T09:00:00-05:00"}, "/at"),
        ({"old_unit": "scrap", "at": "2026-03-02T09:00:00-05:00"}, "/at"),
        ({"old_unit": "scrap", "at": "noon"}, "/at"),
        ({"old_unit": "scrap", "on": "2026-03-02"}, "/on"),
    ],
)
def test_an_exchange_that_cannot_be_is_refused_with_the_field_and_nothing_is_stored(
    send: Send, path: str, service: Service, body: Any, pointer: str
) -> None:
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    before = everything(send, service, path)
    response = send("POST", f"{path}/swap/done", body, by="fogline")
    assert response.status_code == 422
    assert response.json is not None
    assert pointer in {error["pointer"] for error in response.json["errors"]}
    assert everything(send, service, path) == before


def test_nothing_is_exchanged_where_the_decision_is_another(send: Send, service: Service) -> None:
    path = opened(send, REPORT)
    before = everything(send, service, path)
    reason = "the decision is fix_in_store, not swap; nothing is swapped"
    for what, body in (("swap", {"unit": "LH20-D1"}), ("swap/done", {"old_unit": "scrap"})):
        response = send("POST", f"{path}/{what}", body, by="ops")
        assert response.status_code == 409
        assert reason in response.text
    shown: Any = send("GET", f"{path}/swap").json
    assert (shown["refused"], shown["units"], shown["due"]) == (reason, [], None)
    assert everything(send, service, path) == before


def test_a_ticket_without_a_machine_has_nothing_to_exchange(send: Send) -> None:
    path = opened(send, {**WORN_OUT, "machine": None})
    response = send("POST", f"{path}/swap", {"unit": "LH20-D1"})
    assert response.status_code == 409
    assert "names no machine" in response.text


def test_an_exchange_is_not_confirmed_before_a_unit_is_sent(send: Send, path: str) -> None:
    response = send("POST", f"{path}/swap/done", {"old_unit": "scrap"}, by="ops")
    assert response.status_code == 409
    assert "no unit is set aside" in response.text


def test_a_closed_ticket_exchanges_nothing_and_a_unit_on_its_way_keeps_it_open(
    send: Send, path: str, service: Service
) -> None:
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    close = {"cause": "compressor_fault", "cured_by": "repair"}
    refused = send("POST", f"{path}/close", close, by="fogline")
    assert refused.status_code == 409, refused.json
    assert "LH20-D1 is on the way for this ticket" in refused.text
    put(send, f"{path}/swap", {"unit": None})
    closed = send("POST", f"{path}/close", close, by="fogline")
    assert closed.status_code == 200, closed.json
    before = everything(send, service, path)
    assert send("POST", f"{path}/swap", {"unit": "LH20-D1"}).status_code == 409
    assert send("POST", f"{path}/swap/done", {"old_unit": "scrap"}, by="ops").status_code == 409
    assert everything(send, service, path) == before


def test_the_visit_that_exchanged_a_machine_is_billed_for_where_it_stood(
    send: Send, path: str, service: Service
) -> None:
    exchanged(send, path)
    close = {
        "cause": "compressor_fault",
        "cured_by": "repair",
        "lines": [{"kind": "trip"}, {"kind": "distance"}],
    }
    closed = send("POST", f"{path}/close", close, by="fogline")
    assert closed.status_code == 200, closed.json
    event: Any = send("GET", f"{path}/events").json["items"][-1]  # type: ignore[index]
    assert event["payload"]["total"] == "135.00 USD"  # 95 for the trip, 40 for 42 km
    with service.store.read() as work:
        assert work.care.history("LH20-1").repairs[-1].ticket == path.rsplit("/", 1)[-1]
        assert work.care.history("LH20-D1").repairs == ()


def test_a_key_sent_again_sets_nothing_aside_twice_and_a_stale_version_is_refused(
    send: Send, path: str
) -> None:
    stale = send("GET", path).headers["ETag"]
    first = put(send, f"{path}/swap", {"unit": "LH20-D1"}, Idempotency_Key="k-1")
    again = send("POST", f"{path}/swap", {"unit": "LH20-D1"}, Idempotency_Key="k-1")
    assert (again.json, again.headers["Idempotency-Replayed"]) == (first, "true")
    late = send("POST", f"{path}/swap", {"unit": "LH20-D2"}, If_Match=stale)
    assert late.status_code == 412
    assert "swap_reserved by agent" in late.text
    assert send("GET", f"{path}/swap").json["reserved"] == "LH20-D1"  # type: ignore[index]


def test_only_the_desk_sets_aside_and_only_who_was_there_confirms(send: Send, path: str) -> None:
    assert send("POST", f"{path}/swap", {"unit": "LH20-D1"}, by="fogline").status_code == 403
    put(send, f"{path}/swap", {"unit": "LH20-D1"}, by="ops")
    assert send("POST", f"{path}/swap/done", {"old_unit": "scrap"}, by="agent").status_code == 403
    assert send("POST", f"{path}/swap/done", {"old_unit": "scrap"}, by="tern").status_code == 404
    put(send, f"{path}/swap/done", {"old_unit": "scrap"}, by="ops")


def test_a_technician_does_not_see_what_a_unit_did_for_others(
    send: Send, path: str, service: Service
) -> None:
    with service.store.write() as work:
        other = opened(send, {**WORN_OUT, "machine": "LH30-2"}).rsplit("/", 1)[-1]
        for step in ("on_the_way", "at_depot"):
            work.depot.add(CustodyEvent("LH20-D1", step, NOON, "desk", other, "LH30-2"))  # type: ignore[arg-type]
    put(send, f"{path}/swap", {"unit": "LH20-D1"})
    shown: Any = send("GET", f"{path}/swap", by="fogline").json
    assert [one["step"] for one in shown["custody"]] == ["at_depot", "on_the_way"]
    assert len(send("GET", f"{path}/swap").json["custody"]) == 4  # type: ignore[index]


def test_a_swap_counts_in_the_numbers_with_what_its_decision_said(
    send: Send, service: Service, path: str
) -> None:
    exchanged(send, path)
    found: Any = send("GET", "/v1/numbers?by=site", by="ops").json
    assert (found["swaps"], [one["swaps"] for one in found["groups"]]) == (1, [1])
    assert found["swaps_saved"]["of"] == 0  # no rule looks at what keeping costs, so nothing was compared
    with service.store.read() as work:
        behind = {"counted": "swaps", "since": "2026-03-02", "until": "2026-03-02"}
        assert [one.id for one in work.desk.listed("all", NOON, behind)] == [path.rsplit("/", 1)[-1]]


COMPARED = policy(
    "compared",
    {"filter_days": "> 300", "swap_saves_year": "> -100000"},
    {"filter_days": 301, "swap_saves_year": 0},
    {"filter_days": 300, "swap_saves_year": 0},
    "swap",
    960,
    "Worn out.",
)


@pytest.mark.parametrize("extra_files", [{"policy/compared.yml": COMPARED}])
def test_what_keeping_and_swapping_were_said_to_cost_is_summed(send: Send, path: str) -> None:
    ticket: Any = send("GET", path).json
    said = ticket["decision"]["computed_facts"]
    exchanged(send, path)
    found: Any = send("GET", "/v1/numbers", by="ops").json
    facts = {
        "cost": "swap_cost",
        "repair": "expected_repair",
        "keep_year": "keep_cost_year",
        "swap_year": "swap_cost_year",
    }
    amounts = {name: f"{said[fact]:.2f} USD" for name, fact in facts.items()}
    assert found["swaps_saved"] == {"of": 1, **amounts, "low": None, "high": None, "too_few": True}
    assert len(set(amounts.values())) == 4
