"""Closed tickets as the learning needs them, from the records."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from tests.triage.services import AGENT
from triage.rulebook_care.learning.learning import ClosedTicket
from triage.rulebook_care.learning.records import Closed, closed_tickets
from triage.rulebook_care.release.piece import kept
from triage.service import tickets


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


def learned(log: Log) -> tuple[list[ClosedTicket], Closed]:
    closed = Closed()
    current = kept(log.service.store, log.service.rulebook.version)
    with log.service.store.read() as work:
        return list(closed_tickets(work.recorded.closed(None), current, closed)), closed


def test_tickets_without_a_cause_are_learned_from_as_well(log: Log) -> None:
    found, closed = learned(log)
    assert [each.cause for each in found] == ["dirty_filter", "dirty_filter", None]
    assert (closed.closed, closed.confirmed, closed.cured_unconfirmed) == (3, 2, 0)
    notes = " ".join(closed.notes())
    assert "Learned from 3 of 3 closed tickets: 2 with a confirmed cause, 1 without" in notes
    assert "Assumed: a ticket has one fault" in notes
    assert "Too thin" in notes


def test_of_checks_done_together_it_is_kept_that_one_of_them_fixed_it(log: Log) -> None:
    service = log.service
    tickets.answer(service, "T-000004", {"cord_damaged": False}, AGENT)
    tickets.record_check(service, "T-000004", "rinse-filter", "cured", AGENT, None, ["fill-hopper"])
    log.close("T-000004", None)
    found, closed = learned(log)
    assert set(found[-1].together) == {"rinse-filter", "fill-hopper"}
    assert found[-1].cured == {}
    assert closed.cured_unconfirmed == 1
