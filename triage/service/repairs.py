"""Estimates, approvals and closings of a ticket, and opening a closed one again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial

from triage.decide.spending.authorities import to_ask, whom_to_ask
from triage.decide.spending.repair_costs import component_of
from triage.decide.spending.warranty import warranty_for
from triage.logic.engine import Engine
from triage.records.authorization import (
    Authorization,
    next_number,
    open_authorization,
    refuse_closing_above,
    standing_until,
)
from triage.records.caller import Caller
from triage.records.decision import Decision, facts_of
from triage.records.payloads import Approved, Closed, Decided, Estimated, Payload, Reopened, Withdrawn
from triage.records.report import History, Machine, PastRepair, local_date, timezone_of
from triage.records.ticket import Event, Ticket, changed_report
from triage.repairs.approvals import (
    answer_to,
    approved_by,
    approved_by_authority,
    held_for_outside,
    read_approval,
    refuse_held,
    refuse_own_approval,
)
from triage.repairs.close_out import CloseOut, comeback_of, read_close_out, refuse_late
from triage.repairs.estimate_input import AskedLine, WorkTime, read_estimate, texts_of
from triage.repairs.pricing import NOT_AGREED, Bill, Visit, billed, priced
from triage.rulebook.model import OTHER_CAUSE, Rulebook
from triage.service.changes import Change, change, decided_on, machine_billed, refuse_open_swap, seen_ticket
from triage.service.dangers import made_safe, may_lift, noted
from triage.service.service import Service, one_version
from triage.store import Work
from triage.values.errors import ConflictError, InputError, Problem
from triage.values.money import in_currency, sum_money


def estimate(
    service: Service, ticket_id: str, data: object, who: Caller, if_version: int | None = None
) -> Ticket:
    """A technician's estimate, answered `approve`, `hold` or `swap`; the last one counts."""
    return _change(service, ticket_id, who, if_version, lambda desk, ticket: desk.estimate(ticket, data, who))


@one_version
def price(service: Service, ticket_id: str, data: object, who: Caller) -> Estimated:
    """What this estimate would come to and be answered now; nothing is stored."""
    with service.store.read() as work:
        ticket = seen_ticket(work, ticket_id, who)
        found = _Desk(work, service.rulebook, service.engine, service.now()).estimate(ticket, data, who)
    return next(each for each in found.news if isinstance(each, Estimated))


def approve(
    service: Service, ticket_id: str, data: object, who: Caller, if_version: int | None = None
) -> Ticket:
    """An authority's word on the last estimate, or on a ticket held before there is one.

    ConflictError where the caller wrote the estimate: who estimates does not approve.
    """
    return _change(service, ticket_id, who, if_version, lambda desk, ticket: desk.approve(ticket, data, who))


def close(
    service: Service, ticket_id: str, data: object, who: Caller, if_version: int | None = None
) -> Ticket:
    """The close-out: it is paid by an authorization or the standing limit, and joins the history.

    ConflictError where the caller approved the authorization: who approves does not close on it. Where its
    words raise a danger and it makes nothing safe, the ticket stays open with that danger.
    """
    return _change(service, ticket_id, who, if_version, lambda desk, ticket: desk.close(ticket, data, who))


def reopen(service: Service, ticket_id: str, why: str, who: Caller, if_version: int | None = None) -> Ticket:
    """The trouble is back, or the closing was wrong; decided again, and estimated anew.

    The fault of the new repair counts as reported now: warranty and due times are reckoned from here.
    ConflictError where more days have passed than the rulebook's `reopen_days`.
    """
    return _change(service, ticket_id, who, if_version, lambda desk, ticket: desk.reopen(ticket, why), True)


def _change(
    service: Service,
    ticket_id: str,
    who: Caller,
    if_version: int | None,
    action: Callable[[_Desk, Ticket], Change],
    may_be_closed: bool = False,
) -> Ticket:
    def follows(work: Work, ticket: Ticket) -> Change:
        return action(_Desk(work, service.rulebook, service.engine, service.now()), ticket)

    return change(service, ticket_id, who, if_version, follows, may_be_closed=may_be_closed)


