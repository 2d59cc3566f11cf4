"""Skipping, correcting, reading out, parking and taking back, each an event on the ticket."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.service import calls
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError, NotFoundError


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock()) as running:
        yield running


@pytest.fixture
def ticket(desk: Service) -> str:
    return desk.open_ticket({**REPORT, "answers": {}}, AGENT).id


def questions(desk: Service, ticket: str) -> list[str]:
    decision = desk.ticket(ticket, AGENT).decision
    assert decision is not None
    return [question["fact"] for question in decision["questions"]]


def last(desk: Service, ticket: str, kind: str) -> dict[str, Any]:
    found = [event for event in desk.events(ticket, AGENT) if event.kind == kind]
    return dict(found[-1].payload)


def test_what_the_clerk_cannot_tell_is_not_asked_again(desk: Service, ticket: str) -> None:
    asked = questions(desk, ticket)
    assert asked
    calls.skip(desk, ticket, asked[0], AGENT, None)
    assert asked[0] not in questions(desk, ticket)
    assert desk.explain(ticket).identical


def test_skipping_something_that_is_no_fact_is_refused(desk: Service, ticket: str) -> None:
    with pytest.raises(InputError, match="no fact"):
        calls.skip(desk, ticket, "moon_phase", AGENT, None)


def test_an_answer_against_the_record_says_what_it_corrects(desk: Service, ticket: str) -> None:
    calls.answer(desk, ticket, {"filter_days": 14}, AGENT, said={"filter_days": "two weeks ago"})
    payload = last(desk, ticket, "answered")
    assert payload["said"] == {"filter_days": "two weeks ago"}
    assert payload["corrects"] == {"filter_days": 41}


def test_undoing_goes_back_one_answer_at_a_time(desk: Service, ticket: str) -> None:
    before = desk.ticket(ticket, AGENT).report
    calls.answer(desk, ticket, {"filter_days": 3}, AGENT)
    calls.answer(desk, ticket, {"filter_days": 7}, AGENT)
    assert calls.undo(desk, ticket, AGENT, None).report["answers"] == {"filter_days": 3}
    assert calls.undo(desk, ticket, AGENT, None).report == before
    with pytest.raises(NotFoundError):
        calls.undo(desk, ticket, AGENT, None)


def test_a_stop_use_caution_is_unread_until_it_is_acknowledged(desk: Service, ticket: str) -> None:
    stopped = calls.answer(desk, ticket, {"cord_damaged": True}, AGENT)
    assert [said["rule"] for said in calls.unread(stopped)] == ["damaged-cord"]
    said = calls.acknowledge(desk, ticket, AGENT, stopped.version)
    assert said.acknowledged == ("damaged-cord",)
    assert calls.unread(desk.ticket(ticket, AGENT)) == []
    assert calls.acknowledge(desk, ticket, AGENT, None).version == said.version


def test_a_check_that_takes_its_time_parks_the_ticket(desk: Service, ticket: str) -> None:
    parked = calls.park(desk, ticket, "rinse-filter", AGENT, None)
    assert parked.parked_until == NOON + timedelta(minutes=40)
    assert desk.ticket(ticket, AGENT) == parked
    done = desk.record_check(ticket, "rinse-filter", "not_cured", AGENT)
    assert done.parked_until is None


def test_only_a_check_that_has_to_wait_parks(desk: Service, ticket: str) -> None:
    with pytest.raises(InputError, match="has to wait"):
        calls.park(desk, ticket, "nothing-such", AGENT, None)


def test_a_stale_step_is_refused(desk: Service, ticket: str) -> None:
    calls.answer(desk, ticket, {"filter_days": 3}, AGENT)
    with pytest.raises(ConflictError, match="answered by desk"):
        calls.skip(desk, ticket, "fill_level", AGENT, 2)
