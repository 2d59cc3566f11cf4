"""Closed tickets as the learning needs them, from the records."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from tests.triage.services import AGENT, NOON
from triage.rulebook_care.learning.records import Closed, closed_tickets
from triage.rulebook_care.learning.weights import stratum, stratum_of
from triage.rulebook_care.release.piece import kept
from triage.service import tickets


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


def test_the_first_outcome_of_a_ticket_is_that_of_its_first_decision(log: Log) -> None:
    tickets.answer(log.service, "T-000004", {"cord_damaged": True}, AGENT)
    log.close("T-000004", "dirty_filter")
    with log.service.store.read() as work:
        first = dict(work.recorded.first_outcomes(None))
        last = {one.key[0]: one.decision["outcome"] for one in work.recorded.closed(None)}
    assert first.keys() == last.keys() == {"T-000001", "T-000002", "T-000003", "T-000004"}
    assert (first["T-000004"], last["T-000004"]) == ("fix_in_store", "dispatch")


def test_first_outcomes_are_of_the_tickets_closed_in_the_time_asked_for(log: Log) -> None:
    with log.service.store.read() as work:
        assert dict(work.recorded.first_outcomes(NOON)).keys() == {"T-000001", "T-000002", "T-000003"}
        assert dict(work.recorded.first_outcomes(NOON + timedelta(seconds=1))) == {}


def test_tickets_are_counted_by_symptoms_and_first_outcome(log: Log) -> None:
    closed = Closed()
    current = kept(log.service.store, log.service.rulebook.version)
    with log.service.store.read() as work:
        first = dict(work.recorded.first_outcomes(None))
        tickets = list(closed_tickets(work.recorded.closed(None), current, closed, first))
    kind = stratum(["not_freezing"], "fix_in_store")
    assert (closed.strata, closed.learned) == ({kind: 3}, {kind: 2})
    assert [stratum_of(each) for each in tickets] == [kind, kind]


def test_without_first_outcomes_nothing_is_counted_by_them(log: Log) -> None:
    closed = Closed()
    current = kept(log.service.store, log.service.rulebook.version)
    with log.service.store.read() as work:
        tickets = list(closed_tickets(work.recorded.closed(None), current, closed))
    assert [each.first_outcome for each in tickets] == [None, None]
    assert (closed.strata, closed.learned) == ({}, {})
