"""Who estimates does not approve, who approves does not close, and an authority sees what it is asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.triage.services import AGENT, FOGLINE, NOON, OPS, REPORT, Clock, rulebook_files, running_service
from triage.records.caller import Caller
from triage.records.payloads import Approved
from triage.records.ticket import Ticket, fold
from triage.service import machines, numbers, repairs, requests, tickets
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError, NotFoundError

SECOND = Caller("second lead", "ops")
INES = Caller("Ines Marsh", "authority", authority="ops_lead")
OWNER = Caller("Odd Berg", "authority", authority="owner")
MANIFEST = {"title": "A minimal rulebook", "currency": "USD", "ops_up_to": 600}
AUTHORITIES = {
    "ops_lead": {"title": "Ops lead", "reach": "555-0100", "up_to": 2000},
    "owner": {"title": "Owner", "reach": "555-0101"},
}

LINES = [{"kind": "trip"}, {"kind": "labor", "hours": 4}]  # 535.00, above the limit of 350
LARGE = {"cause": "dirty_filter", "lines": LINES}
LARGER = {"cause": "dirty_filter", "lines": [{"kind": "labor", "hours": 6}]}  # 660.00
WRITTEN = {"answer": "yes", "authority": "ops_lead", "person": "Robin Vale", "why": "The only one here."}
CHECKED = [{"check": "reseat-seal", "result": "not_cured"}]
OWN = {"estimate": 1, "answer": "yes", "why": "The only one here."}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    files = rulebook_files(**{"rulebook.yml": MANIFEST})
    table: Any = files["limits/authority.yml"]
    files["limits/authority.yml"] = {**table, "authorities": AUTHORITIES}
    with running_service(tmp_path, Clock(), files) as running:
        yield running


@pytest.fixture
def ticket(service: Service) -> Ticket:
    return tickets.open_ticket(service, REPORT, AGENT)


def number_of(ticket: Ticket) -> str:
    assert ticket.repair.authorization is not None
    return ticket.repair.authorization.number


def close(service: Service, ticket: Ticket, who: Caller, lines: object = LINES) -> Ticket:
    done = {"cause": "dirty_filter", "cured_by": "repair", "lines": lines, "authorization": number_of(ticket)}
    return repairs.close(service, ticket.id, done, who)


def refused(
    service: Service, act: Callable[[], object], ticket: Ticket, kind: type[Exception], said: str
) -> None:
    before = tickets.ticket(service, ticket.id, OPS)
    with pytest.raises(kind, match=said):
        act()
    assert tickets.ticket(service, ticket.id, OPS) == before


def test_who_estimates_does_not_approve(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, OPS)

    def approve(who: Caller, **more: Any) -> Ticket:
        return repairs.approve(service, ticket.id, {**WRITTEN, "estimate": 1, **more}, who)

    refused(service, lambda: approve(OPS), ticket, ConflictError, "lead wrote this estimate of ticket")
    refused(service, lambda: approve(OPS, answer="no"), ticket, ConflictError, "somebody else approves")
    refused(service, lambda: approve(SECOND, person="lead"), ticket, ConflictError, "somebody else approves")
    refused(
        service, lambda: approve(SECOND, person=" LEAD "), ticket, ConflictError, "somebody else approves"
    )
    assert approve(SECOND).outcome == "approve"


def test_who_approves_does_not_close_on_it(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    after = repairs.approve(service, ticket.id, {**WRITTEN, "estimate": 1}, OPS)
    said = "lead approved T-000001-A1; somebody else closes on it"
    refused(service, lambda: close(service, after, OPS), ticket, ConflictError, said)
    assert close(service, after, SECOND).state == "closed"


@pytest.mark.parametrize("lines", [LINES, [{"kind": "trip", "amount": "90000.00 USD"}]])
def test_one_token_of_ops_cannot_spend_above_the_limit(
    service: Service, ticket: Ticket, lines: object
) -> None:
    """By no order of estimating, approving beforehand, approving and closing."""
    beforehand = {**WRITTEN, "estimate": 0, "answer": "yes_up_to", "amount": "600.00 USD"}
    estimate = {"cause": "dirty_filter", "lines": lines}
    after = repairs.approve(service, ticket.id, beforehand, OPS)
    kinds = (ConflictError, InputError)
    with pytest.raises(kinds):
        close(service, after, OPS, lines)
    held = repairs.estimate(service, ticket.id, estimate, OPS)
    assert held.repair.estimate is not None
    assert held.repair.estimate.answer == "hold"
    with pytest.raises(kinds):
        repairs.approve(service, ticket.id, {**WRITTEN, "estimate": 1}, OPS)
    done = {"cause": "dirty_filter", "cured_by": "repair", "lines": lines}
    for named in ({}, {"authorization": number_of(after)}):
        with pytest.raises(kinds):
            repairs.close(service, ticket.id, {**done, **named}, OPS)
    assert tickets.ticket(service, ticket.id, OPS).spent == ()


def test_within_what_another_approved_beforehand_it_goes_on(service: Service, ticket: Ticket) -> None:
    beforehand = {**WRITTEN, "estimate": 0, "answer": "yes_up_to", "amount": "600.00 USD"}
    repairs.approve(service, ticket.id, beforehand, OPS)
    after = repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    assert after.repair.authorization is not None
    assert (after.repair.authorization.authority, after.repair.authorization.person) == (
        "ops_lead",
        "Robin Vale",
    )


def test_an_approval_names_the_person_behind_the_authority(service: Service, ticket: Ticket) -> None:
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    no_person = {key: value for key, value in WRITTEN.items() if key != "person"}
    with pytest.raises(InputError, match="say who spoke") as caught:
        repairs.approve(service, ticket.id, {**no_person, "estimate": 1}, OPS)
    assert [problem.pointer for problem in caught.value.problems] == ["/person"]
    after = repairs.approve(service, ticket.id, {**WRITTEN, "estimate": 1}, OPS)
    assert after.repair.approval is not None
    assert after.repair.authorization is not None
    assert after.repair.approval.person == after.repair.authorization.person == "Robin Vale"
    said = tickets.events(service, ticket.id, OPS)[-1].payload
    assert isinstance(said, Approved)
    assert said.person == "Robin Vale"


def test_ops_approve_up_to_the_rulebooks_amount_and_the_authority_up_to_its_own(
    service: Service, ticket: Ticket
) -> None:
    repairs.estimate(service, ticket.id, LARGER, FOGLINE)
    said = r"role ops a ticket is approved up to 600\.00 USD, and it would come to 660\.00"
    written = {**WRITTEN, "estimate": 1}
    refused(service, lambda: repairs.approve(service, ticket.id, written, OPS), ticket, InputError, said)
    after = repairs.approve(service, ticket.id, OWN, INES)
    assert after.repair.approval is not None
    assert (after.repair.approval.authority, after.repair.approval.person) == ("ops_lead", "Ines Marsh")
    assert fold(tickets.events(service, ticket.id, OPS)) == after


def test_an_authority_approves_within_its_ceiling_only(service: Service, ticket: Ticket) -> None:
    dear = {"cause": "dirty_filter", "lines": [{"kind": "labor", "hours": 18}]}  # 1980.00
    repairs.estimate(service, ticket.id, dear, FOGLINE)
    most = {"estimate": 1, "answer": "yes_up_to", "amount": "2000.01 USD", "why": "It is needed."}
    said = r"may say yes up to 2000\.00 USD"
    refused(service, lambda: repairs.approve(service, ticket.id, most, INES), ticket, InputError, said)
    other = {**OWN, "authority": "owner"}
    refused(
        service, lambda: repairs.approve(service, ticket.id, other, INES), ticket, InputError, "speaks as"
    )
    assert repairs.approve(service, ticket.id, {**OWN, "answer": "no"}, INES).repair.authorization is None


def test_an_authority_sees_the_tickets_it_is_asked_about_and_nothing_else(
    service: Service, ticket: Ticket
) -> None:
    def sees(who: Caller) -> bool:
        try:
            return bool(tickets.ticket(service, ticket.id, who) and tickets.events(service, ticket.id, who))
        except NotFoundError:
            return False

    assert not sees(INES)  # nobody is asked yet
    with pytest.raises(NotFoundError):
        repairs.approve(service, ticket.id, OWN, INES)
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)
    assert (sees(INES), sees(OWNER)) == (True, False)
    with pytest.raises(NotFoundError):
        repairs.approve(service, ticket.id, OWN, OWNER)
    after = repairs.approve(service, ticket.id, OWN, INES)
    assert sees(INES)
    close(service, after, FOGLINE)
    assert sees(INES)  # what was spent on its word
    assert numbers.claims(service, INES, None, None) == ([], None)
    with pytest.raises(NotFoundError):
        machines.machine(service, "LH20-1", INES)


def test_who_stands_above_the_authority_asked_may_see_the_ticket_and_say_yes(
    service: Service, ticket: Ticket
) -> None:
    with service.store.write() as work:
        tokens = {
            one: work.tokens.add(f"the {one}", "authority", None, NOON, authority=one) for one in AUTHORITIES
        }
    callers = {one: requests.caller_for(service, token) for one, token in tokens.items()}
    owner, lead = callers["owner"], callers["ops_lead"]
    assert owner is not None and lead is not None
    repairs.estimate(service, ticket.id, LARGE, FOGLINE)  # asks the ops lead
    assert tickets.ticket(service, ticket.id, owner).repair.revisions == 1
    after = repairs.approve(service, ticket.id, OWN, owner)
    assert after.repair.approval is not None and after.repair.approval.authority == "owner"
    assert lead.outranks == frozenset()


def test_a_ticket_held_before_there_is_an_estimate_is_seen_by_whom_it_asks(tmp_path: Path) -> None:
    files = rulebook_files()
    table: Any = files["limits/standing.yml"]
    files["limits/standing.yml"] = {**table, "rows": [{"then": {"amount": 1}}]}
    report = {**REPORT, "machine": "LH30-2", "symptoms": ["leaking"]}
    with running_service(tmp_path, Clock(), files) as service:
        ticket = tickets.open_ticket(service, {**report, "checks": CHECKED}, AGENT)
        assert ticket.outcome == "hold"
        assert tickets.ticket(service, ticket.id, INES) == ticket
        with pytest.raises(NotFoundError):
            tickets.ticket(service, ticket.id, OWNER)
