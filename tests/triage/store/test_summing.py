"""The days' sums are made in a request where they are few, and in a thread beside it where they are many."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from threading import Event

import pytest

from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.repairs.period import Period
from triage.service import tickets
from triage.service.fleet.commissioning import summing
from triage.service.numbers import numbers
from triage.service.service import Service
from triage.store.summing import AT_ONCE, sum_days

PERIOD = Period(NOON.date(), NOON.date() + timedelta(days=40))


@pytest.fixture
def many(tmp_path: Path) -> Iterator[Service]:
    """A report on each of more days than one request sums, the first on the day after NOON."""
    clock = Clock()
    with running_service(tmp_path, clock) as service:
        for _ in range(AT_ONCE + 1):
            clock.move(days=1)
            tickets.open_ticket(service, REPORT, AGENT)
        yield service


def _marked(service: Service) -> int:
    with service.store.read() as work:
        return len(work.day_sums.marked())


def test_without_a_thread_all_days_are_summed_at_once(many: Service) -> None:
    assert _marked(many) == AT_ONCE + 1
    assert sum_days(many.store, PERIOD) == 0
    assert _marked(many) == 0


def test_many_days_are_left_to_the_thread_and_said(many: Service) -> None:
    many.store.to_sum = Event()
    found = numbers(many, str(PERIOD.first), str(PERIOD.last))
    assert (found["days_to_sum"], found["opened"]) == (AT_ONCE + 1, 0)
    assert many.store.to_sum.is_set()
    many.store.to_sum.clear()
    assert sum_days(many.store, Period(PERIOD.first, PERIOD.first + timedelta(days=AT_ONCE))) == 0
    assert not many.store.to_sum.is_set()
    assert _marked(many) == 1


def test_the_thread_sums_what_is_marked_when_it_begins(many: Service) -> None:
    with summing(many):
        for _ in range(100_000):
            if not _marked(many):
                break
        found = numbers(many, str(PERIOD.first), str(PERIOD.last))
        assert (found["days_to_sum"], found["opened"]) == (0, AT_ONCE + 1)
    assert many.store.to_sum is None
