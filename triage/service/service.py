"""The program: the one service behind the API and the command line.

It reads records, runs the pipeline and appends to tickets; each method is one transaction, and bad input
raises InputError before anything is stored. What a technician may not see is not found (NotFoundError).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import wraps
from typing import Any, TypeVar, cast

from triage.decide.causes import inference
from triage.decide.decide_data import Inputs, decide_inputs, read_inputs, with_spent
from triage.decide.limits_of_machine import ANY_JOB, Job, check_component, limits_of, noon_there
from triage.decide.under_later_rules import report_now
from triage.logic.engine import Engine
from triage.machine.commissioning import Finding, read_checklist
from triage.machine.commissioning.recorded import judged, last_checklist
from triage.records.caller import Caller, Role
from triage.records.decision import Decision
from triage.records.report import History, Machine
from triage.records.ticket import Event, Ticket
from triage.records.ticket_id import new_ticket_id
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service.access import refuse_stale, seen_machine, seen_ticket, spent_on
from triage.service.care_log import CareView, care_view, read_care_event
from triage.service.decided_event import decided_event
from triage.service.live_rulebook import LiveRulebook, Serving
from triage.service.repairs import RepairDesk
from triage.store import Store, Work
from triage.store.tables.idempotency import StoredResponse
from triage.store.tables.rulebooks import Publication
from triage.store.tables.tickets import NewEvent, opening
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.money import Money, parse_money
from triage.what_if.explain import Explanation, explain_again

__all__ = ["Answer", "Caller", "Explanation", "MachineView", "Page", "Role", "Service"]

Data = Mapping[str, Any]

MOST_TICKETS = 50
"""Tickets listed with a machine."""


@dataclass(frozen=True, slots=True)
class Page:
    """Tickets, newest first; `next_cursor` is None on the last page."""

    tickets: tuple[Ticket, ...]
    next_cursor: str | None


@dataclass(frozen=True, slots=True)
class MachineView:
    """A machine's record, what happened to it, what care is due, and its tickets, newest first.

    `findings` judge the checklist of the last commissioning; none where there was none.
    """

    machine: Machine
    history: History
    care: CareView
    tickets: tuple[Ticket, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What a request was answered with, kept under its idempotency key."""

    status: int
    body: Data
    headers: Mapping[str, str]
    repeated: bool = False


Method = TypeVar("Method", bound=Callable[..., Any])


def _one_version(method: Method) -> Method:
    """Lets a method finish with the rulebook it started with."""

    @wraps(method)
    def pinned(self: Service, *args: Any, **kwargs: Any) -> Any:
        with self.live.one_version():
            return method(self, *args, **kwargs)

    return cast(Method, pinned)


