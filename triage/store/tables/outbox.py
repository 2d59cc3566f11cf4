"""What is to be told to the outside, written with what it tells of, and who listens.

A row is an e-mail, or one event for one listener. It is taken for a while by whoever delivers it, and comes
back when nothing was heard of that; only what was delivered is done.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ForeignKey, Index, String, func, insert, or_, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.store.tables.column_types import ExactJSON
from triage.store.tables.models import Base, EventRow
from triage.values.errors import InputError, NotFoundError

TAKEN = timedelta(minutes=5)
"""How long one that delivers a row keeps it from the others; longer than any delivery takes."""


class ListenerRow(Base):
    """A program that is told of every event. The secret signs what it is sent, so it is kept as it is."""

    __tablename__ = "listeners"

    name: Mapped[str] = mapped_column(String(64), primary_key=True)
    url: Mapped[str]
    secret: Mapped[str]
    created_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]


class OutboxRow(Base):
    """`mail` is dropped once it was delivered: a link that is valid once may stand in it."""

    __tablename__ = "outbox"
    __table_args__ = (Index("ix_outbox_delivered_at_next_at", "delivered_at", "next_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    listener: Mapped[str | None] = mapped_column(ForeignKey("listeners.name"))
    ticket: Mapped[str | None] = mapped_column(ForeignKey("tickets.id"))
    seq: Mapped[int | None]
    mail: Mapped[Any | None] = mapped_column(ExactJSON)
    made_at: Mapped[datetime]
    next_at: Mapped[datetime]
    attempts: Mapped[int]
    delivered_at: Mapped[datetime | None]
    error: Mapped[str]


@dataclass(frozen=True, slots=True)
class Listener:
    name: str
    url: str
    secret: str
    created_at: datetime
    removed_at: datetime | None


@dataclass(frozen=True, slots=True)
class Telling:
    """One row to deliver: `mail` is {to, subject, text}; else `listener` is told of the event `kind`.

    `attempts` failed before.
    """

    id: int
    ticket: str | None
    made_at: datetime
    attempts: int
    mail: Mapping[str, str] | None = None
    listener: Listener | None = None
    seq: int | None = None
    kind: str = ""
    at: datetime | None = None


class Outbox:
    def __init__(self, session: Session) -> None:
        self._session = session

    def tell_of(self, events: Sequence[Mapping[str, Any]]) -> None:
        """One row for each listener and event, in the transaction that stores the events."""
        listening = select(ListenerRow.name).where(ListenerRow.removed_at.is_(None))
        rows = [
            _row(event["ticket"], event["at"], listener=name, seq=event["seq"])
            for name in self._session.scalars(listening)
            for event in events
        ]
        if rows:
            self._session.connection().execute(insert(OutboxRow), rows)

    def write_to(self, to: str, subject: str, text: str, ticket: str | None, at: datetime) -> None:
        """An e-mail, about a ticket or none."""
        mail = {"to": to, "subject": subject, "text": text}
        self._session.connection().execute(insert(OutboxRow), [_row(ticket, at, mail=mail)])

    def due(self, now: datetime) -> bool:
        """Whether anything waits to be delivered now."""
        return (
            self._session.scalar(_waiting(OutboxRow.id).where(OutboxRow.next_at <= now).limit(1)) is not None
        )

    def take(self, now: datetime, most: int) -> tuple[Telling, ...]:
        """The next ones that are due, oldest first; for a while they are nobody else's."""
        query = _waiting(OutboxRow).where(OutboxRow.next_at <= now)
        found = self._session.scalars(query.order_by(OutboxRow.next_at, OutboxRow.id).limit(most)).all()
        taken = []
        for row in found:
            row.next_at = now + TAKEN
            heard = None if row.listener is None else self._session.get_one(ListenerRow, row.listener)
            event = None if row.seq is None else self._session.get_one(EventRow, (row.ticket, row.seq))
            taken.append(
                Telling(
                    row.id,
                    row.ticket,
                    row.made_at,
                    row.attempts,
                    row.mail,
                    None if heard is None else heard.as_record(Listener),
                    row.seq,
                    "" if event is None else event.kind,
                    None if event is None else event.at,
                )
            )
        self._session.flush()
        return tuple(taken)

    def delivered(self, id_: int, at: datetime) -> None:
        row = self._session.get_one(OutboxRow, id_)
        row.delivered_at, row.mail, row.error = at, None, ""
        self._session.flush()

    def failed(self, id_: int, error: str, next_at: datetime) -> None:
        """It is tried again at `next_at`."""
        row = self._session.get_one(OutboxRow, id_)
        row.attempts, row.error, row.next_at = row.attempts + 1, error[:500], next_at
        self._session.flush()

    def put_off(self, id_: int, next_at: datetime) -> None:
        """It was not tried, and is at `next_at`."""
        self._session.get_one(OutboxRow, id_).next_at = next_at
        self._session.flush()

    def waiting(self) -> tuple[tuple[str | None, int, datetime, str], ...]:
        """What was not delivered yet, by listener (None: e-mail): how many, since when, the last error."""
        query = _waiting(
            OutboxRow.listener, func.count(), func.min(OutboxRow.made_at), func.max(OutboxRow.error)
        ).group_by(OutboxRow.listener)
        return tuple(
            (name, count, since, error) for name, count, since, error in self._session.execute(query)
        )

    def listeners(self) -> tuple[Listener, ...]:
        rows = self._session.scalars(select(ListenerRow).order_by(ListenerRow.created_at, ListenerRow.name))
        return tuple(row.as_record(Listener) for row in rows)

    def add_listener(self, name: str, url: str, secret: str, at: datetime) -> None:
        """A program that is told of every event from now on. A name is used once."""
        if self._session.get(ListenerRow, name) is not None:
            raise InputError(f'a listener named "{name}" exists already; choose another name')
        self._session.add(ListenerRow(name=name, url=url, secret=secret, created_at=at, removed_at=None))
        self._session.flush()

    def remove_listener(self, name: str, at: datetime) -> None:
        """It is told no more; what waits for it is not sent."""
        row = self._session.get(ListenerRow, name)
        if row is None:
            raise NotFoundError(f'no listener is named "{name}"; `barrelwise webhook list` shows them')
        row.removed_at = row.removed_at or at
        self._session.flush()


def _row(ticket: str | None, at: datetime, **given: Any) -> dict[str, Any]:
    none = {"listener": None, "seq": None, "mail": None, "delivered_at": None}
    return {**none, "ticket": ticket, "made_at": at, "next_at": at, "attempts": 0, "error": "", **given}


def _waiting(*columns: Any) -> Any:
    heard = OutboxRow.listener.in_(select(ListenerRow.name).where(ListenerRow.removed_at.is_(None)))
    return select(*columns).where(OutboxRow.delivered_at.is_(None), or_(OutboxRow.listener.is_(None), heard))
