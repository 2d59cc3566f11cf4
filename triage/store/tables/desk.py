"""What the agents' desk reads: the list of open tickets by what they wait for, and all machines to search."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any, Literal, TypeAlias, get_args

from sqlalchemy import ColumnElement, String, case, delete, func, null, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.inputs.machine_search import ListedMachine
from triage.records.danger import Danger, state_from_data
from triage.records.payloads import payload_from_data
from triage.records.ticket import Event
from triage.repairs.period import Period
from triage.store.tables.dangers import OpenDangers
from triage.store.tables.derived.chain import whole
from triage.store.tables.derived.counted import OF_PART, Measures, by_measures, counted_in, of_group
from triage.store.tables.derived.terms import Terms
from triage.store.tables.derived.ticket_filters import matching
from triage.store.tables.models import Base, EventRow, MachineRow, SiteRow, TicketRow, new_row
from triage.values.time_zones import UTC_NAME

View: TypeAlias = Literal[
    "open", "call_back", "parked", "due", "held", "solved", "unfinished", "closed", "all"
]
"""What tickets wait for; `unfinished` are those that are open or only have to be closed."""
VIEWS: tuple[View, ...] = get_args(View)

Filters: TypeAlias = Mapping[str, str]
"""`outcome` as it stands, those of OF_GROUP as numbers are told by; `words` of a caller, phone, store,
machine or ticket; `counted` a number, with the days `since` and `until` of its period. `care` is overdue or
nothing_overdue as the machine began the month of `since`."""


OF_GROUP = ("site", "contractor", "machine", "first_outcome", "model", "cause", *OF_PART)
NO_FILTERS: Filters = {}
MOST_WORDS = 6
_NOT_READ: Mapping[str, Any] = {"decision": {}, "inputs": {}}


@dataclass(frozen=True, slots=True)
class OpenTicket:
    """A line of the list. Times are UTC; `timezone` is the site's, that of most sites where there is none.

    `dangers` are the cautions whose dangers stand open on the ticket or its machine. `stage` is the last that
    happened of a visit: `dispatched`, `visited`, or empty. `solved`: a check fixed it. `phone` is the number
    to call back on, the site's where none was told. `sent_by` is who comes instead of the contractor.
    """

    id: str
    symptoms: tuple[str, ...]
    machine: str | None
    site: str | None
    site_name: str
    town: str
    timezone: str
    outcome: str | None
    opened_at: datetime
    changed_at: datetime
    due_at: datetime | None
    parked_until: datetime | None
    priority: int | None = None
    skill: str | None = None
    dangers: tuple[str, ...] = ()
    stage: str = ""
    solved: bool = False
    phone: str = ""
    caller: str = ""
    state: str = "open"
    sent_by: str = ""


class Desk:
    def __init__(self, session: Session) -> None:
        self._session = session

    def listed(
        self,
        view: View,
        now: datetime,
        filters: Filters = NO_FILTERS,
        offset: int = 0,
        limit: int = 25,
        by: Measures | None = None,
    ) -> tuple[OpenTicket, ...]:
        """Tickets: `call_back` and `parked` by their time, `due` by the visit's, else newest first.

        `by` is needed where it is filtered by care or commissioning.
        """
        order = {
            "call_back": (TicketRow.parked_until, TicketRow.id),
            "parked": (TicketRow.parked_until, TicketRow.id),
            "due": (TicketRow.due_at, TicketRow.id),
        }.get(view, (TicketRow.opened_at.desc(), TicketRow.id.desc()))
        # The place in the list is found by an index alone; rows are read of what is shown.
        found = self._found(select(TicketRow.id), filters, by).where(*_waiting(view, now))
        shown = self._session.scalars(found.order_by(*order).offset(offset).limit(limit)).all()
        query = select(TicketRow, SiteRow).join(SiteRow, isouter=True).where(TicketRow.id.in_(shown))
        place = {ticket: number for number, ticket in enumerate(shown)}
        rows = sorted(
            ((row, at) for row, at in self._session.execute(query)), key=lambda each: place[each[0].id]
        )
        serials = {row.machine for row, _ in rows if row.machine is not None}
        standing = OpenDangers(self._session).of_machines(serials) if serials else {}
        stages, home = self._stages([row.id for row, _ in rows]), self.home_zone()
        return tuple(
            replace(_listed(row, at, standing.get(row.machine or "", ()), home), stage=stages.get(row.id, ""))
            for row, at in rows
        )

    def _stages(self, tickets: Sequence[str]) -> Mapping[str, str]:
        """The last event of a visit, by ticket; none where nobody was sent."""
        query = select(EventRow.ticket, EventRow.kind).order_by(EventRow.seq)
        query = query.where(EventRow.ticket.in_(tickets), EventRow.kind.in_(("dispatched", "visited")))
        return {row.ticket: row.kind for row in self._session.execute(query)} if tickets else {}

    def counts(
        self, now: datetime, filters: Filters = NO_FILTERS, by: Measures | None = None
    ) -> Mapping[View, int]:
        """How many tickets each view holds."""
        of_open = [view for view in VIEWS if view not in ("closed", "all")]
        parts = [func.count().filter(*_waiting(view, now)) for view in of_open]
        query = self._found(select(*parts).select_from(TicketRow), filters, by)
        counted = dict(
            zip(of_open, self._session.execute(query.where(*_waiting("unfinished", now))).one(), strict=True)
        )
        closed = self._found(select(func.count()).select_from(TicketRow), filters, by)
        counted["closed"] = self._session.scalar(closed.where(*_waiting("closed", now))) or 0
        counted["all"] = counted["unfinished"] + counted["closed"]
        return counted

    def _found(self, query: Any, filters: Filters, by: Measures | None) -> Any:
        """Only what matches: words may stand in any of the texts, in any order; of a number its digits."""
        where = [of_group(name, filters[name]) for name in OF_GROUP if filters.get(name)]
        where += matching({name: filters[name] for name in ("outcome", "danger") if filters.get(name)})
        if filters.get("counted"):
            sqlite = self._session.get_bind().dialect.name == "sqlite"
            days = (date.fromisoformat(filters[name]) for name in ("since", "until"))
            where.append(counted_in(filters["counted"], Period(*days), sqlite))
        where += [] if by is None else by_measures(by, filters)
        terms, joined = Terms(self._session), False
        for word in filters.get("words", "").split()[:MOST_WORDS]:
            few = terms.few(word)
            joined = joined or few is None
            where.append(terms.standing(word) if few is None else TicketRow.id.in_(few))
        return (query.join(SiteRow, isouter=True) if joined else query).where(*where)

    def by_state(self) -> Mapping[tuple[str, str], int]:
        """How many tickets there are of each (state, outcome)."""
        query = select(TicketRow.state, TicketRow.outcome, func.count()).group_by(
            TicketRow.state, TicketRow.outcome
        )
        return {(state, outcome or ""): count for state, outcome, count in self._session.execute(query)}

    def open_on_machine(self, serial: str) -> str | None:
        """The newest open ticket of a machine."""
        # Picked here, so that the database looks by machine rather than along all open tickets.
        query = select(TicketRow.opened_at, TicketRow.id, TicketRow.state).where(TicketRow.machine == serial)
        rows = [(at, id_) for at, id_, state in self._session.execute(query) if state == "open"]
        return max(rows)[1] if rows else None

    def symptoms_lately(self, most: int) -> Counter[str]:
        """How often each symptom was reported in the newest tickets, at most so many."""
        query = select(TicketRow.report).order_by(TicketRow.opened_at.desc(), TicketRow.id.desc()).limit(most)
        reports = self._session.scalars(query)
        return Counter(symptom for report in reports for symptom in report.get("symptoms") or ())

    def log(self, ticket_id: str) -> Sequence[Event]:
        """The ticket's events in order; those that hold a whole decision come without it (an empty one)."""
        decided = EventRow.kind == "decided"
        said = (case((decided, null()), else_=column) for column in (EventRow.payload, EventRow.words))
        query = select(EventRow.seq, EventRow.kind, EventRow.at, EventRow.who, EventRow.rulebook, *said)
        rows = self._session.execute(query.where(EventRow.ticket == ticket_id).order_by(EventRow.seq))
        return tuple(
            Event(
                ticket_id, seq, at, who, rulebook, payload_from_data(kind, whole(payload or _NOT_READ, words))
            )
            for seq, kind, at, who, rulebook, payload, words in rows
        )

    def decision_before(self, ticket_id: str, seq: int) -> Mapping[str, Any] | None:
        """The last decision of the ticket made before event `seq`."""
        query = select(EventRow.payload, EventRow.words).where(
            EventRow.ticket == ticket_id, EventRow.kind == "decided", EventRow.seq < seq
        )
        row = self._session.execute(query.order_by(EventRow.seq.desc()).limit(1)).first()
        return None if row is None else whole(*row)["decision"]

    def machine_count(self) -> int:
        return self._session.scalar(select(func.count()).select_from(MachineRow)) or 0

    def listed_machines(self, contractor: str | None = None) -> tuple[ListedMachine, ...]:
        """Every machine, or every one in a contractor's care, as the search knows it."""
        site = SiteRow
        query = select(
            MachineRow.serial,
            MachineRow.model,
            MachineRow.asset_tag,
            site.id,
            site.name,
            site.town,
            site.phone,
        ).join(site, MachineRow.site_id == site.id, isouter=True)
        if contractor is not None:
            query = query.where(MachineRow.contractor_id == contractor)
        return tuple(ListedMachine(*(text or "" for text in row)) for row in self._session.execute(query))

    def home_zone(self) -> str:
        """The time zone of most sites; UTC without any."""
        query = select(SiteRow.timezone).group_by(SiteRow.timezone)
        return self._session.scalar(query.order_by(func.count().desc(), SiteRow.timezone)) or UTC_NAME


