"""Visits of a ticket: scheduled, moved, started and done, each an event on the ticket.

Somebody is sent where the decision asks for a visit, or where a held case has its word. A visit may be
planned later than it is due; then it says so. The due time itself never moves. When another contractor is
sent, what the one before had estimated and was authorized to spend is withdrawn, and the ticket is redecided
by the limits and rates of the new one.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from triage.decide.outcome import cautions_that_hold
from triage.decide.visit import visit_kit, visit_skill
from triage.inputs.heard import hear
from triage.inputs.reader import InputReader
from triage.records.authorization import after_withdrawal
from triage.records.caller import Caller
from triage.records.decision import CauseChance
from triage.records.decision_parts import VisitAsked
from triage.records.payloads import Approved, Dispatched, Payload, Visited, Withdrawn
from triage.records.report import Machine, local_date, timezone_of
from triage.records.ticket import Event, Ticket
from triage.records.visit_log import VISIT_STATES, PlannedVisit, visits_of
from triage.schedule.calendar import as_calendar
from triage.schedule.contractors import Slot
from triage.schedule.service_hours import due_at, due_within_access
from triage.schedule.slots import Wish, choose, dispatched_from, offered, planned_visits
from triage.service.changes import Change, change, decided_on, seen_ticket
from triage.service.service import Service
from triage.service.tickets import events as events_of
from triage.store import Work
from triage.store.tables.tickets import TicketMoved
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

USUAL_MINUTES = 90
FURTHEST_DAYS = 120
"""A visit is planned no further ahead; a later date is a slip of the pen."""

_KEYS: Mapping[str, tuple[str, ...]] = {
    "scheduled": ("state", "visit", "at", "minutes", "technician", "contractor", "way_in"),
    "started": ("state", "visit", "at"),
    "done": ("state", "visit", "at"),
}
MOST_TECHNICIAN, MOST_WAY_IN = 100, 200


def record_visit(
    service: Service, ticket_id: str, data: Mapping[str, Any], who: Caller, if_version: int | None = None
) -> tuple[Ticket, PlannedVisit]:
    """`{"state": scheduled | started | done, "visit": number, "at", "minutes", …}`: see `_KEYS`.

    `scheduled` without a number makes the next visit, with one it moves that visit. Without a contractor or a
    time the best one is chosen; who is sent has the ticket in its care from then on. `started` and `done` are
    of the visit last scheduled unless a number is given, and now unless a time is. Raises InputError for what
    cannot be, ConflictError where the ticket or the visit is past it.
    """
    state = data.get("state")
    if state not in VISIT_STATES:
        raise InputError([Problem(f"a visit is {', '.join(VISIT_STATES)}", "/state")])
    reader = InputReader(service.rulebook)
    reader.mapping(data, "", _KEYS[state], f"a visit that is {state}")
    recorded: list[Dispatched | Visited] = []

    def follows(work: Work, ticket: Ticket) -> Change:
        events = work.tickets.events(ticket.id)
        visits = visits_of(events)
        if state != "scheduled":
            recorded.append(_read_progress(reader, service, ticket, visits, data))
            return Change(recorded[-1:], service.now())
        new, planned = _read_scheduled(reader, service, work, ticket, events, visits, data, who)
        recorded.append(new)

        def refuse_replanned(work: Work) -> None:
            if _planned(service, work, ticket, new.visit) != planned:
                raise TicketMoved(ticket.id)

        return replace(_sent(service, work, ticket, new), also=refuse_replanned)

    changed = change(service, ticket_id, who, if_version, follows)
    made = visits_of(events_of(service, changed.id, who))
    return changed, made[recorded[-1].visit - 1]


def _sent(service: Service, work: Work, ticket: Ticket, new: Dispatched) -> Change:
    """The visit; redecided where another contractor comes, or it is no longer paid at the same rates."""
    news: list[Payload] = [new]
    handed_over = new.contractor not in (None, ticket.contractor)
    if handed_over and after_withdrawal(ticket.repair) != ticket.repair:
        authorization = ticket.repair.authorization
        stood = authorization is not None and authorization.state == "open"
        number = authorization.number if authorization is not None and stood else None
        why = f"{new.contractor} is sent instead of {ticket.contractor or 'nobody'}"
        news.insert(0, Withdrawn(ticket.contractor, number, why))
    now = service.now()
    decision, decided = decided_on(work, service.rulebook, service.engine, now, ticket, news)
    late = bool(decision.computed_facts["after_hours"])
    if handed_over or late != ticket.decided.computed_facts.after_hours:
        news.append(decided)
    return Change(news, now)


def _planned(service: Service, work: Work, ticket: Ticket, moved: int | None) -> Counter[tuple[str, date]]:
    since = dispatched_from(service.now(), FURTHEST_DAYS)
    return planned_visits(work.tickets.dispatched_since(since), (ticket.id, moved))


def free_times(service: Service, ticket_id: str, viewer: Caller) -> tuple[Sequence[Slot], VisitAsked]:
    """What the visit can be booked for, and what is asked for. ConflictError where nobody is to be sent."""
    with service.store.read() as work:
        ticket = seen_ticket(work, ticket_id, viewer)
        events = work.tickets.events(ticket.id)
        machine = _machine(work, ticket)
        asked = _asked_for(service, ticket, events, machine)
        moved = next((one.number for one in visits_of(events) if one.state == "scheduled"), None)
        return offered(
            Wish(None, None, asked.skill, asked.priority, asked.due),
            ticket,
            None if machine is None else machine.site,
            work.machines.contractors(),
            _planned(service, work, ticket, moved),
            service.rulebook.service_hours,
            service.now(),
        ), asked


def visits(service: Service, ticket_id: str, viewer: Caller) -> Sequence[PlannedVisit]:
    """The ticket's visits by number."""
    return visits_of(events_of(service, ticket_id, viewer))


