"""Who may see what, and how a ticket changes: what follows is worked out from the ticket as it was read.

It is stored if the ticket still is so. Nothing is decided while a writer keeps all others waiting. Where the
ticket, or what stands open, authorized or spent on its machine, has moved on meanwhile, it is read and worked
out again: so no two tickets are given the same headroom. When a danger is raised or lifted, the machine's
other open tickets are decided again in the same write.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Any

from triage.decide.decide_data import Inputs, decide_inputs, inputs_as_data, read_inputs
from triage.decide.under_later_rules import report_now
from triage.logic.engine import Engine
from triage.records.caller import Caller
from triage.records.danger import CALM, DangerState, danger_after
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.records.payloads import DangerLifted, Decided, Payload
from triage.records.report import History, Machine
from triage.records.ticket import Ticket, sent
from triage.records.ticket_id import heard
from triage.rulebook.model import Rulebook
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.tables.tickets import Ready, TicketMoved, following
from triage.store.work import OnMachine, on_machine, promised_on
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.money import sum_money
from triage.values.shown import hint

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
            beside = on_machine(work, ticket.machine, ticket.id)
            found = follows(work, ticket)
            if not found.news:
                return ticket
            ready = _following(service, ticket, found.news, found.at, who)
            machine, before = ready.ticket.machine, ticket.dangers
            if machine != ticket.machine:  # told only now: the dangers of both meet
                beside, before = on_machine(work, machine, ticket.id), CALM
            others = decided_with(service, work, ready.ticket, found, who, before)
        with suppress(TicketMoved), service.store.write() as work:
            refuse_moved(work, machine, beside, ticket.id)
            for each in (ready, *others):
                work.tickets.follow(each)
            if found.also is not None:
                found.also(work)
            return ready.ticket


@one_version
def append(service: Service, ticket_id: str, new: Payload, who: Caller, if_version: int | None) -> Ticket:
    """The ticket after an event that the decision does not hang on; a part of the write that it stands in."""
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who)
        refuse_stale(work, ticket, if_version)
        rulebook = service.rulebook.version
        return work.tickets.append(ticket.id, [new], at=service.now(), who=who.name, rulebook=rulebook)


def decided_anew(service: Service, work: Work, ticket: Ticket, *news: Payload) -> Change:
    """`news` and the decision that follows from them."""
    at = service.now()
    _, decided = decided_on(work, service.rulebook, service.engine, at, ticket, news)
    return Change([*news, decided], at)


def decided_with(
    service: Service, work: Work, ticket: Ticket, change: Change, who: Caller, before: DangerState
) -> list[Ready]:
    """The machine's other tickets after a change that raises or lifts a danger on this one; else none.

    The open ones are decided again. What was made safe is lifted wherever it stands.
    """
    safe = [each for each in change.news if isinstance(each, DangerLifted) and each.how == "safe"]
    if ticket.machine is None or (not safe and before.open == ticket.dangers.open):
        return []
    lifted = {each.caution for each in safe}
    here = tuple(replace(danger, ticket=ticket.id) for danger in ticket.dangers.open)
    found = []
    for other in work.tickets.of_machine(ticket.machine):
        if other.id == ticket.id:
            continue
        standing = {danger.caution for danger in other.dangers.open}
        news: list[Payload] = [each for each in safe if each.caution in standing]
        beside = (one for one in other.dangers.elsewhere if one.ticket != ticket.id)
        left = tuple(one for one in beside if one.caution not in lifted)
        if other.state == "open":
            # A report that the rulebook can no longer read stays as it was decided; its dangers show.
            with suppress(InputError):
                among = replace(other, dangers=replace(other.dangers, elsewhere=(*left, *here)))
                rulebook, engine = service.rulebook, service.engine
                news.append(decided_on(work, rulebook, engine, service.now(), among, news)[1])
        if news:
            found.append(_following(service, other, news, change.at, who))
    return found


def refuse_moved(work: Work, machine: str | None, beside: OnMachine, ticket_id: str = "") -> None:
    """Raises TicketMoved where what is beside the ticket is no longer as it was read."""
    if on_machine(work, machine, ticket_id) != beside:
        raise TicketMoved(ticket_id)


def _following(service: Service, ticket: Ticket, news: Sequence[Payload], at: datetime, who: Caller) -> Ready:
    return following(ticket, news, at=at, who=who.name, rulebook=service.rulebook.version)


def decided_on(
    work: Work,
    rulebook: Rulebook,
    engine: Engine,
    now: datetime,
    ticket: Ticket,
    news: Sequence[Payload] = (),
) -> tuple[Decision, Decided]:
    """The decision of a ticket after `news`, and so the limit that it has, whoever asks.

    It is its contractor's, whoever has the machine in its care, less what the ticket has cost. The limit of
    12 months is less what is promised to the machine's other tickets too, until it is used or expires.
    """
    report, left_out = report_now(ticket, news, rulebook)
    now = max(now, ticket.opened_at)  # the clock may have been put back meanwhile
    for new in news:
        ticket = replace(sent(ticket, new), dangers=danger_after(ticket.dangers, new))
    inputs = read_inputs(report, rulebook, now, partial(_found_for, work, rulebook, now, ticket))
    spent = sum_money(ticket.spent, rulebook.currency) if ticket.spent else None
    machine = inputs.machine.serial if inputs.machine else None
    promised = promised_on(work, machine, rulebook.currency, now, ticket.id)
    history = replace(inputs.history, spent_on_ticket=spent, promised=promised)
    inputs = replace(inputs, history=history, state=ticket.dangers)
    decision = decide_inputs(rulebook, engine, inputs)
    return decision, decided_event(ticket.id, decision, inputs, left_out)


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
            return _known_of(work, service.rulebook, service.now(), seen_machine(work, serial, viewer))
        except NotFoundError:
            return None

    if machine_data is None and isinstance(data, Mapping) and isinstance(data.get("machine"), str):
        data = {**data, "machine": serial_on_record(work, data["machine"], viewer)}
    inputs = read_inputs(data, service.rulebook, service.now(), find, machine_data)
    serial = inputs.report.machine if inputs.machine is None else inputs.machine.serial
    promised = promised_on(work, serial, service.rulebook.currency, service.now())
    history = replace(inputs.history, promised=promised)
    return replace(inputs, history=history, state=DangerState(elsewhere=work.dangers.of_machine(serial)))


def serial_on_record(work: Work, spelled: str, viewer: Caller | None) -> str:
    """The serial as it stands in the records, where it differs in case, blanks and marks only.

    Raises InputError with the nearest where no machine of this caller's is spelled so, or several are.
    """
    with suppress(NotFoundError):
        return seen_machine(work, spelled, viewer).serial
    mine = None if viewer is None or viewer.role != "technician" else viewer.contractor or ""
    like = work.machines.spelled_like(spelled, mine) if spelled.isprintable() else ()
    if len(like) == 1:
        return like[0]
    fix = f"; did you mean {' or '.join(like)}?" if like else "; check its rating plate"
    if not like and spelled.isprintable():
        fix = hint(spelled, work.machines.serials(mine), fix)
    raise InputError(
        [Problem(f'no machine with the serial "{spelled[:80]}" is in the records{fix}', "/machine")]
    )


def decided_event(
    ticket_id: str, decision: Decision, inputs: Inputs, left_out: Sequence[str] = ()
) -> Decided:
    """`left_out` are the facts and checks that the report names and the rulebook no longer knows."""
    return Decided(as_json(decision, ticket_id), inputs_as_data(inputs), tuple(left_out) or None)


def seen_ticket(work: Work, ticket_id: str, viewer: Caller | None) -> Ticket:
    """The ticket by its id as heard on the phone; NotFoundError when it is not this caller's to see."""
    with suppress(NotFoundError):
        ticket = work.tickets.get(heard(ticket_id))
        if viewer is None or viewer.may_see(ticket.contractor) or viewer.is_asked(ticket.asked):
            return ticket
    raise NotFoundError(f'no ticket "{ticket_id[:60]}"')


