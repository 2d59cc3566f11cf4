"""An authority is asked by e-mail: a link that is valid once and for a time, and its answer.

The link goes to the address on record of the person whose token speaks as that authority, and is shown to
nobody else; who answers by it is that person, under all the rules of an approval.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from triage.records.authorization import refuse_second_approval
from triage.records.caller import Caller
from triage.records.report import timezone_of
from triage.records.ticket import Ticket
from triage.service.changes import machine_billed, seen_ticket
from triage.service.repairs import approve
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.tables.tokens import Link, TokenRecord
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.money import money_text

VALID = timedelta(hours=48)
"""How long a link may be answered by. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Who was written to, and until when the link is good."""

    person: str
    authority: str
    until: datetime


@dataclass(frozen=True, slots=True)
class Question:
    """What a link asks, and where; of a machine without a site the place is empty and the zone "UTC"."""

    link: Link
    ticket: Ticket
    place: str
    timezone: str


def people_to_ask(service: Service, ticket_id: str, viewer: Caller) -> Sequence[TokenRecord]:
    """The people with an address on record who speak as the authority that a held ticket waits for."""
    with service.store.read() as work:
        return _people(work, seen_ticket(work, ticket_id, viewer), service.now())


@one_version
def ask(service: Service, ticket_id: str, who: Caller, person: str | None = None) -> Sequence[Asked]:
    """Writes to the people who may answer a held ticket, or to one of them; links sent before end.

    Raises InputError where the server sends no e-mail or nobody has an address; ConflictError where nothing
    is waiting for an answer.
    """
    outgoing = service.outgoing
    if not outgoing.mail:
        raise InputError("this server sends no e-mail; its operator sets BARRELWISE_MAIL")
    now = service.now()
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who)
        revision = waiting_for(ticket)
        people = [one for one in _people(work, ticket, now) if person in (None, one.name)]
        if not people:
            fix = "`barrelwise token email NAME ADDRESS` gives one"
            raise InputError([Problem(f"nobody who may answer has an address on record; {fix}", "/person")])
        until = now + VALID
        for one in people:
            held = work.links.make(one.name, ticket.id, revision, who.name, now, until)
            subject, text = _letter(work, ticket, one.name, f"{outgoing.url}/approve/{held}", until)
            work.outbox.write_to(str(one.email), subject, text, ticket.id, now)
    return [Asked(one.name, str(one.authority), until) for one in people]


def question(service: Service, held: str) -> Question:
    """What a link asks. NotFoundError for one that is unknown or over, ConflictError for one answered."""
    with service.store.read() as work:
        link = _open_link(work, held, service.now())
        ticket = seen_ticket(work, link.ticket, link.caller)
        machine = machine_billed(work, ticket)
        site = None if machine is None else machine.site
        return Question(link, ticket, "" if site is None else site.name, timezone_of(machine))


@one_version
def answer(service: Service, held: str, data: Mapping[str, Any]) -> Ticket:
    """The authority's word by its link, which is used up by it: both are stored, or neither is."""

    def still_open(work: Work) -> None:
        _open_link(work, held, service.now())

    with service.store.read() as work:
        link = _open_link(work, held, service.now())
    with service.store.one_write(still_open):
        ticket = approve(service, link.ticket, {**data, "estimate": link.estimate}, link.caller)
        with service.store.write() as work:
            work.links.use(held, service.now())
    return ticket


def waiting_for(ticket: Ticket) -> int:
    """The revision of the estimate that waits for an authority's answer; 0 where it is held before one.

    Raises ConflictError where nothing does.
    """
    repair = ticket.repair
    held = ticket.outcome == "hold" if repair.estimate is None else repair.estimate.answer == "hold"
    if ticket.state == "closed" or not held:
        raise ConflictError(f"ticket {ticket.id} waits for no authority's answer")
    revision = 0 if repair.estimate is None else repair.revisions
    refuse_second_approval(repair, revision, ticket.id)
    return revision


def _open_link(work: Work, held: str, now: datetime) -> Link:
    link = work.links.find(held, now)
    if link is None or (link.used_at is None and now >= link.expires_at):
        raise NotFoundError("this link is not valid, or no longer; ask to be sent a new one")
    if link.used_at is not None:
        raise ConflictError("this question was answered by this link already; a link answers once")
    try:
        waiting = waiting_for(seen_ticket(work, link.ticket, link.caller))
    except NotFoundError:
        waiting = None
    if waiting != link.estimate:
        raise ConflictError("there is another estimate since; the link for that one comes by e-mail")
    return link


def _people(work: Work, ticket: Ticket, now: datetime) -> list[TokenRecord]:
    return [
        one for one in work.tokens.all() if one.is_valid(now) and one.email and one.authority in ticket.asked
    ]


def _letter(work: Work, ticket: Ticket, person: str, link: str, until: datetime) -> tuple[str, str]:
    machine = machine_billed(work, ticket)
    place = "a machine" if machine is None or machine.site is None else machine.site.name
    estimate = ticket.repair.estimate
    asked = "a repair above the limit"
    if estimate is not None:
        asked = f"{money_text(estimate.bill.beyond_warranty)} for a repair"
    text = (
        f"{person},\n\n{place} waits for your yes or no to {asked} (ticket {ticket.id}).\n\n"
        f"{link}\n\nThe link is for you alone, answers once, and is valid until {until:%Y-%m-%d %H:%M} UTC. "
        "It shows the estimate and asks one question.\n"
    )
    return f"{place}: yes or no to {asked}?", text
