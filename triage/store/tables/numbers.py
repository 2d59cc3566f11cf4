"""What the program's numbers are made of: small rows, picked by the database.

Of tickets and closings only columns and small documents are read. The decisions, which are long, stay where
they are: the database takes single values out of them (`json_extract` in SQLite, `#>>` in PostgreSQL).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Executable, ScalarSelect, String, cast, func, select
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import InstrumentedAttribute, Session

from triage.records.payloads import Approved, Closed
from triage.repairs.period import Approval, Closing, OpenedTicket, Recorded
from triage.store.tables.models import EventRow, TicketRow
from triage.values.dataclass_json import from_data

_OUTCOME = ("decision", "outcome")
_TOP_CAUSE = ("decision", "causes", 0, "cause")
_TOP_CHANCE = ("decision", "causes", 0, "chance")


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
            closings=tuple(self._closings(since, until, since - earlier)),
            approvals=tuple(self._approvals(since, until)),
            sent=tuple(self._sent(since, until)),
            held=tuple(self._held()),
            reopened=self._session.scalar(
                select(func.count()).select_from(EventRow).where(*_at("reopened", since, until))
            )
            or 0,
        )

    def _by_ticket(self, query: Executable) -> dict[str, Any]:
        return {row[0]: row[1] for row in self._session.execute(query)}

    def _text(self, *path: str | int) -> ColumnElement[str | None]:
        return json_text(EventRow.payload, path, self._postgresql)

    def _opened(self, since: datetime, until: datetime) -> Iterator[OpenedTicket]:
        opened = (TicketRow.opened_at >= since, TicketRow.opened_at < until)
        first = (
            select(EventRow.ticket, func.min(EventRow.seq).label("seq"))
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(EventRow.kind == "decided", *opened)
            .group_by(EventRow.ticket)
            .subquery()
        )
        outcomes = self._by_ticket(
            select(EventRow.ticket, self._text(*_OUTCOME)).join(
                first, (first.c.ticket == EventRow.ticket) & (first.c.seq == EventRow.seq)
            )
        )
        query = select(
            TicketRow.id,
            TicketRow.opened_at,
            TicketRow.machine,
            TicketRow.contractor,
            TicketRow.outcome,
            TicketRow.report,
            TicketRow.closed,
            TicketRow.site,
        ).where(*opened)
        for ticket, at, machine, contractor, outcome, report, closed, site in self._session.execute(query):
            close_out = None if closed is None else from_data(Closed, closed)
            checks = tuple(
                (done["check"], "cured_together" if _jointly(done) else done["result"])
                for done in report.get("checks") or ()
            )
            yield OpenedTicket(
                ticket,
                at,
                machine,
                contractor,
                tuple(report.get("symptoms") or ()),
                outcomes.get(ticket),
                outcome,
                checks,
                None if close_out is None else close_out.cause,
                None if close_out is None else close_out.cured_by,
                None if close_out is None else close_out.at,
                site,
            )

    def _closings(self, since: datetime, until: datetime, earliest: datetime) -> Iterator[Closing]:
        closed = _tickets_with("closed", earliest, until)
        scheduled = self._by_ticket(
            select(EventRow.ticket, func.count(self._text("visit").distinct()))
            .where(EventRow.kind == "dispatched", EventRow.ticket.in_(closed))
            .group_by(EventRow.ticket)
        )
        likeliest = (
            select(EventRow.ticket, self._text(*_TOP_CAUSE), self._text(*_TOP_CHANCE))
            .join(TicketRow, (TicketRow.id == EventRow.ticket) & (TicketRow.decided_seq == EventRow.seq))
            .where(EventRow.ticket.in_(_tickets_with("closed", since, until)))
        )
        top = {ticket: (cause, chance) for ticket, cause, chance in self._session.execute(likeliest)}
        query = (
            select(EventRow, TicketRow.state, TicketRow.opened_at, TicketRow.machine, TicketRow.contractor)
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(EventRow.kind == "closed", EventRow.ticket.in_(closed))
        )
        rows = self._session.execute(query).all()
        last: dict[str, int] = defaultdict(int)
        for event, *_ in rows:
            last[event.ticket] = max(last[event.ticket], event.seq)
        for event, state, opened_at, machine, contractor in rows:
            close_out = from_data(Closed, event.payload)
            top_cause, top_chance = top.get(event.ticket, (None, None))
            yield Closing(
                ticket=event.ticket,
                seq=event.seq,
                at=event.at,
                opened_at=opened_at,
                machine=close_out.machine or machine,
                contractor=close_out.contractor or contractor,
                cause=close_out.cause,
                cured_by=close_out.cured_by,
                visited=close_out.visited,
                cost=close_out.cost.amount,
                outside=close_out.bill.not_agreed,
                stands=state == "closed" and event.seq == last[event.ticket],
                scheduled=scheduled.get(event.ticket, 0),
                top_cause=top_cause,
                top_chance=None if top_chance is None else float(top_chance),
            )

    def _approvals(self, since: datetime, until: datetime) -> Iterator[Approval]:
        query = select(EventRow).where(*_at("approved", since, until))
        for event in self._session.scalars(query):
            said = from_data(Approved, event.payload)
            if said.yes and said.amount is not None:
                yield Approval(event.ticket, event.seq, event.at, said.amount.amount)

    def _sent(self, since: datetime, until: datetime) -> Iterator[str | None]:
        """The contractor of each visit that was scheduled for the first time in the period."""
        query = (
            select(EventRow.ticket, EventRow.at, self._text("visit"), self._text("contractor"))
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
        query = (
            select(EventRow.ticket, EventRow.at, self._text(*_OUTCOME))
            .join(TicketRow, TicketRow.id == EventRow.ticket)
            .where(TicketRow.state == "open", TicketRow.outcome == "hold", EventRow.kind == "decided")
            .order_by(EventRow.ticket, EventRow.seq)
        )
        began: dict[str, datetime | None] = {}
        for ticket, at, outcome in self._session.execute(query):
            began[ticket] = (began.get(ticket) or at) if outcome == "hold" else None
        yield from (at for at in began.values() if at is not None)


def json_text(
    column: InstrumentedAttribute[Any], path: tuple[str | int, ...], postgresql: bool
) -> ColumnElement[Any]:
    """A single value out of a document kept as text, as text or as its number."""
    if postgresql:
        found: ColumnElement[Any] = cast(column, JSONB)[tuple(str(step) for step in path)].astext
        return found
    steps = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return func.json_extract(column, f"${steps}", type_=String)


def _at(kind: str, since: datetime, until: datetime) -> list[ColumnElement[bool]]:
    return [EventRow.kind == kind, EventRow.at >= since, EventRow.at < until]


def _tickets_with(kind: str, since: datetime, until: datetime) -> ScalarSelect[str]:
    return select(EventRow.ticket).where(*_at(kind, since, until)).scalar_subquery()


def _jointly(done: Mapping[str, Any]) -> bool:
    """Whether several checks done together fixed it: of none of them is known that it did."""
    return done["result"] == "cured" and bool(done.get("together"))
