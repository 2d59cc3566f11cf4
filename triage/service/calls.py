"""What an agent does on a call besides answering: skip, read out, park, take back; and who else is there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from triage.inputs.heard import hear
from triage.inputs.reader import InputReader
from triage.inputs.report import MOST_NOTE, TOLD
from triage.logic.conditions import facts_in
from triage.records.caller import Caller
from triage.records.decision_parts import Caution
from triage.records.payloads import (
    Acknowledged,
    Answered,
    CheckDone,
    DangerLifted,
    Detailed,
    JSONObject,
    Noted,
    Parked,
    Payload,
    Skipped,
    Spoken,
    Undone,
)
from triage.records.ticket import Event, Ticket, changed_report, fold
from triage.service.changes import (
    Change,
    change,
    decided_anew,
    seen_machine,
    seen_ticket,
    serial_on_record,
)
from triage.service.service import Service
from triage.service.tickets import MOST_HEARD, ticket
from triage.store import Work
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

RECENT = timedelta(minutes=2)
NOTED_AGAIN_AFTER = timedelta(seconds=5)
KEPT = timedelta(minutes=10)
"""How long a look at a ticket counts, is not written again, and is kept."""

CALL_BACK_MINUTES = range(5, 2 * 24 * 60 + 1)

UNDOABLE = (Answered, CheckDone, Skipped)


def skip(
    service: Service, ticket_id: str, fact: str, who: Caller, if_version: int | None, said: str = ""
) -> Ticket:
    """The clerk cannot tell: the fact stays unknown and is not asked for again. `said` is how it was said."""
    if fact not in service.rulebook.facts:
        raise InputError([Problem(f'"{fact[:60]}" is no fact of the rulebook', "/facts")])
    skipped = Skipped((fact,), said[:MOST_HEARD] if hear(service.rulebook, said) else None)
    return change(
        service, ticket_id, who, if_version, lambda work, found: decided_anew(service, work, found, skipped)
    )


def skip_all(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """The clerk knows nothing more: every question that is not about safety stays unknown.

    About safety is what is asked for it now, and each yes or no that a caution looks at.
    """

    def follows(work: Work, found: Ticket) -> Change:
        rulebook, decision = service.rulebook, found.decision or {}
        cautions = rulebook.cautions.values()
        safety = {fact for caution in cautions for fact in facts_in(caution.head.when)}
        asked = {question["fact"] for question in decision["questions"] if question["safety"]}
        told = {*decision["facts"], *(found.report.get("unknown") or ()), *decision["waits_for"], *asked}
        left = tuple(
            fact.id
            for fact in rulebook.facts.values()
            if fact.asked_of == "clerk" and not (fact.type == "flag" and fact.id in safety)
            if fact.id not in told
        )
        return decided_anew(service, work, found, Skipped(left)) if left else Change((), service.now())

    return change(service, ticket_id, who, if_version, follows)


def add_details(
    service: Service, ticket_id: str, told: Mapping[str, str], who: Caller, if_version: int | None
) -> Ticket:
    """What is told after the report: `caller`, `phone`, a `note`, the `machine` of a ticket that has none.

    A note is heard for dangers; with it or a machine the ticket is decided again. Empty texts change nothing.
    """
    told = _read_details(service, told)

    def follows(work: Work, found: Ticket) -> Change:
        new: list[Payload] = []
        contact = {name: told[name] for name in ("caller", "phone") if told.get(name)}
        if any(getattr(found, name) != text for name, text in contact.items()):
            new.append(Detailed(**contact))
        if told.get("machine"):
            found, attached = _attached(work, found, told["machine"], who)
            new.append(attached)
        if told.get("note"):
            new.append(Noted(told["note"]))
        if not told.keys() & {"machine", "note"}:
            return Change(new, service.now())
        return decided_anew(service, work, found, *new)

    change(service, ticket_id, who, if_version, follows)
    return ticket(service, ticket_id, who)


def _read_details(service: Service, told: Mapping[str, str]) -> Mapping[str, str]:
    read = InputReader(service.rulebook)
    limits = {**TOLD, "note": MOST_NOTE, "machine": 80}
    found = {name: read.text(text, f"/{name}", limits[name]).strip() for name, text in told.items()}
    read.finish()
    if not any(found.values()):
        raise InputError([Problem("say who called, a number, a note or the machine", "")])
    return {name: text for name, text in found.items() if text}


def _attached(work: Work, ticket: Ticket, spelled: str, who: Caller) -> tuple[Ticket, Detailed]:
    """The ticket of a machine that is known only now, and what says so."""
    machine = seen_machine(work, serial_on_record(work, spelled, who), who)
    if ticket.machine is not None:
        raise ConflictError(
            f"ticket {ticket.id} is about {ticket.machine}; open another for {machine.serial}"
        )
    site = None if machine.site is None else machine.site.id
    dangers = replace(ticket.dangers, elsewhere=work.dangers.of_machine(machine.serial))
    moved = replace(ticket, machine=machine.serial, site=site, contractor=machine.contractor, dangers=dangers)
    return moved, Detailed(machine=machine.serial, site=site, contractor=machine.contractor)


def acknowledge(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """The agent has read out every stop-use caution now in force."""
    found = ticket(service, ticket_id, who)
    if not unread(found):
        return found

    def follows(_: Work, found: Ticket) -> Change:
        said = Acknowledged(tuple(caution.rule for caution in unread(found)))
        return Change([said] if said.cautions else [], service.now())

    return change(service, ticket_id, who, if_version, follows)


def unread(ticket: Ticket) -> Sequence[Caution]:
    """The stop-use cautions in force that nobody has read out yet."""
    cautions = ticket.decided.cautions
    return [said for said in cautions if said.stop_use and said.rule not in ticket.acknowledged]


def park(service: Service, ticket_id: str, check: str, who: Caller, if_version: int | None) -> Ticket:
    """The checks of its group are done and take their time to show: the ticket waits for the call back."""

    def follows(_: Work, found: Ticket) -> Change:
        plan = found.decided.plan
        group = next((step.group for step in plan if step.check == check), 0)
        wait = max(
            (step.wait_minutes for step in plan if step.check == check or 0 < step.group == group), default=0
        )
        if not wait:
            raise InputError([Problem(f'"{check[:60]}" is no check of this plan that has to wait', "/check")])
        until = service.now() + timedelta(minutes=wait)
        return Change([Parked(check, until)], service.now())

    return change(service, ticket_id, who, if_version, follows)


def speak(service: Service, ticket_id: str, language: str, who: Caller) -> Ticket:
    """From now on the clerk is spoken to in `language`, whoever calls; nothing where it is so already."""

    def follows(_: Work, found: Ticket) -> Change:
        said = found.language == language
        return Change([] if said else [Spoken(language)], service.now())

    return change(service, ticket_id, who, None, follows)


def call_back(service: Service, ticket_id: str, minutes: int, who: Caller, if_version: int | None) -> Ticket:
    """The clerk is called back in so many minutes, whatever is waited for."""
    if minutes not in CALL_BACK_MINUTES:
        least, most = CALL_BACK_MINUTES[0], CALL_BACK_MINUTES[-1]
        raise InputError([Problem(f"a clerk is called back in {least} to {most} minutes", "/minutes")])
    waits = Parked("", service.now() + timedelta(minutes=minutes))
    return change(service, ticket_id, who, if_version, lambda work, found: Change([waits], service.now()))


def undo(service: Service, ticket_id: str, who: Caller, if_version: int | None) -> Ticket:
    """Takes the last answer, check result or "don't know" back; the log keeps it. Decided again."""

    def follows(work: Work, found: Ticket) -> Change:
        events = work.tickets.events(found.id)
        last = last_undoable(events)
        if last is None:
            raise NotFoundError("there is no answer to take back")
        undone = Undone(last.seq, _report_without(events, last.seq))
        return decided_anew(service, work, found, undone)

    return change(service, ticket_id, who, if_version, follows)


def others_on(service: Service, ticket_id: str, who: Caller) -> Sequence[str]:
    """Notes that `who` looks at the ticket, and names everyone else who did in the last two minutes.

    It is a hint and guards nothing: what guards a ticket is its version. So it is written rarely.
    """
    now = service.now()
    with service.store.read() as work:
        seen = work.presences.seen(ticket_id, now - RECENT)
    noted = seen.pop(who.name, None)
    if noted is None or now - noted >= NOTED_AGAIN_AFTER:
        with service.store.write() as work:
            work.presences.note(ticket_id, who.name, now)
            work.presences.forget(now - KEPT)
    return sorted(seen)


@dataclass(frozen=True, slots=True)
class Call:
    """A ticket with its log (without the decisions in it), and the decision before the last one."""

    ticket: Ticket
    log: Sequence[Event]
    decided_before: JSONObject | None


def call(service: Service, ticket_id: str, viewer: Caller) -> Call:
    """What the agent's page shows of a ticket."""
    with service.store.read() as work:
        found = seen_ticket(work, ticket_id, viewer)
        log = work.desk.log(found.id)
        decided = [event.seq for event in log if event.kind == "decided"]
        before = work.desk.decision_before(found.id, decided[-1]) if len(decided) > 1 else None
    return Call(found, log, before)


def last_undoable(events: Sequence[Event]) -> Event | None:
    """The last event that can be taken back and was not; none before a cleaning that lifted a danger."""
    gone = taken_back(events)
    lifting = {event.seq for event in events if isinstance(event.payload, DangerLifted)}
    for event in reversed(events):
        if isinstance(event.payload, UNDOABLE) and event.seq not in gone:
            return None if event.seq + 1 in lifting else event
    return None


def knows_nothing(events: Sequence[Event]) -> bool:
    """Whether the clerk was said to know nothing more, and that was not undone."""
    gone = taken_back(events)
    several = (
        event for event in events if isinstance(event.payload, Skipped) and len(event.payload.facts) > 1
    )
    return any(event.seq not in gone for event in several)


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
