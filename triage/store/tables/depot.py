"""Depot units, and the chain of custody by serial, which is only added to."""

from collections.abc import Iterable, Mapping

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from triage.records.custody import CustodyEvent, DepotUnit, refuse_step
from triage.store.tables.models import CustodyRow, DepotUnitRow
from triage.values.errors import NotFoundError


class Depot:
    def __init__(self, session: Session) -> None:
        self._session = session

    def get(self, serial: str) -> DepotUnit:
        """The unit; its row is held until the transaction ends (PostgreSQL)."""
        query = select(DepotUnitRow).where(DepotUnitRow.serial == serial).with_for_update()
        row = self._session.scalar(query) if serial.isprintable() else None
        if row is None:
            raise NotFoundError(f'no depot unit "{serial}"')
        return row.as_record(DepotUnit)

    def at_depot(self) -> tuple[DepotUnit, ...]:
        """The units that nobody has taken, by serial."""
        rows = self._session.scalars(
            select(DepotUnitRow)
            .join(CustodyRow, CustodyRow.serial == DepotUnitRow.serial)
            .where(CustodyRow.step == "at_depot", self._is_last())
            .order_by(DepotUnitRow.serial)
        )
        return tuple(row.as_record(DepotUnit) for row in rows)

    def units(self) -> tuple[DepotUnit, ...]:
        """Every unit, wherever it is, by serial."""
        rows = self._session.scalars(select(DepotUnitRow).order_by(DepotUnitRow.serial))
        return tuple(row.as_record(DepotUnit) for row in rows)

    def put_units(self, units: Iterable[DepotUnit]) -> None:
        """Adds units or brings their record up to date."""
        for unit in units:
            self._session.merge(DepotUnitRow.made_of(unit))
        self._session.flush()

    def chain(self, serial: str) -> tuple[CustodyEvent, ...]:
        """The steps of one serial, oldest first."""
        query = select(CustodyRow).where(CustodyRow.serial == serial).order_by(CustodyRow.seq)
        return tuple(row.as_record(CustodyEvent) for row in self._session.scalars(query))

    def chains(self) -> Mapping[str, tuple[CustodyEvent, ...]]:
        """The steps of every serial that has any."""
        found: dict[str, list[CustodyEvent]] = {}
        for row in self._session.scalars(select(CustodyRow).order_by(CustodyRow.serial, CustodyRow.seq)):
            found.setdefault(row.serial, []).append(row.as_record(CustodyEvent))
        return {serial: tuple(events) for serial, events in found.items()}

    def of_ticket(self, ticket: str) -> tuple[CustodyEvent, ...]:
        """The steps that a ticket made, by time and serial."""
        query = select(CustodyRow).where(CustodyRow.ticket == ticket)
        rows = self._session.scalars(query.order_by(CustodyRow.at, CustodyRow.serial, CustodyRow.seq))
        return tuple(row.as_record(CustodyEvent) for row in rows)

    def on_the_way_for(self, ticket: str) -> CustodyEvent | None:
        """The unit that is on its way for the ticket."""
        query = select(CustodyRow).where(
            CustodyRow.ticket == ticket, CustodyRow.step == "on_the_way", self._is_last()
        )
        row = self._session.scalar(query)
        return None if row is None else row.as_record(CustodyEvent)

    def add(self, event: CustodyEvent) -> None:
        """The serial's next step; ConflictError where it cannot follow the last one."""
        chain = self.chain(event.serial)
        refuse_step(event.serial, chain[-1].step if chain else None, event.step)
        self._session.add(CustodyRow.made_of(event, seq=len(chain) + 1))
        self._session.flush()

    def _is_last(self) -> ColumnElement[bool]:
        other = CustodyRow.__table__.alias("later")
        last = select(func.max(other.c.seq)).where(other.c.serial == CustodyRow.serial).scalar_subquery()
        return CustodyRow.seq == last
