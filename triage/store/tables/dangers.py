"""The dangers that stand open, by ticket and by machine: written with the ticket that they were raised on."""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime

from sqlalchemy import ForeignKey, String, delete, insert, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.records.danger import Danger
from triage.store.tables.models import Base


class DangerRow(Base):
    __tablename__ = "open_dangers"

    ticket: Mapped[str] = mapped_column(ForeignKey("tickets.id"), primary_key=True)
    caution: Mapped[str] = mapped_column(String(64), primary_key=True)
    machine: Mapped[str | None] = mapped_column(ForeignKey("machines.serial"), index=True)
    source: Mapped[str] = mapped_column(String(16))
    since: Mapped[datetime]
    quote: Mapped[str | None]


class OpenDangers:
    def __init__(self, session: Session) -> None:
        self._session = session

    def of_machine(self, serial: str | None, but: str = "") -> tuple[Danger, ...]:
        """What stands open on a machine, oldest first, each with its ticket; those of `but` left out."""
        if serial is None:
            return ()
        found = self.of_machines([serial]).get(serial, ())
        return tuple(danger for danger in found if danger.ticket != but)

    def of_machines(self, serials: Collection[str]) -> Mapping[str, tuple[Danger, ...]]:
        """The same by serial, of those machines that have any."""
        query = select(DangerRow).where(DangerRow.machine.in_(serials))
        found: dict[str, tuple[Danger, ...]] = {}
        for row in self._session.scalars(
            query.order_by(DangerRow.since, DangerRow.ticket, DangerRow.caution)
        ):
            danger = row.as_record(Danger)
            found[str(row.machine)] = (*found.get(str(row.machine), ()), danger)
        return found

    def put(self, ticket: str, machine: str | None, dangers: Iterable[Danger]) -> None:
        """Stores what stands open on a ticket now, and nothing else."""
        connection = self._session.connection()
        connection.execute(delete(DangerRow).where(DangerRow.ticket == ticket))
        rows = [
            {
                "ticket": ticket,
                "machine": machine,
                "caution": danger.caution,
                "source": danger.source,
                "since": danger.since,
                "quote": danger.quote,
            }
            for danger in dangers
        ]
        if rows:
            connection.execute(insert(DangerRow), rows)
