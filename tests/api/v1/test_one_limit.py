"""A ticket's limit is the same at every door, after hours as someone is to come, and given out once."""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.api.money_world import World, money_files, money_world
from tests.triage.services import FOGLINE
from triage.decide.causes.inference import compile_rulebook
from triage.logic.conditions import Facts, Truth
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service import repairs
from triage.service.service import Service
from triage.store import open_store

NIGHT = "2026-03-02T20:00:00-05:00"


@pytest.fixture
def world(tmp_path: Path, store_url: str) -> Iterator[World]:
    with money_world(tmp_path, store_url) as running:
        yield running


@pytest.fixture
def serial(world: World) -> str:
    return world.machine("fogline")


def test_the_answer_of_a_ticket_says_what_is_spent_authorized_and_left(world: World, serial: str) -> None:
    ticket = world.ticket(serial)
    world.estimate(ticket, 2)  # 95 + 2 × 100 = 295
    limit = world.limit(serial, ticket)
    assert {key: limit[key] for key in ("nte", "spent_on_ticket", "headroom", "promised", "after_hours")} == {
        "nte": "650.00",
        "spent_on_ticket": "0.00",
        "headroom": "650.00",
        "promised": "0.00",
        "after_hours": False,
    }
    assert limit["authorization"] == {
        "number": f"{ticket}-A1",
        "amount": "295.00 USD",
        "expires_at": "2026-04-01T17:00:00+00:00",
    }
    world.close(ticket, 2, authorization=f"{ticket}-A1")
    world.post(f"/v1/tickets/{ticket}/reopen", {"why": "It is back."}, status=200)
    again = world.limit(serial, ticket)
    assert (again["spent_on_ticket"], again["spent_12_months"]) == ("295.00", "295.00")
    assert (again["headroom"], again["authorization"]) == ("355.00", None)


def test_a_short_text_says_it_too(world: World, serial: str) -> None:
    ticket, other = world.ticket(serial), world.ticket(serial)
    world.estimate(ticket, 2)
    world.estimate(other, 1)
    headers = {"Authorization": f"Bearer {world.tokens['fogline']}", "Accept": "text/plain"}
    text = world.client.get(f"/v1/machines/{serial}/limits?ticket={ticket}", headers=headers).text
    assert f"Authorized 295.00 USD by {ticket}-A1, to 2026-04-01T17:00" in text.splitlines()
    assert "Promised 195.00 to the machine's other tickets" in text.splitlines()


def test_after_hours_is_when_someone_is_to_come(world: World, serial: str) -> None:
    world.clock.move(hours=2)  # 14:00; due by 18:00, after the service hours
    ticket = world.ticket(serial)
    assert (world.limit(serial, ticket)["after_hours"], world.limit(serial, ticket)["nte"]) == (
        True,
        "800.00",
    )
    visit = world.send_contractor(ticket, "fogline", "2026-03-03T09:00:00-05:00")["visit"]
    assert world.limit(serial, ticket)["after_hours"] is False
    world.send_contractor(ticket, "fogline", NIGHT, visit=visit)
    assert world.limit(serial, ticket)["headroom"] == "800.00"
    assert world.get(f"/v1/tickets/{ticket}")["decision"]["limit"]["headroom"] == "800.00"
    answer = world.estimate(ticket, 4.5)  # 95 + 4.5 × 100 × 1.5 = 770
    assert (answer["answer"], answer["estimate"]["beyond_warranty"]) == ("approve", "770.00 USD")


def test_a_ticket_says_of_when_its_limit_is(world: World, serial: str) -> None:
    ticket, at = world.ticket(serial), world.clock()
    world.clock.move(days=1)
    assert world.get(f"/v1/tickets/{ticket}")["decision"]["decided_at"] == at.isoformat()


def test_a_visit_over_the_end_of_service_is_split(world: World, serial: str) -> None:
    ticket = world.ticket(serial)
    world.send_contractor(ticket, "fogline", "2026-03-02T16:00:00-05:00")
    labor = world.estimate(ticket, 2.5)["estimate"]["lines"][1]
    # 16:00 to 18:30: one hour by day, 1.5 after 17:00: 100 + 1.5 × 100 × 1.5 = 325
    assert (labor["amount"], labor["agreed"]) == ("325.00 USD", "325.00 USD")
    assert labor["detail"] == "2.5 h, 1.5 h of it after hours"
    stated = world.estimate(ticket, 2.5, work_from="2026-03-02T16:45:00-05:00")["estimate"]
    assert stated["lines"][1]["amount"] == "362.50 USD"  # 0.25 × 100 + 2.25 × 100 × 1.5
    assert stated["beyond_warranty"] == "457.50 USD"


def test_an_estimate_for_the_night_is_judged_by_the_limit_of_the_night(world: World, serial: str) -> None:
    ticket = world.ticket(serial)
    assert world.limit(serial, ticket, after_hours="true")["headroom"] == "800.00"
    answer = world.estimate(ticket, 4, after_hours=True)  # 95 + 4 × 150 = 695
    assert (answer["answer"], answer["estimate"]["beyond_warranty"]) == ("approve", "695.00 USD")
    assert answer["reasons"] == ["It is within the 800.00 USD that may be spent on this ticket."]
    assert world.limit(serial, ticket)["headroom"] == "800.00"
    by_day = world.estimate(ticket, 6.5, after_hours=False)  # 745
    assert (by_day["answer"], by_day["estimate"]["beyond_warranty"]) == ("hold", "745.00 USD")
    assert world.limit(serial, ticket)["headroom"] == "650.00"


