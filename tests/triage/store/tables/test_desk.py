"""The desk's list of open tickets, by what they wait for."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.records.payloads import Decided
from triage.service import calls, tickets
from triage.service.service import Service
from triage.store.tables.desk import View


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def desk(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        tickets.open_ticket(running, REPORT, AGENT)  # T-000001, at halt-001
        tickets.open_ticket(running, {**REPORT, "machine": "LH30-2"}, AGENT)
        tickets.open_ticket(running, {**REPORT, "machine": None, "answers": {"cord_damaged": True}}, AGENT)
        calls.park(running, "T-000001", "rinse-filter", AGENT, None)
        yield running


def listed(desk: Service, view: View, site: str | None = None, words: str = "") -> list[str]:
    with desk.store.read() as work:
        filters = {"site": site or "", "words": words}
        found = work.desk.listed(view, desk.now(), filters)
        assert work.desk.counts(desk.now(), filters)[view] == len(found)
    return [ticket.id for ticket in found]


def test_a_parked_ticket_comes_back_when_it_is_time_to_call(desk: Service, clock: Clock) -> None:
    assert (listed(desk, "parked"), listed(desk, "call_back")) == (["T-000001"], [])
    clock.move(minutes=40)
    assert (listed(desk, "parked"), listed(desk, "call_back")) == ([], ["T-000001"])


def test_a_ticket_with_a_visit_stands_under_due(desk: Service) -> None:
    assert listed(desk, "due") == ["T-000003"]


def test_the_list_is_cut_to_one_site(desk: Service) -> None:
    assert listed(desk, "open") == ["T-000003", "T-000002", "T-000001"]
    assert listed(desk, "open", "halt-023") == ["T-000002"]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("dana", ["T-000002"]),
        ("555 0177", []),
        ("555-0177", ["T-000002"]),
        ("5550177", ["T-000002"]),
        ("555-0101", ["T-000001"]),
        ("willow dana", ["T-000002"]),
        ("alder dana", []),
        ("t-000003", ["T-000003"]),
        ("lh30", ["T-000002"]),
        ("%", []),
    ],
)
def test_tickets_are_found_by_caller_phone_store_machine_and_number(
    desk: Service, words: str, found: list[str]
) -> None:
    told = {"caller": "Dana", "phone": "555-0177"}
    calls.add_details(desk, "T-000002", told, AGENT, None)
    assert listed(desk, "all", words=words) == found


def test_what_is_solved_or_closed_is_listed_apart(desk: Service) -> None:
    tickets.record_check(desk, "T-000002", "rinse-filter", "cured", AGENT)
    assert listed(desk, "open") == ["T-000003", "T-000001"]
    assert listed(desk, "solved") == ["T-000002"]
    assert listed(desk, "unfinished") == ["T-000003", "T-000002", "T-000001"]
    assert listed(desk, "closed") == []


def test_a_line_of_the_list_says_where_and_what(desk: Service) -> None:
    with desk.store.read() as work:
        line = work.desk.listed("parked", NOON)[0]
    assert (line.site_name, line.town, line.symptoms) == ("Lanternway Alder Quay", "Alder", ("not_freezing",))


def test_the_log_comes_without_decisions_and_the_one_before_is_found(desk: Service) -> None:
    tickets.answer(desk, "T-000002", {"filter_days": 40}, AGENT)
    with desk.store.read() as work:
        log = work.desk.log("T-000002")
        before = work.desk.decision_before("T-000002", 4)
    assert [event.kind for event in log] == ["reported", "decided", "answered", "decided"]
    assert log[1].payload == Decided({}, {})
    assert before is not None
    assert "filter_days" not in before["facts"]


def test_the_newest_open_ticket_of_a_machine_is_found(desk: Service) -> None:
    with desk.store.read() as work:
        assert work.desk.open_on_machine("LH20-1") == "T-000001"
        assert work.desk.open_on_machine("NOPE") is None


def test_all_machines_are_listed_for_the_search(desk: Service) -> None:
    with desk.store.read() as work:
        machines = work.desk.listed_machines()
        assert work.desk.machine_count() == len(machines) == 2
    assert {machine.site for machine in machines} == {"halt-001", "halt-023"}
