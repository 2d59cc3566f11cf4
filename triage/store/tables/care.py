"""What happened to a machine: the care log and past repairs, both only added to."""

from collections.abc import Iterable

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from triage.records.report import CareEvent, History, PastRepair
from triage.store.tables.models import CareRow, RepairRow

_CARE, _REPAIRS = CareRow.__table__, RepairRow.__table__
_CARE_OF_ONE = (
    select(_CARE.c.kind, _CARE.c.at, _CARE.c.by, _CARE.c.details)
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

    def history(self, serial: str) -> History:
        """Care and repairs of one machine, oldest first."""
        connection, machine = self._session.connection(), {"serial": serial}
        return History(
            care=tuple(CareEvent(*row) for row in connection.execute(_CARE_OF_ONE, machine)),
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

    def add_care(self, serial: str, events: Iterable[CareEvent]) -> int:
        """Adds what is not in the log yet (same machine, kind and time) and says how many that were."""
        query = select(CareRow.kind, CareRow.at).where(CareRow.serial == serial)
        known = {(row.kind, row.at) for row in self._session.execute(query)}
        added = 0
        for event in events:
            if (event.kind, event.at) not in known:
                known.add((event.kind, event.at))
                row = CareRow.made_of(event, serial=serial, details=dict(event.details))
                self._session.add(row)
                added += 1
        self._session.flush()
        return added

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