def visit_calendar(service: Service, ticket_id: str, number: int, viewer: Caller) -> bytes:
    """A visit as an iCalendar object."""
    with service.store.read() as work:
        ticket = seen_ticket(work, ticket_id, viewer)
        found = [visit for visit in visits(service, ticket.id, viewer) if visit.number == number]
        if not found:
            raise NotFoundError(f"ticket {ticket.id} has no visit {number}")
        return as_calendar(found[0], ticket, _machine(work, ticket), service.rulebook)


def _machine(work: Work, ticket: Ticket) -> Machine | None:
    return None if ticket.machine is None else work.machines.get(ticket.machine)


def _read_scheduled(
    reader: InputReader,
    service: Service,
    work: Work,
    ticket: Ticket,
    events: Sequence[Event],
    known: Sequence[PlannedVisit],
    data: Mapping[str, Any],
    who: Caller,
) -> tuple[Dispatched, Counter[tuple[str, date]]]:
    """The visit, and the visits planned beside it, which it was chosen by."""
    now = service.now()
    number = _number(reader, data)
    if number is not None and not any(visit.number == number for visit in known):
        reader.problem(f"the ticket has no visit {number}; leave the number out for a new one", "/visit")
    at = None if data.get("at") is None else reader.moment(data["at"], "/at")
    minutes = data.get("minutes", USUAL_MINUTES)
    if isinstance(minutes, bool) or not isinstance(minutes, int) or not 15 <= minutes <= 720:
        reader.problem("a visit takes 15 to 720 minutes, as a whole number", "/minutes")
    if at is not None and not reader.problems:
        if at < now:
            reader.problem(
                f"{at.isoformat()} is past; a visit that has begun is recorded as `started`", "/at"
            )
        elif at > now + timedelta(days=FURTHEST_DAYS):
            reader.problem(f"a visit is planned at most {FURTHEST_DAYS} days ahead; fix the date", "/at")
    technician = reader.text(data.get("technician"), "/technician", MOST_TECHNICIAN).strip()
    way_in = reader.text(data.get("way_in"), "/way_in", MOST_WAY_IN).strip() or None
    if hear(service.rulebook, f"{technician}\n{way_in or ''}"):
        reader.problem("a danger is heard here, where a name stands; report it as an answer", "/technician")
    contractor = reader.name(data.get("contractor"), "/contractor")
    if who.role == "technician":
        if contractor not in (None, who.contractor):
            reader.problem("a technician plans visits of the own contractor only", "/contractor")
        contractor = who.contractor
    reader.finish()
    machine = _machine(work, ticket)
    asked = _asked_for(service, ticket, events, machine)
    for visit in known:
        if visit.number == number and visit.state != "scheduled":
            raise ConflictError(f"visit {number} is {visit.state}; it cannot be rescheduled")
        if number is None and visit.state != "done":
            raise ConflictError(
                f"visit {visit.number} is {visit.state}; reschedule that one, or finish it first"
            )
    if asked.by != "contractor" and contractor is None:
        raise ConflictError(
            f"this is for the {asked.by.replace('_', ' ')}; name a contractor to send one all the same"
        )
    planned = _planned(service, work, ticket, number)
    chosen = choose(
        Wish(contractor, at, asked.skill, asked.priority, asked.due),
        ticket,
        None if machine is None else machine.site,
        work.machines.contractors(),
        planned,
        service.rulebook.service_hours,
        now,
    )
    new = Dispatched(
        visit=number or len(known) + 1,
        at=chosen.at,
        day=chosen.day,
        minutes=minutes,
        contractor=chosen.contractor,
        passed_over=chosen.passed_over,
        purpose=str(ticket.outcome),  # a decision asked for the visit
        skill=asked.skill,
        priority=asked.priority,
        due=asked.due,
        kit=asked.kit,
        technician=technician,
        way_in=way_in,
    )
    return new, planned


