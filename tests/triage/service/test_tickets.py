"""Tickets are opened, answered, checked and listed; nothing is stored on bad input."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from tests.triage.services import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
    TERN,
    Clock,
    stored,
)
from triage.records.decision_json import as_json
from triage.records.ticket import fold
from triage.service import machines, requests, tickets, what_if
from triage.service.service import Service
from triage.values.dataclass_json import as_data
from triage.values.errors import InputError, NotFoundError
from triage.values.json_text import from_json, to_json


def test_a_report_becomes_a_decided_ticket(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    assert (ticket.id, ticket.version, ticket.state) == ("T-000001", 2, "open")
    assert (ticket.machine, ticket.site, ticket.contractor) == ("LH20-1", "halt-001", "fogline")
    assert ticket.decision is not None
    assert ticket.decision["ticket"] == ticket.id
    assert ticket.outcome == ticket.decision["outcome"] == "fix_in_store"
    assert ticket.decision["rulebook"] == service.rulebook.version
    assert tickets.ticket(service, ticket.id, OPS) == ticket


def test_the_ticket_and_the_computation_without_a_ticket_agree(service: Service) -> None:
    alone = from_json(to_json(as_json(tickets.decide_once(service, REPORT))))
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    assert ticket.decision is not None
    assert {**ticket.decision, "ticket": None} == alone


def test_triage_alone_stores_nothing(service: Service) -> None:
    tickets.decide_once(service, REPORT)
    assert stored(service) == 0


def test_the_care_log_of_the_machine_is_heard(service: Service) -> None:
    decision = tickets.decide_once(service, REPORT)
    assert decision.facts["filter_days"].value == Decimal(41)
    assert decision.facts["filter_days"].source == "record"


def test_an_answer_is_stored_and_decided_again(service: Service, clock: Clock) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    clock.move(minutes=3)
    again = tickets.answer(service, ticket.id, {"filter_days": 2}, AGENT, if_version=2)
    assert again.version == 4
    assert again.report["answers"] == {"fill_level": 70, "filter_days": 2}
    assert again.decision is not None
    assert ticket.decision is not None
    assert again.decision["facts"]["filter_days"] == {"value": 2, "from": "caller"}
    assert again.decision["causes"] != ticket.decision["causes"]
    assert (again.opened_at, again.changed_at) == (NOON, NOON + timedelta(minutes=3))
    kinds = [event.kind for event in tickets.events(service, ticket.id, AGENT)]
    assert kinds == ["reported", "decided", "answered", "decided"]


def test_the_state_is_the_fold_of_the_log(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": Decimal("2.5")}, AGENT)
    tickets.record_check(service, ticket.id, "rinse-filter", "not_cured", AGENT)
    assert fold(tickets.events(service, ticket.id, OPS)) == tickets.ticket(service, ticket.id, OPS)


def answered(service: Service, ticket_id: str) -> dict[str, Any]:
    found = [event for event in tickets.events(service, ticket_id, OPS) if event.kind == "answered"]
    return as_data(found[-1].payload)


def test_an_answer_against_the_record_says_what_it_corrects(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    said = {"filter_days": "two weeks ago"}
    tickets.answer(service, ticket.id, {"filter_days": 14}, AGENT, said=said)
    assert answered(service, ticket.id) == {
        "answers": {"filter_days": 14},
        "said": said,
        "corrects": {"filter_days": 41},
    }


def test_an_answer_that_the_record_holds_corrects_nothing(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": Decimal("41.0")}, AGENT)
    assert answered(service, ticket.id) == {"answers": {"filter_days": Decimal("41.0")}}


@pytest.mark.parametrize("words", ["14", " 14 ", "14.0", "+14"])
def test_words_that_are_the_value_are_not_kept_beside_it(service: Service, words: str) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"filter_days": 14}, AGENT, said={"filter_days": words})
    assert "said" not in answered(service, ticket.id)


def test_a_yes_is_kept_without_its_word(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    tickets.answer(service, ticket.id, {"cord_damaged": False}, AGENT, said={"cord_damaged": "no"})
    assert answered(service, ticket.id) == {"answers": {"cord_damaged": False}}


def test_a_check_that_did_not_cure_is_not_suggested_again(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    assert ticket.decision is not None
    assert "rinse-filter" in [step["check"] for step in ticket.decision["plan"]]
    after = tickets.record_check(service, ticket.id, "rinse-filter", "not_cured", AGENT)
    assert after.decision is not None
    assert "rinse-filter" not in [step["check"] for step in after.decision["plan"]]


def test_a_check_that_cured_says_so(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    after = tickets.record_check(service, ticket.id, "rinse-filter", "cured", AGENT)
    assert after.decision is not None
    assert after.decision["solved"] is True


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"machine": "LH20-7"}, "/machine"),
        ({"symptoms": []}, "/symptoms"),
        ({"symptoms": ["not_frezing"]}, "/symptoms/0"),
        ({"answers": {"filter_days": "many"}}, "/answers/filter_days"),
        ({"answers": {"filter_days": 5000}}, "/answers/filter_days"),
        ({"answers": {"filter_dayz": 5}}, "/answers/filter_dayz"),
        ({"answers": {"filter_days": float("nan")}}, "/answers/filter_days"),
        ({"reported_at": "2024-12-31T09:00:00-05:00"}, "/reported_at"),
        ({"reported_at": "2026-03-02T11:55:00"}, "/reported_at"),
        ({"reported_at": "2026-03-03T11:55:00Z"}, "/reported_at"),
        ({"color": "red"}, "/color"),
    ],
)
def test_a_wrong_report_is_refused_with_its_place_and_nothing_is_stored(
    service: Service, change: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InputError) as caught:
        tickets.open_ticket(service, {**REPORT, **change}, AGENT)
    assert pointer in [problem.pointer for problem in caught.value.problems]
    assert stored(service) == 0


@pytest.mark.parametrize("data", [None, [], "text", 5])
def test_what_is_no_report_at_all_is_refused(service: Service, data: object) -> None:
    with pytest.raises(InputError):
        tickets.open_ticket(service, data, AGENT)


@pytest.mark.parametrize("answers", [{}, {"filter_days": -1}, {"nonsense": 1}, {"filter_days": None}, []])
def test_a_wrong_answer_leaves_the_ticket_as_it_was(service: Service, answers: Any) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    with pytest.raises(InputError):
        tickets.answer(service, ticket.id, answers, AGENT)
    assert tickets.ticket(service, ticket.id, AGENT) == ticket
    assert stored(service) == 2


@pytest.mark.parametrize(("check", "result"), [("rinse-filtre", "cured"), ("rinse-filter", "perhaps")])
def test_a_wrong_check_leaves_the_ticket_as_it_was(service: Service, check: str, result: str) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    with pytest.raises(InputError):
        tickets.record_check(service, ticket.id, check, result, AGENT)
    assert stored(service) == 2


def test_a_report_without_time_is_of_now(service: Service) -> None:
    ticket = tickets.open_ticket(service, {"symptoms": ["leaking"]}, AGENT)
    assert ticket.report["reported_at"] == NOON.isoformat()
    assert (ticket.machine, ticket.contractor) == (None, None)


def test_a_machine_file_stands_in_for_the_record(service: Service) -> None:
    machine = {"serial": "XX-9", "model": "LH-20", "shipped_on": "2026-01-02"}
    decision = tickets.decide_once(service, {**REPORT, "machine": "XX-9"}, machine)
    assert decision.facts["model"].value == "LH-20"
    with pytest.raises(InputError, match="XX-9"):
        tickets.decide_once(service, REPORT, machine)


def test_a_technician_sees_the_own_contractors_tickets_only(service: Service) -> None:
    ours = tickets.open_ticket(service, REPORT, AGENT)
    theirs = tickets.open_ticket(service, {**REPORT, "machine": "LH30-2"}, AGENT)
    nobodys = tickets.open_ticket(service, {"symptoms": ["leaking"]}, AGENT)
    assert [ticket.id for ticket in tickets.tickets(service, FOGLINE).tickets] == [ours.id]
    assert tickets.ticket(service, ours.id, FOGLINE).id == ours.id
    for other in (theirs, nobodys):
        with pytest.raises(NotFoundError):
            tickets.ticket(service, other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            tickets.events(service, other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            tickets.answer(service, other.id, {"filter_days": 2}, FOGLINE)
        with pytest.raises(NotFoundError):
            tickets.record_check(service, other.id, "rinse-filter", "cured", FOGLINE)
        with pytest.raises(NotFoundError):
            what_if.explain(service, other.id, FOGLINE)
    assert [ticket.id for ticket in tickets.tickets(service, TERN).tickets] == [theirs.id]


def test_a_technician_cannot_widen_the_list_by_a_filter(service: Service) -> None:
    tickets.open_ticket(service, {**REPORT, "machine": "LH30-2"}, AGENT)
    assert tickets.tickets(service, FOGLINE, {"contractor": "tern"}).tickets == ()


def test_tickets_are_listed_newest_first_page_by_page(service: Service, clock: Clock) -> None:
    for number in range(7):
        tickets.open_ticket(service, {"symptoms": ["leaking"]}, AGENT)
        if number % 2:  # some are opened in the same instant
            clock.move(minutes=1)
    pages, cursor = [], None
    while True:
        page = tickets.tickets(service, AGENT, cursor=cursor, limit=3)
        pages.append([ticket.id for ticket in page.tickets])
        cursor = page.next_cursor
        if cursor is None:
            break
    assert pages == [
        ["T-000007", "T-000006", "T-000005"],
        ["T-000004", "T-000003", "T-000002"],
        ["T-000001"],
    ]


def test_a_full_last_page_has_no_next(service: Service) -> None:
    tickets.open_ticket(service, {"symptoms": ["leaking"]}, AGENT)
    assert tickets.tickets(service, AGENT, limit=1).next_cursor is None


NOT_THERE = (
    ("priority", "9", 'no priority "9"; there is 1, 2, 3'),
    ("contractor", "foglin", 'no contractor "foglin"; there is fogline, tern'),
    ("site", "halt-01", 'no site "halt-01"; there is halt-001'),
)


def test_tickets_are_filtered(service: Service) -> None:
    one = tickets.open_ticket(service, REPORT, AGENT)
    tickets.open_ticket(service, {**REPORT, "machine": "LH30-2"}, AGENT)
    for filters in ({"machine": "LH20-1"}, {"site": "halt-001", "state": "open"}):
        assert [ticket.id for ticket in tickets.tickets(service, AGENT, filters).tickets] == [one.id]
    assert tickets.tickets(service, AGENT, {"state": "closed"}).tickets == ()
    for name, value, said in NOT_THERE:
        with pytest.raises(InputError, match=said) as refused:
            tickets.tickets(service, AGENT, {name: value})
        assert [one.pointer for one in refused.value.problems] == [f"query:{name}"]
    with pytest.raises(InputError, match="not filtered by color"):
        tickets.tickets(service, AGENT, {"color": "red"})


@pytest.mark.parametrize("cursor", ["x", "", "W10", "bnVsbA", "WyIyMDI2IiwgMV0", "é"])
def test_a_made_up_cursor_is_refused(service: Service, cursor: str) -> None:
    with pytest.raises(InputError, match="cursor"):
        tickets.tickets(service, AGENT, cursor=cursor)


@pytest.mark.parametrize("said", ["t-ooooo1", "T 000001", "00000l"])
def test_a_ticket_is_found_by_its_id_as_heard(service: Service, said: str) -> None:
    tickets.open_ticket(service, REPORT, AGENT)
    assert tickets.ticket(service, said, AGENT).id == "T-000001"


def test_a_taken_ticket_id_is_not_given_twice(service: Service) -> None:
    ids = iter(["T-000009", "T-000009", "T-000009", "T-00000A"])
    service.new_id = lambda: next(ids)
    assert tickets.open_ticket(service, REPORT, AGENT).id == "T-000009"
    assert tickets.open_ticket(service, REPORT, AGENT).id == "T-00000A"


@pytest.mark.parametrize("odd", ["\ud800", "\x00", "\n", ""])
def test_odd_characters_name_nothing_and_break_nothing(service: Service, odd: str) -> None:
    for look in (
        lambda: machines.machine(service, odd, OPS),
        lambda: tickets.ticket(service, odd, OPS),
        lambda: tickets.open_ticket(service, {**REPORT, "machine": odd}, AGENT),
    ):
        with pytest.raises(InputError):
            look()
    assert tickets.tickets(service, OPS, {"machine": odd}).tickets == ()
    assert requests.caller_for(service, odd) is None


def test_half_a_character_in_a_note_is_kept_as_it_came(service: Service) -> None:
    ticket = tickets.open_ticket(service, {**REPORT, "note": "caf\u00e9 \ud800"}, AGENT)
    assert tickets.ticket(service, ticket.id, AGENT).report["note"] == "caf\u00e9 \ud800"