def _waiting(view: View, now: datetime) -> list[ColumnElement[bool]]:
    """What is solved only has to be closed."""
    is_open, to_do = TicketRow.state == "open", TicketRow.solved.is_(False)
    match view:
        case "call_back":
            return [is_open, TicketRow.parked_until <= now]
        case "parked":
            return [is_open, TicketRow.parked_until > now]
        case "due":
            return [is_open, to_do, TicketRow.due_at.is_not(None)]
        case "held":
            return [is_open, to_do, TicketRow.outcome == "hold"]
        case "open":
            return [is_open, to_do]
        case "solved":
            return [is_open, TicketRow.solved.is_(True)]
        case "unfinished":
            return [is_open]
        case "closed":
            return [TicketRow.state == "closed"]
        case "all":
            return []


def _listed(row: TicketRow, site: SiteRow | None, on_machine: Sequence[Danger], home: str) -> OpenTicket:
    dangers = (*state_from_data(row.dangers).open, *on_machine)
    return OpenTicket(
        row.id,
        tuple(row.report.get("symptoms") or ()),
        row.machine,
        row.site,
        "" if site is None else site.name,
        "" if site is None else site.town,
        home if site is None else site.timezone,
        row.outcome,
        row.opened_at,
        row.changed_at,
        row.due_at,
        row.parked_until,
        row.priority,
        row.skill,
        tuple(dict.fromkeys(danger.caution for danger in dangers)),
        solved=row.solved,
        phone=row.phone or ("" if site is None else site.phone or ""),
        caller=row.caller,
        state=row.state,
        sent_by=row.sent_by,
    )


class PresenceRow(Base):
    """When somebody last looked at a ticket at the desk."""

    __tablename__ = "desk_presence"

    ticket: Mapped[str] = mapped_column(String(32), primary_key=True)
    who: Mapped[str] = mapped_column(String(64), primary_key=True)
    at: Mapped[datetime] = mapped_column(index=True)


class Presences:
    def __init__(self, session: Session) -> None:
        self._session = session

    def seen(self, ticket: str, since: datetime) -> dict[str, datetime]:
        """Who looked at the ticket since then, and when last."""
        query = select(PresenceRow.who, PresenceRow.at)
        query = query.where(PresenceRow.ticket == ticket, PresenceRow.at >= since)
        return {row.who: row.at for row in self._session.execute(query)}

    def note(self, ticket: str, who: str, at: datetime) -> None:
        """`who` looks at the ticket now."""
        new = new_row(self._session)(PresenceRow).values(ticket=ticket, who=who, at=at)
        again = new.on_conflict_do_update(index_elements=["ticket", "who"], set_={"at": new.excluded.at})
        self._session.connection().execute(again)

    def forget(self, before: datetime) -> None:
        """Drops every look from before then, at any ticket."""
        self._session.connection().execute(delete(PresenceRow).where(PresenceRow.at < before))
