"""What happened to a machine: the care log and past repairs, both only added to.

Beside the log stands when each task was last done on each side, which lists of the fleet go by.
"""

from collections.abc import Collection, Iterable
from datetime import datetime

from sqlalchemy import ForeignKey, String, bindparam, func, null, select, update
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.machine.measures.upkeep import SIDES, sides_done
from triage.records.callers_words import care_apart, together, without_name
from triage.records.report import CareEvent, History, PastRepair
from triage.store.tables.derived.care_months import CareMonths
from triage.store.tables.derived.judged import Judged
from triage.store.tables.models import Base, CareRow, RepairRow, new_row


class LastCareRow(Base):
    """When a task was last done; `side` is empty for what is done for the machine as a whole."""

    __tablename__ = "last_care"

    serial: Mapped[str] = mapped_column(ForeignKey("machines.serial"), primary_key=True)
    task: Mapped[str] = mapped_column(String(16), primary_key=True)
    side: Mapped[str] = mapped_column(String(8), primary_key=True)
    at: Mapped[datetime]


_CARE, _REPAIRS = CareRow.__table__, RepairRow.__table__
_CARE_OF_ONE = (
    select(_CARE.c.kind, _CARE.c.at, _CARE.c.by, _CARE.c.details, _CARE.c.words)
    .where(_CARE.c.serial == bindparam("serial"))
    .order_by(_CARE.c.at, _CARE.c.id)
)
_REPAIRS_OF_ONE = (
    select(_REPAIRS.c.at, _REPAIRS.c.ticket, _REPAIRS.c.cause, _REPAIRS.c.cost)
    .where(_REPAIRS.c.serial == bindparam("serial"))
    .order_by(_REPAIRS.c.at, _REPAIRS.c.id)
)
"""Plain columns: they are asked for with every report."""


class Care:
    def __init__(self, session: Session) -> None:
        self._session = session

    def history(self, serial: str, *, named: bool = True) -> History:
        """Care and repairs of one machine, oldest first; not `named`: without names, to decide on."""
        connection, machine = self._session.connection(), {"serial": serial}
        return History(
            care=tuple(
                CareEvent(kind, at, *together([by, details], words or [] if named else []))
                for kind, at, by, details, words in connection.execute(_CARE_OF_ONE, machine)
            ),
            repairs=tuple(PastRepair(*row) for row in connection.execute(_REPAIRS_OF_ONE, machine)),
        )

    def repair_count(self, serial: str | None) -> int:
        """How many past repairs of a machine there are; they are only added to."""
        query = select(func.count()).where(RepairRow.serial == serial)
        return self._session.scalars(query).one()

    def repairs(self) -> tuple[tuple[str, PastRepair], ...]:
        """The past repairs of all machines with the serial, oldest first."""
        rows = self._session.scalars(select(RepairRow).order_by(RepairRow.at, RepairRow.id))
        return tuple((row.serial, row.as_record(PastRepair)) for row in rows)

    def add_care(self, serial: str, events: Iterable[CareEvent], texts: Collection[str] = ()) -> int:
        """Adds what is not in the log yet (same machine, kind and time) and says how many that were.

        `texts` are points of the checklist that people answer in their own words.
        """
        query = select(CareRow.kind, CareRow.at).where(CareRow.serial == serial)
        known = {(row.kind, row.at) for row in self._session.execute(query)}
        added = []
        for event in events:
            if (event.kind, event.at) not in known:
                known.add((event.kind, event.at))
                added.append(event)
                (by, details), words = care_apart(event.kind, event.by, dict(event.details), texts)
                row = CareRow.made_of(event, serial=serial, by=by, details=details, words=words or None)
                self._session.add(row)
                self._note_last(serial, event)
        self._session.flush()
        if added:
            CareMonths(self._session).cared(min(event.at for event in added))
        if any(event.kind == "commissioned" for event in added):
            Judged(self._session).forget([serial])
        return len(added)

    def forget(self, name: str) -> int:
        """Erases what holds a person's name; in how many lines."""
        columns = CareRow.id, CareRow.serial, CareRow.words
        rows = self._session.execute(select(*columns).where(CareRow.words.is_not(None)))
        changed = [
            (id_, serial, left)
            for id_, serial, words in rows
            if len(left := without_name(words, name)) < len(words)
        ]
        for id_, _, left in changed:
            self._session.execute(update(CareRow).where(CareRow.id == id_).values(words=left or null()))
        Judged(self._session).forget({serial for _, serial, _ in changed})
        return len(changed)

    def forget_before(self, at: datetime) -> int:
        """Erases who did and signed care before a time; who keeps what of an installation stays."""
        old = CareRow.words.is_not(None), CareRow.kind != "commissioned", CareRow.at < at
        count = self._session.scalar(select(func.count()).select_from(CareRow).where(*old)) or 0
        self._session.execute(update(CareRow).where(*old).values(words=null()))
        return count

    def _note_last(self, serial: str, event: CareEvent) -> None:
        rows = [
            {"serial": serial, "task": task, "side": side, "at": event.at}
            for task in SIDES
            for side in sides_done(task, event.kind, event.details)
        ]
        if rows:
            new = new_row(self._session)(LastCareRow)
            later = new.on_conflict_do_update(
                index_elements=["serial", "task", "side"],
                set_={"at": new.excluded.at},
                where=LastCareRow.at < new.excluded.at,
            )
            self._session.connection().execute(later, rows)

    def add_repairs(self, serial: str, repairs: Iterable[PastRepair]) -> int:
        """Adds repairs that are not known yet (same machine, ticket and time) and says how many that were."""
        query = select(RepairRow.ticket, RepairRow.at).where(RepairRow.serial == serial)
        known = {(row.ticket, row.at) for row in self._session.execute(query)}
        added = 0
        for repair in repairs:
            if (repair.ticket, repair.at) not in known:
                known.add((repair.ticket, repair.at))
                self._session.add(RepairRow.made_of(repair, serial=serial))
                added += 1
        self._session.flush()
        return added
