"""Who may see which ticket and machine, and whether a change still fits the ticket it was meant for."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from triage.records.caller import Caller
from triage.records.report import History, Machine
from triage.records.ticket import Ticket
from triage.records.ticket_id import heard
from triage.store import Work
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.money import sum_money


def seen_ticket(work: Work, ticket_id: str, viewer: Caller | None, *, for_change: bool = False) -> Ticket:
    """The ticket by its id as heard on the phone; NotFoundError when it is not this caller's to see."""
    ticket = work.tickets.get(heard(ticket_id), for_change=for_change)
    if viewer is not None and not viewer.may_see(ticket.contractor):
        raise NotFoundError(f'no ticket "{heard(ticket_id)}"')
    return ticket


def seen_machine(work: Work, serial: str, viewer: Caller | None) -> Machine:
    """The machine by its serial; NotFoundError when it is not this caller's to see."""
    machine = work.machines.get(serial)
    if viewer is not None and not viewer.may_see(machine.contractor):
        raise NotFoundError(f'no machine with the serial "{serial}"')
    return machine


def machine_billed(work: Work, ticket: Ticket) -> Machine | None:
    """The machine as the ticket's contractor serves it, whoever has it now, where the ticket has it."""
    if ticket.machine is None:
        return None
    machine = replace(work.machines.get(ticket.machine), contractor=ticket.contractor)
    return _in_place(work, machine, ticket)


def found_for(work: Work, ticket: Ticket, serial: str) -> tuple[Machine, History] | None:
    """A machine that a ticket's report names, with its history."""
    try:
        machine = _in_place(work, work.machines.get(serial), ticket)
        return machine, work.care.history(serial)
    except NotFoundError:
        return None


def _in_place(work: Work, machine: Machine, ticket: Ticket) -> Machine:
    """A machine that was exchanged under this ticket is billed for where it stood."""
    if machine.site is not None or ticket.site is None or machine.serial != ticket.machine:
        return machine
    site = work.machines.site(ticket.site)
    return replace(machine, site=site, contractor=machine.contractor or ticket.contractor)


def refuse_stale(work: Work, ticket: Ticket, if_version: int | None, *, may_be_closed: bool = False) -> None:
    """Raises ConflictError with what changed since `if_version`, or when the ticket is closed."""
    if if_version is not None and if_version != ticket.version:
        since = "; ".join(
            f"{event.kind} by {event.who} at {event.at.isoformat(timespec='seconds')}"
            for event in work.tickets.events(ticket.id, after=if_version)
        )
        changed = f"since then: {since}" if since else "there is no such version"
        raise ConflictError(
            f"ticket {ticket.id} is at version {ticket.version}, not {if_version}; {changed}. "
            "Read it again and send the change on top of that"
        )
    if ticket.state == "closed" and not may_be_closed:
        raise ConflictError(f"ticket {ticket.id} is closed; reopen it first")


def refuse_open_swap(work: Work, ticket: Ticket) -> None:
    """Raises ConflictError where a unit is still on its way for the ticket, which would stay so."""
    sent = work.depot.on_the_way_for(ticket.id)
    if sent is not None:
        raise ConflictError(f"{sent.serial} is on the way for this ticket; confirm the swap or take it back")


def spent_on(work: Work, ticket_id: str, serial: str, viewer: Caller, currency: str) -> Decimal:
    """What a ticket of a machine has cost; InputError when there is none for this viewer."""
    try:
        ticket = seen_ticket(work, ticket_id, viewer)
    except NotFoundError:
        ticket = None
    if ticket is None or ticket.machine != serial:
        raise InputError([Problem(f'no ticket "{ticket_id[:60]}" of this machine', "query:ticket")])
    return sum_money(ticket.spent, currency).amount
