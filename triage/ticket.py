"""A ticket as the fold of its events.

Events are facts about the past and are never changed; `fold` reads them in order and gives the state they
add up to. Payloads are plain JSON data (numbers as int or Decimal), so that a log outlives the code.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal, TypeAlias, get_args

EventKind: TypeAlias = Literal[
    "reported",  # {"report": REPORT.json, "machine": serial or null, "site", "contractor"}
    "answered",  # {"answers": {fact: value}}
    "check_done",  # {"check", "result"}
    "decided",  # {"decision": the contract's JSON, "inputs": {"report", "machine", "at"}}
    "estimated",  # {"total", "beyond_cover"}
    "approved",  # {"authority", "yes", "amount"}
    "dispatched",  # {"visit"}
    "visited",  # {"state": scheduled | started | done, "at"}
    "closed",  # {"cause", "cured_by", "cost"}
    "reopened",  # {"why"}
    "corrected",  # {"seq": of the event set right, "report", "why"}
]
EVENT_KINDS: tuple[EventKind, ...] = get_args(EventKind)

JSONObject: TypeAlias = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a ticket's log. `seq` counts from 1; `rulebook` is the version in force."""

    ticket: str
    seq: int
    kind: EventKind
    at: datetime
    who: str
    rulebook: str
    payload: JSONObject


@dataclass(frozen=True, slots=True)
class Ticket:
    """The current state. `version` is the seq of the last event; `decision` the contract's JSON.

    `report` is REPORT.json as known so far, with `answers` and `checks` grown by the events.
    """

    id: str
    version: int
    state: Literal["open", "closed"]
    opened_at: datetime
    changed_at: datetime
    opened_by: str
    report: JSONObject
    machine: str | None = None
    site: str | None = None
    contractor: str | None = None
    outcome: str | None = None
    decision: JSONObject | None = None
    rulebook: str = ""
    closed: JSONObject | None = None
    spent: tuple[str, ...] = field(default=())  # amounts of closed visits, "120.00 USD"


def fold(events: Iterable[Event]) -> Ticket:
    """The state that `events` (in order, the first `reported`) add up to.

    Raises ValueError when the log does not start with `reported` or skips a number.
    """
    ticket: Ticket | None = None
    for event in events:
        ticket = apply(ticket, event)
    if ticket is None:
        raise ValueError("a ticket has at least one event")
    return ticket


def apply(ticket: Ticket | None, event: Event) -> Ticket:
    """The state after one more event."""
    if ticket is None:
        return _opened(event)
    if event.seq != ticket.version + 1 or event.ticket != ticket.id:
        raise ValueError(f"event {event.ticket}/{event.seq} does not follow {ticket.id}/{ticket.version}")
    return replace(_changed(ticket, event), version=event.seq, changed_at=event.at)


def _opened(event: Event) -> Ticket:
    if event.kind != "reported" or event.seq != 1:
        raise ValueError("a ticket's log starts with `reported`, number 1")
    payload = event.payload
    return Ticket(
        id=event.ticket,
        version=1,
        state="open",
        opened_at=event.at,
        changed_at=event.at,
        opened_by=event.who,
        report=payload["report"],
        machine=payload.get("machine"),
        site=payload.get("site"),
        contractor=payload.get("contractor"),
        rulebook=event.rulebook,
    )


def _changed(ticket: Ticket, event: Event) -> Ticket:
    payload = event.payload
    match event.kind:
        case "answered" | "check_done" | "estimated" | "corrected":
            return replace(ticket, report=changed_report(ticket, event.kind, payload))
        case "decided":
            decision = payload["decision"]
            return replace(ticket, decision=decision, outcome=decision["outcome"], rulebook=event.rulebook)
        case "closed":
            spent = (*ticket.spent, payload["cost"]) if payload.get("cost") else ticket.spent
            return replace(ticket, state="closed", closed=payload, spent=spent)
        case "reopened":
            return replace(ticket, state="open", closed=None)
        case "reported":
            raise ValueError("a ticket is reported once")
        case "approved" | "dispatched" | "visited":
            return ticket


def changed_report(ticket: Ticket, kind: EventKind, payload: JSONObject) -> JSONObject:
    """REPORT.json after an event that says more about the trouble; unchanged after any other.

    A later answer or result for the same fact or check replaces the earlier one; the log keeps both.
    """
    report = ticket.report
    match kind:
        case "answered":
            return {**report, "answers": {**(report.get("answers") or {}), **payload["answers"]}}
        case "check_done":
            done = {"check": payload["check"], "result": payload["result"]}
            before = [old for old in report.get("checks") or () if old["check"] != done["check"]]
            return {**report, "checks": [*before, done]}
        case "estimated":
            estimate = {"total": payload["total"], "beyond_cover": payload["beyond_cover"]}
            return {**report, "estimate": estimate}
        case "corrected":
            return {**report, **payload["report"]}
        case _:
            return report
