"""A ticket is the fold of its events."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.payloads import close_out, estimate, usd
from triage.records.authorization import Authorization, Repair
from triage.records.callers_words import Forgotten
from triage.records.payloads import (
    PAYLOADS,
    Acknowledged,
    Answered,
    Approved,
    CheckDone,
    DangerLifted,
    Decided,
    Detailed,
    Dispatched,
    Noted,
    Parked,
    Payload,
    Reopened,
    Reported,
    Skipped,
    Spoken,
    Swapped,
    SwapReserved,
    Undone,
    Visited,
    Withdrawn,
)
from triage.records.ticket import Event, Ticket, apply, fold
from triage.records.ticket_id import LENGTH, SIGNS, heard, new_ticket_id

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
REPORT = {"symptoms": ["not_freezing"], "machine": "LH20-1", "answers": {"fill_level": 3}}

AT = START + timedelta(hours=2)

EVENT_KINDS = tuple(PAYLOADS)
NEWS: dict[str, Payload] = {
    "answered": Answered({"filter_days": 40}),
    "check_done": CheckDone("rinse-filter", "not_cured"),
    "decided": Decided({"outcome": "dispatch"}, {}),
    "estimated": estimate(120),
    "approved": Approved(1, "ops", True, usd(120), "T-1-A1", AT + timedelta(days=30), "needed"),
    "dispatched": Dispatched(
        1, AT, AT.date(), 90, "fogline", (), "dispatch", "general", 2, None, ("SEAL-1",), ""
    ),
    "visited": Visited(1, "done", AT),
    "swap_reserved": SwapReserved("LH20-9"),
    "swapped": Swapped("LH20-1", "LH20-9", "scrap", AT),
    "withdrawn": Withdrawn("fogline", "T-1-A1", "tern is sent instead of fogline"),
    "closed": close_out(cost=120, cured_by="rinse-filter"),
    "reopened": Reopened("it is back"),
    "skipped": Skipped(("filter_days",)),
    "noted": Noted("there were sparks"),
    "detailed": Detailed("Dana", "555-0102", "LH20-9", "halt-023", "tern"),
    "undone": Undone(2, REPORT),
    "acknowledged": Acknowledged(("burning-smell",)),
    "danger_lifted": DangerLifted("burning-smell", "safe", "The plug was replaced."),
    "spoken": Spoken("es"),
    "forgotten": Forgotten("asked for", 1),
    "parked": Parked("rinse-filter", datetime.fromisoformat("2026-03-02T07:40:00-05:00")),
}


def log(*kinds: str) -> list[Event]:
    """A log that starts with `reported` and goes on with `kinds`."""
    return with_more([], Reported(REPORT, "LH20-1", "halt-001", "fogline"), *(NEWS[kind] for kind in kinds))


def with_more(events: list[Event], *news: Payload) -> list[Event]:
    """The log with more events, a minute apart."""
    more = []
    for seq, new in enumerate(news, start=len(events) + 1):
        at, rulebook = START + timedelta(minutes=seq - 1), "sha256:a" if seq == 1 else "sha256:b"
        more.append(Event("T-1", seq, at, "desk", rulebook, new))
    return events + more


def test_a_reported_ticket_is_open_and_undecided() -> None:
    ticket = fold(log())
    assert (ticket.state, ticket.version, ticket.outcome, ticket.decision) == ("open", 1, None, None)
    assert (ticket.machine, ticket.site, ticket.contractor) == ("LH20-1", "halt-001", "fogline")
    assert ticket.report == REPORT


def test_answers_add_to_the_report_and_the_later_one_counts() -> None:
    events = with_more(log("answered"), Answered({"fill_level": 5}))
    assert fold(events).report["answers"] == {"fill_level": 5, "filter_days": 40}


def test_a_check_has_its_last_result() -> None:
    events = with_more(log("check_done"), CheckDone("rinse-filter", "cured"))
    assert fold(events).report["checks"] == [{"check": "rinse-filter", "result": "cured"}]


def test_a_decision_gives_outcome_and_rulebook() -> None:
    ticket = fold(log("decided"))
    assert (ticket.outcome, ticket.rulebook) == ("dispatch", "sha256:b")


@pytest.mark.parametrize("state", ["open", "used", "withdrawn", None])
@pytest.mark.parametrize("outcome", ["fix_in_store", "dispatch", "approve", "hold", "swap"])
def test_only_a_hold_is_turned_and_only_by_an_authorization_that_is_open(
    outcome: str, state: str | None
) -> None:
    given = Authorization("T-1-A1", usd(120), 1, "ops", "needed", AT)
    authorization = None if state is None else replace(given, state=state)
    before = fold(log())
    ticket = replace(before, repair=replace(before.repair, authorization=authorization))
    decided = Event("T-1", 2, START, "desk", "sha256:b", Decided({"outcome": outcome}, {}))
    turned = outcome == "hold" and state == "open"
    assert apply(ticket, decided).outcome == ("approve" if turned else outcome)


def test_a_no_leaves_the_outcome_and_a_yes_approves() -> None:
    for yes, outcome in ((True, "approve"), (False, "dispatch")):
        said = Approved(0, "ops", yes, usd(120) if yes else None, "T-1-A1" if yes else None, AT, "so")
        assert fold(with_more(log("decided"), said)).outcome == outcome


def test_a_fact_the_clerk_cannot_tell_is_kept_as_unknown_until_it_is_answered() -> None:
    assert fold(log("skipped")).report["unknown"] == ["filter_days"]
    assert fold(log("skipped", "answered")).report["unknown"] == []


def test_what_is_told_later_says_whom_to_call_back_and_which_machine_it_is() -> None:
    ticket = fold(log("detailed"))
    assert (ticket.caller, ticket.phone) == ("Dana", "555-0102")
    assert (ticket.machine, ticket.site, ticket.contractor) == ("LH20-9", "halt-023", "tern")
    assert ticket.report == {
        **REPORT,
        "caller": "Dana",
        "phone": "555-0102",
        "machine": "LH20-9",
        "site": "halt-023",
    }


def test_taking_an_answer_back_leaves_the_report_as_it_was() -> None:
    assert fold(log("answered", "undone")).report == REPORT


def test_a_parked_ticket_waits_until_something_is_said_about_it() -> None:
    assert fold(log("parked")).parked_until == datetime(2026, 3, 2, 12, 40, tzinfo=UTC)
    assert fold(log("parked", "check_done")).parked_until is None


def test_a_caution_that_comes_back_is_read_out_again() -> None:
    def decided(*rules: str) -> Decided:
        cautions = [{"rule": rule, "stop_use": True} for rule in rules]
        return Decided({"outcome": "dispatch", "cautions": cautions}, {})

    events = log("acknowledged")
    said = [fold(events).acknowledged]
    for rules in (("burning-smell",), (), ("burning-smell",)):
        events = with_more(events, decided(*rules))
        said.append(fold(events).acknowledged)
    assert said == [("burning-smell",), ("burning-smell",), (), ()]


def test_a_decision_says_when_the_visit_is_due() -> None:
    visit = {"due": "2026-03-03T09:00:00-05:00"}
    events = with_more(log(), Decided({"outcome": "dispatch", "visit": visit}, {}))
    assert fold(events).due_at == datetime(2026, 3, 3, 14, tzinfo=UTC)


def test_closing_keeps_what_was_spent_and_reopening_does_too() -> None:
    closed = fold(log("closed"))
    assert (closed.state, closed.spent, closed.closed) == ("closed", (usd(120),), NEWS["closed"])
    reopened = fold(log("closed", "reopened"))
    assert (reopened.state, reopened.spent, reopened.closed) == ("open", (usd(120),), None)


def test_a_planned_visit_becomes_part_of_the_report_and_is_forgotten_when_it_is_reopened() -> None:
    planned = fold(log("dispatched"))
    assert planned.report["visit_at"] == AT.isoformat()
    assert "visit_at" not in fold(log("dispatched", "closed", "reopened")).report


def test_a_withdrawal_takes_estimate_approval_and_authorization_away_and_numbers_go_on() -> None:
    before, after = fold(log("estimated", "approved")), fold(log("estimated", "approved", "withdrawn"))
    assert before.repair.authorization is not None
    assert after.repair == Repair(before.repair.revisions, before.repair.authorized)
    assert "estimate" in before.report and "estimate" not in after.report


def test_an_estimate_becomes_part_of_the_report() -> None:
    assert fold(log("estimated")).report["estimate"] == {
        "total": "120.00 USD",
        "beyond_warranty": "120.00 USD",
    }


@pytest.mark.parametrize("kind", ["approved", "visited", "swap_reserved", "swapped"])
def test_what_happens_outside_the_report_moves_the_version_only(kind: str) -> None:
    before, after = fold(log()), fold(log(kind))
    assert (after.version, after.report, after.state) == (2, before.report, "open")


def test_every_kind_of_event_can_be_folded() -> None:
    kinds = [kind for kind in EVENT_KINDS if kind != "reported"]
    assert fold(log(*kinds)).version == len(EVENT_KINDS)


@pytest.mark.parametrize(
    "events",
    [
        [],
        log("decided")[1:],
        [log("decided", "answered")[0], log("decided", "answered")[2]],
        [*log(), log()[0]],
    ],
    ids=["empty", "no report", "a gap", "reported twice"],
)
def test_a_broken_log_is_refused(events: list[Event]) -> None:
    with pytest.raises(ValueError, match=r"event|log|follow"):
        fold(events)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.sampled_from([kind for kind in EVENT_KINDS if kind != "reported"]), max_size=12))
def test_folding_in_one_go_or_step_by_step_is_the_same(kinds: list[str]) -> None:
    events = log(*kinds)
    ticket: Ticket | None = None
    for event in events:
        ticket = apply(ticket, event)
    assert ticket == fold(events)
    assert ticket is not None
    assert ticket.version == len(events)
    assert ticket.changed_at == events[-1].at


def test_a_ticket_id_is_short_and_speakable() -> None:
    ids = {new_ticket_id() for _ in range(200)}
    assert len(ids) == 200
    assert all(len(one) == 2 + LENGTH and set(one[2:]) <= set(SIGNS) for one in ids)
    assert not set("ILOU") & set(SIGNS)


@pytest.mark.parametrize("said", ["T-70K4M2", "t-7ok4m2", " T 70k4m2 ", "70K4M2", "T-7OK-4M2"])
def test_a_ticket_id_is_understood_as_it_is_heard(said: str) -> None:
    assert heard(said) == "T-70K4M2"


@pytest.mark.parametrize("said", ["T-TTK4M2", "TTK4M2"])
def test_an_id_that_starts_with_t_keeps_its_t(said: str) -> None:
    assert heard(said) == "T-TTK4M2"
