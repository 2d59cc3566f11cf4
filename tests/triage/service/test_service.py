"""The programme: tickets are opened, answered, checked and explained; nothing is stored on bad input."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tests.triage.builders import cause
from tests.triage.programmes import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
    TERN,
    Clock,
    rulebook_files,
    running_programme,
)
from triage.records.decision_json import as_json
from triage.records.ticket import fold
from triage.rulebook.reading.reader import version_of
from triage.service.service import Answer, Programme
from triage.store.tables.rulebooks import Publication
from triage.values.errors import ConflictError, InputError, NotFoundError
from triage.values.json_text import from_json, to_json


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def programme(tmp_path: Path, clock: Clock) -> Iterator[Programme]:
    with running_programme(tmp_path, clock) as running:
        yield running


def stored(programme: Programme) -> int:
    """Events of all tickets."""
    tickets = programme.tickets(OPS, limit=200).tickets
    return sum(len(programme.events(ticket.id, OPS)) for ticket in tickets)


def test_a_report_becomes_a_decided_ticket(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    assert (ticket.id, ticket.version, ticket.state) == ("T-000001", 2, "open")
    assert (ticket.machine, ticket.site, ticket.contractor) == ("LH20-1", "halt-001", "fogline")
    assert ticket.decision is not None
    assert ticket.decision["ticket"] == ticket.id
    assert ticket.outcome == ticket.decision["outcome"] == "fix_in_store"
    assert ticket.decision["rulebook"] == programme.rulebook.version
    assert programme.ticket(ticket.id, OPS) == ticket


def test_the_ticket_and_the_computation_without_a_ticket_agree(programme: Programme) -> None:
    alone = from_json(to_json(as_json(programme.triage_once(REPORT))))
    ticket = programme.open_ticket(REPORT, AGENT)
    assert ticket.decision is not None
    assert {**ticket.decision, "ticket": None} == alone


def test_triage_alone_stores_nothing(programme: Programme) -> None:
    programme.triage_once(REPORT)
    assert stored(programme) == 0


def test_the_care_log_of_the_machine_is_heard(programme: Programme) -> None:
    decision = programme.triage_once(REPORT)
    assert decision.facts["filter_days"].value == Decimal(41)
    assert decision.facts["filter_days"].source == "record"


def test_an_answer_is_stored_and_decided_again(programme: Programme, clock: Clock) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    clock.move(minutes=3)
    again = programme.answer(ticket.id, {"filter_days": 2}, AGENT, if_version=2)
    assert again.version == 4
    assert again.report["answers"] == {"fill_level": 70, "filter_days": 2}
    assert again.decision is not None
    assert ticket.decision is not None
    assert again.decision["facts"]["filter_days"] == {"value": 2, "from": "caller"}
    assert again.decision["causes"] != ticket.decision["causes"]
    assert (again.opened_at, again.changed_at) == (NOON, NOON + timedelta(minutes=3))
    kinds = [event.kind for event in programme.events(ticket.id, AGENT)]
    assert kinds == ["reported", "decided", "answered", "decided"]


def test_the_state_is_the_fold_of_the_log(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    programme.answer(ticket.id, {"filter_days": Decimal("2.5")}, AGENT)
    programme.record_check(ticket.id, "rinse-filter", "not_cured", AGENT)
    assert fold(programme.events(ticket.id, OPS)) == programme.ticket(ticket.id, OPS)


def test_a_check_that_did_not_cure_is_not_suggested_again(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    assert ticket.decision is not None
    assert "rinse-filter" in [step["check"] for step in ticket.decision["plan"]]
    after = programme.record_check(ticket.id, "rinse-filter", "not_cured", AGENT)
    assert after.decision is not None
    assert "rinse-filter" not in [step["check"] for step in after.decision["plan"]]


def test_a_check_that_cured_says_so(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    after = programme.record_check(ticket.id, "rinse-filter", "cured", AGENT)
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
        ({"colour": "red"}, "/colour"),
    ],
)
def test_a_wrong_report_is_refused_with_its_place_and_nothing_is_stored(
    programme: Programme, change: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InputError) as caught:
        programme.open_ticket({**REPORT, **change}, AGENT)
    assert pointer in [problem.pointer for problem in caught.value.problems]
    assert stored(programme) == 0


@pytest.mark.parametrize("data", [None, [], "text", 5])
def test_what_is_no_report_at_all_is_refused(programme: Programme, data: object) -> None:
    with pytest.raises(InputError):
        programme.open_ticket(data, AGENT)


@pytest.mark.parametrize("answers", [{}, {"filter_days": -1}, {"nonsense": 1}, {"filter_days": None}, []])
def test_a_wrong_answer_leaves_the_ticket_as_it_was(programme: Programme, answers: Any) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    with pytest.raises(InputError):
        programme.answer(ticket.id, answers, AGENT)
    assert programme.ticket(ticket.id, AGENT) == ticket
    assert stored(programme) == 2


@pytest.mark.parametrize(("check", "result"), [("rinse-filtre", "cured"), ("rinse-filter", "perhaps")])
def test_a_wrong_check_leaves_the_ticket_as_it_was(programme: Programme, check: str, result: str) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    with pytest.raises(InputError):
        programme.record_check(ticket.id, check, result, AGENT)
    assert stored(programme) == 2


def test_a_report_without_time_is_of_now(programme: Programme) -> None:
    ticket = programme.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert ticket.report["reported_at"] == NOON.isoformat()
    assert (ticket.machine, ticket.contractor) == (None, None)


def test_a_machine_file_stands_in_for_the_record(programme: Programme) -> None:
    machine = {"serial": "XX-9", "model": "LH-20", "shipped_on": "2026-01-02"}
    decision = programme.triage_once({**REPORT, "machine": "XX-9"}, machine)
    assert decision.facts["model"].value == "LH-20"
    with pytest.raises(InputError, match="XX-9"):
        programme.triage_once(REPORT, machine)


def test_a_stale_change_is_told_what_happened_since(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    programme.answer(ticket.id, {"filter_days": 2}, OPS)
    with pytest.raises(ConflictError, match="version 4, not 2; since then: answered by lead at 2026-03-02"):
        programme.record_check(ticket.id, "rinse-filter", "cured", AGENT, if_version=2)
    with pytest.raises(ConflictError, match="no such version"):
        programme.record_check(ticket.id, "rinse-filter", "cured", AGENT, if_version=9)
    assert stored(programme) == 4


def test_of_many_changes_to_one_version_at_once_one_wins(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    won, lost = [], []

    def change(days: int) -> None:
        try:
            won.append(programme.answer(ticket.id, {"filter_days": days}, AGENT, if_version=2))
        except ConflictError:
            lost.append(days)

    threads = [threading.Thread(target=change, args=(days,)) for days in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(won), len(lost)) == (1, 5)
    assert programme.ticket(ticket.id, AGENT) == won[0]


def test_a_technician_sees_the_own_contractors_tickets_only(programme: Programme) -> None:
    ours = programme.open_ticket(REPORT, AGENT)
    theirs = programme.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    nobodys = programme.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert [ticket.id for ticket in programme.tickets(FOGLINE).tickets] == [ours.id]
    assert programme.ticket(ours.id, FOGLINE).id == ours.id
    for other in (theirs, nobodys):
        with pytest.raises(NotFoundError):
            programme.ticket(other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            programme.events(other.id, FOGLINE)
        with pytest.raises(NotFoundError):
            programme.answer(other.id, {"filter_days": 2}, FOGLINE)
        with pytest.raises(NotFoundError):
            programme.record_check(other.id, "rinse-filter", "cured", FOGLINE)
        with pytest.raises(NotFoundError):
            programme.explain(other.id, FOGLINE)
    assert [ticket.id for ticket in programme.tickets(TERN).tickets] == [theirs.id]


def test_a_technician_cannot_widen_the_list_by_a_filter(programme: Programme) -> None:
    programme.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    assert programme.tickets(FOGLINE, {"contractor": "tern"}).tickets == ()


def test_a_technician_sees_the_own_contractors_machines_only(programme: Programme) -> None:
    assert programme.machine("LH20-1", FOGLINE).machine.serial == "LH20-1"
    for look in (
        lambda: programme.machine("LH30-2", FOGLINE),
        lambda: programme.limits("LH30-2", None, None, FOGLINE),
        lambda: programme.record_care("LH30-2", {"kind": "filter_cleaned"}, FOGLINE),
        lambda: programme.triage_once({**REPORT, "machine": "LH30-2"}, viewer=FOGLINE),
    ):
        with pytest.raises(InputError):
            look()
    with pytest.raises(InputError, match="no contractor"):
        programme.limits("LH20-1", "tern", None, FOGLINE)


def test_tickets_are_listed_newest_first_page_by_page(programme: Programme, clock: Clock) -> None:
    for number in range(7):
        programme.open_ticket({"symptoms": ["leaking"]}, AGENT)
        if number % 2:  # some are opened in the same instant
            clock.move(minutes=1)
    pages, cursor = [], None
    while True:
        page = programme.tickets(AGENT, cursor=cursor, limit=3)
        pages.append([ticket.id for ticket in page.tickets])
        cursor = page.next_cursor
        if cursor is None:
            break
    assert pages == [
        ["T-000007", "T-000006", "T-000005"],
        ["T-000004", "T-000003", "T-000002"],
        ["T-000001"],
    ]


def test_a_full_last_page_has_no_next(programme: Programme) -> None:
    programme.open_ticket({"symptoms": ["leaking"]}, AGENT)
    assert programme.tickets(AGENT, limit=1).next_cursor is None


def test_tickets_are_filtered(programme: Programme) -> None:
    one = programme.open_ticket(REPORT, AGENT)
    programme.open_ticket({**REPORT, "machine": "LH30-2"}, AGENT)
    for filters in ({"machine": "LH20-1"}, {"site": "halt-001", "state": "open"}):
        assert [ticket.id for ticket in programme.tickets(AGENT, filters).tickets] == [one.id]
    assert programme.tickets(AGENT, {"state": "closed"}).tickets == ()
    with pytest.raises(InputError, match="not filtered by colour"):
        programme.tickets(AGENT, {"colour": "red"})


@pytest.mark.parametrize("cursor", ["x", "", "W10", "bnVsbA", "WyIyMDI2IiwgMV0", "é"])
def test_a_made_up_cursor_is_refused(programme: Programme, cursor: str) -> None:
    with pytest.raises(InputError, match="cursor"):
        programme.tickets(AGENT, cursor=cursor)


@pytest.mark.parametrize("said", ["t-ooooo1", "T 000001", "00000l"])
def test_a_ticket_is_found_by_its_id_as_heard(programme: Programme, said: str) -> None:
    programme.open_ticket(REPORT, AGENT)
    assert programme.ticket(said, AGENT).id == "T-000001"


def test_a_taken_ticket_id_is_not_given_twice(programme: Programme) -> None:
    ids = iter(["T-000009", "T-000009", "T-000009", "T-00000A"])
    programme._new_id = lambda: next(ids)
    assert programme.open_ticket(REPORT, AGENT).id == "T-000009"
    assert programme.open_ticket(REPORT, AGENT).id == "T-00000A"


def test_a_machine_is_shown_with_care_due_history_and_tickets(programme: Programme) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    view = programme.machine("LH20-1", AGENT)
    assert [found.id for found in view.tickets] == [ticket.id]
    assert [repair.ticket for repair in view.history.repairs] == ["OLD-1"]
    assert view.care.filter is not None
    assert (view.care.filter.due.due_on, view.care.filter.due.days_overdue) == (date(2026, 2, 4), 26)
    kept = view.care.filter.kept
    assert (kept.days, kept.days_kept, kept.times) == (42, 16, 1)


def test_care_is_recorded_and_heard_by_the_next_report(programme: Programme) -> None:
    view = programme.record_care("LH20-1", {"kind": "filter_cleaned"}, FOGLINE)
    assert (view.history.care[-1].by, view.history.care[-1].at) == ("van-3", NOON)
    assert programme.triage_once(REPORT).facts["filter_days"].value == Decimal(0)


def test_the_first_commissioning_dates_the_machine(programme: Programme) -> None:
    data = {"kind": "commissioned", "at": "2022-02-01T23:30:00-06:00", "details": {"slope_back_pct": 0}}
    view = programme.record_care("LH30-2", data, OPS)
    assert view.machine.commissioned_on == date(2022, 2, 1)
    later = {"kind": "commissioned", "at": "2023-02-01T23:30:00-06:00"}
    assert programme.record_care("LH30-2", later, OPS).machine.commissioned_on == date(2022, 2, 1)


def test_details_nested_without_end_are_refused(programme: Programme) -> None:
    details: dict[str, Any] = {}
    for _ in range(500):
        details = {"in": details}
    with pytest.raises(InputError, match="nested"):
        programme.record_care("LH20-1", {"kind": "filter_cleaned", "details": details}, OPS)


@pytest.mark.parametrize("odd", ["\ud800", "\x00", "\n", ""])
def test_odd_characters_name_nothing_and_break_nothing(programme: Programme, odd: str) -> None:
    for look in (
        lambda: programme.machine(odd, OPS),
        lambda: programme.ticket(odd, OPS),
        lambda: programme.open_ticket({**REPORT, "machine": odd}, AGENT),
    ):
        with pytest.raises(InputError):
            look()
    assert programme.tickets(OPS, {"machine": odd}).tickets == ()
    assert programme.caller_for(odd) is None


def test_half_a_character_in_a_note_is_kept_as_it_came(programme: Programme) -> None:
    ticket = programme.open_ticket({**REPORT, "note": "caf\u00e9 \ud800"}, AGENT)
    assert programme.ticket(ticket.id, AGENT).report["note"] == "caf\u00e9 \ud800"


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
def test_wrong_care_is_refused_with_its_place(
    programme: Programme, data: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InputError) as caught:
        programme.record_care("LH20-1", data, OPS)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]
    assert len(programme.machine("LH20-1", OPS).history.care) == 1


def test_the_same_care_twice_is_a_conflict(programme: Programme) -> None:
    programme.record_care("LH20-1", {"kind": "filter_cleaned"}, OPS)
    with pytest.raises(ConflictError, match="already"):
        programme.record_care("LH20-1", {"kind": "filter_cleaned"}, OPS)


def test_limits_say_cover_of_each_component_and_what_may_be_spent(programme: Programme) -> None:
    found = programme.limits("LH20-1", None, None, AGENT)
    cover = {line["component"]: line for line in found["cover"]}
    assert set(cover) == {"air_side", "compressor", "cooling", "hopper"}
    assert cover["compressor"]["parts"] == {"covered": True, "until": "2028-02-01"}
    assert cover["hopper"]["labor"] == {"covered": False, "until": "2026-02-01"}
    limit = found["limit"]
    assert (limit["nte"], limit["spent_12_months"], limit["headroom"]) == ("350.00", "120.00", "350.00")
    assert limit["beyond"]["authority"] == "ops_lead"
    assert (found["contractor"], limit["after_hours"]) == ("fogline", False)


def test_limits_are_answered_as_of_any_time(programme: Programme) -> None:
    then = datetime(2025, 10, 1, 3, tzinfo=UTC)
    found = programme.limits("LH20-1", "tern", then, AGENT)
    cover = {line["component"]: line for line in found["cover"]}
    assert cover["hopper"]["labor"]["covered"] is True
    assert (found["limit"]["spent_12_months"], found["limit"]["after_hours"]) == ("0.00", True)
    assert found["contractor"] == "tern"


def test_a_decision_is_made_again_identically(programme: Programme, clock: Clock) -> None:
    ticket = programme.open_ticket(REPORT, AGENT)
    programme.answer(ticket.id, {"filter_days": Decimal("2.125")}, AGENT)
    clock.move(days=400)
    programme.record_care("LH20-1", {"kind": "fully_cleaned"}, OPS)
    found = programme.explain(ticket.id)
    assert found.differs == ()
    assert found.identical


def test_a_decision_is_explained_with_its_own_rulebook(tmp_path: Path, clock: Clock) -> None:
    with running_programme(tmp_path, clock) as before:
        ticket = before.open_ticket(REPORT, AGENT)
        old = before.rulebook.version
    dear = rulebook_files(**{"causes/other.yml": cause("other", "cooling", labor_hours=9)})
    with running_programme(tmp_path, clock) as after:
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


def test_a_decision_whose_rulebook_was_not_kept_cannot_be_explained(programme: Programme) -> None:
    unkept = Programme(
        programme.store, programme.rulebook, programme._engine, programme._clock, None, programme._compile
    )
    object.__setattr__(unkept.rulebook, "version", "sha256:unkept")
    ticket = unkept.open_ticket(REPORT, AGENT)
    with pytest.raises(NotFoundError, match="is not stored"):
        unkept.explain(ticket.id)


def test_a_token_names_its_caller(programme: Programme) -> None:
    with programme.store.write() as work:
        token = work.tokens.add("van-3", "technician", "fogline", NOON)
    assert programme.caller_for(token) == FOGLINE
    assert programme.caller_for("nonsense") is None


def test_health_names_rulebook_and_engine(programme: Programme) -> None:
    assert programme.health() == {
        "status": "ok",
        "rulebook": programme.rulebook.version,
        "engine": "plain",
    }


def test_a_request_sent_twice_is_carried_out_once(programme: Programme) -> None:
    def action() -> Answer:
        return Answer(201, {"ticket": programme.open_ticket(REPORT, AGENT).id}, {"ETag": '"2"'})

    first = programme.once("k1", AGENT, "hash", action)
    again = programme.once("k1", AGENT, "hash", action)
    assert (first.repeated, again.repeated) == (False, True)
    assert (again.status, again.body, again.headers) == (201, {"ticket": "T-000001"}, {"ETag": '"2"'})
    assert stored(programme) == 2
    assert programme.once("k1", OPS, "hash", action).body == {"ticket": "T-000002"}


def test_a_key_is_not_used_for_another_request(programme: Programme) -> None:
    programme.once("k1", AGENT, "hash", lambda: Answer(200, {}, {}))
    with pytest.raises(ConflictError, match="Idempotency-Key"):
        programme.once("k1", AGENT, "other", lambda: Answer(200, {}, {}))


def test_a_request_that_fails_stores_neither_effect_nor_key(programme: Programme) -> None:
    def action() -> Answer:
        programme.open_ticket(REPORT, AGENT)
        raise InputError("half way")

    with pytest.raises(InputError, match="half way"):
        programme.once("k1", AGENT, "hash", action)
    assert stored(programme) == 0
    assert programme.once("k1", AGENT, "hash", lambda: Answer(200, {}, {})).repeated is False


def test_requests_with_one_key_at_once_are_carried_out_once(programme: Programme) -> None:
    answers: list[Answer] = []

    def send() -> None:
        def action() -> Answer:
            return Answer(201, {"ticket": programme.open_ticket(REPORT, AGENT).id}, {})

        answers.append(programme.once("k1", AGENT, "hash", action))

    threads = [threading.Thread(target=send) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.body for answer in answers] == [{"ticket": "T-000001"}] * 5
    assert sum(answer.repeated for answer in answers) == 4
    assert stored(programme) == 2
