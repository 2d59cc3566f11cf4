"""Tickets: events are appended and folded into the current state in one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any, cast

from sqlalchemy import CursorResult, exists, insert, select, tuple_, update
from sqlalchemy.orm import Session

from triage.records.authorization import Authorization, Repair
from triage.records.callers_words import Forgotten, apart
from triage.records.danger import Danger, state_from_data
from triage.records.payloads import Closed, Dispatched, Payload, payload_from_data
from triage.records.ticket import Event, Ticket, apply, fold
from triage.store.tables.column_types import PackedText
from triage.store.tables.dangers import OpenDangers
from triage.store.tables.derived.asked import asked_rows
from triage.store.tables.derived.care_months import CareMonths
from triage.store.tables.derived.chain import Chain, kept_apart, whole
from triage.store.tables.derived.closings import Closings, counted
from triage.store.tables.derived.day_sums import DaySumRows
from triage.store.tables.derived.machine_months import MachineMonths
from triage.store.tables.derived.terms import Terms
from triage.store.tables.derived.ticket_filters import matching
from triage.store.tables.models import EventRow, TicketRow, new_row
from triage.store.tables.outbox import Outbox
from triage.values.cursor import cursor_text, read_cursor
from triage.values.dataclass_json import as_data, from_data
from triage.values.errors import NotFoundError
from triage.values.json_text import JSONText
from triage.values.money import money_text, stored_money

_FIELDS = tuple(field.name for field in fields(Ticket) if field.name != "decision")
_EVENT_FIELDS = ("kind", *(field.name for field in fields(Event) if field.name != "payload"))


@dataclass(frozen=True, slots=True)
class Ready:
    """Events about to be stored, with the ticket that they add up to: `state` and `rows` are its rows.

    With `dangers`, what stands open on it is another than before, or on another machine. `moved`: where it is
    new or on another machine, one call more of that (1), and one less of the one before (-1). `asked`:
    questions that were dealt with.
    """

    ticket: Ticket
    state: Mapping[str, Any]
    rows: Sequence[Mapping[str, Any]]
    dangers: bool
    moved: Mapping[str | None, int]
    asked: Sequence[Mapping[str, Any]] = ()


def opening(
    ticket_id: str,
    news: Sequence[Payload],
    *,
    at: datetime,
    who: str,
    rulebook: str,
    elsewhere: Sequence[Danger] = (),
) -> Ready:
    """A new ticket with its first events (the first is `reported`), written out before the database is asked.

    A writer keeps all others waiting; so what can be done before is not done inside its transaction.
    `elsewhere` are dangers that stand open on the machine's other tickets.
    """
    ready = _made_ready(None, ticket_id, news, at, who, rulebook)
    dangers = replace(ready.ticket.dangers, elsewhere=tuple(elsewhere))
    return replace(ready, ticket=replace(ready.ticket, dangers=dangers))


def following(ticket: Ticket, news: Sequence[Payload], *, at: datetime, who: str, rulebook: str) -> Ready:
    """The next events of a ticket as it was read, written out in the same way."""
    return _made_ready(ticket, ticket.id, news, at, who, rulebook)


class TicketMoved(Exception):
    """A ticket is no longer as it was read."""


class Tickets:
    def __init__(self, session: Session) -> None:
        self._session = session

    def get(self, ticket_id: str) -> Ticket:
        """The current state."""
        query = select(TicketRow).where(TicketRow.id == ticket_id)
        row = self._session.scalar(query) if ticket_id.isprintable() else None
        if row is None:
            raise NotFoundError(f'no ticket "{ticket_id}"')
        return self._with_dangers([self._with_decision(_ticket(row), row.decided_seq)])[0]

    def append(
        self, ticket_id: str, news: Sequence[Payload], *, at: datetime, who: str, rulebook: str
    ) -> Ticket:
        """Appends events to a ticket (the first of a new one is `reported`) and stores their fold.

        What is given back is what a later `get` reads: payloads as JSON holds them.
        """
        row = self._session.get(TicketRow, ticket_id)
        ticket = None if row is None else self._with_dangers([_ticket(row)])[0]
        ready = _made_ready(ticket, ticket_id, news, at, who, rulebook)
        if row is None:
            self._session.connection().execute(insert(TicketRow), ready.state)
        else:
            for name, value in ready.state.items():
                setattr(row, name, value)
            self._session.flush()
        self._add(ready)
        return self._with_decision(ready.ticket, None if row is None else row.decided_seq)

    def open(self, ready: Ready) -> bool:
        """Stores a new ticket that `opening` made ready; False, and nothing stored, when its id is taken."""
        connection = self._session.connection()
        added = connection.execute(new_row(self._session)(TicketRow).on_conflict_do_nothing(), ready.state)
        if added.rowcount == 0:
            return False
        self._add(ready)
        return True

    def follow(self, ready: Ready) -> None:
        """Stores what `following` made ready. Raises TicketMoved where the ticket has moved on since."""
        unmoved = TicketRow.id == ready.ticket.id, TicketRow.version == ready.ticket.version - len(ready.rows)
        changed = self._session.execute(update(TicketRow).where(*unmoved).values(**ready.state))
        if cast("CursorResult[Any]", changed).rowcount == 0:
            raise TicketMoved(ready.ticket.id)
        self._add(ready)

    def of_machine(self, serial: str) -> tuple[Ticket, ...]:
        """The machine's tickets that are open or on which a danger stands, oldest first."""
        query = select(TicketRow).where(TicketRow.machine == serial)
        rows = self._session.scalars(query.order_by(TicketRow.opened_at, TicketRow.id)).all()
        found = [row for row in rows if row.state == "open" or row.dangers.get("open")]
        return self._with_dangers([self._with_decision(_ticket(row), row.decided_seq) for row in found])

    def authorized_on(self, serial: str | None, but: str = "") -> tuple[Authorization, ...]:
        """What stands authorized on the machine's open tickets, expired or not; `but` one ticket."""
        query = select(TicketRow.repair).where(TicketRow.machine == serial, TicketRow.state == "open")
        repairs = self._session.scalars(query.where(TicketRow.id != but).order_by(TicketRow.id))
        found = (from_data(Repair, repair).authorization for repair in repairs)
        return tuple(one for one in found if one is not None and one.state == "open")

    def in_care(self, serial: str, contractor: str | None) -> bool:
        """Whether a contractor has an open ticket of the machine."""
        here = TicketRow.machine == serial, TicketRow.state == "open", TicketRow.contractor == contractor
        return bool(self._session.scalar(select(exists().where(*here))))

    def events(self, ticket_id: str, after: int = 0) -> tuple[Event, ...]:
        """The log in order, from the event after number `after`."""
        query = select(EventRow).where(EventRow.ticket == ticket_id, EventRow.seq > after)
        rows = self._session.scalars(query.order_by(EventRow.seq).execution_options(populate_existing=True))
        return tuple(_event(row) for row in rows)

    def forget(self, ticket_id: str, said: Forgotten, *, at: datetime, who: str) -> Ticket:
        """Erases what callers said in the ticket's log, for ever; that it was done is its next event."""
        words = EventRow.ticket == ticket_id, EventRow.words.is_not(None)
        self._session.execute(update(EventRow).where(*words).values(words=None))
        ticket = fold(self.events(ticket_id))
        ready = _made_ready(ticket, ticket_id, [said], at, who, ticket.rulebook)
        self.follow(ready)
        return ready.ticket

    def dispatched_since(self, at: datetime) -> tuple[tuple[str, Dispatched], ...]:
        """Every visit that was scheduled from `at` on with its ticket, in the order in which they came."""
        where = (EventRow.kind == Dispatched.kind, EventRow.at >= at)
        query = select(EventRow.ticket, EventRow.payload).where(*where)
        rows = self._session.execute(query.order_by(EventRow.at, EventRow.ticket, EventRow.seq))
        return tuple((ticket, from_data(Dispatched, payload)) for ticket, payload in rows)

    def page(
        self, filters: Mapping[str, str], cursor: str | None, limit: int
    ) -> tuple[tuple[Ticket, ...], str | None]:
        """Tickets that match all filters, newest first, and the cursor of the next page.

        They come without their `decision`: a page of decisions is long, and a list shows outcomes.
        """
        query = select(TicketRow).where(*matching(filters))
        place = tuple_(TicketRow.opened_at, TicketRow.id)
        if cursor is not None:
            query = query.where(place < read_cursor(cursor, str))
        query = query.order_by(TicketRow.opened_at.desc(), TicketRow.id.desc()).limit(limit + 1)
        tickets = self._with_dangers([_ticket(row) for row in self._session.scalars(query)])
        shown = tickets[:limit]
        return shown, cursor_text(shown[-1].opened_at, shown[-1].id) if len(tickets) > limit else None

    def _add(self, ready: Ready) -> None:
        self._session.connection().execute(insert(EventRow), ready.rows)
        Chain(self._session).add(ready.rows)
        Outbox(self._session).tell_of(ready.rows)
        Closings(self._session).put(ready.ticket, ready.rows)
        DaySumRows(self._session).changed(ready.ticket, ready.rows, ready.asked)
        if any(row["kind"] in ("reported", "detailed", "forgotten") for row in ready.rows):
            Terms(self._session).put(ready.ticket)
        if ready.moved:
            CareMonths(self._session).reported(ready.ticket.opened_at)
            MachineMonths(self._session).count(ready.ticket.opened_at, ready.moved)
        if ready.dangers:
            ticket = ready.ticket
            OpenDangers(self._session).put(ticket.id, ticket.machine, ticket.dangers.open)

    def _with_dangers(self, tickets: Sequence[Ticket]) -> tuple[Ticket, ...]:
        """The tickets with what stands open on the other tickets of their machines."""
        serials = {ticket.machine for ticket in tickets if ticket.machine is not None}
        open_now = OpenDangers(self._session).of_machines(serials) if serials else {}
        return tuple(
            replace(ticket, dangers=replace(ticket.dangers, elsewhere=elsewhere)) if elsewhere else ticket
            for ticket in tickets
            for elsewhere in [
                tuple(one for one in open_now.get(ticket.machine or "", ()) if one.ticket != ticket.id)
            ]
        )

    def _with_decision(self, ticket: Ticket, decided_seq: int | None) -> Ticket:
        if decided_seq is None or ticket.decision is not None:
            return ticket
        query = select(EventRow.payload, EventRow.words)
        row = self._session.execute(query.where(EventRow.ticket == ticket.id, EventRow.seq == decided_seq))
        return replace(ticket, decision=whole(*row.one())["decision"])


