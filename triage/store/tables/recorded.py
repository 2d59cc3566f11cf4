"""Recorded decisions in the order of their tickets, read in pieces: what a candidate rulebook is tried on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeAlias

from sqlalchemy import ColumnElement, func, select, tuple_
from sqlalchemy.orm import Session

from triage.store.tables.models import EventRow, TicketRow

Key: TypeAlias = tuple[str, int]
"""(ticket, number of its event)."""

_AT_ONCE = 200
_COLUMNS = (EventRow.ticket, EventRow.seq, EventRow.rulebook, EventRow.payload)


@dataclass(frozen=True, slots=True)
class RecordedDecision:
    """A `decided` event: what was decided, and from what. `last` is true for its ticket's newest decision.

    `closed` is the close-out of a ticket that is closed now, else None.
    """

    key: Key
    rulebook: str
    decision: Any
    inputs: Any
    last: bool
    closed: Any | None


class RecordedDecisions:
    def __init__(self, session: Session) -> None:
        self._session = session

    def keys(self, since: datetime | None, until: datetime) -> Iterator[Key]:
        """Of all decisions made from `since` until `until`, by ticket and number."""
        query = select(EventRow.ticket, EventRow.seq).where(*_made(since, until))
        query = query.order_by(EventRow.ticket, EventRow.seq).execution_options(yield_per=10_000)
        return ((row.ticket, row.seq) for row in self._session.execute(query))

    def between(
        self, first: Key, last: Key, since: datetime | None, until: datetime
    ) -> Iterator[RecordedDecision]:
        """Those from key `first` to key `last`, both included, in order."""
        place = tuple_(EventRow.ticket, EventRow.seq)
        query = (
            select(*_COLUMNS, TicketRow.decided_seq, TicketRow.closed)
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(place >= first, place <= last, *_made(since, until, by_index=False))
            .order_by(EventRow.ticket, EventRow.seq)
            .execution_options(yield_per=_AT_ONCE)
        )
        for ticket, seq, rulebook, payload, decided_seq, closed in self._session.execute(query):
            last_one = seq == decided_seq
            yield RecordedDecision(
                (ticket, seq), rulebook, payload["decision"], payload["inputs"], last_one, closed
            )

    def closed(self, since: datetime | None) -> Iterator[RecordedDecision]:
        """The last decisions of the tickets that are closed now, closed from `since` on, by ticket."""
        query = (
            select(EventRow, TicketRow.closed)
            .join(TicketRow, (TicketRow.id == EventRow.ticket) & (TicketRow.decided_seq == EventRow.seq))
            .where(*_closed(since))
            .order_by(EventRow.ticket)
            .execution_options(yield_per=_AT_ONCE)
        )
        for event, closed in self._session.execute(query):
            payload = event.payload
            yield RecordedDecision(
                (event.ticket, event.seq),
                event.rulebook,
                payload["decision"],
                payload["inputs"],
                True,
                closed,
            )
            self._session.expunge(event)

    def first_outcomes(self, since: datetime | None) -> Iterator[tuple[str, str]]:
        """(ticket, outcome of its first decision) of the tickets that `closed` gives, by ticket."""
        first = (
            select(EventRow.ticket, func.min(EventRow.seq).label("seq"))
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(EventRow.kind == "decided", *_closed(since))
            .group_by(EventRow.ticket)
            .subquery()
        )
        query = (
            select(EventRow.ticket, EventRow.payload)
            .join(first, (first.c.ticket == EventRow.ticket) & (first.c.seq == EventRow.seq))
            .order_by(EventRow.ticket)
            .execution_options(yield_per=_AT_ONCE)
        )
        for ticket, payload in self._session.execute(query):
            yield ticket, payload["decision"]["outcome"]


def _closed(since: datetime | None) -> list[ColumnElement[bool]]:
    wanted = [TicketRow.state == "closed"]
    return wanted if since is None else [*wanted, TicketRow.changed_at >= since]


def _made(since: datetime | None, until: datetime, by_index: bool = True) -> list[ColumnElement[bool]]:
    """Decisions of a time. Without `by_index` the database is kept from looking for the kind in its index,
    which holds every decision there is: the caller has a narrower way.
    """
    kind = EventRow.kind if by_index else EventRow.kind + ""
    wanted = [kind == "decided", EventRow.at <= until]
    return wanted if since is None else [*wanted, EventRow.at >= since]
