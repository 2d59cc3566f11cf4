"""The tickets behind a number: those that it counts in a period, as conditions of a list."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from sqlalchemy import ColumnElement, and_, exists, func, select
from sqlalchemy.orm import aliased

from triage.repairs.close_out import COMEBACK_DAYS, NOTHING, REPAIR
from triage.repairs.exports import NO_FAULT_FOUND
from triage.repairs.period import NOT_KNOWN, Period
from triage.store.tables.derived.closings import ClosingRow
from triage.store.tables.models import EventRow, MachineRow, TicketRow

Condition = ColumnElement[bool]


def counted_in(number: str, period: Period, sqlite: bool) -> Condition:
    """Whether a ticket counts in a number of the period; KeyError for a number without tickets of its own."""
    if number in EVENTS:
        return _with_event(EVENTS[number], period)
    if number == "opened":
        return _opened(period)
    if number == "repeats":
        return _opened(period) & _again(sqlite)
    if number == "spend_closed":
        return _closed(period, ClosingRow.spent != Decimal(0))
    if number == "over_limit":
        return _closed(period, ClosingRow.spent > ClosingRow.nte)
    return _closed(period, ClosingRow.stands.is_(True), *CLOSED[number]())


def of_group(by: str, key: str) -> Condition:
    """Whether a ticket stands under a key of a group."""
    if by == "symptom":
        said: Condition = (" " + TicketRow.symptoms + " ").contains(f" {key} ", autoescape=True)
        return said
    if by == "model":
        of_model = select(MachineRow.serial).where(MachineRow.model == key)
        return TicketRow.machine.is_(None) if key == NOT_KNOWN else TicketRow.machine.in_(of_model)
    if by == "cause" and key in (NOT_KNOWN, NO_FAULT_FOUND):
        state = "open" if key == NOT_KNOWN else "closed"
        return TicketRow.cause.is_(None) & (TicketRow.state == state)
    column = {name: getattr(TicketRow, name) for name in ("site", "contractor", "cause", "first_outcome")}[by]
    under: Condition = column.is_(None) if key == NOT_KNOWN else column == key
    return under


def _not_by_itself() -> Condition:
    return ClosingRow.cured_by.in_((REPAIR, NOTHING))


def _visits() -> ColumnElement[int]:
    other = aliased(ClosingRow)
    query = select(func.count()).where(other.ticket == ClosingRow.ticket, other.visited.is_(True))
    return query.scalar_subquery()


CLOSED: Mapping[str, Callable[[], tuple[Condition, ...]]] = {
    "closed": lambda: (),
    "cured_in_store": lambda: (_visits() == 0, ClosingRow.scheduled == 0, ~_not_by_itself()),
    "first_visit_fix": lambda: (_visits() == 1, ClosingRow.scheduled <= 1, ClosingRow.cured_by != NOTHING),
    "no_fault_found": lambda: (ClosingRow.cause.is_(None),),
    "first_ranked": lambda: (ClosingRow.cause == ClosingRow.top_cause,),
}
EVENTS = {
    "reopened": "reopened",
    "visits_sent": "dispatched",
    "spend_approved": "approved",
    "swaps": "swapped",
}
COUNTED = ("opened", "repeats", "spend_closed", "over_limit", *CLOSED, *EVENTS)
"""Numbers whose tickets can be listed."""


def _opened(period: Period) -> Condition:
    return and_(TicketRow.opened_at >= period.since, TicketRow.opened_at < period.until)


def _closed(period: Period, *where: Condition) -> Condition:
    at = ClosingRow.at >= period.since, ClosingRow.at < period.until
    return TicketRow.id.in_(select(ClosingRow.ticket).where(*at, *where))


def _with_event(kind: str, period: Period) -> Condition:
    at = EventRow.at >= period.since, EventRow.at < period.until
    return TicketRow.id.in_(select(EventRow.ticket).where(EventRow.kind == kind, *at))


def _again(sqlite: bool) -> Condition:
    """Whether another ticket of the machine was closed shortly before it was opened."""
    opened, at = TicketRow.opened_at, ClosingRow.at
    if sqlite:
        soon: Condition = func.julianday(opened) - func.julianday(at) <= COMEBACK_DAYS
    else:
        soon = opened - at <= func.make_interval(0, 0, 0, COMEBACK_DAYS)
    others = ClosingRow.machine == TicketRow.machine, ClosingRow.ticket != TicketRow.id
    return exists().where(*others, at <= opened, soon)
