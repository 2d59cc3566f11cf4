"""How a ticket changes: what follows is worked out from the ticket as read, and stored if it still is so.

Nothing is decided while a writer keeps all others waiting. Where the ticket has moved on meanwhile, it is
read and worked out again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from triage.decide.decide_data import Inputs, decide_inputs, inputs_as_data, read_inputs, with_spent
from triage.decide.under_later_rules import report_now
from triage.records.caller import Caller
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import Decided, Payload
from triage.records.report import History, Machine
from triage.records.ticket import Ticket
from triage.service.access import refuse_stale, seen_machine, seen_ticket
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.tables.tickets import TicketMoved, following
from triage.values.errors import NotFoundError
from triage.values.money import Money, sum_money

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Change:
    """The next events of a ticket; none: it stays as it is. `also` stores what other tables learn by it."""

    news: Sequence[Payload]
    at: datetime
    also: Callable[[Work], None] | None = None


@one_version
def change(
    service: Service,
    ticket_id: str,
    who: Caller,
    if_version: int | None,
    follows: Callable[[Work, Ticket], Change],
    *,
    may_be_closed: bool = False,
) -> Ticket:
    """The ticket after what `follows` from it. ConflictError when it is past `if_version` or closed."""
    while True:
        with service.store.read() as work:
            ticket = seen_ticket(work, ticket_id, who)
            refuse_stale(work, ticket, if_version, may_be_closed=may_be_closed)
            found = follows(work, ticket)
        if not found.news:
            return ticket
        rulebook = service.rulebook.version
        ready = following(ticket, found.news, at=found.at, who=who.name, rulebook=rulebook)
        with suppress(TicketMoved), service.store.write() as work:
            work.tickets.follow(ready)
            if found.also is not None:
                found.also(work)
            return ready.ticket


@one_version
def append(service: Service, ticket_id: str, new: Payload, who: Caller, if_version: int | None) -> Ticket:
    """The ticket after an event that the decision does not hang on; a part of the write that it stands in."""
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who, for_change=True)
        refuse_stale(work, ticket, if_version)
        rulebook = service.rulebook.version
        return work.tickets.append(ticket.id, [new], at=service.now(), who=who.name, rulebook=rulebook)


def decided_anew(service: Service, work: Work, ticket: Ticket, new: Payload) -> Change:
    """`new` and the decision that follows from it."""
    data, left_out = report_now(ticket, new, service.rulebook)
    inputs = with_spent(inputs_of(service, work, data), _spent(ticket, service.rulebook.currency))
    decision = decide_inputs(service.rulebook, service.engine, inputs)
    return Change([new, decided_event(ticket.id, decision, inputs, left_out)], inputs.at)


def inputs_of(
    service: Service,
    work: Work,
    data: object,
    viewer: Caller | None = None,
    machine_data: Data | None = None,
) -> Inputs:
    """What a report is decided from, as of now. A machine that `viewer` may not see is in no record."""

    def find(serial: str) -> tuple[Machine, History] | None:
        try:
            return seen_machine(work, serial, viewer), work.care.history(serial)
        except NotFoundError:
            return None

    return read_inputs(data, service.rulebook, service.now(), find, machine_data)


def decided_event(
    ticket_id: str, decision: Decision, inputs: Inputs, left_out: Sequence[str] = ()
) -> Decided:
    """`left_out` are the facts and checks that the report names and the rulebook no longer knows."""
    return Decided(as_json(decision, ticket_id), inputs_as_data(inputs), tuple(left_out) or None)


def _spent(ticket: Ticket, currency: str) -> Money | None:
    return sum_money(ticket.spent, currency) if ticket.spent else None