class Service:
    """`clock` gives the current timezone-aware time; `files` are the rulebook's, to be stored whole with it.

    The live rulebook in the database serves; where none is yet, this one is made live (with `files`)
    and serves. `given` is the version that the operator has at hand, to tell it from the one that serves.
    `compile_rulebook` makes the engine of an older rulebook when one of its decisions is explained.
    """

    def __init__(
        self,
        store: Store,
        rulebook: Rulebook,
        engine: Engine,
        clock: Callable[[], datetime],
        files: Data | None = None,
        compile_rulebook: Callable[[Rulebook], Engine] = inference.compile_rulebook,
        new_id: Callable[[], str] = new_ticket_id,
        given: str | None = None,
    ) -> None:
        self.store = store
        self._clock = clock
        self._compile = compile_rulebook
        self._new_id = new_id
        self.given = given or rulebook.version
        self.live = LiveRulebook(Serving(rulebook, engine), self._newest, self._load)
        if files is not None:
            self._publish_first(files)
        self.live.refresh()

    @property
    def rulebook(self) -> Rulebook:
        """The one that serves; it does not change within `live.one_version`."""
        return self.live.current().rulebook

    @property
    def _engine(self) -> Engine:
        return self.live.current().engine

    @_one_version
    def triage_once(
        self, data: object, machine_data: Data | None = None, viewer: Caller | None = None
    ) -> Decision:
        """Decides a report, nothing stored. `machine_data` is a machine file, for a machine not on record."""
        with self.store.read() as work:
            inputs = self._inputs(work, data, viewer, machine_data)
        return decide_inputs(self.rulebook, self._engine, inputs)

    @_one_version
    def open_ticket(self, data: object, who: Caller) -> Ticket:
        """A report in, a decided ticket out."""
        with self.store.read() as work:
            inputs = self._inputs(work, data, who)
        decision = decide_inputs(self.rulebook, self._engine, inputs)
        machine = inputs.machine
        reported = {
            "report": inputs.report_data,
            "machine": None if machine is None else machine.serial,
            "site": None if machine is None or machine.site is None else machine.site.id,
            "contractor": None if machine is None else machine.contractor,
        }
        while True:
            ticket_id = self._new_id()
            news = [NewEvent("reported", reported), decided_event(ticket_id, decision, inputs)]
            ready = opening(ticket_id, news, at=inputs.at, who=who.name, rulebook=self.rulebook.version)
            with self.store.write() as work:
                if work.tickets.open(ready):
                    return ready.ticket

    def answer(self, ticket_id: str, answers: Data, who: Caller, if_version: int | None = None) -> Ticket:
        """More facts; decided again. Raises ConflictError when the ticket is past `if_version` or closed."""
        if not isinstance(answers, Mapping) or not answers:
            raise InputError([Problem("give at least one answer: fact -> value", "/answers")])
        return self.change(ticket_id, NewEvent("answered", {"answers": dict(answers)}), who, if_version)

    def record_check(
        self, ticket_id: str, check: str, result: str, who: Caller, if_version: int | None = None
    ) -> Ticket:
        """What came of a check (`cured`, `not_cured`, `could_not_do`); decided again."""
        done = NewEvent("check_done", {"check": check, "result": result})
        return self.change(ticket_id, done, who, if_version)

    def ticket(self, ticket_id: str, viewer: Caller) -> Ticket:
        with self.store.read() as work:
            return seen_ticket(work, ticket_id, viewer)

    def tickets(
        self,
        viewer: Caller,
        filters: Mapping[str, str] | None = None,
        cursor: str | None = None,
        limit: int = 50,
    ) -> Page:
        """Tickets by `state`, `outcome`, `machine`, `site`, newest first, without their `decision`."""
        chosen = dict(filters or {})
        if viewer.role == "technician":
            chosen["contractor"] = viewer.contractor or ""
        with self.store.read() as work:
            return Page(*work.tickets.page(chosen, cursor, limit))

    def events(self, ticket_id: str, viewer: Caller) -> Sequence[Event]:
        """The ticket's log in order."""
        with self.store.read() as work:
            return work.tickets.events(seen_ticket(work, ticket_id, viewer).id)

    @_one_version
    def machine(self, serial: str, viewer: Caller) -> MachineView:
        with self.store.read() as work:
            machine = seen_machine(work, serial, viewer)
            history = work.care.history(serial)
            tickets, _ = work.tickets.page({"machine": serial}, None, MOST_TICKETS)
        now = self._clock()
        care = care_view(machine, history, now, self.rulebook.care)
        checklist = last_checklist(history.care, now)
        findings = () if checklist is None else judged(self.rulebook, machine, checklist)
        return MachineView(machine, history, care, tickets, findings)

    @_one_version
    def limits(
        self,
        serial: str,
        contractor: str | None,
        at: datetime | date | None,
        viewer: Caller,
        ticket: str | None = None,
        job: Job = ANY_JOB,
    ) -> Data:
        """Warranty of every component and what may be spent, as JSON data, as of `at` (now; noon there).

        With `ticket`, one of this machine's, what it has cost already counts.
        """
        with self.store.read() as work:
            machine = seen_machine(work, serial, viewer)
            if contractor is not None and contractor != machine.contractor:
                if not viewer.may_see(contractor) or contractor not in {
                    known.id for known in work.machines.contractors()
                }:
                    raise InputError([Problem(f'no contractor "{contractor}"', "query:contractor")])
                machine = replace(machine, contractor=contractor)
            history = work.care.history(serial)
            if ticket is not None:
                spent = spent_on(work, ticket, serial, viewer, self.rulebook.currency)
                job = replace(job, spent_on_ticket=spent)
        check_component(self.rulebook, job.component)
        if at is not None and not isinstance(at, datetime):
            at = noon_there(machine, at)
        return limits_of(self.rulebook, self._engine, machine, history, at or self._clock(), job)

    @_one_version
    def record_care(self, serial: str, data: Data, who: Caller) -> MachineView:
        """`{"kind": filter_cleaned | fully_cleaned | commissioned, "at", "details"}`; now, without `at`.

        For `commissioned` the details are the installer's checklist, and `findings` are those of this one.
        """
        with self.store.write() as work:
            machine = seen_machine(work, serial, who)
            event, machine = read_care_event(data, machine, self._clock(), who.name)
            if work.care.add_care(serial, [event]) == 0:
                raise ConflictError(f"{event.kind} at {event.at.isoformat()} is in the care log already")
            work.machines.put_machines([machine])
            view = self.machine(serial, who)
        if event.kind != "commissioned":
            return view
        return replace(view, findings=judged(self.rulebook, machine, read_checklist(event.details)))

    def explain(self, ticket_id: str, viewer: Caller | None = None) -> Explanation:
        """The ticket's last decision made again with its own rulebook, and whether it is identical."""
        with self.store.read() as work:
            ticket = seen_ticket(work, ticket_id, viewer)
            decided = [event for event in work.tickets.events(ticket.id) if event.kind == "decided"]
            return explain_again(ticket, decided[-1], work.rulebooks.files, self._compile)

    def caller_for(self, token: str) -> Caller | None:
        """Who holds this token; None when it is unknown or revoked."""
        with self.store.read() as work:
            return work.tokens.caller(token)

    @_one_version
    def health(self) -> Data:
        """Says which rulebook and engine serve; reads the database, and fails if it cannot."""
        with self.store.read() as work:
            work.rulebooks.live()
        return {"status": "ok", "rulebook": self.rulebook.version, "engine": self._engine.name}

    def once(self, key: str, caller: Caller, request_hash: str, action: Callable[[], Answer]) -> Answer:
        """Carries out `action` once per caller and key; its effect and its answer are stored together.

        Sent again with the same request it gives the first answer; with another it is a ConflictError. What
        raises stores nothing, so that it can be tried again.
        """
        with self.store.write() as work:
            known = work.responses.find(caller.name, key)
            if known is not None:
                if known.request_hash != request_hash:
                    raise ConflictError("this Idempotency-Key was used for another request; make a new one")
                return Answer(known.status, known.body, known.headers, repeated=True)
            answer = action()
            kept = StoredResponse(request_hash, answer.status, answer.headers, answer.body)
            work.responses.keep(caller.name, key, kept, self._clock())
            return answer

    def estimate(self, ticket_id: str, data: object, who: Caller, if_version: int | None = None) -> Ticket:
        """A technician's estimate; see `RepairDesk`, as for the three below."""
        return self._repair(ticket_id, who, if_version, lambda desk, ticket: desk.estimate(ticket, data))

    def approve(self, ticket_id: str, data: object, who: Caller, if_version: int | None = None) -> Ticket:
        """An authority's word."""
        return self._repair(ticket_id, who, if_version, lambda desk, ticket: desk.approve(ticket, data))

    def close(self, ticket_id: str, data: object, who: Caller, if_version: int | None = None) -> Ticket:
        """The close-out."""
        return self._repair(ticket_id, who, if_version, lambda desk, ticket: desk.close(ticket, data))

    def reopen(self, ticket_id: str, why: str, who: Caller, if_version: int | None = None) -> Ticket:
        """A closed ticket is worked on again."""
        return self._repair(ticket_id, who, if_version, lambda desk, ticket: desk.reopen(ticket, why), True)

    def _repair(
        self,
        ticket_id: str,
        who: Caller,
        if_version: int | None,
        action: Callable[[RepairDesk, Ticket], Ticket],
        may_be_closed: bool = False,
    ) -> Ticket:
        with self.live.one_version(), self.store.write() as work:
            ticket = seen_ticket(work, ticket_id, who, for_change=True)
            refuse_stale(work, ticket, if_version, may_be_closed=may_be_closed)
            return action(RepairDesk(work, self.rulebook, self._engine, self._clock(), who), ticket)

    def now(self) -> datetime:
        """The current time by the program's clock."""
        return self._clock()

    @_one_version
    def note(self, ticket_id: str, new: NewEvent, who: Caller, if_version: int | None) -> Ticket:
        """Appends `new`, which changes nothing that the decision hangs on."""
        with self.store.write() as work:
            ticket = seen_ticket(work, ticket_id, who, for_change=True)
            refuse_stale(work, ticket, if_version)
            return self._append(work, ticket.id, [new], self._clock(), who)

    @_one_version
    def change(self, ticket_id: str, new: NewEvent, who: Caller, if_version: int | None) -> Ticket:
        """Appends `new` and the decision that follows from it."""
        with self.store.write() as work:
            ticket = seen_ticket(work, ticket_id, who, for_change=True)
            refuse_stale(work, ticket, if_version)
            data, left_out = report_now(ticket, new.kind, new.payload, self.rulebook)
            inputs = with_spent(self._inputs(work, data, None), self._spent(ticket))
            decision = decide_inputs(self.rulebook, self._engine, inputs)
            news = [new, decided_event(ticket.id, decision, inputs, left_out)]
            return self._append(work, ticket.id, news, inputs.at, who)

    def _inputs(
        self, work: Work, data: object, viewer: Caller | None, machine_data: Data | None = None
    ) -> Inputs:
        def find(serial: str) -> tuple[Machine, History] | None:
            try:
                return seen_machine(work, serial, viewer), work.care.history(serial)
            except NotFoundError:
                return None

        return read_inputs(data, self.rulebook, self._clock(), find, machine_data)

    def _append(
        self, work: Work, ticket_id: str, news: Sequence[NewEvent], at: datetime, who: Caller
    ) -> Ticket:
        return work.tickets.append(ticket_id, news, at=at, who=who.name, rulebook=self.rulebook.version)

    def _spent(self, ticket: Ticket) -> Money | None:
        if not ticket.spent:
            return None
        amounts = [parse_money(text, self.rulebook.currency) for text in ticket.spent]
        return sum(amounts[1:], amounts[0])

    def _publish_first(self, files: Data) -> None:
        version = self.rulebook.version
        with self.store.write() as work:
            if work.rulebooks.live() is None:
                work.rulebooks.keep(version, files)
                work.rulebooks.publish(Publication(version, self._clock(), "operator", "read at start"))

    def _newest(self) -> str | None:
        with self.store.read() as work:
            publication = work.rulebooks.live()
        return None if publication is None else publication.version

    def _load(self, version: str) -> Serving:
        with self.store.read() as work:
            files = work.rulebooks.files(version)
        assert files is not None  # what is published is kept
        rulebook = rulebook_from_data(files)
        return Serving(rulebook, self._compile(rulebook))
