"""Machines: their record and history, what care is due, what may be spent on them, and care written down."""

from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from triage.decide.facts import gather_facts
from triage.decide.limits_of_machine import ANY_JOB, Job, OnTicket, check_component, limits_of, noon_there
from triage.decide.outcome import fill
from triage.inputs.machine_search import ListedMachine
from triage.logic.conditions import evaluate, facts_in
from triage.machine.commissioning import Finding, read_checklist
from triage.machine.commissioning.recorded import judged, last_checklist, read_care_event
from triage.machine.measures.upkeep import CareDue, Compliance, compliance, due
from triage.records.authorization import open_authorization
from triage.records.caller import Caller
from triage.records.custody import TAKEN_OUT, CustodyEvent
from triage.records.danger import Danger
from triage.records.report import History, Machine, Report, Site, local_date
from triage.records.ticket import Ticket
from triage.rulebook.model import CareIntervals, Task
from triage.schedule.contractors import Contractor
from triage.service.changes import (
    decided_on,
    machine_billed,
    seen_machine,
    serial_on_record,
    ticket_of,
)
from triage.service.service import Service, one_version
from triage.service.tickets import NO_FILTERS, Filters, OpenTicket, listed
from triage.store import Work
from triage.store.work import promised_on
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

Data = Mapping[str, Any]

MOST_TICKETS = 50
"""Tickets listed with a machine."""
VISITS = frozenset({"repeat_visits_90_days", "repeats_of_one_cause"})
"""What is known of a machine's visits before anything is reported."""
KEPT_DAYS = 90
"""The period, up to and with today, over which it is said how care was kept."""


@dataclass(frozen=True, slots=True)
class TaskCare:
    """When a task is due, and how it was kept over the last `KEPT_DAYS` days."""

    due: CareDue
    kept: Compliance


@dataclass(frozen=True, slots=True)
class CareView:
    """Care of the air filter and of the whole machine; None without a site (no time zone)."""

    filter: TaskCare | None
    full_clean: TaskCare | None


@dataclass(frozen=True, slots=True)
class MachineView:
    """A machine's record, what happened to it, what care is due, and its tickets, newest first.

    `findings` judge the checklist of the last commissioning; none where there was none. `dangers` stand open
    on it, each with its ticket. `taken_out` says when it went from its store, and what it was exchanged for.
    """

    machine: Machine
    history: History
    care: CareView
    tickets: tuple[Ticket, ...]
    findings: tuple[Finding, ...] = ()
    dangers: tuple[Danger, ...] = ()
    taken_out: CustodyEvent | None = None


@one_version
def machine(service: Service, serial: str, viewer: Caller) -> MachineView:
    with service.store.read() as work:
        found = seen_machine(work, serial, viewer)
        history = work.care.history(serial)
        tickets, _ = work.tickets.page({"machine": serial}, None, MOST_TICKETS)
        dangers = work.dangers.of_machine(serial)
        last = next(iter(reversed(work.depot.chain(serial))), None)
    now = service.now()
    care = _care_view(found, history, now, service.rulebook.care)
    checklist = last_checklist(history.care, now)
    findings = () if checklist is None else judged(service.rulebook, found, checklist)
    own = tuple(ticket for ticket in tickets if viewer.may_see(ticket.contractor))
    taken_out = last if last is not None and last.step in TAKEN_OUT else None
    return MachineView(found, history, care, own, findings, dangers, taken_out)


def as_recorded(service: Service, spelled: str, viewer: Caller) -> str:
    """A serial as it stands in the records; one that cannot be found comes back as it was spelled."""
    with service.store.read() as work, suppress(InputError):
        return serial_on_record(work, spelled, viewer)
    return spelled


@one_version
def limits(
    service: Service,
    serial: str,
    contractor: str | None,
    at: datetime | date | None,
    viewer: Caller,
    ticket: str | None = None,
    job: Job = ANY_JOB,
) -> Data:
    """Warranty of every component and what may be spent, as JSON data, as of `at` (now; noon there).

    With `ticket`, one of this machine's, it is that ticket's limit: its contractor's, as of now, after hours
    as someone is to come, less what it has cost. Its open dangers stand beside it.
    """
    rulebook = service.rulebook
    on_ticket = None
    with service.store.read() as work:
        found = seen_machine(work, serial, viewer)
        if not viewer.may_see(found.contractor):
            found = replace(found, contractor=viewer.contractor)
        if ticket is not None:
            asked = ticket_of(work, ticket, serial, viewer)
            _refuse_beside_ticket(asked, contractor, at)
            found = machine_billed(work, asked) or found
            on_ticket = _on_ticket(service, work, asked, job)
        elif contractor is not None and contractor != found.contractor:
            if not viewer.may_see(contractor) or contractor not in {
                known.id for known in work.machines.contractors()
            }:
                raise InputError([Problem(f'no contractor "{contractor}"', "query:contractor")])
            found = replace(found, contractor=contractor)
        history, dangers = work.care.history(serial, named=False), work.dangers.of_machine(serial)
        if at is not None and not isinstance(at, datetime):
            at = noon_there(found, at)
        at = at or service.now()
        promised = promised_on(work, serial, rulebook.currency, at)
    if promised is not None:
        job = replace(job, promised=promised.amount)
    check_component(rulebook, job.component)
    answer = limits_of(rulebook, service.engine, found, history, at, job, on_ticket)
    return {**answer, "dangers": [danger.as_data() for danger in dangers]}


