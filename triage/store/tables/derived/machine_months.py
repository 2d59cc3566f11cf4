"""How many calls each machine had in each month, counted on in the write that opens a ticket or moves it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Date,
    ForeignKey,
    Select,
    String,
    and_,
    cast,
    delete,
    false,
    func,
    insert,
    select,
    type_coerce,
)
from sqlalchemy.orm import Mapped, Session, mapped_column

from triage.repairs.acting import Calls
from triage.repairs.period import Period
from triage.repairs.weeks import in_months
from triage.store.tables.models import Base, MachineRow, TicketRow, new_row, on_postgresql

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DAY = 86_400  # seconds


class MachineMonthRow(Base):
    """Of the tickets that were opened in a month (UTC's, `first` is its first day).

    `seconds` is the sum of the whole seconds from 1970 to each of them: with it a mean is known.
    """

    __tablename__ = "machine_months"
    __table_args__ = ({"sqlite_with_rowid": False},)

    machine: Mapped[str] = mapped_column(String(64), ForeignKey("machines.serial"), primary_key=True)
    first: Mapped[date] = mapped_column(primary_key=True)
    calls: Mapped[int]
    seconds: Mapped[int] = mapped_column(BigInteger)


class MachineMonths:
    def __init__(self, session: Session) -> None:
        self._session = session

    def count(self, opened_at: datetime, machines: Mapping[str | None, int]) -> None:
        """A ticket opened then is one more of a machine (1), or no longer one of it (-1)."""
        row, table = MachineMonthRow, MachineMonthRow.__table__
        seconds, first = (opened_at - EPOCH) // timedelta(seconds=1), opened_at.astimezone(UTC).date()
        new = new_row(self._session)(row)
        more = {name: table.c[name] + new.excluded[name] for name in ("calls", "seconds")}
        again = new.on_conflict_do_update(index_elements=["machine", "first"], set_=more)
        for machine, by in machines.items():
            if machine is not None:
                of_month = {"machine": machine, "first": first.replace(day=1)}
                self._session.connection().execute(again, of_month | {"calls": by, "seconds": by * seconds})

    def calls(self, period: Period) -> dict[str, tuple[date, Calls, str | None]]:
        """Since when each machine is in service (commissioned, or else shipped), its calls; its site."""
        months, rest = in_months(period)
        row, machine = MachineMonthRow, MachineRow
        within = [false()] if months is None else [row.first >= months.first, row.first <= months.last]
        since = func.coalesce(machine.commissioned_on, machine.shipped_on)
        # An outer join has SQLite go by the machines, each with its months in order: nothing is sorted.
        query = (
            select(machine.serial, since, machine.site_id, func.sum(row.calls), func.sum(row.seconds))
            .join(row, and_(row.machine == machine.serial, *within), isouter=True)
            .group_by(machine.serial)
        )
        start, none = (period.since - EPOCH).total_seconds(), Calls()
        found = {
            serial: (day, Calls(count, (float(at) - count * start) / DAY) if count else none, site)
            for serial, day, site, count, at in self._session.execute(query)
        }
        for sign, serial, count, at in ((sign, *row) for sign, one in rest for row in self._opened(one)):
            day, known, site = found[serial]
            days = known.days + sign * (float(at) - count * start) / DAY
            found[serial] = day, Calls(known.count + sign * count, days), site
        return found

    def _opened(self, period: Period) -> Iterable[Any]:
        """Machines, their calls in a period, and the seconds of these, from the tickets."""
        opened, machine = TicketRow.opened_at, TicketRow.machine
        query = select(machine, func.count(opened), func.sum(seconds_of(self._session)))
        within = opened >= period.since, opened < period.until, machine.is_not(None)
        return self._session.execute(query.where(*within).group_by(machine))

    def worked_out(self) -> Select[tuple[str, date, int, int]]:
        """What the table is to hold, from the tickets; it may besides hold months of no calls."""
        opened = TicketRow.opened_at
        if on_postgresql(self._session):
            day: ColumnElement[Any] = cast(func.date_trunc("month", func.timezone("UTC", opened)), Date)
        else:
            day = type_coerce(func.date(opened, "start of month"), Date)
        first = day.label("first")
        query = select(TicketRow.machine, first, func.count(opened), func.sum(seconds_of(self._session)))
        return query.where(TicketRow.machine.is_not(None)).group_by(TicketRow.machine, first)

    def make_anew(self) -> None:
        """Works all of it out from the tickets, for rows that were put in past this program."""
        self._session.execute(delete(MachineMonthRow))
        columns = ["machine", "first", "calls", "seconds"]
        self._session.execute(insert(MachineMonthRow).from_select(columns, self.worked_out()))


def seconds_of(session: Session) -> ColumnElement[int]:
    """The whole seconds from 1970 to when a ticket was opened, as `MachineMonthRow` sums them."""
    opened = TicketRow.opened_at
    if on_postgresql(session):
        return cast(func.floor(func.extract("epoch", opened)), BigInteger)
    return cast(func.strftime("%s", func.substr(opened, 1, 19)), BigInteger)
