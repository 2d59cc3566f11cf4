"""A ticket changes as it was read, or is read again."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.services import (
    AGENT,
    OPS,
    REPORT,
    Clock,
    running_service,
)
from triage.service import tickets
from triage.service.service import Service
from triage.values.errors import ConflictError


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        yield running


def stored(service: Service) -> int:
    """Events of all tickets."""
    found = tickets.tickets(service, OPS, limit=200).tickets
    return sum(len(tickets.events(service, ticket.id, OPS)) for ticket in found)


def test_a_stale_change_is_told_what_happened_since(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": 2}, OPS)
    with pytest.raises(ConflictError, match="version 4, not 2; since then: answered by lead at 2026-03-02"):
        tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT, if_version=2)
    with pytest.raises(ConflictError, match="no such version"):
        tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT, if_version=9)
    assert stored(service) == 4


def test_of_many_changes_to_one_version_at_once_one_wins(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    won, lost = [], []

    def change(days: int) -> None:
        try:
            won.append(tickets.answer(service, ticket.id, {"filter_days": days}, AGENT, if_version=2))
        except ConflictError:
            lost.append(days)

    threads = [threading.Thread(target=change, args=(days,)) for days in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(won), len(lost)) == (1, 5)
    assert tickets.ticket(service, ticket.id, AGENT) == won[0]