@dataclass(frozen=True)
class _Desk:
    """What a step is worked out with: the records, the live rulebook with its engine, the time."""

    work: Work
    rulebook: Rulebook
    engine: Engine
    now: datetime

    def estimate(self, ticket: Ticket, data: object, who: Caller) -> Change:
        asked = read_estimate(data, self.rulebook)
        cause = asked.cause or ticket.decided.computed_facts.top_cause or OTHER_CAUSE
        fresh = replace(ticket, report=changed_report(ticket.report, Withdrawn(None, None, "")))
        first, _ = self._decide(fresh)
        bill, machine = self._bill(fresh, first, cause, asked.time, asked.lines, self.now)
        unanswered = replace(
            self._unanswered(ticket, cause, bill, asked.note),
            after_hours=self._late(asked.time, machine) if first.after_hours_agreed else None,
        )
        words = noted(self.rulebook, ticket, texts_of(asked))
        decision, decided = self._decide(ticket, *words, unanswered)
        answer, reasons = answer_to(decision, bill)
        if asked.time.after_hours and not first.after_hours_agreed:
            reasons = (*reasons, f"It is judged by the limit for the day: {NOT_AGREED}.")
        held = answer == "hold" and not held_for_outside(self.rulebook, decision)
        before = self._within_word(ticket, bill, who) if held else None
        if before is not None:
            answer, reasons = "approve", (f"It is within what {before.authority} approved beforehand.",)
        comes_to = sum_money((*ticket.spent, bill.beyond_warranty), self.rulebook.currency)
        estimated, facts = replace(unanswered, answer=answer, reasons=reasons), facts_of(decision)
        if answer == "hold":
            whom = whom_to_ask(self.rulebook, facts, comes_to.amount, local_date(machine, self.now))
            estimated = replace(estimated, ask=None if whom is None else to_ask(whom, self.rulebook))
        if bill.claimed.amount:
            reported_on = _reported_on(ticket, machine)
            warranty = warranty_for(self.rulebook, machine, estimated.component, reported_on, facts)
            estimated = replace(estimated, claim_needs=warranty.claim_needs, at_risk=warranty.at_risk)
        if answer != "approve":
            return Change([*words, estimated, decided], self.now)
        approved = Approved(
            estimate=estimated.revision,
            authority=None if before is None else before.authority,
            yes=True,
            amount=bill.beyond_warranty if before is None else before.amount,
            number=next_number(ticket.id, ticket.repair),
            expires_at=standing_until(self.now) if before is None else before.expires_at,
            why=" ".join(reasons),
            person=None if before is None else before.person,
        )
        return Change([*words, estimated, decided, approved], self.now)

    def _unanswered(self, ticket: Ticket, cause: str, bill: Bill, note: str) -> Estimated:
        return Estimated(
            revision=ticket.repair.revisions + 1,
            cause=cause,
            component=component_of(self.rulebook, cause),
            bill=billed(bill),
            answer="hold",
            reasons=(),
            note=note,
        )

    def _within_word(self, ticket: Ticket, bill: Bill, who: Caller) -> Authorization | None:
        """What another than `who` authorized before there was an estimate, where the bill is within it."""
        before = open_authorization(ticket.repair, self.now)
        if before is None or before.estimate != 0 or approved_by(who, before, self._log(ticket)):
            return None
        return before if bill.beyond_warranty <= in_currency(before.amount, self.rulebook.currency) else None

    def _log(self, ticket: Ticket) -> Sequence[Event]:
        return self.work.tickets.events(ticket.id)

    def approve(self, ticket: Ticket, data: object, who: Caller) -> Change:
        approval = read_approval(data, self.rulebook, self.now, who)
        on = local_date(machine_billed(self.work, ticket), self.now)
        log, spent = self._log(ticket), sum_money(ticket.spent, self.rulebook.currency)
        approved = approved_by_authority(self.rulebook, approval, who, ticket, log, spent, on, self.now)
        words = noted(self.rulebook, ticket, [approval.why])
        heard = [self._decide(ticket, *words)[1]] if words else []
        return Change([*words, *heard, approved], self.now)

    def close(self, ticket: Ticket, data: object, who: Caller) -> Change:
        refuse_open_swap(self.work, ticket)
        machine = machine_billed(self.work, ticket)
        close_out = read_close_out(data, self.rulebook, machine, ticket.opened_at, self.now)
        words = noted(self.rulebook, ticket, texts_of(close_out))
        standing = list(dict.fromkeys(danger.caution for danger in ticket.dangers.standing))
        if words:
            heard, decided = self._decide(ticket, *words)
            before = {danger.caution for danger in ticket.dangers.open}
            raised = {danger.caution for danger in heard.dangers if danger.ticket is None} - before
            if not all(close_out.says_safe(one) and may_lift(self.rulebook, one, who) for one in raised):
                return Change([*words, decided], self.now)
            standing += sorted(raised - {*standing})
        lifted = made_safe(self.rulebook, standing, close_out.made_safe, close_out.note, who)
        cause = close_out.cause or OTHER_CAUSE
        late = self._late(close_out.time, machine)
        said = ticket if late is None else replace(ticket, report={**ticket.report, "after_hours": late})
        first, _ = self._decide(said)
        bill, _ = self._bill(ticket, first, cause, close_out.time, close_out.lines, close_out.at)
        asked = self._unanswered(ticket, cause, bill, close_out.note)
        decision, _ = self._decide(said, replace(asked, after_hours=said.report.get("after_hours")))
        refuse_closing_above(
            ticket.repair, close_out.authorization, bill.beyond_warranty, decision.limit.headroom, self.now
        )
        refuse_held(self.rulebook, decision, bill, ticket.repair, close_out.authorization)
        if close_out.authorization is not None:
            refuse_own_approval(ticket.repair, who, self._log(ticket))
        also = None
        if machine is not None and close_out.visited:
            repair = PastRepair(close_out.at, ticket.id, close_out.cause, bill.beyond_warranty)
            also = partial(_join_history, machine.serial, repair)
        return Change([*words, *lifted, self._closed(ticket, machine, close_out, bill)], self.now, also)

    def reopen(self, ticket: Ticket, why: str) -> Change:
        if ticket.state != "closed":
            raise ConflictError(f"ticket {ticket.id} is open")
        if not why.strip():
            raise InputError([Problem("say why, in a sentence", "/why")])
        refuse_late(ticket, machine_billed(self.work, ticket), self.rulebook.reopen_days, self.now)
        news: list[Payload] = [Reopened(why, self.now), *noted(self.rulebook, ticket, [why])]
        return Change([*news, self._decide(ticket, *news)[1]], self.now)

    def _closed(self, ticket: Ticket, machine: Machine | None, close_out: CloseOut, bill: Bill) -> Closed:
        history = History() if machine is None else self.work.care.history(machine.serial, named=False)
        return Closed(
            cause=close_out.cause,
            no_fault_found=close_out.cause is None,
            cured_by=close_out.cured_by,
            visited=close_out.visited,
            cost=bill.beyond_warranty,
            bill=billed(bill),
            hours=close_out.hours,
            photos=close_out.photos,
            authorization=close_out.authorization,
            at=close_out.at,
            note=close_out.note,
            comeback_of=comeback_of(history.repairs, ticket.id, ticket.opened_at, close_out.cause),
            machine=ticket.machine,
            model=None if machine is None else machine.model,
            site=ticket.site,
            contractor=ticket.contractor,
        )

    def _bill(
        self,
        ticket: Ticket,
        decision: Decision,
        cause: str,
        time: WorkTime,
        lines: Sequence[AskedLine],
        at: datetime,
    ) -> tuple[Bill, Machine | None]:
        """The hours are as they are said, else from when the visit is planned, else as the decision says."""
        machine = machine_billed(self.work, ticket)
        said = ticket.report.get("after_hours") if time.after_hours is None else time.after_hours
        starts_at = time.work_from
        if said is None and starts_at is None and decision.after_hours_agreed and "visit_at" in ticket.report:
            starts_at = datetime.fromisoformat(ticket.report["visit_at"])
        visit = Visit(
            contractor=ticket.contractor,
            machine=machine,
            component=component_of(self.rulebook, cause),
            after_hours=bool(decision.computed_facts["after_hours"]) if said is None else said,
            after_hours_agreed=decision.after_hours_agreed,
            on=_reported_on(ticket, machine),
            visited_on=local_date(machine, starts_at or at),
            starts_at=starts_at,
        )
        return priced(self.rulebook, visit, lines), machine

    def _late(self, time: WorkTime, machine: Machine | None) -> bool | None:
        return time.late(self.rulebook.service_hours, timezone_of(machine))

    def _decide(self, ticket: Ticket, *news: Payload) -> tuple[Decision, Decided]:
        return decided_on(self.work, self.rulebook, self.engine, self.now, ticket, news)


def _join_history(serial: str, repair: PastRepair, work: Work) -> None:
    if work.care.add_repairs(serial, [repair]) == 0:
        message = f"a visit at {repair.at.isoformat()} is in the history of this ticket already"
        raise ConflictError([Problem(message, "/at")])


def _reported_on(ticket: Ticket, machine: Machine | None) -> date:
    reported_at = ticket.report.get("reported_at")
    at = ticket.opened_at if reported_at is None else datetime.fromisoformat(str(reported_at))
    return local_date(machine, at)
