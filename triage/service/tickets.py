"""Tickets: opened from a report, answered, checked, read and listed."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from triage.decide.decide_data import Inputs, decide_inputs
from triage.inputs.heard import hear
from triage.records.caller import Caller, own_part
from triage.records.danger import CALM
from triage.records.decision import Decision
from triage.records.payloads import Answered, CheckDone, Decided, Payload, Reported, Skipped
from triage.records.ticket import Event, Ticket
from triage.rulebook.fact_values import read_value
from triage.rulebook.model import Rulebook
from triage.service.changes import (
    Change,
    change,
    decided_anew,
    decided_event,
    decided_with,
    inputs_of,
    refuse_moved,
    seen_ticket,
)
from triage.service.dangers import cleaned_away
from triage.service.service import Service, measures, one_version, refuse_not_there
from triage.store import Work
from triage.store.tables.desk import NO_FILTERS, VIEWS, Filters, OpenTicket, View
from triage.store.tables.tickets import TicketMoved, opening
from triage.store.work import on_machine
from triage.values.errors import InputError, NotFoundError, Problem

__all__ = ["NO_FILTERS", "VIEWS", "Filters", "OpenTicket", "View"]

Data = Mapping[str, Any]

MOST_SAID, MOST_HEARD = 200, 4000
"""Characters of the clerk's words that are kept beside an answer, and where a danger is heard in them."""

LATELY = 200
"""How many tickets tell which symptoms are common."""


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
    """A report in, a decided ticket out. One that it `follows` is closed and of the same machine."""
    ticket_id = service.new_id()
    while True:
        with service.store.read() as work:
            inputs = inputs_of(service, work, data, who)
            _refuse_not_followed(work, inputs, who)
            site = _site(work, inputs)
            serial = None if inputs.machine is None else inputs.machine.serial
            beside = on_machine(work, serial)
            news: list[Payload] = [_reported(inputs, site), _decided(service, ticket_id, inputs)]
            ready = opening(
                ticket_id,
                news,
                at=inputs.at,
                who=who.name,
                rulebook=service.rulebook.version,
                elsewhere=inputs.state.elsewhere,
            )
            others = decided_with(service, work, ready.ticket, Change(news, inputs.at), who, CALM)
        with suppress(TicketMoved), service.store.write() as work:
            refuse_moved(work, serial, beside)
            if work.tickets.open(ready):
                for other in others:
                    work.tickets.follow(other)
                return ready.ticket
            ticket_id = service.new_id()


def _refuse_not_followed(work: Work, inputs: Inputs, who: Caller) -> None:
    follows = inputs.report.follows
    if follows is None:
        return
    try:
        before = seen_ticket(work, follows, who)
    except NotFoundError as error:
        raise InputError([Problem(str(error), "/follows")]) from None
    message = None
    if before.state == "open":
        message = f"ticket {before.id} is open; add to that one instead"
    elif before.machine != (None if inputs.machine is None else inputs.machine.serial):
        message = (
            f"ticket {before.id} is about {before.machine or 'no machine on record'}; fix one of the two"
        )
    if message is not None:
        raise InputError([Problem(message, "/follows")])


def _site(work: Work, inputs: Inputs) -> str | None:
    """Where the machine stands; without a machine the store that the report names."""
    if inputs.machine is not None and inputs.machine.site is not None:
        return inputs.machine.site.id
    try:
        named = inputs.report_data.get("site")
        return work.machines.site(named).id if named else None
    except NotFoundError as error:
        raise InputError([Problem(str(error), "/site")]) from None


def _reported(inputs: Inputs, site: str | None) -> Reported:
    machine = inputs.machine
    return Reported(
        report=inputs.report_data,
        machine=None if machine is None else machine.serial,
        site=site,
        contractor=None if machine is None else machine.contractor,
    )


def _decided(service: Service, ticket_id: str, inputs: Inputs) -> Decided:
    return decided_event(ticket_id, decide_inputs(service.rulebook, service.engine, inputs), inputs)


def answer(
    service: Service,
    ticket_id: str,
    answers: Data,
    who: Caller,
    if_version: int | None = None,
    said: Mapping[str, str] | None = None,
    unknown: Sequence[str] = (),
) -> Ticket:
    """More facts; decided again. `said` are the clerk's own words by fact, where they were heard.

    `unknown` are facts that nobody can tell. Raises ConflictError when the ticket is past `if_version` or
    closed.
    """
    if not isinstance(answers, Mapping) or not (answers or unknown):
        raise InputError([Problem("give at least one answer: fact -> value", "/answers")])
    check_unknown(service.rulebook, answers, unknown)

    def follows(work: Work, found: Ticket) -> Change:
        news: list[Payload] = [Skipped(tuple(unknown))] if unknown else []
        if answers:
            news.insert(0, _answered(service.rulebook, found, answers, said or {}, who))
        return decided_anew(service, work, found, *news)

    return change(service, ticket_id, who, if_version, follows)