def _read_progress(
    reader: InputReader,
    service: Service,
    ticket: Ticket,
    known: Sequence[PlannedVisit],
    data: Mapping[str, Any],
) -> Visited:
    now, state = service.now(), data["state"]
    number = _number(reader, data)
    at = now if data.get("at") is None else reader.moment(data["at"], "/at")
    visit = next((one for one in known if one.number == number), None) if number else None
    if number is not None and visit is None:
        reader.problem(f"the ticket has no visit {number}", "/visit")
    reader.finish()
    if visit is None:
        if not known:
            raise ConflictError("no visit is scheduled; schedule one first")
        visit = known[-1]
    earliest = visit.started_at if state == "done" else ticket.opened_at
    if at > now:
        reader.problem(f"{at.isoformat()} has not come yet", "/at")
    elif earliest is not None and at < earliest:
        what = "the visit started" if state == "done" else "the ticket was opened"
        reader.problem(f"{at.isoformat()} is before {what}, {earliest.isoformat()}", "/at")
    reader.finish()
    wanted = "scheduled" if state == "started" else "started"
    if visit.state != wanted:
        raise ConflictError(
            f"visit {visit.number} is {visit.state}; only one that is {wanted} can be {state}"
        )
    return Visited(visit.number, state, at)


def _number(reader: InputReader, data: Mapping[str, Any]) -> int | None:
    number = data.get("visit")
    if number is None:
        return None
    if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= 9999:
        reader.problem("a visit's number is a whole number from 1", "/visit")
        return None
    return number


def _asked_for(
    service: Service, ticket: Ticket, events: Sequence[Event], machine: Machine | None
) -> VisitAsked:
    """The visit that the decision asks for. A held case that has its word is due from that word on.

    Raises ConflictError where nobody is to be sent.
    """
    decided = ticket.decided
    if decided.visit is not None:
        return decided.visit
    words = [(event.at, event.payload.yes) for event in events if isinstance(event.payload, Approved)]
    if not words or not words[-1][1]:
        if ticket.outcome == "hold":
            who = decided.limit.authority_title or "the authority"
            raise ConflictError(f"the case is on hold; nobody is sent before {who} has said yes")
        raise ConflictError("the decision sends nobody; record what came of the checks, and it is redecided")
    rulebook, said = service.rulebook, words[-1][0]
    causes = [CauseChance(one.cause, "", one.chance, 0.0, ()) for one in decided.causes]
    cautions = [one.rule for one in decided.cautions if one.rule in rulebook.cautions]
    priority = decided.priority or rulebook.service_hours.default_priority
    due = due_at(said, priority, rulebook.service_hours, timezone_of(machine))
    kit = visit_kit(rulebook, causes, local_date(machine, said), ticket.contractor)
    return VisitAsked(
        due=due_within_access(due, said, None if machine is None else machine.site),
        priority=priority,
        skill=decided.skill or visit_skill(rulebook, causes, cautions_that_hold(rulebook, cautions)),
        kit=tuple(number for number, count in kit.parts.items() for _ in range(count)),
    )
