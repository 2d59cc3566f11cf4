"""What an agent does on a call besides answering: skip, correct, read out, park, and take back.

Each is one event on the ticket, by way of `Program.change` (decided again) or `Program.note`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from triage.records.caller import Caller
from triage.records.decision_parts import Caution
from triage.records.payloads import (
    Acknowledged,
    Answered,
    CheckDone,
    JSONObject,
    Parked,
    Skipped,
    Undone,
)
from triage.records.ticket import Event, Ticket, changed_report, fold
from triage.service.service import Service
from triage.values.errors import InputError, NotFoundError, Problem

UNDOABLE = (Answered, CheckDone, Skipped)


def answer(
    service: Service,
    ticket_id: str,
    answers: Mapping[str, Any],
    who: Caller,
    if_version: int | None = None,
    *,
    said: Mapping[str, str] | None = None,
) -> Ticket:
    """Answers, with the clerk's own words for those that were converted, and what they correct.

    An answer to a fact that the record holds is a correction: the event says what the record said.
    """
    if not answers:
        raise InputError([Problem("give at least one answer: fact -> value", "/answers")])
    with service.store.write():
        known = service.ticket(ticket_id, who).decided.facts
        corrects = {
            fact: known[fact].value
            for fact in answers
            if fact in known and known[fact].source in ("record", "derived")
        }
        answered = Answered(dict(answers), dict(said) if said else None, corrects or None)
        return service.change(ticket_id, answered, who, if_version)


def skip(service: Service, ticket_id: str, fact: str, who: Caller, if_version: int | None) -> Ticket:
    """The clerk cannot tell: the fact stays unknown and is not asked for again."""
    if fact not in service.rulebook.facts:
        raise InputError([Problem(f'"{fact[:60]}" is no fact of the rulebook', "/facts")])
    return service.change(ticket_id, Skipped((fact,)), who, if_version)


def acknowledge(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """The agent has read out every stop-use caution now in force."""
    with service.store.write():
        waiting = unread(service.ticket(ticket_id, who))
        if not waiting:
            return service.ticket(ticket_id, who)
        said = Acknowledged(tuple(caution.rule for caution in waiting))
        return service.note(ticket_id, said, who, if_version)


def unread(ticket: Ticket) -> Sequence[Caution]:
    """The stop-use cautions in force that nobody has read out yet."""
    cautions = ticket.decided.cautions
    return [said for said in cautions if said.stop_use and said.rule not in ticket.acknowledged]


def park(service: Service, ticket_id: str, check: str, who: Caller, if_version: int | None) -> Ticket:
    """The check is done and takes its time to show: the ticket waits until the clerk is called back."""
    with service.store.write():
        plan = service.ticket(ticket_id, who).decided.plan
        step = next((step for step in plan if step.check == check), None)
        if step is None or not step.wait_minutes:
            raise InputError([Problem(f'"{check[:60]}" is no check of this plan that has to wait', "/check")])
        until = service.now() + timedelta(minutes=step.wait_minutes)
        return service.note(ticket_id, Parked(check, until), who, if_version)


def undo(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """Takes the last answer, check result or "don't know" back; the log keeps it. Decided again."""
    with service.store.write():
        ticket = service.ticket(ticket_id, who)
        events = service.events(ticket.id, who)
        last = last_undoable(events)
        if last is None:
            raise NotFoundError("there is no answer to take back")
        undone = Undone(last.seq, _report_without(events, last.seq))
        return service.change(ticket.id, undone, who, if_version)


def last_undoable(events: Sequence[Event]) -> Event | None:
    """The last event that can be taken back and was not."""
    gone = taken_back(events)
    kept = (
        event for event in reversed(events) if isinstance(event.payload, UNDOABLE) and event.seq not in gone
    )
    return next(kept, None)


def taken_back(events: Sequence[Event]) -> set[int]:
    """The numbers of the events that were undone."""
    return {event.payload.seq for event in events if isinstance(event.payload, Undone)}


def _report_without(events: Sequence[Event], seq: int) -> JSONObject:
    gone = {seq, *taken_back(events)}
    report = fold(events[:1]).report
    for event in events[1:]:
        if event.seq not in gone and not isinstance(event.payload, Undone):
            report = changed_report(report, event.payload)
    return report
