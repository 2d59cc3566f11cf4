"""A ticket as the fold of its events.

Events are facts about the past and are never changed; `fold` reads them in order and gives the state they
add up to. Payloads are plain JSON data (numbers as int or Decimal), so that a log outlives the code.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, Literal, TypeAlias, get_args

from triage.records.authorization import NOTHING_YET, after_close, after_estimate, after_word

EventKind: TypeAlias = Literal[
    "reported",  # {"report": REPORT.json, "machine": serial or null, "site", "contractor"}
    "answered",  # {"answers": {fact: value}}
    "check_done",  # {"check", "result"}
    "decided",  # {"decision": the contract's JSON, "inputs": {"report", "machine", "at"}}
    "estimated",  # {"revision", "cause", "lines", "total", "claimed", "beyond_warranty", "answer", …}
    "approved",  # {"estimate": revision, "authority", "yes", "amount", "number", "expires_at", "why"}
    "dispatched",  # {"visit": number, "at", "minutes", "contractor", "skill", "kit", …}: scheduled or moved
    "visited",  # {"visit": number, "state": started | done, "at"}
    "swap_reserved",  # {"unit": serial or null for taken back, "depot", "instead_of"}
    "swapped",  # {"old", "new", "old_unit": refurbish | scrap | return, "at"}
    "closed",  # {"cause": null for no fault found, "cured_by", "cost", "lines", "authorization", "at", …}
    "reopened",  # {"why"}
    "corrected",  # {"seq": of the event set right, "report", "why"}
    "skipped",  # {"facts": ids the clerk could not tell}
    "undone",  # {"seq": of the event taken back, "report": REPORT.json without it}
    "acknowledged",  # {"cautions": ids read out to the clerk}
    "parked",  # {"check": what the wait is for, "until": when to call back}
]
EVENT_KINDS: tuple[EventKind, ...] = get_args(EventKind)

JSONObject: TypeAlias = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a ticket's log. `seq` counts from 1; `rulebook` is the live version."""

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
    acknowledged: tuple[str, ...] = field(default=())  # stop-use cautions in force that were read out
    parked_until: datetime | None = None  # waiting for a check's result; UTC
    due_at: datetime | None = None  # of the visit decided on; UTC
    repair: JSONObject = field(default_factory=lambda: NOTHING_YET)  # see `triage.authorization`


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
        case "answered" | "check_done" | "corrected" | "skipped" | "undone":
            return replace(ticket, report=changed_report(ticket, event.kind, payload), parked_until=None)
        case "estimated":
            report = changed_report(ticket, event.kind, payload)
            repair = after_estimate(ticket.repair, payload)
            return replace(ticket, report=report, parked_until=None, repair=repair)
        case "approved":
            repair = after_word(ticket.repair, payload, event.who)
            return replace(ticket, repair=repair, outcome="approve" if payload["yes"] else ticket.outcome)
        case "decided":
            return _decided(ticket, payload["decision"], event.rulebook)
        case "acknowledged":
            said = (*ticket.acknowledged, *payload["cautions"])
            return replace(ticket, acknowledged=tuple(dict.fromkeys(said)))
        case "parked":
            return replace(ticket, parked_until=_instant(payload["until"]))
        case "closed":
            spent = (*ticket.spent, payload["cost"]) if payload.get("cost") else ticket.spent
            repair = after_close(ticket.repair, payload)
            return replace(
                ticket, state="closed", closed=payload, spent=spent, parked_until=None, repair=repair
            )
        case "reopened":
            report = changed_report(ticket, event.kind, payload)
            return replace(ticket, state="open", closed=None, report=report)
        case "reported":
            raise ValueError("a ticket is reported once")
        case "dispatched":
            # Who is sent has the ticket in its care from then on.
            return replace(ticket, contractor=payload.get("contractor") or ticket.contractor)
        case "visited" | "swap_reserved" | "swapped":
            return ticket


def _decided(ticket: Ticket, decision: JSONObject, rulebook: str) -> Ticket:
    """What was read out counts while the caution stays in force; back again, it is read out again.

    A ticket whose repair is authorized is not held for want of the word it has.
    """
    live = {caution["rule"] for caution in decision.get("cautions", ()) if caution["stop_use"]}
    visit = decision.get("visit")
    authorization = ticket.repair["authorization"]
    authorized = authorization is not None and authorization["state"] == "open"
    return replace(
        ticket,
        decision=decision,
        outcome="approve" if decision["outcome"] == "hold" and authorized else decision["outcome"],
        rulebook=rulebook,
        acknowledged=tuple(rule for rule in ticket.acknowledged if rule in live),
        due_at=None if visit is None else _instant(visit["due"]),
    )


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def changed_report(ticket: Ticket, kind: EventKind, payload: JSONObject) -> JSONObject:
    """REPORT.json after an event that says more about the trouble; unchanged after any other.

    A later answer or result for the same fact or check replaces the earlier one; the log keeps both.
    """
    report = ticket.report
    match kind:
        case "answered":
            given = payload["answers"]
            unknown = [fact for fact in report.get("unknown") or () if fact not in given]
            kept = {"unknown": unknown} if unknown or "unknown" in report else {}
            return {**report, **kept, "answers": {**(report.get("answers") or {}), **given}}
        case "skipped":
            unknown = [*(report.get("unknown") or ()), *payload["facts"]]
            return {**report, "unknown": list(dict.fromkeys(unknown))}
        case "undone":
            return payload["report"]  # type: ignore[no-any-return]
        case "check_done":
            done = {"check": payload["check"], "result": payload["result"]}
            before = [old for old in report.get("checks") or () if old["check"] != done["check"]]
            return {**report, "checks": [*before, done]}
        case "estimated":
            estimate = {"total": payload["total"], "beyond_warranty": payload["beyond_warranty"]}
            return {**report, "estimate": estimate}
        case "corrected":
            return {**report, **payload["report"]}
        case "reopened":
            return {key: value for key, value in report.items() if key != "estimate"}
        case _:
            return report
