"""By what of its own a ticket is searched: its number, who called and the phone, as an index of the database.

A term stands there with each of its endings, so that what begins one of them stands somewhere in the term. A
phone's digits follow a number sign.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import (
    ColumnElement,
    ForeignKey,
    Function,
    Select,
    String,
    delete,
    func,
    insert,
    or_,
    select,
    union,
)
from sqlalchemy.orm import InstrumentedAttribute, Mapped, Session, mapped_column

from triage.records.ticket import Ticket
from triage.store.tables.models import Base, MachineRow, SiteRow, TicketRow

MOST_WORDS, LEAST_DIGITS, LEAST_OF_ID, LONGEST = 6, 4, 3, 24
LAST = "\U0010ffff"
"""Comes after whatever may follow in a term; terms are compared sign by sign."""
MANY_SITES = 200
"""A word that stands at so many sites picks no few tickets: then the list is gone through in its order."""


class TermRow(Base):
    __tablename__ = "ticket_terms"
    __table_args__ = ({"sqlite_with_rowid": False},)

    term: Mapped[str] = mapped_column(
        String(LONGEST).with_variant(String(LONGEST, collation="C"), "postgresql"), primary_key=True
    )
    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True, index=True)


class Terms:
    def __init__(self, session: Session) -> None:
        self._session = session

    def put(self, ticket: Ticket) -> None:
        """Stores by what a ticket is found now, and nothing else."""
        connection = self._session.connection()
        connection.execute(delete(TermRow).where(TermRow.ticket == ticket.id))
        terms = {*terms_of(ticket.id, ticket.caller, ticket.phone)}
        connection.execute(insert(TermRow), [{"term": term, "ticket": ticket.id} for term in sorted(terms)])

    def few(self, word: str) -> Select[tuple[str]] | None:
        """The tickets in which a word stands, also in the names of store and machine; None for too many."""
        digits = _digits(word)
        sites = [column.icontains(word, autoescape=True) for column in _SITES]
        if len(digits) >= LEAST_DIGITS:
            sites.append(_plain(SiteRow.phone).contains(digits))
        at = self._session.scalars(select(SiteRow.id).where(or_(*sites)).limit(MANY_SITES + 1)).all()
        if len(at) > MANY_SITES:
            return None
        machines = select(MachineRow.serial).where(MachineRow.serial.icontains(word, autoescape=True))
        begins = [word.lower()[:LONGEST], *([f"#{digits}"[:LONGEST]] if len(digits) >= LEAST_DIGITS else [])]
        found = union(
            *(select(TermRow.ticket).where(TermRow.term >= one, TermRow.term < one + LAST) for one in begins),
            select(TicketRow.id).where(TicketRow.site.in_(at)),
            select(TicketRow.id).where(TicketRow.machine.in_(machines)),
        ).subquery()
        return select(found.c[0])

    @staticmethod
    def standing(word: str) -> ColumnElement[bool]:
        """The same as a condition on a ticket and its site, looked at one by one."""
        texts = [column.icontains(word, autoescape=True) for column in (*_OWN, *_SITES)]
        digits = _digits(word)
        if len(digits) >= LEAST_DIGITS:
            texts += [_plain(column).contains(digits) for column in (TicketRow.phone, SiteRow.phone)]
        return or_(*texts)


_SITES = (SiteRow.id, SiteRow.name, SiteRow.town)
_OWN = (TicketRow.id, TicketRow.caller, TicketRow.machine)


def _plain(column: InstrumentedAttribute[str]) -> Function[str]:
    return func.replace(column, "-", "")


def _digits(word: str) -> str:
    return "".join(filter(str.isdigit, word))


def terms_of(ticket: str, caller: str, phone: str) -> Iterator[str]:
    yield from _endings(ticket.lower(), LEAST_OF_ID)
    for word in caller.lower().split():
        yield from _endings(word, 1)
    yield from (f"#{ending}"[:LONGEST] for ending in _endings(_digits(phone), LEAST_DIGITS))


def _endings(word: str, least: int) -> Iterator[str]:
    yield from (word[start : start + LONGEST] for start in range(len(word) - least + 1))