def check_unknown(rulebook: Rulebook, answers: Data, unknown: Sequence[str]) -> None:
    """Raises InputError for facts that the rulebook does not know, or that are answered as well."""
    problems = []
    for index, fact in enumerate(unknown):
        if fact not in rulebook.facts:
            problems.append(Problem(f'"{fact[:60]}" is no fact of the rulebook', f"/unknown/{index}"))
        elif fact in answers:
            problems.append(Problem(f"{fact} is answered; leave it out here or there", f"/unknown/{index}"))
    if problems:
        raise InputError(problems)


def _answered(
    rulebook: Rulebook, ticket: Ticket, answers: Data, said: Mapping[str, str], who: Caller
) -> Answered:
    """What the event says: the answers, words that say more, and what they correct in the record."""
    known = ticket.decided.facts
    words = {
        fact: text
        for fact, value in answers.items()
        if (text := _kept_words(rulebook, fact, value, said.get(fact)))
    }
    corrects = {
        fact: known[fact].value
        for fact, value in answers.items()
        if fact in known
        and known[fact].source in ("record", "derived")
        and _differs(rulebook, fact, value, known[fact].value)
    }
    by = who.role if who.role == "technician" else None
    return Answered(dict(answers), words or None, corrects or None, by)


def _kept_words(rulebook: Rulebook, fact: str, value: object, said: str | None) -> str | None:
    """The words of an answer: all of them where a danger is heard, else those of a number said in words."""
    written = fact in rulebook.facts and rulebook.facts[fact].type == "text" and isinstance(value, str)
    text = value if written and said is None else said
    if not isinstance(text, str):
        return None
    if hear(rulebook, text):
        return text[:MOST_HEARD]
    return text[:MOST_SAID] if said is not None and _in_other_words(value, said) else None


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
    service: Service,
    ticket_id: str,
    check: str,
    result: str,
    who: Caller,
    if_version: int | None = None,
    together: Sequence[str] = (),
) -> Ticket:
    """What came of a check (`cured`, `not_cured`, `could_not_do`); decided again.

    It came of those done `together` with it as well, before the same wait.
    Cleaning that was done lifts the dangers of spoiled product that waited for it, on the whole machine.
    """
    if check in together or len(set(together)) < len(together):
        raise InputError([Problem("each check done together is named once", "/together")])
    done = CheckDone(check, result, tuple(together) or None)

    def follows(work: Work, found: Ticket) -> Change:
        return decided_anew(service, work, found, done, *cleaned_away(service.rulebook, found, done))

    return change(service, ticket_id, who, if_version, follows)


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
    """Tickets by the `FILTERS` of their table, newest first, without their `decision`; a technician's are the
    own contractor's, whichever is asked for. InputError for what there is not."""
    chosen = dict(filters or {})
    mine = {"contractor": viewer.contractor or ""} if viewer.role == "technician" else {}
    with service.store.read() as work:
        asked = {name: said for name, said in chosen.items() if name not in mine}
        refuse_not_there(work, asked, priority=sorted(map(str, service.rulebook.service_hours.priorities)))
        return Page(*work.tickets.page(chosen | mine, cursor, limit))


def events(service: Service, ticket_id: str, viewer: Caller) -> Sequence[Event]:
    """The ticket's log in order; a contractor's technician sees its own part."""
    with service.store.read() as work:
        found = work.tickets.events(seen_ticket(work, ticket_id, viewer).id)
    return tuple(own_part(found, viewer.contractor)) if viewer.role == "technician" else found


def listed(
    service: Service, view: View, filters: Filters = NO_FILTERS, offset: int = 0, limit: int = 25
) -> Sequence[OpenTicket]:
    """A part of the list of tickets that match all filters; see `VIEWS` for what they wait for."""
    with service.store.read() as work:
        return work.desk.listed(view, service.now(), filters, offset, limit, measures(service))


def symptoms_lately(service: Service) -> Sequence[str]:
    """All symptoms of the rulebook, those reported most in the last tickets first, then by their titles."""
    known = service.rulebook.symptoms
    with service.store.read() as work:
        counted = work.desk.symptoms_lately(LATELY)
    return sorted(known, key=lambda symptom: (-counted[symptom], known[symptom].title))
