"""The tickets behind a number: those that it counts in a period, as conditions of a list."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, Text, and_, exists, func, or_, select, type_coerce
from sqlalchemy.orm import InstrumentedAttribute, aliased

from triage.repairs.close_out import COMEBACK_DAYS, NOTHING, REPAIR
from triage.repairs.exports import NO_FAULT_FOUND
from triage.repairs.period import NOT_KNOWN, Period
from triage.rulebook.model import CareIntervals
from triage.store.tables.derived.asked import AskedRow
from triage.store.tables.derived.care_months import began
from triage.store.tables.derived.closings import ClosingRow
from triage.store.tables.derived.judged import judged_so
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
    if number == "asked":
        at = AskedRow.at >= period.since, AskedRow.at < period.until
        return TicketRow.id.in_(select(AskedRow.ticket).where(*at))
    if number == "spend_closed":
        return _closed(period, ClosingRow.spent != Decimal(0))
    if number == "outside_agreement":
        return _closed(period, ClosingRow.outside != Decimal(0))
    if number == "over_limit":
        return _closed(period, ClosingRow.spent > ClosingRow.nte)
    return _closed(period, ClosingRow.stands.is_(True), *CLOSED[number]())


@dataclass(frozen=True, slots=True)
class Measures:
    """What the live rulebook judges care and commissionings by."""

    care: CareIntervals
    judge: str


def by_measures(by: Measures, filters: Mapping[str, str]) -> Iterator[Condition]:
    """`care`: overdue or nothing_overdue, as the machine began the month of `since`; `commissioning`: a state
    of it."""
    if filters.get("care") and filters.get("since"):
        month = date.fromisoformat(filters["since"]).replace(day=1)
        yield TicketRow.machine.in_(began(month, by.care, filters["care"] == "overdue"))
    state: Any = filters.get("commissioning")
    if state:
        yield TicketRow.machine.in_(judged_so(by.judge, state))


def of_group(by: str, key: str) -> Condition:
    """Whether a ticket stands under a key of a group."""
    if by in OF_PART:
        return OF_PART[by](key)
    if by == "model":
        of_model = select(MachineRow.serial).where(MachineRow.model == key)
        return TicketRow.machine.is_(None) if key == NOT_KNOWN else TicketRow.machine.in_(of_model)
    if by == "cause" and key in (NOT_KNOWN, NO_FAULT_FOUND):
        state = "open" if key == NOT_KNOWN else "closed"
        return TicketRow.cause.is_(None) & (TicketRow.state == state)
    if (by, key) == ("first_outcome", SENT):
        return TicketRow.first_outcome.is_distinct_from("fix_in_store")
    names = ("site", "contractor", "cause", "first_outcome", "machine")
    column = {name: getattr(TicketRow, name) for name in names}[by]
    under: Condition = column.is_(None) if key == NOT_KNOWN else column == key
    return under


def _has(words: InstrumentedAttribute[str], word: str) -> Condition:
    return (" " + words + " ").contains(f" {word} ", autoescape=True)


def _checked(key: str) -> Condition:
    """`rinse-filter`: it was done; `rinse-filter=could_not_do`: with that result."""
    if "=" in key:
        return _has(TicketRow.checks, key)
    done = (_has(TicketRow.checks, f"{key}={result}") for result in ("cured", "not_cured"))
    return or_(*done, func.coalesce(TicketRow.cured_by, "") == key)


def _scored(*where: Condition) -> Condition:
    return TicketRow.id.in_(select(ClosingRow.ticket).where(ClosingRow.stands.is_(True), *where))


def _in_tenth(key: str) -> Condition:
    """Whether a cause was confirmed, and the one ranked first had a chance of so many tenths, 0 to 9."""
    tenths, tenth = ClosingRow.top_chance * 10, int(key)
    below = [] if tenth == 9 else [tenths < tenth + 1]
    return _scored(ClosingRow.cause.is_not(None), tenths >= tenth, *below)


OF_PART: Mapping[str, Callable[[str], Condition]] = {
    "symptom": lambda key: _has(TicketRow.symptoms, key),
    "check": _checked,
    "rule": lambda key: _scored(type_coerce(ClosingRow.rules, Text).contains(f'"{key}":', autoescape=True)),
    "question": lambda key: TicketRow.id.in_(select(AskedRow.ticket).where(AskedRow.fact == key)),
    "chance": _in_tenth,
}
SENT = "not_fix_in_store"
"""Instead of a first outcome: somebody was to be sent."""


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
    "scored": lambda: (ClosingRow.log_loss.is_not(None),),
    "first_ranked": lambda: (ClosingRow.cause == ClosingRow.top_cause,),
}
EVENTS = {
    "reopened": "reopened",
    "visits_sent": "dispatched",
    "spend_approved": "approved",
    "swaps": "swapped",
}
COUNTED = ("opened", "repeats", "asked", "spend_closed", "outside_agreement", "over_limit", *CLOSED, *EVENTS)
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
