"""What an agent does on a call besides answering: skip, correct, read out, park, and take back.

Each is one event on the ticket, by way of `Program.change` (decided again) or `Program.note`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from triage.records.caller import Caller
from triage.records.ticket import Event, JSONObject, Ticket, changed_report, fold
from triage.service.service import Service
from triage.store.tables.tickets import NewEvent
from triage.values.errors import InputError, NotFoundError, Problem

UNDOABLE = ("answered", "check_done", "skipped")


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
        known = (service.ticket(ticket_id, who).decision or {}).get("facts", {})
        corrects = {
            fact: known[fact]["value"]
            for fact in answers
            if known.get(fact, {}).get("from") in ("record", "derived")
        }
        payload: dict[str, Any] = {"answers": dict(answers)}
        payload |= {"said": dict(said)} if said else {}
        payload |= {"corrects": corrects} if corrects else {}
        return service.change(ticket_id, NewEvent("answered", payload), who, if_version)


def skip(service: Service, ticket_id: str, fact: str, who: Caller, if_version: int | None) -> Ticket:
    """The clerk cannot tell: the fact stays unknown and is not asked for again."""
    if fact not in service.rulebook.facts:
        raise InputError([Problem(f'"{fact[:60]}" is no fact of the rulebook', "/facts")])
    return service.change(ticket_id, NewEvent("skipped", {"facts": [fact]}), who, if_version)


def acknowledge(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """The agent has read out every stop-use caution now in force."""
    with service.store.write():
        waiting = unread(service.ticket(ticket_id, who))
        if not waiting:
            return service.ticket(ticket_id, who)
        said = NewEvent("acknowledged", {"cautions": [caution["rule"] for caution in waiting]})
        return service.note(ticket_id, said, who, if_version)


def unread(ticket: Ticket) -> Sequence[JSONObject]:
    """The stop-use cautions in force that nobody has read out yet."""
    cautions = (ticket.decision or {}).get("cautions", ())
    return [said for said in cautions if said["stop_use"] and said["rule"] not in ticket.acknowledged]


def park(service: Service, ticket_id: str, check: str, who: Caller, if_version: int | None) -> Ticket:
    """The check is done and takes its time to show: the ticket waits until the clerk is called back."""
    with service.store.write():
        plan = (service.ticket(ticket_id, who).decision or {}).get("plan", ())
        step = next((step for step in plan if step["check"] == check), None)
        if step is None or not step["wait_minutes"]:
            raise InputError([Problem(f'"{check[:60]}" is no check of this plan that has to wait', "/check")])
        until = service.now() + timedelta(minutes=int(step["wait_minutes"]))
        parked = NewEvent("parked", {"check": check, "until": until.isoformat()})
        return service.note(ticket_id, parked, who, if_version)


def undo(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """Takes the last answer, check result or "don't know" back; the log keeps it. Decided again."""
    with service.store.write():
        ticket = service.ticket(ticket_id, who)
        events = service.events(ticket.id, who)
        last = last_undoable(events)
        if last is None:
            raise NotFoundError("there is no answer to take back")
        payload = {"seq": last.seq, "report": _report_without(events, last.seq)}
        return service.change(ticket.id, NewEvent("undone", payload), who, if_version)


def last_undoable(events: Sequence[Event]) -> Event | None:
    """The last event that can be taken back and was not."""
    gone = {event.payload["seq"] for event in events if event.kind == "undone"}
    kept = (event for event in reversed(events) if event.kind in UNDOABLE and event.seq not in gone)
    return next(kept, None)


def _report_without(events: Sequence[Event], seq: int) -> JSONObject:
    gone = {seq, *(event.payload["seq"] for event in events if event.kind == "undone")}
    ticket = fold(events[:1])
    for event in events[1:]:
        if event.seq not in gone and event.kind != "undone":
            ticket = replace(ticket, report=changed_report(ticket, event.kind, event.payload))
    return ticket.report
