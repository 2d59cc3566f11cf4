"""What happened to a machine: the care log and past repairs, both only added to."""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from triage.report import History, PastRepair
from triage.store.models import CareRow, RepairRow
from triage.upkeep import CareEvent, CareKind


class Care:
    def __init__(self, session: Session) -> None:
        self._session = session

    def history(self, serial: str) -> History:
        """Care and repairs of one machine, oldest first."""
        care = self._session.scalars(
            select(CareRow).where(CareRow.serial == serial).order_by(CareRow.at, CareRow.id)
        )
        repairs = self._session.scalars(
            select(RepairRow).where(RepairRow.serial == serial).order_by(RepairRow.at, RepairRow.id)
        )
        return History(
            care=tuple(CareEvent(cast(CareKind, row.kind), row.at, row.by, row.details) for row in care),
            repairs=tuple(PastRepair(row.at, row.ticket, row.cause, row.cost) for row in repairs),
        )

    def repairs(self) -> tuple[tuple[str, PastRepair], ...]:
        """The past repairs of all machines with the serial, oldest first."""
        rows = self._session.scalars(select(RepairRow).order_by(RepairRow.at, RepairRow.id))
        return tuple((row.serial, PastRepair(row.at, row.ticket, row.cause, row.cost)) for row in rows)

    def add_care(self, serial: str, events: Iterable[CareEvent]) -> int:
        """Adds what is not in the log yet (same machine, kind and time) and says how many that were."""
        query = select(CareRow.kind, CareRow.at).where(CareRow.serial == serial)
        known = {(row.kind, row.at) for row in self._session.execute(query)}
        added = 0
        for event in events:
            if (event.kind, event.at) not in known:
                known.add((event.kind, event.at))
                self._session.add(
                    CareRow(
                        serial=serial, kind=event.kind, at=event.at, by=event.by, details=dict(event.details)
                    )
                )
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
                self._session.add(
                    RepairRow(
                        serial=serial,
                        at=repair.at,
                        ticket=repair.ticket,
                        cause=repair.cause,
                        cost=repair.cost,
                    )
                )
                added += 1
        self._session.flush()
        return added
