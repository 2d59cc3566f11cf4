"""Erasing what callers said, and photos, of closed tickets; the log keeps that it was done, and why.

Names of people are erased from the register of training and from the logs of care and of installations.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from triage.records.callers_words import Forgotten
from triage.store.installs.jobs import Installs
from triage.store.installs.training import Trainings
from triage.store.photos import PhotoRow, Photos
from triage.store.tables.care import Care
from triage.store.tables.idempotency import Responses
from triage.store.tables.models import EventRow, TicketRow
from triage.store.tables.tickets import Tickets
from triage.values.errors import ConflictError
from triage.values.json_text import to_json


@dataclass(frozen=True, slots=True)
class ForgottenNames:
    """In how many trainings, lines of care logs and events of installations a name was erased."""

    trainings: int = 0
    care: int = 0
    installs: int = 0


class Forgetting:
    def __init__(self, session: Session) -> None:
        self._session = session

    def remembered(self, phone: str | None = None, before: datetime | None = None) -> tuple[str, ...]:
        """Tickets with anything to erase, by the number to call back on, or closed since before a time."""
        words = exists().where(EventRow.ticket == TicketRow.id, EventRow.words.is_not(None))
        photos = exists().where(PhotoRow.ticket == TicketRow.id)
        query = select(TicketRow.id, TicketRow.phone).where(words | photos)
        if before is not None:
            query = query.where(TicketRow.state == "closed", TicketRow.changed_at < before)
        if phone is not None:
            query = query.where(TicketRow.phone != "")
        found = self._session.execute(query.order_by(TicketRow.id))
        return tuple(id_ for id_, number in found if phone is None or _digits(number) == _digits(phone))

    def forget(self, ticket_id: str, why: str, at: datetime, who: str) -> tuple[str, ...]:
        """Erases one ticket's; gives the digests of photos whose files are nobody's any more.

        Raises ConflictError where the ticket is open, or a danger stands open on it: then it is still needed.
        """
        tickets = Tickets(self._session)
        ticket = tickets.get(ticket_id)
        if ticket.state == "open":
            raise ConflictError(f"ticket {ticket_id} is open, and may need a call back; close it first")
        if ticket.dangers.open:
            raise ConflictError(f"a danger stands open on ticket {ticket_id}; lift it first")
        count, digests = Photos(self._session).forget(ticket_id)
        tickets.forget(ticket_id, Forgotten(why, count), at=at, who=who)
        Responses(self._session).forget(ticket_id, ticket.opened_at)
        return digests

    def forget_name(self, name: str, today: date) -> ForgottenNames:
        """Erases a person's name, with whatever note or line holds it, and stored responses that do."""
        Responses(self._session).forget(to_json(name)[1:-1], datetime.min.replace(tzinfo=UTC))
        return ForgottenNames(
            Trainings(self._session).forget(name, today),
            Care(self._session).forget(name),
            Installs(self._session).forget(name),
        )

    def forget_old_names(self, before: datetime) -> ForgottenNames:
        """Erases the names of trained people who left a store before, and of those who did care before."""
        left = Trainings(self._session).forget_left(before.date())
        return ForgottenNames(left, Care(self._session).forget_before(before), 0)


def _digits(number: str) -> str:
    return "".join(filter(str.isdigit, number))