def _refuse_beside_ticket(ticket: Ticket, contractor: str | None, at: datetime | date | None) -> None:
    """Raises InputError for what a ticket's limit cannot be asked with."""
    problems = []
    if contractor is not None and contractor != ticket.contractor:
        message = f"ticket {ticket.id} is with another contractor; leave this out"
        problems.append(Problem(message, "query:contractor"))
    if at is not None:
        problems.append(Problem("a ticket's limit is that of now; leave this out", "query:at"))
    if problems:
        raise InputError(problems)


def _on_ticket(service: Service, work: Work, ticket: Ticket, job: Job) -> OnTicket:
    now = service.now()
    if job.after_hours is not None:
        ticket = replace(ticket, report={**ticket.report, "after_hours": job.after_hours})
    decision, _ = decided_on(work, service.rulebook, service.engine, now, ticket)
    return OnTicket(decision, open_authorization(ticket.repair, now))


@one_version
def record_care(service: Service, serial: str, data: Data, who: Caller) -> MachineView:
    """`{"kind": filter_cleaned | fully_cleaned | commissioned, "at", "details"}`; now, without `at`.

    For `commissioned` the details are the installer's checklist, and `findings` are those of this one.
    """
    with service.store.write() as work:
        event, after = read_care_event(data, seen_machine(work, serial, who), service.now(), who.name)
        if work.care.add_care(serial, [event], service.rulebook.installation.texts) == 0:
            raise ConflictError(f"{event.kind} at {event.at.isoformat()} is in the care log already")
        work.machines.put_machines([after])
    view = machine(service, serial, who)
    if event.kind != "commissioned":
        return view
    return replace(view, findings=judged(service.rulebook, after, read_checklist(event.details)))


def came_back(service: Service, view: MachineView) -> list[str]:
    """What the rulebook's policy says of a machine for its visits alone: that it comes back again."""
    rulebook, now = service.rulebook, service.now()
    nothing_reported = Report(symptoms=(), reported_at=now, machine=view.machine.serial)
    known = gather_facts(rulebook, nothing_reported, view.machine, view.history, now)
    facts = {name: fact.value for name, fact in known.items()} | {"estimate_given": False}
    return [
        fill(rule.text, facts, rulebook)
        for rule in rulebook.policy.values()
        if rule.head.status == "live"
        and facts_in(rule.head.when) & VISITS
        and evaluate(rule.head.when, facts)
    ]


def open_dangers(service: Service, serials: Collection[str]) -> Mapping[str, tuple[Danger, ...]]:
    """What stands open on these machines, by serial, each with its ticket; a machine without is left out."""
    with service.store.read() as work:
        return work.dangers.of_machines(serials) if serials else {}


def machine_count(service: Service) -> int:
    with service.store.read() as work:
        return work.desk.machine_count()


def listed_machines(service: Service) -> Sequence[ListedMachine]:
    """Every machine as the search knows it."""
    with service.store.read() as work:
        return work.desk.listed_machines()


def waiting_tickets(service: Service, limit: int, filters: Filters = NO_FILTERS) -> Sequence[OpenTicket]:
    """What is not finished: where a danger is open first, then by the time due. Of too many the newest."""
    found: list[OpenTicket] = []
    for danger in ("true", "false"):
        room = limit - len(found)
        more = listed(service, "unfinished", {**filters, "danger": danger}, limit=room) if room else ()
        found += sorted(more, key=lambda one: (one.due_at is None, one.due_at or one.opened_at, one.id))
    return found


def own_tickets(service: Service, viewer: Caller, limit: int) -> Sequence[OpenTicket]:
    """Where a technician's contractor is to come, in the order of `waiting_tickets`."""
    if viewer.contractor is None:
        return ()
    return waiting_tickets(service, limit, {"contractor": viewer.contractor})


def own_machines(service: Service, viewer: Caller) -> Sequence[ListedMachine]:
    """The machines in the care of a technician's contractor, as the search knows them."""
    with service.store.read() as work:
        return work.desk.listed_machines(viewer.contractor or "")


def open_on_machine(service: Service, serial: str) -> str | None:
    """The newest open ticket of a machine."""
    with service.store.read() as work:
        return work.desk.open_on_machine(serial)


def site_of(service: Service, ticket: Ticket) -> Site | None:
    """The store of a ticket: where its machine stands, or the one that the caller named."""
    with service.store.read() as work, suppress(NotFoundError):
        found = None if ticket.machine is None else work.machines.get(ticket.machine).site
        return found or (None if ticket.site is None else work.machines.site(ticket.site))
    return None


def sites(service: Service) -> Sequence[Site]:
    """Every store on record, by name."""
    with service.store.read() as work:
        return sorted(work.machines.sites(), key=lambda site: site.name)


def zone_of(service: Service, site: Site | None) -> str:
    """The time zone of a store; where none is known, that of most stores."""
    if site is not None:
        return site.timezone
    with service.store.read() as work:
        return work.desk.home_zone()


def contractors(service: Service) -> Mapping[str, Contractor]:
    """Every contractor on record, by id."""
    with service.store.read() as work:
        return {each.id: each for each in work.machines.contractors()}


def _care_view(
    machine: Machine, history: History, at: datetime, intervals: CareIntervals | None = None
) -> CareView:
    """The care of a machine as seen at `at` (timezone-aware)."""
    if machine.site is None:
        return CareView(None, None)
    zone, log = machine.site.timezone, [event for event in history.care if event.at <= at]
    today = local_date(machine, at)

    def care(task: Task) -> TaskCare:
        first = today - timedelta(days=KEPT_DAYS - 1)
        return TaskCare(
            due(task, log, at, zone, intervals), compliance(task, log, first, today, zone, intervals)
        )

    return CareView(care("filter"), care("full_clean"))
