"""A ticket as the fold of its events.

Events are facts about the past and are never changed; `fold` reads them in order and gives the state they
add up to. What each kind of event carries stands in `triage.records.payloads`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal

from triage.records.authorization import (
    NOTHING_YET,
    Repair,
    after_approval,
    after_close,
    after_estimate,
    after_withdrawal,
)
from triage.records.callers_words import Forgotten
from triage.records.danger import CALM, DangerState, danger_after
from triage.records.decision_parts import DecisionParts
from triage.records.payloads import (
    Acknowledged,
    Answered,
    Approved,
    CheckDone,
    Closed,
    DangerLifted,
    Decided,
    Detailed,
    Dispatched,
    Estimated,
    JSONObject,
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
from triage.records.ticket_id import heard
from triage.values.dataclass_json import as_data, from_data
from triage.values.money import Money, money_text


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a ticket's log. `seq` counts from 1; `rulebook` is the live version."""

    ticket: str
    seq: int
    at: datetime
    who: str
    rulebook: str
    payload: Payload

    @property
    def kind(self) -> str:
        return self.payload.kind


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
    closed: Closed | None = None
    spent: tuple[Money, ...] = field(default=())  # amounts of closed visits
    acknowledged: tuple[str, ...] = field(default=())  # stop-use cautions in force that were read out
    parked_until: datetime | None = None  # to be called back then; UTC
    due_at: datetime | None = None  # of the visit decided on; UTC
    repair: Repair = NOTHING_YET
    priority: int | None = None  # the most urgent of what is in force, whatever the outcome
    skill: str | None = None  # the strongest that is asked for
    dangers: DangerState = CALM
    caller: str = ""  # who called last, and the number to call back on, as told
    phone: str = ""
    solved: bool = False  # a check fixed it
    held_since: datetime | None = None  # since when every decision says hold; UTC
    sent_by: str = ""  # who comes where it is not the machine's contractor, such as "electrician"

    @property
    def follows(self) -> str | None:
        """The closed ticket whose trouble is back, where it was too late to reopen that."""
        return heard(self.report["follows"]) if self.report.get("follows") is not None else None

    @property
    def language(self) -> str | None:
        """The language that the clerk is spoken to in, where it was said."""
        return self.report.get("language")

    @property
    def asked(self) -> frozenset[str]:
        """The authorities that are or were asked about the repair at hand, and deputies who speak."""
        repair, found = self.repair, set()
        if self.outcome == "hold":
            found.add(self.decided.limit.authority)
        if repair.estimate is not None and repair.estimate.ask is not None:
            found.add(repair.estimate.ask.authority)
            deputy = repair.estimate.ask.deputy
            found.add(None if deputy is None else deputy.authority)
        found |= {said.authority for said in (repair.approval, repair.authorization) if said is not None}
        return frozenset(authority for authority in found if authority is not None)

    @property
    def decided(self) -> DecisionParts:
        """The parts of `decision` that the program reads; without a decision there are none."""
        return from_data(DecisionParts, self.decision or {})


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
    changed = _changed(ticket, event)
    dangers = danger_after(ticket.dangers, event.payload)
    return replace(changed, version=event.seq, changed_at=event.at, dangers=dangers)


def _opened(event: Event) -> Ticket:
    reported = event.payload
    if not isinstance(reported, Reported) or event.seq != 1:
        raise ValueError("a ticket's log starts with `reported`, number 1")
    return Ticket(
        id=event.ticket,
        version=1,
        state="open",
        opened_at=event.at,
        changed_at=event.at,
        opened_by=event.who,
        report=reported.report,
        machine=reported.machine,
        site=reported.site,
        contractor=reported.contractor,
        rulebook=event.rulebook,
        caller=reported.report.get("caller") or "",
        phone=reported.report.get("phone") or "",
    )


