"""A reopened ticket's repair has a date of its own, and after some days it is a new ticket instead."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.triage.services import AGENT, FOGLINE, OPS, REPORT, TERN, Clock, rulebook_files, running_service
from triage.records.ticket import Ticket, fold
from triage.service import repairs, tickets
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError

LINES = [{"kind": "trip"}, {"kind": "labor", "hours": 1}]
DONE = {"cause": "compressor_fault", "cured_by": "repair", "lines": LINES}
MANIFEST = {"title": "A minimal rulebook", "currency": "USD", "reopen_days": 5}


def on(day: str, time: str = "12:00") -> datetime:
    """A moment in New York in winter, where the machine stands."""
    return datetime.fromisoformat(f"{day}T{time}:00-05:00")


@pytest.fixture
def clock() -> Clock:
    return Clock(on("2027-01-30"))


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    files = rulebook_files(**{"rulebook.yml": MANIFEST})
    with running_service(tmp_path, clock, files) as running:
        yield running


@pytest.fixture
def closed(service: Service, clock: Clock) -> Ticket:
    report = {**REPORT, "reported_at": clock.time.isoformat()}
    ticket = tickets.open_ticket(service, report, AGENT)
    return repairs.close(service, ticket.id, DONE, FOGLINE)


def paid_by(service: Service, ticket: Ticket) -> set[str]:
    data = {"cause": "compressor_fault", "lines": LINES}
    found = repairs.estimate(service, ticket.id, data, FOGLINE).repair.estimate
    assert found is not None
    return {line.paid_by for line in found.bill.lines}


@pytest.mark.parametrize(
    ("reopened", "payer"),
    [
        (on("2027-02-01", "23:59"), "standard"),  # 24 months of labor from 2025-02-01, the last day in
        (on("2027-02-02", "00:00"), "program"),
    ],
)
def test_warranty_of_a_reopened_ticket_is_judged_on_the_day_it_is_reopened(
    service: Service, clock: Clock, closed: Ticket, reopened: datetime, payer: str
) -> None:
    assert closed.closed is not None
    assert {line.paid_by for line in closed.closed.bill.lines} == {"standard"}
    clock.time = reopened
    again = repairs.reopen(service, closed.id, "It is warm again.", AGENT)
    assert again.report["reported_at"] == reopened.isoformat()
    assert again.decision is not None
    assert again.decision["warranty"]["labor"]["until"] is not None
    clock.move(days=3)  # when the estimate comes does not matter
    assert paid_by(service, again) == {payer}
    assert fold(tickets.events(service, closed.id, OPS)) == tickets.ticket(service, closed.id, OPS)


def test_a_second_estimate_keeps_the_day_its_fault_was_reported(service: Service, clock: Clock) -> None:
    report = {**REPORT, "reported_at": on("2027-01-30").isoformat()}
    ticket = tickets.open_ticket(service, report, AGENT)
    clock.time = on("2027-03-01")
    assert paid_by(service, ticket) == {"standard"}


@pytest.mark.parametrize(
    ("at", "late"),
    [
        (on("2027-02-04", "23:59"), False),  # five days after 30 January
        (on("2027-02-05", "00:00"), True),
        (datetime.fromisoformat("2027-02-05T04:59:00+00:00"), False),
        (datetime.fromisoformat("2027-02-05T05:00:00+00:00"), True),
    ],
)
def test_a_ticket_is_reopened_until_the_last_day_at_the_site(
    service: Service, clock: Clock, closed: Ticket, at: datetime, late: bool
) -> None:
    clock.time = at
    if not late:
        assert repairs.reopen(service, closed.id, "It is back.", AGENT).state == "open"
        return
    said = rf'until 2027-02-04 \(5 days\); open a new ticket instead, with "follows": "{closed.id}"'
    with pytest.raises(ConflictError, match=said):
        repairs.reopen(service, closed.id, "It is back.", AGENT)
    assert tickets.ticket(service, closed.id, OPS) == closed


def test_the_new_ticket_names_the_old_one(service: Service, clock: Clock, closed: Ticket) -> None:
    clock.time = on("2027-03-10")
    report = {**REPORT, "reported_at": clock.time.isoformat(), "follows": closed.id.lower()}
    new = tickets.open_ticket(service, report, AGENT)
    assert (new.follows, closed.follows) == (closed.id, None)
    assert paid_by(service, new) == {"program"}
    after = tickets.answer(service, new.id, {"fill_level": 50}, AGENT)
    assert tickets.ticket(service, new.id, OPS).follows == after.follows == closed.id


def test_only_a_closed_ticket_of_the_same_machine_is_followed(
    service: Service, clock: Clock, closed: Ticket
) -> None:
    report: dict[str, Any] = {**REPORT, "reported_at": clock.time.isoformat()}
    is_open = tickets.open_ticket(service, report, AGENT)
    for more, who, said in (
        ({"follows": is_open.id}, AGENT, "is open; add to that one"),
        ({"follows": closed.id, "machine": "LH30-2"}, AGENT, "is about LH20-1"),
        ({"follows": closed.id, "machine": None}, AGENT, "is about LH20-1"),
        ({"follows": "T-999999"}, AGENT, "no ticket"),
        ({"follows": closed.id, "machine": "LH30-2"}, TERN, "no ticket"),
        ({"follows": 5}, AGENT, "text"),
    ):
        with pytest.raises(InputError, match=said) as refused:
            tickets.open_ticket(service, {**report, **more}, who)
        assert [problem.pointer for problem in refused.value.problems] == ["/follows"]
