"""Tickets: opened from a report, answered, checked, read and listed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from triage.decide.decide_data import decide_inputs
from triage.records.caller import Caller
from triage.records.decision import Decision
from triage.records.payloads import Answered, CheckDone, Payload, Reported
from triage.records.ticket import Event, Ticket
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Rulebook
from triage.service.access import seen_ticket
from triage.service.changes import Change, change, decided_anew, decided_event, inputs_of
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.tables.desk import VIEWS, OpenTicket, View
from triage.store.tables.tickets import opening
from triage.values.errors import InputError, Problem

__all__ = [
    "VIEWS",
    "OpenTicket",
    "Page",
    "View",
    "answer",
    "decide_once",
    "events",
    "open_ticket",
    "open_tickets",
    "record_check",
    "ticket",
    "tickets",
]

Data = Mapping[str, Any]

MOST_SAID = 200
"""Characters of the clerk's words that are kept beside an answer."""


@dataclass(frozen=True, slots=True)
class Page:
    """Tickets, newest first; `next_cursor` is None on the last page."""

    tickets: tuple[Ticket, ...]
    next_cursor: str | None


@one_version
def decide_once(
    service: Service, data: object, machine_data: Data | None = None, viewer: Caller | None = None
) -> Decision:
    """Decides a report, nothing stored. `machine_data` is a machine file, for a machine not on record."""
    with service.store.read() as work:
        inputs = inputs_of(service, work, data, viewer, machine_data)
    return decide_inputs(service.rulebook, service.engine, inputs)


@one_version
def open_ticket(service: Service, data: object, who: Caller) -> Ticket:
    """A report in, a decided ticket out."""
    with service.store.read() as work:
        inputs = inputs_of(service, work, data, who)
    decision = decide_inputs(service.rulebook, service.engine, inputs)
    machine = inputs.machine
    reported = Reported(
        report=inputs.report_data,
        machine=None if machine is None else machine.serial,
        site=None if machine is None or machine.site is None else machine.site.id,
        contractor=None if machine is None else machine.contractor,
    )
    while True:
        ticket_id = service.new_id()
        news: list[Payload] = [reported, decided_event(ticket_id, decision, inputs)]
        ready = opening(ticket_id, news, at=inputs.at, who=who.name, rulebook=service.rulebook.version)
        with service.store.write() as work:
            if work.tickets.open(ready):
                return ready.ticket


def answer(
    service: Service,
    ticket_id: str,
    answers: Data,
    who: Caller,
    if_version: int | None = None,
    said: Mapping[str, str] | None = None,
) -> Ticket:
    """More facts; decided again. `said` are the clerk's own words by fact, where they were heard.

    Raises ConflictError when the ticket is past `if_version` or closed.
    """
    if not isinstance(answers, Mapping) or not answers:
        raise InputError([Problem("give at least one answer: fact -> value", "/answers")])

    def follows(work: Work, found: Ticket) -> Change:
        new = _answered(service.rulebook, found, answers, said or {})
        return decided_anew(service, work, found, new)

    return change(service, ticket_id, who, if_version, follows)


def _answered(rulebook: Rulebook, ticket: Ticket, answers: Data, said: Mapping[str, str]) -> Answered:
    """What the event says: the answers, words that are not the value, and what they correct in the record."""
    known = ticket.decided.facts
    words = {
        fact: said[fact][:MOST_SAID]
        for fact, value in answers.items()
        if fact in said and _in_other_words(value, said[fact])
    }
    corrects = {
        fact: known[fact].value
        for fact, value in answers.items()
        if fact in known
        and known[fact].source in ("record", "derived")
        and _differs(rulebook, fact, value, known[fact].value)
    }
    return Answered(dict(answers), words or None, corrects or None)


def _in_other_words(value: object, said: str) -> bool:
    """Whether a number was said otherwise than by its digits; other values stand for their words anyway."""
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return False
    try:
        return Decimal(said.strip()) != value
    except InvalidOperation:
        return True


def _differs(rulebook: Rulebook, fact: str, value: object, known: object) -> bool:
    """Whether an answer is another value than the one known; one that cannot be read is refused later on."""
    if fact not in rulebook.facts:
        return True
    try:
        return read_value(rulebook.facts[fact], value) != read_value(rulebook.facts[fact], known)
    except InputError:
        return True


def record_check(
    service: Service, ticket_id: str, check: str, result: str, who: Caller, if_version: int | None = None
) -> Ticket:
    """What came of a check (`cured`, `not_cured`, `could_not_do`); decided again."""
    done = CheckDone(check, result)
    return change(
        service, ticket_id, who, if_version, lambda work, found: decided_anew(service, work, found, done)
    )


def ticket(service: Service, ticket_id: str, viewer: Caller) -> Ticket:
    with service.store.read() as work:
        return seen_ticket(work, ticket_id, viewer)


def tickets(
    service: Service,
    viewer: Caller,
    filters: Mapping[str, str] | None = None,
    cursor: str | None = None,
    limit: int = 50,
) -> Page:
    """Tickets by `state`, `outcome`, `machine`, `site`, newest first, without their `decision`."""
    chosen = dict(filters or {})
    if viewer.role == "technician":
        chosen["contractor"] = viewer.contractor or ""
    with service.store.read() as work:
        return Page(*work.tickets.page(chosen, cursor, limit))


def events(service: Service, ticket_id: str, viewer: Caller) -> Sequence[Event]:
    """The ticket's log in order."""
    with service.store.read() as work:
        return work.tickets.events(seen_ticket(work, ticket_id, viewer).id)


def open_tickets(
    service: Service, view: View, site: str | None = None, offset: int = 0, limit: int = 25
) -> Sequence[OpenTicket]:
    """A part of the list of open tickets, of all sites or of one; see `VIEWS` for what they wait for."""
    with service.store.read() as work:
        return work.desk.open_tickets(view, service.now(), site=site, offset=offset, limit=limit)