def seen_machine(work: Work, serial: str, viewer: Caller | None) -> Machine:
    """The machine by its serial; NotFoundError when it is not this caller's to see.

    Who has an open ticket of the machine sees it, whoever else has it in its care.
    """
    machine = work.machines.get(serial)
    if viewer is None or viewer.may_see(machine.contractor):
        return machine
    if not work.tickets.in_care(serial, viewer.contractor):
        raise NotFoundError(f'no machine with the serial "{serial}"')
    return machine


def machine_billed(work: Work, ticket: Ticket) -> Machine | None:
    """The machine as the ticket's contractor serves it, whoever has it now, where the ticket has it."""
    if ticket.machine is None:
        return None
    return _in_place(work, replace(work.machines.get(ticket.machine), contractor=ticket.contractor), ticket)


def _found_for(
    work: Work, rulebook: Rulebook, now: datetime, ticket: Ticket, serial: str
) -> tuple[Machine, History] | None:
    """A machine that a ticket's report names, with its history."""
    with suppress(NotFoundError):
        machine = machine_billed(work, ticket) if serial == ticket.machine else work.machines.get(serial)
        return None if machine is None else _known_of(work, rulebook, now, machine)
    return None


def _known_of(work: Work, rulebook: Rulebook, now: datetime, machine: Machine) -> tuple[Machine, History]:
    """What is decided on: the record, how the store is trained now, and what happened; no names of people."""
    machine = replace(machine, facts={**machine.facts, **work.trainings.facts(machine, rulebook, now)})
    return machine, work.care.history(machine.serial, named=False)


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


def ticket_of(work: Work, ticket_id: str, serial: str, viewer: Caller) -> Ticket:
    """A ticket of a machine; InputError when there is none for this viewer."""
    try:
        ticket = seen_ticket(work, ticket_id, viewer)
    except NotFoundError:
        ticket = None
    if ticket is None or ticket.machine != serial:
        raise InputError([Problem(f'no ticket "{ticket_id[:60]}" of this machine', "query:ticket")])
    return ticket
