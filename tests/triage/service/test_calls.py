"""Skipping, correcting, reading out, parking and taking back, each an event on the ticket."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.records.caller import Caller
from triage.service import calls, tickets, what_if
from triage.service.service import Service
from triage.values.dataclass_json import as_data
from triage.values.errors import ConflictError, InputError, NotFoundError


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock()) as running:
        yield running


@pytest.fixture
def ticket(desk: Service) -> str:
    return tickets.open_ticket(desk, {**REPORT, "answers": {}}, AGENT).id


def questions(desk: Service, ticket: str) -> list[str]:
    decision = tickets.ticket(desk, ticket, AGENT).decision
    assert decision is not None
    return [question["fact"] for question in decision["questions"]]


def last(desk: Service, ticket: str, kind: str) -> dict[str, Any]:
    found = [event for event in tickets.events(desk, ticket, AGENT) if event.kind == kind]
    return as_data(found[-1].payload)


def test_what_the_clerk_cannot_tell_is_not_asked_again(desk: Service, ticket: str) -> None:
    asked = questions(desk, ticket)
    assert asked
    calls.skip(desk, ticket, asked[0], AGENT, None)
    assert asked[0] not in questions(desk, ticket)
    assert what_if.explain(desk, ticket).identical


def test_skipping_something_that_is_no_fact_is_refused(desk: Service, ticket: str) -> None:
    with pytest.raises(InputError, match="no fact"):
        calls.skip(desk, ticket, "moon_phase", AGENT, None)


def test_undoing_goes_back_one_answer_at_a_time(desk: Service, ticket: str) -> None:
    before = tickets.ticket(desk, ticket, AGENT).report
    tickets.answer(desk, ticket, {"filter_days": 3}, AGENT)
    tickets.answer(desk, ticket, {"filter_days": 7}, AGENT)
    assert calls.undo(desk, ticket, AGENT, None).report["answers"] == {"filter_days": 3}
    assert calls.undo(desk, ticket, AGENT, None).report == before
    with pytest.raises(NotFoundError):
        calls.undo(desk, ticket, AGENT, None)


def test_a_stop_use_caution_is_unread_until_it_is_acknowledged(desk: Service, ticket: str) -> None:
    stopped = tickets.answer(desk, ticket, {"cord_damaged": True}, AGENT)
    assert [said.rule for said in calls.unread(stopped)] == ["damaged-cord"]
    said = calls.acknowledge(desk, ticket, AGENT, stopped.version)
    assert said.acknowledged == ("damaged-cord",)
    assert calls.unread(tickets.ticket(desk, ticket, AGENT)) == []
    assert calls.acknowledge(desk, ticket, AGENT, None).version == said.version


def test_a_check_that_takes_its_time_parks_the_ticket(desk: Service, ticket: str) -> None:
    parked = calls.park(desk, ticket, "rinse-filter", AGENT, None)
    assert parked.parked_until == NOON + timedelta(minutes=40)
    assert tickets.ticket(desk, ticket, AGENT) == parked
    done = tickets.record_check(desk, ticket, "rinse-filter", "not_cured", AGENT)
    assert done.parked_until is None


def test_only_a_check_that_has_to_wait_parks(desk: Service, ticket: str) -> None:
    with pytest.raises(InputError, match="has to wait"):
        calls.park(desk, ticket, "nothing-such", AGENT, None)


def test_a_stale_step_is_refused(desk: Service, ticket: str) -> None:
    tickets.answer(desk, ticket, {"filter_days": 3}, AGENT)
    with pytest.raises(ConflictError, match="answered by desk"):
        calls.skip(desk, ticket, "fill_level", AGENT, 2)


MIRA, INES = Caller("mira", "agent"), Caller("ines", "agent")


@pytest.fixture
def desks(tmp_path: Path) -> Iterator[tuple[Service, Service, Clock]]:
    """One database, served twice, as two processes do."""
    clock = Clock()
    with running_service(tmp_path, clock) as one, running_service(tmp_path, clock) as other:
        yield one, other, clock


def test_who_looks_by_way_of_one_process_is_seen_by_way_of_another(
    desks: tuple[Service, Service, Clock],
) -> None:
    here, there, clock = desks
    assert calls.others_on(here, "T-1", MIRA) == []
    clock.move(seconds=1)
    assert calls.others_on(there, "T-1", INES) == ["mira"]
    assert calls.others_on(here, "T-1", MIRA) == ["ines"]
    assert calls.others_on(here, "T-2", MIRA) == []


def test_who_has_not_looked_for_two_minutes_is_gone(desks: tuple[Service, Service, Clock]) -> None:
    here, there, clock = desks
    calls.others_on(here, "T-1", MIRA)
    clock.time = NOON + calls.RECENT
    assert calls.others_on(there, "T-1", INES) == ["mira"]
    clock.move(seconds=1)
    assert calls.others_on(there, "T-1", INES) == []


def test_a_look_is_written_again_only_after_some_seconds(desks: tuple[Service, Service, Clock]) -> None:
    here, there, clock = desks
    second, again = timedelta(seconds=1), calls.NOTED_AGAIN_AFTER
    written = []
    for after in (timedelta(0), second, again - second, again, again + second):
        clock.time = NOON + after
        calls.others_on(here, "T-1", MIRA)
        with there.store.read() as work:
            written.append(work.presences.seen("T-1", NOON)["mira"] - NOON)
    first = timedelta(0)
    assert written == [first, first, first, again, again]


def test_old_looks_are_deleted_with_the_next_one_that_is_written(
    desks: tuple[Service, Service, Clock],
) -> None:
    here, there, clock = desks
    calls.others_on(here, "T-1", MIRA)
    clock.time = NOON + calls.KEPT + timedelta(seconds=1)
    calls.others_on(here, "T-2", INES)
    with there.store.read() as work:
        assert work.presences.seen("T-1", NOON) == {}
        assert list(work.presences.seen("T-2", NOON)) == ["ines"]


def test_what_is_told_later_is_kept_and_a_note_is_heard(service: Service) -> None:
    opened = tickets.open_ticket(service, {**REPORT, "machine": None}, AGENT)
    told = {"caller": "Dana", "phone": "555-0177", "note": "the plug is smoking"}
    found = calls.add_details(service, opened.id, told, AGENT, opened.version)
    assert (found.caller, found.phone) == ("Dana", "555-0177")
    kinds = [event.kind for event in tickets.events(service, opened.id, AGENT)]
    assert kinds == ["reported", "decided", "detailed", "noted", "decided"]
    again = calls.add_details(service, opened.id, {"caller": "Dana"}, AGENT, found.version)
    assert again.version == found.version, "nothing new is no event"


def test_a_machine_told_later_brings_its_record_its_place_and_its_dangers(service: Service) -> None:
    danger = {**REPORT, "answers": {"cord_damaged": True}}
    other = tickets.open_ticket(service, danger, AGENT)
    opened = tickets.open_ticket(service, {**REPORT, "machine": None, "serial_said": "LH20 one"}, AGENT)
    assert opened.dangers.standing == ()
    found = calls.add_details(service, opened.id, {"machine": "lh20 1"}, AGENT, None)
    assert (found.machine, found.site, found.contractor) == ("LH20-1", "halt-001", "fogline")
    assert [each.ticket for each in found.dangers.standing] == [other.id]
    assert found.report["serial_said"] == "LH20 one"
    assert found.decision is not None and found.decision["facts"]["filter_days"]["from"] == "record"
    with pytest.raises(ConflictError, match="is about LH20-1; open another"):
        calls.add_details(service, opened.id, {"machine": "LH30-2"}, AGENT, None)


def test_a_danger_of_a_ticket_reaches_the_machine_that_is_told_later(service: Service) -> None:
    other = tickets.open_ticket(service, REPORT, AGENT)
    opened = tickets.open_ticket(
        service, {**REPORT, "machine": None, "answers": {"cord_damaged": True}}, AGENT
    )
    calls.add_details(service, opened.id, {"machine": "LH20-1"}, AGENT, None)
    reached = tickets.ticket(service, other.id, AGENT)
    assert [each.ticket for each in reached.dangers.standing] == [opened.id]
    assert tickets.events(service, other.id, AGENT)[-1].kind == "decided"


@pytest.mark.parametrize(
    ("told", "pointer"),
    [({"caller": "x" * 81}, "/caller"), ({"note": ""}, ""), ({"machine": "LH99-9"}, "/machine")],
)
def test_what_cannot_be_kept_is_refused(service: Service, told: dict[str, str], pointer: str) -> None:
    opened = tickets.open_ticket(service, {**REPORT, "machine": None}, AGENT)
    with pytest.raises(InputError) as refused:
        calls.add_details(service, opened.id, told, AGENT, None)
    assert [problem.pointer for problem in refused.value.problems] == [pointer]


def test_a_clerk_who_knows_nothing_is_asked_about_safety_only(service: Service) -> None:
    opened = tickets.open_ticket(service, REPORT, AGENT)
    found = calls.skip_all(service, opened.id, AGENT, opened.version)
    unknown = found.report["unknown"]
    assert "filter_days" not in unknown, "what is on record is known"
    assert not [fact for fact in unknown if service.rulebook.facts[fact].danger]
    assert "cord_damaged" not in unknown
    assert all(question["safety"] for question in (found.decision or {})["questions"])
    assert calls.skip_all(service, opened.id, AGENT, None).version == found.version
    undone = calls.undo(service, opened.id, AGENT, found.version)
    assert not undone.report.get("unknown")