def _changed(ticket: Ticket, event: Event) -> Ticket:
    payload = event.payload
    match payload:
        case Answered() | CheckDone() | Skipped() | Undone():
            return replace(ticket, report=changed_report(ticket.report, payload), parked_until=None)
        case DangerLifted() | Spoken():
            return replace(ticket, report=changed_report(ticket.report, payload))
        case Detailed():
            return replace(ticket, report=changed_report(ticket.report, payload), **as_data(payload))
        case Estimated():
            report = changed_report(ticket.report, payload)
            repair = after_estimate(ticket.repair, payload)
            return replace(ticket, report=report, parked_until=None, repair=repair)
        case Approved():
            repair = after_approval(ticket.repair, payload, event.who)
            return replace(ticket, repair=repair, outcome="approve" if payload.yes else ticket.outcome)
        case Decided():
            return _decided(ticket, payload.decision, event)
        case Acknowledged():
            said = (*ticket.acknowledged, *payload.cautions)
            return replace(ticket, acknowledged=tuple(dict.fromkeys(said)))
        case Parked():
            return replace(ticket, parked_until=payload.until.astimezone(UTC))
        case Closed():
            return replace(
                ticket,
                state="closed",
                closed=payload,
                spent=(*ticket.spent, payload.cost),
                parked_until=None,
                repair=after_close(ticket.repair, payload.authorization),
            )
        case Reopened():
            return replace(ticket, state="open", closed=None, report=changed_report(ticket.report, payload))
        case Reported():
            raise ValueError("a ticket is reported once")
        case Dispatched():
            return replace(sent(ticket, payload), report=changed_report(ticket.report, payload))
        case Withdrawn():
            report = changed_report(ticket.report, payload)
            return replace(ticket, report=report, repair=after_withdrawal(ticket.repair))
        case Visited() | SwapReserved() | Swapped() | Noted() | Forgotten():
            return ticket


def _decided(ticket: Ticket, decision: JSONObject, event: Event) -> Ticket:
    """What was read out counts while the caution stays in force; back again, it is read out again.

    A ticket whose repair is authorized is not held for want of the word it has.
    """
    ticket = replace(ticket, decision=decision, rulebook=event.rulebook)
    decided, authorization = ticket.decided, ticket.repair.authorization
    live = {caution.rule for caution in decided.cautions if caution.stop_use}
    authorized = authorization is not None and authorization.state == "open"
    return replace(
        ticket,
        outcome="approve" if decided.outcome == "hold" and authorized else decided.outcome,
        acknowledged=tuple(rule for rule in ticket.acknowledged if rule in live),
        due_at=None if decided.visit is None else decided.visit.due.astimezone(UTC),
        priority=decided.priority,
        skill=decided.skill,
        held_since=(ticket.held_since or event.at) if decided.outcome == "hold" else None,
        solved=bool(decision.get("solved")),
        sent_by=(decision.get("visit") or {}).get("by", ""),
    )


def sent(ticket: Ticket, payload: Payload) -> Ticket:
    """Who is sent has the ticket in its care from then on; unchanged after any other event."""
    if isinstance(payload, Dispatched) and payload.contractor is not None:
        return replace(ticket, contractor=payload.contractor)
    return ticket


def changed_report(report: JSONObject, payload: Payload) -> JSONObject:
    """REPORT.json after an event that says more about the trouble; unchanged after any other.

    A later answer or result for the same fact or check replaces the earlier one; the log keeps both.
    """
    match payload:
        case Answered(answers=given):
            unknown = [fact for fact in report.get("unknown") or () if fact not in given]
            kept = {"unknown": unknown} if unknown or "unknown" in report else {}
            return {**report, **kept, "answers": {**(report.get("answers") or {}), **given}}
        case Skipped():
            unknown = [*(report.get("unknown") or ()), *payload.facts]
            return {**report, "unknown": list(dict.fromkeys(unknown))}
        case Detailed():
            return {**report, **_without(as_data(payload), "contractor")}
        case Undone():
            return payload.report
        case Spoken(language=language):
            return {**report, "language": language}
        case DangerLifted(facts=facts, quotes=None) if facts:
            answers = (report.get("answers") or {}).items()  # what denied the danger stands
            kept = {fact: value for fact, value in answers if fact not in facts or value is False}
            return {**report, "answers": kept}
        case CheckDone():
            done = (payload.check, *(payload.together or ()))
            before = [old for old in report.get("checks") or () if old["check"] not in done]
            news: list[JSONObject] = [{"check": check, "result": payload.result} for check in done]
            if len(done) > 1:
                news = [{**one, "together": [each for each in done if each != one["check"]]} for one in news]
            return {**report, "checks": [*before, *news]}
        case Estimated(bill=bill):
            estimate = {"total": money_text(bill.total), "beyond_warranty": money_text(bill.beyond_warranty)}
            if bill.outside_agreement is not None:
                estimate["outside_agreement"] = money_text(bill.outside_agreement)
            late = {} if payload.after_hours is None else {"after_hours": payload.after_hours}
            return {**_without(report, "after_hours"), "estimate": estimate, **late}
        case Dispatched(at=at):
            return {**report, "visit_at": at.isoformat()}
        case Withdrawn():
            return _without(report, "estimate", "after_hours")
        case Reopened(at=reopened_at):
            report = _without(report, "estimate", "after_hours", "visit_at")
            return report if reopened_at is None else {**report, "reported_at": reopened_at.isoformat()}
        case _:
            return report


def _without(report: JSONObject, *keys: str) -> JSONObject:
    return {key: value for key, value in report.items() if key not in keys}
