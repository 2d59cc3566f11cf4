"""What the program's numbers are made of: small rows, picked by the database.

Of tickets and closings only narrow columns are read. Documents stay where they are: the database takes single
values out of them (`json_extract` in SQLite, `#>>` in PostgreSQL).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, ScalarSelect, and_, func, select
from sqlalchemy.orm import Session

from triage.records.payloads import Approved
from triage.repairs.period import Approval, Closing, OpenedTicket, Recorded
from triage.store.tables.column_types import json_text
from triage.store.tables.derived.closings import ClosingRow
from triage.store.tables.models import EventRow, TicketRow
from triage.values.dataclass_json import from_data

_OPENED = (
    *("id", "opened_at", "machine", "contractor", "symptoms", "first_outcome", "outcome"),
    *("checks", "cause", "cured_by"),
)
_RENAMED = {"cost": "spent"}


class NumberRecords:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._postgresql = session.get_bind().dialect.name == "postgresql"

    def between(self, since: datetime, until: datetime, earlier: timedelta) -> Recorded:
        """What was recorded from `since` until just before `until`, and what is on hold now.

        Closings come from `earlier` before that on.
        """
        return Recorded(
            opened=tuple(self._opened(since, until)),
            closings=tuple(self._closings(since - earlier, until)),
            approvals=tuple(self._approvals(since, until)),
            sent=tuple(self._sent(since, until)),
            held=tuple(self._held()),
            reopened=self._session.scalar(
                select(func.count()).select_from(EventRow).where(*_at("reopened", since, until))
            )
            or 0,
        )

    def _opened(self, since: datetime, until: datetime) -> Iterator[OpenedTicket]:
        stands = and_(ClosingRow.ticket == TicketRow.id, ClosingRow.stands)
        query = (
            select(*(getattr(TicketRow, name) for name in _OPENED), ClosingRow.closed_at, TicketRow.site)
            .join(ClosingRow, stands, isouter=True)
            .where(TicketRow.opened_at >= since, TicketRow.opened_at < until)
        )
        for row in self._session.execute(query):
            ticket, at, machine, contractor, symptoms, first, last, checks, *rest = row
            done = ((check, result) for check, _, result in (one.partition("=") for one in checks.split()))
            place = (machine, contractor, tuple(symptoms.split()))
            yield OpenedTicket(ticket, at, *place, first, last, tuple(done), *rest)

    def _closings(self, since: datetime, until: datetime) -> Iterator[Closing]:
        """All of every ticket that was closed in the time."""
        at = [ClosingRow.at >= since, ClosingRow.at < until]
        columns = (getattr(ClosingRow, _RENAMED.get(each.name, each.name)) for each in fields(Closing))
        query = select(*columns).where(ClosingRow.ticket.in_(select(ClosingRow.ticket).where(*at)))
        yield from (Closing(*row) for row in self._session.execute(query))

    def _approvals(self, since: datetime, until: datetime) -> Iterator[Approval]:
        query = select(EventRow).where(*_at("approved", since, until))
        for event in self._session.scalars(query):
            said = from_data(Approved, event.payload)
            if said.yes and said.amount is not None:
                yield Approval(event.ticket, event.seq, event.at, said.amount.amount)

    def _sent(self, since: datetime, until: datetime) -> Iterator[str | None]:
        """The contractor of each visit that was scheduled for the first time in the period."""
        said = (json_text(EventRow.payload, (name,), self._postgresql) for name in ("visit", "contractor"))
        query = (
            select(EventRow.ticket, EventRow.at, *said)
            .where(
                EventRow.kind == "dispatched", EventRow.ticket.in_(_tickets_with("dispatched", since, until))
            )
            .order_by(EventRow.ticket, EventRow.seq)
        )
        known: set[tuple[str, str]] = set()
        for ticket, at, visit, contractor in self._session.execute(query):
            if (ticket, str(visit)) not in known:
                known.add((ticket, str(visit)))
                if since <= at < until:
                    yield contractor

    def _held(self) -> Iterator[datetime]:
        """When the run of decisions that leave a ticket on hold now began, for each such ticket."""
        held = TicketRow.state == "open", TicketRow.outcome == "hold", TicketRow.held_since.is_not(None)
        yield from (
            since for since in self._session.scalars(select(TicketRow.held_since).where(*held)) if since
        )


def _at(kind: str, since: datetime, until: datetime) -> list[ColumnElement[bool]]:
    return [EventRow.kind == kind, EventRow.at >= since, EventRow.at < until]


def _tickets_with(kind: str, since: datetime, until: datetime) -> ScalarSelect[str]:
    return select(EventRow.ticket).where(*_at(kind, since, until)).scalar_subquery()
