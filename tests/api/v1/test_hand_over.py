"""A ticket goes to another contractor: from then on its limits, rates and rights are the new one's."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.money_world import World, money_world

TOMORROW = "2026-03-03T09:00:00-05:00"


@pytest.fixture
def world(tmp_path: Path, store_url: str) -> Iterator[World]:
    with money_world(tmp_path, store_url) as running:
        yield running


@pytest.fixture
def serial(world: World) -> str:
    return world.machine("fogline")


@pytest.fixture
def ticket(world: World, serial: str) -> str:
    """Estimated by its contractor at 95 + 5 × 100 = 595 and approved, then handed over."""
    ticket = world.ticket(serial)
    assert world.estimate(ticket, 5)["answer"] == "approve"
    world.send_contractor(ticket, "tern", TOMORROW)
    return ticket


def test_what_stood_authorized_is_withdrawn_and_says_why(world: World, ticket: str) -> None:
    events = world.get(f"/v1/tickets/{ticket}/events")["items"]
    assert [event["kind"] for event in events][-3:] == ["withdrawn", "dispatched", "decided"]
    assert events[-3]["payload"] == {
        "contractor": "fogline",
        "authorization": f"{ticket}-A1",
        "why": "tern is sent instead of fogline",
    }
    shown = world.get(f"/v1/tickets/{ticket}")
    assert (shown["contractor"], shown["repair"]["authorization"]) == ("tern", None)
    assert (shown["repair"]["estimate"], shown["repair"]["approval"]) == (None, None)
    assert "estimate" not in shown["report"]


def test_the_estimate_is_judged_by_the_limit_of_who_has_the_ticket(
    world: World, serial: str, ticket: str
) -> None:
    answer = world.estimate(ticket, 6, by="tern")  # 60 + 6 × 90 = 600, above 550 and within 650
    assert (answer["answer"], answer["estimate"]["beyond_warranty"]) == ("hold", "600.00 USD")
    assert answer["reasons"] == ["It is above the 550.00 USD that may be spent on this ticket."]
    assert world.limit(serial, ticket)["headroom"] == "550.00"
    assert world.get(f"/v1/tickets/{ticket}")["decision"]["limit"]["headroom"] == "550.00"


def test_it_is_closed_on_the_new_ones_authorization_only(world: World, ticket: str) -> None:
    old = world.close(ticket, 5, by="tern", status=422, authorization=f"{ticket}-A1")
    assert "has no authorization" in old["detail"]
    number = world.estimate(ticket, 5, by="tern")["authorization"]["number"]
    assert number == f"{ticket}-A2"
    closed = world.close(ticket, 5, by="tern", authorization=number)["closed"]
    assert (closed["cost"], closed["contractor"]) == ("510.00 USD", "tern")


def test_who_is_sent_sees_the_machine_and_its_own_limits(world: World, serial: str, ticket: str) -> None:
    assert world.get(f"/v1/machines/{serial}", by="tern")["serial"] == serial
    own = world.get(f"/v1/machines/{serial}/limits", by="tern")
    assert (own["contractor"], own["limit"]["nte"]) == ("tern", "550.00")
    assert world.limit(serial, ticket, by="tern") == world.limit(serial, ticket)
    world.get(f"/v1/machines/{serial}/limits?contractor=fogline", by="tern", status=422)
    world.get(f"/v1/machines/{serial}/limits?ticket={ticket}&contractor=fogline", status=422)
    world.get(f"/v1/machines/{serial}/limits?ticket={ticket}&at=2026-03-02", status=422)
    world.close(ticket, 1, by="tern")
    world.get(f"/v1/machines/{serial}", by="tern", status=404)


def test_each_sees_its_own_part_and_the_desk_sees_all(world: World, serial: str, ticket: str) -> None:
    everything = ["reported", "decided", "estimated", "decided", "approved"]
    everything += ["withdrawn", "dispatched", "decided"]
    assert world.kinds(ticket) == world.kinds(ticket, by="ops") == everything
    assert world.kinds(ticket, by="tern") == ["reported", "dispatched", "decided"]
    secrets = ("595.00", "650.00", "95.00 USD", f"{ticket}-A1")
    for path in (f"/v1/tickets/{ticket}", f"/v1/tickets/{ticket}/events", f"/v1/tickets/{ticket}/visits"):
        text = world.send("GET", path, by="tern").text
        assert [secret for secret in secrets if secret in text] == [], path
    world.get(f"/v1/tickets/{ticket}", by="fogline", status=404)
    assert world.get(f"/v1/machines/{serial}", by="fogline")["tickets"] == []
    assert [one["ticket"] for one in world.get(f"/v1/machines/{serial}")["tickets"]] == [ticket]


def test_who_gets_it_back_sees_what_it_had_and_not_what_came_between(world: World, ticket: str) -> None:
    world.estimate(ticket, 5, by="tern")
    world.send_contractor(ticket, "fogline", TOMORROW, visit=1)
    kinds = world.kinds(ticket, by="fogline")
    own = ["reported", "decided", "estimated", "decided", "approved", "withdrawn"]
    assert kinds == [*own, "dispatched", "dispatched", "decided"]
    assert "510.00" not in world.send("GET", f"/v1/tickets/{ticket}/events", by="fogline").text
    assert world.get(f"/v1/tickets/{ticket}")["decision"]["limit"]["nte"] == "650.00"


def test_a_visit_moved_within_a_contractor_withdraws_nothing(world: World, serial: str) -> None:
    ticket = world.ticket(serial)
    number = world.estimate(ticket, 5)["authorization"]["number"]
    world.send_contractor(ticket, "fogline", TOMORROW)
    world.send_contractor(ticket, "fogline", "2026-03-04T09:00:00-05:00", visit=1)
    assert "withdrawn" not in world.kinds(ticket)
    world.close(ticket, 5, authorization=number)


def test_an_authoritys_no_before_an_estimate_does_not_bind_the_next_contractor(
    world: World, serial: str
) -> None:
    ticket = world.ticket(serial)
    no = {"estimate": 0, "answer": "no", "authority": "ops_lead", "person": "Robin Vale", "why": "Far."}
    world.post(f"/v1/tickets/{ticket}/approvals", no, by="ops")
    world.send_contractor(ticket, "tern", TOMORROW)
    assert world.get(f"/v1/tickets/{ticket}")["repair"]["approval"] is None
    yes = {**no, "answer": "yes_up_to", "amount": "500.00 USD"}
    world.post(f"/v1/tickets/{ticket}/approvals", yes, by="ops")
