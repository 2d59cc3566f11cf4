"""Close-outs as narrow rows beside the log, written with it: what claims and spend are summed from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeAlias

from sqlalchemy import (
    ColumnElement,
    Float,
    ForeignKey,
    Index,
    String,
    and_,
    func,
    insert,
    select,
    tuple_,
    update,
)
from sqlalchemy.orm import InstrumentedAttribute, Mapped, Session, mapped_column

from triage.records.bill import PROGRAM
from triage.records.payloads import Closed
from triage.records.report import PastRepair
from triage.records.ticket import Ticket
from triage.repairs.exports import NO_FAULT_FOUND, NOT_ON_RECORD, SpendBy, Spent
from triage.repairs.scores import decision_score
from triage.store.tables.column_types import ExactAmount, ExactJSON, json_text
from triage.store.tables.models import Base, EventRow, RepairRow, TicketRow, on_postgresql
from triage.values.dataclass_json import from_data

Place: TypeAlias = tuple[datetime, str, int]
"""Where a list of closings goes on: closed at, ticket, seq of the one before."""


class ClosingRow(Base):
    """`at` is when it was written down, `closed_at` when it was done. `stands`: it is the ticket's last.

    `scheduled` counts the ticket's visits; `top_cause` is what its last decision ranked first.
    `claims`: there is something that warranty pays. `log_loss`, `brier` and `rules` score that decision;
    `nte` is what it said may be spent on the ticket without asking.
    """

    __tablename__ = "closings"
    __table_args__ = (
        Index("ix_closings_at", "at"),
        Index("ix_closings_closed_at", "closed_at"),
        Index("ix_closings_claims_closed_at_ticket_seq", "claims", "closed_at", "ticket", "seq"),
        Index(
            "ix_closings_contractor_claims_closed_at", "contractor", "claims", "closed_at", "ticket", "seq"
        ),
        Index("ix_closings_machine_at", "machine", "at", "ticket", "contractor"),
    )

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    opened_at: Mapped[datetime]
    closed_at: Mapped[datetime]
    machine: Mapped[str | None] = mapped_column(String(64))
    contractor: Mapped[str | None] = mapped_column(String(64))
    cause: Mapped[str | None] = mapped_column(String(64))
    cured_by: Mapped[str] = mapped_column(String(64))
    top_cause: Mapped[str | None] = mapped_column(String(64))
    top_chance: Mapped[float | None] = mapped_column(Float)
    visited: Mapped[bool]
    claims: Mapped[bool]
    stands: Mapped[bool]
    scheduled: Mapped[int]
    total: Mapped[Decimal] = mapped_column(ExactAmount)
    spent: Mapped[Decimal] = mapped_column(ExactAmount)
    outside: Mapped[Decimal] = mapped_column(ExactAmount)
    log_loss: Mapped[float | None] = mapped_column(Float)
    brier: Mapped[float | None] = mapped_column(Float)
    rules: Mapped[Any | None] = mapped_column(ExactJSON)
    nte: Mapped[Decimal | None] = mapped_column(ExactAmount)


class Closings:
    def __init__(self, session: Session) -> None:
        self._session = session

    def put(self, ticket: Ticket, rows: Sequence[Mapping[str, Any]]) -> None:
        """Stores the close-outs among a ticket's new events; one that was opened again stands no more."""
        mine = ClosingRow.ticket == ticket.id
        for row in rows:
            if row["kind"] in ("closed", "reopened"):
                self._session.execute(update(ClosingRow).where(mine, ClosingRow.stands).values(stands=False))
            if row["kind"] == "closed":
                closed = from_data(Closed, row["payload"].data)
                self._session.connection().execute(insert(ClosingRow), self._row(ticket, row, closed))

    def _row(self, ticket: Ticket, row: Mapping[str, Any], closed: Closed) -> dict[str, Any]:
        of_ticket = EventRow.ticket == ticket.id
        visit = json_text(EventRow.payload, ("visit",), on_postgresql(self._session))
        visits = select(func.count(visit.distinct())).where(of_ticket, EventRow.kind == "dispatched")
        decided_seq = select(TicketRow.decided_seq).where(TicketRow.id == ticket.id).scalar_subquery()
        decided = self._session.scalar(select(EventRow.payload).where(of_ticket, EventRow.seq == decided_seq))
        decision: Mapping[str, Any] = {} if decided is None else decided["decision"]
        top: Mapping[str, Any] = next(iter(decision.get("causes") or ()), {})
        score = None if closed.cause is None else decision_score(decision, closed.cause)
        return {
            "ticket": ticket.id,
            "seq": row["seq"],
            "at": row["at"],
            "opened_at": ticket.opened_at,
            "closed_at": closed.at,
            "machine": closed.machine or ticket.machine,
            "contractor": closed.contractor or ticket.contractor,
            "cause": closed.cause,
            "cured_by": closed.cured_by,
            "top_cause": top.get("cause"),
            "top_chance": None if top.get("chance") is None else float(top["chance"]),
            "visited": closed.visited,
            "claims": has_claims(closed),
            "stands": True,
            "scheduled": self._session.scalar(visits) or 0,
            "total": closed.bill.total.amount,
            "spent": closed.cost.amount,
            "outside": closed.bill.not_agreed,
            "log_loss": None if score is None else score.log_loss,
            "brier": None if score is None else score.brier,
            "rules": None if score is None else score.rules,
            "nte": _limit(decision),
        }

    def claims(
        self,
        since: datetime | None,
        until: datetime | None,
        contractor: str | None,
        after: Place | None,
        limit: int,
    ) -> tuple[tuple[Place, Closed], ...]:
        """The next closings that warranty pays something of, oldest first; `until` itself left out."""
        place = tuple_(ClosingRow.closed_at, ClosingRow.ticket, ClosingRow.seq)
        where = [ClosingRow.claims.is_(True), *_within(ClosingRow.closed_at, since, until)]
        if contractor is not None:
            where.append(ClosingRow.contractor == contractor)
        if after is not None:
            where.append(place > after)
        query = (
            select(ClosingRow.closed_at, ClosingRow.ticket, ClosingRow.seq, EventRow.payload)
            .join(EventRow, and_(EventRow.ticket == ClosingRow.ticket, EventRow.seq == ClosingRow.seq))
            .where(*where)
            .order_by(ClosingRow.closed_at, ClosingRow.ticket, ClosingRow.seq)
            .limit(limit)
        )
        rows = self._session.execute(query)
        return tuple(((at, ticket, seq), from_data(Closed, payload)) for at, ticket, seq, payload in rows)

    def spent(
        self, by: SpendBy, since: datetime | None, until: datetime | None, contractor: str | None
    ) -> Iterator[Spent]:
        """What closings with a visit or a cost came to, summed by the database; `until` itself left out."""
        columns: Mapping[SpendBy, InstrumentedAttribute[str | None]] = {
            "contractor": ClosingRow.contractor,
            "machine": ClosingRow.machine,
            "cause": ClosingRow.cause,
        }
        sums = (ClosingRow.total, ClosingRow.spent, ClosingRow.outside)
        counts = ClosingRow.visited | (ClosingRow.spent != Decimal(0))
        where = [counts, *_within(ClosingRow.closed_at, since, until)]
        if contractor is not None:
            where.append(ClosingRow.contractor == contractor)
        query = select(columns[by], func.count(), *(func.sum(each) for each in sums)).where(*where)
        nobody = NO_FAULT_FOUND if by == "cause" else NOT_ON_RECORD
        for key, *sums_of in self._session.execute(query.group_by(columns[by])):
            yield Spent(key or nobody, *sums_of)

    def repairs_without(
        self, since: datetime | None, until: datetime | None
    ) -> Iterator[tuple[str, PastRepair]]:
        """Past repairs with their machine's serial that no closing stands for, which were loaded."""
        closing = and_(ClosingRow.ticket == RepairRow.ticket, ClosingRow.closed_at == RepairRow.at)
        query = (
            select(RepairRow.serial, RepairRow.at, RepairRow.ticket, RepairRow.cause, RepairRow.cost)
            .join(ClosingRow, closing, isouter=True)
            .where(ClosingRow.ticket.is_(None), *_within(RepairRow.at, since, until))
        )
        for serial, at, ticket, cause, cost in self._session.execute(query):
            yield serial, PastRepair(at, ticket, cause, cost)


def _limit(decision: Mapping[str, Any]) -> Decimal | None:
    limit = decision.get("limit")
    return None if limit is None else Decimal(limit["nte"])


def has_claims(closed: Closed) -> bool:
    lines = closed.bill.lines
    return any(line.paid_by != PROGRAM for line in lines) or bool(closed.bill.deductible.amount)


def _within(
    column: InstrumentedAttribute[datetime], since: datetime | None, until: datetime | None
) -> list[ColumnElement[bool]]:
    return [*([] if since is None else [column >= since]), *([] if until is None else [column < until])]


def counted(report: Mapping[str, Any], closed: Closed | None) -> dict[str, str | None]:
    """The columns of a ticket that numbers are counted by; names with blanks between."""
    done = (f"{one['check']}={_result(one)}" for one in report.get("checks") or ())
    return {
        "symptoms": " ".join(dict.fromkeys(report.get("symptoms") or ())),
        "checks": " ".join(done),
        "cause": None if closed is None else closed.cause,
        "cured_by": None if closed is None else closed.cured_by,
    }


def _result(done: Mapping[str, Any]) -> str:
    """Of several checks done together that fixed it, none is known to have done so."""
    return "cured_together" if done["result"] == "cured" and done.get("together") else str(done["result"])
