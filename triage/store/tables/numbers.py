"""What a day's sums are made of: small rows, picked by the database.

Of tickets and closings only narrow columns are read, of events the payloads of visits and approvals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, Select, and_, func, select
from sqlalchemy.orm import Session, aliased

from triage.records.payloads import Approved
from triage.repairs.exports import NO_FAULT_FOUND
from triage.repairs.period import (
    NOT_KNOWN,
    Asked,
    Closing,
    DayRows,
    OpenedTicket,
    Period,
    Place,
    Swap,
    SwapSaid,
)
from triage.store.tables.derived.asked import AskedRow
from triage.store.tables.derived.closings import ClosingRow
from triage.store.tables.models import EventRow, MachineRow, TicketRow
from triage.values.dataclass_json import from_data

_PLACE = (
    *(TicketRow.site, TicketRow.contractor, MachineRow.model, TicketRow.state, TicketRow.cause),
    *(TicketRow.symptoms, TicketRow.first_outcome),
)


class NumberRecords:
    def __init__(self, session: Session) -> None:
        self._session = session

    def of_day(self, day: Period) -> DayRows:
        """What was recorded in a day, or any other period."""
        since, until = day.since, day.until
        return DayRows(
            opened=tuple(self._opened(since, until)),
            closings=tuple(self._closings(since, until)),
            sent=tuple(self._sent(since, until)),
            reopened=tuple(place for place, _ in self._events("reopened", since, until)),
            approved=tuple(self._approved(since, until)),
            asked=tuple(self._asked(since, until)),
            swapped=tuple(self._swapped(since, until)),
        )

    def _rows(self, query: Select[*tuple[Any, ...]]) -> Iterator[Any]:
        yield from self._session.execute(query)

    def _opened(self, since: datetime, until: datetime) -> Iterator[OpenedTicket]:
        stands = and_(ClosingRow.ticket == TicketRow.id, ClosingRow.stands)
        earlier = aliased(ClosingRow)
        before = (
            select(func.max(earlier.at))
            .where(earlier.machine == TicketRow.machine, earlier.at <= TicketRow.opened_at)
            .where(earlier.ticket != TicketRow.id)
            .scalar_subquery()
        )
        columns = (TicketRow.opened_at, TicketRow.machine, TicketRow.outcome, TicketRow.checks)
        query = (
            select(*_PLACE, *columns, TicketRow.cured_by, ClosingRow.closed_at, before)
            .join(MachineRow, MachineRow.serial == TicketRow.machine, isouter=True)
            .join(ClosingRow, stands, isouter=True)
            .where(TicketRow.opened_at >= since, TicketRow.opened_at < until)
        )
        for row in self._rows(query):
            at, machine, last, checks, *rest = row[len(_PLACE) :]
            done = ((check, result) for check, _, result in (one.partition("=") for one in checks.split()))
            yield OpenedTicket(_place(row), at, machine, last, tuple(done), *rest)

    def _closings(self, since: datetime, until: datetime) -> Iterator[Closing]:
        all_of = aliased(ClosingRow)
        visits = (
            select(func.count())
            .where(all_of.ticket == ClosingRow.ticket, all_of.visited.is_(True))
            .scalar_subquery()
        )
        columns = (
            *(ClosingRow.contractor, ClosingRow.opened_at, ClosingRow.at, ClosingRow.cause),
            *(ClosingRow.cured_by, ClosingRow.visited, ClosingRow.spent, ClosingRow.outside),
            *(ClosingRow.stands, ClosingRow.scheduled, visits, ClosingRow.top_cause, ClosingRow.top_chance),
            *(ClosingRow.log_loss, ClosingRow.brier, ClosingRow.nte, ClosingRow.rules),
        )
        query = (
            select(*_PLACE, *columns)
            .join(TicketRow, TicketRow.id == ClosingRow.ticket)
            .join(MachineRow, MachineRow.serial == ClosingRow.machine, isouter=True)
            .where(ClosingRow.at >= since, ClosingRow.at < until)
        )
        for row in self._rows(query):
            contractor, opened, at, cause, *rest, rules = row[len(_PLACE) :]
            place = _place(row, contractor=contractor, cause=cause or NO_FAULT_FOUND)
            scored = {rule: float(change) for rule, change in (rules or {}).items()}
            known: list[Any] = [*rest, scored]
            yield Closing(place, opened, at, cause, *known)

    def _events(
        self, kind: str, since: datetime, until: datetime, *more: ColumnElement[bool]
    ) -> Iterator[tuple[Place, Any]]:
        """The events of a kind in the time, with where they count."""
        query = (
            select(*_PLACE, EventRow)
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .join(MachineRow, MachineRow.serial == TicketRow.machine, isouter=True)
            .where(*(more or _at(kind, since, until)))
            .order_by(EventRow.ticket, EventRow.seq)
        )
        for row in self._session.execute(query):
            yield _place(row), row[-1]

    def _of_tickets(self, kind: str, since: datetime, until: datetime) -> Iterator[tuple[Place, Any]]:
        """All events of a kind of the tickets that have one in the time."""
        having: ScalarSelect[str] = select(EventRow.ticket).where(*_at(kind, since, until)).scalar_subquery()
        return self._events(kind, since, until, EventRow.kind + "" == kind, EventRow.ticket.in_(having))

    def _sent(self, since: datetime, until: datetime) -> Iterator[Place]:
        """Each visit that was scheduled for the first time in the period, under who was sent."""
        known: set[tuple[str, int]] = set()
        for place, event in self._of_tickets("dispatched", since, until):
            visit = (event.ticket, event.payload["visit"])
            if visit not in known and since <= event.at < until:
                who = event.payload["contractor"]
                yield Place(place.site, who, place.model, place.cause, place.symptoms, place.outcome)
            known.add(visit)

    def _approved(self, since: datetime, until: datetime) -> Iterator[tuple[Place, Decimal]]:
        """Of several on one ticket before it is closed only the last, which is the one that stands."""
        last: dict[tuple[str, int], tuple[datetime, Place, Decimal]] = {}
        found = list(self._of_tickets("approved", since, until))
        tickets = {event.ticket for _, event in found}
        query = select(ClosingRow.ticket, ClosingRow.seq).where(ClosingRow.ticket.in_(tickets))
        closed = [(ticket, seq) for ticket, seq in self._session.execute(query)] if tickets else []
        for place, event in found:
            said = from_data(Approved, event.payload)
            if said.yes and said.amount is not None:
                stretch = sum(ticket == event.ticket and seq < event.seq for ticket, seq in closed)
                last[event.ticket, stretch] = (event.at, place, said.amount.amount)
        yield from ((place, amount) for at, place, amount in last.values() if since <= at < until)

    def _asked(self, since: datetime, until: datetime) -> Iterator[Asked]:
        columns = AskedRow.fact, AskedRow.told, AskedRow.changed, AskedRow.saves
        query = select(*columns).where(AskedRow.at >= since, AskedRow.at < until)
        yield from (Asked(*row) for row in self._session.execute(query))

    def _swapped(self, since: datetime, until: datetime) -> Iterator[Swap]:
        """Each machine swapped, with what the last decision before said of it."""
        for place, event in self._events("swapped", since, until):
            decided = (
                select(EventRow.payload)
                .where(EventRow.ticket == event.ticket, EventRow.seq < event.seq, EventRow.kind == "decided")
                .order_by(EventRow.seq.desc())
                .limit(1)
            )
            yield Swap(place, _swap_said(self._session.scalar(decided) or {}))

    def held_since(self) -> Iterator[datetime]:
        """When the run of decisions that leave a ticket on hold now began, for each such ticket."""
        held = TicketRow.state == "open", TicketRow.outcome == "hold", TicketRow.held_since.is_not(None)
        yield from (
            since for since in self._session.scalars(select(TicketRow.held_since).where(*held)) if since
        )


def _swap_said(decided: Mapping[str, Any]) -> SwapSaid | None:
    """Of a repair that was estimated, what is left after warranty; else the one to be expected."""
    known: Mapping[str, Any] = decided.get("decision", {}).get("computed_facts") or {}
    repair = known.get("estimate_beyond_cover", known.get("expected_repair"))
    amounts = [known.get("swap_cost"), repair, known.get("keep_cost_year"), known.get("swap_cost_year")]
    return None if None in amounts else SwapSaid(*(Decimal(str(amount)) for amount in amounts))


def _place(row: Any, **instead: Any) -> Place:
    site, contractor, model, state, cause, symptoms, outcome = row[: len(_PLACE)]
    known = cause or (NO_FAULT_FOUND if state == "closed" else NOT_KNOWN)
    told = {"contractor": contractor, "cause": known, **instead}
    return Place(site, told["contractor"], model, told["cause"], tuple(symptoms.split()), outcome)


def _at(kind: str, since: datetime, until: datetime) -> list[ColumnElement[bool]]:
    return [EventRow.kind == kind, EventRow.at >= since, EventRow.at < until]
