"""From estimate to close on a running program; and what happens when many ask at once."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests.triage.builders import policy
from tests.triage.payloads import usd
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
from triage.records.payloads import Approved, Closed
from triage.records.ticket import Ticket, fold
from triage.service import machines, repairs, requests, tickets
from triage.service.service import Service
from triage.values.dataclass_json import as_data
from triage.values.errors import ConflictError, InputError, NotFoundError

SMALL = {"cause": "dirty_filter", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 1}]}  # 205.00
LARGE = {"cause": "dirty_filter", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 4}]}  # 535.00
YES = {
    "estimate": 1,
    "answer": "yes",
    "authority": "ops_lead",
    "person": "Robin Vale",
    "why": "It is the only one on the quay.",
}


def closing(hours: int, **more: object) -> dict[str, Any]:
    lines = [{"kind": "trip"}, {"kind": "labor", "hours": hours}]
    return {"cause": "dirty_filter", "cured_by": "repair", "lines": lines, **more}


@pytest.fixture
def ticket(service: Service) -> Ticket:
    return tickets.open_ticket(service, REPORT, AGENT)


def repair_of(ticket: Ticket) -> dict[str, Any]:
    """What the API shows of it."""
    return as_data(ticket.repair)


def number_of(ticket: Ticket) -> str:
    assert ticket.repair.authorization is not None
    return ticket.repair.authorization.number


def kinds(service: Service, ticket: Ticket) -> list[str]:
    return [event.kind for event in tickets.events(service, ticket.id, OPS)]


def untouched(service: Service, ticket: Ticket) -> bool:
    return tickets.ticket(service, ticket.id, OPS) == ticket and kinds(service, ticket) == [
        "reported",
        "decided",
    ]


def test_an_estimate_within_the_limit_is_approved_with_a_number(service: Service, ticket: Ticket) -> None:
    after = repairs.estimate(service, ticket.id, SMALL, FOGLINE)
    assert repair_of(after)["estimate"]["answer"] == "approve"
    authorization = repair_of(after)["authorization"]
    assert (authorization["number"], authorization["amount"]) == (f"{ticket.id}-A1", "205.00 USD")
    assert authorization["expires_at"] == (NOON + timedelta(days=30)).isoformat()
    assert after.outcome == "approve"
    assert kinds(service, ticket) == ["reported", "decided", "estimated", "decided", "approved"]
    assert fold(tickets.events(service, ticket.id, OPS)) == after == tickets.ticket(service, ticket.id, OPS)


def test_an_estimate_above_it_is_held_and_names_whom_to_ask(service: Service, ticket: Ticket) -> None:
    after = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    estimate = repair_of(after)["estimate"]
    assert (estimate["answer"], estimate["beyond_warranty"]) == ("hold", "535.00 USD")
    assert estimate["ask"] == {
        "authority": "ops_lead",
        "title": "Ops lead",
        "up_to": "2000.00 USD",
        "absent_until": None,
        "deputy": None,
        "reach": "555-0100",
    }
    assert estimate["reasons"]
    assert repair_of(after)["authorization"] is None


def test_a_rule_may_ask_for_the_exchange_instead(tmp_path: Path) -> None:
    rule = policy(
        "exchange",
        {"estimate_total": "> 500"},
        {"estimate_total": 501},
        {"estimate_total": 500},
        "swap",
        950,
        "It is not worth it.",
    )
    with running_service(tmp_path, files=rulebook_files(**{"policy/exchange.yml": rule})) as service:
        ticket = tickets.open_ticket(service, REPORT, AGENT)
        after = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    assert repair_of(after)["estimate"]["answer"] == "swap"
    assert repair_of(after)["estimate"]["reasons"] == ["It is not worth it."]
    assert repair_of(after)["authorization"] is None


def test_in_warranty_it_is_approved_without_the_limit_and_the_claim_is_apart(
    service: Service, ticket: Ticket
) -> None:
    lines = [{"kind": "labor", "hours": 6}, {"kind": "part", "number": "COMP-1", "serials": ["C-9"]}]
    after = repairs.estimate(service, ticket.id, {"cause": "compressor_fault", "lines": lines}, FOGLINE)
    estimate = repair_of(after)["estimate"]
    assert (estimate["answer"], estimate["beyond_warranty"]) == ("approve", "0.00 USD")
    assert estimate["claimed"] == estimate["total"] == "1465.38 USD"
    assert {line["paid_by"] for line in estimate["lines"]} == {"standard"}
    done = {
        "cause": "compressor_fault",
        "cured_by": "repair",
        "lines": lines,
        "authorization": repair_of(after)["authorization"]["number"],
    }
    closed = repairs.close(service, ticket.id, done, FOGLINE)
    assert closed.closed is not None
    assert (closed.closed.cost, closed.closed.bill.claimed) == (usd(0), usd("1465.38"))


def test_an_authoritys_yes_authorizes_the_repair(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    after = repairs.approve(service, ticket.id, YES, OPS)
    assert after.outcome == "approve"
    assert repair_of(after)["approval"] == {
        "authority": "ops_lead",
        "yes": True,
        "amount": "535.00 USD",
        "why": "It is the only one on the quay.",
        "who": "lead",
        "person": "Robin Vale",
    }
    closed = repairs.close(
        service, ticket.id, closing(4, authorization=repair_of(after)["authorization"]["number"]), FOGLINE
    )
    assert (closed.state, repair_of(closed)["authorization"]["state"]) == ("closed", "used")


def test_what_is_authorized_stays_so_when_more_is_learnt(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    repairs.approve(service, ticket.id, YES, OPS)
    after = tickets.answer(service, ticket.id, {"filter_days": 3}, AGENT)
    assert repair_of(after)["authorization"]["state"] == "open"
    assert after.outcome != "hold"


def test_a_no_authorizes_nothing(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    after = repairs.approve(service, ticket.id, {**YES, "answer": "no"}, OPS)
    assert (after.outcome == "approve", repair_of(after)["authorization"]) == (False, None)
    with pytest.raises(InputError, match="without approval"):
        repairs.close(service, ticket.id, closing(4), FOGLINE)


def test_yes_up_to_an_amount_is_a_ceiling_for_the_closing(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    word = {**YES, "answer": "yes_up_to", "amount": "425.00 USD"}
    number = number_of(repairs.approve(service, ticket.id, word, OPS))
    with pytest.raises(InputError, match=r"110.00 USD above the 425.00 USD") as caught:
        repairs.close(service, ticket.id, closing(4, authorization=number), FOGLINE)
    assert [problem.pointer for problem in caught.value.problems] == ["/authorization"]
    assert repairs.close(service, ticket.id, closing(3, authorization=number), FOGLINE).state == "closed"


def test_above_its_ceiling_an_authoritys_word_does_not_reach(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    word = {**YES, "answer": "yes_up_to", "amount": "2000.01 USD"}
    with pytest.raises(InputError, match=r"may say yes up to 2000\.00 USD"):
        repairs.approve(service, ticket.id, word, OPS)


def test_a_ceiling_counts_what_the_ticket_has_cost_already(service: Service, ticket: Ticket) -> None:
    repairs.close(service, ticket.id, closing(1), FOGLINE)  # 95 for the trip and 110 an hour
    repairs.reopen(service, ticket.id, "It is back.", AGENT)
    held = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    word = {**YES, "estimate": repair_of(held)["revisions"], "answer": "yes_up_to"}
    with pytest.raises(InputError, match=r"up to 2000\.00 USD; the ticket would come to 2000\.01"):
        repairs.approve(service, ticket.id, {**word, "amount": "1795.01 USD"}, OPS)
    assert repairs.approve(service, ticket.id, {**word, "amount": "1795.00 USD"}, OPS).outcome == "approve"


def test_whom_to_ask_counts_what_the_ticket_has_cost_already(service: Service, ticket: Ticket) -> None:
    almost = [{"kind": "labor", "hours": 17, "amount": "1870.00 USD"}]  # under the ceiling by itself
    repairs.close(service, ticket.id, closing(1), FOGLINE)
    repairs.reopen(service, ticket.id, "It is back.", AGENT)
    held = repairs.estimate(service, ticket.id, {**LARGE, "lines": almost}, FOGLINE)
    assert repair_of(held)["estimate"]["ask"] is None  # the rulebook names nobody above the ops lead


def test_a_held_ticket_may_be_released_before_there_is_an_estimate(service: Service, ticket: Ticket) -> None:
    with pytest.raises(InputError, match="there is no estimate yet"):
        repairs.approve(service, ticket.id, {**YES, "estimate": 0}, OPS)
    word = {**YES, "estimate": 0, "answer": "yes_up_to", "amount": "600.00 USD"}
    repairs.approve(service, ticket.id, word, OPS)
    after = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    assert repair_of(after)["estimate"]["answer"] == "approve"
    assert repair_of(after)["estimate"]["reasons"] == ["It is within what ops_lead approved beforehand."]
    assert repair_of(after)["authorization"]["authority"] == "ops_lead"
    assert repair_of(after)["authorization"]["amount"] == "600.00 USD"
    again = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    assert repair_of(again)["estimate"]["answer"] == "hold"


def test_an_expired_yes_is_asked_for_again(service: Service, ticket: Ticket, clock: Clock) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    number = number_of(repairs.approve(service, ticket.id, YES, OPS))
    clock.move(days=30)
    with pytest.raises(InputError, match="expired"):
        repairs.close(service, ticket.id, closing(4, authorization=number), FOGLINE)
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    number = number_of(repairs.approve(service, ticket.id, {**YES, "estimate": 2}, OPS))
    assert repairs.close(service, ticket.id, closing(4, authorization=number), FOGLINE).state == "closed"


def test_closing_feeds_the_history_and_the_limit(service: Service, ticket: Ticket) -> None:
    closed = repairs.close(service, ticket.id, closing(1, photos=["photo/1"]), FOGLINE)
    last = machines.machine(service, "LH20-1", OPS).history.repairs[-1]
    assert (last.ticket, last.cause, last.cost) == (ticket.id, "dirty_filter", Money("205.00", "USD"))
    assert closed.spent == (usd(205),)
    assert closed.closed is not None
    assert (closed.closed.photos, closed.closed.hours) == (("photo/1",), 1)
    assert machines.limits(service, "LH20-1", None, None, OPS)["limit"]["spent_12_months"] == "325.00"


def test_a_cure_in_the_store_is_no_repair_in_the_history(service: Service, ticket: Ticket) -> None:
    before = machines.machine(service, "LH20-1", OPS).history.repairs
    closed = repairs.close(service, ticket.id, {"cause": "low_fill", "cured_by": "fill-hopper"}, AGENT)
    assert (closed.state, closed.spent) == ("closed", (usd(0),))
    assert machines.machine(service, "LH20-1", OPS).history.repairs == before


def test_no_fault_found_is_history_without_a_cause(service: Service, ticket: Ticket) -> None:
    repairs.close(service, ticket.id, closing(1, cause="no_fault_found", cured_by="nothing"), FOGLINE)
    assert machines.machine(service, "LH20-1", OPS).history.repairs[-1].cause is None


def test_a_comeback_is_linked_to_the_visit_before(service: Service, ticket: Ticket, clock: Clock) -> None:
    repairs.close(service, ticket.id, closing(1), FOGLINE)
    clock.move(days=10)
    back = tickets.open_ticket(service, {**REPORT, "reported_at": clock.time.isoformat()}, AGENT)
    closed = repairs.close(service, back.id, closing(1), FOGLINE)
    assert closed.closed is not None
    assert as_data(closed.closed)["comeback_of"] == {
        "ticket": ticket.id,
        "at": NOON.isoformat(),
        "days": 10,
        "same_cause": True,
    }


def test_a_closed_ticket_is_worked_on_only_when_it_is_open_again(
    service: Service, ticket: Ticket, clock: Clock
) -> None:
    number = number_of(repairs.estimate(service, ticket.id, SMALL, FOGLINE))
    repairs.close(service, ticket.id, closing(1, authorization=number), FOGLINE)
    for change in (
        lambda: repairs.estimate(service, ticket.id, SMALL, FOGLINE),
        lambda: repairs.approve(service, ticket.id, YES, OPS),
        lambda: repairs.close(service, ticket.id, closing(1), FOGLINE),
    ):
        with pytest.raises(ConflictError, match="is closed; reopen it first"):
            change()
    clock.move(hours=1)
    again = repairs.reopen(service, ticket.id, "It is warm again.", AGENT)
    assert (again.state, again.closed, "estimate" in again.report) == ("open", None, False)
    with pytest.raises(InputError, match="was used already"):
        repairs.close(service, ticket.id, closing(1, authorization=number), FOGLINE)
    with pytest.raises(InputError, match=r"above the 145.00 USD"):  # 350 less what was spent
        repairs.close(service, ticket.id, closing(1), FOGLINE)
    with pytest.raises(ConflictError, match="is open"):
        repairs.reopen(service, ticket.id, "again", AGENT)


BAD_ESTIMATES: dict[str, tuple[dict[str, Any], str]] = {
    "negative hours": ({"lines": [{"kind": "labor", "hours": -1}]}, "/lines/0/hours"),
    "an unknown part": ({"lines": [{"kind": "part", "number": "X"}]}, "/lines/0/number"),
    "another currency": ({"lines": [{"kind": "trip", "amount": "9.00 EUR"}]}, "/lines/0/amount"),
}


@pytest.mark.parametrize("name", BAD_ESTIMATES)
def test_a_bad_estimate_stores_nothing(service: Service, ticket: Ticket, name: str) -> None:
    data, pointer = BAD_ESTIMATES[name]
    with pytest.raises(InputError) as caught:
        repairs.estimate(service, ticket.id, data, FOGLINE)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]
    assert untouched(service, ticket)


def test_a_stale_change_stores_nothing(service: Service, ticket: Ticket) -> None:
    changes: list[Callable[[], object]] = [
        lambda: repairs.estimate(service, ticket.id, SMALL, FOGLINE, 1),
        lambda: repairs.approve(service, ticket.id, YES, OPS, 1),
        lambda: repairs.close(service, ticket.id, closing(1), FOGLINE, 1),
        lambda: repairs.reopen(service, ticket.id, "why", OPS, 1),
    ]
    for change in changes:
        with pytest.raises(ConflictError, match="is at version 2, not 1"):
            change()
    assert untouched(service, ticket)


def test_a_refused_closing_leaves_no_trace_in_the_history(service: Service, ticket: Ticket) -> None:
    before = machines.machine(service, "LH20-1", OPS).history.repairs
    with pytest.raises(InputError):
        repairs.close(service, ticket.id, closing(9), FOGLINE)
    assert machines.machine(service, "LH20-1", OPS).history.repairs == before
    assert untouched(service, ticket)


def test_another_contractors_ticket_is_not_found(service: Service, ticket: Ticket) -> None:
    for change in (
        lambda: repairs.estimate(service, ticket.id, SMALL, TERN),
        lambda: repairs.close(service, ticket.id, closing(1), TERN),
        lambda: repairs.reopen(service, ticket.id, "why", TERN),
    ):
        with pytest.raises(NotFoundError):
            change()


def at_once(count: int, action: Callable[[int], object]) -> list[BaseException | object]:
    """What `count` threads that start together got or raised."""
    gate = threading.Barrier(count)
    results: list[BaseException | object] = [None] * count

    def run(index: int) -> None:
        gate.wait()
        try:
            results[index] = action(index)
        except InputError as error:
            results[index] = error

    threads = [threading.Thread(target=run, args=(index,)) for index in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_of_many_who_approve_at_once_one_does(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    results = at_once(8, lambda index: repairs.approve(service, ticket.id, YES, OPS))
    assert sum(isinstance(result, Ticket) for result in results) == 1
    assert sum(isinstance(result, ConflictError) for result in results) == 7
    assert kinds(service, ticket).count("approved") == 1


def test_of_many_who_close_at_once_one_uses_the_authorization(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    number = number_of(repairs.approve(service, ticket.id, YES, OPS))
    results = at_once(
        8, lambda index: repairs.close(service, ticket.id, closing(4, authorization=number), FOGLINE)
    )
    assert sum(isinstance(result, Ticket) for result in results) == 1
    assert kinds(service, ticket).count("closed") == 1
    assert (
        len(
            [
                one
                for one in machines.machine(service, "LH20-1", OPS).history.repairs
                if one.ticket == ticket.id
            ]
        )
        == 1
    )


def test_of_many_who_send_the_same_key_one_is_carried_out(service: Service, ticket: Ticket) -> None:

    def send(index: int) -> object:
        def action() -> requests.Response:
            repairs.estimate(service, ticket.id, SMALL, FOGLINE)
            return requests.Response(201, {}, {})

        return requests.once(service, "same", FOGLINE, "hash", action)

    at_once(6, send)
    assert kinds(service, ticket).count("estimated") == 1


@settings(deadline=None, max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    orders=st.lists(
        st.lists(
            st.sampled_from(["estimate", "approve", "close", "close above", "reopen"]), min_size=1, max_size=5
        ),
        min_size=3,
        max_size=4,
    )
)
def test_however_threads_interleave_money_is_spent_once_and_never_above(
    service: Service, clock: Clock, orders: list[list[str]]
) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    lock = threading.Lock()

    def act(step: str) -> None:
        now = tickets.ticket(service, ticket.id, OPS)
        revision = repair_of(now)["revisions"] if repair_of(now)["estimate"] else 0
        authorization = repair_of(now)["authorization"] or {}
        match step:
            case "estimate":
                repairs.estimate(service, ticket.id, LARGE, FOGLINE)
            case "approve":
                repairs.approve(service, ticket.id, {**YES, "estimate": revision}, OPS)
            case "reopen":
                with lock:
                    clock.move(minutes=1)
                repairs.reopen(service, ticket.id, "back", OPS)
            case _:
                hours = 4 if step == "close" else 5
                named = {"authorization": authorization["number"]} if authorization else {}
                repairs.close(service, ticket.id, closing(hours, **named), FOGLINE)

    def run(index: int) -> None:
        for step in orders[index]:
            try:
                act(step)
            except InputError:
                continue

    at_once(len(orders), run)
    log = tickets.events(service, ticket.id, OPS)
    assert [event.seq for event in log] == list(range(1, len(log) + 1))
    assert fold(log) == tickets.ticket(service, ticket.id, OPS)
    words = [event.payload for event in log if isinstance(event.payload, Approved)]
    assert len({word.estimate for word in words}) == len(words)
    numbers = {word.number: word.amount for word in words}
    assert len(numbers) == len(words)
    closings = [event.payload for event in log if isinstance(event.payload, Closed)]
    used = [payload.authorization for payload in closings]
    assert len(set(used)) == len(used)
    for payload in closings:
        assert payload.cost <= numbers[payload.authorization]