def test_a_ticket_that_can_wait_is_judged_by_day_and_says_why(tmp_path: Path, store_url: str) -> None:
    with money_world(tmp_path, store_url, money_files(default_priority=3)) as world:
        serial = world.machine("fogline")
        ticket = world.ticket(serial)
        answer = world.estimate(ticket, 4, after_hours=True)
        assert answer["answer"] == "hold"
        assert answer["reasons"][-1] == (
            "It is judged by the limit for the day: after-hours rates are not agreed for this ticket, which "
            "can wait for service hours."
        )
        assert world.limit(serial, ticket)["after_hours_agreed"] is False
        assert world.limit(serial, ticket, after_hours="true")["headroom"] == "650.00"
        world.send_contractor(world.ticket(serial), "fogline", NIGHT)
        assert world.limit(serial, ticket)["headroom"] == "650.00"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"after_hours": True, "work_from": NIGHT}, "/after_hours"),
        ({"work_from": "2026-03-02T20:00:00"}, "/work_from"),
        ({"work_from": 7}, "/work_from"),
    ],
)
def test_a_work_time_that_cannot_be_read_is_named(
    world: World, serial: str, body: dict[str, Any], pointer: str
) -> None:
    ticket = world.ticket(serial)
    refused = world.estimate(ticket, 1, status=422, **body)
    assert [error["pointer"] for error in refused["errors"]] == [pointer]
    closing = world.close(ticket, 1, status=422, **body)
    assert [error["pointer"] for error in closing["errors"]] == [pointer]


def test_what_is_promised_to_one_ticket_is_not_left_for_another(world: World, serial: str) -> None:
    first, second, third = (world.ticket(serial) for _ in range(3))
    assert world.estimate(first, 5)["answer"] == "approve"  # 595 of 1500
    assert world.estimate(second, 5)["answer"] == "approve"  # 595, which leaves 310
    limit = world.limit(serial, third)
    assert (limit["promised"], limit["headroom"]) == ("1190.00", "310.00")
    assert world.get(f"/v1/machines/{serial}/limits")["limit"]["headroom"] == "310.00"
    assert world.limit(serial, first)["headroom"] == "650.00"  # 1500 less the 595 of the other
    assert world.estimate(third, 3)["answer"] == "hold"  # 395
    world.close(first, 1, authorization=f"{first}-A1")  # 195 of 595
    assert world.limit(serial, third)["headroom"] == "650.00"  # 1500 - 195 - 595 = 710
    world.clock.move(days=31)
    limit = world.limit(serial, third)
    assert (limit["promised"], limit["spent_12_months"], limit["headroom"]) == ("0.00", "195.00", "650.00")


class Meanwhile:
    """An engine that lets somebody else act once before it answers."""

    def __init__(self, service: Service, act: Any) -> None:
        self._engine, self._act = service.engine, act
        self.name = service.engine.name

    def truths(self, stage: str, facts: Facts) -> dict[str, Truth]:
        act, self._act = self._act, None
        if act is not None:
            other = threading.Thread(target=act)
            other.start()
            other.join()
        return dict(self._engine.truths(stage, facts))


def test_headroom_that_another_ticket_takes_meanwhile_is_gone(world: World, serial: str) -> None:
    first, second, third = (world.ticket(serial) for _ in range(3))
    world.estimate(first, 5)
    service = world.service
    body = {"cause": "other", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 5}]}
    engine = Meanwhile(service, lambda: repairs.estimate(service, second, body, FOGLINE))
    slow = Service(
        service.store, service.rulebook, engine, service.now, None, service.compile, service.new_id
    )
    # When it begins 650 may be spent; the other one's 595 leave 1500 - 2 × 595 = 310.
    answered = repairs.estimate(slow, third, body, FOGLINE)
    assert answered.repair.estimate is not None
    assert answered.repair.estimate.answer == "hold"
    assert world.limit(serial, third)["headroom"] == "310.00"


def estimate_there(url: str, ticket: str, now: datetime, start: threading.Barrier) -> None:
    """What another process does."""
    files = money_files()
    rulebook, store = rulebook_from_data(files), open_store(url)
    try:
        engine = compile_rulebook(rulebook, engine="plain")
        own = Service(
            store, rulebook, engine, lambda: now, files, partial(compile_rulebook, engine="plain"), str
        )
        body = {"cause": "other", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 4}]}  # 495
        start.wait(120)
        repairs.estimate(own, ticket, body, FOGLINE)
    finally:
        store.close()


def test_many_processes_are_not_promised_more_than_there_is(
    world: World, serial: str, store_url: str
) -> None:
    tickets = [world.ticket(serial) for _ in range(5)]
    spawn = multiprocessing.get_context("spawn")
    start, now = spawn.Barrier(len(tickets)), world.clock()
    asked = [spawn.Process(target=estimate_there, args=(store_url, each, now, start)) for each in tickets]
    for process in asked:
        process.start()
    for process in asked:
        process.join()
    assert [process.exitcode for process in asked] == [0] * len(asked)
    shown = [world.get(f"/v1/tickets/{ticket}")["repair"] for ticket in tickets]
    promised = [Decimal(one["authorization"]["amount"].split()[0]) for one in shown if one["authorization"]]
    assert promised == [Decimal("495.00")] * 3  # of 1500
    assert sorted(one["estimate"]["answer"] for one in shown) == ["approve"] * 3 + ["hold"] * 2