def _event(row: EventRow) -> Event:
    payload = payload_from_data(row.kind, whole(row.payload, row.words))
    return Event(row.ticket, row.seq, row.at, row.who, row.rulebook, payload)


def _ticket(row: TicketRow) -> Ticket:
    values = {name: getattr(row, name) for name in _FIELDS}
    values |= {
        "closed": None if row.closed is None else from_data(Closed, row.closed),
        "spent": tuple(stored_money(text) for text in row.spent),
        "acknowledged": tuple(row.acknowledged),
        "repair": from_data(Repair, row.repair),
        "dangers": state_from_data(row.dangers),
    }
    return Ticket(**values)


def _made_ready(
    before: Ticket | None,
    ticket_id: str,
    news: Sequence[Payload],
    at: datetime,
    who: str,
    rulebook: str,
) -> Ready:
    rows: list[Mapping[str, Any]] = []
    decided: dict[str, Any] = {}
    ticket = before
    for number, new in enumerate(news, start=1 if ticket is None else ticket.version + 1):
        told = JSONText.of(as_data(new))
        event = Event(ticket_id, number, at, who, rulebook, payload_from_data(new.kind, told.data))
        ticket = apply(ticket, event)
        if new.kind == "decided":
            decided["decided_seq"] = number
            if before is None or before.outcome is None:
                decided.setdefault("first_outcome", ticket.outcome)
        log, words = apart(new.kind, told.data)
        payload = PackedText.of(log, compressed=new.kind == "decided")
        rows.append(
            {name: getattr(event, name) for name in _EVENT_FIELDS} | {"payload": payload, **kept_apart(words)}
        )
    if ticket is None:
        raise ValueError("nothing to append")
    state = {name: getattr(ticket, name) for name in _FIELDS}
    state |= {
        "closed": None if ticket.closed is None else as_data(ticket.closed),
        "spent": [money_text(amount) for amount in ticket.spent],
        "acknowledged": list(ticket.acknowledged),
        "repair": as_data(ticket.repair),
        "dangers": replace(ticket.dangers, elsewhere=()).as_data(),
        **counted(ticket.report, ticket.closed),
        **decided,
    }
    stood = () if before is None else before.dangers.open
    elsewhere = before is not None and before.machine != ticket.machine
    asked = tuple(asked_rows(before, news, {"ticket": ticket_id, "seq": ticket.version, "at": at}))
    dangers = elsewhere or ticket.dangers.open != stood
    moved = {before.machine: -1, ticket.machine: 1} if before is not None else {ticket.machine: 1}
    return Ready(ticket, state, rows, dangers, moved if before is None or elsewhere else {}, asked)
