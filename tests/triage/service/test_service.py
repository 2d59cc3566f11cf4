"""The program: tickets are opened, answered, checked and explained; nothing is stored on bad input."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tests.triage.builders import cause
from tests.triage.services import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
    TERN,
    Clock,
    rulebook_files,
    running_service,
)
from triage.records.decision_json import as_json
from triage.records.ticket import fold
from triage.rulebook.reading.reader import version_of
from triage.service.service import Answer, Service
from triage.store.tables.rulebooks import Publication
from triage.values.errors import ConflictError, InputError, NotFoundError
from triage.values.json_text import from_json, to_json


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        yield running


def stored(service: Service) -> int:
    """Events of all tickets."""
    tickets = service.tickets(OPS, limit=200).tickets
    return sum(len(service.events(ticket.id, OPS)) for ticket in tickets)


def test_a_report_becomes_a_decided_ticket(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    assert (ticket.id, ticket.version, ticket.state) == ("T-000001", 2, "open")
    assert (ticket.machine, ticket.site, ticket.contractor) == ("LH20-1", "halt-001", "fogline")
    assert ticket.decision is not None
    assert ticket.decision["ticket"] == ticket.id
    assert ticket.outcome == ticket.decision["outcome"] == "fix_in_store"
    assert ticket.decision["rulebook"] == service.rulebook.version
    assert service.ticket(ticket.id, OPS) == ticket


def test_the_ticket_and_the_computation_without_a_ticket_agree(service: Service) -> None:
    alone = from_json(to_json(as_json(service.triage_once(REPORT))))
    ticket = service.open_ticket(REPORT, AGENT)
    assert ticket.decision is not None
    assert {**ticket.decision, "ticket": None} == alone


def test_triage_alone_stores_nothing(service: Service) -> None:
    service.triage_once(REPORT)
    assert stored(service) == 0


def test_the_care_log_of_the_machine_is_heard(service: Service) -> None:
    decision = service.triage_once(REPORT)
    assert decision.facts["filter_days"].value == Decimal(41)
    assert decision.facts["filter_days"].source == "record"


def test_an_answer_is_stored_and_decided_again(service: Service, clock: Clock) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    clock.move(minutes=3)
    again = service.answer(ticket.id, {"filter_days": 2}, AGENT, if_version=2)
    assert again.version == 4
    assert again.report["answers"] == {"fill_level": 70, "filter_days": 2}
    assert again.decision is not None
    assert ticket.decision is not None
    assert again.decision["facts"]["filter_days"] == {"value": 2, "from": "caller"}
    assert again.decision["causes"] != ticket.decision["causes"]
    assert (again.opened_at, again.changed_at) == (NOON, NOON + timedelta(minutes=3))
    kinds = [event.kind for event in service.events(ticket.id, AGENT)]
    assert kinds == ["reported", "decided", "answered", "decided"]


def test_the_state_is_the_fold_of_the_log(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    service.answer(ticket.id, {"filter_days": Decimal("2.5")}, AGENT)
    service.record_check(ticket.id, "rinse-filter", "not_cured", AGENT)
    assert fold(service.events(ticket.id, OPS)) == service.ticket(ticket.id, OPS)


def test_a_check_that_did_not_cure_is_not_suggested_again(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    assert ticket.decision is not None
    assert "rinse-filter" in [step["check"] for step in ticket.decision["plan"]]
    after = service.record_check(ticket.id, "rinse-filter", "not_cured", AGENT)
    assert after.decision is not None
    assert "rinse-filter" not in [step["check"] for step in after.decision["plan"]]


def test_a_check_that_cured_says_so(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    after = service.record_check(ticket.id, "rinse-filter", "cured", AGENT)
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
        service.open_ticket({**REPORT, **change}, AGENT)
    assert pointer in [problem.pointer for problem in caught.value.problems]
    assert stored(service) == 0


@pytest.mark.parametrize("data", [None, [], "text", 5])
def test_what_is_no_report_at_all_is_refused(service: Service, data: object) -> None:
    with pytest.raises(InputError):
        service.open_ticket(data, AGENT)


@pytest.mark.parametrize("answers", [{}, {"filter_days": -1}, {"nonsense": 1}, {"filter_days": None}, []])
def test_a_wrong_answer_leaves_the_ticket_as_it_was(service: Service, answers: Any) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    with pytest.raises(InputError):
        service.answer(ticket.id, answers, AGENT)
    assert service.ticket(ticket.id, AGENT) == ticket
    assert stored(service) == 2


@pytest.mark.parametrize(("check", "result"), [("rinse-filtre", "cured"), ("rinse-filter", "perhaps")])
def test_a_wrong_check_leaves_the_ticket_as_it_was(service: Service, check: str, result: str) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    with pytest.raises(InputError):
        service.record_check(ticket.id, check, result, AGENT)
    assert stored(service) == 2


def test_a_report_without_time_is_of_now(service: Service) -> None:
    ticket = service.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert ticket.report["reported_at"] == NOON.isoformat()
    assert (ticket.machine, ticket.contractor) == (None, None)


def test_a_machine_file_stands_in_for_the_record(service: Service) -> None:
    machine = {"serial": "XX-9", "model": "LH-20", "shipped_on": "2026-01-02"}
    decision = service.triage_once({**REPORT, "machine": "XX-9"}, machine)
    assert decision.facts["model"].value == "LH-20"
    with pytest.raises(InputError, match="XX-9"):
        service.triage_once(REPORT, machine)


def test_a_stale_change_is_told_what_happened_since(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    service.answer(ticket.id, {"filter_days": 2}, OPS)
    with pytest.raises(ConflictError, match="version 4, not 2; since then: answered by lead at 2026-03-02"):
        service.record_check(ticket.id, "rinse-filter", "cured", AGENT, if_version=2)
    with pytest.raises(ConflictError, match="no such version"):
        service.record_check(ticket.id, "rinse-filter", "cured", AGENT, if_version=9)
    assert stored(service) == 4


def test_of_many_changes_to_one_version_at_once_one_wins(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    won, lost = [], []

    def change(days: int) -> None:
        try:
            won.append(service.answer(ticket.id, {"filter_days": days}, AGENT, if_version=2))
        except ConflictError:
            lost.append(days)

    threads = [threading.Thread(target=change, args=(days,)) for days in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(won), len(lost)) == (1, 5)
    assert service.ticket(ticket.id, AGENT) == won[0]


def test_a_technician_sees_the_own_contractors_tickets_only(service: Service) -> None:
    ours = service.open_ticket(REPORT, AGENT)
    theirs = service.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    nobodys = service.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert [ticket.id for ticket in service.tickets(FOGLINE).tickets] == [ours.id]
    assert service.ticket(ours.id, FOGLINE).id == ours.id
    for other in (theirs, nobodys):
        with pytest.raises(NotFoundError):
            service.ticket(other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            service.events(other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            service.answer(other.id, {"filter_days": 2}, FOGLINE)
        with pytest.raises(NotFoundError):
            service.record_check(other.id, "rinse-filter", "cured", FOGLINE)
        with pytest.raises(NotFoundError):
            service.explain(other.id, FOGLINE)
    assert [ticket.id for ticket in service.tickets(TERN).tickets] == [theirs.id]


def test_a_technician_cannot_widen_the_list_by_a_filter(service: Service) -> None:
    service.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    assert service.tickets(FOGLINE, {"contractor": "tern"}).tickets == ()


def test_a_technician_sees_the_own_contractors_machines_only(service: Service) -> None:
    assert service.machine("LH20-1", FOGLINE).machine.serial == "LH20-1"
    for look in (
        lambda: service.machine("LH30-2", FOGLINE),
        lambda: service.limits("LH30-2", None, None, FOGLINE),
        lambda: service.record_care("LH30-2", {"kind": "filter_cleaned"}, FOGLINE),
        lambda: service.triage_once({**REPORT, "machine": "LH30-2"}, viewer=FOGLINE),
    ):
        with pytest.raises(InputError):
            look()
    with pytest.raises(InputError, match="no contractor"):
        service.limits("LH20-1", "tern", None, FOGLINE)


def test_tickets_are_listed_newest_first_page_by_page(service: Service, clock: Clock) -> None:
    for number in range(7):
        service.open_ticket({"symptoms": ["leaking"]}, AGENT)
        if number % 2:  # some are opened in the same instant
            clock.move(minutes=1)
    pages, cursor = [], None
    while True:
        page = service.tickets(AGENT, cursor=cursor, limit=3)
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
    service.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert service.tickets(AGENT, limit=1).next_cursor is None


def test_tickets_are_filtered(service: Service) -> None:
    one = service.open_ticket(REPORT, AGENT)
    service.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    for filters in ({"machine": "LH20-1"}, {"site": "halt-001", "state": "open"}):
        assert [ticket.id for ticket in service.tickets(AGENT, filters).tickets] == [one.id]
    assert service.tickets(AGENT, {"state": "closed"}).tickets == ()
    with pytest.raises(InputError, match="not filtered by color"):
        service.tickets(AGENT, {"color": "red"})


@pytest.mark.parametrize("cursor", ["x", "", "W10", "bnVsbA", "WyIyMDI2IiwgMV0", "é"])
def test_a_made_up_cursor_is_refused(service: Service, cursor: str) -> None:
    with pytest.raises(InputError, match="cursor"):
        service.tickets(AGENT, cursor=cursor)


@pytest.mark.parametrize("said", ["t-ooooo1", "T 000001", "00000l"])
def test_a_ticket_is_found_by_its_id_as_heard(service: Service, said: str) -> None:
    service.open_ticket(REPORT, AGENT)
    assert service.ticket(said, AGENT).id == "T-000001"


def test_a_taken_ticket_id_is_not_given_twice(service: Service) -> None:
    ids = iter(["T-000009", "T-000009", "T-000009", "T-00000A"])
    service._new_id = lambda: next(ids)
    assert service.open_ticket(REPORT, AGENT).id == "T-000009"
    assert service.open_ticket(REPORT, AGENT).id == "T-00000A"


def test_a_machine_is_shown_with_care_due_history_and_tickets(service: Service) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    view = service.machine("LH20-1", AGENT)
    assert [found.id for found in view.tickets] == [ticket.id]
    assert [repair.ticket for repair in view.history.repairs] == ["OLD-1"]
    assert view.care.filter is not None
    assert (view.care.filter.due.due_on, view.care.filter.due.days_overdue) == (date(2026, 2, 4), 26)
    kept = view.care.filter.kept
    assert (kept.days, kept.days_kept, kept.times) == (42, 16, 1)


def test_care_is_recorded_and_heard_by_the_next_report(service: Service) -> None:
    view = service.record_care("LH20-1", {"kind": "filter_cleaned"}, FOGLINE)
    assert (view.history.care[-1].by, view.history.care[-1].at) == ("van-3", NOON)
    assert service.triage_once(REPORT).facts["filter_days"].value == Decimal(0)


def test_the_first_commissioning_dates_the_machine(service: Service) -> None:
    data = {"kind": "commissioned", "at": "2022-02-01T23:30:00-06:00", "details": {"slope_back_pct": 0}}
    view = service.record_care("LH30-2", data, OPS)
    assert view.machine.commissioned_on == date(2022, 2, 1)
    later = {"kind": "commissioned", "at": "2023-02-01T23:30:00-06:00"}
    assert service.record_care("LH30-2", later, OPS).machine.commissioned_on == date(2022, 2, 1)


def test_details_nested_without_end_are_refused(service: Service) -> None:
    details: dict[str, Any] = {}
    for _ in range(500):
        details = {"in": details}
    with pytest.raises(InputError, match="nested"):
        service.record_care("LH20-1", {"kind": "filter_cleaned", "details": details}, OPS)


@pytest.mark.parametrize("odd", ["\ud800", "\x00", "\n", ""])
def test_odd_characters_name_nothing_and_break_nothing(service: Service, odd: str) -> None:
    for look in (
        lambda: service.machine(odd, OPS),
        lambda: service.ticket(odd, OPS),
        lambda: service.open_ticket({**REPORT, "machine": odd}, AGENT),
    ):
        with pytest.raises(InputError):
            look()
    assert service.tickets(OPS, {"machine": odd}).tickets == ()
    assert service.caller_for(odd) is None


def test_half_a_character_in_a_note_is_kept_as_it_came(service: Service) -> None:
    ticket = service.open_ticket({**REPORT, "note": "caf\u00e9 \ud800"}, AGENT)
    assert service.ticket(ticket.id, AGENT).report["note"] == "caf\u00e9 \ud800"


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        ({"kind": "polished"}, "/kind"),
        ({}, "/kind"),
        ({"kind": "filter_cleaned", "at": "yesterday"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2026-03-01T10:00:00"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2026-03-09T10:00:00Z"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2024-03-09T10:00:00Z"}, "/at"),
        ({"kind": "filter_cleaned", "details": [1]}, "/details"),
        ({"kind": "filter_cleaned", "details": {"x": float("nan")}}, "/details"),
    ],
)
def test_wrong_care_is_refused_with_its_place(service: Service, data: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InputError) as caught:
        service.record_care("LH20-1", data, OPS)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]
    assert len(service.machine("LH20-1", OPS).history.care) == 1


def test_the_same_care_twice_is_a_conflict(service: Service) -> None:
    service.record_care("LH20-1", {"kind": "filter_cleaned"}, OPS)
    with pytest.raises(ConflictError, match="already"):
        service.record_care("LH20-1", {"kind": "filter_cleaned"}, OPS)


def test_limits_say_warranty_of_each_component_and_what_may_be_spent(service: Service) -> None:
    found = service.limits("LH20-1", None, None, AGENT)
    warranty = {line["component"]: line for line in found["warranty"]}
    assert set(warranty) == {"air_side", "compressor", "cooling", "hopper"}
    assert warranty["compressor"]["parts"] == {"covered": True, "until": "2028-02-01"}
    assert warranty["hopper"]["labor"] == {"covered": False, "until": "2026-02-01"}
    limit = found["limit"]
    assert (limit["nte"], limit["spent_12_months"], limit["headroom"]) == ("350.00", "120.00", "350.00")
    assert limit["beyond"]["authority"] == "ops_lead"
    assert (found["contractor"], limit["after_hours"]) == ("fogline", False)


def test_limits_are_answered_as_of_any_time(service: Service) -> None:
    then = datetime(2025, 10, 1, 3, tzinfo=UTC)
    found = service.limits("LH20-1", "tern", then, AGENT)
    warranty = {line["component"]: line for line in found["warranty"]}
    assert warranty["hopper"]["labor"]["covered"] is True
    assert (found["limit"]["spent_12_months"], found["limit"]["after_hours"]) == ("0.00", True)
    assert found["contractor"] == "tern"


def test_a_decision_is_made_again_identically(service: Service, clock: Clock) -> None:
    ticket = service.open_ticket(REPORT, AGENT)
    service.answer(ticket.id, {"filter_days": Decimal("2.125")}, AGENT)
    clock.move(days=400)
    service.record_care("LH20-1", {"kind": "fully_cleaned"}, OPS)
    found = service.explain(ticket.id)
    assert found.differs == ()
    assert found.identical


def test_a_decision_is_explained_with_its_own_rulebook(tmp_path: Path, clock: Clock) -> None:
    with running_service(tmp_path, clock) as before:
        ticket = before.open_ticket(REPORT, AGENT)
        old = before.rulebook.version
    dear = rulebook_files(**{"causes/other.yml": cause("other", "cooling", labor_hours=9)})
    with running_service(tmp_path, clock) as after:
        with after.store.write() as work:
            work.rulebooks.keep(version_of(dear), dear)
            work.rulebooks.publish(Publication(version_of(dear), clock(), "lead", "Dearer."))
        after.live.refresh()
        assert after.rulebook.version != old
        found = after.explain(ticket.id)
        assert found.identical
        assert found.rulebook.version == old
        changed = after.answer(ticket.id, {"cord_damaged": False}, AGENT)
        assert changed.rulebook == after.rulebook.version
        assert after.explain(ticket.id).identical
        with after.store.read() as work:
            published = [publication.version for publication in work.rulebooks.publications()]
        assert published == [after.rulebook.version, old]


def test_a_decision_whose_rulebook_was_not_kept_cannot_be_explained(service: Service) -> None:
    unkept = Service(service.store, service.rulebook, service._engine, service._clock, None, service._compile)
    object.__setattr__(unkept.rulebook, "version", "sha256:unkept")
    ticket = unkept.open_ticket(REPORT, AGENT)
    with pytest.raises(NotFoundError, match="is not stored"):
        unkept.explain(ticket.id)


def test_a_token_names_its_caller(service: Service) -> None:
    with service.store.write() as work:
        token = work.tokens.add("van-3", "technician", "fogline", NOON)
    assert service.caller_for(token) == FOGLINE
    assert service.caller_for("nonsense") is None


def test_health_names_rulebook_and_engine(service: Service) -> None:
    assert service.health() == {
        "status": "ok",
        "rulebook": service.rulebook.version,
        "engine": "plain",
    }


def test_a_request_sent_twice_is_carried_out_once(service: Service) -> None:
    def action() -> Answer:
        return Answer(201, {"ticket": service.open_ticket(REPORT, AGENT).id}, {"ETag": '"2"'})

    first = service.once("k1", AGENT, "hash", action)
    again = service.once("k1", AGENT, "hash", action)
    assert (first.repeated, again.repeated) == (False, True)
    assert (again.status, again.body, again.headers) == (201, {"ticket": "T-000001"}, {"ETag": '"2"'})
    assert stored(service) == 2
    assert service.once("k1", OPS, "hash", action).body == {"ticket": "T-000002"}


def test_a_key_is_not_used_for_another_request(service: Service) -> None:
    service.once("k1", AGENT, "hash", lambda: Answer(200, {}, {}))
    with pytest.raises(ConflictError, match="Idempotency-Key"):
        service.once("k1", AGENT, "other", lambda: Answer(200, {}, {}))


def test_a_request_that_fails_stores_neither_effect_nor_key(service: Service) -> None:
    def action() -> Answer:
        service.open_ticket(REPORT, AGENT)
        raise InputError("half way")

    with pytest.raises(InputError, match="half way"):
        service.once("k1", AGENT, "hash", action)
    assert stored(service) == 0
    assert service.once("k1", AGENT, "hash", lambda: Answer(200, {}, {})).repeated is False


def test_requests_with_one_key_at_once_are_carried_out_once(service: Service) -> None:
    answers: list[Answer] = []

    def send() -> None:
        def action() -> Answer:
            return Answer(201, {"ticket": service.open_ticket(REPORT, AGENT).id}, {})

        answers.append(service.once("k1", AGENT, "hash", action))

    threads = [threading.Thread(target=send) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.body for answer in answers] == [{"ticket": "T-000001"}] * 5
    assert sum(answer.repeated for answer in answers) == 4
    assert stored(service) == 2
