"""Whether the log is as it was stored: every event against the chain, the chain against itself."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from sqlalchemy import LargeBinary, and_, func, select, type_coerce
from sqlalchemy.orm import Session

from triage.store.tables.column_types import unpack
from triage.store.tables.derived.chain import FIRST, ChainRow, digest_of, hash_of
from triage.store.tables.models import EventRow, TicketRow
from triage.values.errors import InputError

Seal: TypeAlias = tuple[int, str]
"""The number and the hash, in hexadecimal digits, of an event: noted elsewhere, it holds all before it."""

NOTHING: Seal = 0, FIRST.hex()
_AT_ONCE = 1_000
_COLUMNS = ("ticket", "seq", "kind", "at", "who", "rulebook", "words", "words_digest")


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong with event `seq` of a ticket; `ticket` is empty where the chain itself is."""

    ticket: str
    seq: int
    what: str


def read_seal(text: str) -> Seal:
    """Raises InputError for what `seal_text` does not write."""
    number, _, digits = text.partition(":")
    if not (number.isdecimal() and len(digits) == 64 and set(digits) <= set("0123456789abcdef")):
        raise InputError(f'"{text[:80]}" is no seal; give one as verify or backup said it, such as 12:3f…')
    return int(number), digits


def seal_text(number: int, hash_: bytes) -> str:
    return f"{number}:{hash_.hex()}"


class Verification:
    """Reads the whole log; afterwards `events` and `end` say how many there are and how the chain ends."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.events = 0
        self.end = seal_text(0, FIRST)

    def findings(self, known: Seal = NOTHING) -> Iterator[Finding]:
        """What is wrong, in the order of the chain, then what it does not know.

        Up to the number of `known` the chain must be the one that had this hash then.
        """
        number, before, self.events = 0, FIRST, 0
        forgotten = self._forgotten()
        for link, event in self._links():
            if link.number != number + 1:
                yield Finding("", 0, f"numbers {number + 1} to {link.number - 1} of the chain are missing")
            if event is None:
                yield Finding(link.ticket, link.seq, "missing")
            else:
                self.events += 1
            if event is not None and link.number == number + 1:
                yield from _altered(link, before, event, forgotten.get(link.ticket, 0))
            number, before = link.number, link.hash
            if number == known[0] and before.hex() != known[1]:
                yield Finding("", 0, f"up to number {number} the chain is not the one that was noted")
        self.end = seal_text(number, before)
        if number < known[0]:
            yield Finding("", 0, f"numbers {number + 1} to {known[0]} of the chain are missing")
        yield from self._added()
        yield from self._short()

    def _links(self) -> Iterator[tuple[Any, dict[str, Any] | None]]:
        columns = [getattr(EventRow, name).label(f"e_{name}") for name in _COLUMNS]
        stored = type_coerce(EventRow.payload, LargeBinary).label("stored")
        mine = and_(EventRow.ticket == ChainRow.ticket, EventRow.seq == ChainRow.seq)
        query = (
            select(ChainRow.number, ChainRow.ticket, ChainRow.seq, ChainRow.hash, *columns, stored)
            .join(EventRow, mine, isouter=True)
            .order_by(ChainRow.number)
            .execution_options(yield_per=_AT_ONCE)
        )
        for row in self._session.execute(query):
            held = row._mapping
            there = held["e_ticket"] is not None
            event = {name: held[f"e_{name}"] for name in _COLUMNS} | {"stored": row.stored}
            yield row, event if there else None

    def _forgotten(self) -> dict[str, int]:
        """The last event of each ticket by which words were erased."""
        query = select(EventRow.ticket, func.max(EventRow.seq)).where(EventRow.kind == "forgotten")
        return {row[0]: row[1] for row in self._session.execute(query.group_by(EventRow.ticket))}

    def _added(self) -> Iterator[Finding]:
        if self._session.scalar(select(func.count()).select_from(EventRow)) == self.events:
            return
        known = and_(ChainRow.ticket == EventRow.ticket, ChainRow.seq == EventRow.seq)
        query = select(EventRow.ticket, EventRow.seq).join(ChainRow, known, isouter=True)
        for ticket, seq in self._session.execute(query.where(ChainRow.number.is_(None))):
            yield Finding(ticket, seq, "added")

    def _short(self) -> Iterator[Finding]:
        """Tickets that had more events than the log has now, even where the chain has forgotten them."""
        last = func.coalesce(func.max(EventRow.seq), 0)
        query = select(TicketRow.id, TicketRow.version, last).join(
            EventRow, EventRow.ticket == TicketRow.id, isouter=True
        )
        query = query.group_by(TicketRow.id, TicketRow.version).having(last != TicketRow.version)
        for ticket, version, seq in self._session.execute(query):
            yield Finding(ticket, seq, f"the ticket is at version {version}, its log ends with event {seq}")


def _altered(link: Any, before: bytes, event: dict[str, Any], forgotten: int) -> Iterator[Finding]:
    try:
        text = unpack(event["stored"])
    except (zlib.error, UnicodeDecodeError):
        yield Finding(link.ticket, link.seq, "damaged")
        return
    if hash_of(link.number, before, event, text) != link.hash:
        yield Finding(link.ticket, link.seq, "altered, or not in its place")
        return
    words, digest = event["words"], event["words_digest"]
    if words is None:
        if digest is not None and forgotten < link.seq:
            yield Finding(link.ticket, link.seq, "the caller's words are missing")
    elif digest != digest_of(words):
        yield Finding(link.ticket, link.seq, "the caller's words are altered")
